"""Fretted notes as they were read at the bench, and their table."""

from __future__ import annotations

import csv
import io
import math
from collections import defaultdict
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

from slotwright.layout.errors import Fault
from slotwright.layout.instrument.neck import lay_neck
from slotwright.layout.physics import strings
from slotwright.layout.physics.offsets import SADDLE_REACH
from slotwright.layout.physics.temperament import CENTS_PER_NEPER, speaking_fraction
from slotwright.layout.plan.fields import quoted
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
    "string", "fret", "cents", "open", "hz", "saddle_offset", f"from_fret_{FROM_FRET}", "pass", "note", "moved",
    "doubt", "glide", "inharmonicity", "source",
)  # fmt: skip
LOGGED: Final = ("string", "fret", "cents", "open", "pass", "moved", "note")
_WHERE_STATED: Final = ("saddle_offset", "doubt", "glide", "inharmonicity", "source")
SOURCES: Final = ("meter", "recording")
FURTHEST: Final = 300.0  # cents; a reading further off is of another note
MOST_PASSES: Final = 99
MOST_DOUBT: Final = 50.0  # cents
AGREE: Final = 0.05  # cents that hz and cents of one row may differ by, as they are rounded
UNHEARD: Final = 20.0  # cents, how far an open string may be off that a recording does not have (from memory)


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
    doubt
        Standard error of the cents [cents]; None where not stated.
    open_doubt
        The same of the open string then.
    source
        ``meter`` or ``recording``.
    glide
        By how much the note stood higher after the pluck [cents]; None where not told.
    inharmonicity
        B of the note; None where not told.
    """

    string: int
    fret: int
    cents: float
    open: float = 0.0
    saddle_offset: float | None = None
    at: int = 1
    moved: float = 0.0
    note: str = ""
    doubt: float | None = None
    open_doubt: float | None = None
    source: str = SOURCES[0]
    glide: float | None = None
    inharmonicity: float | None = None

    @property
    def error(self) -> float:
        """Error against the open string [cents]."""
        return self.cents - self.open

    @property
    def warbles(self) -> bool:
        """The note beats against itself, as it does over a magnet: no reading to go by."""
        return warbling(self.note)


def read_readings(source: Source, instrument: Instrument) -> tuple[Reading, ...]:
    """Read a table of notes that were read at the bench.

    Parameters
    ----------
    source
        The path of a CSV table, its text if that holds a line break, or its bytes: columns string, fret and cents
        or hz, and others that are not required.
    instrument
        The instrument that the notes are of.

    Returns
    -------
    tuple of Reading
        In the order of the file.

    Raises
    ------
    MeasuredError
        The table is wrong; line and column of all faults are told at once.
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
        the units of the plan. Fret 0 is the open string of that pass.
    plan
        The plan of the instrument.

    Returns
    -------
    tuple of Reading
        Of fretted notes, in the order of the file; what was read of open strings stands with each.

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
    opened = _opened(rows, plan)
    _refuse_mixed(rows)
    for row in rows:
        if _is_open(row):
            continue
        string = row.whole("string", 1, len(plan.strings))
        fret = row.whole("fret", 1, plan.frets.count)
        at = row.whole("pass", 1, MOST_PASSES) if row.has("pass") else 1
        source = _source(row)
        tuned = _tuned(row, opened.get((string, at)), source)
        reading = Reading(
            string=string,
            fret=fret,
            cents=_cents(row, plan, string, fret),
            open=tuned[0],
            saddle_offset=_stands(row, plan, string, reach, from_fret),
            at=at,
            moved=row.length("moved", -reach[1], reach[1], plan.units) if row.has("moved") else 0.0,
            note=row.text("note"),
            doubt=row.number("doubt", 0.0, MOST_DOUBT) if row.has("doubt") else None,
            open_doubt=tuned[1],
            source=source,
            glide=row.number("glide", -FURTHEST, FURTHEST) if row.has("glide") else None,
            inharmonicity=row.number("inharmonicity", 0.0, 0.1) if row.has("inharmonicity") else None,
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


def _is_open(row: Row) -> bool:
    return row.cells.get("fret") == "0"


def _source(row: Row) -> str:
    """Tell what a row was read with."""
    given = row.text("source").lower()
    if given and given not in SOURCES:
        row.fault("source", f"given {quoted(given)}", "allowed meter and recording")
    return given if given in SOURCES else SOURCES[0]


def _tuned(row: Row, heard: tuple[float, float | None] | None, source: str) -> tuple[float, float | None]:
    """Give the cents of the open string that goes with a row, and their doubt: as the row or one of fret 0 has it."""
    if row.has("open"):
        if heard is not None:
            row.fault("open", "given besides a row of fret 0", "state one of them")
        return row.number("open", -FURTHEST, FURTHEST), None
    return heard or (0.0, None if source == SOURCES[0] else UNHEARD)


def _opened(rows: Rows, plan: Plan) -> dict[tuple[int, int], tuple[float, float | None]]:
    """Read the rows of open strings: cents and their doubt by string and pass, repeats averaged."""
    heard: dict[tuple[int, int], list[tuple[float, float | None]]] = defaultdict(list)
    for row in filter(_is_open, rows):
        string = row.whole("string", 1, len(plan.strings))
        at = row.whole("pass", 1, MOST_PASSES) if row.has("pass") else 1
        doubt = row.number("doubt", 0.0, MOST_DOUBT) if row.has("doubt") else None
        if row.has("open"):
            row.fault("open", "given besides fret 0", "a row of fret 0 states the open string in hz or cents")
        cents = _cents(row, plan, string, 0)
        if not math.isnan(cents):
            heard[string, at].append((cents, doubt))
    opened: dict[tuple[int, int], tuple[float, float | None]] = {}
    for which, each in heard.items():
        doubts = [doubt for _, doubt in each if doubt is not None]
        doubt = math.hypot(*doubts) / len(each) if len(doubts) == len(each) else None
        opened[which] = (sum(cents for cents, _ in each) / len(each), doubt)
    return opened


def _refuse_mixed(rows: Rows) -> None:
    """Refuse a pass that was read partly with a meter and partly from a recording: they mean different things."""
    lines: dict[str, dict[str, list[int]]] = defaultdict(lambda: defaultdict(list))
    for row in rows:
        source = row.cells.get("source", "").lower() or SOURCES[0]
        lines[row.cells.get("pass") or "1"][source].append(row.line)
    for at, sources in lines.items():
        if set(sources) == set(SOURCES):
            meter, recording = (", ".join(map(str, sources[source])) for source in SOURCES)
            rows.faults.append(
                Fault(
                    f"pass {at}",
                    f"read with a meter (line {meter}) and from a recording (line {recording})",
                    "the two differ by a cent or more; keep one of them, or number the passes",
                )
            )


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
    if not row.has("hz") and not row.has("cents"):
        row.fault("cents", "nothing given", "state cents or hz")
        return 0.0
    if row.has("cents"):
        stated = row.number("cents", -FURTHEST, FURTHEST)
        if row.has("hz"):
            meant = cents_of(plan, string, fret, row.number("hz", 5.0, 20_000.0))
            if meant is None or abs(meant - stated) > AGREE:
                row.fault("cents", "given besides hz", "state cents or hz, or what agrees")
        return stated
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
    per = 1.0 if plan.units == "mm" else MM_PER_INCH
    rows: list[dict[str, str]] = []
    opened: set[tuple[int, int]] = set()
    for reading in readings:
        of_open = _row_of_open(reading)
        if of_open and (reading.string, reading.at) not in opened:
            rows.append(of_open)
        opened.add((reading.string, reading.at))
        rows.append(_row(reading, per))
    columns = [*LOGGED, *(each for each in _WHERE_STATED if any(row.get(each) for row in rows))]
    written = io.StringIO()
    out = csv.DictWriter(written, columns, restval="", extrasaction="ignore", lineterminator="\n")
    out.writeheader()
    out.writerows(rows)
    return written.getvalue().encode()


def _row(reading: Reading, per: float) -> dict[str, str]:
    """Write one reading; an open string that has a row of its own, or was not read, is left out."""
    return {
        "string": f"{reading.string}",
        "fret": f"{reading.fret}",
        "cents": "" if math.isnan(reading.cents) else f"{reading.cents:.3f}",
        "open": f"{reading.open:.3f}" if reading.open_doubt is None else "",
        "pass": f"{reading.at}",
        "moved": f"{reading.moved / per:.5f}",
        "note": reading.note,
        "saddle_offset": "" if reading.saddle_offset is None else f"{reading.saddle_offset / per:.5f}",
        **_heard(reading.doubt, reading.source),
        "glide": "" if reading.glide is None else f"{reading.glide:.2f}",
        "inharmonicity": "" if reading.inharmonicity is None else f"{reading.inharmonicity:.4g}",
    }


def _row_of_open(reading: Reading) -> dict[str, str]:
    """Write the open string that a reading is held against, where its doubt is known; empty otherwise."""
    unheard = reading.source == SOURCES[1] and (reading.open, reading.open_doubt) == (0.0, UNHEARD)
    if reading.open_doubt is None or unheard:
        return {}
    own = {"string": f"{reading.string}", "fret": "0", "cents": f"{reading.open:.3f}", "pass": f"{reading.at}"}
    return own | _heard(reading.open_doubt, reading.source)


def _heard(doubt: float | None, source: str) -> dict[str, str]:
    return {"doubt": "" if doubt is None else f"{doubt:.3f}", "source": "" if source == SOURCES[0] else source}
