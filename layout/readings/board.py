"""A board as it was measured before it gets new frets, read from a CSV file."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from slotwright.layout.errors import Fault, MeasuredError
from slotwright.layout.limits import MOST_FRETS
from slotwright.layout.readings.table import read_rows

if TYPE_CHECKING:
    from collections.abc import Mapping

    from slotwright.layout.units import Unit

LIMITS: Final = {
    "width": (5.0, 500.0),
    "radius": (20.0, 5000.0),
    "slot_width": (0.1, 2.0),
    "slot_depth": (0.1, 10.0),
    "crown_height": (0.05, 3.0),
}
"""Least and most of each column [mm]."""


@dataclass(frozen=True, slots=True)
class OldBoard:
    """What was measured, by the number of the fret; 0 is the nut.

    Parameters
    ----------
    last
        The last fret.
    width
        Width of the finished board along a fret [mm].
    radius
        Radius across the board [mm].
    slot_width, slot_depth
        Width of a slot, and its depth below the board before it is planed [mm].
    crown_height
        Height of an old crown above the board [mm].
    """

    last: int
    width: Mapping[int, float]
    radius: Mapping[int, float]
    slot_width: Mapping[int, float]
    slot_depth: Mapping[int, float]
    crown_height: Mapping[int, float]


def read_board(text: bytes, units: Unit) -> OldBoard:
    """Read what was measured on an old board.

    Parameters
    ----------
    text
        The file: `fret` and any of ``width,radius,slot_width,slot_depth,crown_height``, cells may stay empty; `fret`
        may be ``nut``; the last fret has a row in any case.
    units
        Unit of lengths without one.

    Returns
    -------
    OldBoard
        The board.

    Raises
    ------
    MeasuredError
        With all faults that were found.
    """
    rows = read_rows(
        text, ("fret", *LIMITS), ("fret", "width"), "fret,width,radius,slot_width,slot_depth,crown_height"
    )
    found: dict[str, dict[int, float]] = {name: {} for name in LIMITS}
    lines: dict[int, int] = {}
    for row in rows:
        fret = 0 if row.text("fret").lower() == "nut" else row.whole("fret", 1, MOST_FRETS)
        if fret in lines:
            row.fault("fret", f"{row.text('fret')} stands in line {lines[fret]} already", "keep one of them")
        lines[fret] = row.line
        for name, (low, high) in LIMITS.items():
            if not row.has(name):
                continue
            if fret == 0 and name not in ("width", "radius"):
                row.fault(name, "the nut has no slot and no crown", "leave it empty")
            found[name][fret] = row.length(name, low, high, units)
    rows.refuse()
    if max(lines, default=0) == 0:
        raise MeasuredError([Fault("", "no row of a fret", "write a row for each, or for the first and the last")])
    if len(found["width"]) < 2:
        raise MeasuredError([Fault("column width", "measured at less than two frets", "measure it near both ends")])
    return OldBoard(last=max(lines), **found)
