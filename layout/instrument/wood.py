"""The holes of a bridge, and what wood stays between them, its slot and its edges."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import combinations
from typing import TYPE_CHECKING, Final

import numpy as np

from slotwright.layout.errors import Fault

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from numpy.typing import NDArray

    from slotwright.layout.instrument.axes import Axes
    from slotwright.layout.instrument.neck import Neck
    from slotwright.layout.plan.bridges import SaddleSlot
    from slotwright.layout.plan.plan import Plan

    Floats = NDArray[np.float64]

BESIDE_POST: Final = 3.0  # mm of wood beside the bushing of a post, which is pulled sideways (from memory)
SLACK: Final = 0.01  # mm, less than which is no lack


@dataclass(frozen=True, slots=True)
class Hole:
    """A hole of a bridge.

    Parameters
    ----------
    x, y
        Its centre in the axes of the drawing [mm].
    diameter
        Its diameter: what is drilled, of one that is there what was measured [mm].
    what
        What it is for.
    top
        Its diameter at the surface once it is reamed [mm]; None where it is straight.
    there
        It is there already, and stays.
    seat
        What it is opened to for a ferrule or a ball end [mm]; None where it is not.
    """

    x: float
    y: float
    diameter: float
    what: str
    top: float | None = None
    there: bool = False
    seat: float | None = None

    @property
    def wide(self) -> float:
        """Its diameter at the surface [mm]."""
        return self.diameter if self.top is None else self.top


def lacks(
    plan: Plan, bridge: SaddleSlot, axes: Axes, outline: Floats | None, slot: Floats, holes: Sequence[Hole]
) -> Iterator[Fault]:
    """Yield where too little wood stays.

    Parameters
    ----------
    plan, bridge
        The plan and its bridge.
    axes
        The bridge's own.
    outline, slot
        Corners of the bridge, None where not stated, and of its slot [mm], shape (4, 2).
    holes
        What is drilled, and what was there and stays.

    Yields
    ------
    Fault
        The worst of each kind, with what would cure it.
    """
    said, wood = plan.said, bridge.wood
    if bridge.slot_depth is not None and bridge.base_height is not None:
        left = bridge.base_height - bridge.slot_depth
        if left < wood.under_slot - SLACK:
            most = bridge.base_height - wood.under_slot
            yield Fault(
                "bridge.slot_depth",
                f"leaves {_left(said(left), left)} under the slot; {said(wood.under_slot)} is to stay",
                f"{said(most)} at most" if most > 0 else "check bridge.base_height",
            )
    own = axes.own(slot)
    places = axes.own(np.array([(hole.x, hole.y) for hole in holes]).reshape(-1, 2))
    radii = np.array([hole.wide / 2 for hole in holes])
    yield from _beside_slot(plan, bridge, own, places, radii, holes)
    yield from _between(plan, bridge, places, radii, holes)
    if outline is not None:
        yield from _to_edges(plan, bridge, axes.own(outline), own, places, radii, holes)


def post_lacks(plan: Plan, neck: Neck, holes: Sequence[Hole], hand: Floats) -> Iterator[Fault]:
    """Yield where the bushings of two posts leave too little wood, to other holes or to the end of the board.

    Parameters
    ----------
    plan, neck
        The plan and its neck.
    holes
        What is drilled, as on a right-handed instrument.
    hand
        What turns its points over for a left-handed one, shape (2,).

    Yields
    ------
    Fault
        The worst of each kind, with the room there is.
    """
    posts = [hole for hole in holes if hole.what == "post"]
    left = {
        (post, other): math.hypot(post.x - other.x, post.y - other.y) - (post.diameter + other.wide) / 2
        for post in posts
        for other in holes
        if other != post
    }
    if left and (least := min(left.values())) < BESIDE_POST - SLACK:
        what = min(left, key=lambda pair: left[pair])[1].what
        yield Fault(
            "bridge.bushing_diameter",
            f"{_left(plan.said(least), least)} between a bushing and {'the other' if what == 'post' else 'a hole'}; "
            f"{plan.said(BESIDE_POST)} is to stay",
            "set them further apart, or take thinner bushings",
        )
    first, last = neck.outline[1] * hand, neck.outline[2] * hand
    across = (last - first) / np.hypot(*(last - first))
    beyond = [
        abs(float((post.x - first[0]) * across[1] - (post.y - first[1]) * across[0])) - post.diameter / 2
        for post in posts
    ]
    if beyond and min(beyond) < BESIDE_POST - SLACK:
        yield Fault(
            "bridge.bushing_diameter",
            f"{_left(plan.said(min(beyond)), min(beyond))} between a bushing and the end of the board; "
            f"{plan.said(BESIDE_POST)} is to stay",
            "lessen board.beyond_last_fret",
        )


def _left(said: str, left: float) -> str:
    """Word what is left of wood."""
    return f"{said} of wood" if left > 0 else "no wood"


def _beside_slot(
    plan: Plan, bridge: SaddleSlot, slot: Floats, places: Floats, radii: Floats, holes: Sequence[Hole]
) -> Iterator[Fault]:
    wanted = bridge.wood.slot_to_pins
    left = [_to_rectangle(place, slot) - radius for place, radius in zip(places, radii, strict=True)]
    if left and min(left) < wanted - SLACK:
        worst = int(np.argmin(left))
        lack = wanted - left[worst]
        pins = bridge.all_pins
        mend = "move it"
        if holes[worst].what == "pin":
            mend = f"pins {plan.said(pins.distance + lack)} behind its middle" if pins else "another saddle"
        yield Fault(
            "bridge.wood.slot_to_pins",
            f"{_left(plan.said(left[worst]), left[worst])} between the slot and a {holes[worst].what}; "
            f"{plan.said(wanted)} is to stay",
            mend,
        )


def _between(plan: Plan, bridge: SaddleSlot, places: Floats, radii: Floats, holes: Sequence[Hole]) -> Iterator[Fault]:
    wanted = bridge.wood.holes
    worst, pair = wanted - SLACK, None
    for one, other in combinations(range(len(holes)), 2):
        if holes[one].there and holes[other].there:
            continue  # nobody drills them now
        left = float(np.hypot(*(places[one] - places[other]))) - radii[one] - radii[other]
        if left < worst:
            worst, pair = left, (one, other)
    if pair is None:
        return
    one, other = pair
    names = sorted({holes[one].what, holes[other].what})
    mend = "move one of them"
    if names == ["pin"] and bridge.all_pins is not None:
        need = float(radii[one] + radii[other]) + wanted
        beside, along = np.abs(places[one] - places[other])[::-1]
        outer = float(np.ptp(places[[hole.what == "pin" for hole in holes], 1]))
        mend = f"pins spread {plan.said(outer * need / beside)}" if beside > 0 else ""
        if need > beside and any(len(course) > 1 for course in plan.courses):
            mend += f", or a stagger {plan.said(np.sqrt(need**2 - beside**2) - along)} larger"
    yield Fault(
        "bridge.wood.holes",
        f"{_left(plan.said(worst), worst)} between two holes ({' and '.join(names)}); {plan.said(wanted)} is to stay",
        mend,
    )


def _to_edges(
    plan: Plan,
    bridge: SaddleSlot,
    outline: Floats,
    slot: Floats,
    places: Floats,
    radii: Floats,
    holes: Sequence[Hole],
) -> Iterator[Fault]:
    said, wood = plan.said, bridge.wood
    (front, side), (rear, _) = outline.min(axis=0), outline.max(axis=0)
    half = abs(float(side))
    left = half - float(np.abs(slot[:, 1]).max())
    if left < wood.slot_end - SLACK:
        lack = 2 * (wood.slot_end - left)
        yield Fault(
            "bridge.wood.slot_end",
            f"{_left(said(left), left)} between an end of the slot and the side; {said(wood.slot_end)} is to stay",
            f"a bridge {said(2 * half + lack)} across, or a slot {said((bridge.slot_length or 0.0) - lack)} long",
        )
    edges = (
        ("front", float(slot[:, 0].min() - front), places[:, 0] - front - radii),
        ("rear", float(rear - slot[:, 0].max()), rear - places[:, 0] - radii),
        ("side", np.inf, half - np.abs(places[:, 1]) - radii),
    )
    for name, slot_left, left_of in edges:
        if slot_left < wood.slot_to_pins - SLACK:
            yield Fault(
                "bridge.outline",
                f"{_left(said(slot_left), slot_left)} between the slot and the {name} edge; "
                f"{said(wood.slot_to_pins)} is to stay",
                f"{said(wood.slot_to_pins - slot_left)} more at the {name}",
            )
        if len(holes) and left_of.min() < wood.holes - SLACK:
            worst = int(np.argmin(left_of))
            least = float(left_of[worst])
            yield Fault(
                "bridge.outline",
                f"{_left(said(least), least)} between a {holes[worst].what} hole and the {name} edge; "
                f"{said(wood.holes)} is to stay",
                f"{said(wood.holes - least)} more at the {name}",
            )


def _to_rectangle(place: Floats, corners: Floats) -> float:
    """Give how far a point lies outside a rectangle; less than 0 inside [mm]."""
    along, across = corners[1] - corners[0], corners[3] - corners[0]
    middle = corners.mean(axis=0)
    beyond = []
    for side in (along, across):
        length = float(np.hypot(*side))
        beyond.append(abs(float((place - middle) @ side) / length) - length / 2)
    out = np.maximum(beyond, 0.0)
    return float(np.hypot(*out)) if out.any() else max(beyond)
