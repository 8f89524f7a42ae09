"""The `stick` sheet: strips that carry every fret, to lay along the board and mark from."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING, Final

from slotwright.layout.drawing.frame import Content
from slotwright.layout.drawing.marks import sides
from slotwright.layout.drawing.sheet import Contour, Layer, Line, Text, fitted, text_width
from slotwright.layout.lines import distance, meet

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    import numpy as np
    from numpy.typing import NDArray

    from slotwright.layout.drawing.sheet import Entity
    from slotwright.layout.instrument import Instrument

    Floats = NDArray[np.float64]

_WIDTH: Final = 25.0  # mm
_SPARE: Final = 15.0  # mm of strip before the nut and behind the saddle line
_HEIGHT: Final = 2.5
_SMALLEST: Final = 1.2  # mm, the smallest capitals that can be read


def content(instrument: Instrument) -> Content:
    """Draw one strip for the centre line, or one for each edge of a multiscale."""
    neck, plan = instrument.neck, instrument.plan
    entities: list[Entity] = []
    if plan.scale.length is not None:
        entities += _strip(instrument, neck.frets.middle, float(neck.saddle.middle[0]), "centre line", 0.0)
        along = "along the centre line"
    else:
        at_saddle = distance(meet(neck.saddle, neck.edges)[0], meet(neck.frets[0], neck.edges)[0])
        for side, y in zip(sides(instrument), (-_WIDTH / 2 - 5, _WIDTH / 2 + 5), strict=True):
            edge = 1 - side.slot
            name = ("treble", "bass")[edge] + " edge"
            entities += _strip(instrument, neck.along_edges[:, edge], float(at_saddle[edge]), name, y)
        along = "along that edge of the board, where each slot meets it"
    note = (
        f"Every tick is measured from the nut {along}. Lay the strip with its nut tick on the nut line, "
        "tape it down and mark all frets without moving it."
    )
    return Content(entities, [note])


def _strip(instrument: Instrument, frets: Floats, saddle: float, name: str, y: float) -> Iterator[Entity]:
    low, high = y - _WIDTH / 2, y + _WIDTH / 2
    left, right = -_SPARE, saddle + _SPARE
    yield Contour(Layer.CUT_OUTLINE, ((left, low), (right, low), (right, high), (left, high)))
    places = [*map(float, frets), saddle]
    for x in places:
        yield Line(Layer.MARK, (x, low), (x, high))
    nut = "0" if instrument.plan.frets.zero_fret else "nut"
    yield Text(Layer.TEXT, (-1.0, y), nut, _HEIGHT, "center", "bottom", 90)
    yield Text(Layer.TEXT, (saddle + 1.0, y), "saddle line", _HEIGHT, "center", "top", 90)
    yield from _numbers(places[:-1], low + 3.0, instrument.plan.board.joint_fret)
    room = saddle - places[-2] - 12
    if room > 20:
        text, height = fitted(f"{instrument.plan.title}, {name}", room, 3.5)
        yield Text(Layer.TEXT, (places[-2] + 6, y), text, height, up="middle")


def _numbers(places: Sequence[float], low: float, joint: int) -> Iterator[Text]:
    """Write the number of each place just before it: level, upright, or not at all."""
    for number, (before, x) in enumerate(pairwise(places), start=1):
        room = x - before - 1.6
        text = str(number) if number != joint else f"{number}, joint"
        if text_width(text, _HEIGHT) <= room:
            yield Text(Layer.TEXT, (x - 0.8, low), text, _HEIGHT, "right")
        elif room >= _SMALLEST:
            yield Text(Layer.TEXT, (x - 0.8, low), text, min(_HEIGHT, room), "left", "bottom", 90)
