"""What is possible but hardly meant about a board."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import numpy as np

from slotwright.layout.errors import needed
from slotwright.layout.findings import Finding
from slotwright.layout.instrument.blank import edge_height
from slotwright.layout.instrument.neck import mark_centres, nearest_edge, side_dots
from slotwright.layout.units import ROUNDING, SHOWN

if TYPE_CHECKING:
    from collections.abc import Iterator

    from slotwright.layout.instrument.blank import Sawing
    from slotwright.layout.instrument.neck import Neck
    from slotwright.layout.plan.plan import Plan

# Below these a board can still be made, but a maker wants to know (common practice, no source).
NARROW_FRET: Final = 4.0  # mm from crown to crown: no finger fits
THIN_WOOD: Final = 2.0  # mm left under a slot: the board may snap there
NOTCH_WALL: Final = 0.8  # mm of strip between two notches: less breaks away
NEAR_EDGE: Final = 2.0  # mm from an outer string to the edge: it is pulled off the board
# Beyond these a number is likelier a slip than meant (common practice, no source).
_MOST_SPREAD: Final = 2.5  # times the spread at the nut, at the saddle
_MOST_TAPER: Final = 2.0  # times the width at the nut, at a fret
_MOST_FAN: Final = 1.25  # times the treble scale, the bass one


def warnings(plan: Plan, neck: Neck, sawing: Sawing) -> Iterator[Finding]:
    """Yield what is possible but hardly meant about the board.

    Parameters
    ----------
    plan, neck, sawing
        The plan, its neck and the depth of its slots.
    """
    said = plan.said
    steps = np.diff(neck.from_nut, axis=0).min(axis=1)
    close = int(np.argmin(steps))
    if steps[close] < NARROW_FRET - SHOWN:
        yield Finding(
            "narrow fret",
            f"fret {close + 1}",
            f"frets {close} and {close + 1} stand {said(steps[close])} apart; below {said(NARROW_FRET)}",
            {"apart": float(steps[close]), "limit": NARROW_FRET},
        )
    thin = sawing.thinnest
    if (left := float(sawing.wood_left[thin])) < THIN_WOOD - SHOWN:
        yield Finding(
            "thin wood",
            f"fret {thin}",
            f"{said(left)} of wood left under the slot of fret {thin}; below {said(THIN_WOOD)}",
            {"left": left, "limit": THIN_WOOD},
        )
    margin, end, side = nearest_edge(neck)
    if margin < NEAR_EDGE - SHOWN:
        yield Finding(
            "near the edge",
            f"outer {side} string",
            f"the outer {side} string stands {said(margin)} from the edge at the {end}; below {said(NEAR_EDGE)}",
            {"margin": margin, "limit": NEAR_EDGE},
        )
    board = plan.board
    if len(plan.strings) == 1 and (board.string_spread_nut or board.string_spread_saddle):
        yield Finding("unused", "board", "one string stands on the centre line; its string_spread is not used")
    yield from _nut_groove(plan)
    yield from _crowded_marks(plan, neck)
    yield from _side_dots(plan, neck)
    yield from _likely_slips(plan)
    at_nut, at_last = (float(np.ptp(neck.lines_in_board[fret, :, 1])) for fret in (0, -1))
    if at_last < at_nut - ROUNDING:
        yield Finding(
            "narrowing board",
            "board",
            f"the board narrows from {said(at_nut)} at the nut to {said(at_last)} at the last fret",
            {"at_nut": at_nut, "at_last_fret": at_last},
        )
    if plan.jig and (fault := jig_fault(plan, neck)):
        yield Finding("unused", "jig", f"[jig] is ignored: {fault}")
    elif plan.jig and plan.frets.slot_inset:
        yield Finding(
            "blind slots",
            "jig",
            "the slots are blind (frets.slot_inset): a saw sled cuts from edge to edge and cannot make them",
        )


def _likely_slips(plan: Plan) -> Iterator[Finding]:
    """Ask about numbers that no instrument is likely to have."""
    said, board, scale = plan.said, plan.board, plan.scale
    asked = [
        ("board.string_spread_saddle", plan.spread_saddle, plan.spread_nut, _MOST_SPREAD, "the spread at the nut")
    ]
    if board.width_at is not None:
        asked.append(("board.width_at", board.width_at.width, board.nut_width, _MOST_TAPER, "the width at the nut"))
    if scale.treble is not None and scale.bass is not None:
        asked.append(("scale.bass", scale.bass, scale.treble, _MOST_FAN, "scale.treble"))
    for key, length, other, most, what in asked:
        if other and length > most * other:
            times = length / other
            words = f"{key} of {said(length)} is {times:.1f} times {what}, {said(other)}: is that meant?"
            yield Finding("likely slip", key, words, {"length": length, "times": times, "limit": most})
    if scale.length is None and plan.frets.count < scale.square_fret < math.inf:
        words = (
            f"scale.square_fret {scale.square_fret:g} lies beyond the last fret, {plan.frets.count}: is that meant?"
        )
        yield Finding(
            "likely slip", "scale.square_fret", words, {"fret": scale.square_fret, "last": plan.frets.count}
        )


def jig_fault(plan: Plan, neck: Neck) -> str | None:
    """Say why no strip can be notched for a jig; None when it can.

    Parameters
    ----------
    plan, neck
        The plan, which has a jig, and its neck.
    """
    jig = needed(plan.jig, "the plan has no [jig]")
    if plan.scale.length is None:
        return "a strip of notches serves one scale; this plan has two"
    closest = int(np.argmin(np.diff(neck.frets.middle)))
    room = float(np.diff(neck.frets.middle)[closest]) - jig.play - NOTCH_WALL
    if jig.pin > room:
        thinner = f"a pin of {plan.said(room)} or less is needed" if room > 0 else "no pin is thin enough"
        return f"the notches of frets {closest} and {closest + 1} run into each other; {thinner} (jig.pin)"
    return None


def _nut_groove(plan: Plan) -> Iterator[Finding]:
    """Find a nut that its groove, or a groove that the board, does not hold."""
    said, nut = plan.said, plan.nut
    if nut and nut.slot > 0 and plan.behind_nut < nut.slot + nut.ledge - ROUNDING:
        needed = nut.slot + nut.ledge
        yield Finding(
            "nut groove",
            "nut",
            f"the nut's groove and ledge need board.behind_nut of {said(needed)}",
            {"needed": needed, "behind_nut": plan.behind_nut},
        )
    if nut and 0 < nut.slot < nut.thickness:
        yield Finding(
            "nut groove",
            "nut",
            f"the nut, {said(nut.thickness)} thick, does not fit its groove of {said(nut.slot)}",
            {"thickness": nut.thickness, "groove": nut.slot},
        )


def _crowded_marks(plan: Plan, neck: Neck) -> Iterator[Finding]:
    """Find marks that reach into a slot or over the edge, as both of a pair do before they reach into each other."""
    radius = plan.board.mark_diameter / 2
    for fret, x, y in mark_centres(plan, neck):
        mark = f"mark at fret {fret}"
        beside = neck.frets[fret - 1 : fret + 1]
        off = np.abs(beside.x_at(y) - x) / np.hypot(1, beside.skew)
        if off.min() < radius + plan.frets.slot_width / 2:
            fits = 2 * float(off.min())
            words = f"the {mark} reaches into a slot; a diameter below {plan.said(fits)} fits"
            yield Finding("crowded mark", mark, words, {"fits": fits})
            return
        if (np.abs(neck.edges.y_at(x) - y) / np.hypot(1, neck.edges.taper)).min() < radius:
            yield Finding("crowded mark", mark, f"the {mark} reaches over the edge of the board")
            return


def _side_dots(plan: Plan, neck: Neck) -> Iterator[Finding]:
    """Find side dots that nothing asks for, that the edge is too low for, or that reach into a slot."""
    board, dots = plan.board, side_dots(plan, neck)
    if board.side_dots and not dots:
        yield Finding("unused", "board.side_dots", "side dots stand beside position marks, and there are none")
    for fret, along in dots:
        high = edge_height(plan, neck, along)
        ends = neck.along_edges[fret - 1 : fret + 1, 1]
        room = 2 * float(np.abs(ends - along).min()) - plan.frets.slot_width
        if board.side_dot_diameter > min(high, room) - SHOWN:
            what = (
                f"the edge is {plan.said(high)} high" if high < room else f"{plan.said(room)} fits between the slots"
            )
            words = f"the side dot at fret {fret} is {plan.said(board.side_dot_diameter)} wide; {what}"
            yield Finding("crowded mark", f"side dot at fret {fret}", words, {"fits": min(high, room)})
            return
