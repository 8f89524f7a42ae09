"""Rules to check the scale of a print with."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from slotwright.layout import cautions
from slotwright.layout.drawing.sheet import Layer, Line, Text
from slotwright.layout.units import MM_PER_INCH

if TYPE_CHECKING:
    from collections.abc import Iterator

    from slotwright.layout.drawing.sheet import Across
    from slotwright.layout.instrument.arcs import Point
    from slotwright.layout.units import Unit

_NUMBERS: Final = 1.8  # mm, height of the numbers
_STEP: Final = 50  # mm, what counts as round


def scale_bar(
    origin: Point, room: float, *, upright: bool, units: Unit = "mm", words: str = cautions.PRINTS.rstrip(".")
) -> Iterator[Line | Text]:
    """Draw a scale bar: one straight line with mm on one side of it, inches on the other.

    Parameters
    ----------
    origin
        Its zero [mm].
    room
        The longest it may be [mm]; it ends at a round number of mm, at least 100.
    upright
        It runs up the sheet instead of along it.
    units
        What stands on the outer side, with the longer ticks.
    words
        What is written beside it; nothing when empty.
    """
    end = max(100, int((room + 1e-9) // _STEP) * _STEP)
    sign = -1.0 if upright else 1.0
    first, second = (1.0, -1.0) if units == "mm" else (-1.0, 1.0)  # the side of mm, that of inches

    def at(along: float, aside: float) -> Point:
        x, y = origin
        return (x + sign * aside, y + along) if upright else (x + along, y + aside)

    def tick(along: float, side: float, *, whole: bool) -> Line:
        return Line(Layer.DIM, at(along, 0), at(along, side * (3.2 if whole and side > 0 else 1.6)))

    def number(along: float, side: float, text: str, across: Across = "center") -> Text:
        aside = 4.0 if side > 0 else -2.2
        return _written(at(along, aside), text, across, upright=upright, above=side > 0)

    yield Line(Layer.DIM, at(0, 0), at(end, 0))
    for mm in range(0, end + 1, 10):
        yield tick(mm, first, whole=mm % _STEP == 0)
    step = _STEP if end <= 300 else 2 * _STEP
    for mm in range(step, end, step):
        yield number(mm, first, str(mm))
    yield number(end, first, f"{end} mm", "right")
    inches = int(end / MM_PER_INCH)
    for half in range(2 * inches + 1 if second > 0 else inches + 1):
        inch = half / 2 if second > 0 else half
        yield tick(inch * MM_PER_INCH, second, whole=inch == int(inch))
    for inch in range(1, inches):
        yield number(inch * MM_PER_INCH, second, str(inch))
    yield number(inches * MM_PER_INCH, second, f"{inches} in")
    yield number(0, 1.0, "0", "left")
    if words:
        yield _written(at(end / 2, 8.0), words, "center", upright=upright, above=True)


def _written(at: Point, text: str, across: Across, *, upright: bool, above: bool) -> Text:
    return Text(Layer.DIM, at, text, _NUMBERS, across, "bottom" if above else "top", 90.0 if upright else 0.0)
