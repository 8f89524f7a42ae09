"""What several sheets draw alike: rows of labels, crosses, outlines."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from slotwright.layout.drawing.lettering import text_width
from slotwright.layout.drawing.sheet import Circle, Contour, Layer, Line, Text
from slotwright.layout.instrument.lines import distance, meet

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from numpy.typing import NDArray

    from slotwright.layout.drawing.sheet import Entity
    from slotwright.layout.instrument.arcs import Point
    from slotwright.layout.instrument.instrument import Instrument
    from slotwright.layout.instrument.lines import Across, Along


@dataclass(frozen=True, slots=True)
class Side:
    """What lies on one side of the sheet.

    Parameters
    ----------
    slot
        Which end of a slot: 0 bass, 1 treble.
    string
        Index of the outer string: 0 treble, -1 bass.
    number
        Its number.
    """

    slot: int
    string: int
    number: int


def sides(instrument: Instrument) -> tuple[Side, Side]:
    """Give the lower and the upper side of the sheet."""
    bass, treble = Side(0, -1, len(instrument.plan.strings)), Side(1, 0, 1)
    return (treble, bass) if instrument.plan.board.left_handed else (bass, treble)


def octave_check(instrument: Instrument) -> str:
    """Say how far the octave fret stands from the nut: what to check once a print is put together."""
    neck, fret = instrument.neck, instrument.plan.action_fret
    nut = "zero fret" if instrument.plan.frets.zero_fret else "nut"
    far = instrument.length(float(neck.frets.middle[fret]) - neck.nut_moved)
    return f"{nut} to fret {fret} on the centre line, {far} {instrument.plan.units}"


def point(place: NDArray[np.float64]) -> Point:
    """Turn a computed point into one of the drawing."""
    return float(place[0]), float(place[1])


def outline(instrument: Instrument) -> Iterator[Contour]:
    """Draw what is cut of the board, the core of a bound one, and then how wide it becomes."""
    neck = instrument.neck
    if instrument.plan.board.binding:
        yield Contour(Layer.REF_BLANK, tuple(map(point, neck.outline)))
    yield Contour(Layer.CUT_OUTLINE, tuple(map(point, neck.core)))


def rounded(layer: Layer, corners: NDArray[np.float64], radius: float) -> Contour:
    """Draw a rectangle, its corners in turn of shape (4, 2), with rounded corners [mm]."""
    if not radius:
        return Contour(layer, tuple(map(point, corners)))
    following = np.roll(corners, -1, axis=0)
    side = (following - corners) / np.hypot(*(following - corners).T)[:, None]
    places = np.stack((corners + radius * side, following - radius * side), axis=1).reshape(-1, 2)
    quarter = math.tan(math.pi / 8) * _turning(corners)
    return Contour(layer, tuple(map(point, places)), (0.0, quarter) * 4)


def pocket(corners: NDArray[np.float64]) -> Iterator[Contour]:
    """Draw a slot as a cutter of its width leaves it, and what a chisel takes at both ends.

    Parameters
    ----------
    corners
        Of the slot, an end of it first [mm], shape (4, 2).
    """
    one, other, far, near = corners
    along = (near - one) / np.hypot(*(near - one)) * np.hypot(*(other - one)) / 2
    round_ends = (one + along, other + along, far - along, near - along)
    bulge = _turning(corners)
    yield Contour(Layer.POCKET, tuple(map(point, round_ends)), (bulge, 0.0, bulge, 0.0))
    for first, second, inward in ((one, other, along), (far, near, -along)):
        yield Contour(Layer.REF_BLANK, tuple(map(point, (first, second, second + inward, first + inward))))


def _turning(corners: NDArray[np.float64]) -> float:
    """Tell which way a contour turns: 1 anticlockwise, -1 clockwise."""
    a, b = corners[1] - corners[0], corners[2] - corners[1]
    return math.copysign(1.0, float(a[0] * b[1] - a[1] * b[0]))


def spread(places: Sequence[float], apart: float) -> list[float]:
    """Move labels as little as possible until they stand apart.

    Parameters
    ----------
    places
        Where the labels belong, ascending [mm].
    apart
        Least distance of neighbours [mm].

    Returns
    -------
    list of float
        Where they stand [mm]: the least-squares answer, by pooling neighbours that touch.
    """
    pools: list[tuple[float, int]] = []  # mean of (place - i * apart) over a pool, and its size
    for i, place in enumerate(places):
        mean, size = place - i * apart, 1
        while pools and pools[-1][0] >= mean:
            other, count = pools.pop()
            mean, size = (mean * size + other * count) / (size + count), size + count
        pools.append((mean, size))
    level = [mean for mean, size in pools for _ in range(size)]
    return [mean + i * apart for i, mean in enumerate(level)]


def label_row(points: Sequence[Point], labels: Sequence[str], row: float, height: float) -> Iterator[Entity]:
    """Label points along the neck in a row beside it, up the sheet, each with a leader from its point.

    Parameters
    ----------
    points
        Points, ascending in x [mm].
    labels
        What to write for each.
    row
        The y at which the leaders have reached their labels; the labels stand beyond it [mm].
    height
        Height of capitals [mm].
    """
    above = row > points[0][1]
    side = 1.0 if above else -1.0
    places = spread([x for x, _ in points], 1.55 * height)
    bend = row - side * min(3.0, abs(row - points[0][1]) / 2)
    for (x, y), place, label in zip(points, places, labels, strict=True):
        if abs(place - x) < 1e-9:
            yield Line(Layer.DIM, (x, y + side), (x, row))
        else:
            yield Line(Layer.DIM, (x, y + side), (x, bend))
            yield Line(Layer.DIM, (x, bend), (place, row))
        at = (place, row + 0.8 * side)
        yield Text(Layer.TEXT, at, label, height, "left" if above else "right", "middle", 90)


def number_row(points: Sequence[Point], numbers: Sequence[str], row: float, height: float) -> Iterator[Entity]:
    """Write numbers straight above or below points along the neck, in a row beside it.

    Parameters
    ----------
    points
        Points, ascending in x [mm].
    numbers
        What to write for each; where points are crowded some go without.
    row
        The y beyond which the numbers stand [mm].
    height
        Height of capitals [mm].
    """
    side = 1.0 if row > points[0][1] else -1.0
    halves = [text_width(number, height) / 2 for number in numbers]
    free, last = -math.inf, points[-1][0] - halves[-1] - 0.5 * height
    for (x, y), number, half in zip(points, numbers, halves, strict=True):
        final = number == numbers[-1]
        if not final and (x - half < free or x + half > last):
            continue  # the last one has its number in any case
        free = x + half + 0.5 * height
        yield Line(Layer.DIM, (x, y + side), (x, row))
        yield Text(Layer.TEXT, (x, row + 0.8 * side), number, height, "center", "bottom" if side > 0 else "top")


def side_names(instrument: Instrument, x: float, half: float) -> Iterator[Text]:
    """Name the treble and the bass side, up to `x` and beyond `half` from the centre line."""
    for side, row in zip(sides(instrument), (-half, half), strict=True):
        name = ("bass side", "treble side")[side.slot]
        yield Text(Layer.TEXT, (x, row), name, 2.5, "right", "top" if row < 0 else "bottom")


def place_along(line: Across, edge: Along, nut: Across) -> float:
    """Measure along a line of the board from the nut to a line across it [mm]."""
    here, start = meet(line, edge)[0, 0], meet(nut, edge)[0, 0]
    return float(np.copysign(distance(here, start), here[0] - start[0]))


def cross(centre: Point, arm: float) -> Iterator[Line]:
    """Mark a centre with two short lines."""
    x, y = centre
    yield Line(Layer.MARK, (x - arm, y), (x + arm, y))
    yield Line(Layer.MARK, (x, y - arm), (x, y + arm))


def datum_symbol(place: Point) -> Iterator[Circle | Line]:
    """Draw the symbol of the origin: a small circle about a cross."""
    x, y = place
    yield Circle(Layer.DIM, place, 1.0)
    yield Line(Layer.DIM, (x - 2.0, y), (x + 2.0, y))
    yield Line(Layer.DIM, (x, y - 2.0), (x, y + 2.0))


def kerf_note(instrument: Instrument) -> Iterator[str]:
    """Say that contours are drawn larger for a laser, where the plan states its kerf."""
    if kerf := instrument.plan.kerf:
        half, whole = (
            instrument.length(each, 3 if instrument.plan.units == "mm" else 4) for each in (kerf / 2, kerf)
        )
        yield (
            f"Contours are drawn {half} outside the finished part, for a laser whose cut is {whole} wide (kerf); for "
            "a saw or a knife set kerf to 0."
        )
