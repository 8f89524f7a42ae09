"""The letters that pages carry: what they can say, and their outlines."""

from __future__ import annotations

import io
import math
import unicodedata
from functools import cache, lru_cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any, Final

from slotwright import templates
from slotwright.layout.drawing.sheet import Text
from slotwright.layout.export.outside import kept_out

if TYPE_CHECKING:
    from collections.abc import Iterable

    from slotwright.layout.drawing.sheet import Sheet
    from slotwright.layout.instrument.arcs import Point

    Ring = list[Point]

CAPITALS: Final = 0.73  # height of the capitals of this face over its size
TOLERANCE: Final = 0.01  # mm that the straight sides of an outline may lie off the letter's curve


def printable(text: str) -> str:
    """Put a question mark for every letter that the face does not have.

    Parameters
    ----------
    text
        One line.

    Returns
    -------
    str
        Its letters composed, as the face has them.
    """
    known = _face()[0]
    return "".join(letter if letter in known else "?" for letter in unicodedata.normalize("NFC", text))


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
    known = _face()[0]
    return "".join(letter for letter in dict.fromkeys(unicodedata.normalize("NFC", text)) if letter not in known)


def face() -> bytes:
    """Give the file of the face."""
    return (files(templates) / "letters.ttf").read_bytes()


def outlines(text: Text) -> list[Ring]:
    """Draw a text as the outlines of its letters, for machines that have no letters.

    Parameters
    ----------
    text
        The text.

    Returns
    -------
    list
        Closed rings of points, the first not repeated, within `TOLERANCE` of the letters [mm]. Those inside
        an odd number of others are holes; outer ones run anticlockwise, holes clockwise. None cross.
    """
    _, names, _, units = _face()
    size = text.height / CAPITALS / units  # mm per unit of the face
    turn = math.radians(text.turn)
    cos, sin = size * math.cos(turn), size * math.sin(turn)
    letters = [names[letter] for letter in printable(text.text)]
    steps = [_letter(name, TOLERANCE / size)[1] for name in letters]
    x = {"left": 0.0, "center": -sum(steps) / 2, "right": -sum(steps)}[text.across]
    left, foot = text.baseline()
    found: list[Ring] = []
    for name, step in zip(letters, steps, strict=True):
        found += [
            [(left + cos * (x + a) - sin * b, foot + sin * (x + a) + cos * b) for a, b in ring]
            for ring in _letter(name, TOLERANCE / size)[0]
        ]
        x += step
    return found


@cache
def _face() -> tuple[frozenset[str], dict[str, str], Any, float]:
    """Read the face: the letters it has, their names in it, all their outlines, units to its size."""
    with kept_out():
        from fontTools.ttLib import TTFont  # noqa: PLC0415 - slow to import, and not every format needs it

        font = TTFont(io.BytesIO(face()), lazy=True)
        names = {chr(code): name for code, name in font.getBestCmap().items()}
        return frozenset(names), names, font.getGlyphSet(), float(font["head"].unitsPerEm)


@lru_cache(maxsize=4096)
def _letter(name: str, tolerance: float) -> tuple[tuple[tuple[Point, ...], ...], float]:
    """Give the rings of a letter and the step to the next one, in units of the face."""
    from fontTools.pens.recordingPen import DecomposingRecordingPen  # noqa: PLC0415

    glyphs = _face()[2]
    pen = DecomposingRecordingPen(glyphs)
    glyphs[name].draw(pen)
    rings: list[Ring] = []
    for kind, points in pen.value:
        if kind == "moveTo":
            rings.append([points[0]])
        elif kind == "lineTo":
            rings[-1].append(points[0])
        elif kind == "qCurveTo":
            _curve(rings, points, tolerance)
    return tuple(_whole(ring for ring in rings if len(set(ring)) > 2)), float(glyphs[name].width)


def _curve(rings: list[Ring], points: tuple[Point | None, ...], tolerance: float) -> None:
    """Follow a run of parabolas, whose joints lie midway between their control points."""
    controls, end = [point for point in points[:-1] if point is not None], points[-1]
    if end is None:  # a ring of control points alone begins midway between its last and its first one
        end = _midway(controls[-1], controls[0])
        rings.append([end])
    for number, control in enumerate(controls):
        start = rings[-1][-1]
        stop = end if number == len(controls) - 1 else _midway(control, controls[number + 1])
        bend = math.hypot(start[0] - 2 * control[0] + stop[0], start[1] - 2 * control[1] + stop[1])
        many = max(1, math.ceil(math.sqrt(bend / (4 * tolerance))))  # a chord of 1/n of it lies bend / 4 n^2 off
        for i in range(1, many + 1):
            a, b = 1 - i / many, i / many
            x, y = (a * a * p + 2 * a * b * q + b * b * r for p, q, r in zip(start, control, stop, strict=True))
            rings[-1].append((x, y))


def _midway(one: Point, other: Point) -> Point:
    return (one[0] + other[0]) / 2, (one[1] + other[1]) / 2


def _whole(rings: Iterable[Ring]) -> Iterable[tuple[Point, ...]]:
    """Join strokes that lie over each other: outer rings of the face run clockwise, counters the other way."""
    import shapely  # noqa: PLC0415 - wanted for outlines alone

    letter: shapely.Geometry = shapely.Polygon()
    for ring in sorted(rings, key=lambda each: -shapely.Polygon(each).area):
        field = shapely.Polygon(ring).buffer(0)
        letter = (shapely.difference if shapely.LinearRing(ring).is_ccw else shapely.union)(letter, field)
    for part in shapely.get_parts(letter):
        if part.geom_type == "Polygon" and not part.is_empty:
            part = shapely.geometry.polygon.orient(part)  # noqa: PLW2901
            for ring in (part.exterior, *part.interiors):
                yield tuple((float(x), float(y)) for x, y in ring.coords[:-1])
