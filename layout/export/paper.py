"""Paper: its sizes, and how a drawing is shared out over pages."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely

from slotwright.layout.drawing.sheet import Circle, Contour, Layer, Line, Text
from slotwright.layout.errors import LengthError, PaperError
from slotwright.layout.units import MM_PER_INCH, parse_length

if TYPE_CHECKING:
    from slotwright.layout.drawing.sheet import Box, Sheet

# mm. ISO 216; letter and tabloid are sizes A and B of ASME Y14.1, in inches.
SIZES: Final = {
    "A4": (210.0, 297.0),
    "A3": (297.0, 420.0),
    "A2": (420.0, 594.0),
    "A1": (594.0, 841.0),
    "A0": (841.0, 1189.0),
    **{
        name: (width * MM_PER_INCH, height * MM_PER_INCH)
        for name, width, height in (
            ("letter", 8.5, 11),
            ("tabloid", 11, 17),
            ("ASME-A", 8.5, 11),
            ("ASME-B", 11, 17),
            ("ASME-C", 17, 22),
            ("ASME-D", 22, 34),
            ("ASME-E", 34, 44),
        )
    },
}
MOST_PAGES: Final = 40
MOST_CORRECTION: Final = 0.03

SIDE: Final = 15.0  # mm at the left of a page for its upright rule
FOOT: Final = 20.0  # mm at its foot for the level rule and what is said
_LEAST: Final = 102.0  # mm, room for a rule of 100 mm
_CLEAR: Final = 5.0  # mm from a seam to a cut, enough to tape and to mark (common practice, no source)
_NUMBER: Final = re.compile(r"[0-9]+\.?[0-9]*|\.[0-9]+")
_LONGEST_BAR: Final = 10_000.0  # mm
_PLACES: Final = 200  # of the grid to try between its two ends


@dataclass(frozen=True, slots=True)
class Layout:
    """A drawing shared out over pages.

    Parameters
    ----------
    paper
        Width and height of the paper, turned as it is used [mm].
    margin
        Border that a printer leaves blank [mm].
    overlap
        What neighbouring tiles both show [mm].
    scale
        What the printer makes of the two axes is divided by these.
    window
        Width and height of what a page shows [mm of the drawing].
    columns, rows
        Left ends and bottom ends of the tiles [mm of the drawing].
    tiles
        Row and column of each page that shows anything; row 0 is the top one.
    """

    paper: tuple[float, float]
    margin: float
    overlap: float
    scale: tuple[float, float]
    window: tuple[float, float]
    columns: tuple[float, ...]
    rows: tuple[float, ...]
    tiles: tuple[tuple[int, int], ...]

    def box(self, tile: tuple[int, int]) -> Box:
        """Give what a tile shows [mm of the drawing]."""
        left, bottom = self.columns[tile[1]], self.rows[tile[0]]
        return left, bottom, left + self.window[0], bottom + self.window[1]


def paper_size(text: str) -> tuple[float, float]:
    """Give the size of a paper by its name, or as width by height with units.

    Parameters
    ----------
    text
        A name from `SIZES`, or such as ``"500 mm x 20 in"``.

    Returns
    -------
    tuple of float
        Width and height [mm].

    Raises
    ------
    PaperError
        Neither of these.
    """
    for name, size in SIZES.items():
        if text.strip().lower().replace(" ", "-") == name.lower():
            return size
    sides = re.split(r"\s*[x\u00d7]\s*", text.strip())
    if len(sides) == 2:
        try:
            width, height = (parse_length(side, "mm") for side in sides)
        except LengthError as error:
            raise PaperError(f'paper "{text}": {error}') from None
        if min(width, height) >= 100 and max(width, height) <= 10_000:
            return width, height
        raise PaperError(
            f'paper "{text}" is {width:g} x {height:g} mm; allowed 100 to 10000; inches as "8.5in x 11in"'
        )
    raise PaperError(f'paper "{text}" is not known; {", ".join(SIZES)}, or width x height from 100 mm on')


def correction(text: str) -> tuple[float, float]:
    """Read how long scale bars are, and give what the next print has to be scaled by.

    Parameters
    ----------
    text
        ``"249.4/250"``, measured over nominal; ``"249.4/250, 199.8/200"`` for the level and the upright
        bar.

    Returns
    -------
    tuple of float
        Factors for the two axes.

    Raises
    ------
    PaperError
        Not understood, or more than 3 %.
    """
    factors = []
    for part in text.split(","):
        measured, slash, nominal = part.partition("/")
        bars = [float(bar) if slash and _NUMBER.fullmatch(bar.strip()) else 0.0 for bar in (measured, nominal)]
        if not all(0 < bar < _LONGEST_BAR for bar in bars):
            raise PaperError(f'"{text}" is not understood; write measured/nominal, such as 249.4/250')
        factors.append(bars[1] / bars[0])
    if not 1 <= len(factors) <= 2:
        raise PaperError(f'"{text}" has {len(factors)} bars; write one, or one for each axis')
    for factor in factors:
        if abs(factor - 1) > MOST_CORRECTION:
            raise PaperError(
                f'"{text}" is off by {100 * abs(factor - 1):.1f} %, more than {100 * MOST_CORRECTION:.0f} %: set the '
                "print dialogue to full size (100 %, no fitting) and measure again"
            )
    return factors[0], factors[-1]


def share_out(
    sheet: Sheet,
    paper: str = "A4",
    *,
    landscape: bool | None = None,
    margin: float = 10.0,
    overlap: float = 10.0,
    scale: tuple[float, float] = (1.0, 1.0),
) -> Layout:
    """Share a drawing out over as few pages as can be, with no slot on a seam where that can be had.

    Parameters
    ----------
    sheet
        The drawing.
    paper
        Name or size of the paper.
    landscape
        Turn the paper on its side or upright; whatever takes fewer pages when None.
    margin, overlap
        Border of the paper, and what neighbours both show [mm].
    scale
        Printer correction, from `correction`.

    Returns
    -------
    Layout
        One page when the drawing fits, tiles otherwise.

    Raises
    ------
    PaperError
        More than 40 pages; the message names the smallest paper that does.
    """
    short, long = sorted(paper_size(paper))
    turns = {True: [(long, short)], False: [(short, long)], None: [(short, long), (long, short)]}[landscape]
    layouts = [_tiled(sheet, size, margin, overlap, scale) for size in turns]
    best = min(layouts, key=lambda one: len(one.tiles))
    if len(best.tiles) > MOST_PAGES:
        for name, size in sorted(SIZES.items(), key=lambda item: item[1]):
            if size[0] * size[1] <= short * long:
                continue
            sides = [_tiled(sheet, s, margin, overlap, scale) for s in (size, size[::-1])]
            if min(len(one.tiles) for one in sides) <= MOST_PAGES:
                raise PaperError(f"{len(best.tiles)} pages of {paper}; at most {MOST_PAGES}: take {name}")
        raise PaperError(f"{len(best.tiles)} pages of {paper}; at most {MOST_PAGES}: take a larger paper")
    return best


def _tiled(
    sheet: Sheet, paper: tuple[float, float], margin: float, overlap: float, scale: tuple[float, float]
) -> Layout:
    inside = [(side - 2 * margin) / factor for side, factor in zip(paper, scale, strict=True)]
    room = [inside[0] - SIDE, inside[1] - FOOT]
    if min(room) < _LEAST + overlap:
        left_over = f"a margin of {margin:g} mm and an overlap of {overlap:g} mm leave {min(room) - overlap:.0f} mm"
        raise PaperError(f"{left_over} of the paper; the scale bars alone need {_LEAST:.0f} mm")
    left, bottom, right, top = sheet.box
    columns = _ends(left, right, room[0], overlap, _cuts(sheet, 0))
    rows = _ends(bottom, top, room[1], overlap, _cuts(sheet, 1))[::-1]
    shapes = shapely.STRtree([_shape(entity) for entity in sheet.entities])
    window = (room[0], room[1])
    tiles = [
        (i, j)
        for i, y in enumerate(rows)
        for j, x in enumerate(columns)
        if len(shapes.query(shapely.box(x, y, x + window[0], y + window[1]), "intersects"))
    ]
    return Layout(paper, margin, overlap, scale, window, tuple(columns), tuple(rows), tuple(tiles))


def _cuts(sheet: Sheet, axis: int) -> np.ndarray[tuple[int, int], np.dtype[np.float64]]:
    """Give what the slots cover along an axis, from and to, shape (n, 2); outlines and holes where there are none."""
    for layers in ({Layer.CUT_SLOTS}, {Layer.CUT_OUTLINE, Layer.POCKET, Layer.DRILL}):
        if found := [entity.box()[axis::2] for entity in sheet.entities if entity.layer in layers]:
            return np.array(found)
    return np.empty((0, 2))


def _ends(
    low: float, high: float, room: float, overlap: float, cuts: np.ndarray[tuple[int, int], np.dtype[np.float64]]
) -> list[float]:
    """Place the low ends of as few tiles as can be along one axis, about the middle, their seams clear of cuts."""
    if high - low <= room:
        return [(low + high - room) / 2]
    pitch = room - overlap
    count = math.ceil((high - low - overlap) / pitch)
    slack = count * pitch + overlap - (high - low)
    shifts = np.linspace(0.0, slack, _PLACES)
    seams = low - shifts[:, None] + pitch * np.arange(1, count) + overlap / 2
    shift = slack / 2
    if len(cuts):
        clear = np.maximum(cuts[:, 0] - seams[..., None], seams[..., None] - cuts[:, 1]).min(axis=(1, 2))
        if clear.max() > 0:
            shift = float(min(shifts[clear >= min(clear.max(), _CLEAR)], key=lambda each: abs(each - slack / 2)))
    return [low - shift + pitch * n for n in range(count)]


def _shape(entity: Line | Contour | Circle | Text) -> shapely.Geometry:
    match entity:
        case Line():
            return shapely.LineString([entity.start, entity.end])
        case Contour():
            return shapely.LinearRing(entity.points())
        case Circle():
            return shapely.Point(entity.centre).buffer(entity.radius).exterior
        case Text():
            return shapely.Polygon(entity.corners())
