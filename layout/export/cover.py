"""The cover of a print in tiles: the whole, how it goes together, and all that the sheet says around its drawing."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

from slotwright.layout.drawing.lettering import fitted
from slotwright.layout.drawing.sheet import Passage, Text, extents
from slotwright.layout.drawing.typesetting import SetLine, in_rows, set_down, set_passage, title_cells
from slotwright.layout.export import ink
from slotwright.layout.export.page import corner

if TYPE_CHECKING:
    from collections.abc import Iterator

    from reportlab.pdfgen.canvas import Canvas

    from slotwright.layout.drawing.sheet import Box, Sheet
    from slotwright.layout.export.tiling import Layout

_TITLE: Final = (5.0, 3.0)  # mm, heights of the two lines at the head
_COLUMN: Final = 75.0  # mm, least width of a column of text
_GAP: Final = 7.0  # mm between columns
_ROW: Final = 8.0  # mm, height of a row of the title block
_CELL: Final = 30.0  # mm, least width of a cell of it
_VIEWS: Final = (
    0.42,
    0.36,
    0.3,
    0.25,
    0.2,
    0.16,
)  # of the page that the whole view may take: the most that leaves one cover
_PAD: Final = 4.0  # mm of the drawing around what the whole view shows
_LEGIBLE: Final = 1.0  # mm, letters that are smaller in the whole view are left out
_PRINTED: Final = (
    "Print at full size: 100 %, no fitting to the page.",
    "Check both scale bars on this page first; if they are not true, print again with --measured.",
)
_ASSEMBLED: Final = (
    "Lay the tiles in the order of their numbers, row by row from the top left.",
    "Cut or fold one of two neighbours along the dashed line that bears both numbers; lay cross on cross, then tape.",
)


def covers(sheet: Sheet, layout: Layout) -> list[_Cover]:
    """Set the pages that go before the tiles.

    Parameters
    ----------
    sheet
        The drawing.
    layout
        How it is shared out.

    Returns
    -------
    list
        One cover, or more where the texts take them; each draws itself.
    """
    tried = [_set_out(sheet, layout, part) for part in _VIEWS]
    return min(tried, key=len)


def _set_out(sheet: Sheet, layout: Layout, part: float) -> list[_Cover]:
    """Set the covers with a view of the whole that takes at most a part of the first one."""
    wide, high = layout.window
    many = max(1, int((wide + _GAP) // (_COLUMN + _GAP)))
    column = (wide - (many - 1) * _GAP) / many
    lines = [line for passage in _passages(sheet, layout) for line in set_passage(passage, column)]
    view = _view(sheet, layout, part)
    block = _ROW * len(in_rows(sheet.fields, wide, _CELL))
    found: list[_Cover] = []
    while lines or not found:
        first = not found
        top = high - (sum(_TITLE) + 7.0 + view.height + 6.0 if first else 0.0)
        foot = block + 6.0 if first and block else 2.0
        lines, columns = _filled(lines, many, top - foot)
        found.append(_Cover(sheet, layout, tuple(columns), column, top, view if first else None))
    return found


@dataclass(frozen=True, slots=True)
class _View:
    """The whole drawing reduced: what it covers, by how much, and how high it comes out [mm]."""

    box: Box
    scale: float
    height: float


@dataclass(frozen=True, slots=True)
class _Cover:
    """A cover page."""

    sheet: Sheet
    layout: Layout
    columns: tuple[tuple[SetLine, ...], ...]
    column: float
    top: float
    view: _View | None

    def draw(self, canvas: Canvas) -> None:
        """Draw it into the window of its page."""
        canvas.saveState()
        canvas.translate(*corner(self.layout))
        if self.view:
            self._head(canvas, self.view)
            self._title_block(canvas)
        for number, lines in enumerate(self.columns):
            if lines:
                corner_of = (number * (self.column + _GAP), self.top - lines[0].step / 2)
                ink.draw(canvas, set_down(lines, corner_of))
        canvas.restoreState()

    def _title_block(self, canvas: Canvas) -> None:
        """Draw the title block along the foot of the window."""
        wide = self.layout.window[0]
        if rows := in_rows(self.sheet.fields, wide, _CELL):
            place = (0.5, 0.5, wide - 0.5, 0.5 + _ROW * len(rows))
            ink.draw(canvas, title_cells(rows, place))
            canvas.setLineWidth(ink.THICK)
            canvas.rect(0.5, 0.5, wide - 1, _ROW * len(rows), fill=0)

    def _head(self, canvas: Canvas, view: _View) -> None:
        wide, high = self.layout.window
        tiles = len(self.layout.tiles)
        title, height = fitted(self.sheet.title, wide, _TITLE[0], 2.4)
        ink.write(canvas, (0, high - _TITLE[0]), title, height)
        pages = f"{tiles} tiles at full size follow" if tiles > 1 else "the drawing at full size follows"
        words = f"Sheet {self.sheet.name}, reduced, not to cut by; {pages}"
        ink.write(canvas, (0, high - sum(_TITLE) - 2.5), words, _TITLE[1])
        canvas.saveState()
        left, bottom, right, _ = view.box
        across = (wide - (right - left) * view.scale) / 2
        canvas.translate(across, high - sum(_TITLE) - 7.0 - view.height)
        canvas.scale(view.scale, view.scale)
        canvas.translate(-left, -bottom)
        least = _LEGIBLE / view.scale
        ink.draw(canvas, (e for e in self.sheet.drawing if not isinstance(e, Text) or e.height >= least))
        if tiles > 1:
            self._numbered(canvas, view)
        canvas.restoreState()

    def _numbered(self, canvas: Canvas, view: _View) -> None:
        """Draw the tiles over the whole, each up to its seams, with their numbers."""
        scale = view.scale
        half = self.layout.overlap / 2
        canvas.setLineWidth(ink.THICK / scale)
        middles = []
        for tile in self.layout.tiles:
            (left, bottom, right, top), whole = self.layout.box(tile), view.box
            left, bottom = max(left + half, whole[0]), max(bottom + half, whole[1])
            right, top = min(right - half, whole[2]), min(top - half, whole[3])
            canvas.rect(left, bottom, right - left, top - bottom, fill=0)
            middles.append(((left + right) / 2, (bottom + top) / 2))
        for number, (x, y) in enumerate(middles, start=1):
            canvas.setFillColor(ink.WHITE)
            canvas.circle(x, y, 4.0 / scale, fill=1)
            canvas.setFillColor(ink.BLACK)
            ink.write(canvas, (x, y), str(number), 3.6 / scale, "center", lift=-1.8 / scale)


def _view(sheet: Sheet, layout: Layout, part: float) -> _View:
    left, bottom, right, top = extents(sheet.drawing)
    left, bottom, right, top = left - _PAD, bottom - _PAD, right + _PAD, top + _PAD
    wide, high = layout.window
    scale = min(1.0, (wide - 1) / (right - left), part * high / (top - bottom))
    return _View((left, bottom, right, top), scale, (top - bottom) * scale)


def _passages(sheet: Sheet, layout: Layout) -> Iterator[Passage]:
    steps = [*_PRINTED, *(_ASSEMBLED if len(layout.tiles) > 1 else ())]
    if sheet.check:
        steps.append(
            f"{'After taping check' if len(layout.tiles) > 1 else 'Check'} with a long ruler: {sheet.check}."
        )
    yield Passage("Putting it together" if len(layout.tiles) > 1 else "Printing", tuple(steps))
    yield from sheet.texts


def _filled(lines: list[SetLine], many: int, room: float) -> tuple[list[SetLine], list[tuple[SetLine, ...]]]:
    """Fill columns evenly as far as they hold; give what is left and the columns."""
    depth = sum(line.step for line in lines)
    for goal in (depth / many, *(depth / many + 4.0 * n for n in range(1, 200)), room):
        rest, columns = _poured(lines, many, min(goal, room), torn=goal >= room)
        if not rest or goal >= room:
            break
    return rest, columns


def _poured(
    lines: list[SetLine], many: int, room: float, *, torn: bool
) -> tuple[list[SetLine], list[tuple[SetLine, ...]]]:
    columns: list[tuple[SetLine, ...]] = []
    rest = list(lines)
    for _ in range(many):
        column: list[SetLine] = []
        used = 0.0
        while rest:
            line = rest[0] if column else replace(rest[0], step=rest[0].height)
            if used + line.step > room:
                break
            column.append(line)
            used += line.step
            rest.pop(0)
        back = len(column)
        while rest and back and column[back - 1].keep:
            back -= 1
        if back < len(column) and (back or not torn):  # what is longer than a column is torn after all
            rest = lines[len(lines) - len(rest) - len(column) + back :]
            del column[back:]
        columns.append(tuple(column))
    return rest, columns
