"""Where a bridge stands so that the offsets fit it.

Everything is reckoned in the axes of a right-handed instrument and turned over at the end. A bridge
has axes of its own: its datum is the origin, +x runs to the rear, +y to the treble side, and the
angle turns it counter-clockwise about the datum.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from slotwright.layout.errors import Fault, PlanError
from slotwright.layout.pitch import errors, saddle_height
from slotwright.layout.units import show

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from numpy.typing import NDArray

    from slotwright.layout.neck import Neck
    from slotwright.layout.plan import Bridge, Plan
    from slotwright.layout.strung import Strung

    Floats = NDArray[np.float64]

POST_HOLE: Final = 11.0  # mm, where the plan states none (common practice, from memory)
PIN_HOLE: Final = 5.0  # mm, likewise
TIE_HOLE: Final = 1.8  # mm, likewise

NEEDED: Final = {
    "individual saddles": ("travel",),
    "saddle slot": ("slot_width", "slot_length"),
    "two posts": ("post_spread", "travel"),
    "floating": ("foot",),
}


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


@dataclass(frozen=True, slots=True)
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
        How far each contact stands behind the place its string alone would want [mm], shape
        (strings,): what a shared saddle or crest costs.
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
    outline
        Corners of the bridge [mm], front bass corner first, shape (4, 2); None where not stated.
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
    outline: Floats | None
    slot: Floats | None
    holes: tuple[Hole, ...]
    exposure: Floats | None
    over_top: Floats | None


@dataclass(frozen=True, slots=True)
class _Frame:
    """The bridge's own axes: points between them and the drawing (still right-handed)."""

    datum: Floats
    turn: float  # radians

    def out(self, own: Floats) -> Floats:
        """Give points of the bridge, shape (..., 2), on the drawing."""
        cos, sin = math.cos(self.turn), math.sin(self.turn)
        return self.datum + own @ np.array([[cos, sin], [-sin, cos]])

    def own(self, points: Floats) -> Floats:
        """Give points of the drawing, shape (..., 2), in the bridge's axes."""
        cos, sin = math.cos(self.turn), math.sin(self.turn)
        return (points - self.datum) @ np.array([[cos, -sin], [sin, cos]])


def lacking(plan: Plan) -> str | None:
    """Say what a plan lacks for its bridge to be placed; None when nothing.

    Parameters
    ----------
    plan
        A checked plan.
    """
    if plan.bridge is None:
        return "the plan has no [bridge]"
    for key in NEEDED[plan.bridge.kind]:
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
        x at y = 0 [mm], its change per mm of y, and the largest distance [mm]: the answer of a
        linear programme, with the least lean where several lines are as good.
    """
    from scipy.optimize import linprog  # noqa: PLC0415 - slow to import and seldom wanted

    if len(across) == 1:
        return float(along[0]), 0.0, 0.0
    one = np.ones(len(across))
    # Unknowns: x at 0, lean, largest distance. Distances stay below the largest on either side.
    rows = np.column_stack((one, across, -one)), np.column_stack((-one, -across, -one))
    answer = linprog(
        [0.0, 0.0, 1.0],
        A_ub=np.vstack(rows),
        b_ub=np.concatenate((along, -along)),
        bounds=[(None, None), (None, None), (0, None)],
        options={"primal_feasibility_tolerance": 1e-10, "dual_feasibility_tolerance": 1e-10},
    )
    assert answer.success  # noqa: S101 - a line through points always exists
    start, lean, most = (float(value) for value in answer.x)
    return start, lean, most


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
    assert bridge is not None  # noqa: S101 - `lacking` was asked
    if faults := tuple(_faults(plan, bridge)):
        raise PlanError(faults)
    hand = np.array([1.0, -1.0 if plan.board.left_handed else 1.0])
    wanted = neck.on_strings(neck.scales + strung.offsets.saddle) * hand
    contacts = _shared(plan, bridge, neck, strung, wanted)
    frame = _frame(plan, bridge, contacts)
    along = frame.own(contacts)[:, 0]
    ways = neck.on_strings(neck.scales) - neck.on_strings(np.zeros_like(neck.scales))
    ways = ways * hand / neck.scales[:, None]
    bands, reserve = None, None
    if bridge.travel is not None:
        # A single unit is set so that its contact has as much travel before as behind it.
        middle = along if single_units(plan) else np.full(len(along), bridge.front_stop + bridge.travel / 2)
        before = along - middle + bridge.travel / 2
        reserve = np.stack((before, bridge.travel - before), axis=-1)
        # Along the string, whatever the lean of the base: the cosine between them is part of the way.
        slant = ways @ np.array([math.cos(frame.turn), math.sin(frame.turn)])
        bands = np.stack(
            [contacts + (end / slant)[:, None] * ways for end in (-reserve[:, 0], reserve[:, 1])], axis=1
        )
    moved = contacts[:, 0] - wanted[:, 0]
    answer = errors(strung.fretting, strung.offsets.saddle, strung.offsets.nut)[1][:, plan.action_fret - 1, 0]
    over_top, exposure = _heights(bridge, strung)
    thickness = 2 * (float(np.abs(along).max()) + bridge.crown_radius) if bridge.kind == "saddle slot" else None
    holes = tuple(_holes(bridge, frame, contacts, ways))
    return Placement(
        datum=frame.datum * hand,
        angle=math.degrees(frame.turn) * float(hand[1]),
        contacts=contacts * hand,
        shared=moved,
        shared_cents=answer * moved,
        along=along,
        bands=None if bands is None else bands * hand,
        reserve=reserve,
        thickness=thickness,
        outline=_outline(bridge, frame, hand),
        slot=_slot(bridge, frame, hand),
        holes=tuple(Hole(h.x, h.y * float(hand[1]), h.diameter, h.what) for h in holes),
        exposure=exposure,
        over_top=over_top,
    )


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
        edge, line = neck.lines_in_board[fret], neck.frets[fret]
        strings = [float(neck.strings.y_at(line.x_at(0.0))[string]) for string in (0, -1)]
        treble, bass = (abs(float(edge[end, 1])) - abs(y) for end, y in ((1, strings[0]), (0, strings[1])))
        found.append((name, treble, bass, 1.0 - float(neck.fractions[fret])))
    return tuple(found)


def _faults(plan: Plan, bridge: Bridge) -> Iterator[Fault]:
    def said(length: float) -> str:
        return f"{show(length, plan.units)} {plan.units}"

    spread = plan.spread_saddle
    if bridge.travel is not None and bridge.travel <= 2 * bridge.reserve:
        yield Fault(
            "bridge.reserve",
            f"{said(bridge.reserve)} at both ends leave nothing of {said(bridge.travel)} travel",
            "lessen it, or find saddles with more travel",
        )
    for key in ("post_spread", "slot_length"):
        length = getattr(bridge, key)
        if length is not None and length <= spread:
            yield Fault(f"bridge.{key}", f"{said(length)}; the strings alone are spread {said(spread)}", "check it")


def single_units(plan: Plan) -> bool:
    """Tell whether each string has a unit of its own: a fan without a base at an angle."""
    bridge = plan.bridge
    if bridge is None or bridge.kind != "individual saddles" or "angle" in bridge.model_fields_set:
        return False
    return plan.scale.length is None


def _shared(plan: Plan, bridge: Bridge, neck: Neck, strung: Strung, wanted: Floats) -> Floats:
    """Put strings that share a saddle or a crest at the place that serves them together best."""
    count = len(wanted)
    groups: Sequence[Sequence[int]] = [[n - 1 for n in group] for group in bridge.groups]
    if bridge.kind in ("saddle slot", "floating"):
        groups = plan.courses
    slopes = errors(strung.fretting, strung.offsets.saddle, strung.offsets.nut)[1][..., 0]
    pull = (strung.weights * slopes**2).sum(axis=1)
    x = wanted[:, 0].copy()
    for group in groups:
        members = list(group)
        x[members] = np.average(x[members], weights=pull[members])
    ways = (neck.saddle_ends - neck.nut_ends) / neck.scales[:, None]
    ways = ways * np.array([1.0, -1.0 if plan.board.left_handed else 1.0])
    moved: Floats = wanted + ((x - wanted[:, 0]) / ways[:, 0])[:, None] * ways
    assert len(moved) == count  # noqa: S101 - one contact a string
    return moved


def _frame(plan: Plan, bridge: Bridge, contacts: Floats) -> _Frame:
    """Choose datum and angle: the contacts lie as far from both ends of their room as can be."""
    if bridge.kind == "individual saddles":
        turn = math.radians(bridge.angle)
        if single_units(plan):
            return _Frame(np.array([float(contacts[:, 0].mean()), 0.0]), 0.0)
        own = contacts @ np.array([math.cos(turn), math.sin(turn)])
        middle = (float(own.min()) + float(own.max())) / 2
        assert bridge.travel is not None  # noqa: S101 - `lacking` was asked
        start = (middle - bridge.front_stop - bridge.travel / 2) / math.cos(turn)
        return _Frame(np.array([start, 0.0]), turn)
    start, lean, _ = straight_fit(contacts[:, 1], contacts[:, 0])
    turn = -math.atan(lean)
    if bridge.kind == "two posts":
        assert bridge.travel is not None  # noqa: S101 - `lacking` was asked
        start -= (bridge.front_stop + bridge.travel / 2) / math.cos(turn)
    return _Frame(np.array([start, 0.0]), turn)


def _rectangle(frame: _Frame, hand: Floats, front: float, rear: float, half: float) -> Floats:
    corners = np.array([[front, -half], [rear, -half], [rear, half], [front, half]])
    return frame.out(corners) * hand


def _outline(bridge: Bridge, frame: _Frame, hand: Floats) -> Floats | None:
    if bridge.kind == "floating" and bridge.foot is not None:
        across, along = bridge.foot
        return _rectangle(frame, hand, -along / 2, along / 2, across / 2)
    if bridge.outline is None:
        return None
    across, along = bridge.outline
    # The foremost contact line: the front of the travel, or the middle of the slot.
    foremost = bridge.front_stop if bridge.travel is not None else 0.0
    front = foremost - (along / 3 if bridge.front is None else bridge.front)
    return _rectangle(frame, hand, front, front + along, across / 2)


def _slot(bridge: Bridge, frame: _Frame, hand: Floats) -> Floats | None:
    if bridge.slot_width is None or bridge.slot_length is None:
        return None
    return _rectangle(frame, hand, -bridge.slot_width / 2, bridge.slot_width / 2, bridge.slot_length / 2)


def _holes(bridge: Bridge, frame: _Frame, contacts: Floats, ways: Floats) -> Iterator[Hole]:
    for x, y, diameter in bridge.holes:
        place = frame.out(np.array([x, y]))
        yield Hole(float(place[0]), float(place[1]), diameter, "hole")
    if bridge.kind == "two posts" and bridge.post_spread is not None:
        for side in (1, -1):
            place = frame.out(np.array([0.0, side * bridge.post_spread / 2]))
            yield Hole(float(place[0]), float(place[1]), bridge.bushing_diameter or POST_HOLE, "post")
    for what, distance, diameter in (
        ("pin", bridge.pin_distance, bridge.pin_diameter or PIN_HOLE),
        ("tie", bridge.tie_distance, bridge.tie_diameter or TIE_HOLE),
    ):
        if distance is None:
            continue
        to_rear = np.array([math.cos(frame.turn), math.sin(frame.turn)])
        # On along the string until it is that far behind the middle of the slot.
        further = (distance - frame.own(contacts)[:, 0]) / (ways @ to_rear)
        for place in contacts + further[:, None] * ways:
            yield Hole(float(place[0]), float(place[1]), diameter, what)


def _heights(bridge: Bridge, strung: Strung) -> tuple[Floats | None, Floats | None]:
    """Give string heights over the top and crests over the base, where both heights are stated."""
    if bridge.plane_height is None:
        return None, None
    over_top = bridge.plane_height + saddle_height(strung.fretting, strung.offsets.saddle, strung.offsets.nut)
    return over_top, None if bridge.base_height is None else over_top - bridge.base_height
