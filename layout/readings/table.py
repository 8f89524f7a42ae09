"""Tables of measurements, as a spreadsheet or a hand writes them, and what was read at the bench."""

from __future__ import annotations

import csv
import io
import math
import re
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

from slotwright.layout.errors import Fault, LengthError, MeasuredError
from slotwright.layout.plan.fields import nearest, quoted
from slotwright.layout.units import MM_PER_INCH, parse_length, show

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from slotwright.layout.units import Unit

MOST_BYTES: Final = 1_000_000
_MOST_ROWS: Final = 10_000
_NUMBER: Final = re.compile(r"[+-]?([0-9]+\.?[0-9]*|\.[0-9]+)(e[+-]?[0-9]{1,3})?", re.IGNORECASE)
_SEPARATOR: Final = re.compile(r"sep=([,;\t])\r?\n")  # what some spreadsheets write before the header


@dataclass(slots=True)
class Row:
    """One row of a table; a wrong cell is noted and reading goes on.

    Parameters
    ----------
    line
        Its line in the file.
    cells
        Text of each column.
    faults
        Where what is wrong is noted.
    decimal_comma
        A comma in a number stands for the point: it separates no columns here.
    """

    line: int
    cells: dict[str, str]
    faults: list[Fault]
    decimal_comma: bool = False

    def has(self, column: str) -> bool:
        """Tell whether anything stands in a column."""
        return bool(self.cells.get(column))

    def fault(self, column: str, what: str, mend: str = "") -> None:
        """Note what is wrong with a cell."""
        self.faults.append(Fault(f"line {self.line}, column {column}", what, mend))

    def text(self, column: str, most: int = 200) -> str:
        """Give a cell as text of limited length."""
        text = self.cells.get(column, "")
        if len(text) > most:
            self.fault(column, f"given {quoted(text)}; allowed at most {most} characters")
        return text[:most]

    def number(self, column: str, low: float, high: float) -> float:
        """Give a cell as a number between two limits."""
        text = self.cells.get(column, "")
        given = text.replace(",", ".") if self.decimal_comma else text
        number = float(given) if _NUMBER.fullmatch(given) else math.nan
        if low <= number <= high:
            return number
        hint = "write a decimal point, not a comma" if "," in text and not self.decimal_comma else ""
        self.fault(column, f"{_given(text)}; allowed a number from {low:g} to {high:g}", hint)
        return low

    def whole(self, column: str, low: int, high: int) -> int:
        """Give a cell as a whole number between two limits."""
        text = self.cells.get(column, "")
        if text.isascii() and text.isdigit() and len(text) < 10 and low <= int(text) <= high:
            return int(text)
        self.fault(column, f"{_given(text)}; allowed a whole number from {low} to {high}")
        return low

    def length(self, column: str, low: float, high: float, units: Unit) -> float:
        """Give a cell as a length [mm] between two limits; it may carry its unit."""
        text = self.cells.get(column, "")
        given = text.replace(",", ".") if self.decimal_comma else text
        try:
            length = parse_length(given, units)
        except LengthError as error:
            self.fault(column, str(error) if text else "nothing given; a length is wanted")
            return low
        if low <= length <= high:
            return length
        hint = ""
        if units == "in" and low <= length / MM_PER_INCH <= high:
            hint = f'if these are mm, write "{given} mm"'
        self.fault(column, f"{_given(text)}; allowed {show(low, units)} to {show(high, units)} {units}", hint)
        return low


@dataclass(frozen=True, slots=True)
class Rows:
    """A table of measurements with its rows and what is wrong with them.

    Parameters
    ----------
    columns
        Names of the columns in the order of the file.
    rows
        The rows that are not blank.
    faults
        All that was found wrong so far.
    delimiter
        What separates the columns.
    """

    columns: tuple[str, ...]
    rows: tuple[Row, ...]
    faults: list[Fault] = field(default_factory=list)
    delimiter: str = ","

    def __iter__(self) -> Iterator[Row]:
        """Go through the rows."""
        return iter(self.rows)

    def refuse(self) -> None:
        """Raise `MeasuredError` when anything was found wrong."""
        if self.faults:
            raise MeasuredError(self.faults)


def read_rows(text: bytes, known: Sequence[str], needed: Sequence[str], header: str) -> Rows:
    """Read a table with a header.

    Parameters
    ----------
    text
        The file as it stands on disk: columns separated by commas, semicolons or tabs.
    known
        Columns that are understood.
    needed
        Those of them that must be there.
    header
        What the first line usually is, to be shown.

    Returns
    -------
    Rows
        Rows whose cells are still text; `Rows.refuse` is called once they were all read.

    Raises
    ------
    MeasuredError
        The file is no such table.
    """
    if len(text) > MOST_BYTES:
        _wrong("", f"the file has {len(text)} bytes or more; measurements have at most {MOST_BYTES}")
    try:
        decoded = text.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        _wrong("", f"not UTF-8 text (byte {error.start})", "save it as UTF-8")
    decoded, delimiter = _delimited(decoded, header)
    faults: list[Fault] = []
    columns: tuple[str, ...] = ()
    rows: list[Row] = []
    try:
        for line, cells in _lines(decoded, delimiter):
            if not columns:
                columns = tuple(cell.lower() for cell in cells[: _last(cells)])
                faults += _faults_of_header(columns, known, needed, header, line)
                if faults:
                    break
            elif len(rows) == _MOST_ROWS:
                _wrong(f"line {line}", f"more than {_MOST_ROWS} rows", "keep to the last readings")
            elif any(cells[len(columns) :]):
                comma = "write a decimal point, not a comma" if delimiter == "," else ""
                faults.append(Fault(f"line {line}", f"{len(cells)} cells for {len(columns)} columns", comma))
            else:
                rows.append(Row(line, dict(zip(columns, cells, strict=False)), faults, delimiter != ","))
    except csv.Error as error:
        faults.append(Fault(f"line {len(rows) + 2} or below", f"not a table: {error}"))
    found = Rows(columns, tuple(rows), faults, delimiter)
    if not rows:
        found.refuse()
    return found


def _last(cells: Sequence[str]) -> int:
    """Count the cells up to the last that is not empty: spreadsheets write empty columns behind the others."""
    return max(place for place, cell in enumerate(cells, start=1) if cell)


def _delimited(text: str, header: str) -> tuple[str, str]:
    """See what separates the columns: from a line that says so, which is left blank, or from the header."""
    if said := _SEPARATOR.match(text):
        return "\n" + text[said.end() :], said[1]
    first = next((line for line in text.splitlines() if line.strip()), "")
    if not first:
        _wrong("", "the file is empty", f"its first line names the columns: {header}")
    return text, max(",;\t", key=first.count)


def _lines(text: str, delimiter: str) -> Iterator[tuple[int, list[str]]]:
    """Yield the number and the cells of every line that is not blank."""
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    for cells in reader:
        # A typographic minus, or a dash for it, is what some spreadsheets write.
        stripped = [cell.strip().replace("\u2212", "-").replace("\u2013", "-") for cell in cells]
        if any(stripped):
            yield reader.line_num, stripped


def _faults_of_header(
    columns: Sequence[str], known: Sequence[str], needed: Sequence[str], header: str, line: int
) -> Iterator[Fault]:
    if not set(columns) & set(known):
        yield Fault(f"line {line}", "names no column that is known", f"the first line names the columns: {header}")
        return
    if len(columns) > 2 * len(known):
        yield Fault(f"line {line}", f"{len(columns)} columns", f"known here: {', '.join(known)}")
        return
    for place, column in enumerate(columns, start=1):
        if column not in known:
            named = quoted(column) if column else f"column {place} without a name"
            mend = nearest(column, known) or f"known here: {', '.join(known)}"
            yield Fault(f"line {line}", f"unknown column {named}", mend)
        elif columns.index(column) < place - 1:
            yield Fault(f"line {line}", f"column {column} stands there twice")
    for column in needed:
        if column not in columns:
            yield Fault(f"line {line}", f"column {column} is missing", f"the first line names the columns: {header}")


def _wrong(where: str, what: str, mend: str = "") -> None:
    raise MeasuredError([Fault(where, what, mend)])


def _given(text: str) -> str:
    return f"given {quoted(text)}" if text else "nothing given"
