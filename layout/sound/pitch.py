"""A first look at one sound: whether it is a note, about which pitch, and where its partials are.

What is sought is the series of a stiff string, ``f_n = n f_1 sqrt((1 + B n^2) / (1 + B))``, as a whole: a
tracker that goes from one partial to the next is led astray by sums of others, which are exactly harmonic.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from slotwright.layout.physics.temperament import CENTS_PER_NEPER

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from slotwright.layout.sound.plucks import Pluck
    from slotwright.layout.sound.take import Take

    Floats = NDArray[np.float64]

PITCHES: Final = (28.0, 2500.0)  # Hz, of open and fretted strings
ATTACK: Final = 0.05  # s after the onset that are left out: the plectrum, not the string
LONGEST: Final = 2.6  # s of a note that are used
_FIRST: Final = 0.5  # s that the first look takes in
SPECTRUM: Final = 1.0  # s that the spectrum takes in
MOST_PARTIALS: Final = 40
HIGHEST: Final = 12_000.0  # Hz
WEAKEST: Final = 50.0  # dB below the strongest partial
_CLEAR: Final = 12.0  # dB above what lies around it that a partial stands at least
_OVER_NOISE: Final = 6.0  # times the median of the spectrum, below which nothing tells a pitch
_REACH: Final = 36  # cents that the first pitch may be off
STIFFNESSES: Final = np.concatenate(([0.0], np.geomspace(4e-6, 4e-3, 52)))  # B tried
_LARGEST_GAP: Final = 6  # partials in a row that may be missing
_FEWEST_FOR_LAW: Final = 7  # partials from which the law is fitted anew
_CREDIT: Final = 40.0  # dB that one partial counts for at most


@dataclass(frozen=True, slots=True)
class Series:
    """The partials of one sound as a spectrum shows them.

    Parameters
    ----------
    pitch
        The first partial by the law [Hz].
    stiffness
        B of the law.
    numbers
        Numbers of the partials that stand clear, shape (n,).
    frequencies
        Where they stand [Hz], shape (n,).
    floor
        Noise around each, as the power of a bin of an unwindowed spectrum of one second, shape (n,).
    """

    pitch: float
    stiffness: float
    numbers: NDArray[np.intp]
    frequencies: Floats
    floor: Floats


def law(numbers: NDArray[np.intp] | Floats, pitch: float, stiffness: float | Floats) -> Floats:
    """Give the partials of a stiff string whose first partial is `pitch` [Hz]."""
    n = np.asarray(numbers, dtype=np.float64)
    found: Floats = n * pitch * np.sqrt((1 + stiffness * n**2) / (1 + stiffness))
    return found


def part_of(take: Take, pluck: Pluck) -> Floats:
    """Cut one sound out of a take, without its attack."""
    begin = round((pluck.begin + ATTACK) * take.rate)
    end = round(min(pluck.end, pluck.begin + ATTACK + LONGEST) * take.rate)
    return take.samples[begin:end].astype(np.float64)


def first_pitch(sound: Floats, rate: float) -> float | None:
    """Find about which pitch a sound has, by its own repetition.

    Parameters
    ----------
    sound
        The sound, shape (n,).
    rate
        Samples per second.

    Returns
    -------
    float or None
        The pitch within some cents [Hz]; None where nothing repeats.
    """
    sound = sound[: round(_FIRST * rate)]
    size = 1 << (2 * len(sound) - 1).bit_length()
    power = np.abs(np.fft.rfft(sound * np.hanning(len(sound)), size)) ** 2
    frequencies = np.fft.rfftfreq(size, 1 / rate)
    power[(frequencies < 0.9 * PITCHES[0]) | (frequencies > 5000)] = 0
    if power.any():
        power[power < _OVER_NOISE * np.median(power[power > 0])] = 0
    if not power.any():
        return None
    again = np.fft.irfft(power**0.6, size)  # between the plain repetition and the one of a flat spectrum
    shortest, longest = int(rate / PITCHES[1]), min(int(rate / PITCHES[0]), len(sound) // 2)
    if longest <= shortest + 2:
        return None
    again = again[: longest + 2] / again[0]
    middle = again[shortest : longest + 1]
    peaks = shortest + np.flatnonzero((middle > again[shortest - 1 : longest]) & (middle >= again[shortest + 1 :]))
    if not peaks.size or again[peaks].max() < 0.15:
        return None
    at = int(peaks[again[peaks] > 0.85 * again[peaks].max()][0])
    left, centre, right = again[at - 1 : at + 2]
    bend = left - 2 * centre + right
    return float(rate / (at + (0.5 * (left - right) / bend if bend else 0.0)))


def series(sound: Floats, rate: float, pitch: float) -> Series | None:
    """Find the partials of a sound whose pitch is known within some cents.

    Parameters
    ----------
    sound
        The sound, shape (n,).
    rate
        Samples per second.
    pitch
        About its pitch [Hz].

    Returns
    -------
    Series or None
        Its partials; None where there are none.
    """
    sound = sound[: round(SPECTRUM * rate)]
    size = 1 << (4 * len(sound) - 1).bit_length()
    window = np.hanning(len(sound))
    power = np.abs(np.fft.rfft(sound * window, size)) ** 2 / (window**2).sum() + 1e-30
    bin_width = rate / size
    decibels = 10 * np.log10(power)
    top = min(HIGHEST, 0.42 * rate)
    count = int(min(MOST_PARTIALS, top / pitch))
    if count < 1:
        return None
    numbers = np.arange(1, count + 1)
    floor = _floor(decibels, np.arange(1.0, count + 1) * pitch / bin_width, pitch / bin_width)
    # A peak is as wide as the window makes it: what is looked up may lie a bin or two beside it.
    near = max(1, round(0.6 / (len(sound) / rate) / bin_width))
    wide = np.lib.stride_tricks.sliding_window_view(np.pad(decibels, near, mode="edge"), 2 * near + 1).max(axis=1)
    pitches = pitch * 2 ** (np.arange(-_REACH, _REACH + 1) / 1200)
    places = law(numbers[None, None, :], 1.0, STIFFNESSES[None, :, None]) * pitches[:, None, None]
    bins = np.minimum(np.round(places / bin_width).astype(np.intp), len(decibels) - 1)
    credit = np.clip(wide[bins] - floor, 0, _CREDIT) * (places < top)
    best = np.unravel_index(int(np.argmax(credit.sum(axis=-1))), credit.shape[:2])
    return _refined(decibels, floor, bin_width, top, float(pitches[best[0]]), float(STIFFNESSES[best[1]]))


def _floor(decibels: Floats, bins: Floats, apart: float) -> Floats:
    """Give the level around each partial: the median between it and its neighbours [dB], shape (n,)."""
    found = []
    for at in bins:
        low, high = max(int(at - 1.4 * apart), 0), int(at + 1.4 * apart) + 8
        found.append(float(np.median(decibels[low:high])))
    return np.array(found)


def _refined(
    decibels: Floats, floor: Floats, bin_width: float, top: float, pitch: float, stiffness: float
) -> Series | None:
    """Go up the series from the peaks nearest to a first law, bettering the law on the way."""
    numbers: list[int] = []
    places: list[float] = []
    levels: list[float] = []
    for n in range(1, len(floor) + 1):
        wanted = float(law(np.array([n]), pitch, stiffness)[0])
        if wanted > top:
            break
        if numbers and n - numbers[-1] > _LARGEST_GAP:
            break  # what stands beyond is as likely a neighbour's
        reach = max(1.5, wanted * (0.006 if len(numbers) < 4 else 0.0035), 0.8 * bin_width)
        place, level = _peak(decibels, wanted / bin_width, min(reach, 0.3 * pitch) / bin_width)
        if level < floor[n - 1] + _CLEAR:
            continue
        numbers.append(n)
        places.append(place * bin_width)
        levels.append(level)
        if len(numbers) >= _FEWEST_FOR_LAW:  # a few low ones that a body pulls know less than the whole series
            pitch, stiffness = _law_of(np.array(numbers), np.array(places), np.array(levels), stiffness)
    if not numbers:
        return None
    kept = np.array(levels) > max(levels) - WEAKEST
    clear, at = np.array(numbers, dtype=np.intp)[kept], np.array(places)[kept]
    around = 10 ** (floor[clear - 1] / 10) / np.log(2)  # the mean of what has this median
    return Series(pitch, stiffness, clear, at, around)


def _peak(decibels: Floats, at: float, reach: float) -> tuple[float, float]:
    """Find the highest point near a bin, between the bins."""
    low, high = max(int(at - reach), 1), min(int(np.ceil(at + reach)) + 1, len(decibels) - 1)
    top = low + int(np.argmax(decibels[low:high]))
    left, centre, right = decibels[top - 1 : top + 2]
    bend = left - 2 * centre + right
    if bend >= 0 or not left <= centre >= right:
        return float(top), -np.inf if not left <= centre >= right else float(centre)
    return top + 0.5 * (left - right) / bend, float(centre)


def _law_of(numbers: NDArray[np.intp], places: Floats, levels: Floats, stiffness: float) -> tuple[float, float]:
    """Fit the law to peaks, each as surely as it is loud; peaks that stray lose their say."""
    weight = 1.0 / (1.0 + 10 ** ((levels.max() - 30 - levels) / 10)) / numbers**0.5
    squares = numbers.astype(float) ** 2
    of_all = (places / numbers) ** 2
    loose = np.ones(len(numbers))
    first, slope = 0.0, 0.0
    for _ in range(4):
        w = weight * loose
        mean_x, mean_y = (w * squares).sum() / w.sum(), (w * of_all).sum() / w.sum()
        spread = (w * (squares - mean_x) ** 2).sum()
        slope = (w * (squares - mean_x) * (of_all - mean_y)).sum() / spread if spread > 0 else stiffness * mean_y
        slope = min(max(slope, 0.0), STIFFNESSES[-1] * mean_y)
        first = mean_y - slope * mean_x
        off = 0.5 * CENTS_PER_NEPER * np.log(of_all / (first + slope * squares))
        size = max(float(np.median(np.abs(off))) * 1.5, 1.0)
        loose = 1 / (1 + (off / (2.5 * size)) ** 2) ** 2
    return float(np.sqrt(first + slope)), float(slope / first)
