"""What a maker should know of a placed bridge before drilling, and what would mend it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from slotwright.layout.findings import Finding, strings_named
from slotwright.layout.instrument import neck_angle
from slotwright.layout.instrument.board_findings import NEAR_EDGE
from slotwright.layout.instrument.bridge import TIE_HOLE, foot_hollow, margins, single_units
from slotwright.layout.instrument.pitch_findings import sharing
from slotwright.layout.instrument.replacing import old_footprint, pins_that_stay, under_the_top
from slotwright.layout.instrument.saddle_slot import rows
from slotwright.layout.instrument.tunings import in_all_tunings
from slotwright.layout.physics import strings
from slotwright.layout.physics.offsets import compensate
from slotwright.layout.plan.bridges import Adjustable, Floating, IndividualSaddles, SaddleSlot, TwoPosts
from slotwright.layout.units import ROUNDING, SHOWN, cents

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from slotwright.layout.instrument.bridge import Placement
    from slotwright.layout.instrument.neck import Neck
    from slotwright.layout.instrument.stringing import Strung
    from slotwright.layout.physics.offsets import NutRule
    from slotwright.layout.physics.pitch import Fretting
    from slotwright.layout.plan.bridges import Bridge
    from slotwright.layout.plan.plan import Plan

    Floats = NDArray[np.float64]

ASKEW: Final = 0.1  # mm, a quarter of a cent at the octave: less is not worth a file (from memory)
BREAK: Final = (15, 45)  # degrees over a saddle (common practice, no source)
BREAK_REAR: Final = 12  # degrees, the least for the rear row of pins (likewise)
PASSES: Final = 0.5  # mm that a hole is wider than the string that goes through it (common practice, no source)
SNUG: Final = 0.25  # mm that a hole may be off and still take its screw, post or pin (from memory)


def findings(plan: Plan, neck: Neck, strung: Strung, placed: Placement) -> Iterator[Finding]:
    """Yield what is to be said of a bridge.

    Parameters
    ----------
    plan, neck, strung
        The instrument.
    placed
        Its bridge.
    """
    bridge = plan.bridge
    if bridge is None:
        return
    yield from sharing(plan, strung)
    yield from _askew(plan, bridge, strung, placed)
    if placed.reserve is not None and placed.reserve.min() < bridge.reserve - ROUNDING:
        yield from _short_travel(plan, bridge, placed.reserve)
        gains = [] if single_units(plan) else [*_gains(plan, bridge, neck, strung, placed)]
        if gains:
            yield Finding("to gain range", "bridge", f"what brings the contacts closer together: {'; '.join(gains)}")
        if isinstance(bridge, IndividualSaddles) and bridge.angle:
            yield Finding("to gain range", "bridge", "another bridge.angle may lie nearer to the contacts")
    yield from _saddle(plan, bridge, placed)
    yield from neck_angle.findings(plan, neck, placed.exposure)
    yield from _impossible(plan, bridge)
    yield from _domed_top(plan, bridge)
    yield from _string_holes(plan, bridge)
    yield from _break_angles(plan, bridge, placed)
    yield from pins_that_stay(plan, neck, placed)
    yield from old_footprint(plan, placed)
    yield from under_the_top(placed)
    if len(placed.there.holes) and any(not hole.there for hole in placed.holes):
        yield Finding("holes that are there", "holes", _old_holes(plan, strung, placed))
    for name, treble, bass, _ in margins(plan, neck):
        for side, margin in (("treble", treble), ("bass", bass)):
            if margin < NEAR_EDGE - SHOWN:
                yield Finding(
                    "near the edge",
                    f"outer {side} string",
                    f"only {plan.said(margin)} between the outer {side} string and the edge at the {name}",
                    {"margin": float(margin), "limit": NEAR_EDGE},
                )


def _askew(plan: Plan, bridge: Bridge, strung: Strung, placed: Placement) -> Iterator[Finding]:
    """Say how far a shared saddle on a bridge that turns itself holds its strings off their common set-back."""
    if not isinstance(bridge, TwoPosts):
        return
    off = {tuple(group): float(np.ptp(placed.along[group])) for group in strung.saddles.groups}
    askew = {group: across for group, across in off.items() if across > ASKEW}
    if askew:
        each = ", ".join(
            f"{plan.said(across)} under {strings_named([i + 1 for i in group])}" for group, across in askew.items()
        )
        yield Finding(
            "askew saddle",
            "bridge",
            f"the bridge stands turned by {abs(placed.angle):.1f} degrees: file the crests of shared saddles so that "
            f"they stand square to the neck, askew by {each}",
            {"angle": placed.angle, "most": max(askew.values())},
        )


def _saddle(plan: Plan, bridge: Bridge, placed: Placement) -> Iterator[Finding]:
    """Judge the saddle's thickness and how far it stands out."""
    said = plan.said
    slot = bridge if isinstance(bridge, SaddleSlot) else None
    thick = None if slot is None else slot.slot_width
    stay = any(hole.there for hole in placed.holes)
    if slot and thick is not None and placed.thickness is not None and not (stay and placed.thickness <= thick):
        enough = not np.abs(placed.missed).max() > SHOWN
        off = np.flatnonzero(np.abs(placed.missed) > SHOWN)
        lost = ", ".join(f"string {i + 1} {cents(placed.missed_cents[i])}" for i in off)
        verdict = f"too thin, which costs, in cents at fret {plan.action_fret}: {lost}"
        if enough:
            verdict = "every contact can be filed in"
        needed = f"{said(placed.thickness)} {'is needed' if enough else 'loses nothing'}"
        yield Finding(
            "saddle thick enough" if enough else "saddle too thin",
            "saddle",
            f"saddle {said(thick)} thick: {verdict}; {needed}",
            {"thickness": thick, "needed": placed.thickness}
            | {f"string_{i + 1}": float(placed.missed_cents[i]) for i in off},
        )
    if placed.exposure is not None:
        high = float(placed.exposure.max())
        if slot and slot.slot_depth is not None and slot.slot_depth < high:
            yield Finding(
                "saddle may tip",
                "saddle",
                f"{said(high)} of saddle stand out but only {said(slot.slot_depth)} in: it may tip",
                {"out": high, "in": slot.slot_depth},
            )


def _impossible(plan: Plan, bridge: Bridge) -> Iterator[Finding]:
    """Find parts of the bridge that run into each other or out of it."""
    said = plan.said
    wide = (bridge.foot if isinstance(bridge, Floating) else None) or bridge.outline
    if wide and not single_units(plan) and wide[0] < plan.spread_saddle:
        yield Finding(
            "narrow bridge",
            "bridge",
            f"the bridge is {said(wide[0])} across, less than the strings are spread",
            {"across": wide[0], "spread": plan.spread_saddle},
        )


def _domed_top(plan: Plan, bridge: Bridge) -> Iterator[Finding]:
    """Say how far the foot of a glued bridge is hollowed for a domed top."""
    if not isinstance(bridge, SaddleSlot) or not bridge.top_radius or bridge.outline is None:
        return
    deep = foot_hollow(bridge.top_radius, bridge.outline[0])
    yield Finding(
        "domed top",
        "bridge",
        f"the top is domed: hollow the foot by {plan.said(deep)} at its middle over {plan.said(bridge.outline[0])}, "
        f"to a radius of {plan.said(bridge.top_radius)}",
        {"hollow": deep, "radius": bridge.top_radius},
    )


def _string_holes(plan: Plan, bridge: Bridge) -> Iterator[Finding]:
    """Find holes that their string does not pass: tie holes, and holes of single units on the string's line."""
    wide: list[tuple[str, float]] = []
    if isinstance(bridge, SaddleSlot) and bridge.tie_distance is not None:
        wide = [("tie holes", bridge.tie_diameter or TIE_HOLE)]
    elif single_units(plan):
        wide = [("string holes", diameter) for _, y, diameter in bridge.holes if abs(y) < diameter / 2]
    thickest = max((string.gauge or 0.0 for string in plan.strings), default=0.0)
    for what, diameter in wide:
        if diameter < thickest + PASSES - SHOWN:
            words = (
                f"{what} {plan.said(diameter)} wide; a string of {plan.said(thickest)} wants "
                f"{plan.said(thickest + PASSES)}"
            )
            yield Finding("narrow hole", what, words, {"diameter": diameter, "wanted": thickest + PASSES})


def _break_angles(plan: Plan, bridge: Bridge, placed: Placement) -> Iterator[Finding]:
    """Judge how strings bend over the saddle: from the crest to where they leave the wood."""
    pins = [hole for hole in placed.holes if hole.what == "pin"]
    if placed.exposure is None or len(pins) != len(placed.contacts) or not isinstance(bridge, SaddleSlot):
        return
    behind = rows(plan) if bridge.all_pins and bridge.all_pins.stagger else [False] * len(pins)
    low, high = [], []
    for i, (pin, contact) in enumerate(zip(pins, placed.contacts, strict=True)):
        run = float(np.hypot(pin.x - contact[0], pin.y - contact[1])) - pin.wide / 2
        angle = float(np.degrees(np.arctan2(placed.exposure[i], max(run, 0.0))))
        least = BREAK_REAR if behind[i] else BREAK[0]
        if round(angle) < least:
            low.append((i + 1, angle))
        elif round(angle) > BREAK[1]:
            high.append((i + 1, angle))
    for found, what, why in ((low, "flat", "a string may buzz"), (high, "steep", "the saddle is pushed hard")):
        if found:
            each = ", ".join(f"{string}: {angle:.0f}" for string, angle in found)
            yield Finding(
                f"{what} break angle",
                strings_named([string for string, _ in found]),
                f"{what} over the saddle, in degrees by string: {each}; {BREAK[0]} to {BREAK[1]} is usual: {why}",
                {f"string_{string}": angle for string, angle in found},
            )


def _short_travel(plan: Plan, bridge: Bridge, reserve: Floats) -> Iterator[Finding]:
    """Say which strings miss the travel, and by how much."""
    said = plan.said
    for string, (before, behind) in enumerate(reserve, start=1):
        least, end = min((before, "front"), (behind, "rear"))
        numbers = {"left": float(least), "wanted": bridge.reserve}
        if least < 0:
            words = f"string {string} runs out of range by {said(-least)} at the {end} end of the travel"
            yield Finding("beyond travel", f"string {string}", words, numbers)
        elif least < bridge.reserve - ROUNDING:
            words = (
                f"string {string} keeps {said(least)} of travel at the {end} end; {said(bridge.reserve)} is wanted"
            )
            yield Finding("short travel", f"string {string}", words, numbers)


@dataclass(frozen=True, slots=True)
class Cure:
    """A change that lessens how far a saddle must be set back.

    Parameters
    ----------
    what
        The change, in words.
    fretting
        The strings once it is made.
    nut
        Which contacts may move at the nut then.
    """

    what: str
    fretting: Fretting
    nut: NutRule


def cures(plan: Plan, neck: Neck, strung: Strung, string: int) -> Iterator[Cure]:
    """Yield what would lessen how far a string's saddle must be set back.

    Parameters
    ----------
    plan, neck, strung
        The instrument.
    string
        Its place, from 0.
    """
    rule = plan.compensation.nut
    stated, body = plan.strings[string], strung.bodies[string]
    if stated.kind == "wound steel" and body.core is not None:
        thin = strings.body(stated.supposed(core=0.9 * body.core), float(neck.scales[string]))
        arrays = {}
        for name in ("tension", "axial", "bending"):
            arrays[name] = getattr(strung.fretting, name).copy()
            arrays[name][string] = getattr(thin, name)
        yield Cure(f"a core a tenth thinner on string {string + 1}", replace(strung.fretting, **arrays), rule)
    lower = replace(strung.fretting, action_height=strung.fretting.action_height - 0.5)
    yield Cure(f"{plan.said(0.5)} less action", lower, rule)
    if rule == "none" and not plan.frets.zero_fret:
        yield Cure("a nut contact for each string", strung.fretting, "per string")


def _gains(plan: Plan, bridge: Bridge, neck: Neck, strung: Strung, placed: Placement) -> Iterator[str]:
    """Say what each cure takes off the distance between foremost and rearmost contact."""
    turn = np.radians(placed.crest_angle)
    to_rear = np.array([np.cos(turn), np.sin(turn)])

    def reach(saddle: Floats) -> float:
        """Give how far apart the contacts lie along the base."""
        return float(np.ptp(neck.on_strings(neck.scales + saddle) @ to_rear))

    if isinstance(bridge, Adjustable) and bridge.crest_offset:
        yield f"the rearmost saddle turned round by {plan.said(2 * abs(bridge.crest_offset))}"
    for cure in cures(plan, neck, strung, int(np.argmax(placed.along))):
        tuned = in_all_tunings(plan, cure.fretting)
        offsets = compensate(
            tuned, strung.weights, nut=cure.nut, minimise=plan.compensation.minimise, saddles=strung.saddles
        )
        gained = reach(strung.offsets.saddle) - reach(offsets.saddle)
        if gained > SHOWN:
            yield f"{cure.what} by {plan.said(gained)}"


def _old_holes(plan: Plan, strung: Strung, placed: Placement) -> str:
    """Say whether holes that are there already can serve."""
    said = plan.said
    hand = plan.board.hand
    there, new = placed.there.holes, [hole for hole in placed.holes if not hole.there]
    nearest = []
    for hole in new:
        fits = np.abs(there[:, 2] - hole.diameter) <= SNUG
        if not fits.any():
            return f"no hole that is there is {said(hole.diameter)} wide: plug them all and drill anew"
        far = np.hypot(there[:, 0] - hole.x, there[:, 1] - hole.y)
        nearest.append(int(np.argmin(np.where(fits, far, np.inf))))
    off = there[nearest, :2] - np.array([(hole.x, hole.y) for hole in new])
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
    if abs(shift[1]) < SHOWN:
        serve = serve.rpartition(" and ")[0]
    if placed.reserve is not None:
        # Moved back, the bridge leaves less of its travel before the contacts and more behind.
        left = float((placed.reserve + np.array([-1.0, 1.0]) * shift[0]).min())
        return f"{serve}; {said(left)} of travel stay at the nearer end"
    cents = float(np.abs(strung.sensitivity[:, plan.action_fret - 1] * shift[0]).max())
    return f"{serve}; contacts that move with it cost up to {cents:.1f} cents at fret {plan.action_fret}"
