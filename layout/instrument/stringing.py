"""Strings on a neck: what the pitch model needs of a plan, and what it finds."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from slotwright.layout.errors import Fault, PlanError
from slotwright.layout.findings import Finding
from slotwright.layout.instrument.lines import meet
from slotwright.layout.instrument.sharing import saddles as saddles_of
from slotwright.layout.instrument.tunings import in_all_tunings, retuned
from slotwright.layout.physics import strings
from slotwright.layout.physics.offsets import (
    NUT_REACH,
    SADDLE_REACH,
    Offsets,
    Saddles,
    compensate,
    largest,
    rms,
    worst,
)
from slotwright.layout.physics.pitch import WORST_BRACKET, Fretting, Parts, clearance, errors, parts
from slotwright.layout.physics.strings import StringBody
from slotwright.layout.physics.wire import MOST_CORE
from slotwright.layout.plan.sets import SETS
from slotwright.layout.units import ROUNDING, SHOWN

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from numpy.typing import NDArray

    from slotwright.layout.instrument.neck import Neck
    from slotwright.layout.plan.plan import Plan

    Floats = NDArray[np.float64]

DEEP_PRESS: Final = 0.3  # mm; deeper costs more cents than any saddle gives back
SLACK: Final = 10.0  # N; a string with less hardly sounds (from memory)


@dataclass(frozen=True, slots=True, eq=False)
class Strung:
    """Strings on a neck, with the offsets that serve the plan's aim.

    Parameters
    ----------
    bodies
        What each string is made of.
    fretting
        The strings over the frets.
    weights
        The aim: weight of each fret for each string, shape (strings, frets).
    offsets
        Where saddle and nut contacts belong, in all tunings of the plan together [mm], shape (strings,); strings
        that share a saddle have its one contact.
    saddles
        Which strings share a saddle.
    alone
        Where the contacts would belong if no string shared its saddle.
    alone_rms, alone_worst
        Of the errors at the target frets then, the largest without its sign [cents], shape (strings,).
    before, after
        Errors at the strings' own pitches with both offsets zero and with the offsets found [cents], shape
        (strings, frets).
    rms
        Of the errors that are left, at the target frets [cents], shape (strings,).
    worst_fret
        The fret of the aim with the largest error left, shape (strings,).
    uncertainty
        Least and greatest saddle offset that an estimated core or bending stiffness leaves open [mm], shape
        (strings, 2); NaN where nothing is estimated of a string nor of one that shares its saddle.
    inharmonicity
        Least and greatest inharmonicity of the open string that it leaves open, shape (strings, 2); NaN where
        nothing is estimated of the string.
    """

    bodies: tuple[StringBody, ...]
    fretting: Fretting
    weights: Floats
    offsets: Offsets
    saddles: Saddles
    alone: Offsets
    alone_rms: Floats
    alone_worst: Floats
    before: Parts
    after: Parts
    rms: Floats
    worst_fret: NDArray[np.intp]
    uncertainty: Floats
    inharmonicity: Floats

    @property
    def sensitivity(self) -> Floats:
        """How each error answers to its saddle where the contacts belong [cents/mm], shape (strings, frets)."""
        _, jacobian = errors(self.fretting, self.offsets.saddle, self.offsets.nut)
        return jacobian[..., 0]

    @property
    def worst_cents(self) -> Floats:
        """Largest error left at the target frets, with its sign [cents], shape (strings,)."""
        return self.after.total[np.arange(len(self.bodies)), self.worst_fret - 1]

    @property
    def sharing_rms(self) -> Floats:
        """What a string loses by sharing: rms now, less what it would be alone [cents], shape (strings,)."""
        return self.rms - self.alone_rms

    @property
    def sharing_worst(self) -> Floats:
        """The same of the largest error without its sign [cents]; below 0 where that fares better in company."""
        return np.abs(self.worst_cents) - self.alone_worst


def unstated(plan: Plan) -> tuple[Fault, ...]:
    """Name what the pitch model would have to know and the plan does not say."""
    if not any(string.model_fields_set for string in plan.strings):
        usual = next((name for name, each in SETS.items() if len(each.strings) == len(plan.strings)), "")
        mend = f'write strings = {{ set = "{usual}" }}, or ' if usual else "write "
        what = "only how many there are is stated; pitch cannot be calculated"
        return (Fault("strings", what, f"{mend}pitch, gauge and kind of each"),)
    found = ((place, strings.unstated(string)) for place, string in enumerate(plan.strings))
    return tuple(
        Fault(plan.string_key(place, key), "missing; pitch cannot be calculated without it")
        for place, key in found
        if key
    )


def string_up(plan: Plan, neck: Neck) -> Strung:
    """Put the strings of a plan on its neck.

    Parameters
    ----------
    plan
        A checked plan for which `unstated` names nothing.
    neck
        Its neck.

    Returns
    -------
    Strung
        Strings, offsets and errors.

    Raises
    ------
    PlanError
        A string would break, or would pass below the crowns at the nut.
    """
    bodies = _bodies(plan, neck)
    own = [plan.string_key(place, "gauge") for place in range(len(bodies))]
    tuned_anew = plan.string_set is not None and plan.string_set.tuning is not None
    faults = [*_breaking(bodies, own, tuned=tuned_anew), *_unlikely_cores(plan, bodies)]
    for tuning, tuned in enumerate(retuned(plan, bodies), start=1):
        where = [f"tunings[{tuning}]: string {place + 1}" for place in range(len(bodies))]
        faults += _breaking(tuned, where, tuned=True)
    if faults:
        raise PlanError(faults)
    fretting = _fretting(plan, neck, bodies)
    if faults := [*_below_crowns(plan, neck, fretting)]:
        raise PlanError(faults)
    weights = aim_weights(plan)
    saddles = saddles_of(plan, neck)
    offsets = alone = serve(plan, fretting, weights, saddles)
    nothing = np.zeros(len(bodies))
    saddle_range, inharmonicity_range = _left_open(plan, neck, fretting, weights, saddles, bodies)
    after = left_alone = parts(fretting, offsets.saddle, offsets.nut)
    if saddles.shared.any():
        alone = serve(plan, fretting, weights, Saddles.apart(len(bodies)))
        left_alone = parts(fretting, alone.saddle, alone.nut)
    return Strung(
        bodies=bodies,
        fretting=fretting,
        weights=weights,
        offsets=offsets,
        saddles=saddles,
        alone=alone,
        alone_rms=rms(left_alone.total, weights),
        alone_worst=largest(left_alone.total, weights),
        before=parts(fretting, nothing, nothing),
        after=after,
        rms=rms(after.total, weights),
        worst_fret=worst(after.total, weights) + 1,
        uncertainty=saddle_range,
        inharmonicity=inharmonicity_range,
    )


def limp(plan: Plan, neck: Neck) -> Fretting:
    """Lay strings of which nothing is known over a neck: only their lengths count.

    Parameters
    ----------
    plan, neck
        A checked plan and its neck.

    Returns
    -------
    Fretting
        Strings that neither stretch nor stiffen.
    """
    body = StringBody(
        frequency=1.0,
        mass=1.0,
        tension=1.0,
        axial=0.0,
        bending=0.0,
        core=None,
        core_estimated=False,
        stress_ratio=None,
    )
    return _fretting(plan, neck, (body,) * len(plan.strings))


def least_worst(plan: Plan, strung: Strung) -> Floats:
    """Give the least that the largest error can be, wherever the contacts stand that may be moved.

    Strings that share a saddle are served together: of those it is what the best place leaves to each.

    Parameters
    ----------
    plan
        The plan.
    strung
        Its strings on its neck.

    Returns
    -------
    ndarray, shape (strings,)
        Largest error at the target frets of each string at the offsets that make it least [cents].
    """
    best = compensate(
        strung.fretting, strung.weights, nut=plan.compensation.nut, minimise="worst", saddles=strung.saddles
    )
    return largest(parts(strung.fretting, best.saddle, best.nut).total, strung.weights)


def _bodies(plan: Plan, neck: Neck, end: int = 0) -> tuple[StringBody, ...]:
    return tuple(
        strings.body(string, float(scale), end=end) for string, scale in zip(plan.strings, neck.scales, strict=True)
    )


def _fretting(plan: Plan, neck: Neck, bodies: Sequence[StringBody]) -> Fretting:
    setup, octave = plan.setup, plan.action_fret
    points = meet(neck.frets, neck.strings)  # frets, strings, x and y
    heights = neck.crown_height(points[..., 0], points[..., 1]).T
    along = neck.from_nut.T
    action_height = heights[:, octave] + _between(setup.action, points[octave, :, 1])
    if setup.first_gap is None:
        nut_height = heights[:, 0] + plan.nut_action
    else:
        # The open string is straight: down the line through what was measured at two crowns.
        first = heights[:, 1] + _between(setup.first_gap, points[1, :, 1])
        slope = (action_height - first) / (along[:, octave] - along[:, 1])
        nut_height = first - slope * along[:, 1]
    count = len(bodies)
    return Fretting(
        scale=neck.scales,
        frets=along[:, 1:],
        fractions=neck.fractions[1:],
        crowns=heights[:, 1:],
        nut_height=nut_height,
        action_at=along[:, octave],
        action_height=action_height,
        press=np.minimum(setup.press_distance, np.diff(along, axis=1) / 2),
        press_depth=np.full(count, plan.press_depth),
        free_length=np.full(count, setup.free_length),
        tension=np.array([body.tension for body in bodies]),
        axial=np.array([body.axial for body in bodies]),
        bending=np.array([body.bending for body in bodies]),
        clamped=setup.clamped_ends,
        stiffness=plan.calibration.stiffness,
        stretch=plan.calibration.stretch,
    )


def _between(outer: tuple[float, float], y: Floats) -> Floats:
    """Share a height given at the treble and the bass outer string between all of them, linear in y."""
    treble, bass = outer
    return bass + between_outer(y) * (treble - bass)


def between_outer(y: Floats) -> Floats:
    """Say where strings lie between the outer ones.

    Parameters
    ----------
    y
        Where each string crosses a line, string 1 first [mm], shape (strings,).

    Returns
    -------
    ndarray, shape (strings,)
        1 at the treble, 0 at the bass, a half where there is one string alone.
    """
    if len(y) == 1:
        return np.array([0.5])
    share: Floats = (y - y[-1]) / (y[0] - y[-1])
    return share


def aim_weights(plan: Plan) -> Floats:
    """Lay out the aim of each string.

    Parameters
    ----------
    plan
        A checked plan.

    Returns
    -------
    ndarray, shape (strings, frets)
        Weight of each fret; frets 1 to the action fret alike for strings that no aim names and no chord frets. With
        chords a fret weighs as often as they play it, and the weights of each string make 1 together.
    """
    weights = np.zeros((len(plan.strings), plan.frets.count))
    for aim in plan.compensation.aim:
        for string in aim.strings or range(1, len(plan.strings) + 1):
            if aim.frets:
                weights[string - 1, np.array(aim.frets) - 1] = aim.weights or 1.0
            for chord in aim.chords or ():
                if fret := plan.fingered(chord)[string - 1]:
                    weights[string - 1, fret - 1] += 1.0
    weights[weights.sum(axis=1) == 0, : plan.action_fret] = 1.0
    # That chords play a string more often is no reason to favour it where strings share a contact.
    return weights / weights.sum(axis=1, keepdims=True) if plan.chords else weights


def serve(plan: Plan, fretting: Fretting, weights: Floats, saddles: Saddles) -> Offsets:
    """Find the offsets that serve a plan's aim, in all its tunings together.

    Parameters
    ----------
    plan
        The plan.
    fretting
        Its strings, or strings like them.
    weights
        The aim, shape (strings, frets).
    saddles
        Which of them share a saddle.
    """
    rule = plan.compensation
    tuned = in_all_tunings(plan, fretting)
    return compensate(tuned, weights, nut=rule.nut, minimise=rule.minimise, rounding=rule.rounding, saddles=saddles)


def _left_open(
    plan: Plan,
    neck: Neck,
    fretting: Fretting,
    weights: Floats,
    saddles: Saddles,
    bodies: Sequence[StringBody],
) -> tuple[Floats, Floats]:
    """See how far saddle offset and inharmonicity hang on what is estimated of the strings, shape (strings, 2)."""
    estimated = np.array([body.estimated for body in bodies])
    if not estimated.any():
        nothing = np.full((len(bodies), 2), np.nan)
        return nothing, nothing
    offsets, inharmonicities = [], []
    for end in (-1, 1):
        others = _bodies(plan, neck, end)
        other = replace(
            fretting,
            tension=np.array([body.tension for body in others]),
            axial=np.array([body.axial for body in others]),
            bending=np.array([body.bending for body in others]),
        )
        offsets.append(serve(plan, other, weights, saddles).saddle)
        inharmonicities.append(np.array([body.inharmonicity for body in others]))
    first, second = (
        np.where(which[:, None], np.sort(np.stack(ends, axis=-1), axis=-1), np.nan)
        # What is estimated of one string moves the saddle of all that share it.
        for which, ends in ((saddles.most(1.0 * estimated) > 0, offsets), (estimated, inharmonicities))
    )
    return first, second


def _unlikely_cores(plan: Plan, bodies: Sequence[StringBody]) -> Iterator[Fault]:
    """Name strings whose measured inharmonicity no core can have."""
    for place, (string, body) in enumerate(zip(plan.strings, bodies, strict=True)):
        if not string.gauge or not body.core or string.core or not string.inharmonicity:
            continue
        thick = body.core >= MOST_CORE * string.gauge
        if string.kind == "wound steel" and (thick or (body.stress_ratio or 0) >= 1):
            yield Fault(
                plan.string_key(place, "inharmonicity"),
                f"given {string.inharmonicity:g}; at this gauge, pitch and scale that is a core of "
                f"{plan.said(body.core)}{' or more' * thick}, too {'thick' if thick else 'thin'}",
                "check it: usual are some 2e-5 to 2e-4; and check gauge, pitch and winding",
            )


def _breaking(bodies: Sequence[StringBody], where: Sequence[str], *, tuned: bool) -> Iterator[Fault]:
    """Name strings that would break; where a tuning was written, whether it was the wrong way round."""
    # Tension goes with the square of the pitch.
    turned = (
        (body.stress_ratio or 0.0) * (other.frequency / body.frequency) ** 2
        for body, other in zip(bodies, reversed(bodies), strict=True)
    )
    mend = "lower its pitch or shorten the scale"
    if tuned and max(turned) < 1:
        mend = "a tuning is written lowest string first, and the other way round this one holds"
    for place, body in zip(where, bodies, strict=True):
        if body.stress_ratio is not None and body.stress_ratio >= 1:
            yield Fault(
                place,
                f"at this pitch and scale it bears {body.tension:.0f} N, "
                f"{100 * body.stress_ratio:.0f} % of its breaking load",
                mend,
            )


def _below_crowns(plan: Plan, neck: Neck, fretting: Fretting) -> Iterator[Fault]:
    above = fretting.nut_height - neck.crown_height(neck.nut_ends[:, 0], neck.nut_ends[:, 1])
    if plan.setup.first_gap is not None and above.min() < -ROUNDING:
        string = int(np.argmin(above)) + 1
        yield Fault(
            "setup.first_gap",
            f"with this action string {string} would pass {-above.min():.2f} mm below the crowns at the nut",
            "measure both again",
        )


def warnings(plan: Plan, strung: Strung) -> Iterator[Finding]:
    """Yield what is possible but hardly meant about the strings.

    Parameters
    ----------
    plan
        The plan.
    strung
        Its strings on its neck.
    """
    said = plan.said
    yield from _tension(strung.bodies)
    for tuning, tuned in enumerate(retuned(plan, strung.bodies), start=1):
        yield from _tension(tuned, f" in tuning {tuning}")
    if plan.press_depth > DEEP_PRESS:
        deep = plan.press_depth
        words = f"pressed {said(deep)} past the crown notes go many cents sharp (setup.press_depth)"
        yield Finding("deep press", "setup", words, {"depth": deep, "limit": DEEP_PRESS})
    gaps = clearance(strung.fretting, strung.offsets.saddle, strung.offsets.nut)
    for string, gap in enumerate(gaps, start=1):
        at, crown = np.unravel_index(np.argmin(gap), gap.shape)
        if gap[at, crown] < -SHOWN:
            how = f"fretted at {at}" if at else "open"
            yield Finding(
                "on a crown",
                f"string {string}",
                f"string {string}, {how}, would lie {said(-gap[at, crown])} below the crown of fret {crown + 1}",
                {"below": -float(gap[at, crown]), "fretted_at": int(at), "fret": int(crown) + 1},
            )
    for name, held, reach in (
        (
            "saddle",
            strung.offsets.saddle_held,
            "{:.0f} to {:.0f} % of the scale".format(*(100 * end for end in SADDLE_REACH)),
        ),
        ("nut", strung.offsets.nut_held, said(NUT_REACH)),
    ):
        if held.any():
            which = ", ".join(str(string + 1) for string in np.flatnonzero(held))
            words = f"the {name} offset of string {which} is held at the limit of {reach}; the aim wants more"
            yield Finding("held at the limit", f"string {which}", words)
    f = strung.fretting
    stiffest = np.sqrt(f.bending / f.tension) / (f.scale - f.frets[:, -1])
    if stiffest.max() > WORST_BRACKET:
        which = f"string {int(np.argmax(stiffest)) + 1}"
        words = "is so stiff for its length at the last fret that the model is off by more than 0.03 cents there"
        yield Finding("very stiff", which, f"{which} {words}", {"stiffness_ratio": float(stiffest.max())})


def _tension(bodies: Sequence[StringBody], tuned: str = "") -> Iterator[Finding]:
    """Find strings that may break and strings that hardly sound."""
    for place, body in enumerate(bodies, start=1):
        if body.stress_ratio is not None and body.stress_ratio > strings.HIGH_LOAD:
            yield Finding(
                "load",
                f"string {place}",
                f"string {place}{tuned} bears {100 * body.stress_ratio:.0f} % of its breaking load; "
                f"above {100 * strings.HIGH_LOAD:.0f} % it may break",
                {"load": body.stress_ratio, "limit": strings.HIGH_LOAD},
            )
        if body.tension < SLACK:
            yield Finding(
                "slack",
                f"string {place}",
                f"string {place}{tuned} has {body.tension:.1f} N of tension; below {SLACK:.0f} N it hardly sounds",
                {"tension": body.tension, "limit": SLACK},
            )
