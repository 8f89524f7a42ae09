"""Fretted notes as they were read at the bench, and their table."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

from slotwright.layout.errors import Fault
from slotwright.layout.instrument.neck import lay_neck
from slotwright.layout.physics import strings
from slotwright.layout.physics.offsets import SADDLE_REACH
from slotwright.layout.physics.temperament import CENTS_PER_NEPER, speaking_fraction
from slotwright.layout.readings.table import MOST_BYTES, read_rows
from slotwright.layout.sources import read
from slotwright.layout.units import MM_PER_INCH

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy as np
    from numpy.typing import NDArray

    from slotwright.layout.instrument.instrument import Instrument
    from slotwright.layout.plan.plan import Plan
    from slotwright.layout.readings.table import Row, Rows
    from slotwright.layout.sources import Source

    Floats = NDArray[np.float64]

FROM_FRET: Final = 12  # where a rule finds a saddle's place from
COLUMNS: Final = (
    "string", "fret", "cents", "open", "hz", "saddle_offset", f"from_fret_{FROM_FRET}", "pass", "note", "moved"
)  # fmt: skip
FURTHEST: Final = 300.0  # cents; a reading further off is of another note
MOST_PASSES: Final = 99


@dataclass(frozen=True, slots=True)
class Reading:
    """One fretted note as a meter showed it.

    Parameters
    ----------
    string, fret
        Where it was fretted.
    cents
        Against its target, sharp positive [cents]; not a number where the note warbles and none was read.
    open
        The open string then, against its own target [cents].
    saddle_offset
        Where the saddle stood [mm]; None where not stated.
    at
        Number of the pass: readings between two moves.
    moved
        What the saddle was to be moved by before this pass, back positive [mm].
    note
        What else was heard.
    """

    string: int
    fret: int
    cents: float
    open: float = 0.0
    saddle_offset: float | None = None
    at: int = 1
    moved: float = 0.0
    note: str = ""

    @property
    def error(self) -> float:
        """Error against the open string [cents]."""
        return self.cents - self.open

    @property
    def warbles(self) -> bool:
        """The note beats against itself, as it does over a magnet: no reading to go by."""
        return warbling(self.note)


def read_readings(source: Source, instrument: Instrument) -> tuple[Reading, ...]:
    """Read what was measured at the bench.

    Parameters
    ----------
    source
        The path of a table, its text if that holds a line break, or its bytes.
    instrument
        The instrument that was read.

    Returns
    -------
    tuple of Reading
        In the order of the file.

    Raises
    ------
    MeasuredError
        With line and column of all that is wrong.
    OSError
        There is no such file.
    """
    return parse_readings(read(source, MOST_BYTES), instrument.plan)


def parse_readings(text: bytes, plan: Plan) -> tuple[Reading, ...]:
    """Read what was measured at the bench.

    Parameters
    ----------
    text
        A table with `string`, `fret` and `cents` or `hz`, and perhaps more of `COLUMNS`; lengths in
        the units of the plan.
    plan
        The plan of the instrument.

    Returns
    -------
    tuple of Reading
        In the order of the file.

    Raises
    ------
    MeasuredError
        With line and column of all that is wrong.
    """
    rows = read_rows(text, COLUMNS, ("string", "fret"), "string,fret,cents")
    if not {"cents", "hz"} & set(rows.columns):
        rows.faults.append(
            Fault("line 1", "column cents is missing", "the first line names the columns: string,fret,cents")
        )
        rows.refuse()
    found = []
    stands: dict[tuple[int, int], Reading] = {}
    reach = reach_of(plan)
    from_fret = _from_fret(rows, plan)
    for row in rows:
        string = row.whole("string", 1, len(plan.strings))
        if row.cells.get("fret") == "0":
            row.fault("fret", "given 0", "cents of the open string go into the column open")
            continue
        fret = row.whole("fret", 1, plan.frets.count)
        reading = Reading(
            string=string,
            fret=fret,
            cents=_cents(row, plan, string, fret),
            open=row.number("open", -FURTHEST, FURTHEST) if row.has("open") else 0.0,
            saddle_offset=_stands(row, plan, string, reach, from_fret),
            at=row.whole("pass", 1, MOST_PASSES) if row.has("pass") else 1,
            moved=row.length("moved", -reach[1], reach[1], plan.units) if row.has("moved") else 0.0,
            note=row.text("note"),
        )
        before = stands.setdefault((string, reading.at), reading)
        if reading.saddle_offset is None:
            reading = replace(reading, saddle_offset=before.saddle_offset)
        for column in ("saddle_offset", "moved"):
            if getattr(reading, column) != getattr(before, column):
                row.fault(column, "another one stands above for this string", "a moved saddle begins a new pass")
        found.append(reading)
    for string in range(1, len(plan.strings) + 1):
        moved = sum(each.moved for (which, _), each in stands.items() if which == string)
        if abs(moved) > reach[1]:
            what = f"moved adds up to {plan.said(moved)} for string {string}"
            rows.faults.append(Fault("", what, f"no bridge reaches further than {plan.said(reach[1])}"))
    rows.refuse()
    return tuple(found)


def _from_fret(rows: Rows, plan: Plan) -> Floats | None:
    """Give how far each string's nominal saddle lies behind the fret that rules measure from [mm]."""
    column = f"from_fret_{FROM_FRET}"
    if column not in rows.columns:
        return None
    if plan.frets.count < FROM_FRET:
        rows.faults.append(Fault("line 1", f"column {column}, on a board of {plan.frets.count} frets"))
        rows.refuse()
    neck = lay_neck(plan)
    far: Floats = neck.scales - neck.from_nut[FROM_FRET]
    return far


def _stands(row: Row, plan: Plan, string: int, reach: tuple[float, float], from_fret: Floats | None) -> float | None:
    """Read where a saddle stands: how far it is set back, or what a rule reads from a fret [mm]."""
    column = f"from_fret_{FROM_FRET}"
    if row.has(column) and row.has("saddle_offset"):
        row.fault(column, "given besides saddle_offset", "state one of them")
        return None
    if from_fret is not None and row.has(column):
        nominal = float(from_fret[string - 1])
        return row.length(column, nominal + reach[0], nominal + reach[1], plan.units) - nominal
    return row.length("saddle_offset", *reach, plan.units) if row.has("saddle_offset") else None


def reach_of(plan: Plan) -> tuple[float, float]:
    """Give how far a saddle may stand from its line [mm]: a part of the longest scale."""
    scale = max(filter(None, (plan.scale.length, plan.scale.bass)))
    low, high = SADDLE_REACH
    return low * scale, high * scale


def target(plan: Plan, string: int, fret: int) -> float | None:
    """Give the frequency a fretted note should have [Hz]; None where the pitch is not known."""
    stated = plan.strings[string - 1]
    open_string = stated.frequency if stated.pitch is None else strings.frequency(stated.pitch)
    return None if open_string is None else open_string / float(speaking_fraction(plan.cents[fret]))


def cents_of(plan: Plan, string: int, fret: int, hertz: float) -> float | None:
    """Give how far a frequency is off its target [cents]; None where the pitch is not known."""
    wanted = target(plan, string, fret)
    return None if wanted is None else CENTS_PER_NEPER * math.log(hertz / wanted)


def warbling(note: str) -> bool:
    """Tell whether a note says that a reading warbles."""
    return "warbl" in note.lower()


def _cents(row: Row, plan: Plan, string: int, fret: int) -> float:
    if not row.has("hz") and not row.has("cents") and warbling(row.text("note")):
        return math.nan  # a meter that hunts shows no figure
    if row.has("hz") == row.has("cents"):
        row.fault("cents", "given besides hz" if row.has("hz") else "nothing given", "state cents or hz")
        return 0.0
    if row.has("cents"):
        return row.number("cents", -FURTHEST, FURTHEST)
    faults = len(row.faults)
    hertz = row.number("hz", 5.0, 20_000.0)
    if len(row.faults) > faults:
        return 0.0
    cents = cents_of(plan, string, fret, hertz)
    if cents is None:
        row.fault("hz", f"the plan states no pitch for string {string}", "state cents, or strings[...].pitch")
    elif abs(cents) > FURTHEST:
        row.fault(
            "hz", f"given {hertz:g}; fret {fret} of string {string} sounds near {target(plan, string, fret):.1f}"
        )
    return cents or 0.0


def last_pass(readings: Sequence[Reading], string: int) -> int:
    """Give the number of a string's last pass; 0 when it was never read."""
    return max((reading.at for reading in readings if reading.string == string), default=0)


def as_log(readings: Sequence[Reading], plan: Plan) -> bytes:
    """Write readings as the table that `parse_readings` reads.

    Parameters
    ----------
    readings
        The readings.
    plan
        The plan; lengths are written in its units.

    Returns
    -------
    bytes
        The table.
    """
    stated = any(reading.saddle_offset is not None for reading in readings)
    lines = ["string,fret,cents,open,pass,moved,note" + ",saddle_offset" * stated]
    per = 1.0 if plan.units == "mm" else MM_PER_INCH
    for r in readings:
        note = '"' + r.note.replace('"', '""') + '"' if set(r.note) & set(',"\n\r') else r.note
        line = f"{r.string},{r.fret},{r.cents:.3f},{r.open:.3f},{r.at},{r.moved / per:.5f},{note}"
        if stated:
            line += f",{'' if r.saddle_offset is None else f'{r.saddle_offset / per:.5f}'}"
        lines.append(line)
    return ("\n".join(lines) + "\n").encode()
