"""The nut as a shop makes it: the foot it stands on, and a slot for every string.

Seen from the bridge: `along` runs along the nut from the centre line, the treble side of a right-handed
instrument positive; heights are above the board's surface at its middle, at the nut.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from slotwright.layout.errors import needed
from slotwright.layout.findings import Finding
from slotwright.layout.instrument.board_findings import NEAR_EDGE
from slotwright.layout.instrument.lines import meet
from slotwright.layout.units import ROUNDING, SHOWN

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from slotwright.layout.instrument.neck import Neck
    from slotwright.layout.instrument.stringing import Strung
    from slotwright.layout.plan.plan import Plan
    from slotwright.layout.plan.tables import Locking, Nut

    Floats = NDArray[np.float64]

# What a slot is wider than its string [mm] (common practice, no source).
AIR_PLAIN: Final = 0.05
AIR_WOUND: Final = 0.10
# Below these a nut can still be made, but a maker wants to know (common practice, no source).
THIN_WALL: Final = 0.5  # mm between two slots: less breaks away
THIN_NUT: Final = 0.5  # mm between a slot and the foot


@dataclass(frozen=True, slots=True, eq=False)
class FittedNut:
    """The nut of an instrument, measured.

    Parameters
    ----------
    behind
        From the nut line, where it was moved to, back to the nut's front; 0 but behind a zero fret [mm].
    ends
        The ends of the nut, the lower one first [mm, along].
    places
        Where the strings cross its front [mm, along], shape (strings,).
    across
        Cosine between each string and the way straight across the nut, shape (strings,).
    widths
        Width of each slot, square to its string [mm], shape (strings,).
    bottoms
        Height of each slot's bottom, where the string's underside lies [mm], shape (strings,).
    over_board
        The same above the board's surface under that string [mm], shape (strings,).
    crests
        Height of the finished nut beside each string, half of which stands out [mm], shape (strings,).
    ahead
        How far each contact stands before the front, square to it toward fret 1 [mm], shape (strings,).
    seat
        Depth of the seat at its middle [mm].
    foot_radius
        Radius of the hollow under the foot, as it is seen along the nut [mm]; ``inf``: flat.
    height
        From the lowest of the foot to the top of the blank as it is drawn [mm]: as stated, or what is needed.
    shims
        Shim under the treble and the bass outer string of a locking nut [mm]; None for one of bone or wood.
    """

    behind: float
    ends: tuple[float, float]
    places: Floats
    across: Floats
    widths: Floats
    bottoms: Floats
    over_board: Floats
    crests: Floats
    ahead: Floats
    seat: float
    foot_radius: float
    height: float
    shims: tuple[float, float] | None

    def foot(self, along: float | Floats) -> Floats:
        """Give the height of the foot's underside [mm]; never above 0 but for a shelf that cannot be."""
        s = np.asarray(along, dtype=np.float64)
        if np.isinf(self.foot_radius):
            return np.full_like(s, -self.seat)
        deep = np.sqrt(np.maximum(self.foot_radius**2 - s * s, 0.0))
        return -self.seat - s * s / (self.foot_radius + deep)

    @property
    def lowest(self) -> float:
        """Height of the lowest of the foot [mm]."""
        return float(min(self.foot(np.array(self.ends)).min(), -self.seat))

    @property
    def top(self) -> float:
        """Height of the top of the blank [mm]."""
        return self.lowest + self.height

    @property
    def needed(self) -> float:
        """Least height of a blank that holds foot and crest [mm]."""
        return float(self.crests.max()) - self.lowest

    @property
    def over_foot(self) -> Floats:
        """Height of each slot's bottom above the foot's underside there [mm], shape (strings,)."""
        over: Floats = self.bottoms - self.foot(self.places)
        return over

    @property
    def spans(self) -> Floats:
        """Where each slot begins and ends at the nut's front [mm, along], shape (strings, 2)."""
        half = (self.widths / 2 / self.across)[:, None]
        return self.places[:, None] + np.concatenate((-half, half), axis=1)


def fit_nut(plan: Plan, neck: Neck, strung: Strung) -> FittedNut:
    """Measure the nut of an instrument.

    Parameters
    ----------
    plan, neck, strung
        A plan with a nut, its neck with the nut line where it belongs, and its strings.

    Returns
    -------
    FittedNut
        The nut.
    """
    nut = needed(plan.nut, "the plan has no [nut]")
    skew = float(neck.frets.skew[0])
    longer = float(np.hypot(1.0, skew))  # a leaning nut is longer than the board is wide
    behind = plan.nut_behind
    front = neck.frets[0].moved(neck.nut_moved - behind)
    on_strings = meet(front, neck.strings)[0]
    ends = np.sort(meet(front, neck.edges)[0, :, 1]) * longer
    across = neck.directions @ np.array([1.0, -skew]) / longer
    # Heights are those of the contacts; the crowns lie a fret's height above the wood.
    bottoms = strung.fretting.nut_height + plan.frets.height
    over_board = bottoms + neck.drop(*neck.nut_ends.T)
    gauges = np.array([string.gauge or 0.0 for string in plan.strings])
    crests = bottoms + gauges / 2  # half of each string stands out (common practice, no source)
    wound = np.array([(string.kind or "").startswith("wound") for string in plan.strings])
    seat, shims = _seat(plan, nut, over_board)
    fitted = FittedNut(
        behind=behind,
        ends=(float(ends[0]), float(ends[1])),
        places=on_strings[:, 1] * longer,
        across=across,
        widths=gauges + np.where(wound, AIR_WOUND, AIR_PLAIN),
        bottoms=bottoms,
        over_board=over_board,
        crests=crests,
        ahead=(strung.offsets.nut - neck.nut_moved) * across,
        seat=seat,
        # A circle that is crossed aslant is longer; at its middle it is as round as this.
        foot_radius=longer**2 * _foot_radius(nut, seat, float(neck.radius_at(front.middle[0]))),
        height=nut.height,
        shims=shims,
    )
    if fitted.needed <= nut.height:
        return fitted
    return replace(fitted, height=fitted.needed)


def _seat(plan: Plan, nut: Nut, over_board: Floats) -> tuple[float, tuple[float, float] | None]:
    """Give the depth of the seat, and the shims of a locking nut under its outer strings, treble first."""
    if nut.locking is None:
        return needed(plan.nut_seat, "the plan has no [nut]"), None
    level = over_board[[0, -1]]
    seat = nut.seat
    if seat is None:
        seat = nut.locking.rise + nut.locking.shim - float(level.min())
    shims = level + seat - nut.locking.rise
    return seat, (float(shims[0]), float(shims[1]))


def _foot_radius(nut: Nut, seat: float, board: float) -> float:
    """Give the radius under the foot: as stated; of the board, where the nut stands on it; else flat."""
    if nut.seat_radius is not None:
        return nut.seat_radius or np.inf
    return board if seat == 0 and nut.locking is None else np.inf


def through(nut: FittedNut) -> int | None:
    """Name the string whose slot leaves nothing of the nut above its foot, None where there is none."""
    thinnest = int(np.argmin(nut.over_foot))
    return thinnest + 1 if nut.shims is None and nut.over_foot[thinnest] <= SHOWN else None


def findings(plan: Plan, fitted: FittedNut) -> Iterator[Finding]:
    """Yield what is to be said of a nut before it is cut.

    Parameters
    ----------
    plan, fitted
        A plan with a nut, and the nut.
    """
    nut = needed(plan.nut, "the plan has no [nut]")
    if nut.locking is not None and fitted.shims is not None:
        yield from _of_a_locking_nut(plan, nut.locking, fitted, fitted.shims)
        return
    said = plan.said
    if fitted.needed > nut.height + SHOWN:
        yield Finding(
            "nut blank too low",
            "nut",
            f"the nut's blank is {said(nut.height)} high; foot and crest need {said(fitted.needed)} (nut.height)",
            {"height": nut.height, "needed": fitted.needed},
        )
    if plan.behind_nut and fitted.seat and not nut.slot and not plan.frets.zero_fret:
        yield Finding(
            "nut seat",
            "nut",
            f"the board reaches {said(plan.behind_nut)} behind the nut, where its foot would stand: state nut.slot, "
            "or nut.seat = 0 if it stands on the board",
            {"behind_nut": plan.behind_nut, "seat": fitted.seat},
        )
    thinnest = int(np.argmin(fitted.over_foot))
    if (left := float(fitted.over_foot[thinnest])) < THIN_NUT - SHOWN:
        yield Finding(
            "thin nut",
            f"string {thinnest + 1}",
            f"{said(left)} of nut left under the slot of string {thinnest + 1}; below {said(THIN_NUT)}",
            {"left": left, "limit": THIN_NUT},
        )
    order = np.argsort(fitted.places)
    walls = fitted.spans[order][1:, 0] - fitted.spans[order][:-1, 1]
    if walls.size and (wall := float(walls.min())) < THIN_WALL - SHOWN:
        one, other = sorted(int(string) + 1 for string in order[int(np.argmin(walls)) :][:2])
        left_over = f"leave {said(wall)} of nut between them" if wall > 0 else "run into each other"
        yield Finding(
            "thin nut",
            f"strings {one}, {other}",
            f"the slots of strings {one} and {other} {left_over}; below {said(THIN_WALL)}",
            {"left": wall, "limit": THIN_WALL},
        )


def _of_a_locking_nut(
    plan: Plan, locking: Locking, fitted: FittedNut, shims: tuple[float, float]
) -> Iterator[Finding]:
    said, lacking = plan.said, -min(shims)
    if lacking > SHOWN:
        yield Finding(
            "locking nut too high",
            "nut",
            f"on a shelf {said(fitted.seat)} deep the locking nut lifts the strings {said(lacking)} too high; "
            f"nut.seat of {said(fitted.seat + lacking)} is needed",
            {"too_high": lacking, "needed": fitted.seat + lacking},
        )
    if fitted.seat < -ROUNDING:
        least = locking.shim - fitted.seat
        yield Finding(
            "locking nut too low",
            "nut",
            f"the locking nut needs a shim of {said(least)} or more, even on the board itself (nut.locking.shim)",
            {"shim": locking.shim, "needed": least},
        )
    low, high = fitted.ends
    for behind, aside, diameter in locking.bolts:
        at = plan.board.hand * aside
        margin = min(at - low, high - at) - diameter / 2
        if margin < NEAR_EDGE - SHOWN:
            yield Finding(
                "near the edge",
                "nut bolt",
                f"the bolt hole {said(behind)} behind the front of the nut stands {said(margin)} from the edge; "
                f"below {said(NEAR_EDGE)}",
                {"margin": margin, "limit": NEAR_EDGE},
            )
