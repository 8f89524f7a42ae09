"""The blank that a board is cut from, and how deep its slots go."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from slotwright.layout.errors import Fault, needed
from slotwright.layout.instrument.lines import lengthened
from slotwright.layout.units import ROUNDING

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from slotwright.layout.instrument.neck import Neck
    from slotwright.layout.plan.plan import Plan


@dataclass(frozen=True, slots=True, eq=False)
class Sawing:
    """How deep the slots go.

    Parameters
    ----------
    depth
        Slot depth below the finished surface [mm].
    setting
        Saw depth below the top of a blank that is still flat and is curved afterwards, deep
        enough at both ends of the slot [mm], shape (frets + 1,); row 0 is the nut line.
    wood_left
        What stays under the slot [mm], shape (frets + 1,).
    thinnest
        The fret whose slot leaves least.
    """

    depth: float
    setting: NDArray[np.float64]
    wood_left: NDArray[np.float64]
    thinnest: int


def blank_outline(plan: Plan) -> NDArray[np.float64]:
    """Give the corners of the square blank.

    Parameters
    ----------
    plan
        A checked plan with a blank.

    Returns
    -------
    ndarray, shape (4, 2)
        Corners [mm]: bass nut end, bass far end, treble far end, treble nut end.
    """
    blank = needed(plan.blank, "the plan has no [blank]")
    near, far, half = -blank.nut_at, blank.length - blank.nut_at, blank.width / 2
    hand = plan.board.hand
    return np.array([[near, -hand * half], [far, -hand * half], [far, hand * half], [near, hand * half]])


def saw(plan: Plan, neck: Neck) -> Sawing:
    """Say how deep the slots go.

    Parameters
    ----------
    plan, neck
        The plan and its neck.
    """
    depth = plan.frets.tang_depth + plan.frets.slot_clearance
    setting = depth + neck.drop(neck.slots[..., 0], neck.slots[..., 1]).max(axis=1)
    left = plan.board.thickness - setting
    first = 0 if plan.frets.zero_fret else 1
    return Sawing(depth, setting, left, first + int(np.argmin(left[first:])))


def slots_across(plan: Plan, neck: Neck) -> NDArray[np.float64] | None:
    """Draw every slot across the square blank, and past it.

    Parameters
    ----------
    plan, neck
        The plan and its neck.

    Returns
    -------
    ndarray, shape (frets + 1, 2, 2), or None
        Ends of the slots with run-out, bass end first [mm]; None without a blank.
    """
    if plan.blank is None:
        return None
    near, far, half = -plan.blank.nut_at, plan.blank.length - plan.blank.nut_at, plan.blank.width / 2
    middle, skew = neck.frets.middle.copy(), neck.frets.skew
    middle[0] += neck.nut_moved
    # A leaning line may leave through an end of the blank before it reaches a side.
    square = skew == 0
    at_ends = (np.array([near, far]) - middle[:, None]) / np.where(square, 1.0, skew)[:, None]
    low, high = np.sort(np.where(square[:, None], [-np.inf, np.inf], at_ends), axis=1).T
    y = np.stack((np.maximum(low, -half), np.minimum(high, half)), axis=1)
    if plan.board.left_handed:
        y = y[:, ::-1]  # the bass end comes first, as in the finished slots
    ends = np.stack((middle[:, None] + skew[:, None] * y, y), axis=-1)
    return lengthened(ends, plan.blank.run_out)


def edge_height(plan: Plan, neck: Neck, along: float) -> float:
    """Give how high the bass edge of the board is.

    Parameters
    ----------
    plan, neck
        The plan and its neck.
    along
        Way along that edge from the nut line [mm].

    Returns
    -------
    float
        What the curve of the board leaves of its thickness there [mm].
    """
    edge = neck.edges[1]
    x = float(neck.lines_in_board[0, 0, 0]) + along / float(np.hypot(1, edge.taper[0]))
    return plan.board.thickness - float(neck.drop(x, edge.y_at(x))[0])


def faults(plan: Plan, neck: Neck, sawing: Sawing) -> Iterator[Fault]:
    """Find what the board's wood cannot hold: slots too deep, a blank too small.

    Parameters
    ----------
    plan, neck, sawing
        The plan, its neck and the depth of its slots.

    Yields
    ------
    Fault
        What cannot be cut.
    """
    deepest = sawing.thinnest
    if sawing.wood_left[deepest] <= 0:
        yield Fault(
            "board.thickness",
            f"{plan.said(plan.board.thickness)}; the slot of fret {deepest} is sawn "
            f"{plan.said(sawing.setting[deepest])} deep",
            "thicken the board or lessen frets.tang_depth",
        )
    if plan.blank is None:
        return
    low, high = blank_outline(plan).min(axis=0), blank_outline(plan).max(axis=0)
    before, past = low - neck.outline.min(axis=0), neck.outline.max(axis=0) - high
    if before[0] > ROUNDING:
        yield Fault("blank.nut_at", f"the board reaches {plan.said(before[0])} past the blank's nut end", "raise it")
    if past[0] > ROUNDING:
        yield Fault("blank.length", f"the board reaches {plan.said(past[0])} past the blank's far end", "lengthen it")
    short = np.maximum(before, past)
    if short[1] > ROUNDING:
        yield Fault("blank.width", f"the board is {plan.said(2 * short[1])} wider", "widen the blank")
