"""How a drawing is shared out over pages: as few as can be, their seams clear of what must stay whole."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely

from slotwright.layout.drawing.sheet import Circle, Contour, Layer, Line, Text, extents
from slotwright.layout.errors import PaperError
from slotwright.layout.export.paper import SIZES, paper_size

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from slotwright.layout.drawing.sheet import Box, Sheet
    from slotwright.layout.instrument.arcs import Point

    Tile = tuple[int, int]
    Drawn = Line | Contour | Circle | Text
    Floats = NDArray[np.float64]

MOST_PAGES: Final = 40
SIDE: Final = 12.0  # mm at the left of a page for its upright scale bar and the names of seams
FOOT: Final = 20.0  # mm at its foot for the level bar, the names of seams, the key map and what is said
_LEAST: Final = 102.0  # mm, room for a bar of 100 mm
_PEN: Final = 0.3  # mm that lines reach beyond their middles
_CLEAR: Final = 5.0  # mm from a seam to a cut, enough to tape and to mark (common practice, no source)
CROSS: Final = 3.0  # mm, arm of a registration cross
_ASIDE: Final = np.array(sorted(np.linspace(-0.15, 0.15, 13), key=abs))  # of a seam that a cross may move along it
_EVEN: Final = 60  # places of the grid to try besides those that things on the drawing suggest
_RASTER: Final = 2000  # fields of the longer side of the map of ink
_LOOKED_AT: Final = 40  # of the best places, at most
_MOST_TRIED: Final = 1_000_000  # tiles looked at while the grid is placed

_WHOLE: Final = frozenset({Layer.CUT_SLOTS, Layer.MARK, Layer.DRILL, Layer.POCKET})
_WEIGHTS: Final = (1e6, 1e3, 1.0)  # of cutting one of these, a label, an outline


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
    framed
        One page shows the whole sheet with its frame; otherwise tiles show the drawing, and covers tell the rest.
    crosses
        Registration crosses: two tiles that both have it, and its middle [mm of the drawing].
    """

    paper: tuple[float, float]
    margin: float
    overlap: float
    scale: tuple[float, float]
    window: tuple[float, float]
    columns: tuple[float, ...]
    rows: tuple[float, ...]
    tiles: tuple[tuple[int, int], ...]
    framed: bool = False
    crosses: tuple[tuple[Tile, Tile, Point], ...] = ()

    def box(self, tile: tuple[int, int]) -> Box:
        """Give what a tile shows [mm of the drawing]."""
        left, bottom = self.columns[tile[1]], self.rows[tile[0]]
        return left, bottom, left + self.window[0], bottom + self.window[1]

    def neighbours(self, tile: tuple[int, int]) -> list[Seam]:
        """Give the seams of a tile: those to the tiles beside, above and below it that there are."""
        row, column = tile
        left, bottom, right, top = self.box(tile)
        found = []
        for step in (-1, 1):
            if (row, column + step) in self.tiles:
                at = self.columns[max(column, column + step)] + self.overlap / 2
                found.append(Seam((row, column + step), at, (bottom, top), upright=True))
            if (row + step, column) in self.tiles:
                at = self.rows[min(row, row + step)] + self.overlap / 2
                found.append(Seam((row + step, column), at, (left, right), upright=False))
        return found

    def number(self, tile: tuple[int, int]) -> int:
        """Give the number of a tile, from 1."""
        return self.tiles.index(tile) + 1


@dataclass(frozen=True, slots=True)
class Seam:
    """Where two tiles meet.

    Parameters
    ----------
    other
        Row and column of the tile beyond it.
    at
        Its x when it is upright, its y otherwise [mm of the drawing].
    reach
        Where it begins and ends along the other axis [mm].
    upright
        It runs up the drawing.
    """

    other: tuple[int, int]
    at: float
    reach: tuple[float, float]
    upright: bool

    def cuts(self, box: Box) -> bool:
        """Tell whether it runs through a box."""
        across, along = (box[::2], box[1::2]) if self.upright else (box[1::2], box[::2])
        return across[0] < self.at < across[1] and along[0] < self.reach[1] and self.reach[0] < along[1]


@dataclass(frozen=True, slots=True)
class _Placed:
    """A grid, and how good it is: tiles, what is cut, how near seams come, how far from the middle."""

    layout: Layout
    cost: tuple[float, ...]


def share_out(
    sheet: Sheet,
    paper: str = "A4",
    *,
    landscape: bool | None = None,
    margin: float = 10.0,
    overlap: float = 10.0,
    scale: tuple[float, float] = (1.0, 1.0),
) -> Layout:
    """Share a sheet out over as few pages as can be, with no slot, mark, hole or label on a seam if possible.

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
        One page when the sheet fits with its frame; otherwise tiles that show the drawing alone.

    Raises
    ------
    PaperError
        More than 40 tiles; the message names the smallest paper that does.
    """
    short, long = sorted(paper_size(paper))
    turns = {True: [(long, short)], False: [(short, long)], None: [(short, long), (long, short)]}[landscape]
    blanks = [_blank(size, margin, overlap, scale) for size in turns]
    box = _inked((*sheet.drawing, *sheet.frame))
    for blank in blanks:
        if all(high - low <= room for low, high, room in _spans(box, blank)):
            return _centred(box, blank)
    best = _best(sheet, blanks)
    if len(best.tiles) > MOST_PAGES:
        for name, size in sorted(SIZES.items(), key=lambda item: item[1]):
            if size[0] * size[1] <= short * long:
                continue
            larger = _best(sheet, [_blank(side, margin, overlap, scale) for side in (size, size[::-1])])
            if len(larger.tiles) <= MOST_PAGES:
                raise PaperError(f"{len(best.tiles)} pages of {paper}; at most {MOST_PAGES}: take {name}")
        raise PaperError(f"{len(best.tiles)} pages of {paper}; at most {MOST_PAGES}: take a larger paper")
    return best


def whole(drawing: Sequence[Drawn]) -> tuple[Sequence[Drawn], Sequence[Drawn], Sequence[Drawn]]:
    """Give what is kept off seams: slots, marks, holes and pockets first of all, labels, then outlines."""
    texts = [entity for entity in drawing if isinstance(entity, Text)]
    lines = [entity for entity in drawing if not isinstance(entity, Text)]
    return (
        [entity for entity in lines if entity.layer in _WHOLE],
        texts,
        [entity for entity in lines if entity.layer == Layer.CUT_OUTLINE],
    )


def shape(entity: Drawn) -> shapely.Geometry:
    """Give what an entity marks on the paper: its lines, or the field that a text covers."""
    match entity:
        case Line():
            return shapely.LineString([entity.start, entity.end])
        case Contour():
            return shapely.LinearRing(entity.points())
        case Circle():
            return shapely.Point(entity.centre).buffer(entity.radius).exterior
        case Text():
            return shapely.Polygon(entity.corners())


def _blank(paper: tuple[float, float], margin: float, overlap: float, scale: tuple[float, float]) -> Layout:
    """Give a page without tiles yet."""
    inside = [(side - 2 * margin) / factor for side, factor in zip(paper, scale, strict=True)]
    window = (inside[0] - SIDE, inside[1] - FOOT)
    if min(window) < _LEAST + overlap:
        left_over = f"a margin of {margin:g} mm and an overlap of {overlap:g} mm leave {min(window) - overlap:.0f} mm"
        raise PaperError(f"{left_over} of the paper; the scale bars alone need {_LEAST:.0f} mm")
    return Layout(paper, margin, overlap, scale, window, (), (), ())


def _inked(entities: Sequence[Drawn]) -> Box:
    left, bottom, right, top = extents(entities)
    return left - _PEN, bottom - _PEN, right + _PEN, top + _PEN


def _spans(box: Box, blank: Layout) -> list[tuple[float, float, float]]:
    """Give where a box begins and ends along both axes, and how much of it a page holds."""
    return [(box[axis], box[axis + 2], blank.window[axis]) for axis in (0, 1)]


def _centred(box: Box, blank: Layout) -> Layout:
    """Put all on one page."""
    columns, rows = (((low + high - room) / 2,) for low, high, room in _spans(box, blank))
    return replace(blank, columns=columns, rows=rows, tiles=((0, 0),), framed=True)


def _best(sheet: Sheet, blanks: Sequence[Layout]) -> Layout:
    box = _inked(sheet.drawing)
    ink = _Ink.of(sheet.drawing, box)
    shapes = shapely.STRtree([shape(entity) for entity in sheet.drawing])
    best = min((_placed(sheet, blank, box, ink, shapes) for blank in blanks), key=lambda each: each.cost).layout
    return replace(best, crosses=_crosses(best, shapes))


def _placed(sheet: Sheet, blank: Layout, box: Box, ink: _Ink, shapes: shapely.STRtree) -> _Placed:
    """Place the grid over the drawing."""
    groups = [np.array([entity.box() for entity in group]).reshape(-1, 4) for group in whole(sheet.drawing)]
    drawn = np.array([entity.box() for entity in sheet.drawing])
    axes = [
        _Axis.over(low, high, room, blank.overlap, [group[:, axis::2] for group in groups], drawn[:, axis::2])
        for axis, (low, high, room) in enumerate(_spans(box, blank))
    ]
    if math.prod(axis.starts.size for axis in axes) > _MOST_TRIED:
        axes = [axis.thinned(math.sqrt(_MOST_TRIED) / axis.starts.shape[1]) for axis in axes]
    across, up = axes
    # What two tiles share goes to the first of them, or to whichever is there anyway: as many at most, and at least.
    most, least = ink.tiles(across, up), ink.tiles(across, up, alone=True)
    cut = across.cut[:, None] + up.cut[None]
    near = np.minimum(across.clear[:, None], up.clear[None])
    off = across.off[:, None] + up.off[None]
    look = _LOOKED_AT if least.min() <= MOST_PAGES else 1  # too many are not printed, whichever they are
    few, perhaps = (
        np.lexsort((off.ravel(), -near.ravel(), cut.ravel(), tiles.ravel()))[:look] for tiles in (most, least)
    )
    whole_first = np.lexsort((off.ravel(), -near.ravel(), most.ravel(), cut.ravel()))
    found = []
    # The map of ink is coarse: whether a tile shows the tip of a line is told by the line.
    for place in dict.fromkeys((*few, *perhaps, *whole_first[most.ravel()[whole_first] <= most.min() + 1][:look])):
        i, j = divmod(int(place), most.shape[1])
        grid = replace(blank, columns=tuple(across.ends(i)), rows=tuple(up.ends(j)[::-1]))
        shown = _shown(shapes, grid)
        found.append(_Placed(replace(grid, tiles=shown), (len(shown), cut[i, j], -near[i, j], off[i, j])))
        if len(shown) <= least.min() and not cut[i, j]:
            break
    return min(found, key=lambda each: each.cost)


def _shown(shapes: shapely.STRtree, grid: Layout) -> tuple[tuple[int, int], ...]:
    """Name the tiles that show something alone, and of the others those that something is still missing without."""
    own = grid.overlap + 1e-6
    rows, columns = len(grid.rows), len(grid.columns)
    i, j = (each.ravel() for each in np.indices((rows, columns)))
    left, bottom = np.array(grid.columns)[j], np.array(grid.rows)[i]
    right, top = left + grid.window[0], bottom + grid.window[1]
    fields = shapely.box(
        left + own * (j > 0), bottom + own * (i < rows - 1), right - own * (j < columns - 1), top - own * (i > 0)
    )
    boxes = shapely.box(left - 1e-6, bottom - 1e-6, right + 1e-6, top + 1e-6)
    found = np.zeros(rows * columns, dtype=bool)
    found[shapes.query(fields, "intersects")[0]] = True
    missing = shapely.difference(shapes.geometries, shapely.union_all(boxes[found]))
    touched = np.unique(shapes.query(boxes[~found], "intersects")[0])
    for tile in np.flatnonzero(~found)[touched]:
        if shapely.intersects(boxes[tile], missing).any():
            found[tile] = True
            missing = shapely.difference(missing, boxes[tile])
    return tuple((int(i[tile]), int(j[tile])) for tile in np.flatnonzero(found))


def _crosses(layout: Layout, shapes: shapely.STRtree) -> tuple[tuple[Tile, Tile, Point], ...]:
    """Place two crosses on every seam, where they cover as little of the drawing as can be."""
    found = []
    for tile in layout.tiles:
        for seam in layout.neighbours(tile):
            if seam.other < tile:
                continue
            begin, end = seam.reach
            for quarter in (0.25, 0.75):
                alongs = begin + (end - begin) * (quarter + _ASIDE)
                points = [(seam.at, float(y)) if seam.upright else (float(y), seam.at) for y in alongs]
                covered = [
                    len(shapes.query(shapely.Point(point).buffer(CROSS + 1), "intersects")) for point in points
                ]
                found.append((tile, seam.other, points[int(np.argmin(covered))]))
    return tuple(found)


@dataclass(frozen=True, slots=True)
class _Axis:
    """Places of the grid to choose from, along one axis.

    Parameters
    ----------
    room, overlap
        What a page shows, and what two of them share [mm].
    starts
        Low ends of the tiles in each place, shape (places, tiles) [mm]; NaN where a place has fewer tiles.
    cut
        What is cut by the seams, weighed.
    clear
        How far seams stay from what must stay whole, at most what is needed [mm].
    off
        How far the drawing stands from the middle of the tiles [mm].
    """

    room: float
    overlap: float
    starts: Floats
    cut: Floats
    clear: Floats
    off: Floats

    @classmethod
    def over(
        cls, low: float, high: float, room: float, overlap: float, groups: Sequence[Floats], drawn: Floats
    ) -> _Axis:
        """Find the places: between all that a seam could cut, where a tile just takes something in, and evenly."""
        if high - low <= room:
            nothing = np.zeros(1)
            return cls(room, overlap, np.array([[(low + high - room) / 2]]), nothing, nothing + _CLEAR, nothing)
        step, long = room - overlap, high - low - overlap
        fits = math.ceil(long / step - 1e-9) * step - long  # with no more, as few tiles as can be reach the end
        edges = np.concatenate([(low + overlap / 2 - group.ravel()) % step for group in groups])
        takes = np.unique(
            np.round(np.concatenate((low - drawn[:, 0] + _PEN, low + room - drawn[:, 1] - _PEN)) % step)
        )
        breaks = np.unique(np.concatenate((edges, [0.0, fits, step])))
        between = (breaks[1:] + breaks[:-1]) / 2
        shifts = np.concatenate(
            ([0.0, fits, fits / 2], between, takes, np.linspace(0, fits, _EVEN), np.linspace(0, step, _EVEN))
        )
        shifts = np.unique(shifts[shifts < step])
        counts = np.ceil((long + shifts) / step - 1e-9)
        numbers = np.arange(counts.max())
        starts = np.where(numbers < counts[:, None], low - shifts[:, None] + step * numbers, np.nan)
        seams = starts[:, 1:] + overlap / 2
        cut, clear = np.zeros(len(shifts)), np.full(len(shifts), _CLEAR)
        for weight, group in zip(_WEIGHTS, groups, strict=True):
            for begin, end in group[group[:, 1] - group[:, 0] < room]:  # what is longer is cut anyway
                away = np.fmax(begin - seams, seams - end)  # NaN, no seam, cuts nothing
                cut += weight * (away < 0).sum(axis=1)
                clear = np.minimum(
                    clear, np.where(away >= 0, away, np.inf).min(axis=1)
                )  # from what is not cut anyway
        middle = (low + high) / 2
        off = np.abs(starts[:, 0] + ((counts - 1) * step + room) / 2 - middle)
        return cls(room, overlap, starts, cut, clear, off)

    def thinned(self, many: float) -> _Axis:
        """Keep as many places, the best and others evenly."""
        half = max(2, int(many / 2))
        best = np.lexsort((self.off, -self.clear, self.cut))[:half]
        keep = np.union1d(best, np.linspace(0, len(self.starts) - 1, half).astype(int))
        return replace(self, **{name: getattr(self, name)[keep] for name in ("starts", "cut", "clear", "off")})

    def ends(self, place: int) -> list[float]:
        """Give the low ends of the tiles in a place."""
        return [float(start) for start in self.starts[place] if not np.isnan(start)]


@dataclass(frozen=True, slots=True)
class _Ink:
    """Where a drawing has ink, on a map of square fields summed up from its lower left corner."""

    corner: tuple[float, float]
    field: float
    summed: NDArray[np.int64]

    @classmethod
    def of(cls, drawing: Sequence[Drawn], box: Box) -> _Ink:
        """Map a drawing that fills a box."""
        field = max(1.0, max(box[2] - box[0], box[3] - box[1]) / _RASTER)
        corner = np.array(box[:2])
        counts = np.ceil((np.array(box[2:]) - corner) / field).astype(int) + 1
        inked = np.zeros(counts, dtype=bool)
        for entity in drawing:
            if isinstance(entity, Text):
                left, bottom, right, top = ((np.array(entity.box()) - np.tile(corner, 2)) / field).astype(int)
                inked[left : right + 1, bottom : top + 1] = True
                continue
            for start, end in pairwise(shapely.get_coordinates(shape(entity))):
                many = int(np.abs(end - start).max() / field * 2) + 2
                x, y = ((np.linspace(start, end, many) - corner) / field).astype(int).T
                inked[x, y] = True
        summed = np.zeros(counts + 1, dtype=np.int64)
        summed[1:, 1:] = inked.cumsum(axis=0).cumsum(axis=1)
        return cls((float(corner[0]), float(corner[1])), field, summed)

    def tiles(self, across: _Axis, up: _Axis, *, alone: bool = False) -> NDArray[np.int64]:
        """Count the tiles with ink of their own for each pair of places, shape (places across, places up).

        What two of them share belongs to the left or the upper one; to neither where `alone` is asked for.
        """
        a, b = self._fields(across, 0, both=alone)
        c, d = self._fields(up, 1, down=True, both=alone)
        left, right, low, high = a.ravel(), b.ravel(), c.ravel(), d.ravel()
        s = self.summed
        ink = s[np.ix_(right, high)] - s[np.ix_(left, high)] - s[np.ix_(right, low)] + s[np.ix_(left, low)]
        return np.asarray((ink > 0).reshape(*a.shape, *c.shape).sum(axis=(1, 3)))

    def _fields(
        self, axis: _Axis, which: int, *, down: bool = False, both: bool = False
    ) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """Give the first and the last field of what each tile shows and the one before it, or both beside, do not."""
        begin, end = axis.starts.copy(), axis.starts + axis.room
        if down or both:  # rows are numbered from the top: what two share belongs to the upper one
            last = np.isnan(np.column_stack((axis.starts[:, 1:], np.full(len(axis.starts), np.nan))))
            end = np.where(last, end, end - axis.overlap)
        if both or not down:
            begin[:, 1:] += axis.overlap
        most = self.summed.shape[which] - 1
        places = [(each - self.corner[which]) / self.field for each in (begin, end)]
        first, stop = (np.clip(np.nan_to_num(np.round(each)), 0, most).astype(np.int64) for each in places)
        return first, np.where(np.isnan(axis.starts), first, stop)
