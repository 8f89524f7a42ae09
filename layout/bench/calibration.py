"""What readings teach the model: how stiff and how stretchy these strings are, and how deep this hand presses.

The factors are fitted by generalised least squares (A. C. Aitken, Proc. R. Soc. Edinburgh 55, 42, 1935)
with what was expected of them beforehand. What the plan says of the setup is off as well, alike in every
pass, and a slip at an outer string is felt by all: so all strings and passes are weighed together.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from slotwright.layout.bench.state import LOW_FRETS
from slotwright.layout.instrument.tolerances import CAUSES
from slotwright.layout.limits import FACTORS
from slotwright.layout.physics.pitch import parts

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from slotwright.layout.bench.state import Readings, Setting
    from slotwright.layout.physics.pitch import Fretting

    Floats = NDArray[np.float64]

PRIOR: Final = 0.3  # standard deviation of either factor before anything is read, about 1 (from memory)
DEPTH: Final = 0.15  # mm, how deep hands press on the average (from memory)
DEPTH_PRIOR: Final = 0.15  # mm, standard deviation of that between hands (from memory)
STRETCH_SLIP: Final = 0.07  # part by which one string stretches otherwise than its like (from memory)
# How heights slip, in parts of the usual sizes: at the two outer strings, each string by itself. Either every string
# was measured, or the outer ones were and the rest shared out, which each string then meets by halves; the readings
# themselves tell which is the likelier (common practice, no source).
WAYS: Final = ((0.0, 1.0), (1.0, 0.5))
FEWEST_FRETS: Final = 5  # of one string
FEWEST_STRINGS: Final = 4
POOR_FIT: Final = 3.0  # chi-square per reading above which the factors do not explain what was read
_KINDS: Final = ("stiffness", "stretch", "press_depth", "action", "first_gap")  # what may be otherwise than planned
_TOLD: Final = 3  # of them, alike for all strings
_STEP: Final = 1e-4  # mm and parts, for a derivative
_CLOSE: Final = 1e-6  # of a standard deviation
_MOST_STEPS: Final = 30


@dataclass(frozen=True, slots=True)
class Calibrated:
    """What readings give the model.

    Parameters
    ----------
    stiffness, stretch
        The factors: on the stiffness part, and on the stretch; what strings that differ have in common.
    covariance
        Of the two, in that order, shape (2, 2).
    press_depth, press_depth_error
        How deep the hand presses past the crown and its standard error [mm]; None where no fret was
        read that is low enough to tell: then the factors go with the depth of the plan.
    correlations
        Of that error with the one of the stretch and with the one of the first gaps' mean: a deep
        hand sounds much like stretchy strings or a high nut; None as well then.
    rms_before, rms_after
        What the model misses the readings by, with the factors it had and with these, what the open
        string's tuning explains of it aside [cents].
    misfit
        Chi-square per reading that is left, usual slips of the setup allowed for; about 1 where the
        model explains what was read.
    strings
        Numbers of the strings that taught it.
    """

    stiffness: float
    stretch: float
    covariance: Floats
    press_depth: float | None
    press_depth_error: float | None
    correlations: tuple[float, float] | None
    rms_before: float
    rms_after: float
    misfit: float
    strings: tuple[int, ...]

    @property
    def doubtful(self) -> str:
        """Why these factors are not to be kept; empty where they may."""
        if not all(FACTORS[0] < factor < FACTORS[1] for factor in (self.stiffness, self.stretch)):
            return "a factor lies at its limit"
        return "the readings stray more than meters err" if self.misfit > POOR_FIT else ""

    @property
    def stiffness_error(self) -> float:
        """Standard error of the stiffness factor."""
        return float(np.sqrt(self.covariance[0, 0]))

    @property
    def stretch_error(self) -> float:
        """Standard error of the stretch factor."""
        return float(np.sqrt(self.covariance[1, 1]))

    @property
    def correlation(self) -> float:
        """Correlation of the two errors."""
        return float(self.covariance[0, 1]) / (self.stiffness_error * self.stretch_error)

    def on(self, fretting: Fretting) -> Fretting:
        """Give strings with these factors, pressed as deep as goes with them."""
        depth = fretting.press_depth if self.press_depth is None else self.press_depth
        return _told(fretting, self.stiffness, self.stretch, depth)


def missing(setting: Setting, passes: Sequence[Readings]) -> str:
    """Say what is wanting for a calibration; nothing when it can be made.

    Parameters
    ----------
    setting
        The strings as they lie.
    passes
        What was read of them, pass by pass.
    """
    if not setting.fretting.axial.any():
        return "the plan does not know its strings"
    often = {string for readings in passes for string in np.flatnonzero(_often(readings))}
    taught = {string for readings in passes for string in np.flatnonzero(_often(readings) & readings.settled)}
    if len(taught) >= FEWEST_STRINGS:
        return ""
    if len(often) >= FEWEST_STRINGS:
        return "saddles were moved; state saddle_offset, where each stands now"
    so_far = f"read so far on {len(often)}" if often else f"no string has {FEWEST_FRETS} frets yet"
    return f"it takes {FEWEST_FRETS} frets or more on {FEWEST_STRINGS} strings or more; {so_far}"


def calibrate(setting: Setting, passes: Sequence[Readings]) -> Calibrated:
    """Fit the two factors, and how deep the hand presses, to readings.

    Parameters
    ----------
    setting
        The strings as they lie.
    passes
        What was read of them, pass by pass; `missing` found nothing wanting.

    Returns
    -------
    Calibrated
        The most likely values, given the readings and what was expected: factors of 1 ± `PRIOR`, a
        depth of `DEPTH` ± `DEPTH_PRIOR`, never less than none.
    """
    taught = _Taught(setting, passes)
    found = _fit(taught)
    stiffness, stretch, depth = map(float, found.values)
    errors = np.sqrt(np.diagonal(found.covariance)).tolist()

    def beside(other: int) -> float:
        return float(found.covariance[2, other] / (errors[2] * errors[other]))

    return Calibrated(
        stiffness=stiffness,
        stretch=stretch,
        covariance=found.covariance[:2, :2],
        press_depth=depth if taught.low else None,
        press_depth_error=errors[2] if taught.low else None,
        correlations=(beside(1), beside(3)) if taught.low else None,
        rms_before=_rms(taught.besides_tuning(setting.fretting)),
        rms_after=_rms(taught.besides_tuning(_told(setting.fretting, *found.values))),
        misfit=found.square / taught.notes,
        strings=tuple(sorted({block.string + 1 for block in taught.blocks})),
    )


@dataclass(frozen=True, slots=True)
class _Fit:
    """The most likely values of what is told.

    Parameters
    ----------
    values
        Stiffness, stretch and depth, shape (3,).
    covariance
        Of these and of the first gap's slip, the mean over all strings, shape (4, 4).
    square
        Chi-square of the readings, slips of the setup allowed for.
    evidence
        Logarithm of how likely the readings are, up to what all fits have in common.
    """

    values: Floats
    covariance: Floats
    square: float
    evidence: float


def _fit(taught: _Taught) -> _Fit:
    """Fit for each way in which heights slip, and weigh the fits by how likely they make the readings."""
    fits = [_most_likely(taught, _spread(taught.setting, way, deep=taught.low)) for way in WAYS]
    evidence = np.array([fit.evidence for fit in fits])
    weights = np.exp(evidence - evidence.max())
    weights /= weights.sum()
    values = weights @ np.array([fit.values for fit in fits])
    # Of a mixture: what each doubts, and by how much they differ.
    apart = [np.append(fit.values - values, 0.0) for fit in fits]
    covariances = [fit.covariance + np.outer(off, off) for fit, off in zip(fits, apart, strict=True)]
    return _Fit(
        values=values,
        covariance=np.einsum("w,wij->ij", weights, np.array(covariances)),
        square=float(weights @ [fit.square for fit in fits]),
        evidence=float(evidence.max()),
    )


def _most_likely(taught: _Taught, spread: Floats) -> _Fit:
    """Take Gauss-Newton steps on the generalised least squares.

    Unknowns are independent causes in standard deviations, what is told first, then slips. To leave the slips free
    is to weigh the readings by the inverse of ``R + G S G^T``: R their own covariance, G their slopes, S the slips'.
    """
    fretting, size = taught.setting.fretting, np.diagonal(spread[:_TOLD, 0, :_TOLD])
    expected = np.array([1.0, 1.0, DEPTH if size[2] else fretting.press_depth[0]])
    lowest, highest = np.array([FACTORS[0], FACTORS[0], 0.0]), np.array([FACTORS[1], FACTORS[1], np.inf])
    values = expected
    for _ in range(_MOST_STEPS):
        here = np.divide(values - expected, size, out=np.zeros(_TOLD), where=size > 0)
        known, pull, square = taught.information(_told(fretting, *values), spread)
        doubt = np.linalg.inv(np.eye(len(pull)) + known)
        there = here + doubt[:_TOLD] @ pull - doubt[:_TOLD, :_TOLD] @ here
        if size[2] > 0 and (short := -expected[2] / size[2] - there[2]) > 0:
            there = there + doubt[:_TOLD, 2] / doubt[2, 2] * short  # no hand lifts a string
        values = np.clip(expected + size * there, lowest, highest)
        if np.abs(there - here).max() < _CLOSE:
            break
    own, pulled = known[_TOLD:, _TOLD:], pull[_TOLD:]
    square -= float(pulled @ np.linalg.solve(np.eye(len(pulled)) + own, pulled))
    cost = square + float(here @ here)
    spared = float(np.linalg.slogdet(np.eye(len(pull)) + known)[1])
    shown = np.vstack((np.eye(_TOLD, len(pull)) * size[:, None], spread[_KINDS.index("first_gap")].mean(axis=0)))
    return _Fit(values, shown @ doubt @ shown.T, square, -(cost + spared) / 2)


def _spread(setting: Setting, way: tuple[float, float], *, deep: bool) -> Floats:
    """Give what one standard deviation of every cause does to every string, shape (kinds, strings, causes)."""
    alike, each = np.ones((len(setting.across), 1)), np.eye(len(setting.across))
    ends = np.stack((setting.across, 1 - setting.across), axis=-1)
    slips = np.hstack((way[0] * ends, way[1] * each))
    causes = (
        ("stiffness", PRIOR * alike),
        ("stretch", PRIOR * alike),
        ("press_depth", DEPTH_PRIOR * deep * alike),
        ("stretch", STRETCH_SLIP * each),
        ("action", CAUSES["action"].usual * slips),
        ("first_gap", CAUSES["nut-height"].usual * slips),
    )
    spread = [[shape if kind == wanted else 0 * shape for kind, shape in causes] for wanted in _KINDS]
    return np.stack([np.hstack(row) for row in spread])


def _told(fretting: Fretting, stiffness: float, stretch: float, depth: float | Floats) -> Fretting:
    """Give strings with the factors and the depth that were found."""
    pressed = np.full_like(fretting.press_depth, depth)
    return replace(fretting, stiffness=float(stiffness), stretch=float(stretch), press_depth=pressed)


def _otherwise(fretting: Fretting, nut: Floats, kind: str, by: float) -> Fretting:
    """Give strings of which one thing is otherwise, in parts or mm."""
    if kind in ("action", "first_gap"):
        # The open string is straight: its height above crown 1 follows from that at its ends, and back.
        first = (fretting.frets[:, 0] - nut) / (fretting.action_at - nut)
        at_nut, at_action = (by / (1 - first), 0.0) if kind == "first_gap" else (-first * by / (1 - first), by)
        return replace(
            fretting, nut_height=fretting.nut_height + at_nut, action_height=fretting.action_height + at_action
        )
    return replace(fretting, **{kind: getattr(fretting, kind) + by})


@dataclass(frozen=True, slots=True)
class _Block:
    """What one string was read to be in one pass: notes that have the tuning of the open string in common."""

    at: int
    string: int
    frets: NDArray[np.intp]
    weigh: Floats
    tuning: float


class _Taught:
    """What all passes teach."""

    def __init__(self, setting: Setting, passes: Sequence[Readings]) -> None:
        self.setting = setting
        self.saddle = np.stack([readings.saddle for readings in passes])
        self.cents = np.stack([readings.cents for readings in passes])
        self.blocks = [
            _Block(
                at,
                string,
                frets,
                np.asarray(np.linalg.inv(readings.covariance(string, frets)), dtype=np.float64),
                float(readings.open_variance[string]),
            )
            for at, readings in enumerate(passes)
            for string in _teaching(readings)
            for frets in [np.flatnonzero(readings.read[string])]
        ]
        self.notes = sum(len(block.frets) for block in self.blocks)
        self.low = any(block.frets[0] < LOW_FRETS for block in self.blocks)

    def missed(self, fretting: Fretting) -> Floats:
        """Give what the model misses every note by [cents], shape (passes, strings, frets)."""
        missed: Floats = self.cents - parts(fretting, self.saddle, self.setting.nut).total
        return missed

    def besides_tuning(self, fretting: Fretting) -> Floats:
        """Give the same, note by note, with what is likeliest the error of the open string taken off [cents]."""
        missed = self.missed(fretting)
        each = [(missed[block.at, block.string, block.frets], block) for block in self.blocks]
        return np.concatenate([off - block.tuning * (block.weigh @ off).sum() for off, block in each])

    def information(self, fretting: Fretting, spread: Floats) -> tuple[Floats, Floats, float]:
        """Give what the readings know of the causes, where they pull them, and the chi-square of what is missed."""
        missed, nut = self.missed(fretting), self.setting.nut
        tried = [self.missed(_otherwise(fretting, nut, kind, _STEP)) for kind in _KINDS]
        slopes = np.stack([missed - otherwise for otherwise in tried]) / _STEP
        known, pull, square = np.zeros((spread.shape[-1],) * 2), np.zeros(spread.shape[-1]), 0.0
        for block in self.blocks:
            own = slopes[:, block.at, block.string, block.frets].T @ spread[:, block.string]
            off, weighed = missed[block.at, block.string, block.frets], block.weigh @ own
            known += own.T @ weighed
            pull += weighed.T @ off
            square += float(off @ block.weigh @ off)
        return known, pull, square


def _rms(missed: Floats) -> float:
    return float(np.sqrt(np.mean(missed**2)))


def _often(readings: Readings) -> NDArray[np.bool_]:
    often: NDArray[np.bool_] = readings.read.sum(axis=1) >= FEWEST_FRETS
    return often


def _teaching(readings: Readings) -> list[int]:
    """Give the strings that were read often enough, with their saddle in a known place."""
    return [int(string) for string in np.flatnonzero(_often(readings) & readings.settled)]
