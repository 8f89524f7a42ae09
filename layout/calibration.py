"""What readings teach the model: how stiff and how stretchy these strings are under this hand."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from slotwright.layout.pitch import parts

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from slotwright.layout.bench import Readings, Setting
    from slotwright.layout.pitch import Fretting

    Floats = NDArray[np.float64]

PRIOR: Final = 0.3  # standard deviation of either factor before anything is read, about 1 (from memory)
FEWEST_FRETS: Final = 5  # of one string
FEWEST_STRINGS: Final = 4
POOR_FIT: Final = 3.0  # chi-square per reading above which the factors do not explain what was read
_LIMITS: Final = (0.1, 10.0)  # as a plan may state them
_STEP: Final = 1e-4  # of a factor, for its derivative
_CLOSE: Final = 1e-9


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
        What the model misses the readings by, with the factors it had and with these [cents].
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


def missing(setting: Setting, readings: Readings) -> str:
    """Say what is wanting for a calibration; nothing when it can be made.

    Parameters
    ----------
    setting, readings
        The strings as they lie, and what was read of them.
    """
    if not setting.fretting.axial.any():
        return "the plan does not know its strings"
    enough = int(_taught(readings).sum())
    if enough >= FEWEST_STRINGS:
        return ""
    often = int((readings.read.sum(axis=1) >= FEWEST_FRETS).sum())
    if often >= FEWEST_STRINGS:
        return "saddles were moved; state saddle_offset, where each stands now"
    return f"it takes {FEWEST_FRETS} frets or more on {FEWEST_STRINGS} strings or more; read so far on {often}"


def calibrate(setting: Setting, readings: Readings) -> Calibrated:
    """Fit the two factors to readings.

    Parameters
    ----------
    setting, readings
        The strings as they lie, and what was read of them; `missing` found nothing wanting.

    Returns
    -------
    Calibrated
        The most likely factors, given the readings and 1 give or take `PRIOR` beforehand: Gauss-Newton
        steps on the generalised least squares, the covariance from the last of them.
    """
    strings = [int(string) for string in np.flatnonzero(_taught(readings))]
    frets = {string: np.flatnonzero(readings.read[string]) for string in strings}
    weigh = {string: np.linalg.inv(readings.covariance(string, frets[string])) for string in strings}

    def missed(factors: Floats) -> Floats:
        """Give what the model misses every note by, shape (strings, frets) [cents]."""
        tried = replace(setting.fretting, stiffness=float(factors[0]), stretch=float(factors[1]))
        off: Floats = readings.cents - parts(tried, readings.saddle, setting.nut).total
        return off

    factors = np.ones(2)
    information: Floats = np.eye(2)
    for _ in range(30):
        off = missed(factors)
        step = _STEP * np.eye(2)
        slopes = np.stack([(missed(factors - each) - missed(factors + each)) / (2 * _STEP) for each in step], axis=-1)
        information, pull = np.eye(2) / PRIOR**2, (1 - factors) / PRIOR**2
        for string in strings:
            own = slopes[string, frets[string]]
            information = information + own.T @ weigh[string] @ own
            pull = pull + own.T @ weigh[string] @ off[string, frets[string]]
        change = np.linalg.solve(information, pull)
        factors = np.clip(factors + change, *_LIMITS)
        if np.abs(change).max() < _CLOSE:
            break
    had = np.array([setting.fretting.stiffness, setting.fretting.stretch])
    off = missed(factors)
    squares = sum(float(off[s, frets[s]] @ weigh[s] @ off[s, frets[s]]) for s in strings)

    def rms(off: Floats) -> float:
        return float(np.sqrt(np.mean(np.concatenate([off[string, frets[string]] for string in strings]) ** 2)))

    return Calibrated(
        stiffness=float(factors[0]),
        stretch=float(factors[1]),
        covariance=np.asarray(np.linalg.inv(information), dtype=np.float64),
        rms_before=rms(missed(had)),
        rms_after=rms(off),
        misfit=squares / sum(len(each) for each in frets.values()),
        strings=tuple(string + 1 for string in strings),
    )


def _taught(readings: Readings) -> NDArray[np.bool_]:
    """Tell which strings were read often enough, with their saddle in a known place."""
    taught: NDArray[np.bool_] = (readings.read.sum(axis=1) >= FEWEST_FRETS) & readings.settled
    return taught
