"""CSV files of what was measured, checked cell by cell."""

from __future__ import annotations

import csv
import io
import math
from typing import TYPE_CHECKING, Final

from slotwright.layout.errors import Fault, LengthError, MeasuredError
from slotwright.layout.fields import nearest, quoted
from slotwright.layout.units import Unit, parse_length, show

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

MOST_BYTES: Final = 1_000_000


class Row:
    """One line of the file; what is wrong with it is collected in its table."""

    def __init__(self, rows: Rows, line: int, cells: dict[str, str], decimal_comma: bool) -> None:
        self.line = line
        self._rows, self._cells, self._comma = rows, cells, decimal_comma

    def has(self, column: str) -> bool:
        """Tell whether the cell holds something."""
        return bool(self._cells.get(column))

    def fault(self, column: str, what: str, mend: str = "") -> None:
        """Record what is wrong with a cell."""
        self._rows.faults.append(Fault(f"line {self.line}, column {column}", what, mend))

    def text(self, column: str, most: int = 200) -> str:
        """Give the cell as text."""
        cell = self._cells.get(column, "")
        if len(cell) > most:
            self.fault(column, f"given {quoted(cell)}; allowed text of at most {most} characters")
            return ""
        return cell

    def number(self, column: str, low: float, high: float) -> float:
        """Give the cell as a number; `low` where it is none, the fault recorded."""
        cell = self._cells.get(column, "")
        try:
            value = float(cell.replace(",", ".") if self._comma else cell)
        except ValueError:
            value = math.nan
        if low <= value <= high:
            return value
        self.fault(column, f"given {quoted(cell)}; allowed a number from {low:g} to {high:g}")
        return low

    def whole(self, column: str, low: int, high: int) -> int:
        """Give the cell as a whole number; `low` where it is none, the fault recorded."""
        cell = self._cells.get(column, "")
        if cell.isascii() and cell.isdigit() and len(cell) < 10 and low <= int(cell) <= high:
            return int(cell)
        self.fault(column, f"given {quoted(cell)}; allowed a whole number from {low} to {high}")
        return low

    def length(self, column: str, low: float, high: float, units: Unit) -> float:
        """Give the cell as a length [mm]; `low` where it is none, the fault recorded."""
        cell = self._cells.get(column, "")
        try:
            value = parse_length(cell.replace(",", ".") if self._comma else cell, units)
        except LengthError as error:
            self.fault(column, str(error))
            return low
        if low <= value <= high:
            return value
        self.fault(
            column,
            f"given {quoted(cell)}; allowed {show(low, units)} to {show(high, units)} {units}",
            "check the unit",
        )
        return low


class Rows:
    """The lines of a file and everything that is wrong with them."""

    def __init__(self) -> None:
        self.faults: list[Fault] = []
        self._rows: list[Row] = []

    def __iter__(self) -> Iterator[Row]:
        """Go through the lines."""
        return iter(self._rows)

    def add(self, line: int, cells: dict[str, str], *, decimal_comma: bool) -> None:
        """Add one line."""
        self._rows.append(Row(self, line, cells, decimal_comma))

    def refuse(self) -> None:
        """Raise what was found wrong so far, if anything was."""
        if self.faults:
            raise MeasuredError(self.faults)


def read_rows(text: bytes, known: Sequence[str], needed: Sequence[str]) -> Rows:
    """Read a CSV file with a header.

    Parameters
    ----------
    text
        The file as it stands on disk.
    known, needed
        Columns it may have, and columns it must have.

    Returns
    -------
    Rows
        Its lines, blank ones left out.

    Raises
    ------
    MeasuredError
        The file is no such table.
    """
    lines = list(csv.reader(io.StringIO(_decoded(text)), delimiter=(delimiter := _delimiter(text))))
    head = next((place for place, cells in enumerate(lines) if any(cell.strip() for cell in cells)), None)
    if head is None:
        raise MeasuredError([Fault("", "the file is empty", f"its first line names the columns: {','.join(known)}")])
    columns = [cell.strip().lower() for cell in lines[head]]
    rows = Rows()
    for place, column in enumerate(columns):
        where = f"line {head + 1}, column {place + 1}"
        if column in columns[:place]:
            rows.faults.append(Fault(where, f"{quoted(column)} stands there twice"))
        elif column not in known:
            mend = nearest(column, known) or f"known: {', '.join(known)}"
            rows.faults.append(Fault(where, f"unknown column {quoted(column)}", mend))
    rows.faults += [
        Fault(f"line {head + 1}", f"the column {column} is missing") for column in needed if column not in columns
    ]
    rows.refuse()
    for number, cells in enumerate(lines[head + 1 :], start=head + 2):
        stripped = [cell.strip() for cell in cells]
        if any(stripped[len(columns) :]):
            rows.faults.append(Fault(f"line {number}", f"{len(cells)} cells under {len(columns)} columns"))
        if any(stripped):
            rows.add(number, dict(zip(columns, stripped, strict=False)), decimal_comma=delimiter != ",")
    return rows


def _decoded(text: bytes) -> str:
    if len(text) > MOST_BYTES:
        raise MeasuredError([Fault("", f"the file has more than {MOST_BYTES} bytes")])
    try:
        decoded = text.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise MeasuredError([Fault("", f"not UTF-8 text (byte {error.start})", "save it as UTF-8")]) from None
    if "\0" in decoded:
        raise MeasuredError([Fault("", "not a text file: it holds null bytes", "save it as CSV")])
    return decoded


def _delimiter(text: bytes) -> str:
    head = next((line for line in text.splitlines() if line.strip()), b"")
    return max(",;\t", key=lambda mark: head.count(mark.encode()))
