"""The slot of a glued bridge and the pins behind it, placed for the contacts. Still right-handed."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from slotwright.layout.instrument.axes import Axes
from slotwright.layout.instrument.lines import straight_fit

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from numpy.typing import NDArray

    from slotwright.layout.plan.bridges import Pins
    from slotwright.layout.plan.plan import Plan

    Floats = NDArray[np.float64]

UNDER_BRIDGE: Final = 6.0  # mm of top and plate under a bridge, where the plan does not say (from memory)
LESS: Final = 0.1  # mm that a hole is drilled narrower than a pin's small end (common practice, no source)
_STEEPEST: Final = math.radians(40)  # more than any slot lies at
_GOLDEN: Final = (math.sqrt(5) - 1) / 2
_CLOSE: Final = 1e-9  # radians


@dataclass(frozen=True, slots=True, eq=False)
class Slot:
    """A saddle's slot in its place.

    Parameters
    ----------
    axes
        Its own axes; their origin is its middle on the centre line.
    along
        Where the saddle's contacts are wanted, in the slot's own x [mm], shape (strings,).
    missed
        How far each contact cannot be where it is wanted, back positive [mm], shape (strings,).
    thickness
        Thickness of a saddle that would hold them all [mm].
    """

    axes: Axes
    along: Floats
    missed: Floats
    thickness: float


def lay_slot(points: Floats, width: float, crown: float, stay: Floats, wood: float) -> Slot:
    """Lay a slot so that its saddle holds the contacts, or misses the worst by the least.

    Parameters
    ----------
    points
        Where the contacts are wanted, on the bridge's surface [mm], shape (strings, 2).
    width
        Thickness of the saddle [mm].
    crown
        Saddle that is wanted behind each contact [mm].
    stay
        Holes that stay where they are: x, y and diameter [mm], shape (n, 3).
    wood
        Wood wanted between them and the slot [mm].

    Returns
    -------
    Slot
        The line through the contacts with the least largest distance, unless holes are in its way: then
        the place and angle that leave the least largest miss before them.
    """
    _, lean, _ = straight_fit(points[:, 1], points[:, 0])
    turn = -math.atan(lean)
    alone = _loss(turn, points, width, crown, stay[:0], wood)[0]
    if _loss(turn, points, width, crown, stay, wood)[0] > max(alone, 0.0) + _CLOSE:
        turn = _least(lambda angle: _loss(angle, points, width, crown, stay, wood)[0], turn)
    _, middle = _loss(turn, points, width, crown, stay, wood)
    axes = Axes(np.array([middle / math.cos(turn), 0.0]), turn)
    along = axes.own(points)[:, 0]
    front, rear = -width / 2, max(width / 2 - crown, -width / 2)
    return Slot(axes, along, along - np.clip(along, front, rear), float(np.ptp(along)) + crown)


def _loss(turn: float, points: Floats, width: float, crown: float, stay: Floats, wood: float) -> tuple[float, float]:
    """Give by how much a slot at an angle misses the worst contact (less than 0: room left), and its middle [mm]."""
    rear = np.array([math.cos(turn), math.sin(turn)])
    at = points @ rear
    middle = (float(at.min()) + float(at.max()) + crown) / 2
    if len(stay):
        middle = min(middle, float((stay[:, :2] @ rear - stay[:, 2] / 2).min()) - wood - width / 2)
    behind = float(at.max()) + crown - (middle + width / 2)
    return max(behind, middle - width / 2 - float(at.min())), middle


def _least(of: Callable[[float], float], near: float) -> float:
    """Give the angle at which something with a single least value has it, by golden section [radians]."""
    low, high = near - _STEEPEST, near + _STEEPEST
    one, other = high - _GOLDEN * (high - low), low + _GOLDEN * (high - low)
    values = of(one), of(other)
    while high - low > _CLOSE:
        if values[0] < values[1]:
            high, other = other, one
            one = high - _GOLDEN * (high - low)
            values = of(one), values[0]
        else:
            low, one = one, other
            other = low + _GOLDEN * (high - low)
            values = values[1], of(other)
    return (low + high) / 2


def rows(plan: Plan) -> list[bool]:
    """Tell which strings have their pin in the rear row: of each course all but the thickest."""
    behind = [False] * len(plan.strings)
    for course in plan.courses:
        thickest = max(course, key=lambda string: (plan.strings[string].gauge or 0.0, string))
        for string in course:
            behind[string] = string != thickest
    return behind


def pin_places(pins: Pins, behind: Sequence[bool], line: Axes, contacts: Floats, directions: Floats) -> Floats:
    """Give where pins stand.

    Parameters
    ----------
    pins
        What the plan says of them.
    behind
        True for the strings of the rear row.
    line
        Axes whose y the front row stands along, behind their origin.
    contacts, directions
        Contacts on the saddle, and the strings' directions to the rear [mm], shape (strings, 2).

    Returns
    -------
    ndarray, shape (strings, 2)
        Their middles [mm].
    """
    distance = pins.distance + pins.stagger * np.array(behind)
    # On along the string until it is that far behind the middle of the slot.
    further = (distance - line.own(contacts)[:, 0]) / (directions @ line.rear)
    places = contacts + further[:, None] * directions
    if pins.spread is None or len(contacts) == 1:
        return places
    own = line.own(places)
    middle = (own[0, 1] + own[-1, 1]) / 2
    own[:, 1] = middle + (own[:, 1] - middle) * pins.spread / (own[0, 1] - own[-1, 1])
    return line.out(own)


def drilled(pins: Pins, base_height: float | None) -> float:
    """Give the diameter to drill for a pin [mm]: of a tapered one a little less than its small end, to 0.01."""
    if not pins.taper:
        return pins.head
    through = pins.through if pins.through is not None else (base_height or 0.0) + UNDER_BRIDGE
    return round(pins.head - 2 * through * math.tan(math.radians(pins.taper) / 2) - LESS, 2)
