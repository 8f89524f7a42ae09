"""One note: its partials followed over time, and the stiff string that they belong to.

Each partial is moved down to 0 Hz and filtered; its phase over time tells its frequency, and how that falls
after the pluck (the glide). Then one law for all of them is fitted to where they come to rest.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from slotwright.layout.physics.temperament import CENTS_PER_NEPER
from slotwright.layout.sound.pitch import law

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from slotwright.layout.sound.pitch import Series

    Floats = NDArray[np.float64]
    Waves = NDArray[np.complex128]

_HALF_BAND: Final = 16.0  # Hz to either side of a partial that are let through
_EDGE: Final = 0.75  # of 1 / half band, that the filter spoils at both ends
_ABOVE_NOISE: Final = 8.0  # times the noise that the power of a partial is used down to
_INDEPENDENT: Final = 0.375  # of the values of a course, the filter being a Hann window of as many bins
_OF_NOISE: Final = 5.0  # (1 + r) / (1 - r) of neighbours in filtered noise, r = 2/3
_FEWEST: Final = 6  # values of a partial's course
OWN_GLIDE: Final = 1.5  # times the others', that partial 1 glides: theory of a large motion, and real notes
_SHARE: Final = 0.25  # standard deviation of a partial's share of the glide
_GLIDES: Final = 25.0  # cents, what glides are expected to be at most
_LEAST_ENERGY: Final = 1e-4  # of the greatest, that a note is taken to keep
LEAST_PULL: Final = 0.05  # cents, what a partial is off its law by at the least
USUAL_PULL: Final = 0.2  # cents, of a partial off its law where too few tell
DOUBT_FACTOR: Final = 1.5  # on what the fit itself doubts
FEWEST_FOR_STIFFNESS: Final = 8  # partials from which a stiffness is told


@dataclass(frozen=True, slots=True)
class Courses:
    """The partials of one note over time.

    Parameters
    ----------
    times
        Seconds since the sound was cut out, shape (t,).
    waves
        Every partial moved down to 0 Hz, shape (n, t).
    centres
        By how much each was moved [Hz], shape (n,).
    noise
        Power of the noise in each, shape (n,).
    half_band
        What the filter lets through to either side [Hz].
    """

    times: Floats
    waves: Waves
    centres: Floats
    noise: Floats
    half_band: float


@dataclass(frozen=True, slots=True)
class Partials:
    """Where the partials of one note come to rest.

    Parameters
    ----------
    numbers
        Their numbers, shape (n,).
    frequencies
        At rest [Hz], shape (n,).
    errors
        Standard errors, of the course of each by itself [cents], shape (n,).
    glide
        By how much they stand above that after the pluck, the others than the first [cents].
    glide_error
        Its standard error [cents].
    levels
        Amplitude of each after the pluck [dB of full scale], shape (n,).
    """

    numbers: NDArray[np.intp]
    frequencies: Floats
    errors: Floats
    glide: float
    glide_error: float
    levels: Floats


@dataclass(frozen=True, slots=True)
class Fit:
    """The stiff string that the partials of a note belong to.

    Parameters
    ----------
    pitch
        The first partial by the law, at amplitude zero [Hz].
    doubt
        Its standard error [cents].
    stiffness
        B of the law; of the note as it was fretted.
    stiffness_error
        Its standard error.
    off
        What each partial is off the law [cents], shape (n,).
    weights
        How much each had to say, 0 to 1, shape (n,).
    pull
        By how much partials are off the law beyond what their courses explain [cents].
    """

    pitch: float
    doubt: float
    stiffness: float
    stiffness_error: float
    off: Floats
    weights: Floats
    pull: float


def follow(sound: Floats, rate: float, found: Series) -> Courses | None:
    """Follow the partials of a note over time.

    Parameters
    ----------
    sound
        The note, shape (n,).
    rate
        Samples per second.
    found
        Its partials.

    Returns
    -------
    Courses or None
        Their courses; None where the note is too short.
    """
    half = min(_HALF_BAND, 0.42 * found.pitch)
    count, seconds = len(sound), len(sound) / rate
    reach = round(half * seconds)
    if reach < 4:
        return None
    spectrum = np.fft.rfft(sound)
    at = np.round(found.frequencies * seconds).astype(np.intp)
    at = np.clip(at, reach, len(spectrum) - reach - 1)
    shape = np.hanning(2 * reach + 3)[1:-1]
    bands = spectrum[at[:, None] + np.arange(-reach, reach + 1)] * shape
    waves = np.fft.ifft(np.fft.ifftshift(bands, axes=1), axis=1) * (2 * reach + 1) * 2 / count
    times = np.arange(2 * reach + 1) * seconds / (2 * reach + 1)
    spoilt = _EDGE / half
    kept = (times > spoilt) & (times < seconds - spoilt)
    if kept.sum() < _FEWEST:
        return None
    noise = found.floor * (shape**2).sum() * (2 / count) ** 2 * count
    return Courses(times[kept], waves[:, kept], at / seconds, noise, half)


def rest(courses: Courses, numbers: NDArray[np.intp]) -> Partials | None:
    """Find where partials come to rest, with their glide taken out.

    Parameters
    ----------
    courses
        The partials over time.
    numbers
        Their numbers, shape (n,).

    Returns
    -------
    Partials or None
        Those that can be told; None where none can.
    """
    spans = [_usable(wave, noise) for wave, noise in zip(courses.waves, courses.noise, strict=True)]
    able = [place for place, span in enumerate(spans) if span >= _FEWEST]
    if not able:
        return None
    far = glided(courses)
    each = [_course(courses, place, spans[place], far) for place in able]
    glide, glide_error = _together(each, numbers[able])
    frequencies, errors = _at_rest(courses, able, each, numbers[able], glide, glide_error)
    first = [float(np.abs(courses.waves[place, :_FEWEST]).max()) for place in able]
    levels = 20 * np.log10(np.maximum(first, 1e-9))
    return Partials(numbers[able], frequencies, errors, glide, glide_error, levels)


def _usable(wave: Waves, noise: float) -> int:
    """Count the values of a course before it drowns in noise."""
    power = np.abs(wave) ** 2
    smooth = np.convolve(np.pad(power, 1, mode="edge"), np.full(3, 1 / 3), mode="valid")
    quiet = np.flatnonzero(smooth < _ABOVE_NOISE * noise)
    return int(quiet[0]) if quiet.size else len(power)


def glided(courses: Courses) -> Floats:
    """Give how far a note has glided: the phase it has gained, in seconds of the glide that it began with.

    What a motion adds to the tension goes with the square of the slope, and so does the energy that is heard:
    the glide falls as that does, which is no single exponential, for high partials die first.

    Parameters
    ----------
    courses
        The partials over time.

    Returns
    -------
    ndarray
        At each of the times, shape (t,).
    """
    energy = (np.abs(courses.waves) ** 2).sum(axis=0)
    left = np.maximum(energy - courses.noise.sum(), _LEAST_ENERGY * energy.max() + 1e-30)
    share = np.minimum.accumulate(left) / left[0]
    return np.concatenate(([0.0], np.cumsum((share[1:] + share[:-1]) / 2 * np.diff(courses.times))))


@dataclass(frozen=True, slots=True)
class _Course:
    """What one course says: frequency at rest [cents from its centre] and glide [cents], with their covariance."""

    value: Floats
    covariance: Floats


def _course(courses: Courses, place: int, span: int, far: Floats) -> _Course:
    """Fit the phase of one partial: a line for its frequency, and the glide that dies away."""
    wave, t = courses.waves[place, :span], courses.times[:span]
    turn = np.angle((wave[1:] * wave[:-1].conj()).sum())
    phase = np.unwrap(np.angle(wave * np.exp(-1j * turn * np.arange(span)))) + turn * np.arange(span)
    weight = 2 * np.abs(wave) ** 2 / courses.noise[place]
    # Values are closer than the filter's band leaves them independent.
    weight *= _INDEPENDENT
    per_cent = 2 * np.pi * courses.centres[place] / CENTS_PER_NEPER
    start = t - t[0]
    design = np.stack((np.ones(span), per_cent * start, per_cent * far[:span]), axis=1)
    known = design.T @ (design * weight[:, None])
    known[2, 2] += _GLIDES**-2
    pull = design.T @ (weight * phase)
    covariance = np.linalg.inv(known)
    value = covariance @ pull
    off = phase - design @ value
    square = float((weight * off**2).sum()) / max(span - 3, 1)
    near = float((weight[1:] * off[1:] * off[:-1]).sum() / max((weight * off**2).sum(), 1e-30))
    near = min(max(near, 0.0), 0.9)
    slow = max(1.0, (1 + near) / (1 - near) / _OF_NOISE)  # what wanders slowly says less than as many chances would
    return _Course(value[1:], covariance[1:, 1:] * max(1.0, square / _INDEPENDENT * slow))


def _together(each: list[_Course], numbers: NDArray[np.intp]) -> tuple[float, float]:
    """Find the glide that partials have in common [cents] and its error."""
    share = np.where(numbers == 1, OWN_GLIDE, 1.0)
    own = np.array([course.value[1] for course in each]) / share
    variance = np.array([course.covariance[1, 1] for course in each]) / share**2
    glide, error = 0.0, _GLIDES
    for _ in range(3):
        w = 1 / (variance + (_SHARE * glide) ** 2 + 0.01)
        w /= 1 + ((own - glide) ** 2 * w / 9)  # a partial that strays has less to say
        known = w.sum() + _GLIDES**-2
        glide, error = float((w * own).sum() / known), float(known**-0.5)
    return glide, error


def _at_rest(
    courses: Courses, able: list[int], each: list[_Course], numbers: NDArray[np.intp], glide: float, error: float
) -> tuple[Floats, Floats]:
    """Give every partial at rest [Hz] and its error [cents], its glide held near the common one."""
    share = np.where(numbers == 1, OWN_GLIDE, 1.0)
    frequencies, errors = [], []
    for place, course, part in zip(able, each, share, strict=True):
        covariance = course.covariance
        room = (_SHARE * glide * part) ** 2 + (error * part) ** 2 + 0.01
        gain = covariance[0, 1] / (covariance[1, 1] + room)
        at = course.value[0] + gain * (glide * part - course.value[1])
        variance = covariance[0, 0] - gain * covariance[0, 1]
        # Cents from its centre are taken along the tangent; so they are turned back.
        frequencies.append(courses.centres[place] * (1 + at / CENTS_PER_NEPER))
        errors.append(float(np.sqrt(max(variance, 1e-8))))
    return np.array(frequencies), np.array(errors)


def fit(found: Partials, expected: tuple[float, float] | None = None) -> Fit:
    """Fit one stiff string to the partials of a note.

    Parameters
    ----------
    found
        The partials at rest.
    expected
        B as the rest of the neck has it, and its standard error; None where nothing is known.

    Returns
    -------
    Fit
        The most likely string; the scatter of partials about the law is in its doubt.
    """
    n = found.numbers.astype(float)
    pitch, stiffness = _begin(found)
    if expected is not None:
        stiffness = expected[0]
    pull, loose = 1.0, np.ones(len(n))
    covariance: Floats = np.eye(2)
    off: Floats = np.zeros(len(n))
    for _ in range(12):
        off = CENTS_PER_NEPER * np.log(found.frequencies / law(n, pitch, stiffness))
        by_stiffness = 0.5 * CENTS_PER_NEPER * (n**2 / (1 + stiffness * n**2) - 1 / (1 + stiffness))
        design = np.stack((np.ones(len(n)), 1e-6 * by_stiffness), axis=1)
        variance = found.errors**2 + (pull * (1 + 1 / n)) ** 2
        weight = loose / variance
        known = design.T @ (design * weight[:, None])
        towards = design.T @ (weight * off)
        prior, usual = (stiffness, 2e-3) if expected is None else expected
        known[1, 1] += (1e6 * usual) ** -2
        towards[1] += 1e6 * (prior - stiffness) / (1e6 * usual) ** 2
        covariance = np.asarray(np.linalg.inv(known), dtype=np.float64)
        step = covariance @ towards
        pitch *= float(np.exp(step[0] / CENTS_PER_NEPER))
        stiffness = float(np.clip(stiffness + 1e-6 * step[1], 0.0, 6e-3))
        pull = _pull(off - design @ step, found.errors, n, loose, 2 if expected is None else 1)
        loose = 1 / (1 + (off - design @ step) ** 2 / variance / 9) ** 2
        if np.abs(step[0]) < 1e-5:
            break
    few = len(n) - (2 if expected is None else 1)
    # A body pulls neighbours alike: the more it pulls, the less do many partials know better than one.
    widened = DOUBT_FACTOR * (1 + 1.5 / max(few, 0.5)) ** 0.5 * (1 + 0.3 * min(pull, 1.0))
    doubt = float(np.sqrt(covariance[0, 0])) * widened
    if found.glide > 4.0:
        doubt = float(np.hypot(doubt, 0.1 * (found.glide - 4.0)))
    error = 1e-6 * float(np.sqrt(covariance[1, 1])) * widened
    return Fit(pitch, doubt, stiffness, error, off, loose, pull)


def _begin(found: Partials) -> tuple[float, float]:
    """Give a law to begin with: a straight line of ``(f_n / n)^2`` on ``n^2``."""
    squares, of_all = found.numbers.astype(float) ** 2, (found.frequencies / found.numbers) ** 2
    if len(squares) < 3:
        return float(np.sqrt(of_all[0])), 1e-5
    slope, first = np.polyfit(squares, of_all, 1, w=1 / (1 + found.errors))
    if slope <= 0 or first <= 0:
        return float(np.sqrt(of_all[0])), 1e-6
    return float(np.sqrt(first + slope)), float(slope / first)


def _pull(off: Floats, errors: Floats, n: Floats, loose: Floats, unknowns: int) -> float:
    """Find by how much partials are off the law beyond what their courses explain [cents]."""
    left = max(loose.sum() - unknowns, 0.5) + 1.0
    grow = (1 + 1 / n) ** 2

    def scatter(pull: float) -> float:
        # One more value, of the usual size: what a few partials say of their own scatter is not to be trusted.
        return float((loose * off**2 / (errors**2 + grow * pull**2)).sum()) + (USUAL_PULL / pull) ** 2

    low, high = LEAST_PULL, 30.0
    if scatter(low) <= left:
        return LEAST_PULL
    for _ in range(40):
        middle = float(np.sqrt(low * high))
        low, high = (middle, high) if scatter(middle) > left else (low, middle)
    return float(np.sqrt(low * high))
