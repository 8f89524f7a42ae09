"""Values of the plan that stand on the drawing, each where it is measured."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from slotwright.layout.plan.bridges import Adjustable, SaddleSlot
from slotwright.layout.units import MM_PER_INCH

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from numpy.typing import NDArray

    from slotwright.layout.instrument.instrument import Instrument

    Floats = NDArray[np.float64]
    Place = tuple[float, float]

_LETTER: Final = 0.0128  # height of letters over the length of nut to bridge, its margins beside it
_WIDE: Final = 0.56  # width of a letter over its height, on average
_ROW: Final = 2.5  # from row to row, in letters
_SIDE: Final = 8.6  # room beside the drawing, in letters


@dataclass(frozen=True, slots=True)
class Spot:
    """A value on the drawing that can be edited where it stands.

    Parameters
    ----------
    key
        Path of its key.
    x, y
        The middle of its text, in the axes of the drawing [mm].
    name, text
        What it is, and its value in the plan's unit.
    assumed
        The plan does not state it.
    lines
        Dimension lines and leaders that belong to it: their ends [mm].
    stacked
        Its value stands below its name.
    """

    key: str
    x: float
    y: float
    name: str
    text: str
    assumed: bool
    lines: tuple[tuple[Place, Place], ...] = ()
    stacked: bool = False

    def width(self, letter: float) -> float:
        """Give how wide its text is, with room around it [mm]."""
        many = max(len(self.name), len(self.text)) if self.stacked else len(self.name) + len(self.text) + 1
        return (_WIDE * many + 1.0) * letter

    def height(self, letter: float) -> float:
        """Give how high its text is, with room around it [mm]."""
        return (3.0 if self.stacked else 1.9) * letter


@dataclass(frozen=True, slots=True)
class Frame:
    """The room of a drawing.

    Parameters
    ----------
    left, right, low, high
        Its ends [mm].
    letter
        Height of letters on it [mm].
    """

    left: float
    right: float
    low: float
    high: float
    letter: float


def shapes(instrument: Instrument) -> list[Floats]:
    """Give the points that the drawing of an instrument reaches to, shapes (n, 2) [mm]."""
    neck, placed = instrument.neck, instrument.placed
    found = [neck.outline, neck.nut_ends, neck.saddle_ends]
    if placed is not None:
        found += [*placed.outlines, placed.contacts]
        found += [np.array([[hole.x, hole.y]]) for hole in placed.holes]
    return found


def place_spots(instrument: Instrument) -> tuple[Frame, tuple[Spot, ...]]:
    """Place the values that stand on the drawing.

    Parameters
    ----------
    instrument
        What is drawn.

    Returns
    -------
    tuple
        The room that drawing and values take, and the values; no two of them overlap.
    """
    reach = np.concatenate(shapes(instrument))
    (left, low), (right, high) = reach.min(axis=0), reach.max(axis=0)
    letter = _LETTER * (right - left) / (1 - 2 * _SIDE * _LETTER)
    room = Frame(float(left), float(right), float(low), float(high), letter)
    sides = tuple(_at_the_sides(instrument, room))
    above = _in_rows(instrument, _above(instrument), room, up=True)
    below = _in_rows(instrument, _below(instrument), room, up=False)
    spots = (*above, *sides, *below)
    tops = [spot.y + spot.height(letter) / 2 for spot in spots]
    ends = [spot.y - spot.height(letter) / 2 for spot in spots]
    frame = Frame(
        room.left - _SIDE * letter,
        room.right + _SIDE * letter,
        min(*ends, room.low) - letter / 2,
        max(*tops, room.high) + letter / 2,
        letter,
    )
    return frame, spots


def _said(instrument: Instrument, *lengths: float) -> str:
    """Write lengths in the plan's unit, as short as they read."""
    scale, digits = (1.0, 3) if instrument.plan.units == "mm" else (MM_PER_INCH, 4)
    return ", ".join(f"{round(length / scale, digits) + 0.0:.10g}" for length in lengths)


def _spot(
    instrument: Instrument,
    key: str,
    at: Place,
    name: str,
    text: str,
    *lines: tuple[Place, Place],
    stacked: bool = False,
) -> Spot:
    return Spot(key, *at, name, text, key in instrument.assumed, lines, stacked)


def _across(x: float, ends: Sequence[float], tick: float) -> tuple[tuple[Place, Place], ...]:
    """Draw a dimension line that runs across the neck."""
    return (
        ((x, ends[0]), (x, ends[-1])),
        *(((x - tick, y - tick), (x + tick, y + tick)) for y in ends),
    )


def _at_the_sides(instrument: Instrument, room: Frame) -> Iterator[Spot]:
    """Yield what is measured across the neck: at the nut, and at the saddle."""
    plan, neck, letter = instrument.plan, instrument.neck, room.letter
    tick = 0.35 * letter
    edges = sorted((float(neck.lines_in_board[0, 0, 1]), float(neck.lines_in_board[0, 1, 1])))
    strings = sorted((float(neck.nut_ends[0, 1]), float(neck.nut_ends[-1, 1])))
    middle = (room.low + room.high) / 2
    outer, inner = room.left - 2.0 * letter, room.left - 0.9 * letter
    text = room.left - (_SIDE / 2 + 1.2) * letter
    several = len(plan.strings) > 1
    yield _spot(
        instrument,
        "board.nut_width",
        (text, middle + (1.7 * letter if several else 0)),
        "nut width",
        _said(instrument, plan.board.nut_width),
        *_across(outer, edges, tick),
        stacked=True,
    )
    if not several:
        return
    yield _spot(
        instrument,
        "board.string_spread_nut",
        (text, middle - 1.7 * letter),
        "spread",
        _said(instrument, plan.spread_nut),
        *_across(inner, strings, tick),
        stacked=True,
    )
    ends = sorted((float(neck.saddle_ends[0, 1]), float(neck.saddle_ends[-1, 1])))
    yield _spot(
        instrument,
        "board.string_spread_saddle",
        (room.right + (_SIDE / 2 + 0.4) * letter, middle),
        "spread",
        _said(instrument, plan.spread_saddle),
        *_across(room.right + 0.9 * letter, ends, tick),
        stacked=True,
    )


def _along(start: Place, end: Place, y: float, tick: float) -> tuple[tuple[Place, Place], ...]:
    """Draw a dimension line along the neck at a height, with lines to what it measures."""
    return (
        ((start[0], y), (end[0], y)),
        *(((x - tick, y - tick), (x + tick, y + tick)) for x in (start[0], end[0])),
        *(((x, at), (x, y)) for x, at in (start, end)),
    )


@dataclass(frozen=True, slots=True)
class _Wish:
    """A spot that wants a row: where it is measured, from one point or between two."""

    key: str
    name: str
    text: str
    start: Place
    end: Place | None = None
    own_row: bool = False


def _above(instrument: Instrument) -> Iterator[_Wish]:
    """Yield what stands above the neck, what is nearest to it first."""
    plan, neck = instrument.plan, instrument.neck
    treble = 0 if neck.nut_ends[0, 1] >= neck.nut_ends[-1, 1] else -1  # string at the upper edge
    octave = plan.action_fret
    nut = _upper(neck.lines_in_board[0])
    there = _upper(neck.lines_in_board[octave])
    if plan.frets.cents is None:
        yield _Wish("frets.divisions", "divisions of the octave", f"{plan.frets.divisions}", nut, there)
    last = _upper(neck.lines_in_board[-1])
    if plan.board.width_at is None:
        yield _Wish("board.edge_margin", "string to edge", _said(instrument, plan.board.edge_margin), last)
    begin, end = _point(neck.nut_ends[treble]), _point(neck.saddle_ends[treble])
    if plan.scale.length is not None:
        key, length, name = "scale.length", plan.scale.length, "scale"
        begin, end = (0.0, begin[1]), (float(neck.saddle.middle[0]), end[1])
    else:
        key = "scale.treble" if treble == 0 else "scale.bass"
        name, length = key.replace("scale.", "") + " scale", float(neck.scales[treble])
    yield _Wish(key, name, _said(instrument, length), begin, end, own_row=True)


def _below(instrument: Instrument) -> Iterator[_Wish]:
    """Yield what stands below the neck, what is nearest to it first."""
    plan, neck = instrument.plan, instrument.neck
    lower = -1 if neck.nut_ends[0, 1] >= neck.nut_ends[-1, 1] else 0
    board, setup = plan.board, plan.setup
    count = plan.frets.count

    def at(fret: int) -> Place:
        return _lower(neck.lines_in_board[min(fret, count)])

    if board.radius is not None:
        radius = board.radius if isinstance(board.radius, tuple) else (board.radius,)
        yield _Wish("board.radius", "radius", _said(instrument, *dict.fromkeys(radius)), at(1))
    yield _Wish("setup.relief", "relief", _said(instrument, setup.relief), at(max(1, plan.action_fret // 3)))
    if plan.scale.length is None:
        square = f"{plan.scale.square_fret:g}".replace("inf", "saddle")
        fret = int(min(max(plan.scale.square_fret, 0), count))
        yield _Wish("scale.square_fret", "square fret", square, at(fret))
    action = setup.action if isinstance(setup.action, tuple) else (setup.action,)
    where = f"action at fret {plan.action_fret}"
    yield _Wish("setup.action", where, _said(instrument, *dict.fromkeys(action)), at(plan.action_fret))
    yield _Wish("frets.count", "frets", f"{count}", at(count))
    yield from _of_bridge(instrument)
    if plan.scale.length is None:
        key = "scale.bass" if lower == -1 else "scale.treble"
        ends = _point(neck.nut_ends[lower]), _point(neck.saddle_ends[lower])
        name = key.replace("scale.", "") + " scale"
        yield _Wish(key, name, _said(instrument, float(neck.scales[lower])), *ends, own_row=True)


def _of_bridge(instrument: Instrument) -> Iterator[_Wish]:
    placed, bridge = instrument.placed, instrument.plan.bridge
    if placed is None:
        return
    contact = _point(placed.contacts[int(np.argmin(placed.contacts[:, 1]))])
    if isinstance(bridge, Adjustable) and bridge.travel is not None:
        yield _Wish("bridge.travel", "saddle travel", _said(instrument, bridge.travel), contact)
    if isinstance(bridge, SaddleSlot):
        stated = {
            "bridge.pins.distance": ("pins from slot", bridge.pins.distance if bridge.pins else None),
            "bridge.pin_distance": ("pins from slot", bridge.pin_distance),
            "bridge.tie_distance": ("ties from slot", bridge.tie_distance),
        }
        for key, (name, length) in stated.items():
            if length is not None:
                lowest = min(placed.holes, key=lambda hole: hole.y, default=None)
                start = (lowest.x, lowest.y) if lowest else contact
                yield _Wish(key, name, _said(instrument, length), start)
                return


def _in_rows(instrument: Instrument, wishes: Iterator[_Wish], room: Frame, *, up: bool) -> tuple[Spot, ...]:
    """Put each wish into the first row where it has room, over or under the point that it belongs to."""
    letter, sign = room.letter, 1 if up else -1
    board = instrument.neck.outline[:, 1]
    base = float(board.max() if up else board.min()) + sign * 1.5 * letter
    far = room.high if up else room.low
    behind = float(instrument.neck.outline[:, 0].max())  # past the board, a bridge may be higher than it
    taken: list[list[tuple[float, float]]] = []

    def new_row() -> int:
        y = base + sign * _ROW * letter * len(taken)
        taken.append([(behind, np.inf)] if sign * (far - y) > -1.2 * letter else [])
        return len(taken) - 1

    found = []
    for wish in wishes:
        ends = (wish.start, wish.end) if wish.end else (wish.start,)
        half = Spot(wish.key, 0.0, 0.0, wish.name, wish.text, assumed=False).width(letter) / 2
        middle = sum(x for x, _ in ends) / len(ends)
        middle = min(max(middle, room.left - 2 * letter + half), room.right + 4 * letter - half)
        span = (min(middle - half, *(x for x, _ in ends)), max(middle + half, *(x for x, _ in ends)))
        row = next((at for at, spans in enumerate(taken) if _is_free(spans, span, letter) and not wish.own_row), None)
        while row is None:
            at = new_row()
            row = at if _is_free(taken[at], span, letter) else None
        taken[row].append((-np.inf, np.inf) if wish.own_row else span)
        y = base + sign * _ROW * letter * row
        lines = _along(wish.start, wish.end, y, 0.35 * letter) if wish.end else ((wish.start, (wish.start[0], y)),)
        found.append(_spot(instrument, wish.key, (middle, y), wish.name, wish.text, *lines))
    return tuple(found)


def _is_free(spans: list[tuple[float, float]], span: tuple[float, float], letter: float) -> bool:
    return all(span[1] + letter < low or high + letter < span[0] for low, high in spans)


def _point(point: Floats) -> Place:
    return float(point[0]), float(point[1])


def _upper(ends: Floats) -> Place:
    return _point(ends[int(np.argmax(ends[:, 1]))])


def _lower(ends: Floats) -> Place:
    return _point(ends[int(np.argmin(ends[:, 1]))])
