"""The fret wire to cut, in a table."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import numpy as np

from slotwright.layout.export.report.facts import both, measure

if TYPE_CHECKING:
    from slotwright.layout.instrument.instrument import Instrument

_CUT: Final = (0, 3)  # decimals in mm and in inches of what is cut to the millimetre
_NIPPED: Final = (1, 2)


def wire_table(instrument: Instrument) -> dict[str, Any] | None:
    """Give the wire of every fret and how it is cut from rods.

    Parameters
    ----------
    instrument
        The instrument.

    Returns
    -------
    dict or None
        A row for each fret and one for each rod; None where the plan does not state the wire.
    """
    plan, wires = instrument.plan, instrument.wires
    if plan.frets.wire is None:
        return None
    nipped, curved = bool(wires.nip.any()), bool(np.isfinite(wires.bend[0]))
    columns = {"to cut": (wires.cut, _CUT)}
    if nipped:
        columns |= {"tang left": (wires.tang, _NIPPED), "nip at each end": (wires.nip, _NIPPED)}
    if curved:
        columns["bend to radius"] = (wires.bend, (0, 1))
    return {
        "head": list(columns),
        "rows": [
            {
                "fret": fret,
                "cells": [both(instrument, float(column[place]), said) for column, said in columns.values()],
            }
            for place, fret in enumerate(wires.frets)
        ],
        "overhang": measure(instrument, plan.frets.wire.overhang),
        "total": measure(instrument, wires.total, _CUT),
        "length": measure(instrument, wires.length, _CUT),
        "rods": [
            {"frets": ", ".join(map(str, rod)), "left": measure(instrument, left, _CUT)}
            for rod, left in zip(wires.rods, wires.left, strict=True)
        ],
        "judged": bool(instrument.wire_findings),
    }
