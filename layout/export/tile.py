"""One tile of a PDF: its part of the drawing, and what it is put together by."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Final

import shapely

from slotwright.layout.drawing.sheet import Layer, Text
from slotwright.layout.export import ink
from slotwright.layout.export.page import corner
from slotwright.layout.export.tiling import CROSS, shape

if TYPE_CHECKING:
    from collections.abc import Iterable

    from reportlab.pdfgen.canvas import Canvas

    from slotwright.layout.drawing.sheet import Box, Circle, Contour, Line, Sheet
    from slotwright.layout.export.tiling import Layout, Seam
    from slotwright.layout.instrument.arcs import Point

    Tile = tuple[int, int]
    Drawn = Line | Contour | Circle | Text

_NAME: Final = 1.8  # mm, height of the name of a seam
_BEYOND: Final = 2.4  # mm that a seam is drawn past the window, where its name stands
_ASIDE: Final = (0.0, 1.0, -1.0, 2.0, -2.0, 4.0, -4.0)  # lines of text that a label off a seam may move aside
_SPARED: Final = frozenset({Layer.CUT_SLOTS, Layer.CUT_OUTLINE, Layer.MARK, Layer.DRILL, Layer.POCKET})


def draw_tile(canvas: Canvas, layout: Layout, tile: Tile, shown: Iterable[Drawn]) -> None:
    """Draw a tile on its page.

    Parameters
    ----------
    canvas
        The file, in true millimetres.
    layout
        How the drawing is shared out.
    tile
        Row and column.
    shown
        What is drawn, in the axes of the drawing; what lies beyond the tile is clipped.
    """
    box, (x, y) = layout.box(tile), corner(layout)
    canvas.saveState()
    canvas.translate(x - box[0], y - box[1])
    canvas.saveState()
    window = canvas.beginPath()
    window.rect(box[0], box[1], *layout.window)
    canvas.clipPath(window, stroke=0)
    ink.draw(canvas, (entity for entity in shown if _meets(entity.box(), box)))
    canvas.restoreState()
    _seams(canvas, layout, tile)
    canvas.restoreState()


def on_tiles(sheet: Sheet, layout: Layout) -> dict[Tile, list[Drawn]]:
    """Give what each tile shows: all of the drawing, but labels on seams whole and on one tile only.

    Parameters
    ----------
    sheet
        The drawing.
    layout
        How it is shared out.

    Returns
    -------
    dict
        Entities for every tile. A label that a seam would cut stands beside the seam.
    """
    if layout.framed:
        return {tile: [*sheet.drawing, *sheet.frame] for tile in layout.tiles}
    cut = {
        id(entity): entity for entity in sheet.drawing if isinstance(entity, Text) and _crossed(entity.box(), layout)
    }
    rest: list[Drawn] = [entity for entity in sheet.drawing if id(entity) not in cut]
    found = {tile: list(rest) for tile in layout.tiles}
    standing = [shape(entity) for entity in rest if isinstance(entity, Text) or entity.layer in _SPARED]
    for label in cut.values():
        tile, moved = _beside(label, layout, standing)
        found[tile].append(moved)
        standing.append(shape(moved))
    return found


def registration(layout: Layout, tile: Tile) -> list[Point]:
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
    return [point for one, other, point in layout.crosses if tile in (one, other)]


def _meets(one: Box, other: Box) -> bool:
    return one[0] <= other[2] and other[0] <= one[2] and one[1] <= other[3] and other[1] <= one[3]


def _crossed(box: Box, layout: Layout) -> list[Seam]:
    return [seam for tile in layout.tiles for seam in layout.neighbours(tile) if seam.cuts(box)]


def _beside(label: Text, layout: Layout, standing: list[shapely.Geometry]) -> tuple[Tile, Text]:
    """Move a label off the seams, as little as it can be and clear of what stands there already."""
    tree, box = shapely.STRtree(standing), label.box()
    tried = []
    for tile in layout.tiles:
        left, bottom, right, top = layout.box(tile)
        half = layout.overlap / 2 + 0.5
        if not _meets(box, (left, bottom, right, top)):
            continue
        sides = {seam.other: seam for seam in layout.neighbours(tile)}
        row, column = tile
        left += half if (row, column - 1) in sides else 0.0
        right -= half if (row, column + 1) in sides else 0.0
        top -= half if (row - 1, column) in sides else 0.0
        bottom += half if (row + 1, column) in sides else 0.0
        x, y = _inward(box[0], box[2], left, right), _inward(box[1], box[3], bottom, top)
        for lines in _ASIDE:
            aside = 1.4 * lines * label.height
            step = (x, y + aside) if abs(x) > abs(y) else (x + aside, y)
            moved = replace(label, at=(label.at[0] + step[0], label.at[1] + step[1]))
            inside = moved.box()
            if (left <= inside[0] and inside[2] <= right and bottom <= inside[1] and inside[3] <= top) or not lines:
                over = len(tree.query(shape(moved), "intersects"))
                tried.append((over, abs(step[0]) + abs(step[1]), tile, moved))
    _, _, tile, moved = min(tried, key=lambda each: each[:3])
    return tile, moved


def _inward(low: float, high: float, begin: float, end: float) -> float:
    """Give the step that brings a span between two limits."""
    if low < begin:
        return begin - low
    return min(0.0, end - high)


def _seams(canvas: Canvas, layout: Layout, tile: Tile) -> None:
    """Draw trim lines with the numbers of the tiles that meet there in the margin, and registration crosses."""
    canvas.setStrokeColor(ink.GREY)
    canvas.setFillColor(ink.GREY)
    canvas.setLineWidth(ink.THIN)
    for seam in layout.neighbours(tile):
        begin, end = seam.reach[0] - _BEYOND, seam.reach[1]
        canvas.setDash([2.0, 1.5])
        canvas.line(*((seam.at, begin, seam.at, end) if seam.upright else (begin, seam.at, end, seam.at)))
        canvas.setDash([])
        first, second = map(str, sorted((layout.number(tile), layout.number(seam.other))))
        if seam.upright:
            ink.write(canvas, (seam.at - 0.7, begin + 0.2), first, _NAME, "right")
            ink.write(canvas, (seam.at + 0.7, begin + 0.2), second, _NAME)
        else:  # tiles are numbered from the top
            ink.write(canvas, (begin, seam.at + 0.7), first, _NAME)
            ink.write(canvas, (begin, seam.at - 0.7 - _NAME), second, _NAME)
    for x, y in registration(layout, tile):
        canvas.line(x - CROSS, y, x + CROSS, y)
        canvas.line(x, y - CROSS, x, y + CROSS)
        canvas.circle(x, y, CROSS / 2, fill=0)
