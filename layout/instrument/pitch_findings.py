"""Which strings the contacts do not bring within the tolerance, why, and what the offsets rest on."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from slotwright.layout.findings import Finding, strings_named
from slotwright.layout.instrument.stringing import least_worst
from slotwright.layout.units import cents, show

if TYPE_CHECKING:
    from collections.abc import Iterator

    from slotwright.layout.instrument.stringing import Strung
    from slotwright.layout.plan.plan import Plan

HEARD: Final = 0.05  # cents; a string that loses less is not named: nobody hears it, no gauge shows it (from memory)


def findings(plan: Plan, strung: Strung) -> Iterator[Finding]:
    """Yield what is to be said of the pitch of every string.

    Parameters
    ----------
    plan, strung
        The plan and its strings with their offsets.
    """
    yield from _beyond(plan, strung)
    yield from sharing(plan, strung)
    yield from estimates(plan, strung)


def estimates(plan: Plan, strung: Strung) -> Iterator[Finding]:
    """Yield what was estimated of the strings, with the range of set-back that it leaves.

    Parameters
    ----------
    plan, strung
        The plan and its strings with their offsets.
    """
    bodies = list(enumerate(strung.bodies, start=1))
    cores = [place for place, body in bodies if body.core_estimated]
    bendings = [place for place, body in bodies if body.bending_estimated]
    for kind, what, places in (
        ("estimated core", "cores", cores),
        ("estimated stiffness", "bending stiffness of wound nylon", bendings),
    ):
        if not places:
            continue
        ends = {place: [float(end) for end in strung.uncertainty[place - 1]] for place in places}
        each = "; ".join(
            f"string {place} {' to '.join(show(end, plan.units) for end in both)}" for place, both in ends.items()
        )
        numbers = {
            f"string_{place}_{name}": end
            for place, both in ends.items()
            for name, end in zip(("least", "most"), both, strict=True)
        }
        words = f"{what} estimated, not stated; range of the set-back: {each}"
        yield Finding(kind, strings_named(places), words, numbers)


def sharing(plan: Plan, strung: Strung) -> Iterator[Finding]:
    """Yield what strings lose that share a saddle or a crest, where it can be heard.

    Parameters
    ----------
    plan, strung
        The plan and its strings with their offsets.
    """
    shared = strung.saddles.shared
    lost = np.maximum(np.abs(strung.sharing_rms), np.abs(strung.sharing_worst))
    heard = [int(i) for i in np.flatnonzero(shared & (lost >= HEARD))]
    if not heard:
        return
    moved = strung.offsets.saddle - strung.alone.saddle
    each = "; ".join(
        f"string {i + 1} {show(abs(float(moved[i])), plan.units)} {'behind' if moved[i] > 0 else 'before'}, "
        f"{cents(strung.sharing_rms[i])} ({cents(strung.sharing_worst[i])})"
        for i in heard
    )
    rest = np.count_nonzero(shared) - len(heard)
    others = f"; under {HEARD:g} on the {rest} others that share one" if rest else ""
    numbers = {
        f"string_{i + 1}{name}": float(value[i])
        for i in heard
        for name, value in (("", moved), ("_rms", strung.sharing_rms), ("_worst", strung.sharing_worst))
    }
    yield Finding(
        "shared contact",
        strings_named([i + 1 for i in heard]),
        f"shared contacts against contacts of their own, in {plan.units}, and what that adds in cents to the average "
        f"error (rms) and to the largest: {each}{others}",
        numbers,
    )


def _beyond(plan: Plan, strung: Strung) -> Iterator[Finding]:
    """Say which strings stay beyond the tolerance, and what holds them there."""
    rule = plan.compensation
    beyond = np.flatnonzero(np.abs(strung.worst_cents) > rule.tolerance)
    if not beyond.size:
        return
    least = least_worst(plan, strung)
    together = strung.saddles.most(least)
    # Out of the tolerance by sharing alone: nothing helps but saddles that suit each.
    apart = strung.saddles.shared & (strung.alone_worst <= rule.tolerance) & (together > rule.tolerance)
    taken = [int(i) for i in beyond if apart[i]]
    moves = "its saddle" if rule.nut == "none" else "saddle and nut"
    for i in beyond:
        worst, fret, best = float(strung.worst_cents[i]), int(strung.worst_fret[i]), float(together[i])
        if strung.offsets.saddle_held[i] or strung.offsets.nut_held[i]:
            why = "its contacts are held at their limits"
        elif i in taken:
            mates = strings_named([other + 1 for other in strung.saddles.others(int(i))])
            why = f"it shares a contact with {mates}; alone it would keep {float(strung.alone_worst[i]):.2f}"
        elif best > rule.tolerance:
            company = " for all strings on it" if strung.saddles.shared[i] else ""
            why = f"no position of {moves} gets below {best:.2f}{company}"
        elif plan.tunings:
            why = f"without the other tunings it could have {best:.2f}"
        elif rule.minimise == "worst" or rule.rounding:
            why = f"rounding offsets to {show(rule.rounding, plan.units)} costs it"
        else:
            why = f'minimise = "worst" would leave {best:.2f}'
        yield Finding(
            "beyond tolerance",
            f"string {i + 1}",
            f"string {i + 1}: {cents(worst)} cents remain at fret {fret}; {why}",
            {"cents": worst, "fret": fret, "least": best, "tolerance": rule.tolerance},
        )
    if taken:
        which = strings_named([i + 1 for i in taken])
        own = (
            "a saddle of its own for each string (bridge.groups)"
            if plan.shared_saddles
            else "a bridge with a saddle for each string of a course"
        )
        yield Finding(
            "saddles of their own",
            which,
            f"{which} would be within {rule.tolerance:g} cents alone; what helps: {own}, other strings together, or "
            "gauges whose set-backs lie closer to each other",
            {"tolerance": rule.tolerance},
        )
    if rule.nut == "none" and (least > rule.tolerance).any():
        words = 'a moved nut contact could help: compensation.nut = "common" or "per string"'
        yield Finding("nut could help", "nut", words)
