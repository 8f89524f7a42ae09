"""What readings teach the model: how stiff and how stretchy these strings are under this hand."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from slotwright.layout.bench.state import SIGMA_OPEN
from slotwright.layout.limits import FACTORS
from slotwright.layout.physics.pitch import parts

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from slotwright.layout.bench.state import Readings, Setting
    from slotwright.layout.physics.pitch import Fretting

    Floats = NDArray[np.float64]

PRIOR: Final = 0.3  # standard deviation of either factor before anything is read, about 1 (from memory)
FEWEST_FRETS: Final = 5  # of one string
FEWEST_STRINGS: Final = 4
POOR_FIT: Final = 3.0  # chi-square per reading above which the factors do not explain what was read
_STEP: Final = 1e-4  # of a factor, for its derivative
_CLOSE: Final = 1e-9
_MOST_STEPS: Final = 30


@dataclass(frozen=True, slots=True)
class Calibrated:
    """Factors that readings give the model.

    Parameters
    ----------
    stiffness, stretch
        The factors: on the stiffness part, and on the stretch.
    covariance
        Of the two, in that order, shape (2, 2).
    rms_before, rms_after
        What the model misses the readings by, with the factors it had and with these, what the open
        string's tuning explains of it aside [cents].
    misfit
        Chi-square per reading that is left; about 1 where the model explains what was read.
    strings
        Numbers of the strings that taught it.
    """

    stiffness: float
    stretch: float
    covariance: Floats
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
        """Give strings with these factors."""
        return replace(fretting, stiffness=self.stiffness, stretch=self.stretch)


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
    return f"it takes {FEWEST_FRETS} frets or more on {FEWEST_STRINGS} strings or more; read so far on {len(often)}"


def calibrate(setting: Setting, passes: Sequence[Readings]) -> Calibrated:
    """Fit the two factors to readings.

    Parameters
    ----------
    setting
        The strings as they lie.
    passes
        What was read of them, pass by pass; `missing` found nothing wanting.

    Returns
    -------
    Calibrated
        The most likely factors, given the readings and 1 ± `PRIOR` beforehand: Gauss-Newton
        steps on the generalised least squares, the covariance from the last of them.
    """
    taught = [_Taught(setting, each) for each in passes]
    factors = np.ones(2)
    information: Floats = np.eye(2)
    for _ in range(_MOST_STEPS):
        information, pull = np.eye(2) / PRIOR**2, (1 - factors) / PRIOR**2
        for each in taught:
            own_information, own_pull = each.information(factors)
            information, pull = information + own_information, pull + own_pull
        change = np.linalg.solve(information, pull)
        factors = np.clip(factors + change, *FACTORS)
        if np.abs(change).max() < _CLOSE:
            break
    had = np.array([setting.fretting.stiffness, setting.fretting.stretch])
    before = [each.besides_tuning(had) for each in taught]
    after = [each.besides_tuning(factors) for each in taught]
    return Calibrated(
        stiffness=float(factors[0]),
        stretch=float(factors[1]),
        covariance=np.asarray(np.linalg.inv(information), dtype=np.float64),
        rms_before=_rms(before),
        rms_after=_rms(after),
        misfit=sum(each.squares(factors) for each in taught) / sum(map(len, after)),
        strings=tuple(sorted({string + 1 for each in taught for string in each.strings})),
    )


class _Taught:
    """What one pass teaches, string by string: their readings are independent."""

    def __init__(self, setting: Setting, readings: Readings) -> None:
        self.setting, self.readings, self.strings = setting, readings, _teaching(readings)
        self.frets = [np.flatnonzero(readings.read[string]) for string in self.strings]
        self.weigh = [
            np.linalg.inv(readings.covariance(string, frets))
            for string, frets in zip(self.strings, self.frets, strict=True)
        ]

    def missed(self, factors: Floats) -> list[Floats]:
        """Give what the model misses every note by with these factors, for each string [cents]."""
        tried = replace(self.setting.fretting, stiffness=float(factors[0]), stretch=float(factors[1]))
        off = self.readings.cents - parts(tried, self.readings.saddle, self.setting.nut).total
        return [off[string, frets] for string, frets in zip(self.strings, self.frets, strict=True)]

    def besides_tuning(self, factors: Floats) -> Floats:
        """Give the same with what is likeliest the error of the open string taken off [cents]."""
        each = zip(self.missed(factors), self.weigh, strict=True)
        return np.concatenate([np.zeros(0), *(off - SIGMA_OPEN**2 * (weigh @ off).sum() for off, weigh in each)])

    def squares(self, factors: Floats) -> float:
        """Give the chi-square of what is missed."""
        return sum(float(off @ weigh @ off) for off, weigh in zip(self.missed(factors), self.weigh, strict=True))

    def information(self, factors: Floats) -> tuple[Floats, Floats]:
        """Give what the readings know of the factors, shape (2, 2), and where they pull them, shape (2,)."""
        ends = [(self.missed(factors - step), self.missed(factors + step)) for step in _STEP * np.eye(2)]
        known, pull = np.zeros((2, 2)), np.zeros(2)
        for place, (off, weigh) in enumerate(zip(self.missed(factors), self.weigh, strict=True)):
            slopes = np.stack([low[place] - high[place] for low, high in ends], axis=-1) / (2 * _STEP)
            known += slopes.T @ weigh @ slopes
            pull += slopes.T @ weigh @ off
        return known, pull


def _rms(missed: Sequence[Floats]) -> float:
    return float(np.sqrt(np.mean(np.concatenate(missed) ** 2)))


def _often(readings: Readings) -> NDArray[np.bool_]:
    often: NDArray[np.bool_] = readings.read.sum(axis=1) >= FEWEST_FRETS
    return often


def _teaching(readings: Readings) -> list[int]:
    """Give the strings that were read often enough, with their saddle in a known place."""
    return [int(string) for string in np.flatnonzero(_often(readings) & readings.settled)]
