"""Sheet to PDF at full size: one page, or tiles to be taped together after a cover page."""

from __future__ import annotations

import io
import math
import unicodedata
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any, Final

from slotwright import templates
from slotwright.layout.drawing.lettering import fitted, wrapped
from slotwright.layout.drawing.marks import scale_bar
from slotwright.layout.drawing.sheet import PENS, Circle, Contour, Line, Text
from slotwright.layout.export.outside import kept_out
from slotwright.layout.export.paper import FOOT, SIDE
from slotwright.layout.instrument.arcs import Arc

with kept_out():
    from reportlab.lib.colors import HexColor
    from reportlab.lib.units import mm
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFont
    from reportlab.pdfgen.canvas import Canvas

if TYPE_CHECKING:
    from collections.abc import Iterable

    from slotwright.layout.drawing.sheet import Box, Sheet
    from slotwright.layout.export.paper import Layout
    from slotwright.layout.instrument.arcs import Point

_FONT: Final = "letters"
_CAPITALS: Final = 0.73  # height of its capitals over its size
_SMALL: Final = 2.2  # mm
_STEP: Final = 1.8  # line to line, in heights
_ASSEMBLY: Final = (
    "Print at full size: 100 %, no fitting to the page.",
    "Check both scale bars on this page first; if they are not true, print again with --measured.",
    "Lay the tiles in the order of their numbers, row by row from the top left.",
    "Cut or fold one of two neighbours along the dashed line that bears both numbers; lay cross on cross, then tape.",
)
_SEAM: Final = "#7a828a"
_CROSS: Final = 3.0  # mm, arm of a registration cross


def pdf(sheet: Sheet, layout: Layout) -> bytes:
    """Write a sheet as PDF.

    Parameters
    ----------
    sheet
        The drawing.
    layout
        How it is shared out over pages.

    Returns
    -------
    bytes
        The file; the same sheet always gives the same bytes. It asks the printer for no scaling.
    """
    with kept_out():
        return _written(sheet, layout)


def _written(sheet: Sheet, layout: Layout) -> bytes:
    _letters()
    written = io.BytesIO()
    canvas = Canvas(written, pagesize=tuple(side * mm for side in layout.paper), pdfVersion=(1, 6), invariant=1)
    canvas.setTitle(f"{sheet.title} - {sheet.name}")
    canvas.setViewerPreference("PrintScaling", "None")
    pages = len(layout.tiles) + (len(layout.tiles) > 1)
    if pages > 1:
        _page(canvas, sheet, layout, 1, pages)
        _cover(canvas, sheet, layout)
        canvas.restoreState()
        canvas.showPage()
    for number, tile in enumerate(layout.tiles, start=1):
        _page(canvas, sheet, layout, number + pages - len(layout.tiles), pages)
        _tile(canvas, sheet, layout, tile)
        canvas.restoreState()
        canvas.showPage()
    canvas.save()
    return written.getvalue()


def unprintable(sheet: Sheet) -> str:
    """Give the letters of a sheet that come out as question marks.

    Parameters
    ----------
    sheet
        The drawing.

    Returns
    -------
    str
        Each letter once; Latin, Greek and Cyrillic are never among them.
    """
    text = "".join(entity.text for entity in sheet.entities if isinstance(entity, Text))
    letters = _letters()
    return "".join(
        letter for letter in dict.fromkeys(unicodedata.normalize("NFC", text)) if ord(letter) not in letters
    )


@cache
def _letters() -> frozenset[int]:
    """Make the face known that every file carries; give the letters it has."""
    face = TTFont(_FONT, io.BytesIO((files(templates) / "letters.ttf").read_bytes()))
    pdfmetrics.registerFont(face)
    return frozenset(face.face.charToGlyph)


def _page(canvas: Canvas, sheet: Sheet, layout: Layout, number: int, pages: int) -> None:
    """Begin a page: true millimetres from here on, its rules, and what it is."""
    canvas.saveState()
    canvas.scale(layout.scale[0] * mm, layout.scale[1] * mm)
    x, y = _corner(layout)
    _draw(canvas, scale_bar((x, y - 11.0), layout.window[0], upright=False))
    _draw(canvas, scale_bar((x - 4.5, y), layout.window[1], upright=True))
    said = [sheet.name, f"revision {sheet.revision}" if sheet.revision else "", f"page {number} of {pages}"]
    if layout.scale != (1.0, 1.0):
        said.append(f"printed {layout.scale[0]:.4f} by {layout.scale[1]:.4f} to come out true")
    words = ", ".join(filter(None, said))
    title, height = fitted(sheet.title, layout.window[0] - _width(words, _SMALL) - 6, _SMALL)
    _write(canvas, (x, y - 19.0), title, height)
    _write(canvas, (x + layout.window[0], y - 19.0), words, _SMALL, "right")


def _corner(layout: Layout) -> Point:
    """Give where a page's window on the drawing begins [mm]."""
    return layout.margin / layout.scale[0] + SIDE, layout.margin / layout.scale[1] + FOOT


def _tile(canvas: Canvas, sheet: Sheet, layout: Layout, tile: tuple[int, int]) -> None:
    box, (x, y) = layout.box(tile), _corner(layout)
    canvas.saveState()
    canvas.translate(x - box[0], y - box[1])
    window = canvas.beginPath()
    window.rect(box[0], box[1], *layout.window)
    canvas.clipPath(window, stroke=0)
    _draw(canvas, (entity for entity in sheet.entities if _meets(entity.box(), box)))
    if len(layout.tiles) > 1:
        _seams(canvas, layout, tile)
    canvas.restoreState()
    if len(layout.tiles) > 1:
        _key_map(canvas, layout, tile)


def _meets(one: Box, other: Box) -> bool:
    return one[0] <= other[2] and other[0] <= one[2] and one[1] <= other[3] and other[1] <= one[3]


def _neighbours(layout: Layout, tile: tuple[int, int]) -> list[tuple[tuple[int, int], bool, float]]:
    """Give the tiles beside and above or below: whether the seam stands upright, and where [mm]."""
    row, column = tile
    found = []
    for step in (-1, 1):
        if (row, column + step) in layout.tiles:
            at = layout.columns[max(column, column + step)] + layout.overlap / 2
            found.append(((row, column + step), True, at))
        if (row + step, column) in layout.tiles:
            at = layout.rows[min(row, row + step)] + layout.overlap / 2
            found.append(((row + step, column), False, at))
    return found


def registration(layout: Layout, tile: tuple[int, int]) -> list[Point]:
    """Give the registration crosses of a tile, each of which a neighbour has too.

    Parameters
    ----------
    layout
        How the drawing is shared out.
    tile
        Row and column.

    Returns
    -------
    list of point
        Centres in the axes of the drawing [mm], two on each seam.
    """
    left, bottom, _, _ = layout.box(tile)
    quarters = (0.25, 0.75)
    return [
        (at, bottom + part * layout.window[1]) if upright else (left + part * layout.window[0], at)
        for _, upright, at in _neighbours(layout, tile)
        for part in quarters
    ]


def _seams(canvas: Canvas, layout: Layout, tile: tuple[int, int]) -> None:
    """Draw trim lines with the numbers of the tiles that meet there, and registration crosses."""
    left, bottom, right, top = layout.box(tile)
    own = layout.tiles.index(tile) + 1
    canvas.saveState()
    canvas.setStrokeColor(HexColor(_SEAM))
    canvas.setFillColor(HexColor(_SEAM))
    canvas.setLineWidth(0.13)
    for other, upright, at in _neighbours(layout, tile):
        canvas.setDash([2.0, 1.5])
        canvas.line(*((at, bottom, at, top) if upright else (left, at, right, at)))
        canvas.setDash([])
        numbers = sorted((own, layout.tiles.index(other) + 1))
        words = f"{numbers[0]} | {numbers[1]}, cut or fold"
        place = (at, bottom + layout.window[1] / 2) if upright else (left + layout.window[0] / 2, at)
        _write(canvas, place, words, _SMALL, "center", 90.0 if upright else 0.0, lift=1.2)
    for x, y in registration(layout, tile):
        canvas.line(x - _CROSS, y, x + _CROSS, y)
        canvas.line(x, y - _CROSS, x, y + _CROSS)
        canvas.circle(x, y, _CROSS / 2, fill=0)
    canvas.restoreState()


def _key_map(canvas: Canvas, layout: Layout, tile: tuple[int, int]) -> None:
    """Show in the corner of the page which tile this is."""
    x, y = _corner(layout)
    rows, columns = len(layout.rows), len(layout.columns)
    cell = min((SIDE - 2) / columns, (FOOT - 7) / rows)
    for i in range(rows):
        for j in range(columns):
            here = (x - SIDE + j * cell, y - 7 - (i + 1) * cell)
            canvas.setFillColor(HexColor("#101418" if (i, j) == tile else "#ffffff"))
            canvas.setStrokeColor(HexColor("#101418"))
            canvas.setLineWidth(0.13)
            if (i, j) in layout.tiles:
                canvas.rect(*here, cell, cell, fill=1)
    canvas.setFillColor(HexColor("#101418"))
    _write(canvas, (x - SIDE, y - 5.5), f"tile {layout.tiles.index(tile) + 1}", _SMALL)


def _cover(canvas: Canvas, sheet: Sheet, layout: Layout) -> None:
    """Draw the whole reduced, with the tiles numbered, and say how they go together."""
    x, y = _corner(layout)
    wide, high = layout.window
    left, bottom, right, top = sheet.box
    low, reach = min([bottom, *layout.rows]), max(top, *(row + high for row in layout.rows))
    start, end = min([left, *layout.columns]), max(right, *(column + wide for column in layout.columns))
    reduced = min(wide / (end - start), 0.45 * high / (reach - low))
    _write(canvas, (x, y + high - 6), fitted(sheet.title, wide, 5.0)[0], fitted(sheet.title, wide, 5.0)[1])
    _write(canvas, (x, y + high - 12), f"sheet {sheet.name}, reduced; the tiles are at full size", 3.0)
    canvas.saveState()
    canvas.translate(x - start * reduced, y + high - 16 - reach * reduced)
    canvas.scale(reduced, reduced)
    _draw(canvas, sheet.entities)
    canvas.setStrokeColor(HexColor("#101418"))
    canvas.setLineWidth(0.25 / reduced)
    for number, tile in enumerate(layout.tiles, start=1):
        a, b, c, d = layout.box(tile)
        half = layout.overlap / 2
        canvas.rect(a + half, b + half, c - a - layout.overlap, d - b - layout.overlap, fill=0)
        canvas.setFillColor(HexColor("#101418"))
        _write(canvas, ((a + c) / 2, (b + d) / 2), str(number), 6.0 / reduced, "center")
    canvas.restoreState()
    at = y + high - 22 - (reach - low) * reduced
    check = f"After taping check with a long rule: {sheet.check}." if sheet.check else ""
    for step in filter(None, (*_ASSEMBLY, check, *sheet.cautions)):
        for line in wrapped(step, wide, _SMALL):
            if at < y + 2:
                return
            _write(canvas, (x + 3, at), line, _SMALL)
            at -= _SMALL * _STEP
        at -= _SMALL * 0.7


def _draw(canvas: Canvas, entities: Iterable[Line | Contour | Circle | Text]) -> None:
    for entity in entities:
        pen = PENS[entity.layer]
        canvas.setStrokeColor(HexColor(pen.colour))
        canvas.setFillColor(HexColor(pen.colour))
        canvas.setLineWidth(pen.width)
        canvas.setDash(list(pen.dashes))
        match entity:
            case Line():
                canvas.line(*entity.start, *entity.end)
            case Circle():
                canvas.circle(*entity.centre, entity.radius, fill=0)
            case Contour():
                canvas.drawPath(_path(canvas, entity), fill=0)
            case Text():
                x, y = entity.baseline()
                _write(canvas, (x, y), entity.text, entity.height, entity.across, entity.turn)


def _path(canvas: Canvas, contour: Contour) -> Any:  # noqa: ANN401 - reportlab is untyped
    path = canvas.beginPath()
    path.moveTo(*contour.corners[0])
    for start, end, bulge in contour.sides():
        if not bulge:
            path.lineTo(*end)
            continue
        arc = Arc.between(start, end, bulge)
        (x, y), radius = arc.centre, arc.radius
        box = x - radius, y - radius, x + radius, y + radius
        path.arcTo(*box, math.degrees(arc.begin), math.degrees(arc.turn))
    path.close()
    return path


def _write(
    canvas: Canvas,
    at: Point,
    text: str,
    height: float,
    across: str = "left",
    turn: float = 0.0,
    *,
    lift: float = 0.0,
) -> None:
    letters = _letters()
    text = "".join(letter if ord(letter) in letters else "?" for letter in unicodedata.normalize("NFC", text))
    canvas.saveState()
    canvas.translate(*at)
    canvas.rotate(turn)
    canvas.setFont(_FONT, height / _CAPITALS)
    draw = {"left": canvas.drawString, "center": canvas.drawCentredString, "right": canvas.drawRightString}[across]
    draw(0, lift, text)
    canvas.restoreState()


def _width(text: str, height: float) -> float:
    return float(pdfmetrics.stringWidth(text, _FONT, height / _CAPITALS))
