"""What a maker should know of a placed bridge before drilling, and what would mend it."""

from __future__ import annotations

from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING, Final

import numpy as np

from slotwright.layout import strings
from slotwright.layout.bridge import margins, single_units
from slotwright.layout.compensation import compensate
from slotwright.layout.pitch import errors
from slotwright.layout.units import show

if TYPE_CHECKING:
    from collections.abc import Iterator

    from slotwright.layout.bridge import Placement
    from slotwright.layout.neck import Neck
    from slotwright.layout.pitch import Fretting
    from slotwright.layout.plan import Bridge, NutRule, Plan
    from slotwright.layout.strung import Strung

EXPOSURE: Final = (2.0, 5.0)  # mm of saddle out of its base (common practice, from memory)
NEAR_EDGE: Final = 2.0  # mm from an outer string to the edge (common practice, no source)
SNUG: Final = 0.25  # mm that a hole may be off and still take its screw, post or pin (from memory)

_ROUNDING: Final = 1e-9  # mm
_SHOWN: Final = 0.005  # mm; what reads as the limit is not past it


def findings(plan: Plan, neck: Neck, strung: Strung, placed: Placement) -> Iterator[str]:
    """Yield what is to be said of a bridge.

    Parameters
    ----------
    plan, neck, strung
        The instrument.
    placed
        Its bridge.
    """
    bridge = plan.bridge
    assert bridge is not None  # noqa: S101 - a bridge was placed
    yield from _sharing(plan, placed)
    if placed.reserve is not None and placed.reserve.min() < bridge.reserve - _ROUNDING:
        yield from _short_travel(plan, bridge, placed)
        if not single_units(plan):
            yield f"what brings the contacts closer together: {'; '.join(_cures(plan, bridge, neck, strung, placed))}"
    yield from _saddle(plan, bridge, placed)
    if bridge.existing_holes and placed.holes:
        yield _old_holes(plan, bridge, strung, placed)
    for name, treble, bass, _ in margins(plan, neck):
        for side, margin in (("treble", treble), ("bass", bass)):
            if margin < NEAR_EDGE - _SHOWN:
                yield f"only {_said(plan, margin)} between the outer {side} string and the edge at the {name}"


def _said(plan: Plan, length: float) -> str:
    return f"{show(float(length), plan.units)} {plan.units}"


def _sharing(plan: Plan, placed: Placement) -> Iterator[str]:
    """Say what sharing a saddle or a crest costs, where it can be measured."""
    for i in np.flatnonzero(np.abs(placed.shared) > _SHOWN):
        way = "behind" if placed.shared[i] > 0 else "before"
        yield (
            f"string {i + 1} shares its contact and stands {_said(plan, abs(placed.shared[i]))} {way} its own place: "
            f"{placed.shared_cents[i]:+.2f} cents at fret {plan.action_fret}"
        )


def _saddle(plan: Plan, bridge: Bridge, placed: Placement) -> Iterator[str]:
    """Judge the saddle's thickness and how far it stands out."""
    said = partial(_said, plan)
    if placed.thickness is not None and bridge.slot_width is not None:
        enough = placed.thickness <= bridge.slot_width + _ROUNDING
        verdict = "every contact can be filed in" if enough else "too thin to file every contact in"
        yield f"saddle {said(bridge.slot_width)} thick: {verdict}; {said(placed.thickness)} is needed"
    if placed.exposure is not None:
        low, high = float(placed.exposure.min()), float(placed.exposure.max())
        if low < EXPOSURE[0] or high > EXPOSURE[1]:
            usual = f"{said(EXPOSURE[0])} to {said(EXPOSURE[1])} is usual"
            yield f"the saddle stands {said(low)} to {said(high)} out of its base; {usual}"
        if bridge.slot_depth is not None and bridge.slot_depth < high:
            yield f"{said(high)} of saddle stand out but only {said(bridge.slot_depth)} in: it may tip"


def _short_travel(plan: Plan, bridge: Bridge, placed: Placement) -> Iterator[str]:
    """Say which strings miss the travel, and by how much."""
    assert placed.reserve is not None  # noqa: S101 - asked for only where there is travel
    said = partial(_said, plan)
    for string, (before, behind) in enumerate(placed.reserve, start=1):
        least, end = min((before, "front"), (behind, "rear"))
        if least < 0:
            yield f"string {string} lies {said(-least)} beyond the {end} end of the travel"
        elif least < bridge.reserve - _ROUNDING:
            yield f"string {string} keeps {said(least)} of travel at the {end} end; {said(bridge.reserve)} is wanted"


def _cures(plan: Plan, bridge: Bridge, neck: Neck, strung: Strung, placed: Placement) -> Iterator[str]:
    """Say what each cure takes off the distance between foremost and rearmost contact."""
    said = partial(_said, plan)

    def gain(fretting: Fretting, nut: NutRule | None = None) -> str:
        rule = plan.compensation
        offsets = compensate(fretting, strung.weights, nut=nut or rule.nut, minimise=rule.minimise)
        contacts = neck.on_strings(neck.scales + offsets.saddle)[:, 0] + placed.shared
        now = neck.on_strings(neck.scales + strung.offsets.saddle)[:, 0] + placed.shared
        return said(float(np.ptp(now) - np.ptp(contacts)))

    if bridge.crest_offset:
        yield f"the rearmost saddle turned round {said(2 * abs(bridge.crest_offset))}"
    rear = int(np.argmax(placed.along))
    string, body = plan.strings[rear], strung.bodies[rear]
    if string.kind == "wound steel" and body.core is not None:
        thin = strings.body(string.model_copy(update={"core": 0.9 * body.core}), float(neck.scales[rear]))
        arrays = {}
        for name in ("tension", "axial", "bending"):
            arrays[name] = getattr(strung.fretting, name).copy()
            arrays[name][rear] = getattr(thin, name)
        yield f"a core a tenth thinner on string {rear + 1} {gain(replace(strung.fretting, **arrays))}"
    lower = replace(strung.fretting, action_height=strung.fretting.action_height - 0.5)
    yield f"{said(0.5)} less action {gain(lower)}"
    if plan.compensation.nut == "none":
        yield f"a nut contact for each string {gain(strung.fretting, 'per string')}"


def _old_holes(plan: Plan, bridge: Bridge, strung: Strung, placed: Placement) -> str:
    """Say whether holes that are there already can serve."""
    said = partial(_said, plan)
    hand = -1.0 if plan.board.left_handed else 1.0
    there = np.array(bridge.existing_holes) * [1.0, hand, 1.0]
    nearest = []
    for hole in placed.holes:
        fits = np.abs(there[:, 2] - hole.diameter) <= SNUG
        if not fits.any():
            return f"no hole that is there is {said(hole.diameter)} wide: plug them all and drill anew"
        far = np.hypot(there[:, 0] - hole.x, there[:, 1] - hole.y)
        nearest.append(int(np.argmin(np.where(fits, far, np.inf))))
    off = there[nearest, :2] - np.array([(hole.x, hole.y) for hole in placed.holes])
    # The shift that leaves the least of the largest misses, in each direction.
    shift = (off.min(axis=0) + off.max(axis=0)) / 2
    rest = float(np.hypot(*(off - shift).T).max())
    if rest > SNUG or len(set(nearest)) < len(nearest):
        return f"wherever the bridge is shifted, its holes miss those that are there by {said(rest)}: plug them"
    if float(np.hypot(*off.T).max()) <= SNUG:
        return "the holes that are there serve as they are"
    way = "back" if shift[0] > 0 else "forward"
    serve = f"the holes that are there serve with the bridge {said(abs(shift[0]))} further {way} and "
    serve += f"{said(abs(shift[1]))} to the {'treble' if shift[1] * hand > 0 else 'bass'} side"
    if placed.reserve is not None:
        # Moved back, the bridge leaves less of its travel before the contacts and more behind.
        left = float((placed.reserve + np.array([-1.0, 1.0]) * shift[0]).min())
        return f"{serve}; {said(left)} of travel stay at the nearer end"
    slopes = errors(strung.fretting, strung.offsets.saddle, strung.offsets.nut)[1][:, plan.action_fret - 1, 0]
    cents = float(np.abs(slopes * shift[0]).max())
    return f"{serve}; contacts that move with it cost up to {cents:.1f} cents at fret {plan.action_fret}"
