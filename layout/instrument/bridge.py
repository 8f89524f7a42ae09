"""Where a bridge stands so that the offsets fit it.

Everything is calculated in the axes of a right-handed instrument and turned over at the end. A bridge
has axes of its own: its datum is the origin, +x runs to the rear, +y to the treble side, and the
angle turns it anticlockwise about the datum.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from slotwright.layout.errors import Fault, PlanError, needed
from slotwright.layout.instrument import neck_angle, saddle_slot
from slotwright.layout.instrument.axes import Axes
from slotwright.layout.instrument.existing import There, by_string, turned_over, what_is_there
from slotwright.layout.instrument.lines import meet, straight_fit
from slotwright.layout.instrument.wood import Hole, lacks, post_lacks
from slotwright.layout.physics.pitch import saddle_height
from slotwright.layout.plan.bridges import Adjustable, Floating, IndividualSaddles, SaddleSlot, TwoPosts
from slotwright.layout.units import ROUNDING

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from numpy.typing import NDArray

    from slotwright.layout.instrument.neck import Neck
    from slotwright.layout.instrument.stringing import Strung
    from slotwright.layout.plan.bridges import Bridge
    from slotwright.layout.plan.plan import Plan

    Floats = NDArray[np.float64]

POST_HOLE: Final = 11.0  # mm, where the plan states none (common practice, from memory)
TIE_HOLE: Final = 1.8  # mm, likewise
TIE_LENGTH: Final = 10.0  # mm drawn of a tie hole where the rear edge is not known


@dataclass(frozen=True, slots=True, eq=False)
class Placement:
    """A bridge in its place.

    Parameters
    ----------
    datum
        Origin of the bridge's own axes [mm], shape (2,).
    angle
        How far it is turned, anticlockwise on the drawing [degrees].
    crest_angle
        How far its saddle is, which may lie at an angle in it [degrees].
    contacts
        Where the strings touch it [mm], shape (strings, 2).
    missed
        How far behind the place that is wanted each contact of a saddle lies that is too thin for all,
        or that holes are in the way of [mm], shape (strings,).
    missed_cents
        What that does to the note at the octave fret [cents], shape (strings,).
    along
        Contacts in the bridge's own x, of a slot in the slot's [mm], shape (strings,).
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
    ties
        Tie holes, which run along the strings: where each begins at the front and ends at the rear
        [mm], shape (strings, 2, 2); None where there are none.
    there
        What was there already, on the drawing.
    exposure
        How far each crest stands above the base [mm], shape (strings,); None where the heights are
        not stated.
    over_top
        Height of each string above the top at its contact [mm], likewise.
    """

    datum: Floats
    angle: float
    crest_angle: float
    contacts: Floats
    missed: Floats
    missed_cents: Floats
    along: Floats
    bands: Floats | None
    reserve: Floats | None
    thickness: float | None
    outlines: tuple[Floats, ...]
    slot: Floats | None
    holes: tuple[Hole, ...]
    ties: Floats | None
    there: There
    exposure: Floats | None
    over_top: Floats | None


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
    contacts = neck.on_strings(neck.scales + strung.offsets.saddle) * hand
    directions = neck.directions * hand
    over_top, exposure = _heights(plan, neck, bridge, strung)
    slot, missed = None, np.zeros(len(contacts))
    there = what_is_there(plan, neck, bridge)
    pins = by_string(there.pins, contacts) if len(there.pins) else there.pins
    if isinstance(bridge, SaddleSlot):
        slot = _lay_slot(bridge, contacts, directions, exposure, pins)
        missed = slot.missed / (directions @ slot.axes.rear)
        contacts = contacts - missed[:, None] * directions
        frame = Axes(slot.axes.datum, math.radians(bridge.angle))
        along = slot.along - slot.missed
    else:
        frame = _frame(plan, bridge, contacts)
    # Each string has its unit to itself, or all stand on one base.
    frames = _units(bridge, contacts, directions) if single_units(plan) else [frame]
    if slot is None:
        along = frame.own(contacts)[:, 0]
    if faults := tuple(_collisions(plan, bridge, frames)):
        raise PlanError(faults)
    bands, reserve = _travel(bridge, frames if single_units(plan) else frames * len(contacts), contacts, directions)
    holes = [*_stated_holes(bridge, frames), *_holes(plan, bridge, frame, slot, contacts, directions, pins)]
    outlines = [corners for each in frames if (corners := _outline(bridge, each)) is not None]
    corners = _slot_corners(bridge, slot)
    if isinstance(bridge, TwoPosts) and (faults := tuple(post_lacks(plan, neck, holes, hand))):
        raise PlanError(faults)
    if isinstance(bridge, SaddleSlot) and corners is not None:
        whole = outlines[0] if outlines else None
        if faults := tuple(lacks(plan, bridge, frame, whole, corners, holes)):
            raise PlanError(faults)
    ties = _ties(bridge, frame, slot, contacts, directions)
    flip = float(hand[1])
    sensitivity = strung.sensitivity[:, plan.action_fret - 1]
    return Placement(
        datum=frame.datum * hand,
        angle=math.degrees(frame.turn) * flip,
        crest_angle=math.degrees(frame.turn if slot is None else slot.axes.turn) * flip,
        contacts=contacts * hand,
        missed=-missed,
        missed_cents=-sensitivity * missed,
        along=along,
        bands=None if bands is None else bands * hand,
        reserve=reserve,
        thickness=None if slot is None else slot.thickness,
        outlines=tuple(corners * hand for corners in outlines),
        slot=None if corners is None else corners * hand,
        holes=tuple(replace(hole, y=hole.y * flip) for hole in holes),
        ties=None if ties is None else ties * hand,
        there=turned_over(there, hand),
        exposure=exposure,
        over_top=over_top,
    )


def _lay_slot(
    bridge: SaddleSlot, contacts: Floats, directions: Floats, exposure: Floats | None, pins: Floats
) -> saddle_slot.Slot:
    """Lay the slot on the bridge's surface, from which a leaning saddle comes forward to its crest."""
    lean = 0.0 if exposure is None else exposure * math.tan(math.radians(bridge.slot_lean))
    on_surface = contacts + np.reshape(lean, (-1, 1)) * directions
    width = needed(bridge.slot_width, "bridge.slot_width is missing")
    return saddle_slot.lay_slot(on_surface, width, bridge.crown_radius, pins, bridge.wood.slot_to_pins)


def _units(bridge: Bridge, contacts: Floats, directions: Floats) -> list[Axes]:
    """Set single units along their strings, as much travel before each contact as behind it."""
    back = bridge.mid_travel if isinstance(bridge, Adjustable) else 0.0
    return [
        Axes(contact - back * direction, math.atan2(float(direction[1]), float(direction[0])))
        for contact, direction in zip(contacts, directions, strict=True)
    ]


def _travel(
    bridge: Bridge, homes: Sequence[Axes], contacts: Floats, directions: Floats
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
    if isinstance(bridge, SaddleSlot) and bridge.outline and 2 * bridge.corner_radius > 0.98 * min(bridge.outline):
        yield Fault("bridge.corner_radius", "more than half a side of the bridge")
    if isinstance(bridge, SaddleSlot) and bridge.outline and 0 < bridge.top_radius < bridge.outline[0]:
        yield Fault("bridge.top_radius", "less than the bridge is across", "check the unit; 0 is flat")
    for key in ("post_spread", "slot_length"):
        length = getattr(bridge, key, None)
        if length is not None and length <= spread:
            yield Fault(f"bridge.{key}", f"{said(length)}; the strings alone are spread {said(spread)}", "check it")


def _collisions(plan: Plan, bridge: Bridge, frames: Sequence[Axes]) -> Iterator[Fault]:
    """Refuse single units wider than their strings stand apart where these are closest: at the front."""
    to_front = bridge.to_front
    if len(frames) < 2 or bridge.outline is None or to_front is None:
        return
    front = (bridge.front_stop if isinstance(bridge, Adjustable) else 0.0) - to_front
    corners = [frame.rectangle(front, front + bridge.outline[1], 0.0) for frame in frames]
    apart = min(
        abs(float(np.array([-axes.rear[1], axes.rear[0]]) @ (end - axes.datum)))
        for axes, following in zip(frames, corners[1:], strict=False)
        for end in following
    )
    if bridge.outline[0] > apart + ROUNDING:
        yield Fault(
            "bridge.outline",
            f"units {plan.said(bridge.outline[0])} wide collide; their strings stand {plan.said(apart)} apart",
            f"{plan.said(apart)} at most",
        )


def foot_hollow(radius: float, across: float) -> float:
    """Give how far the middle of a foot stands off its ends on a domed top [mm]; 0 for a flat one."""
    return radius - math.sqrt(radius**2 - across**2 / 4) if radius else 0.0


def single_units(plan: Plan) -> bool:
    """Tell whether each string has a unit of its own: a fan without a base at an angle."""
    bridge = plan.bridge
    stands_at_an_angle = not isinstance(bridge, IndividualSaddles) or "angle" in bridge.model_fields_set
    return plan.scale.length is None and not stands_at_an_angle


def _frame(plan: Plan, bridge: Bridge, contacts: Floats) -> Axes:
    """Choose datum and angle: the contacts lie as far from both ends of their room as can be."""
    if isinstance(bridge, IndividualSaddles):
        turn = math.radians(bridge.angle)
        if single_units(plan):
            return Axes(np.array([float(contacts[:, 0].mean()), 0.0]), 0.0)
        own = contacts @ np.array([math.cos(turn), math.sin(turn)])
        middle = (float(own.min()) + float(own.max())) / 2
        start = (middle - bridge.mid_travel) / math.cos(turn)
        return Axes(np.array([start, 0.0]), turn)
    start, lean, _ = straight_fit(contacts[:, 1], contacts[:, 0])
    turn = -math.atan(lean)
    if isinstance(bridge, TwoPosts):
        start -= bridge.mid_travel / math.cos(turn)
    return Axes(np.array([start, 0.0]), turn)


def _outline(bridge: Bridge, frame: Axes) -> Floats | None:
    if isinstance(bridge, Floating) and bridge.foot is not None:
        across, along = bridge.foot
        return frame.rectangle(-along / 2, along / 2, across / 2)
    to_front = bridge.to_front
    if bridge.outline is None or to_front is None:
        return None
    across, along = bridge.outline
    # The foremost contact line: the front of the travel, or the middle of the slot.
    foremost = bridge.front_stop if isinstance(bridge, Adjustable) else 0.0
    front = foremost - to_front
    return frame.rectangle(front, front + along, across / 2)


def _slot_corners(bridge: Bridge, slot: saddle_slot.Slot | None) -> Floats | None:
    if slot is None or not isinstance(bridge, SaddleSlot) or bridge.slot_width is None or bridge.slot_length is None:
        return None
    return slot.axes.rectangle(-bridge.slot_width / 2, bridge.slot_width / 2, bridge.slot_length / 2)


def _hole(place: Floats, diameter: float, what: str, top: float | None = None) -> Hole:
    return Hole(float(place[0]), float(place[1]), diameter, what, top)


def _stated_holes(bridge: Bridge, frames: Sequence[Axes]) -> Iterator[Hole]:
    """Yield the holes the plan states; each single unit has them all."""
    for frame in frames:
        for x, y, diameter in bridge.holes:
            seat = bridge.seat[0] if bridge.seat is not None and bridge.seat[0] > diameter else None
            yield replace(_hole(frame.out(np.array([x, y])), diameter, "hole"), seat=seat)


def _holes(
    plan: Plan,
    bridge: Bridge,
    frame: Axes,
    slot: saddle_slot.Slot | None,
    contacts: Floats,
    directions: Floats,
    existing: Floats,
) -> Iterator[Hole]:
    """Yield the holes that follow from the kind of bridge."""
    if isinstance(bridge, TwoPosts) and bridge.post_spread is not None:
        for side in (0.5, -0.5):
            place = frame.out(np.array([0.0, side * bridge.post_spread]))
            yield _hole(place, bridge.bushing_diameter or POST_HOLE, "post")
    if len(existing):
        yield from (Hole(float(x), float(y), float(wide), "pin", there=True) for x, y, wide in existing)
    elif isinstance(bridge, SaddleSlot) and slot is not None and (pins := bridge.all_pins) is not None:
        line = slot.axes if pins.line == "along the slot" else frame
        diameter = saddle_slot.drilled(pins, bridge.base_height)
        top = pins.head if pins.taper else None
        places = saddle_slot.pin_places(pins, saddle_slot.rows(plan), line, contacts, directions)
        yield from (_hole(place, diameter, "pin", top) for place in places)


def _ties(
    bridge: Bridge, frame: Axes, slot: saddle_slot.Slot | None, contacts: Floats, directions: Floats
) -> Floats | None:
    """Give where tie holes begin and end: along the strings, from their mouths to the rear edge."""
    if not isinstance(bridge, SaddleSlot) or slot is None or bridge.tie_distance is None:
        return None
    outline, to_front = bridge.outline, bridge.to_front
    rear = outline[1] - to_front if outline is not None and to_front is not None else bridge.tie_distance + TIE_LENGTH
    ends = []
    for axes, distance in ((slot.axes, bridge.tie_distance), (frame, rear)):
        further = (distance - axes.own(contacts)[:, 0]) / (directions @ axes.rear)
        ends.append(contacts + further[:, None] * directions)
    return np.stack(ends, axis=1)


def _heights(plan: Plan, neck: Neck, bridge: Bridge, strung: Strung) -> tuple[Floats | None, Floats | None]:
    """Give string heights over the top and crests over the base, where both heights are stated."""
    if bridge.plane_height is None:
        return None, None
    over_top = bridge.plane_height + saddle_height(strung.fretting, strung.offsets.saddle, strung.offsets.nut)
    if bridge.base_height is None:
        return over_top, None
    exposure = over_top - bridge.base_height
    if exposure.min() <= 0:
        above = f"the base reaches {plan.said(-exposure.min())} above a string"
        mend = "; or ".join(neck_angle.cures(plan, neck, neck_angle.EXPOSURE[0] - float(exposure.min()), higher=True))
        raise PlanError([Fault("bridge.base_height", above, f"check plane_height too; else {mend}")])
    return over_top, exposure
