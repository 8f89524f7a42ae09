"""The measured crowns of a neck, read from a CSV file."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Final

import numpy as np

from slotwright.layout.errors import Fault, MeasuredError
from slotwright.layout.limits import MOST_FRETS
from slotwright.layout.readings.table import Row, read_rows
from slotwright.layout.units import Unit, show

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

FEWEST: Final = 3  # crowns of a line: two always fit
_REACH: Final = 4000.0  # mm, how far from the start of the ruler a crown may lie


@dataclass(frozen=True, slots=True)
class Measured:
    """What was measured along one line of the neck.

    Parameters
    ----------
    name
        ``"distance"``, ``"treble"`` or ``"bass"``.
    frets
        Numbers of the frets, ascending, shape (n,).
    distances
        Where their crowns stand on the ruler [mm], shape (n,).
    nut
        Where the nut face stands [mm]; None where it was not measured.
    """

    name: str
    frets: NDArray[np.intp]
    distances: NDArray[np.float64]
    nut: float | None = None


def read_measurements(text: bytes, units: Unit) -> tuple[Measured, ...]:
    """Read the crowns of a neck from a CSV file.

    Parameters
    ----------
    text
        The file: ``fret,distance``, or ``fret,treble,bass``; `fret` may be ``nut``.
    units
        Unit of lengths without one.

    Returns
    -------
    tuple of Measured
        One line, or treble and bass.

    Raises
    ------
    MeasuredError
        With all faults that were found.
    """
    rows = read_rows(text, ("fret", "distance", "treble", "bass"), ("fret",), "fret,distance")
    named = [name for name in ("distance", "treble", "bass") if any(row.has(name) for row in rows)]
    if named not in (["distance"], ["treble", "bass"]):
        found = f"found {' and '.join(named)}" if named else "found neither"
        raise MeasuredError([Fault("", f"{found}; distances stand in a column distance, or in treble and bass")])
    cells = [(row, _fret(row), {name: _distance(row, name, named, units) for name in named}) for row in rows]
    rows.refuse()
    cells.sort(key=lambda cell: cell[1])
    for (before, fret, _), (row, same, _) in pairwise(cells):
        if same == fret:
            named_fret = f"fret {fret}" if fret else "the nut"
            row.fault("fret", f"{named_fret} stands in line {before.line} already", "keep one of them")
    placed = {
        name: [(row, fret, far) for row, fret, given in cells if (far := given[name]) is not None] for name in named
    }
    for name, there in placed.items():
        if len(there) > FEWEST and all(far < near for (_, _, near), (_, _, far) in pairwise(there)):
            mend = "lay the start of the ruler at the nut, or write how far it is from the other end"
            row.faults.append(Fault(f"column {name}", "the distances fall: measured from the bridge", mend))
            continue
        for (_, fret, near), (row, next_fret, far) in pairwise(there):
            if far <= near and fret != next_fret:
                said = f"{show(far, units)} at fret {next_fret} after {show(near, units)} at "
                said += f"fret {fret}" if fret else "the nut"
                row.fault(name, f"given {said}; distances run from the nut's end and grow", "measure both again")
    rows.refuse()
    if few := [name for name, there in placed.items() if sum(fret > 0 for _, fret, _ in there) < FEWEST]:
        what = f"too few crowns in column {' and '.join(few)}"
        raise MeasuredError([Fault("", what, f"measure {FEWEST} or more; all of them is best")])
    return tuple(_measured(name, {fret: far for _, fret, far in there}) for name, there in placed.items())


def _fret(row: Row) -> int:
    """Read the number of a fret, 0 for the nut."""
    given = row.text("fret").lower()
    if given == "0":
        row.fault("fret", 'given "0"', "write nut, for a zero fret too: it ends the string as a nut does")
    return 0 if given in ("nut", "0") else row.whole("fret", 1, MOST_FRETS)


def _distance(row: Row, name: str, named: Sequence[str], units: Unit) -> float | None:
    # A crown may be measured on one edge only.
    if not row.has(name) and any(row.has(other) for other in named):
        return None
    return row.length(name, -_REACH, _REACH, units)


def _measured(name: str, there: dict[int, float]) -> Measured:
    nut = there.pop(0, None)
    return Measured(name, np.array(list(there)), np.array(list(there.values())), nut)
