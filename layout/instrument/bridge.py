"""Where a bridge stands so that the offsets fit it.

Everything is calculated in the axes of a right-handed instrument and turned over at the end. A bridge
has axes of its own: its datum is the origin, +x runs to the rear, +y to the treble side, and the
angle turns it counter-clockwise about the datum.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from slotwright.layout.errors import Fault, PlanError
from slotwright.layout.instrument.lines import meet
from slotwright.layout.physics.minimax import least_largest_of_two
from slotwright.layout.physics.pitch import saddle_height
from slotwright.layout.plan.bridges import Adjustable, Floating, IndividualSaddles, SaddleSlot, TwoPosts

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from numpy.typing import NDArray

    from slotwright.layout.instrument.neck import Neck
    from slotwright.layout.instrument.stringing import Strung
    from slotwright.layout.plan.bridges import Bridge
    from slotwright.layout.plan.plan import Plan

    Floats = NDArray[np.float64]

POST_HOLE: Final = 11.0  # mm, where the plan states none (common practice, from memory)
PIN_HOLE: Final = 5.0  # mm, likewise
TIE_HOLE: Final = 1.8  # mm, likewise


@dataclass(frozen=True, slots=True)
class Hole:
    """A hole to drill.

    Parameters
    ----------
    x, y
        Its centre in the axes of the drawing [mm].
    diameter
        Its diameter [mm].
    what
        What it is for.
    """

    x: float
    y: float
    diameter: float
    what: str


@dataclass(frozen=True, slots=True, eq=False)
class Placement:
    """A bridge in its place.

    Parameters
    ----------
    datum
        Origin of the bridge's own axes [mm], shape (2,).
    angle
        How far it is turned, counter-clockwise on the drawing [degrees].
    contacts
        Where the strings touch it [mm], shape (strings, 2).
    shared
        How far each contact stands behind the place its string alone would want, along the centre
        line [mm], shape (strings,): what a shared saddle or crest costs.
    shared_cents
        What that does to the note at the octave fret [cents], shape (strings,).
    along
        Contacts in the bridge's own x [mm], shape (strings,).
    bands
        Foremost and rearmost place of each contact [mm], shape (strings, 2, 2); None where
        contacts are filed, not moved.
    reserve
        Travel left before and behind each contact [mm], shape (strings, 2); None likewise.
    thickness
        Thickness a saddle needs for all contacts and their crown [mm]; None where it has none.
    outlines
        Corners of the bridge, or of each single unit [mm], front bass corner first, each of shape
        (4, 2); empty where not stated.
    slot
        Corners of the saddle's slot [mm], likewise.
    holes
        What is to be drilled.
    exposure
        How far each crest stands above the base [mm], shape (strings,); None where the heights are
        not stated.
    over_top
        Height of each string above the top at its contact [mm], likewise.
    """

    datum: Floats
    angle: float
    contacts: Floats
    shared: Floats
    shared_cents: Floats
    along: Floats
    bands: Floats | None
    reserve: Floats | None
    thickness: float | None
    outlines: tuple[Floats, ...]
    slot: Floats | None
    holes: tuple[Hole, ...]
    exposure: Floats | None
    over_top: Floats | None


@dataclass(frozen=True, slots=True)
class _Frame:
    """The bridge's own axes: points between them and the drawing (still right-handed)."""

    datum: Floats
    turn: float  # radians

    @property
    def rear(self) -> Floats:
        """Direction of the bridge's own x."""
        return np.array([math.cos(self.turn), math.sin(self.turn)])

    def out(self, own: Floats) -> Floats:
        """Give points of the bridge, shape (..., 2), on the drawing."""
        cos, sin = math.cos(self.turn), math.sin(self.turn)
        points: Floats = self.datum + own @ np.array([[cos, sin], [-sin, cos]])
        return points

    def own(self, points: Floats) -> Floats:
        """Give points of the drawing, shape (..., 2), in the bridge's axes."""
        cos, sin = math.cos(self.turn), math.sin(self.turn)
        own: Floats = (points - self.datum) @ np.array([[cos, -sin], [sin, cos]])
        return own


def lacking(plan: Plan) -> str | None:
    """Say what a plan lacks for its bridge to be placed; None when nothing.

    Parameters
    ----------
    plan
        A checked plan.
    """
    if plan.bridge is None:
        return "the plan has no [bridge]"
    for key in plan.bridge.needed:
        if getattr(plan.bridge, key) is None:
            return f'bridge.{key} is missing; kind "{plan.bridge.kind}" needs it'
    return None


def straight_fit(across: Floats, along: Floats) -> tuple[float, float, float]:
    """Lay a straight line through points so that the largest distance along x is least.

    Parameters
    ----------
    across, along
        y and x of the points [mm], shape (n,).

    Returns
    -------
    tuple of float
        x at y = 0 [mm], its change per mm of y, and the largest distance [mm].
    """
    if len(across) == 1:
        return float(along[0]), 0.0, 0.0
    # No line through the points leans more than the steepest that joins two of them.
    steepest = float(np.ptp(along) / np.diff(np.sort(across)).min())
    moves, leans = -np.ones(len(across)), -across
    free = np.ones((), dtype=np.bool_)
    start, lean = least_largest_of_two(along, moves, leans, free, steepest + 1.0, common=False)
    most = np.abs(along - start - lean * across).max()
    return float(start), float(lean), float(most)


def place_bridge(plan: Plan, neck: Neck, strung: Strung) -> Placement:
    """Place the bridge where it serves the computed offsets best.

    Parameters
    ----------
    plan
        A checked plan for whose bridge nothing is lacking.
    neck, strung
        Its neck and strings.

    Returns
    -------
    Placement
        Datum, angle, contacts, holes and what is to be said of them.

    Raises
    ------
    PlanError
        The bridge cannot hold the strings at all.
    """
    bridge = plan.bridge
    if bridge is None:
        raise PlanError([Fault("bridge", "missing", "write [bridge]")])
    if faults := tuple(_faults(plan, bridge)):
        raise PlanError(faults)
    hand = np.array([1.0, plan.board.hand])
    contacts, alone = (
        neck.on_strings(neck.scales + offsets.saddle) * hand for offsets in (strung.offsets, strung.alone)
    )
    directions = neck.directions * hand
    frame = _frame(plan, bridge, contacts)
    # Each string has its unit to itself, or all stand on one base.
    frames = _units(bridge, contacts, directions) if single_units(plan) else [frame]
    along = frame.own(contacts)[:, 0]
    bands, reserve = _travel(bridge, frames if single_units(plan) else frames * len(contacts), contacts, directions)
    moved = contacts[:, 0] - alone[:, 0]
    over_top, exposure = _heights(plan, bridge, strung)
    crown = bridge.crown_radius if isinstance(bridge, SaddleSlot) else None
    holes = [*_stated_holes(bridge, frames), *_holes(bridge, frame, contacts, directions)]
    outlines = (_outline(bridge, each) for each in frames)
    slot = _slot(bridge, frame)
    return Placement(
        datum=frame.datum * hand,
        angle=math.degrees(frame.turn) * float(hand[1]),
        contacts=contacts * hand,
        shared=moved,
        shared_cents=strung.sensitivity[:, plan.action_fret - 1] * moved,
        along=along,
        bands=None if bands is None else bands * hand,
        reserve=reserve,
        thickness=None if crown is None else 2 * (float(np.abs(along).max()) + crown),
        outlines=tuple(corners * hand for corners in outlines if corners is not None),
        slot=None if slot is None else slot * hand,
        holes=tuple(Hole(hole.x, hole.y * float(hand[1]), hole.diameter, hole.what) for hole in holes),
        exposure=exposure,
        over_top=over_top,
    )


def _units(bridge: Bridge, contacts: Floats, directions: Floats) -> list[_Frame]:
    """Set single units along their strings, as much travel before each contact as behind it."""
    back = bridge.mid_travel if isinstance(bridge, Adjustable) else 0.0
    return [
        _Frame(contact - back * direction, math.atan2(float(direction[1]), float(direction[0])))
        for contact, direction in zip(contacts, directions, strict=True)
    ]


def _travel(
    bridge: Bridge, homes: Sequence[_Frame], contacts: Floats, directions: Floats
) -> tuple[Floats | None, Floats | None]:
    """Give the ends of each contact's travel, and what is left of it before and behind; None where nothing moves."""
    if not isinstance(bridge, Adjustable) or bridge.travel is None:
        return None, None
    behind = [float(home.own(contact)[0]) for home, contact in zip(homes, contacts, strict=True)]
    before = np.array(behind) - bridge.front_stop
    reserve = np.stack((before, bridge.travel - before), axis=-1)
    # Along the string, whatever the lean of the base: the cosine between them is part of the way.
    slant = np.array([direction @ home.rear for home, direction in zip(homes, directions, strict=True)])
    reach = reserve / slant[:, None] * [-1.0, 1.0]
    return contacts[:, None] + reach[..., None] * directions[:, None], reserve


def margins(plan: Plan, neck: Neck) -> tuple[tuple[str, float, float, float], ...]:
    """Give the air between the outer strings and the edges of the board.

    Parameters
    ----------
    plan, neck
        The plan and its neck.

    Returns
    -------
    tuple
        For nut, octave fret and last fret: its name, treble and bass margin [mm], and by how much
        both change for each mm that the bridge is shifted sideways.
    """
    found = []
    for name, fret in (("nut", 0), (f"fret {plan.action_fret}", plan.action_fret), (f"fret {plan.frets.count}", -1)):
        edge, on = neck.lines_in_board[fret], meet(neck.frets[fret], neck.strings)[0]
        treble, bass = (float(abs(edge[end, 1]) - abs(on[string, 1])) for end, string in ((1, 0), (0, -1)))
        found.append((name, treble, bass, 1.0 - float(neck.fractions[fret])))
    return tuple(found)


def _faults(plan: Plan, bridge: Bridge) -> Iterator[Fault]:
    said = plan.said
    spread = plan.spread_saddle
    travel = bridge.travel if isinstance(bridge, Adjustable) else None
    if travel is not None and travel <= 2 * bridge.reserve:
        yield Fault(
            "bridge.reserve",
            f"{said(bridge.reserve)} at both ends leave nothing of {said(travel)} travel",
            "lessen it, or find saddles with more travel",
        )
    if plan.shared_saddles and single_units(plan):
        yield Fault("bridge.groups", "single units of a fan share no saddle", "state bridge.angle for one base")
    for key in ("post_spread", "slot_length"):
        length = getattr(bridge, key, None)
        if length is not None and length <= spread:
            yield Fault(f"bridge.{key}", f"{said(length)}; the strings alone are spread {said(spread)}", "check it")


def single_units(plan: Plan) -> bool:
    """Tell whether each string has a unit of its own: a fan without a base at an angle."""
    bridge = plan.bridge
    stands_at_an_angle = not isinstance(bridge, IndividualSaddles) or "angle" in bridge.model_fields_set
    return plan.scale.length is None and not stands_at_an_angle


def _frame(plan: Plan, bridge: Bridge, contacts: Floats) -> _Frame:
    """Choose datum and angle: the contacts lie as far from both ends of their room as can be."""
    if isinstance(bridge, IndividualSaddles):
        turn = math.radians(bridge.angle)
        if single_units(plan):
            return _Frame(np.array([float(contacts[:, 0].mean()), 0.0]), 0.0)
        own = contacts @ np.array([math.cos(turn), math.sin(turn)])
        middle = (float(own.min()) + float(own.max())) / 2
        start = (middle - bridge.mid_travel) / math.cos(turn)
        return _Frame(np.array([start, 0.0]), turn)
    start, lean, _ = straight_fit(contacts[:, 1], contacts[:, 0])
    turn = -math.atan(lean)
    if isinstance(bridge, TwoPosts):
        start -= bridge.mid_travel / math.cos(turn)
    return _Frame(np.array([start, 0.0]), turn)


def _rectangle(frame: _Frame, front: float, rear: float, half: float) -> Floats:
    return frame.out(np.array([[front, -half], [rear, -half], [rear, half], [front, half]]))


def _outline(bridge: Bridge, frame: _Frame) -> Floats | None:
    if isinstance(bridge, Floating) and bridge.foot is not None:
        across, along = bridge.foot
        return _rectangle(frame, -along / 2, along / 2, across / 2)
    to_front = bridge.to_front
    if bridge.outline is None or to_front is None:
        return None
    across, along = bridge.outline
    # The foremost contact line: the front of the travel, or the middle of the slot.
    foremost = bridge.front_stop if isinstance(bridge, Adjustable) else 0.0
    front = foremost - to_front
    return _rectangle(frame, front, front + along, across / 2)


def _slot(bridge: Bridge, frame: _Frame) -> Floats | None:
    if not isinstance(bridge, SaddleSlot) or bridge.slot_width is None or bridge.slot_length is None:
        return None
    return _rectangle(frame, -bridge.slot_width / 2, bridge.slot_width / 2, bridge.slot_length / 2)


def _hole(place: Floats, diameter: float, what: str) -> Hole:
    return Hole(float(place[0]), float(place[1]), diameter, what)


def _stated_holes(bridge: Bridge, frames: Sequence[_Frame]) -> Iterator[Hole]:
    """Yield the holes the plan states; each single unit has them all."""
    for frame in frames:
        yield from (_hole(frame.out(np.array([x, y])), diameter, "hole") for x, y, diameter in bridge.holes)


def _holes(bridge: Bridge, frame: _Frame, contacts: Floats, directions: Floats) -> Iterator[Hole]:
    """Yield the holes that follow from the kind of bridge."""
    if isinstance(bridge, TwoPosts) and bridge.post_spread is not None:
        for side in (0.5, -0.5):
            place = frame.out(np.array([0.0, side * bridge.post_spread]))
            yield _hole(place, bridge.bushing_diameter or POST_HOLE, "post")
    for what, distance, diameter in rear_holes(bridge):
        if distance is not None:
            # On along the string until it is that far behind the middle of the slot.
            further = (distance - frame.own(contacts)[:, 0]) / (directions @ frame.rear)
            yield from (_hole(place, diameter, what) for place in contacts + further[:, None] * directions)


def rear_holes(bridge: Bridge) -> tuple[tuple[str, float | None, float], ...]:
    """Give the holes behind a saddle's slot: their name, how far behind its middle they are, their diameter [mm]."""
    if not isinstance(bridge, SaddleSlot):
        return ()
    return (
        ("pin", bridge.pin_distance, bridge.pin_diameter or PIN_HOLE),
        ("tie", bridge.tie_distance, bridge.tie_diameter or TIE_HOLE),
    )


def _heights(plan: Plan, bridge: Bridge, strung: Strung) -> tuple[Floats | None, Floats | None]:
    """Give string heights over the top and crests over the base, where both heights are stated."""
    if bridge.plane_height is None:
        return None, None
    over_top = bridge.plane_height + saddle_height(strung.fretting, strung.offsets.saddle, strung.offsets.nut)
    if bridge.base_height is None:
        return over_top, None
    exposure = over_top - bridge.base_height
    if exposure.min() <= 0:
        above = f"the base reaches {plan.said(-exposure.min())} above a string"
        raise PlanError([Fault("bridge.base_height", above, "check plane_height too")])
    return over_top, exposure
