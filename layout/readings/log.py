"""The log of a bench: a table of readings that rows are only added to, in the way it is written already."""

from __future__ import annotations

import csv
import io
import math
import re
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

from slotwright.layout.errors import Fault, MeasuredError
from slotwright.layout.readings.notes import COLUMNS, last_pass, target
from slotwright.layout.readings.table import read_rows
from slotwright.layout.units import MM_PER_INCH

if TYPE_CHECKING:
    from collections.abc import Sequence

    from slotwright.layout.plan.plan import Plan
    from slotwright.layout.readings.notes import Reading

NEEDED: Final = ("pass", "moved", "note")  # besides what every table of readings has
_LINE_END: Final = re.compile(rb"\r\n|\r|\n")
_POINT, _COMMA = re.compile(r"\d\.\d"), re.compile(r"\d,\d")


@dataclass(frozen=True, slots=True)
class Form:
    """How a table is written.

    Parameters
    ----------
    columns
        Their names, in order.
    delimiter
        What separates them.
    line_end
        What ends a line.
    decimal
        What stands for the decimal point.
    begun
        The last line has no end yet.
    """

    columns: tuple[str, ...]
    delimiter: str
    line_end: str
    decimal: str
    begun: bool

    def row(self, reading: Reading, plan: Plan) -> bytes:
        """Write a reading as a row of this table; columns that it has nothing for stay empty.

        Parameters
        ----------
        reading
            The reading.
        plan
            The plan; lengths are written in its units.
        """
        per = 1.0 if plan.units == "mm" else MM_PER_INCH
        numbers = {"open": f"{reading.open:.3f}", "moved": f"{reading.moved / per:.5f}"}
        if reading.saddle_offset is not None:
            numbers["saddle_offset"] = f"{reading.saddle_offset / per:.5f}"
        if not math.isnan(reading.cents):
            hertz = (target(plan, reading.string, reading.fret) or 0.0) * 2 ** (reading.cents / 1200)
            numbers |= {"cents": f"{reading.cents:.3f}"} if "cents" in self.columns else {"hz": f"{hertz:.4f}"}
        cells = {name: number.replace(".", self.decimal) for name, number in numbers.items()}
        cells |= {"string": str(reading.string), "fret": str(reading.fret), "pass": str(reading.at)}
        cells["note"] = reading.note
        written = io.StringIO()
        table = csv.writer(written, delimiter=self.delimiter, lineterminator=self.line_end)
        table.writerow([cells.get(column, "") for column in self.columns])
        return (self.line_end * self.begun + written.getvalue()).encode()


def form_of(text: bytes, plan: Plan) -> Form:
    """See how a table of readings is written, and whether a dialogue can add to it.

    Parameters
    ----------
    text
        The table; `parse_readings` understands it.
    plan
        The plan of the instrument.

    Returns
    -------
    Form
        How its rows are written.

    Raises
    ------
    MeasuredError
        A column is missing, or the last line may be cut off.
    """
    rows = read_rows(text, COLUMNS, ("string", "fret"), "string,fret,cents")
    pitched = all(target(plan, string, 1) for string in range(1, len(plan.strings) + 1))
    missing = [] if "cents" in rows.columns or pitched else ["cents"]
    if missing := [*missing, *(column for column in NEEDED if column not in rows.columns)]:
        more = rows.delimiter.join(("", *missing))
        what = f"column{'s' * (len(missing) > 1)} {', '.join(missing)} missing, which a log needs"
        raise MeasuredError([Fault("first line", what, f'write "{more}" at its end, or name a new log')])
    decoded = text.decode("utf-8-sig")
    begun = not decoded.endswith(("\n", "\r"))
    last = next(csv.reader([decoded.splitlines()[-1]], delimiter=rows.delimiter))
    if begun and len(last) < len(rows.columns):
        what = f"has {len(last)} of {len(rows.columns)} cells and no line end: it may be cut off"
        raise MeasuredError([Fault("last line", what, "finish it with a line end, or delete it")])
    end = _LINE_END.search(text)
    comma = rows.delimiter != "," and _COMMA.search(decoded) and not _POINT.search(decoded)
    return Form(rows.columns, rows.delimiter, end[0].decode() if end else "\n", "," if comma else ".", begun)


def as_it_stands(reading: Reading, readings: Sequence[Reading]) -> Reading:
    """Put a reading into its string's last pass if others were written since it was asked for.

    Parameters
    ----------
    reading
        What was just read: of the saddle as it now lies.
    readings
        What the log holds.

    Returns
    -------
    Reading
        The same, in a pass and with a move that the log agrees with.
    """
    last = last_pass(readings, reading.string)
    if last < reading.at:
        return reading
    moved = next(each.moved for each in readings if (each.string, each.at) == (reading.string, last))
    return replace(reading, at=last, moved=moved)
