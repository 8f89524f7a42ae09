"""Sheet: a neutral drawing of lines, contours, circles, texts and dimensions on named layers.

Lengths in mm, x to the right and y up. An exporter walks `Sheet.entities` and decides nothing.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import TYPE_CHECKING, Final, Literal

from slotwright.layout.drawing.lettering import cleaned, text_width
from slotwright.layout.instrument.arcs import Arc, Point

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from slotwright.layout.units import Unit

Box = tuple[float, float, float, float]  # left, bottom, right, top
Across = Literal["left", "center", "right"]
Up = Literal["bottom", "middle", "top"]


class Layer(StrEnum):
    """Layers of every drawing, DXF and SVG alike."""

    CUT_OUTLINE = "CUT_OUTLINE"
    CUT_SLOTS = "CUT_SLOTS"
    POCKET = "POCKET"
    DRILL = "DRILL"
    CONTACT = "CONTACT"
    MARK = "MARK"
    REF_STRINGS = "REF_STRINGS"
    REF_CENTRE = "REF_CENTRE"
    REF_SADDLE = "REF_SADDLE"
    REF_BLANK = "REF_BLANK"
    DIM = "DIM"
    TEXT = "TEXT"
    FRAME = "FRAME"


@dataclass(frozen=True, slots=True)
class Pen:
    """How the lines of a layer look.

    Parameters
    ----------
    colour
        Colour on screen and paper.
    index
        A numbered DXF colour of that hue, light enough for a dark screen and dark enough for a white one.
    width
        Line width [mm], from ISO 128.
    dashes
        Lengths of dash and gap in turn [mm]; empty for an unbroken line.
    """

    colour: str
    index: int
    width: float
    dashes: tuple[float, ...] = ()


# Widths from ISO 128. The frame is wider than the part but paler: what is cut stands out.
PENS: Final[dict[Layer, Pen]] = {
    Layer.CUT_OUTLINE: Pen("#101418", 7, 0.35),
    Layer.CUT_SLOTS: Pen("#1d3f8a", 150, 0.25),
    Layer.POCKET: Pen("#0b6470", 134, 0.25),
    Layer.DRILL: Pen("#7a1f5c", 220, 0.25),
    Layer.CONTACT: Pen("#a3390c", 20, 0.25),
    Layer.MARK: Pen("#1d5e38", 102, 0.18),
    Layer.REF_STRINGS: Pen("#7d705a", 8, 0.13),
    Layer.REF_CENTRE: Pen("#6d7680", 8, 0.13, (6.0, 1.2, 0.8, 1.2)),
    Layer.REF_SADDLE: Pen("#8a4b12", 32, 0.13, (3.0, 1.2)),
    Layer.REF_BLANK: Pen("#6d7680", 8, 0.13, (1.6, 1.2)),
    Layer.DIM: Pen("#3c4650", 8, 0.18),
    Layer.TEXT: Pen("#101418", 7, 0.18),
    Layer.FRAME: Pen("#3c4650", 8, 0.5),
}


# What a cutter follows: in DXF a hairline, for its middle is what counts. In the order of work.
FOLLOWED: Final = (Layer.DRILL, Layer.POCKET, Layer.CUT_SLOTS, Layer.CUT_OUTLINE)


@dataclass(frozen=True, slots=True)
class Line:
    """A straight line between two points."""

    layer: Layer
    start: Point
    end: Point

    def mirrored(self) -> Line:
        """Give the line with y negated."""
        return replace(self, start=_flip(self.start), end=_flip(self.end))

    def box(self) -> Box:
        """Give what the line covers."""
        return _box([self.start, self.end])


@dataclass(frozen=True, slots=True)
class Contour:
    """A closed contour of straight sides and circular arcs.

    Parameters
    ----------
    layer
        Its layer.
    corners
        Corners [mm]; the first is not repeated.
    bulges
        One number for the side that leaves each corner: the tangent of a quarter of its angle,
        0 straight, positive anticlockwise (as DXF has it). Empty when all are straight.
    thickness
        Of the part that it bounds [mm], where one is stated: for parts in the round.
    """

    layer: Layer
    corners: tuple[Point, ...]
    bulges: tuple[float, ...] = ()
    thickness: float | None = None

    def mirrored(self) -> Contour:
        """Give the contour with y negated."""
        corners = tuple(map(_flip, self.corners))
        return replace(self, corners=corners, bulges=tuple(-bulge for bulge in self.bulges))

    def sides(self) -> Iterator[tuple[Point, Point, float]]:
        """Yield start, end and bulge of every side, the closing one last."""
        following = (*self.corners[1:], self.corners[0])
        yield from zip(self.corners, following, self.bulges or (0.0,) * len(self.corners), strict=True)

    def box(self) -> Box:
        """Give what the contour covers."""
        arcs = (Arc.between(*side) for side in self.sides() if side[2])
        return _box([*self.corners, *(point for arc in arcs for point in arc.extremes())])

    def dashes(self) -> list[float]:
        """Give lengths of dashes and gaps all the way round that leave a dash on either side of every corner [mm].

        Empty where its layer is drawn unbroken; a gap of 0 stands at each corner.
        """
        pen, found = PENS[self.layer], list[float]()
        for start, end, bulge in self.sides() if pen.dashes else ():
            if bulge:
                arc = Arc.between(start, end, bulge)
                length = arc.radius * abs(arc.turn)
            else:
                length = math.dist(start, end)
            dash, gap = pen.dashes[:2]
            many = max(0, round((length - dash) / (dash + gap)))
            share = length / (dash + many * (dash + gap))
            found += [*([share * dash, share * gap] * many), share * dash, 0.0]
        return found[:-1]

    def points(self) -> list[Point]:
        """Give its corners, and points along its arcs that straight lines between stay near to [mm]."""
        found: list[Point] = []
        for side in self.sides():
            found += [side[0], *(Arc.between(*side).between_ends() if side[2] else ())]
        return found


@dataclass(frozen=True, slots=True)
class Circle:
    """A circle."""

    layer: Layer
    centre: Point
    radius: float

    def mirrored(self) -> Circle:
        """Give the circle with y negated."""
        return replace(self, centre=_flip(self.centre))

    def box(self) -> Box:
        """Give what the circle covers."""
        (x, y), r = self.centre, self.radius
        return x - r, y - r, x + r, y + r


@dataclass(frozen=True, slots=True)
class Text:
    """A line of text.

    Parameters
    ----------
    layer
        ``TEXT``, ``DIM`` or ``FRAME``: machines that read lines and circles pass over these.
    at
        The point it is set at [mm].
    text
        What it says; control characters and line breaks are taken out.
    height
        Height of its capitals [mm].
    across, up
        Where `at` lies in the text.
    turn
        Rotation, anticlockwise [degrees].
    """

    layer: Layer
    at: Point
    text: str
    height: float = 2.5
    across: Across = "left"
    up: Up = "bottom"
    turn: float = 0.0

    def __post_init__(self) -> None:
        """Take out what no file could hold."""
        object.__setattr__(self, "text", cleaned(self.text))

    def mirrored(self) -> Text:
        """Give the text at the place with y negated; the letters are never mirrored."""
        up: dict[Up, Up] = {"bottom": "top", "middle": "middle", "top": "bottom"}
        across: dict[Across, Across] = {"left": "right", "center": "center", "right": "left"}
        turned = replace(self, at=_flip(self.at), turn=-self.turn, up=up[self.up])
        if -90 < turned.turn <= 90:
            return turned
        # It would be read from the wrong side: turn it round about its point.
        return replace(turned, turn=(turned.turn + 360) % 360 - 180, up=up[turned.up], across=across[turned.across])

    def baseline(self) -> Point:
        """Give the point of the baseline below `at` [mm]."""
        drop = {"bottom": 0.0, "middle": self.height / 2, "top": self.height}[self.up]
        turn = math.radians(self.turn)
        return self.at[0] + drop * math.sin(turn), self.at[1] - drop * math.cos(turn)

    def corners(self) -> list[Point]:
        """Give the corners of what the text covers, descenders included [mm]."""
        width = text_width(self.text, self.height)
        left = {"left": 0.0, "center": -width / 2, "right": -width}[self.across]
        (x, y), turn = self.baseline(), math.radians(self.turn)
        cos, sin = math.cos(turn), math.sin(turn)
        right, low, high = left + width, -0.3 * self.height, self.height
        corners = [(left, low), (right, low), (right, high), (left, high)]
        return [(x + a * cos - b * sin, y + a * sin + b * cos) for a, b in corners]

    def box(self) -> Box:
        """Give what the text covers."""
        return _box(self.corners())


@dataclass(frozen=True, slots=True)
class Dimension:
    """A distance, drawn as a line with oblique strokes at its ends.

    Parameters
    ----------
    start, end
        Ends of the dimension line [mm].
    text
        What it says.
    feet
        Where the extension lines to start and end come from [mm].
    beyond
        The text stands past the end of the line instead of along its middle, as it does anyway
        where the line is too short for it.
    """

    start: Point
    end: Point
    text: str
    feet: tuple[Point, Point]
    beyond: bool = False
    height: float = 2.5

    def mirrored(self) -> Dimension:
        """Give the dimension with y negated; its text stays above the line."""
        feet = (_flip(self.feet[0]), _flip(self.feet[1]))
        return replace(self, start=_flip(self.start), end=_flip(self.end), feet=feet)

    def parts(self) -> Iterator[Line | Text]:
        """Yield the lines and the text it is drawn with."""
        (x0, y0), (x1, y1) = self.start, self.end
        length = math.hypot(x1 - x0, y1 - y0)
        cos, sin = (x1 - x0) / length, (y1 - y0) / length
        yield Line(Layer.DIM, self.start, self.end)
        for (x, y), foot in zip((self.start, self.end), self.feet, strict=True):
            # Oblique strokes need no room inside a short dimension, as arrows do.
            slant = 0.7 * (cos - sin), 0.7 * (sin + cos)
            yield Line(Layer.DIM, (x - slant[0], y - slant[1]), (x + slant[0], y + slant[1]))
            away = math.hypot(x - foot[0], y - foot[1])
            if away > 1.5:
                step = (x - foot[0]) / away, (y - foot[1]) / away
                yield Line(
                    Layer.DIM,
                    (foot[0] + step[0], foot[1] + step[1]),
                    (x + 1.2 * step[0], y + 1.2 * step[1]),
                )
        turn = math.degrees(math.atan2(sin, cos))
        upright = -89.9 < turn <= 90.1
        turn = turn if upright else (turn + 360) % 360 - 180
        if self.beyond or text_width(self.text, self.height) > length - 3:
            at = x1 + 2 * cos, y1 + 2 * sin
            yield Text(Layer.DIM, at, self.text, self.height, "left" if upright else "right", "middle", turn)
        else:
            side = 1.0 if upright else -1.0
            at = (x0 + x1) / 2 - side * sin, (y0 + y1) / 2 + side * cos
            yield Text(Layer.DIM, at, self.text, self.height, "center", "bottom", turn)

    def box(self) -> Box:
        """Give what the dimension covers."""
        return extents(self.parts())


Entity = Line | Contour | Circle | Text | Dimension


@dataclass(frozen=True, slots=True)
class Passage:
    """A text of a sheet, for those who set it anew on another page.

    Parameters
    ----------
    heading
        What stands above it.
    paragraphs
        Its paragraphs.
    rows
        A table below these, its head first; every row has as many cells as the head.
    """

    heading: str
    paragraphs: tuple[str, ...] = ()
    rows: tuple[tuple[str, ...], ...] = ()


@dataclass(frozen=True, slots=True)
class Sheet:
    """A finished drawing.

    Parameters
    ----------
    name
        Name of the sheet, such as ``board``.
    title
        Title of the plan.
    drawing
        The part itself with its dimensions and labels, dimensions taken apart.
    box
        What the sheet covers, the paper around its border included [mm].
    frame
        What surrounds the drawing: border, texts, tables, title block.
    bars
        The sheet's own scale bars.
    revision
        Revision of the job, where stated.
    check
        A distance to check once a print is put together.
    texts
        What is written around the drawing: cautions, notes, tables.
    fields
        Label and value of each cell of the title block.
    units
        Units of the plan: its scale bars show these first.
    mirrored
        It is seen from the back.
    """

    name: str
    title: str
    drawing: tuple[Line | Contour | Circle | Text, ...]
    box: Box
    frame: tuple[Line | Contour | Circle | Text, ...] = ()
    bars: tuple[Line | Contour | Circle | Text, ...] = ()
    revision: str = ""
    check: str = ""
    texts: tuple[Passage, ...] = ()
    fields: tuple[tuple[str, str], ...] = ()
    units: Unit = "mm"
    mirrored: bool = False

    @property
    def entities(self) -> tuple[Line | Contour | Circle | Text, ...]:
        """Everything on it."""
        return self.drawing + self.frame + self.bars

    @property
    def size(self) -> tuple[float, float]:
        """Width and height of what the sheet covers [mm]."""
        left, bottom, right, top = self.box
        return right - left, top - bottom


def extents(entities: Iterable[Entity]) -> Box:
    """Give what all of some entities cover.

    Parameters
    ----------
    entities
        At least one entity.

    Returns
    -------
    tuple of float
        Left, bottom, right, top [mm].
    """
    boxes = [entity.box() for entity in entities]
    return _box([corner for box in boxes for corner in (box[:2], box[2:])])


def _flip(point: Point) -> Point:
    return point[0], -point[1]


def _box(points: Iterable[tuple[float, ...]]) -> Box:
    x, y = zip(*points, strict=True)
    return min(x), min(y), max(x), max(y)
