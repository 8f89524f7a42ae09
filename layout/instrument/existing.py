"""What was measured on an instrument that is there, in the axes of the drawing. Still right-handed."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations
from typing import TYPE_CHECKING

import numpy as np

from slotwright.layout.errors import Fault, PlanError

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from numpy.typing import NDArray

    from slotwright.layout.instrument.neck import Neck
    from slotwright.layout.plan.bridges import AnyBridge
    from slotwright.layout.plan.plan import Plan
    from slotwright.layout.plan.rows import Place

    Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class There:
    """What is there where a bridge is to stand.

    Parameters
    ----------
    pins, holes
        Pin holes that stay, and other holes: x, y and diameter [mm], shape (n, 3).
    footprint
        Corners of the old bridge [mm], shape (n, 2); empty where not stated.
    under
        Names of plates and braces, and their corners [mm], each of shape (n, 2).
    """

    pins: Floats
    holes: Floats
    footprint: Floats
    under: tuple[tuple[str, Floats], ...]


def what_is_there(plan: Plan, neck: Neck, bridge: AnyBridge) -> There:
    """Bring all that was measured into the axes of the drawing.

    Parameters
    ----------
    plan, neck, bridge
        The plan, its neck and its bridge.

    Returns
    -------
    There
        Holes and outlines.

    Raises
    ------
    PlanError
        Two rule distances do not meet, or there are not as many pins as strings.
    """
    hand = np.array([1.0, plan.board.hand])
    bass, treble = neck.lines_in_board[plan.action_fret] * hand
    crown = float(neck.frets.middle[plan.action_fret])
    faults: list[Fault] = []

    def found(path: str, places: Sequence[Place], origin: str) -> Floats:
        rows = np.empty((len(places), 3))
        for number, place in enumerate(places):
            if place.treble is not None and place.bass is not None:
                at = two_rules(treble, bass, place.treble, place.bass)
                if at is None:
                    apart = plan.said(float(np.hypot(*(treble - bass))))
                    what = f"the two distances do not meet: the ends of fret {plan.action_fret} are {apart} apart"
                    faults.append(Fault(f"bridge.{path}[{number + 1}]", what, "measure both again"))
                    at = crown, 0.0
            else:
                at = (place.x or 0.0) + (0.0 if origin == "nut line" else crown), place.y or 0.0
            rows[number] = *at, place.diameter
        return rows

    there = bridge.existing
    pins = found("existing.pins", there.pins, there.origin) if there else np.empty((0, 3))
    holes = found("existing.holes", there.holes, there.origin) if there else np.empty((0, 3))
    old = np.array(bridge.existing_holes).reshape(-1, 3)
    footprint = found("existing.footprint", there.footprint, there.origin)[:, :2] if there else np.empty((0, 2))
    under = tuple(
        (each.name, found(f"under[{number}].outline", each.outline, each.origin)[:, :2])
        for number, each in enumerate(bridge.under, start=1)
    )
    faults += _faults(plan, pins, footprint, under)
    if faults:
        raise PlanError(faults)
    return There(pins, np.concatenate((holes, old)), footprint, under)


def _faults(plan: Plan, pins: Floats, footprint: Floats, under: Sequence[tuple[str, Floats]]) -> Iterator[Fault]:
    if len(pins) not in (0, len(plan.strings)):
        yield Fault("bridge.existing.pins", f"{len(pins)} pins for {len(plan.strings)} strings")
    for one, other in combinations(range(len(pins)), 2):
        if np.hypot(*(pins[one] - pins[other])[:2]) < (pins[one, 2] + pins[other, 2]) / 2:
            what = f"pins {one + 1} and {other + 1} run into each other"
            yield Fault("bridge.existing.pins", what, "measure both again")
    outlines = [("existing.footprint", footprint)]
    outlines += [(f"under[{number}].outline", corners) for number, (_, corners) in enumerate(under, start=1)]
    for path, corners in outlines:
        if len(corners) in (1, 2):
            yield Fault(f"bridge.{path}", f"{len(corners)} corners make no outline", "state three or more")


def turned_over(there: There, hand: Floats) -> There:
    """Give the same on the drawing: x and y times what turns a left-handed instrument over, shape (2,)."""
    whole = np.append(hand, 1.0)
    under = tuple((name, corners * hand) for name, corners in there.under)
    return There(there.pins * whole, there.holes * whole, there.footprint * hand, under)


def two_rules(treble: Floats, bass: Floats, from_treble: float, from_bass: float) -> tuple[float, float] | None:
    """Find a place by its distances from the two ends of a fret.

    Parameters
    ----------
    treble, bass
        The ends [mm], shape (2,).
    from_treble, from_bass
        The distances [mm].

    Returns
    -------
    tuple of float or None
        x and y of the place on the bridge's side [mm]; None where the two arcs do not meet.
    """
    across = treble - bass
    apart = float(np.hypot(*across))
    along = (apart**2 + from_bass**2 - from_treble**2) / (2 * apart)
    square = from_bass**2 - along**2
    if square < 0:
        return None
    unit = across / apart
    toward = np.array([unit[1], -unit[0]])  # the treble end lies to the left, seen toward the bridge
    x, y = bass + along * unit + np.sqrt(square) * toward
    return float(x), float(y)


def by_string(pins: Floats, wanted: Floats) -> Floats:
    """Put pins in the order of the strings: side by side as their contacts are.

    Parameters
    ----------
    pins
        The holes [mm], shape (strings, 3).
    wanted
        The contacts [mm], shape (strings, 2).
    """
    ordered = np.empty_like(pins)
    ordered[np.argsort(wanted[:, 1], kind="stable")] = pins[np.argsort(pins[:, 1], kind="stable")]
    return ordered
