"""One plucked note: partials that beat, glide and die away, sums of partials, buzz, and a hand that stops it.

What a decay or a level is by default is from memory, no source; what a note's pitch is comes from
`stiff.String.frequencies` alone.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.interpolate import CubicSpline

if TYPE_CHECKING:
    from numpy.typing import NDArray
    from sound.stiff import Array, String

REFERENCE = 0.05  # rms of a note in its first second, full scale 1: a plucked note's peaks stand five times as high
HIGHEST = 12000.0  # Hz, above which partials are left out
LOSSES = {  # decay [1/s] at no frequency, and what each kHz and its square add
    "steel": (0.7, 0.8, 0.12),
    "wound": (0.8, 1.2, 0.25),
    "nylon": (1.8, 2.0, 1.0),
}
BLOCK = 64 / 48000  # s, between moments at which the glide is worked out; cubic between them, -95 dB at worst


@dataclass(frozen=True)
class Pluck:
    """How a string is plucked and heard. Levels in dB; None leaves a thing out."""

    seconds: float = 2.0  # until a hand stops it
    level: float = 0.0  # against other notes
    plucked: float = 130.0  # mm from the saddle
    heard: float | None = None  # mm from the saddle of a pickup; None hears the force at the saddle
    soft: float = 6.0  # mm of string that finger or plectrum rounds
    glide: float = 2.0  # cents sharp at the pluck; goes with the square of the amplitude
    glide_first: float = 1.5  # times as much for partial 1
    glide_scatter: float = 0.05  # rms, by which the share of each partial differs
    split: float = 0.2  # cents, of the second polarisation above the first
    split_scatter: float = 0.1  # cents rms, of each partial
    second: float | None = -12.0  # of the second polarisation under the first
    second_decay: float = 0.7  # times the decay of the first
    scatter: float = 0.15  # rms, by which the decay of each partial differs
    phantoms: float | None = None  # of sums of neighbouring partials, the strongest under the strongest partial
    distortion: float | None = None  # of a pickup's 2 f1 and f_j + f_k, likewise
    dies: float = 0.0  # 1/s more decay; a dead note has 9
    buzz: float | None = None  # of the rattle in its first tenth of a second, against the note's rms
    pick: float = -20.0  # of the noise of the pluck itself, likewise
    stop: float = 0.015  # s, in which the hand takes it down by e


@dataclass(frozen=True)
class Body:
    """What the strings stand on: pulls partials and colours them, the same at the same frequency.

    Pulls are drawn every sixth of an octave and smooth between, without a mean and with the stated rms from 80 to
    1000 Hz; they fade with the frequency, as a support that gives way alike at all of them pulls a partial by 1/f.
    """

    pull: float = 0.0  # cents rms
    colour: float = 3.0  # dB rms
    seed: int = 0

    def _drawn(self, which: int, hertz: Array) -> Array:
        knots = np.arange(np.log2(20.0), np.log2(24000.0), 1 / 6)
        curve = CubicSpline(knots, np.random.default_rng([self.seed, which]).standard_normal(len(knots)))

        def faded(f: Array) -> Array:
            return curve(np.log2(f)) / (1 + f / 1000.0)

        band = np.geomspace(80.0, 1000.0, 500)
        mean = faded(band).mean()
        level = np.std(faded(band))
        return (faded(hertz) - mean / (1 + hertz / 1000.0)) / level

    def pulled(self, hertz: Array) -> Array:
        """Give by how much partials at some frequencies are pulled [cents]."""
        return self.pull * self._drawn(1, hertz)

    def coloured(self, hertz: Array) -> Array:
        """Give what it makes of their amplitudes, as a factor."""
        return 10 ** (self.colour * self._drawn(2, hertz) / 20)


@dataclass(frozen=True)
class Parts:
    """Sines that die away: frequency [Hz] at no amplitude, amplitude, phase, decay [1/s], glide [Hz] at the pluck."""

    hertz: Array
    amplitude: Array
    phase: Array
    decay: Array
    glide: Array

    def with_more(self, *others: Parts) -> Parts:
        """Put several together."""
        each = (self, *others)
        return Parts(*(np.concatenate([getattr(one, name) for one in each]) for name in self.__dataclass_fields__))

    def only(self, where: NDArray[np.bool_] | NDArray[np.intp]) -> Parts:
        """Give some of them."""
        return Parts(*(getattr(self, name)[where] for name in self.__dataclass_fields__))


def partials(string: String, pluck: Pluck, body: Body, rng: np.random.Generator, rate: float) -> Parts:
    """Give the partials of a pluck, first those of the one polarisation, then those of the other."""
    exact = string.frequencies(int(HIGHEST / string.limp) + 1)
    exact = exact[exact < min(HIGHEST, 0.45 * rate)]
    n = np.arange(1.0, len(exact) + 1)
    hertz = exact * 2 ** (body.pulled(exact) / 1200)
    # The force of an ideal pluck at the saddle goes with 1/n, and a pickup hears the speed at its place.
    amplitude = _shape(string, pluck.plucked, n) / n * np.exp(-((n * pluck.soft / string.length) ** 2))
    if pluck.heard is not None:
        amplitude = amplitude * _shape(string, pluck.heard, n)
    amplitude = amplitude * body.coloured(exact)
    level, linear, square = LOSSES[string.kind]
    decay = level + linear * exact / 1e3 + square * (exact / 1e3) ** 2
    decay = decay * np.exp(pluck.scatter * rng.standard_normal(len(n)))
    share = 1 + pluck.glide_scatter * rng.standard_normal(len(n))
    share[0] = pluck.glide_first
    glide = exact * (2 ** (pluck.glide * share / 1200) - 1)
    phase = rng.normal(0.0, 0.3, len(n)) - np.pi / 2
    split = pluck.split + pluck.split_scatter * rng.standard_normal(len(n))
    turned = rng.uniform(0, 2 * np.pi, len(n))
    first = Parts(hertz, amplitude, phase, decay + pluck.dies, glide)
    if pluck.second is None:
        return first
    quieter = 10 ** (pluck.second / 20)
    return first.with_more(
        Parts(
            hertz * 2 ** (split / 1200), quieter * amplitude, turned, pluck.second_decay * decay + pluck.dies, glide
        )
    )


def _shape(string: String, place: float, n: Array) -> Array:
    """Give the shapes of the modes at a place [mm from the saddle], not behind the fret; the ends count as hinged."""
    return np.asarray(np.sin(np.pi * n * min(place / string.length, 0.83)), float)


def sums(parts: Parts, pairs: NDArray[np.intp], level: float) -> Parts:
    """Give what sounds at sums of partials f_j + f_k exactly, the strongest so many dB against the strongest partial.

    ``pairs`` has the shape (many, 2). A sum goes with the product of the two and dies with both.
    """
    j, k = pairs.T
    product = parts.amplitude[j] * parts.amplitude[k]
    strongest = np.abs(parts.amplitude).max() / max(np.abs(product).max(), 1e-12)
    return Parts(
        parts.hertz[j] + parts.hertz[k],
        10 ** (level / 20) * strongest * product,
        parts.phase[j] + parts.phase[k],
        parts.decay[j] + parts.decay[k],
        parts.glide[j] + parts.glide[k],
    )


def neighbours(many: int) -> NDArray[np.intp]:
    """Pair each partial with itself, the next and the next but one, counted from 0."""
    return np.array([(j, j + by) for j in range(many) for by in (0, 1, 2) if j + by < many])


def every_pair(many: int) -> NDArray[np.intp]:
    """Pair each partial with itself and with all others."""
    return np.array([(j, k) for j in range(many) for k in range(j, many)])


def faded(parts: Parts, weights: Array, decays: Array, count: int, rate: float) -> Array:
    """Add the parts up, of the shape (count,).

    The phase of a part is ``2 pi (f t + h G(t))`` with its glide h and G the integral of
    ``g(t) = sum w_k exp(-2 d_k t)``, the square of the amplitude, which starts at 1. The carriers are exact; what
    the glide turns is worked out once in a `BLOCK` and cubic between. Parts 110 dB down are dropped as they die.
    """
    step = max(16, round(BLOCK * rate))
    blocks = -(-count // step)
    inside = np.arange(step) / rate
    u = np.arange(step) / step  # Lagrange's cubic through -1, 0, 1, 2
    cubic = np.stack([-u * (u - 1) * (u - 2) / 6, (u + 1) * (u - 1) * (u - 2) / 2,
                      -(u + 1) * u * (u - 2) / 2, (u + 1) * u * (u - 1) / 6])  # fmt: skip
    out = np.empty((blocks, step))
    floor = 3e-6 * np.abs(parts.amplitude).max()
    several = max(1, round(0.2 * rate / step))
    for start in range(0, blocks, several):
        end = min(start + several, blocks)
        at = np.arange(start, end) * step / rate
        some = parts.only(np.abs(parts.amplitude) * np.exp(-parts.decay * at[0]) > floor)
        if not len(some.hertz):
            out[start:] = 0
            break
        speed = 2j * np.pi * some.hertz - some.decay
        base = np.abs(some.amplitude) * np.exp(np.outer(at, speed) + 1j * (some.phase + np.pi * (some.amplitude < 0)))
        carrier = np.exp(np.outer(speed, inside))
        if not np.any(some.glide):
            out[start:end] = base.real @ carrier.real - base.imag @ carrier.imag
            continue
        marks = np.arange(start - 1, end + 2) * step / rate
        turned = np.exp(2j * np.pi * np.outer(_integral(marks, weights, decays), some.glide))
        left = np.concatenate([base * turned[j : j + end - start] for j in range(4)], axis=1)
        right = np.concatenate([carrier * each for each in cubic])
        out[start:end] = left.real @ right.real - left.imag @ right.imag
    return out.ravel()[:count]


def _integral(t: Array, weights: Array, decays: Array) -> Array:
    return -np.expm1(-2 * np.outer(t, decays)) / (2 * decays) @ weights


def sound(string: String, pluck: Pluck, body: Body, rng: np.random.Generator, rate: float) -> tuple[Array, Parts]:
    """Sound one note, and give the partials of its two polarisations too.

    The rms of its first second is `REFERENCE` at level 0, as if it did not die before its time.
    """
    parts = partials(string, pluck, body, rng, rate)
    many = len(parts.hertz) // (1 if pluck.second is None else 2)
    first = parts.only(np.arange(many))
    n = np.arange(1.0, many + 1)
    weights = (_shape(string, pluck.plucked, n) / n) ** 2
    every = parts
    if pluck.phantoms is not None:  # made by the string itself, so with what leaves the pickup's place out
        force = _shape(string, pluck.plucked, n) / n * np.exp(-((n * pluck.soft / string.length) ** 2))
        bare = Parts(first.hertz, force * np.abs(first.amplitude).max(), first.phase, first.decay, first.glide)
        every = every.with_more(sums(bare, neighbours(min(many, 40)), pluck.phantoms))
    if pluck.distortion is not None:
        loud = np.argsort(-np.abs(first.amplitude))[:12]
        every = every.with_more(sums(first.only(loud), every_pair(len(loud)), pluck.distortion))
    every = every.only(every.hertz < 0.48 * rate)
    weights = weights / weights.sum()
    count = round((pluck.seconds + 8 * pluck.stop) * rate)
    made = faded(every, weights, first.decay, count, rate)
    as_if = made[: round(rate)]
    if pluck.dies or pluck.seconds < 1:
        alive = Parts(every.hertz, every.amplitude, every.phase, every.decay - pluck.dies, every.glide)
        as_if = faded(alive, weights, first.decay, round(rate), rate)
    made *= REFERENCE * 10 ** (pluck.level / 20) / np.sqrt(np.mean(as_if**2))
    t = np.arange(count) / rate
    short = t[: round(0.1 * rate)]
    made[: len(short)] += (
        REFERENCE * 10 ** ((pluck.level + pluck.pick) / 20) * np.exp(-short / 0.003) * rng.standard_normal(len(short))
    )
    if pluck.buzz is not None:
        made += REFERENCE * 10 ** ((pluck.level + pluck.buzz) / 20) * rattle(float(first.hertz[0]), t, rate, rng)
    rise = round(0.001 * rate)
    made[:rise] *= np.sin(np.linspace(0, np.pi / 2, rise)) ** 2
    return made * np.exp(-np.maximum(t - pluck.seconds, 0) / pluck.stop), parts


def rattle(hertz: float, t: Array, rate: float, rng: np.random.Generator) -> Array:
    """Give the noise of a string that hits a crown once in each turn, rms 1 at first, dying within a second."""
    spectrum = np.fft.rfft(rng.standard_normal(len(t)))
    f = np.fft.rfftfreq(len(t), 1 / rate)
    noise = np.fft.irfft(spectrum * np.exp(-((np.log(np.maximum(f, 1.0) / 2000.0) / 1.0) ** 2)), len(t))
    hits = np.cos(np.pi * hertz * t) ** 8 * np.exp(-2.5 * t)
    made = noise * hits
    return made / np.sqrt(np.mean(made[: max(1, round(0.1 * rate))] ** 2))
