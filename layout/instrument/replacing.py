"""What is to be said of a bridge that replaces another: old pins, the old footprint, what lies under the top."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from slotwright.layout.findings import Finding, strings_named
from slotwright.layout.instrument.axes import Axes
from slotwright.layout.instrument.lines import straight_fit
from slotwright.layout.instrument.polygons import area, beyond, clear_of, holds
from slotwright.layout.units import SHOWN, cents

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from numpy.typing import NDArray

    from slotwright.layout.instrument.bridge import Placement
    from slotwright.layout.instrument.neck import Neck
    from slotwright.layout.plan.plan import Plan

    Floats = NDArray[np.float64]

SCRAPED: Final = 0.3  # mm of finish under a new bridge that are to be scraped off (common practice, no source)
_BARE: Final = 1.0  # mm2, less than which nobody sees


def pins_that_stay(plan: Plan, neck: Neck, placed: Placement) -> Iterator[Finding]:
    """Say how the slot and the strings go with pins that stay.

    Parameters
    ----------
    plan, neck, placed
        The instrument and its bridge.

    Yields
    ------
    Finding
        ``pins that stay`` with the wood before each, ``pins in the way`` with what that costs, ``margins by pins``.
    """
    pins = [hole for hole in placed.holes if hole.there]
    if not pins or placed.slot is None:
        return
    said, slot = plan.said, Axes(placed.datum, float(np.radians(placed.crest_angle)))
    behind = [float(slot.own(np.array([pin.x, pin.y]))[0]) for pin in pins]
    half = float(np.hypot(*(placed.slot[1] - placed.slot[0]))) / 2
    wood = [far - half - pin.wide / 2 for far, pin in zip(behind, pins, strict=True)]
    figures = enumerate(zip(behind, wood, strict=True), start=1)
    each = "; ".join(f"{i}: {said(far)}, {said(left)} of wood" for i, (far, left) in figures)
    words = f"from the slot's middle back to the pins that stay, by string: {each}"
    numbers = {f"string_{i}": left for i, left in enumerate(wood, start=1)}
    if len(pins) > 2:
        # They were drilled in a line, so what lies off it is how true they were measured.
        astray = straight_fit(*np.array([(pin.y, pin.x) for pin in pins]).T)[2]
        words += f"; they lie within {said(astray)} of a straight line"
        numbers["off_line"] = astray
    yield Finding("pins that stay", "pins", words, numbers)
    if (off := np.flatnonzero(np.abs(placed.missed) > SHOWN)).size:
        lost = ", ".join(f"string {i + 1} {cents(placed.missed_cents[i])}" for i in off)
        yield Finding(
            "pins in the way",
            strings_named([int(i) + 1 for i in off]),
            f"not every contact fits ahead of the pins that stay; that costs, in cents at fret {plan.action_fret}: "
            f"{lost}. Plug the pin holes and drill anew, or take it",
            {f"string_{i + 1}": float(placed.missed_cents[i]) for i in off},
        )
    yield from _margins(plan, neck, placed)


def _margins(plan: Plan, neck: Neck, placed: Placement) -> Iterator[Finding]:
    """Say how the outer strings lie over the board when they run straight to the pins that stay."""
    if len(plan.strings) < 2:
        return
    pins = [hole for hole in placed.holes if hole.there]
    outer, (bass, treble) = (pins[0], pins[-1]), neck.lines_in_board[-1]
    # From the nut to the pin a string crosses the last fret at the share of the way that this is.
    at = []
    for string, pin in zip((0, -1), outer, strict=True):
        nut = neck.nut_ends[string]
        share = (float(neck.frets.middle[-1]) - nut[0]) / (pin.x - nut[0])
        at.append(float(nut[1] + share * (pin.y - nut[1])))
    left = abs(float(treble[1]) - at[0]), abs(at[1] - float(bass[1]))
    share = (float(neck.frets.middle[-1]) - float(neck.nut_ends[0, 0])) / (outer[0].x - float(neck.nut_ends[0, 0]))
    shift = (left[0] - left[1]) / 2 / share
    way = f"; {plan.said(abs(shift))} further to the {'treble' if shift > 0 else 'bass'} side would make them equal"
    words = (
        f"straight to these pins the outer strings leave {plan.said(left[0])} (treble) and "
        f"{plan.said(left[1])} (bass) "
        f"to the edges at fret {plan.frets.count}{way if abs(shift) > SHOWN else ''}"
    )
    yield Finding("margins by pins", "outer strings", words, {"treble": left[0], "bass": left[1], "shift": shift})


def bare(placed: Placement) -> list[Floats]:
    """Give what of the old footprint the new bridge leaves bare: pieces, corners [mm]."""
    if not len(placed.there.footprint) or len(placed.outlines) != 1:
        return []
    return beyond(placed.there.footprint, placed.outlines[0])


def old_footprint(plan: Plan, placed: Placement) -> Iterator[Finding]:
    """Say whether the new bridge covers the place of the old one.

    Parameters
    ----------
    plan, placed
        The plan and its bridge.

    Yields
    ------
    Finding
        ``footprint covered`` or ``footprint bare`` with what would cover it; ``finish to scrape``.
    """
    footprint = placed.there.footprint
    if not len(footprint) or len(placed.outlines) != 1 or plan.bridge is None or plan.bridge.outline is None:
        return
    said, axes = plan.said, Axes(placed.datum, float(np.radians(placed.angle)))
    own, new = axes.own(footprint), axes.own(placed.outlines[0])
    left = sum(map(area, bare(placed)))
    if left > _BARE:
        across, front, rear = 2 * float(np.abs(own[:, 1]).max()), float(own[:, 0].min()), float(own[:, 0].max())
        front, rear = min(front, float(new[:, 0].min())), max(rear, float(new[:, 0].max()))
        words = (
            f"the new bridge leaves {left / 100:.1f} cm2 of the old one's place bare; "
            f"{said(max(across, plan.bridge.outline[0]))} by {said(rear - front)}, its front {said(-front)} ahead of "
            "the slot's middle, would cover it"
        )
        yield Finding("footprint bare", "old footprint", words, {"area": left})
    else:
        yield Finding(
            "footprint covered", "old footprint", "the new bridge covers the old one's place", {"area": left}
        )
    flip = plan.board.hand
    strips = {
        "front": own[:, 0].min() - new[:, 0].min(),
        "rear": new[:, 0].max() - own[:, 0].max(),
        "treble side": (flip * new[:, 1]).max() - (flip * own[:, 1]).max(),
        "bass side": (flip * own[:, 1]).min() - (flip * new[:, 1]).min(),
    }
    if wide := {name: float(by) for name, by in strips.items() if by > SCRAPED}:
        each = ", ".join(f"{name} {said(by)}" for name, by in wide.items())
        yield Finding(
            "finish to scrape", "new bridge", f"finish to scrape off beyond the old one's place: {each}", wide
        )


def under_the_top(placed: Placement) -> Iterator[Finding]:
    """Say which holes miss the plate or meet a brace.

    Parameters
    ----------
    placed
        The bridge.
    """
    under = placed.there.under
    plates = [corners for name, corners in under if name == "plate"]
    braces = [corners for name, corners in under if name == "brace"]
    for kind, wrong, words in (
        ("off the plate", _off_plates(plates, placed), "not wholly over the plate under the top"),
        ("over a brace", _over_braces(braces, placed), "over a brace under the top"),
    ):
        if wrong:
            which = ", ".join(map(str, wrong))
            hole = "hole" if len(wrong) == 1 else "holes"
            yield Finding(kind, "holes", f"{hole} {which} (in the order of the sheet) {words}", {"holes": len(wrong)})


def _off_plates(plates: Sequence[Floats], placed: Placement) -> list[int]:
    wrong = []
    for number, hole in enumerate(placed.holes, start=1):
        place = np.array([hole.x, hole.y])
        inside = (holds(plate, place) and clear_of(plate, place) >= hole.wide / 2 for plate in plates)
        if plates and not any(inside):
            wrong.append(number)
    return wrong


def _over_braces(braces: Sequence[Floats], placed: Placement) -> list[int]:
    wrong = []
    for number, hole in enumerate(placed.holes, start=1):
        place = np.array([hole.x, hole.y])
        if any(holds(brace, place) or clear_of(brace, place) < hole.wide / 2 for brace in braces):
            wrong.append(number)
    return wrong
