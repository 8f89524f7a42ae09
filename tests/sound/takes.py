"""Takes recorded at the bench, made up: plucked notes whose pitch is known, in a room, with all that disturbs.

Everything follows from a seed. The pitch of a note is the exact first frequency of a stiff string at no amplitude
(`stiff`); how it sounds is in `plucks`. Nothing here is taken from the code that listens.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Literal

import numpy as np
from forward import World, healthy
from scipy.signal import lfilter, oaconvolve
from sound.plucks import REFERENCE, Body, Pluck, sound
from sound.stiff import MADE, Array, String, at_fret, of_instrument

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from pathlib import Path

Width = Literal[8, 16, 24, "float"]

ORDER = tuple((string, fret) for string in (6, 5, 4, 3, 2, 1) for fret in (0, 12, 17))  # the order unless told
PLAIN, BODY = Pluck(), Body()
ELECTRIC = Pluck(heard=150.0, distortion=-45.0)  # through a magnetic pickup, mm from the saddle


@dataclass(frozen=True)
class Note:
    """What the player does: a string stopped somewhere and plucked at a time [s]."""

    string: int
    fret: int
    at: float
    sounding: String
    pluck: Pluck = field(default_factory=Pluck)
    marks: tuple[str, ...] = ()  # dead, buzz, repeat, wrong string: what is to be noticed


@dataclass(frozen=True)
class Truth:
    """What is true of a note that was played."""

    string: int
    fret: int
    at: float  # s, to the sample
    seconds: float
    f1: float  # Hz at no amplitude, by the string alone: no body, the first polarisation
    inharmonicity: float  # pi^2 EI / (T L^2)
    fitted: float  # B that the law has when fitted to the first 20 exact frequencies
    partials: Array  # Hz at no amplitude, as the body pulls them, of the first polarisation
    split: float | None  # cents of the second polarisation over the first, median over partials
    snr: float  # dB of its rms in its first second over the noise, hum and all; inf without any
    marks: tuple[str, ...] = ()

    @property
    def good(self) -> bool:
        """Say whether a reading is to be had from it."""
        return not {"dead", "buzz"} & set(self.marks)


@dataclass(frozen=True)
class Around:
    """What a recorder hears besides. Levels: a note's rms in its first second over theirs [dB]; None is without."""

    snr: float | None = None  # hiss over the whole band of the recorder
    pink: float = 0.5  # share of the hiss's power that goes with 1/f, above 20 Hz
    hum: float | None = None
    mains: float = 50.0  # Hz
    room: float | None = None  # s, in which its sound dies by 60 dB
    wet: float = -12.0  # dB of that sound's energy against what comes straight
    knocks: tuple[tuple[float, str, float], ...] = ()  # at [s], knock or click, dB of its peak over a note's rms
    clipped: float | None = None  # dB by which the loudest moment would go over full scale
    gain: float = 0.0  # dB
    offset: float = 0.0  # of the middle, of full scale
    right: float | None = None  # dB of a second channel against the first, with a hiss and a room of its own


@dataclass(frozen=True)
class Take:
    """A recording and what is true of it: samples of the shape (n,) or (n, 2), full scale 1."""

    samples: Array
    rate: int
    truths: tuple[Truth, ...] = ()
    missed: tuple[tuple[int, int], ...] = ()  # (string, fret) due by the order and never played
    stray: tuple[float, ...] = ()  # s, of sounds that are no notes

    def readings(self) -> dict[tuple[int, int], float]:
        """Give the frequency at no amplitude [Hz] of every (string, fret) of which a good note was played."""
        return {(true.string, true.fret): true.f1 for true in self.truths if true.good}

    def cents(self) -> dict[tuple[int, int], float]:
        """Give the good notes against the open string and twelve steps to the octave [cents]."""
        heard = self.readings()
        return {
            (string, fret): float(1200 * np.log2(f1 / heard[string, 0])) - 100 * fret
            for (string, fret), f1 in heard.items()
            if (string, 0) in heard
        }

    def write(self, path: Path, width: Width = 16) -> Path:
        """Write it as a WAV file."""
        path.write_bytes(wav(self.samples, self.rate, width))
        return path


def record(
    notes: Sequence[Note],
    around: Around = Around(),
    *,
    body: Body = BODY,
    rate: int = 44100,
    seconds: float | None = None,
    missed: Sequence[tuple[int, int]] = (),
    seed: int = 0,
) -> Take:
    """Record notes one after another or together.

    Parameters
    ----------
    notes
        What is played.
    around
        What else is heard.
    body
        What the strings stand on.
    rate
        Samples per second.
    seconds
        How long the recording is; by default half a second more than the last note.
    missed
        What the player ought to have played and did not.
    seed
        Of all that is left to chance.

    """
    if seconds is None:
        seconds = 0.5 + max((note.at + note.pluck.seconds for note in notes), default=0.5)
    dry = np.zeros(round(seconds * rate))
    truths = []
    for which, note in enumerate(notes):
        rng = np.random.default_rng([seed, 0, which])
        made, parts = sound(note.sounding, note.pluck, body, rng, rate)
        start = round(note.at * rate)
        made = made[: max(0, len(dry) - start)]
        dry[start : start + len(made)] += made
        many = len(parts.hertz) if note.pluck.second is None else len(parts.hertz) // 2
        split = None
        if note.pluck.second is not None:
            split = float(np.median(1200 * np.log2(parts.hertz[many:] / parts.hertz[:many])))
        truths.append(
            Truth(
                note.string,
                note.fret,
                start / rate,
                note.pluck.seconds,
                float(note.sounding.frequencies()[0]),
                note.sounding.inharmonicity,
                note.sounding.fitted(20)[1],
                parts.hertz[:many],
                split,
                float(20 * np.log10(np.sqrt(np.mean(made[:rate] ** 2)) / REFERENCE)) + _over_noise(around),
                note.marks,
            )
        )
    for which, (at, kind, level) in enumerate(around.knocks):
        made = _knock(kind, rate, np.random.default_rng([seed, 1, which]))
        start = round(at * rate)
        made = made[: max(0, len(dry) - start)]
        dry[start : start + len(made)] += REFERENCE * 10 ** (level / 20) * made
    channels = [
        _heard(dry, around, rate, np.random.default_rng([seed, 2, which]))
        for which in (0, 1)[: 1 + (around.right is not None)]
    ]
    if around.right is not None:
        channels[1] *= 10 ** (around.right / 20)
    samples = np.stack(channels, axis=1) if len(channels) > 1 else channels[0]
    samples *= 10 ** (around.gain / 20)
    if around.clipped is not None:
        samples *= 10 ** (around.clipped / 20) / np.abs(samples).max()
    samples = np.clip(samples + around.offset, -1.0, 1.0)
    return Take(samples, rate, tuple(truths), tuple(missed), tuple(at for at, _, _ in around.knocks))


def _over_noise(around: Around) -> float:
    """Give how far a note of rms `REFERENCE` is over hiss and hum together [dB]."""
    power = sum(10 ** (-level / 10) for level in (around.snr, around.hum) if level is not None)
    return float(-10 * np.log10(power)) if power else np.inf


def _heard(dry: Array, around: Around, rate: int, rng: np.random.Generator) -> Array:
    """Give what one microphone or pickup hears of it."""
    heard = dry.copy()
    if around.room is not None:
        t = np.arange(round(around.room * rate)) / rate
        tail = rng.standard_normal(len(t)) * 10 ** (-3 * t / around.room) * (t > 0.004)
        tail *= 10 ** (around.wet / 20) / np.sqrt(np.sum(tail**2))
        heard += oaconvolve(dry, tail)[: len(dry)]
    if around.hum is not None:
        heard += REFERENCE * 10 ** (-around.hum / 20) * _hum(around.mains, len(dry), rate, rng)
    if around.snr is not None:
        heard += REFERENCE * 10 ** (-around.snr / 20) * hiss(len(dry), rate, around.pink, rng)
    return heard


def hiss(count: int, rate: float, pink: float, rng: np.random.Generator) -> Array:
    """Give noise of rms 1, a share of whose power goes with 1/f above 20 Hz and the rest is white."""
    f = np.fft.rfftfreq(count, 1 / rate)
    falling = np.where(f >= 20, 1 / np.sqrt(np.maximum(f, 20.0)), 0.0)
    level = np.sqrt(pink * falling**2 / np.sum(falling**2) + (1 - pink) / len(f))
    made = np.fft.irfft(level * np.exp(2j * np.pi * rng.random(len(f))), count)
    return made / np.sqrt(np.mean(made**2))


def _hum(mains: float, count: int, rate: float, rng: np.random.Generator) -> Array:
    """Give hum of rms 1: the mains and what is above, the odd ones louder."""
    k = np.arange(1, 1 + int(min(1500.0, 0.45 * rate) / mains))
    level = np.where(k % 2, 1.0, 0.4) / k * np.exp(0.4 * rng.standard_normal(len(k)))
    phase = rng.uniform(0, 2 * np.pi, len(k))
    turn = np.exp(2j * np.pi * mains * np.arange(count) / rate)
    made, power = np.zeros(count), np.ones(count, complex)
    for size, start in zip(level, phase, strict=True):
        power = power * turn
        made += size * np.cos(start) * power.real - size * np.sin(start) * power.imag
    return made / np.sqrt(np.mean(made**2))


def _knock(kind: str, rate: int, rng: np.random.Generator) -> Array:
    """Give a knock on the body (a few low modes that die at once) or a click (a millisecond of hiss), peak 1."""
    t = np.arange(round(0.3 * rate)) / rate
    if kind == "click":
        made = rng.standard_normal(len(t)) * np.exp(-t / 0.0004)
    elif kind == "knock":
        f, dies = rng.uniform(90, 500, 7)[:, None], rng.uniform(20, 60, 7)[:, None]
        made = np.sum(np.exp(-dies * t) * np.sin(2 * np.pi * f * t), axis=0)
        made += 0.6 * rng.standard_normal(len(t)) * np.exp(-t / 0.004)
    else:
        raise ValueError(kind)
    return made / np.abs(made).max()


# Files.


def wav(samples: Array, rate: int, width: Width = 16, *, finished: bool = True) -> bytes:
    """Give samples as a WAV file, 8, 16, 24 bit or float of 32; unfinished, its header says that nothing follows."""
    data = np.atleast_2d(samples.T).T
    if width == "float":
        body = data.astype("<f4").tobytes()
    elif width == 8:
        body = (np.clip(np.round(128 * data), -128, 127) + 128).astype("u1").tobytes()
    else:
        top = 2 ** (width - 1)
        whole = np.clip(np.round(top * data), -top, top - 1).astype("<i4")
        body = whole.astype("<i2").tobytes()
        if width == 24:
            body = whole.reshape(-1, 1).view("u1")[:, :3].tobytes()
    bits = 32 if width == "float" else width
    frame = data.shape[1] * bits // 8
    form = struct.pack("<HHIIHH", 3 if width == "float" else 1, data.shape[1], rate, rate * frame, frame, bits)
    size = len(body) if finished else 0
    odd = b"\0" * (len(body) % 2)
    head = b"RIFF" + struct.pack("<I", 36 + size + (len(odd) if finished else 0)) + b"WAVE"
    return head + b"fmt " + struct.pack("<I", 16) + form + b"data" + struct.pack("<I", size) + body + odd


# Scenes.


def plucks(
    world: World,
    order: Sequence[tuple[int, int]] = ORDER,
    *,
    seed: int = 0,
    every: float = 2.5,
    start: float = 0.6,
    pluck: Pluck = PLAIN,
    off: Sequence[float] | None = None,
) -> list[Note]:
    """Let a player go over an instrument: as evenly as a hand does it.

    ``off`` is how far each open string is out of tune [cents], string 1 first; by default drawn, 3 cents rms.
    """
    rng = np.random.default_rng([seed, 9])
    astray = rng.normal(0.0, 3.0, len(world.strings)) if off is None else np.array(off)
    notes = []
    for which, (string, fret) in enumerate(order):
        sounding = of_instrument(world, string, fret, off=float(astray[string - 1]))
        at = start + every * which + rng.uniform(-0.05, 0.05)
        notes.append(Note(string, fret, at, sounding, by_hand(pluck, sounding, rng)))
    return notes


def by_hand(pluck: Pluck, sounding: String, rng: np.random.Generator) -> Pluck:
    """Vary a pluck as a hand does; wound strings have sums of partials besides."""
    return replace(
        pluck,
        level=pluck.level + rng.normal(0.0, 1.5),
        plucked=pluck.plucked * rng.uniform(0.8, 1.25),
        glide=pluck.glide * rng.uniform(0.5, 1.5),
        split=pluck.split * rng.uniform(-1.0, 1.0),
        phantoms=-45.0 if pluck.phantoms is None and sounding.kind == "wound" else pluck.phantoms,
    )


def clean(
    seed: int = 0,
    *,
    rate: int = 44100,
    world: World | None = None,
    pull: float = 0.0,
    order: Sequence[tuple[int, int]] = ORDER,
) -> Take:
    """Record a guitar as it ought to be: six strings open, at 12 and 17, lowest first, 60 dB over the hiss.

    ``order`` is what was played in truth: strings changed round, one alone, other frets.
    """
    notes = plucks(world or healthy(), order, seed=seed)
    return record(notes, Around(snr=60.0), body=Body(pull, seed=seed), rate=rate, seed=seed)


def noisy(seed: int = 0, *, rate: int = 44100, world: World | None = None, pull: float = 0.0) -> Take:
    """Record the same 20 dB over the hiss, 25 over hum, in a room."""
    notes = plucks(world or healthy(), seed=seed)
    around = Around(snr=20.0, hum=25.0, mains=(50.0, 60.0)[seed % 2], room=0.4)
    return record(notes, around, body=Body(pull, seed=seed), rate=rate, seed=seed)


def messy(seed: int = 0, *, rate: int = 44100, world: World | None = None) -> Take:
    """Record a bad day.

    A knock before the first note and a click between two; one note repeated; one never played; one on the string
    beside instead, at the same fret; one dead and one that buzzes. Which ones is drawn; no open string is among them.
    The wrong string is the one below at fret 12 and the one above at 17: the other way it would sound the note that
    comes before or after on the right string, and nobody could tell.
    """
    world = world or healthy()
    rng = np.random.default_rng([seed, 8])
    fretted = [n for n in range(len(ORDER)) if ORDER[n][1]]
    wrong = int(rng.choice([n for n in fretted if ORDER[n] not in ((6, 12), (1, 17))]))
    others = [n for n in fretted if n != wrong]
    again, gone, dead, buzzes = (int(n) for n in rng.choice(others, 4, replace=False))
    order: list[tuple[int, int]] = []
    marks: list[tuple[str, ...]] = []
    for which, (string, fret) in enumerate(ORDER):
        if which == gone:
            continue
        if which == wrong:  # its own place stays empty, the other string has one more
            order.append((string + 1 if fret == 12 else string - 1, fret))
            marks.append(("wrong string",))
            continue
        order.append((string, fret))
        marks.append({dead: ("dead",), buzzes: ("buzz",)}.get(which, ()))
        if which == again:
            order.append((string, fret))
            marks.append(("repeat",))
    notes = []
    for note, mark in zip(plucks(world, order, seed=seed, start=1.6), marks, strict=True):
        pluck = note.pluck
        if "dead" in mark:
            pluck = replace(pluck, dies=9.0)
        if "buzz" in mark:
            pluck = replace(pluck, buzz=-6.0)
        notes.append(replace(note, pluck=pluck, marks=mark))
    between = notes[7].at - 0.2
    missed = [due for due in ORDER if due not in order]
    around = Around(snr=40.0, room=0.3, knocks=((0.7, "knock", 14.0), (between, "click", 16.0)))
    return record(notes, around, body=Body(seed=seed), rate=rate, missed=missed, seed=seed)


def single(
    name: str,
    fret: int = 0,
    *,
    snr: float | None = 60.0,
    pull: float = 0.0,
    pluck: Pluck | None = None,
    rate: int = 44100,
    seed: int = 0,
) -> Take:
    """Record one note of `stiff.MADE`, played by hand; string 1, whatever its name, up to 10 cents off its pitch."""
    rng = np.random.default_rng([seed, 7])
    sounding = at_fret(MADE[name], fret, sharp=float(rng.uniform(-10, 10)))
    pluck = by_hand(Pluck(), sounding, rng) if pluck is None else pluck
    around = Around(snr=snr)
    return record([Note(1, fret, 0.5, sounding, pluck)], around, body=Body(pull, seed=seed), rate=rate, seed=seed)


def assorted(
    many: int,
    names: Sequence[str] = tuple(MADE),
    *,
    snr: float | None = 60.0,
    pull: float = 0.0,
    pluck: Pluck = PLAIN,
    rate: int = 44100,
    seed: int = 0,
) -> Iterator[Take]:
    """Record single notes one by one, for statistics: strings in turn, frets from 0 to 17 and bodies drawn."""
    for which in range(many):
        rng = np.random.default_rng([seed, 4, which])
        name, fret = names[which % len(names)], int(rng.integers(0, 18))
        played = by_hand(pluck, at_fret(MADE[name], fret), rng)
        own = int(rng.integers(1 << 30))
        yield single(name, fret, snr=snr, pull=pull, pluck=played, rate=rate, seed=own)


def silence(seed: int = 0, *, seconds: float = 10.0, rate: int = 44100, snr: float | None = None) -> Take:
    """Record nothing: nothing at all, or hiss where a note would be so many dB louder."""
    return record([], Around(snr=snr), seconds=seconds, rate=rate, seed=seed)


def speech(seed: int = 0, *, seconds: float = 10.0, rate: int = 44100) -> Take:
    """Record somebody who talks: syllables of gliding pitch through three resonances, breath and pauses, no notes."""
    rng = np.random.default_rng([seed, 6])
    out = np.zeros(round(seconds * rate))
    at = 0.3
    while at < seconds - 0.5:
        long = rng.uniform(0.12, 0.35)
        t = np.arange(round(long * rate)) / rate
        f = rng.uniform(95, 220) * 2 ** (rng.uniform(-0.3, 0.3) * t / long + 0.01 * np.sin(2 * np.pi * 6 * t))
        turns = np.cumsum(f) / rate
        voice = np.diff(np.floor(turns), prepend=0.0) + 0.03 * rng.standard_normal(len(t))
        if rng.random() < 0.25:
            voice = 0.1 * rng.standard_normal(len(t))
        for centre, broad in zip(rng.uniform([300, 900, 2200], [800, 2000, 3000]), (80, 110, 160), strict=True):
            if centre < 0.45 * rate:
                radius, angle = np.exp(-np.pi * broad / rate), 2 * np.pi * centre / rate
                voice = lfilter([1 - radius], [1, -2 * radius * np.cos(angle), radius**2], voice)
        start = round(at * rate)
        out[start : start + len(t)] += voice / np.abs(voice).max() * np.sin(np.pi * t / long) ** 0.7
        at += long + (rng.uniform(0.3, 0.9) if rng.random() < 0.2 else rng.uniform(0.01, 0.08))
    return Take(0.3 * out + 0.0003 * rng.standard_normal(len(out)), rate)


def chords(seed: int = 0, *, seconds: float = 10.0, rate: int = 44100) -> Take:
    """Record music: all six strings strummed every second or so, at frets that change. The truths are its notes."""
    rng = np.random.default_rng([seed, 5])
    world = healthy()
    notes = []
    for at in np.arange(0.5, seconds - 1.0, 1.2):
        for string in range(6, 0, -1):
            sounding = of_instrument(world, string, fret := int(rng.integers(0, 5)))
            pluck = by_hand(Pluck(seconds=1.15, level=-6.0), sounding, rng)
            notes.append(Note(string, fret, float(at) + 0.015 * (6 - string), sounding, pluck))
    return record(notes, Around(snr=50.0, room=0.5), seconds=seconds, rate=rate, seed=seed)
