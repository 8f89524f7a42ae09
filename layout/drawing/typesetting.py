"""Headings, paragraphs, tables and title blocks, set into columns: what stands around a drawing."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from slotwright.layout.drawing.lettering import fitted, text_width, wrapped
from slotwright.layout.drawing.sheet import Layer, Line, Text

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from slotwright.layout.drawing.sheet import Across, Box, Passage
    from slotwright.layout.instrument.arcs import Point

    Fields = Sequence[tuple[str, str]]

SMALL: Final = 2.2  # mm, height of running text
LARGE: Final = 3.0  # mm, of headings
LEADING: Final = 1.6  # line to line, in heights
LABEL: Final = 1.6  # mm, the small label above each value of a title block
UNSET: Final = "-"  # what stands in a cell that the plan leaves empty
_TOGETHER: Final = 8  # lines of a paragraph that are not torn apart
_WHOLE: Final = 16  # rows of a table that is not torn
_APART: Final = 3.0  # mm between the columns of a table
_LEAST: Final = 1.2  # mm, the smallest letters of a table
_NUMBER: Final = re.compile(r"[-+\u2212]?[\d.]+\u00b0?")


@dataclass(frozen=True, slots=True)
class SetLine:
    """A line of a column.

    Parameters
    ----------
    step
        Way down to it [mm].
    height
        Height of its capitals [mm].
    cells
        What stands in it: way from the left [mm], text, and which of its ends lies there.
    rule
        How far a rule runs below it [mm]; 0 for none.
    keep
        It stays together with the next one.
    """

    step: float
    height: float
    cells: tuple[tuple[float, str, Across], ...]
    rule: float = 0.0
    keep: bool = False


def set_passage(passage: Passage, room: float) -> Iterator[SetLine]:
    """Set a heading with its paragraphs and its table into lines.

    Parameters
    ----------
    passage
        The text.
    room
        Width of the column [mm].
    """
    step = SMALL * LEADING
    yield SetLine(2.2 * step, LARGE, ((0.0, passage.heading, "left"),), keep=True)
    for paragraph in passage.paragraphs:
        lines = wrapped(paragraph, room, SMALL)
        for i, line in enumerate(lines):
            whole = i < len(lines) - 1 and len(lines) <= _TOGETHER
            yield SetLine(step if i else 1.4 * step, SMALL, ((0.0, line, "left"),), keep=whole)
    if passage.rows:
        yield from _table(passage.rows, room, step)


def _table(rows: Sequence[Sequence[str]], room: float, step: float) -> Iterator[SetLine]:
    """Set a table, its head first; columns of numbers end at their right."""
    columns = list(zip(*rows, strict=True))
    numbers = [all(_NUMBER.fullmatch(cell) for cell in column[1:] if cell) for column in columns]
    numbers[0] = False
    natural = [max(text_width(cell, SMALL) for cell in column) for column in columns]
    scale = min(1.0, (room - _APART * (len(columns) - 1)) / sum(natural))
    height = max(SMALL * scale, _LEAST)
    widths = [scale * width for width in natural]
    ends = [sum(widths[: i + 1]) + _APART * i for i in range(len(widths))]
    for i, row in enumerate(rows):
        placed: list[tuple[float, str, Across]] = []
        for end, width, number, cell in zip(ends, widths, numbers, row, strict=True):
            text, _ = fitted(cell, width + 1e-9, height, height)
            placed.append((end, text, "right") if number else (end - width, text, "left"))
        rule = 0.0 if i else ends[-1]
        keep = i == 0 or (i < len(rows) - 1 and len(rows) <= _WHOLE)
        yield SetLine((1.4 if i < 2 else 1.15) * step, height, tuple(placed), rule=rule, keep=keep)


def in_rows(fields: Iterable[tuple[str, str]], room: float, least: float) -> list[list[tuple[str, str]]]:
    """Put the cells of a title block into rows, as many beside each other as can be read.

    Parameters
    ----------
    fields
        Label and value of each.
    room
        Width of the block [mm].
    least
        Least width of a cell [mm].
    """
    rows: list[list[tuple[str, str]]] = []
    for field in fields:
        longer = [*rows[-1], field] if rows else [field]
        cell = room / len(longer)
        if rows and cell >= least and all(text_width(value, SMALL) <= cell - 5 for _, value in longer):
            rows[-1] = longer
        else:
            rows.append([field])
    return rows


def set_down(lines: Iterable[SetLine], corner: Point) -> Iterator[Text | Line]:
    """Draw a column, its first line at a corner and the others below it.

    Parameters
    ----------
    lines
        The column.
    corner
        Left end of its first line, half way up its capitals [mm].
    """
    x, y = corner
    for place, line in enumerate(lines):
        y -= line.step if place else 0.0
        for at, text, across in line.cells:
            yield Text(Layer.FRAME, (x + at, y), text, line.height, across, "middle")
        if line.rule:
            yield Line(Layer.DIM, (x, y - 2.4), (x + line.rule, y - 2.4))


def title_cells(rows: Sequence[Sequence[tuple[str, str]]], place: Box) -> Iterator[Line | Text]:
    """Draw the cells of a title block into its place: a small label close above each value.

    Parameters
    ----------
    rows
        Label and value of each cell, row by row from above.
    place
        Left, bottom, right and top of the block [mm].
    """
    left, bottom, right, top = place
    high = (top - bottom) / len(rows) if rows else 0.0
    for i, row in enumerate(rows):
        y, cell = top - i * high, (right - left) / len(row)
        yield Line(Layer.DIM, (left, y), (right, y))
        for j, (label, value) in enumerate(row):
            x = left + j * cell
            if j:
                yield Line(Layer.DIM, (x, y), (x, y - high))
            yield Text(Layer.FRAME, (x + 2, y - 0.7), label, LABEL, up="top")
            text, height = fitted(value, cell - 4, 2.4)
            yield Text(Layer.FRAME, (x + 2, y - high + 0.9), text, height)
