"""What every page of a PDF has: true millimetres, scale bars on both axes, what it is, and where its tile lies."""

from __future__ import annotations

from contextlib import contextmanager
from typing import TYPE_CHECKING, Final

from slotwright.layout import cautions
from slotwright.layout.drawing.lettering import fitted
from slotwright.layout.drawing.scale_bar import scale_bar
from slotwright.layout.export import ink
from slotwright.layout.export.outside import kept_out
from slotwright.layout.export.tiling import FOOT, SIDE

with kept_out():
    from reportlab.lib.units import mm

if TYPE_CHECKING:
    from collections.abc import Iterator

    from reportlab.pdfgen.canvas import Canvas

    from slotwright.layout.drawing.sheet import Sheet
    from slotwright.layout.export.tiling import Layout
    from slotwright.layout.instrument.arcs import Point

LEVEL: Final = -9.0  # mm, the level bar below the window
UPRIGHT: Final = -6.2  # mm, the upright bar left of it
SMALL: Final = 2.0  # mm, height of capitals of running text
_LINES: Final = (-16.2, -19.6)  # mm, the two lines of text below the window
_MAP: Final = (26.0, 5.4)  # mm, the most that a key map covers


def corner(layout: Layout) -> Point:
    """Give where the window on the drawing begins on a page [mm]."""
    return layout.margin / layout.scale[0] + SIDE, layout.margin / layout.scale[1] + FOOT


def bars(layout: Layout) -> tuple[tuple[Point, float], tuple[Point, float]]:
    """Place the scale bars of a page.

    Parameters
    ----------
    layout
        How the drawing is shared out.

    Returns
    -------
    tuple
        Zero and room of the level bar and of the upright one [mm]. The one along the longer side of the
        paper takes the corner.
    """
    (x, y), (wide, high) = corner(layout), layout.window
    level, upright = (x, y + LEVEL), (x + UPRIGHT, y)
    if layout.paper[0] > layout.paper[1]:
        return ((x - SIDE, level[1]), wide + SIDE), (upright, high)
    return (level, wide), ((upright[0], y - FOOT), high + FOOT)


@contextmanager
def page(
    canvas: Canvas,
    sheet: Sheet,
    layout: Layout,
    place: tuple[int, int],
    said: str,
    tile: tuple[int, int] | None = None,
) -> Iterator[None]:
    """Begin a page and end it.

    Parameters
    ----------
    canvas
        The file.
    sheet
        The drawing.
    layout
        How it is shared out.
    place
        Number of the page, and of all pages.
    said
        What this page is.
    tile
        Row and column of the tile it shows.

    Yields
    ------
    None
        While it is drawn on, in true millimetres from its lower left corner.
    """
    canvas.saveState()
    canvas.scale(layout.scale[0] * mm, layout.scale[1] * mm)
    (level, wide), (upright, high) = bars(layout)
    ink.draw(canvas, scale_bar(level, wide, upright=False, units=sheet.units, words=""))
    ink.draw(canvas, scale_bar(upright, high, upright=True, units=sheet.units, words=""))
    left, y = level[0], corner(layout)[1]
    right = corner(layout)[0] + layout.window[0]
    if len(layout.tiles) > 1:
        left += 3.0 + _key_map(canvas, layout, (left, y + _LINES[1]), tile)
    what = [f"sheet {sheet.name}"]
    what += [f"revision {sheet.revision}"] if sheet.revision else []
    what += ["MIRRORED: seen from the back"] if sheet.mirrored else []
    what += [f"printed {layout.scale[0]:.4f} by {layout.scale[1]:.4f} to come out true"] * (
        layout.scale != (1.0, 1.0)
    )
    _ends(canvas, (left, right), y + _LINES[0], sheet.title, cautions.PRINTS)
    _ends(canvas, (left, right), y + _LINES[1], ", ".join(what), f"{said}page {place[0]} of {place[1]}")
    yield
    canvas.restoreState()
    canvas.showPage()


def _ends(canvas: Canvas, ends: tuple[float, float], y: float, left: str, right: str) -> None:
    """Write to the left and to the right end of a line; the left one gives way."""
    ink.write(canvas, (ends[1], y), right, SMALL, "right")
    text, height = fitted(left, ends[1] - ends[0] - ink.width(right, SMALL) - 4, SMALL)
    ink.write(canvas, (ends[0], y), text, height)


def _key_map(canvas: Canvas, layout: Layout, at: Point, tile: tuple[int, int] | None) -> float:
    """Show where the tiles lie, this one filled; give how wide that is [mm]."""
    rows, columns = len(layout.rows), len(layout.columns)
    wide, high = layout.window
    scale = min(_MAP[0] / (columns * wide), _MAP[1] / (rows * high))
    canvas.setLineWidth(ink.THIN)
    for i, j in layout.tiles:
        canvas.setFillColor(ink.BLACK if (i, j) == tile else ink.WHITE)
        field = (at[0] + j * wide * scale, at[1] + (rows - 1 - i) * high * scale)
        canvas.rect(*field, wide * scale, high * scale, fill=1)
    canvas.setFillColor(ink.BLACK)
    return columns * wide * scale
