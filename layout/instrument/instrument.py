"""Everything a plan implies, computed once."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from slotwright.layout.errors import Fault, PlanError
from slotwright.layout.instrument.bridge import Placement, lacking, place_bridge
from slotwright.layout.instrument.bridge_findings import findings
from slotwright.layout.instrument.lines import lengthened
from slotwright.layout.instrument.neck import Neck, lay_neck, mark_centres, nearest_edge, with_nut_moved
from slotwright.layout.instrument.stringing import Strung, string_up, unstated
from slotwright.layout.instrument.stringing import warnings as string_warnings
from slotwright.layout.plan.reader import Assumed, assumed
from slotwright.layout.units import show

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from slotwright.layout.plan.tables import Plan

# Below these a board can still be made, but a maker wants to know (common practice, no source).
NARROW_FRET = 4.0  # mm from crown to crown: no finger fits
THIN_WOOD = 2.0  # mm left under a slot: the board may snap there
_ROUNDING = 1e-9  # mm; a blank as long as its board is long enough
_SHOWN = 0.005  # mm; what reads as the limit is not below it
NOTCH_WALL = 0.8  # mm of strip between two notches: less breaks away
NEAR_EDGE = 2.0  # mm from an outer string to the edge: it is pulled off the board


@dataclass(frozen=True, slots=True)
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


@dataclass(frozen=True)  # without slots: the bridge is remembered once it was asked for
class Instrument:
    """A computed instrument.

    Parameters
    ----------
    plan
        What the maker decided.
    neck
        Where everything on the board lies.
    sawing
        How deep the slots go.
    across_blank
        Slots across the square blank with run-out, bass end first [mm], shape
        (frets + 1, 2, 2); None without a blank.
    strung
        The strings with their offsets; None where the plan says too little of them.
    unstated
        What it would have to say of them.
    warnings
        What is possible but hardly meant.
    assumed
        Key path to value, for all that the plan left unsaid.
    """

    plan: Plan
    neck: Neck
    sawing: Sawing
    across_blank: NDArray[np.float64] | None
    strung: Strung | None
    unstated: tuple[Fault, ...]
    warnings: tuple[str, ...]
    assumed: dict[str, Assumed]

    @property
    def title(self) -> str:
        """Title of the plan, fit to be printed on one line."""
        return "".join(letter if letter.isprintable() else " " for letter in self.plan.title).strip()

    @property
    def first_slot(self) -> int:
        """0 where a zero fret stands in a slot of its own, else 1."""
        return 0 if self.plan.frets.zero_fret else 1

    @property
    def bridge_lacks(self) -> str | None:
        """Say what the plan would have to tell for its bridge to be placed; None when it can be."""
        return lacking(self.plan) or (str(self.unstated[0]) if self.unstated else None)

    @cached_property
    def bridge(self) -> Placement:
        """The bridge in its place; placed when first asked for, since it takes a slow solver.

        Raises
        ------
        PlanError
            The bridge cannot hold the strings.
        """
        assert self.strung is not None  # noqa: S101 - `bridge_lacks` was asked
        return place_bridge(self.plan, self.neck, self.strung)

    @property
    def bridge_findings(self) -> tuple[str, ...]:
        """What a maker should know of the bridge before drilling."""
        assert self.strung is not None  # noqa: S101 - `bridge_lacks` was asked
        return tuple(findings(self.plan, self.neck, self.strung, self.bridge))

    @property
    def grounds(self) -> tuple[str, ...]:
        """What the offsets rest on besides strings and setup: what a bench taught, other tunings."""
        taught, tunings = self.plan.calibration, self.plan.tunings
        said = []
        if (taught.stiffness, taught.stretch) != (1.0, 1.0):
            said.append(f"Calibrated at the bench: stiffness {taught.stiffness:g}, stretch {taught.stretch:g}")
        if tunings:
            others = ", ".join(" ".join(reversed(tuning)) for tuning in tunings)
            said.append(f"The contacts serve the strings' own pitches and {others} together")
        return tuple(said)

    @property
    def straightness_note(self) -> str:
        """Say how far straight frets miss the inner strings; nothing where they do not."""
        worst = int(np.argmax(self.neck.straightness))
        if self.neck.straightness[worst] < 0.0005:
            return ""
        miss = self.length(float(self.neck.straightness[worst]), 3 if self.plan.units == "mm" else 4)
        return (
            f"Straight frets pass the inner strings' exact points by {miss} {self.plan.units} at most, "
            f"{self.neck.straightness_cents[worst]:.2f} cents (fret {worst})"
        )

    def length(self, length: float, decimals: int | None = None) -> str:
        """Write a length [mm] in the units of the plan."""
        return show(length, self.plan.units, decimals)


def lay_out(plan: Plan) -> Instrument:
    """Compute the instrument that a plan describes.

    Parameters
    ----------
    plan
        A checked plan.

    Returns
    -------
    Instrument
        Everything computed, frozen.

    Raises
    ------
    PlanError
        The parts of the plan do not make an instrument.
    """
    neck = lay_neck(plan)
    sawing = _sawing(plan, neck)
    faults = [*_faults_of_depth(plan, sawing), *_faults_of_blank(plan, neck)]
    if faults:
        raise PlanError(faults)
    unsaid = unstated(plan)
    strung = None if unsaid else string_up(plan, neck)
    if strung is not None and plan.compensation.nut == "common":
        neck = with_nut_moved(plan, neck, float(strung.offsets.nut[0]))
    return Instrument(
        plan=plan,
        neck=neck,
        sawing=sawing,
        across_blank=_across_blank(plan, neck),
        strung=strung,
        unstated=unsaid,
        warnings=(*_warnings(plan, neck, sawing), *(string_warnings(plan, strung) if strung else ())),
        assumed=assumed(plan),
    )


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
    blank = plan.blank
    assert blank is not None  # noqa: S101 - asked for only where there is one
    near, far, half = -blank.nut_at, blank.length - blank.nut_at, blank.width / 2
    hand = plan.board.hand
    return np.array([[near, -hand * half], [far, -hand * half], [far, hand * half], [near, hand * half]])


def _sawing(plan: Plan, neck: Neck) -> Sawing:
    depth = plan.frets.tang_depth + plan.frets.slot_clearance
    setting = depth + neck.drop(neck.slots[..., 0], neck.slots[..., 1]).max(axis=1)
    left = plan.board.thickness - setting
    first = 0 if plan.frets.zero_fret else 1
    return Sawing(depth, setting, left, first + int(np.argmin(left[first:])))


def _across_blank(plan: Plan, neck: Neck) -> NDArray[np.float64] | None:
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


def _faults_of_depth(plan: Plan, sawing: Sawing) -> Iterator[Fault]:
    deepest = sawing.thinnest
    if sawing.wood_left[deepest] <= 0:
        yield Fault(
            "board.thickness",
            f"{plan.said(plan.board.thickness)}; the slot of fret {deepest} is sawn "
            f"{plan.said(sawing.setting[deepest])} deep",
            "thicken the board or lessen frets.tang_depth",
        )


def _faults_of_blank(plan: Plan, neck: Neck) -> Iterator[Fault]:
    if plan.blank is None:
        return
    low, high = blank_outline(plan).min(axis=0), blank_outline(plan).max(axis=0)
    before, past = low - neck.outline.min(axis=0), neck.outline.max(axis=0) - high
    if before[0] > _ROUNDING:
        yield Fault("blank.nut_at", f"the board reaches {plan.said(before[0])} past the blank's nut end", "raise it")
    if past[0] > _ROUNDING:
        yield Fault("blank.length", f"the board reaches {plan.said(past[0])} past the blank's far end", "lengthen it")
    short = np.maximum(before, past)
    if short[1] > _ROUNDING:
        yield Fault("blank.width", f"the board is {plan.said(2 * short[1])} wider", "widen the blank")


def _warnings(plan: Plan, neck: Neck, sawing: Sawing) -> Iterator[str]:
    said = plan.said
    steps = np.diff(neck.from_nut, axis=0).min(axis=1)
    close = int(np.argmin(steps))
    if steps[close] < NARROW_FRET - _SHOWN:
        yield f"frets {close} and {close + 1} stand {said(steps[close])} apart; below {said(NARROW_FRET)}"
    thin = sawing.thinnest
    if sawing.wood_left[thin] < THIN_WOOD - _SHOWN:
        yield f"{said(sawing.wood_left[thin])} of wood left under the slot of fret {thin}; below {said(THIN_WOOD)}"
    margin, end, side = nearest_edge(neck)
    if margin < NEAR_EDGE - _SHOWN:
        yield f"the outer {side} string stands {said(margin)} from the edge at the {end}; below {said(NEAR_EDGE)}"
    board = plan.board
    if len(plan.strings) == 1 and (board.string_spread_nut or board.string_spread_saddle):
        yield "one string stands on the centre line; its string_spread is not used"
    if plan.nut and plan.nut.slot > 0 and plan.behind_nut < plan.nut.slot + plan.nut.ledge - _ROUNDING:
        needed = plan.nut.slot + plan.nut.ledge
        yield f"the nut's groove and ledge need board.behind_nut of {said(needed)}"
    if plan.nut and 0 < plan.nut.slot < plan.nut.thickness:
        yield f"the nut, {said(plan.nut.thickness)} thick, does not fit its groove of {said(plan.nut.slot)}"
    yield from _crowded_marks(plan, neck)
    at_nut, at_last = (float(np.ptp(neck.lines_in_board[fret, :, 1])) for fret in (0, -1))
    if at_last < at_nut - _ROUNDING:
        yield f"the board narrows from {said(at_nut)} at the nut to {said(at_last)} at the last fret"
    if plan.blank and plan.frets.slot_inset:
        yield "slots sawn across the square blank are not blind; without [blank] they end inside the board"
    if plan.jig and (fault := jig_fault(plan, neck)):
        yield f"[jig] is left aside: {fault}"


def jig_fault(plan: Plan, neck: Neck) -> str | None:
    """Say why no strip can be notched for a jig; None when it can.

    Parameters
    ----------
    plan, neck
        The plan, which has a jig, and its neck.
    """
    jig = plan.jig
    assert jig is not None  # noqa: S101 - asked for only where there is one
    if plan.scale.length is None:
        return "a strip of notches serves one scale; this plan has two"
    closest = int(np.argmin(np.diff(neck.frets.middle)))
    room = float(np.diff(neck.frets.middle)[closest]) - jig.play - NOTCH_WALL
    if jig.pin > room:
        thinner = f"a pin of {plan.said(room)} or less is needed" if room > 0 else "no pin is thin enough"
        return f"the notches of frets {closest} and {closest + 1} run into each other; {thinner} (jig.pin)"
    return None


def _crowded_marks(plan: Plan, neck: Neck) -> Iterator[str]:
    """Find marks that reach into a slot, or into each other."""
    marks, radius = mark_centres(plan, neck), plan.board.mark_diameter / 2
    for place, (fret, x, y) in enumerate(marks):
        beside = neck.frets[fret - 1 : fret + 1]
        off = np.abs(beside.x_at(y) - x) / np.hypot(1, beside.skew)
        if off.min() < radius + plan.frets.slot_width / 2:
            yield f"the mark at fret {fret} reaches into a slot; a diameter below {plan.said(2 * off.min())} fits"
            return
        if (np.abs(neck.edges.y_at(x) - y) / np.hypot(1, neck.edges.taper)).min() < radius:
            yield f"the mark at fret {fret} reaches over the edge of the board"
            return
        if any(np.hypot(x - other[1], y - other[2]) < 2 * radius for other in marks[:place]):
            yield f"the marks at fret {fret} reach into each other"
            return
