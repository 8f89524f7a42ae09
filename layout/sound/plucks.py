"""Where in a take strings were plucked: onsets and ends, by the level over time."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from slotwright.layout.sound.take import Take

    Floats = NDArray[np.float64]

STEP: Final = 0.010  # s between two looks at the level
_WINDOW: Final = 0.045  # s that one look takes in: a low string turns once in 24 to 32 ms, and must not seem to throb
_BAND: Final = (35.0, 5000.0)  # Hz that counts: below is handling, above is noise
RISE: Final = 9.0  # dB within a few looks that make an onset
_LOOKS: Final = 6
APART: Final = 0.12  # s that two onsets are apart at least
_ABOVE: Final = 5.0  # dB above the noise where a note ends
_HANDLED: Final = 12.0  # dB within five hundredths of a second: a hand stopped the string


@dataclass(frozen=True, slots=True)
class Pluck:
    """One sound in a take.

    Parameters
    ----------
    begin, end
        When it begins and ends [s].
    level
        Its loudest level [dB of full scale].
    """

    begin: float
    end: float
    level: float

    @property
    def seconds(self) -> float:
        """How long it lasts [s]."""
        return self.end - self.begin


@dataclass(frozen=True, slots=True)
class Levels:
    """The level of a take.

    Parameters
    ----------
    times
        When [s], shape (n,).
    decibels
        How loud [dB of full scale], shape (n,).
    floor
        The level between the notes [dB of full scale].
    """

    times: Floats
    decibels: Floats
    floor: float


def levels(take: Take) -> Levels:
    """Look at how loud a take is over time.

    Parameters
    ----------
    take
        The recording.

    Returns
    -------
    Levels
        A value each hundredth of a second.
    """
    step, window = round(STEP * take.rate), round(_WINDOW * take.rate)
    size = 1 << (window - 1).bit_length()
    padded = np.concatenate((np.zeros(window // 2, np.float32), take.samples, np.zeros(window, np.float32)))
    count = 1 + (len(take.samples) - 1) // step
    frequencies = np.fft.rfftfreq(size, 1 / take.rate)
    kept = (frequencies >= _BAND[0]) & (frequencies <= _BAND[1])
    shape = np.hanning(window).astype(np.float32)
    frames = np.lib.stride_tricks.sliding_window_view(padded, window)[::step]
    power = np.empty(count)
    for begin in range(0, count, 2048):
        part = np.fft.rfft(frames[begin : min(begin + 2048, count)] * shape, size)[:, kept]
        power[begin : begin + len(part)] = (np.abs(part) ** 2).sum(axis=1)
    power *= 2 / (size * (shape**2).sum())
    decibels = 10 * np.log10(np.maximum(power, 1e-14))
    return Levels(np.arange(count) * step / take.rate, decibels, float(np.percentile(decibels, 8)))


def plucks(found: Levels) -> tuple[Pluck, ...]:
    """Split a take into its sounds.

    Parameters
    ----------
    found
        Its level over time.

    Returns
    -------
    tuple of Pluck
        In the order of time.
    """
    decibels, floor = found.decibels, found.floor
    before = np.concatenate((np.full(_LOOKS, floor), decibels))
    lowest = np.lib.stride_tricks.sliding_window_view(before, _LOOKS).min(axis=1)[: len(decibels)]
    rise = decibels - np.maximum(lowest, floor)
    loudest = float(decibels.max())
    risen = (rise > RISE) & (decibels > max(floor + RISE, loudest - 50))
    onsets: list[int] = []
    for at in np.flatnonzero(risen):
        if not onsets or ((at - onsets[-1]) * STEP >= APART and not risen[at - 1]):
            onsets.append(int(at))
    return tuple(
        _pluck(found, onset, onsets[place + 1] if place + 1 < len(onsets) else len(decibels))
        for place, onset in enumerate(onsets)
    )


def _pluck(found: Levels, onset: int, until: int) -> Pluck:
    """Find how long a sound that begins at a look lasts."""
    own = found.decibels[onset:until]
    if until < len(found.decibels):
        own = own[: max(len(own) - 2, 1)]  # the next onset is felt before it stands
    peak = int(np.argmax(own[: max(1, round(0.15 / STEP))]))
    smooth = np.convolve(np.pad(own, 2, mode="edge"), np.full(5, 0.2), mode="valid")
    quiet = np.flatnonzero(smooth[peak:] < found.floor + _ABOVE)
    end = peak + int(quiet[0]) if quiet.size else len(own)
    looks = round(0.05 / STEP)
    drop = own[peak + 5 : max(end - looks, peak + 5)] - own[peak + 5 + looks : max(end, peak + 5 + looks)]
    stopped = np.flatnonzero(drop > _HANDLED)
    if stopped.size:
        end = min(end, peak + 5 + int(stopped[0]))
    times = found.times
    return Pluck(float(times[onset]), float(times[onset] + max(end, 1) * STEP), float(own[peak]))
