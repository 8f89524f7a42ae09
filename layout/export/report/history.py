"""What was done at the bench, pass by pass, as it stands on the page."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np

from slotwright.layout.bench.diagnosis import intonate
from slotwright.layout.bench.history import passes
from slotwright.layout.export.report.facts import both, pitch_name
from slotwright.layout.readings.notes import SOURCES
from slotwright.layout.units import cents

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from slotwright.layout.bench.diagnosis import Intonation
    from slotwright.layout.bench.history import Visit
    from slotwright.layout.instrument.instrument import Instrument
    from slotwright.layout.readings.notes import Reading


def history(
    instrument: Instrument, readings: Sequence[Reading], found: Intonation | None = None
) -> dict[str, Any] | None:
    """Tell what was read and moved at the bench, pass by pass, and where it ended; None without readings."""
    if not readings:
        return None
    found, visited = found or intonate(instrument, readings), passes(instrument, readings)
    return {
        "passes": {at: [_row(instrument, visit) for visit in visits] for at, visits in visited.items()},
        "recorded": _recorded(readings),
        "ended": _ended(instrument, visited),
        "findings": [
            *(f"string {v.string}: {f.kind}: {f}" for v in found.strings for f in v.findings),
            *(f"{f.kind}: {f}" for f in found.findings),
        ],
        "taught": found.calibrated
        and {
            name: (f"{getattr(found.calibrated, name):.2f}", f"{getattr(found.calibrated, f'{name}_error'):.2f}")
            for name in ("stiffness", "stretch")
        },
    }


def _recorded(readings: Sequence[Reading]) -> list[dict[str, Any]]:
    """Tell the notes that were read from recordings, with their doubt and what else was heard of them."""
    return [
        {
            "at": each.at,
            "string": each.string,
            "fret": each.fret,
            "cents": "" if math.isnan(each.error) else cents(each.error),
            "doubt": "" if each.doubt is None else f"{math.hypot(each.doubt, each.open_doubt or 0.0):.2f}",
            "glide": "" if each.glide is None else cents(each.glide, 1),
            "inharmonicity": "" if each.inharmonicity is None else f"{1e6 * each.inharmonicity:.0f}e-6",
            "note": each.note,
        }
        for each in readings
        if each.source == SOURCES[1]
    ]


def _row(instrument: Instrument, visit: Visit) -> dict[str, Any]:
    row: dict[str, Any] = {
        "string": visit.string,
        "pitch": pitch_name(instrument, visit.string - 1),
        "read": [],
        "moved": None if visit.moved is None else both(instrument, abs(visit.moved)),
        "way": "" if visit.moved is None else "back" if visit.moved > 0 else "forward",
        "asked": None,
        "then": "every note warbles",
    }
    if (advice := visit.advice) is not None:
        aimed = zip(advice.frets[advice.aimed], advice.now[advice.aimed], strict=True)
        row["read"] = [(int(fret), cents(off, 1)) for fret, off in aimed]
        ordered = advice.direction in ("back", "forward")
        row["asked"] = both(instrument, abs(advice.wanted)) if ordered else None
        row["then"] = {"leave": "leave it", "beyond": "beyond its travel"}.get(advice.direction, advice.direction)
    return row


def _ended(instrument: Instrument, visited: Mapping[int, Sequence[Visit]]) -> str:
    """Say where the last reading of every string left it."""
    tolerance = instrument.plan.compensation.tolerance
    last = {visit.string: visit.advice for visits in visited.values() for visit in visits}
    off = [
        string
        for string, advice in sorted(last.items())
        if advice is None or np.abs(advice.now[advice.aimed]).max() > tolerance
    ]
    if not off:
        return f"every string that was read within {tolerance:g} cents at its target frets"
    plural, their = ("s", "their") if len(off) > 1 else ("", "its")
    return f"string{plural} {', '.join(map(str, off))} not within {tolerance:g} cents at {their} target frets"
