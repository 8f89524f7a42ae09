"""What makes a note unfit to be read, or worth a remark: dead, buzzing, plucked too hard, warbling."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from slotwright.layout.physics.temperament import CENTS_PER_NEPER
from slotwright.layout.sound.partials import glided
from slotwright.layout.sound.pitch import law

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from slotwright.layout.sound.partials import Courses, Partials

    Floats = NDArray[np.float64]

DEAD: Final = 40.0  # dB that a note loses within a second
BUZZ: Final = -24.0  # dB, what sounds between the partials against all of it
_BAND: Final = (60.0, 5000.0)  # Hz, where buzz is looked for
HARD: Final = 4.0  # cents of glide
SPLIT: Final = 1.0  # cents between the two parts of a partial
_AGREE: Final = 3  # partials that have to show the same split
_ALIKE: Final = 0.2  # part by which those may differ
_FAINT: Final = 0.12  # of the stronger part, below which a second one is none


def decay(courses: Courses) -> float:
    """Give how much of its level a note loses in a second, by its first half second [dB]."""
    energy = (np.abs(courses.waves) ** 2).sum(axis=0)
    t = courses.times - courses.times[0]
    early = t <= max(0.5, t[min(5, len(t) - 1)])
    slope = np.polyfit(t[early], 10 * np.log10(energy[early] + 1e-30), 1)[0]
    return float(-slope)


def between(sound: Floats, rate: float, pitch: float, stiffness: float, floor: float) -> float:
    """Give what sounds between the partials of a note [dB against all of it].

    Parameters
    ----------
    sound
        The note, shape (n,).
    rate
        Samples per second.
    pitch, stiffness
        Its law.
    floor
        Level of the noise in the take [dB of full scale].
    """
    sound = sound[round(0.06 * rate) : round(0.9 * rate)]
    window = np.hanning(len(sound))
    power = np.abs(np.fft.rfft(sound * window)) ** 2 * 2 / (len(sound) * (window**2).sum())
    frequencies = np.fft.rfftfreq(len(sound), 1 / rate)
    band = (frequencies > _BAND[0]) & (frequencies < _BAND[1])
    count = int(_BAND[1] / pitch) + 1
    partials = law(np.arange(1, count + 1), pitch, stiffness)
    away = np.abs(frequencies[:, None] - partials[None, :]).min(axis=1)
    free = band & (away > 0.25 * pitch) & (frequencies > 0.6 * pitch)
    if not free.any():
        return -99.0
    whole, part = float(power[band].sum()), float(power[free].sum())
    noise = 10 ** (floor / 10) * free.sum() / max(1, int(band.sum()))
    spread = band.sum() / free.sum()
    return float(10 * np.log10(max((part - 1.5 * noise) * min(spread, 4.0), 1e-12) / whole))


def split(courses: Courses, found: Partials) -> float | None:
    """Find whether partials are double, all by the same interval [cents]; None where they are not.

    Parameters
    ----------
    courses
        The partials over time.
    found
        Where they come to rest.
    """
    cents, far = [], glided(courses)
    for wave, centre, noise in zip(courses.waves, courses.centres, courses.noise, strict=True):
        span = int((np.abs(wave) ** 2 > 30 * noise).sum())
        if span < 12:
            continue
        t = courses.times[:span]
        glide = found.glide / CENTS_PER_NEPER * centre * far[:span]
        pair = _pair(wave[:span] * np.exp(-2j * np.pi * glide), float(t[1] - t[0]))
        if pair is not None:
            cents.append(CENTS_PER_NEPER * pair / centre)
    told = np.sort([each for each in cents if each >= SPLIT])
    for each in told:
        alike = told[np.abs(told - each) <= _ALIKE * each]
        if len(alike) >= _AGREE and len(alike) >= 0.4 * len(cents):
            return float(np.median(alike))
    return None


def _pair(wave: NDArray[np.complex128], step: float) -> float | None:
    """Give the distance of two dying tones in one course [Hz]; None where there is one (matrix pencil).

    Y. Hua, T. K. Sarkar, IEEE Trans. Acoust. Speech Signal Process. 38, 814 (1990).
    """
    wave = wave[:: max(1, len(wave) // 80)]
    step *= max(1, len(wave) // 80)
    wide = len(wave) // 3
    rows = np.lib.stride_tricks.sliding_window_view(wave, wide + 1)
    _, sizes, right = np.linalg.svd(rows, full_matrices=False)
    if sizes[1] < 0.01 * sizes[0]:
        return None
    basis = right[:2].T
    roots = np.linalg.eigvals(np.linalg.lstsq(basis[:-1], basis[1:], rcond=None)[0])
    powers = roots[None, :] ** np.arange(len(wave))[:, None]
    sizes = np.abs(np.linalg.lstsq(powers, wave, rcond=None)[0])
    if sizes.min() < _FAINT * sizes.max() or np.abs(roots).min() < 0.5:
        return None
    first, second = np.angle(roots) / (2 * np.pi * step)
    return float(abs(first - second))
