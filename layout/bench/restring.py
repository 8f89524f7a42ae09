"""Other strings on an instrument that was read: how far its saddles will move."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from slotwright.layout.bench.calibration import PRIOR
from slotwright.layout.errors import Fault, PlanError
from slotwright.layout.instrument.tunings import in_all_tunings
from slotwright.layout.physics.offsets import compensate

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from slotwright.layout.bench.advice import Advice
    from slotwright.layout.bench.calibration import Calibrated
    from slotwright.layout.bench.state import Readings, Setting
    from slotwright.layout.instrument.instrument import Instrument
    from slotwright.layout.instrument.stringing import Strung
    from slotwright.layout.physics.offsets import Saddles
    from slotwright.layout.plan.plan import Plan

    Floats = NDArray[np.float64]

SAME_SCALE: Final = 0.5  # mm; scales further apart are of another neck
KEPT_UNCERTAINTY: Final = 0.1  # of factors that a plan keeps from an earlier calibration (from memory)
_STEP: Final = 1e-3  # of a factor, for its derivative


@dataclass(frozen=True, slots=True)
class Restrung:
    """Where the saddles belong with other strings.

    Parameters
    ----------
    move
        From where each saddle stands now, or from where it belongs with the strings that are on where
        that was not read, back positive [mm], shape (strings,).
    read
        True for the strings that were read, shape (strings,).
    error
        Standard errors of the moves: of the readings, of the factors and of estimated cores [mm],
        shape (strings,).
    travel
        Way left before and behind each contact then [mm], shape (strings, 2); None where the bridge
        states none.
    tension
        Before and after [N], shape (strings, 2).
    stress
        Part of the wire's strength before and after, shape (strings, 2); NaN for polymers.
    """

    move: Floats
    read: NDArray[np.bool_]
    error: Floats
    travel: Floats | None
    tension: Floats
    stress: Floats


def restring(
    instrument: Instrument,
    other: Instrument,
    setting: Setting,
    readings: Readings,
    advices: Sequence[Advice],
    calibrated: Calibrated | None,
) -> Restrung:
    """Say how far each saddle moves for the strings, pitches and action of another plan.

    Parameters
    ----------
    instrument
        The instrument as it is.
    other
        The same neck with other strings.
    setting, readings, advices
        What was read of it, and what that asks of its saddles.
    calibrated
        What the readings taught; None where they taught nothing.

    Returns
    -------
    Restrung
        The moves. The readings say where the saddles belong for the strings that are on; the model
        adds the difference, so that most of what it does not know cancels.

    Raises
    ------
    PlanError
        The other plan is of another neck, or one of the two does not know its strings.
    """
    if faults := [*_unlike(instrument, other)]:
        raise PlanError(faults)
    before, after = instrument.stringing, other.stringing
    if calibrated is not None:  # the same hand presses both
        before, after = (replace(each, fretting=calibrated.on(each.fretting)) for each in (before, after))

    def further(factors: Floats) -> Floats:
        """Give how much further back the other strings want their saddles [mm]."""
        there = _belongs(other.plan, after, before.saddles, factors, setting.nut)
        return there - _belongs(instrument.plan, before, before.saddles, factors, setting.nut)

    factors, covariance = _factors(instrument.plan, calibrated)
    both = [further(factors + step) - further(factors - step) for step in _STEP * np.eye(2)]
    slopes = np.stack(both) / (2 * _STEP)
    variance = np.einsum("is,ij,js->s", slopes, covariance, slopes)
    for strung in (before, after):
        # The ends of the range stand for one standard deviation of a core that was estimated.
        variance = variance + np.nan_to_num(np.ptp(strung.uncertainty, axis=1) / 2) ** 2
    move = further(factors)
    read = np.zeros(len(move), dtype=np.bool_)
    for advice in advices:
        move[advice.string - 1] += advice.wanted
        variance[advice.string - 1] += advice.error**2
        read[advice.string - 1] = True
    for group in setting.groups:
        # They move as one, as far as suits them on the average.
        move[list(group)] = move[list(group)].mean()
    travel = None
    if setting.room is not None:
        gone = readings.saddle + move - setting.saddle
        travel = setting.room + np.stack((gone, -gone), axis=-1)
        travel[read & ~readings.known] = np.nan  # it may have stood anywhere
    bodies = list(zip(before.bodies, after.bodies, strict=True))
    return Restrung(
        move=move,
        read=read,
        error=np.sqrt(variance),
        travel=travel,
        tension=np.array([(old.tension, new.tension) for old, new in bodies]),
        stress=np.array([(old.stress_ratio, new.stress_ratio) for old, new in bodies], dtype=np.float64),
    )


def _factors(plan: Plan, calibrated: Calibrated | None) -> tuple[Floats, Floats]:
    """Give the factors on stiffness and stretch and their covariance: as taught now, as kept, or as usual."""
    if calibrated is not None:
        return np.array([calibrated.stiffness, calibrated.stretch]), calibrated.covariance
    factors = np.array([plan.calibration.stiffness, plan.calibration.stretch])
    return factors, np.eye(2) * (PRIOR if (factors == 1).all() else KEPT_UNCERTAINTY) ** 2


def _belongs(plan: Plan, strung: Strung, saddles: Saddles, factors: Floats, nut: Floats) -> Floats:
    """Give where the saddles that are there belong with these factors while the nut stays [mm]."""
    factored = replace(strung.fretting, stiffness=float(factors[0]), stretch=float(factors[1]))
    tuned = in_all_tunings(plan, factored)
    rule = plan.compensation.minimise
    return compensate(tuned, strung.weights, minimise=rule, nut_stands=nut, saddles=saddles).saddle


def _unlike(instrument: Instrument, other: Instrument) -> list[Fault]:
    """Find what forbids to compare two plans."""
    faults = []
    for each, which in ((instrument, "this plan"), (other, "the other plan")):
        if each.strung is None:
            faults.append(Fault(each.unstated[0].where, f"missing in {which}", "both have to know their strings"))
    ours, theirs = instrument.neck.scales, other.neck.scales
    if len(ours) != len(theirs):
        faults.append(
            Fault("strings", f"the other plan has {len(theirs)}, this one {len(ours)}", "restring the same neck")
        )
    elif np.abs(ours - theirs).max() > SAME_SCALE:
        worst = int(np.argmax(np.abs(ours - theirs)))
        there, here = (instrument.plan.said(float(scale[worst])) for scale in (theirs, ours))
        faults.append(Fault("scale", f"the other plan has {there}, this one {here}", "restring the same neck"))
    return faults
