"""The `radius` sheet: gauges for the curve across the board."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import numpy as np

from slotwright.layout.drawing.frame import Content
from slotwright.layout.drawing.lettering import fitted
from slotwright.layout.drawing.marks import kerf_note
from slotwright.layout.drawing.sheet import Contour, Layer, Text
from slotwright.layout.instrument.arcs import bulge_of
from slotwright.layout.units import MM_PER_INCH

if TYPE_CHECKING:
    from collections.abc import Iterator

    from slotwright.layout.drawing.sheet import Entity
    from slotwright.layout.instrument.instrument import Instrument

_BODY: Final = 26.0  # mm of gauge behind its curved edge
_SPARE: Final = 6.0  # mm of gauge beyond each edge of the board
_APART: Final = 8.0  # mm between gauges
_SAME: Final = 0.05  # mm; radii nearer than this need one gauge


def missing(instrument: Instrument) -> str | None:
    """Say what the plan lacks for this sheet."""
    return None if instrument.plan.board.radius[0] else "board.radius is 0: a flat board needs no gauge"


def content(instrument: Instrument) -> Content:
    """Draw a concave and a convex gauge for each radius, their curved edges true arcs."""
    entities: list[Entity] = []
    left = 0.0
    for radius, width, places in _radii(instrument):
        wide = min(width + 2 * _SPARE, 1.9 * radius)
        sagitta = radius - math.sqrt(radius**2 - wide**2 / 4)
        entities += _gauges(instrument, radius, left + wide / 2, wide, sagitta, places)
        left += wide + _APART
    note = (
        "Concave gauges are laid on the board to check it, convex ones check a sanding block or a caul. "
        "Hold them square to the centre line. Radii are those of the wood; the crowns lie a fret's height above it, "
        "and a gauge named saddle has the wood's curve carried on to there, not the strings'."
    )
    notes = [note, *kerf_note(instrument)]
    return Content(entities, notes, ("scale",), origin="left end of the first gauges, between them")


def _radii(instrument: Instrument) -> list[tuple[float, float, str]]:
    """Give each radius, the width it has to span [mm] and the places it is for."""
    plan, neck = instrument.plan, instrument.neck
    where = {
        "nut": float(neck.frets.middle[0]),
        f"fret {plan.action_fret}": float(neck.frets.middle[plan.action_fret]),
        f"fret {plan.frets.count}": float(neck.frets.middle[-1]),
        "saddle": float(neck.saddle.middle[0]),
    }
    found: list[tuple[float, float, str]] = []
    for place, x in where.items():
        radius = float(neck.radius_at(x))
        over = neck.saddle_ends[:, 1] if place == "saddle" else neck.edges.y_at(x)
        width = 2 * float(np.abs(over).max())
        if radius < width / 2 + _SPARE:
            continue  # carried on past the last fret a curve may close before it reaches the saddle
        if found and abs(found[-1][0] - radius) < _SAME:
            _, widest, places = found.pop()
            found.append((radius, max(width, widest), f"{places}, {place}"))
        else:
            found.append((radius, width, place))
    return found


def _gauges(
    instrument: Instrument, radius: float, middle: float, wide: float, sagitta: float, places: str
) -> Iterator[Entity]:
    half = instrument.plan.kerf / 2  # all round, beyond the finished gauge
    left, right = middle - wide / 2 - half, middle + wide / 2 + half
    millimetres, inches = f"{radius:.1f} mm", f"{radius / MM_PER_INCH:.2f} in"
    first, second = (millimetres, inches) if instrument.plan.units == "mm" else (inches, millimetres)
    # Concave above: its curved edge is the lower one, arched into the gauge.
    apex = _APART / 2 + sagitta
    bulge, low = _arc(radius - half, right - left, apex - half)
    high = apex + _BODY + half
    yield Contour(Layer.CUT_OUTLINE, ((left, low), (right, low), (right, high), (left, high)), (-bulge, 0, 0, 0))
    yield from _words(f"R {first} ({second})", f"concave: {places}", middle, apex + _BODY / 2, wide)
    # Convex below: its curved edge is the upper one, arched out of the gauge.
    bulge, high = _arc(radius + half, right - left, -_APART / 2 + half)
    foot = -_APART / 2 - sagitta - _BODY
    low = foot - half
    yield Contour(Layer.CUT_OUTLINE, ((left, low), (right, low), (right, high), (left, high)), (0, 0, bulge, 0))
    yield from _words(f"R {first} ({second})", f"convex: {places}", middle, foot + _BODY / 2, wide)


def _arc(radius: float, chord: float, apex: float) -> tuple[float, float]:
    """Give bulge and ends of an arc that rises to its middle [mm]."""
    sagitta = radius - math.sqrt(radius**2 - chord**2 / 4)
    return bulge_of(sagitta, chord), apex - sagitta


def _words(radius: str, use: str, x: float, y: float, wide: float) -> Iterator[Text]:
    text, height = fitted(radius, wide - 6, 3.5)
    yield Text(Layer.TEXT, (x, y + 1), text, height, "center")
    text, height = fitted(use, wide - 6, 2.5)
    yield Text(Layer.TEXT, (x, y - 1), text, height, "center", "top")
