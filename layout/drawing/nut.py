"""The `nut` sheet: the blank with its foot and every slot as seen from the bridge, and the nut from above.

One thing has one contour to cut: the view from the bridge. The view from above is for reference.
"""

from __future__ import annotations

import itertools
import math
from typing import TYPE_CHECKING, Final

import numpy as np

from slotwright.layout.drawing.contacts import contact_cross
from slotwright.layout.drawing.frame import Content
from slotwright.layout.drawing.lettering import text_width
from slotwright.layout.drawing.marks import cross, spread
from slotwright.layout.drawing.sheet import Circle, Contour, Dimension, Layer, Line, Text
from slotwright.layout.errors import needed
from slotwright.layout.instrument.nut import AIR_PLAIN, AIR_WOUND, through
from slotwright.layout.units import SHOWN

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from slotwright.layout.drawing.sheet import Entity
    from slotwright.layout.instrument.instrument import Instrument
    from slotwright.layout.instrument.nut import FittedNut
    from slotwright.layout.plan.tables import Nut

    Floats = NDArray[np.float64]

_APART: Final = 16.0  # mm between the two views
_HEIGHT: Final = 2.2
_DETAIL: Final = 4.0  # how much larger the slots are drawn beside the table
_FLANK: Final = 5.0  # mm of wood on both sides of a slot there
_WIDE: Final = 74.0  # mm from the middle to the outer sides of table and details
_COLUMNS: Final[tuple[tuple[float, str, str], ...]] = (  # of the table: width [mm] and heading
    (12.0, "", "string"),
    (18.0, "from", "centre"),
    (22.0, "bottom over", "board"),
    (22.0, "bottom over", "foot"),
    (16.0, "width", "of slot"),
)
_ROW: Final = 4.2  # mm from row to row of the table


def missing(instrument: Instrument) -> str | None:
    """Say what the plan lacks for this sheet."""
    if instrument.plan.nut is None:
        return "the plan has no [nut]"
    if instrument.fitted is None:
        return str(instrument.unstated[0])
    if string := through(instrument.fitted):
        return f"the slot of string {string} goes through the foot of the nut; lower the seat (nut.seat)"
    return None


def content(instrument: Instrument) -> Content:
    """Draw the nut from above and, below that, as it is seen from the bridge, with its slots."""
    above = [*_from_above(instrument)]
    low = -8.0 - _APART - _fitted(instrument).top
    seen = [*(_locking(instrument, low) if _nut(instrument).locking else _from_bridge(instrument, low))]
    foot = low + _fitted(instrument).lowest - 20.0
    entities = [*above, *seen, *_table(instrument, foot), *_details(instrument, foot)]
    tables = ("board", "setup", "compensation", "nut")
    origin = "front's middle, top view"
    return Content(entities, list(_notes(instrument)), tables, mirrors=False, origin=origin)


def _nut(instrument: Instrument) -> Nut:
    return needed(instrument.plan.nut, missing(instrument))


def _fitted(instrument: Instrument) -> FittedNut:
    return needed(instrument.fitted, missing(instrument))


def places(instrument: Instrument) -> Floats:
    """Give where the strings cross the nut, along its line from the centre line, treble side positive [mm]."""
    return _fitted(instrument).places


def _steps(y: Floats, ends: tuple[float, float]) -> list[tuple[float, float]]:
    """Share the nut between the strings: from and to of each, midway between neighbours."""
    order = np.argsort(y)
    middles = (y[order][:-1] + y[order][1:]) / 2
    bounds = np.concatenate(([ends[0]], middles, [ends[1]]))
    lanes = [(0.0, 0.0)] * len(y)
    for rank, string in enumerate(order):
        lanes[int(string)] = (float(bounds[rank]), float(bounds[rank + 1]))
    return lanes


def _from_above(instrument: Instrument) -> Iterator[Entity]:
    """Draw the nut from above, its treble end to the right: down the sheet is toward the first fret."""
    nut, fitted = _nut(instrument), _fitted(instrument)
    (left, right), y, ahead = fitted.ends, fitted.places, fitted.ahead
    lanes = _steps(y, fitted.ends)
    front = [(end, -float(ahead[string])) for string in np.argsort(y) for end in lanes[string]]
    # Neighbours with the same shelf meet in one line.
    yield Contour(Layer.REF_BLANK, tuple(dict.fromkeys([(left, nut.thickness), *front, (right, nut.thickness)])))
    for string, at in enumerate(y):
        arm, v = min(1.5, (lanes[string][1] - lanes[string][0]) / 3), -float(ahead[string])
        yield from contact_cross(np.array([float(at), v]), np.array([arm, 0.0]), np.array([0.0, min(arm, 1.2)]))
    bolts = nut.locking.bolts if nut.locking else ()
    rear = max(nut.thickness, nut.slot + nut.ledge, *(behind + bolt / 2 + 1 for behind, _, bolt in bolts), 0.0)
    for behind, aside, diameter in bolts:
        centre = (instrument.plan.board.hand * aside, behind)
        yield Circle(Layer.DRILL, centre, diameter / 2)
        yield from cross(centre, diameter / 2 + 1.0)
    yield from string_numbers(y, rear + 2, -8.0)
    yield Line(Layer.REF_CENTRE, (0.0, rear + 2), (0.0, -8.0))
    if nut.slot:
        for v in (nut.slot, nut.slot + nut.ledge) if nut.ledge else (nut.slot,):
            yield Line(Layer.REF_BLANK, (left - 4, v), (right + 4, v))
    if ahead.any() or nut.slot:
        yield Line(Layer.REF_BLANK, (left - 4, 0.0), (right + 4, 0.0))
    yield _upright(instrument, _beside(fitted), 0.0, nut.thickness, right)
    yield Text(Layer.TEXT, (left - 6, 1.5), "top view", 2.5, "right")
    yield Text(Layer.TEXT, (left - 6, -1.5), "fret 1 below", 2.5, "right", "top")


def _upright(instrument: Instrument, x: float, start: float, end: float, side: float) -> Dimension:
    """Dimension a height beside the nut, which ends at `side`; a text too long for it stands beyond its end."""
    return Dimension((x, start), (x, end), instrument.length(abs(end - start)), ((side, start), (side, end)))


def string_numbers(y: Floats, above: float, below: float) -> Iterator[Entity]:
    """Draw strings through a view from above, each with its number at the top of a leader."""
    for string, place in zip(np.argsort(y), _number_row(y), strict=True):
        at = float(y[string])
        yield Line(Layer.REF_STRINGS, (at, below), (at, above))
        yield Line(Layer.DIM, (at, above), (place, above + 4.0))
        yield Text(Layer.TEXT, (place, above + 4.8), str(int(string) + 1), 2.2, "center")


def _number_row(y: Floats) -> list[float]:
    """Say where the numbers of the strings stand, from left to right."""
    return spread(sorted(float(at) for at in y), 3.2 if len(y) < 10 else 4.8)


def _beside(fitted: FittedNut) -> float:
    """Give where there is room to the right of the nut and of its strings' numbers [mm]."""
    return max(fitted.ends[1], _number_row(fitted.places)[-1] + 2.0) + 8.0


def _from_bridge(instrument: Instrument, low: float) -> Iterator[Entity]:
    """Draw the blank as seen from the bridge: its foot on the seat, every slot at its depth.

    The board's surface at its middle lies at `low`.
    """
    fitted = _fitted(instrument)
    left, right = fitted.ends
    foot = [float(fitted.foot(end)) for end in (right, left)]
    corners = [*_slotted(fitted), (right, foot[0]), (left, foot[1])]
    bulges = [0.0] * len(corners)
    if math.isfinite(fitted.foot_radius):
        # Round the foot: from right to left along the curve it stands on, arched into the nut.
        chord = math.dist(corners[-2], corners[-1])
        bulges[-2] = math.tan(math.asin(min(chord / (2 * fitted.foot_radius), 1.0)) / 2)
    yield Contour(Layer.CUT_OUTLINE, tuple((x, low + z) for x, z in corners), tuple(bulges))
    yield from _crest(fitted, low)
    yield from _levels(instrument, low)
    yield from _numbers(fitted, low + fitted.lowest)
    yield _upright(instrument, _beside(fitted) + 8, low + fitted.lowest, low + fitted.top, right)


def _slotted(fitted: FittedNut) -> list[tuple[float, float]]:
    """Give the corners of the top of the blank from its left end to its right one, with every slot.

    Where slots run into each other the deeper one cuts through the other, as a file would.
    """
    left, right = fitted.ends
    spans = np.clip(fitted.spans, left, right)
    bounds = np.unique([left, right, *spans.ravel()])
    middles = (bounds[:-1] + bounds[1:]) / 2
    inside = (spans[:, 0, None] < middles) & (middles < spans[:, 1, None])
    floors = np.where(inside, fitted.bottoms[:, None], fitted.top).min(axis=0)
    corners: list[tuple[float, float]] = []
    for start, end, floor in zip(bounds[:-1], bounds[1:], floors, strict=True):
        if corners and corners[-1][1] == floor:
            corners[-1] = (float(end), float(floor))
        else:
            corners += [(float(start), float(floor)), (float(end), float(floor))]
    return corners


def _crest(fitted: FittedNut, low: float) -> Iterator[Entity]:
    """Draw where the top of the nut ends once it is filed down."""
    order = np.argsort(fitted.places)
    x, z = fitted.places[order], fitted.crests[order]
    points = [(fitted.ends[0], z[0]), *zip(x, z, strict=True), (fitted.ends[1], z[-1])]
    for (a, b), (c, d) in itertools.pairwise(points):
        yield Line(Layer.REF_BLANK, (float(a), low + float(b)), (float(c), low + float(d)))


def _levels(instrument: Instrument, low: float) -> Iterator[Entity]:
    """Draw and name the board's surface, the seat below it, and the view; dimension the seat and the width."""
    fitted = _fitted(instrument)
    (left, right), seat = fitted.ends, fitted.seat
    yield Line(Layer.REF_BLANK, (left - 4, low), (right + 4, low))
    top = max(fitted.top, float(fitted.bottoms.max()))
    yield Line(Layer.REF_CENTRE, (0.0, low + fitted.lowest - 2), (0.0, low + top + 3))
    apart = seat > 2 * _HEIGHT
    # Above the name of the board's surface, which it may hardly reach over.
    yield Text(Layer.TEXT, (left - 6, low + max(top, 2.5)), "from the bridge", 2.5, "right")
    yield Text(Layer.TEXT, (left - 6, low), "board's surface" if seat else "on the board", 2.5, "right", "middle")
    if apart:
        yield Text(Layer.TEXT, (left - 6, low - seat), "seat", 2.5, "right", "middle")
    if seat > SHOWN:
        yield _upright(instrument, _beside(fitted), low, low - seat, right)
    row = low + fitted.lowest - 14.0
    said = instrument.length(right - left)
    yield Dimension((left, row), (right, row), said, ((left, row + 3), (right, row + 3)))


def _numbers(fitted: FittedNut, foot: float) -> Iterator[Entity]:
    """Write the number of each slot below the foot."""
    y = fitted.places
    for string, place in zip(np.argsort(y), _number_row(y), strict=True):
        yield Line(Layer.DIM, (float(y[string]), foot - 1.0), (float(y[string]), foot - 2.5))
        yield Line(Layer.DIM, (float(y[string]), foot - 2.5), (place, foot - 5.0))
        yield Text(Layer.TEXT, (place, foot - 5.8), str(int(string) + 1), _HEIGHT, "center", "top")


def _locking(instrument: Instrument, low: float) -> Iterator[Entity]:
    """Draw the shelf of a locking nut as seen from the bridge, the strings over it; nothing of it is cut here."""
    fitted = _fitted(instrument)
    left, right = fitted.ends
    yield Line(Layer.REF_BLANK, (left, low - fitted.seat), (right, low - fitted.seat))
    for at, bottom in zip(fitted.places, fitted.bottoms, strict=True):
        yield Line(Layer.CONTACT, (float(at) - 0.8, low + float(bottom)), (float(at) + 0.8, low + float(bottom)))
    yield from _levels(instrument, low)
    yield from _numbers(fitted, low + fitted.lowest)


def _table(instrument: Instrument, top: float) -> Iterator[Entity]:
    """Set place, heights and width of every slot in rows below each other."""
    fitted, said = _fitted(instrument), instrument.length
    figures = [np.abs(fitted.places), fitted.over_board, fitted.over_foot, fitted.widths]
    columns = _COLUMNS
    if _nut(instrument).locking:
        columns, figures = columns[:3], figures[:2]
    rows = [
        (str(string + 1), *(said(float(figure[string])) for figure in figures))
        for string in range(len(fitted.places))
    ]
    ends = np.cumsum([width for width, _, _ in columns]) - _WIDE
    for end, (_, first, second) in zip(ends, columns, strict=True):
        yield Text(Layer.TEXT, (float(end), top), first, 1.8, "right", "top")
        yield Text(Layer.TEXT, (float(end), top - 2.8), second, 1.8, "right", "top")
    rule = top - 6.0
    yield Line(Layer.DIM, (-_WIDE, rule), (float(ends[-1]), rule))
    for place, row in enumerate(rows, start=1):
        for end, figure in zip(ends, row, strict=True):
            yield Text(Layer.TEXT, (float(end), rule - place * _ROW + 1.0), figure, _HEIGHT, "right")


def _details(instrument: Instrument, top: float) -> Iterator[Entity]:
    """Draw the narrowest slot and the widest one, square to their strings, four times as large."""
    if _nut(instrument).locking:
        return
    fitted = _fitted(instrument)
    gauges = 2 * (fitted.crests - fitted.bottoms)
    chosen = dict.fromkeys([int(np.argmin(fitted.widths)), int(np.argmax(fitted.widths))])
    x = sum(width for width, _, _ in _COLUMNS) - _WIDE + 8.0
    yield Text(Layer.TEXT, (x, top), f"slots, {_DETAIL:g}:1", _HEIGHT, "left", "top")
    for string in chosen:
        half, radius = _DETAIL * fitted.widths[string] / 2, _DETAIL * gauges[string] / 2
        wide = max(2 * (half + _FLANK), text_width(f"string {string + 1}", _HEIGHT))
        middle, crest = float(x + wide / 2), float(top - 7.0 - _DETAIL * gauges.max() / 2)
        bottom, left, right = float(crest - radius), float(middle - half), float(middle + half)
        corners = [(left - _FLANK, crest), (left, crest), (left, bottom), (right, bottom), (right, crest),
                   (right + _FLANK, crest)]  # fmt: skip
        for start, end in itertools.pairwise(corners):
            yield Line(Layer.DIM, start, end)
        yield Circle(Layer.REF_STRINGS, (middle, float(bottom + radius)), float(radius))
        row = bottom - 5.0
        width = instrument.length(float(fitted.widths[string]))
        yield Dimension((left, row), (right, row), width, ((left, bottom), (right, bottom)))
        yield Text(Layer.TEXT, (middle, row - 3.0), f"string {string + 1}", _HEIGHT, "center", "top")
        x += wide + 6.0


def _notes(instrument: Instrument) -> Iterator[str]:
    plan, said, fitted, nut = instrument.plan, instrument.length, _fitted(instrument), _nut(instrument)
    if nut.locking:
        yield from _locking_notes(instrument)
    else:
        yield (
            f"The outline is the blank, {said(fitted.height)} high, with every slot down to its string. Dashed: the "
            "finished top, where half of each string stands out; file down to it once the strings lie right."
        )
        yield _foot(instrument)
        plain, wound = (said(air, 2 if plan.units == "mm" else 3) for air in (AIR_PLAIN, AIR_WOUND))
        yield (
            f"A slot is as wide as its string and {plain} more, {wound} for a wound one (rule of thumb). It falls "
            "toward the tuner, so that the string leaves the nut at its front edge."
        )
    yield (
        "In the table: from the centre line along the nut; over the board's surface under that string, with frets of "
        f"the stated height{'' if nut.locking else '; leave it a little high and bring it down at the bench'}."
    )
    if plan.frets.zero_fret:
        yield (
            f"The strings end on the zero fret; this nut, {said(fitted.behind)} behind it, keeps them apart. Its "
            "slots are drawn at the height of that fret: file them lower until every string rests firmly on it."
        )
    yield from _of_its_place(instrument)


def _foot(instrument: Instrument) -> str:
    """Say what the nut stands on."""
    fitted, said, nut = _fitted(instrument), instrument.length, _nut(instrument)
    flat = math.isinf(fitted.foot_radius)
    radius = "" if flat else said(fitted.foot_radius)
    if nut.slot:
        where = f"The nut stands in a groove {said(nut.slot)} wide and {said(fitted.seat)} deep"
        where += f", {said(nut.ledge)} of board behind it" if nut.ledge else ""
    elif fitted.seat:
        where = (
            f"The nut stands behind the board, its seat {said(fitted.seat)} below the board's surface at its middle"
        )
    else:
        where = "The nut stands on the board"
    return f"{where}; its foot is {'flat' if flat else f'hollow, radius {radius}'}. Measure the seat before you cut."


def _locking_notes(instrument: Instrument) -> Iterator[str]:
    fitted, said, nut = _fitted(instrument), instrument.length, _nut(instrument)
    locking = needed(nut.locking, missing(instrument))
    treble, bass = needed(fitted.shims, missing(instrument))
    yield (
        f"A locking nut: shelf {said(fitted.seat)} below the board's surface at the middle, {said(nut.thickness)} "
        f"long and flat. Shim under it: {said(max(treble, 0.0))} at string 1, "
        f"{said(max(bass, 0.0))} at string {len(fitted.places)}."
    )
    for behind, aside, diameter in locking.bolts:
        side = "" if abs(aside) < SHOWN else f", {said(abs(aside))} to the {'treble' if aside > 0 else 'bass'} side"
        yield f"Bolt hole through the neck: {said(diameter)}, {said(behind)} behind the front of the nut{side}."


def _of_its_place(instrument: Instrument) -> Iterator[str]:
    """Say how the nut leans, and where its contacts stand."""
    plan, said, ahead = instrument.plan, instrument.length, _fitted(instrument).ahead
    lean = float(np.degrees(np.arctan(instrument.neck.frets.skew[0])))
    if abs(lean) > 0.005:
        end = "treble" if (lean > 0) != plan.board.left_handed else "bass"
        yield (
            f"The nut leans {abs(lean):.2f} degrees, its {end} end nearer the bridge; slots run that much off square "
            "to its face, and everything here is measured along it."
        )
    if ahead.any():
        figures = ", ".join(
            f"{i}: {said(abs(float(x)))}{' away from it' if x < 0 else ''}" for i, x in enumerate(ahead, start=1)
        )
        yield f"Shelves toward fret 1, measured from the end of the board: {figures}."
