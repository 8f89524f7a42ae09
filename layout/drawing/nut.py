"""The `nut` sheet: from above with a shelf for each string, and from the bridge with every slot."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from slotwright.layout.drawing.frame import Content
from slotwright.layout.drawing.marks import spread
from slotwright.layout.drawing.sheet import Contour, Layer, Line, Text
from slotwright.layout.errors import needed
from slotwright.layout.instrument.arcs import bulge_of

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from slotwright.layout.drawing.sheet import Entity
    from slotwright.layout.instrument.instrument import Instrument
    from slotwright.layout.plan.tables import Nut

    Floats = NDArray[np.float64]

_APART: Final = 16.0  # mm between the two views
_HEIGHT: Final = 2.2
_AIR: Final = 0.05  # mm that a slot is wider than its string (from memory)


def missing(instrument: Instrument) -> str | None:
    """Say what the plan lacks for this sheet."""
    plan = instrument.plan
    if plan.nut is None:
        return "the plan has no [nut]"
    if plan.frets.zero_fret:
        return "the strings end on the zero fret; the nut behind it only keeps them apart"
    return str(instrument.unstated[0]) if instrument.unstated else None


def content(instrument: Instrument) -> Content:
    """Draw the nut from above and, below that, as it is seen from the bridge."""
    entities = [*_from_above(instrument), *_from_bridge(instrument)]
    return Content(entities, list(_notes(instrument)), ("board", "setup", "compensation", "nut"), mirrors=False)


def _nut(instrument: Instrument) -> Nut:
    return needed(instrument.plan.nut, missing(instrument))


def places(instrument: Instrument) -> Floats:
    """Give where the strings cross the nut, along its line from the centre line, treble side positive [mm]."""
    return instrument.neck.nut_ends[:, 1] * _longer(instrument)


def _longer(instrument: Instrument) -> float:
    """Give how much longer a leaning nut is than the board is wide."""
    return float(np.hypot(1.0, instrument.neck.frets.skew[0]))


def _squarely(instrument: Instrument) -> Floats:
    """Give the cosine between each string and the way straight across the nut."""
    neck, skew = instrument.neck, float(instrument.neck.frets.skew[0])
    cosines: Floats = neck.directions @ np.array([1.0, -skew]) / np.hypot(1.0, skew)
    return cosines


def slot_bottoms(instrument: Instrument) -> Floats:
    """Give the height of each slot's bottom above the wood at the centre line of the nut [mm].

    The string's underside lies on it: the height of the crowns' surface with what the string stands
    above it, and the crowns stand a fret's height above the wood.
    """
    return instrument.stringing.fretting.nut_height + instrument.plan.frets.height


def shelves(instrument: Instrument) -> Floats:
    """Give how far each contact stands before the end of the board, square to it toward fret 1 [mm]."""
    return (instrument.stringing.offsets.nut - instrument.neck.nut_moved) * _squarely(instrument)


def _steps(y: Floats, half: float) -> list[tuple[float, float]]:
    """Share the nut between the strings: from and to of each, midway between neighbours."""
    order = np.argsort(y)
    middles = (y[order][:-1] + y[order][1:]) / 2
    bounds = np.concatenate(([-half], middles, [half]))
    lanes = [(0.0, 0.0)] * len(y)
    for rank, string in enumerate(order):
        lanes[int(string)] = (float(bounds[rank]), float(bounds[rank + 1]))
    return lanes


def _half(instrument: Instrument) -> float:
    return instrument.plan.board.nut_width / 2 * _longer(instrument)


def _from_above(instrument: Instrument) -> Iterator[Entity]:
    """Draw the nut from above, its treble end to the right: down the sheet is toward the first fret."""
    nut, y, ahead = _nut(instrument), places(instrument), shelves(instrument)
    half = _half(instrument)
    lanes = _steps(y, half)
    front = [(end, -float(ahead[string])) for string in np.argsort(y) for end in lanes[string]]
    # Neighbours with the same shelf meet in one line.
    yield Contour(Layer.CUT_OUTLINE, tuple(dict.fromkeys([(-half, nut.thickness), *front, (half, nut.thickness)])))
    for string, at in enumerate(y):
        arm, v = min(1.5, (lanes[string][1] - lanes[string][0]) / 3), -float(ahead[string])
        yield Line(Layer.REF_SADDLE, (float(at) - arm, v), (float(at) + arm, v))
    yield from string_numbers(y, nut.thickness + nut.slot + nut.ledge + 2, -8.0)
    yield Line(Layer.REF_CENTRE, (0.0, nut.thickness + 5), (0.0, -8.0))
    if nut.slot:
        for v in (nut.slot, nut.slot + nut.ledge) if nut.ledge else (nut.slot,):
            yield Line(Layer.REF_BLANK, (-half - 4, v), (half + 4, v))
    if ahead.any() or nut.slot:
        yield Line(Layer.REF_BLANK, (-half - 4, 0.0), (half + 4, 0.0))
    yield Text(Layer.TEXT, (-half - 6, 1.5), "top view", 2.5, "right")
    yield Text(Layer.TEXT, (-half - 6, -1.5), "fret 1 below", 2.5, "right", "top")


def string_numbers(y: Floats, above: float, below: float) -> Iterator[Entity]:
    """Draw strings through a view from above, each with its number at the top of a leader."""
    pitch = 3.2 if len(y) < 10 else 4.8
    rows = spread(sorted(float(at) for at in y), pitch)
    for string, place in zip(np.argsort(y), rows, strict=True):
        at = float(y[string])
        yield Line(Layer.REF_STRINGS, (at, below), (at, above))
        yield Line(Layer.DIM, (at, above), (place, above + 4.0))
        yield Text(Layer.TEXT, (place, above + 4.8), str(int(string) + 1), 2.2, "center")


def _from_bridge(instrument: Instrument) -> Iterator[Entity]:
    """Draw the nut as seen from the bridge: its foot on the wood, every slot at its depth."""
    plan, neck = instrument.plan, instrument.neck
    low = -8.0 - _APART - float(_top(instrument).max())
    half, y, bottoms = _half(instrument), places(instrument), slot_bottoms(instrument)
    drop, squarely = float(neck.drop(0.0, plan.board.nut_width / 2)), _squarely(instrument)
    profile: list[tuple[float, float]] = []
    for string in np.argsort(y):
        gauge = instrument.plan.strings[string].gauge or 0.0
        wide, top = (gauge + _AIR) / 2 / float(squarely[string]), float(_top(instrument)[string])
        at, bottom = float(y[string]), float(bottoms[string])
        profile += [(at - wide, top), (at - wide, bottom), (at + wide, bottom), (at + wide, top)]
    ends = [(-half, profile[0][1]), *profile, (half, profile[-1][1])]
    # Round the foot: from treble edge to bass edge along the curve of the wood, arched into the nut.
    corners = [*ends, (half, -drop), (-half, -drop)]
    bulges = [0.0] * len(corners)
    bulges[-2] = bulge_of(drop, 2 * half)
    yield Contour(Layer.CUT_OUTLINE, tuple((x, low + z) for x, z in corners), tuple(bulges))
    yield Line(Layer.REF_BLANK, (-half - 4, low), (half + 4, low))
    yield Line(Layer.REF_CENTRE, (0.0, low - 4), (0.0, low + float(_top(instrument).max()) + 3))
    yield Text(Layer.TEXT, (-half - 6, low), "from the bridge", 2.5, "right", "middle")
    rows = spread(sorted(float(at) for at in y), 1.6 * _HEIGHT)
    foot = low - drop
    for string, place in zip(np.argsort(y), rows, strict=True):
        at = float(y[string])
        yield Line(Layer.DIM, (at, foot - 1.0), (at, foot - 3.0))
        yield Line(Layer.DIM, (at, foot - 3.0), (place, foot - 6.0))
        said = instrument.length
        over_wood = float(bottoms[string] + neck.drop(*neck.nut_ends[string]))
        text = f"{int(string) + 1}: {said(abs(at))} / {said(over_wood)}"
        yield Text(Layer.DIM, (place, foot - 6.8), text, _HEIGHT, "right", "middle", 90)


def _top(instrument: Instrument) -> Floats:
    """Give how high the nut is left beside each string: half the string stands out (common practice, no source)."""
    gauges = np.array([string.gauge or 0.0 for string in instrument.plan.strings])
    return slot_bottoms(instrument) + gauges / 2


def _notes(instrument: Instrument) -> Iterator[str]:
    plan, said, nut = instrument.plan, instrument.length, _nut(instrument)
    yield (
        "Figures are string: distance from centre along the nut / height of the slot's bottom above the board under "
        "that string, with frets of the stated height; leave it a little high and bring it down at the bench."
    )
    lean = float(np.degrees(np.arctan(instrument.neck.frets.skew[0])))
    if abs(lean) > 0.005:
        end = "treble" if (lean > 0) != plan.board.left_handed else "bass"
        yield (
            f"The nut leans {abs(lean):.2f} degrees, its {end} end nearer the bridge; slots run that much off square "
            "to its face, and everything here is measured along it."
        )
    air = said(_AIR, 2 if plan.units == "mm" else 3)
    yield f"Slots are drawn {air} wider than their strings, and half of each string stands out."
    needed = float(_top(instrument).max())
    if needed > nut.height:
        yield f"The blank is {said(nut.height)} high; {said(needed)} are needed above the board alone."
    ahead = shelves(instrument)
    if ahead.any():
        figures = ", ".join(f"{i}: {said(float(x))}" for i, x in enumerate(ahead, start=1))
        yield f"Shelves toward fret 1 (minus: away from it), measured from the end of the board: {figures}."
    if nut.slot:
        yield f"The nut stands in a groove {said(nut.slot)} wide; {said(nut.ledge)} of board lie behind it."
