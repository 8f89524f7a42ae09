"""A table of readings that is there, changed in one place: all else that stands in it stays."""

from __future__ import annotations

import csv
import io
import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

from slotwright.layout.readings.notes import COLUMNS, LOGGED, cents_of, parse_readings, warbling
from slotwright.layout.readings.table import read_rows
from slotwright.layout.units import MM_PER_INCH

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from slotwright.layout.plan.plan import Plan

_OF_A_STRING: Final = ("open", "moved", "saddle_offset")  # the same in all rows of a string in a pass
_PITCH: Final = ("cents", "hz", "doubt", "glide", "inharmonicity", "source", "note")


@dataclass(frozen=True, slots=True)
class Kept:
    """A table of readings.

    Parameters
    ----------
    columns
        Their names, in order.
    rows
        Text of each cell, row by row.
    delimiter
        What separates the columns.
    comma
        A comma stands for the decimal point.
    """

    columns: tuple[str, ...] = LOGGED
    rows: tuple[dict[str, str], ...] = ()
    delimiter: str = ","
    comma: bool = False

    @classmethod
    def of(cls, text: bytes, plan: Plan) -> Kept:
        """Take a table as it is; of nothing, an empty one.

        Raises
        ------
        MeasuredError
            It cannot be read.
        """
        if not text:
            return cls()
        parse_readings(text, plan)
        rows = read_rows(text, COLUMNS, ("string", "fret"), "string,fret,cents")
        comma = rows.delimiter != "," and any("," in row.cells.get("cents", "") for row in rows)
        return cls(rows.columns, tuple(row.cells for row in rows), rows.delimiter, comma)

    @property
    def last(self) -> int:
        """Number of the last pass; 0 when nothing was read."""
        return max(map(_pass, self.rows), default=0)

    def note(self, string: int, fret: int, at: int, plan: Plan) -> tuple[float | None, bool]:
        """Give what was read of a note in a pass: its cents, None where there are none, and whether it warbles."""
        read: list[float] = []
        own = [row for row in self.rows if _pass(row) == at and row.get("string") == str(string)]
        for row in own:
            if row.get("fret") != str(fret):
                continue
            if row.get("cents"):
                read.append(_number(row["cents"]))
            elif row.get("hz"):
                read.append(cents_of(plan, string, fret, _number(row["hz"])) or 0.0)
        if fret == 0:
            read = read or [_number(row["open"]) for row in own if row.get("open")][:1]
        warbles = any(warbling(row.get("note", "")) for row in own if row.get("fret") == str(fret))
        return (sum(read) / len(read) if read else None), warbles

    def text(self) -> bytes:
        """Write the table."""
        written = io.StringIO()
        out = csv.DictWriter(written, self.columns, restval="", delimiter=self.delimiter, lineterminator="\n")
        out.writeheader()
        out.writerows(self.rows)
        return written.getvalue().encode()

    def with_rows(self, more: Iterable[Mapping[str, str]]) -> Kept:
        """Add rows below, with the columns that they need."""
        added = [{name: self._number(name, cell) for name, cell in row.items() if cell} for row in more]
        return self._of((*self.rows, *added))

    def with_note(self, string: int, fret: int, at: int, cents: float | None, note: str = "") -> Kept:
        """Put a reading in the place of what was read there before.

        Parameters
        ----------
        string, fret
            The note; fret 0 is the open string.
        at
            Number of the pass.
        cents
            As read with a meter, not a number where the note only warbles; None takes the reading away.
        note
            What else was heard.
        """
        own = [row for row in self.rows if _pass(row) == at and row.get("string") == str(string)]
        told = {} if cents is None else {"cents": "" if math.isnan(cents) else _short(cents), "note": note}
        told = {name: self._number(name, cell) for name, cell in told.items()}
        if fret == 0 and any(row.get("open") for row in own):
            return self._of(row | {"open": told.get("cents", "")} if row in own else row for row in self.rows)
        there = [row for row in own if row.get("fret") == str(fret)]
        if not there and cents is None:
            return self
        if not there:
            shared = {name: row[name] for name in _OF_A_STRING for row in own if fret and row.get(name)}
            counted = str(at) if at > 1 or "pass" in self.columns else ""
            new = {"string": str(string), "fret": str(fret), "pass": counted}
            return self._of((*self.rows, new | shared | told))
        mended = [] if cents is None else [there[0] | dict.fromkeys(_PITCH, "") | told]
        return self._of(
            each for row in self.rows for each in (mended if row is there[0] else [] if row in there else [row])
        )

    def with_place(self, string: int, at: int, column: str, length: float | None, plan: Plan) -> Kept:
        """State for all readings of a string in a pass how far its saddle was moved before, or where it stands.

        Parameters
        ----------
        string
            Number of the string.
        at
            Number of the pass.
        column
            ``moved``, ``saddle_offset`` or ``from_fret_12``.
        length
            In mm; None takes it away.
        plan
            The plan; lengths are written in its units.
        """
        per = 1.0 if plan.units == "mm" else MM_PER_INCH
        cell = "" if length is None else self._number(column, f"{length / per:.5f}".rstrip("0").rstrip("."))
        others = {"saddle_offset", "from_fret_12"} - {column} if column != "moved" else set()
        change = dict.fromkeys(others, "") | {column: cell}
        return self._of(
            row | change if _pass(row) == at and row.get("string") == str(string) and row.get("fret") != "0" else row
            for row in self.rows
        )

    def _of(self, rows: Iterable[dict[str, str]]) -> Kept:
        rows = tuple(rows)
        needed = (name for name in COLUMNS if name not in self.columns and any(row.get(name) for row in rows))
        columns = (*self.columns, *needed)
        return replace(
            self, columns=columns, rows=tuple({name: row.get(name, "") for name in columns} for row in rows)
        )

    def _number(self, column: str, cell: str) -> str:
        return cell.replace(".", ",") if self.comma and column != "note" else cell


def _number(cell: str) -> float:
    return float(cell.replace(",", "."))


def _pass(row: Mapping[str, str]) -> int:
    return int(row.get("pass") or 1)


def _short(cents: float) -> str:
    return f"{cents:.3f}".rstrip("0").rstrip(".") if f"{cents:.3f}" != "-0.000" else "0"
