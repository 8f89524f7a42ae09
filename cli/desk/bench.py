"""The bench on the page: what was read, what it asks for, what it found."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import numpy as np

from slotwright.cli.desk.rounds import Table, judged
from slotwright.layout import cautions
from slotwright.layout.bench.dialogue import Dialogue
from slotwright.layout.bench.moves import said_turns
from slotwright.layout.errors import MeasuredError
from slotwright.layout.export.report.facts import both, pitch_name
from slotwright.layout.export.report.history import history
from slotwright.layout.readings.notes import FROM_FRET
from slotwright.layout.sound.played import USUAL
from slotwright.layout.sound.remarks import listed
from slotwright.layout.units import cents

if TYPE_CHECKING:
    from collections.abc import Sequence

    from slotwright.cli.desk.state import Desk
    from slotwright.layout.bench.advice import Advice
    from slotwright.layout.instrument.instrument import Instrument
    from slotwright.layout.readings.notes import Reading
    from slotwright.layout.sound.heard import Hearing

_NO_ORDER: Final = {"leave": "leave it", "beyond": "beyond its travel"}


def bench(desk: Desk) -> dict[str, Any]:
    """Give what stands on the page of the bench.

    Parameters
    ----------
    desk
        The desk.

    Returns
    -------
    dict
        Its table with a row for each string, moves, findings, earlier rounds; or what is wrong with its file.
    """
    try:
        table, found = Table(desk), judged(desk)
    except MeasuredError as error:
        return {"faults": error.lines, "ended": "", "played": ""}
    instrument, plan = desk.instrument, desk.instrument.plan
    frets = _frets(desk, table.readings)
    advices = {each.string: each for each in found.advices} if found else {}
    orders = {string: _order(instrument, advice) for string, advice in advices.items()}
    rows: list[dict[str, Any]] = [
        {
            "string": string,
            "pitch": pitch_name(instrument, string - 1),
            "cells": [(fret, table.cell(f"{string}/{fret}")) for fret in (0, *frets)],
            "stands": table.cell(f"{string}/stands"),
            "read": table.of_string(string) is not None,
            "moved": table.cell(f"{string}/moved"),
            "order": None if _awaited(desk, table, string) else orders.get(string),
            "awaited": _awaited(desk, table, string),
        }
        for string in range(1, len(plan.strings) + 1)
    ]
    told = history(instrument, table.readings, found)
    before = told["passes"] if told else {}
    return {
        "faults": (),
        "round": desk.bench.round,
        "frets": frets,
        "rows": rows,
        "from": f"fret {FROM_FRET} to saddle" if plan.frets.count >= FROM_FRET else "set back",
        "turned": any(order["turns"] for order in orders.values()),
        "moves": any(row["order"] and row["order"]["far"] for row in rows),
        "before": {at: visits for at, visits in before.items() if at < desk.bench.round},
        "found": told["findings"] if told else [],
        "ended": told["ended"] if told else "",
        "taught": {"doubtful": found.calibrated.doubtful, **told["taught"]}
        if found and found.calibrated and told
        else None,
        "wanting": found.wanting if found else "",
        "heard": _heard(desk.bench.heard) if desk.bench.heard else None,
        "played": f"{' '.join(str(row['string']) for row in reversed(rows))}: "
        f"{' '.join(str(fret) for fret in USUAL if fret <= plan.frets.count)}",
        "strings": cautions.STRINGS,
        "threaded": plan.bridge is not None and plan.bridge.per_turn is not None,
    }


def _awaited(desk: Desk, table: Table, string: int) -> bool:
    """Tell whether a saddle was moved before this round and its string not read since: what was asked is done."""
    return bool(desk.bench.moves.get(string)) and table.of_string(string) is None


def _frets(desk: Desk, readings: Sequence[Reading]) -> list[int]:
    """Give the columns: what the aims are read at, what was read, what was asked for."""
    dialogue = Dialogue(desk.instrument)
    strings = range(1, len(desk.instrument.plan.strings) + 1)
    asked = {fret for string in strings for fret in dialogue.frets(string)}
    most = desk.instrument.plan.frets.count
    return sorted(asked | {each.fret for each in readings} | {fret for fret in desk.bench.frets if fret <= most})


def _order(instrument: Instrument, advice: Advice) -> dict[str, Any]:
    """Word what is to be done with a saddle."""
    ordered = advice.direction in ("back", "forward")
    aimed = [
        (int(fret), cents(off, 1))
        for fret, off, counts in zip(advice.frets, advice.expected, advice.aimed, strict=True)
        if counts
    ]
    worst = max(np.abs(advice.expected[advice.aimed]), default=0.0)
    return {
        "way": _NO_ORDER.get(advice.direction, advice.direction),
        "far": both(instrument, abs(advice.wanted)) if ordered else None,
        "doubt": instrument.length(advice.error),
        "turns": said_turns(advice.turns) if advice.turns else "",
        "then": aimed if len(aimed) <= 3 else [],
        "worst": cents(worst, 1),
        "left": instrument.length(min(advice.travel)) if advice.travel else "",
    }


def _heard(found: Hearing) -> dict[str, Any]:
    """Word what a recording gave."""
    order = found.takes[0].assignment.order
    return {
        "notes": len(found.notes),
        "missing": listed(found.missing, order) if found.missing else "",
        "found": [f"{each.kind}: {each}" for each in found.findings],
        "stiff": len(found.stiffnesses),
    }
