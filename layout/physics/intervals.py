"""Pure intervals, and what intervals of twelve equal divisions are called."""

from __future__ import annotations

import math
from typing import Final

from slotwright.layout.physics.strings import A4

# Ratios of the primes 2, 3 and 5, by semitones: H. von Helmholtz, On the Sensations of Tone, the intervals of the
# just scale (from memory). Where there are several, the simplest; the minor seventh is that of two minor thirds and
# a major one, 9/5.
_PURE: Final = (
    ("unison", (1, 1)),
    ("minor second", (16, 15)),
    ("major second", (9, 8)),
    ("minor third", (6, 5)),
    ("major third", (5, 4)),
    ("fourth", (4, 3)),
    ("tritone", (45, 32)),
    ("fifth", (3, 2)),
    ("minor sixth", (8, 5)),
    ("major sixth", (5, 3)),
    ("minor seventh", (9, 5)),
    ("major seventh", (15, 8)),
)
_NOTES: Final = ("C", "C#", "D", "Eb", "E", "F", "F#", "G", "G#", "A", "Bb", "B")


def semitones(cents: float) -> int:
    """Give the whole number of semitones nearest to an interval [cents]."""
    return math.floor(cents / 100 + 0.5)


def pure(steps: int) -> tuple[int, int]:
    """Give the pure ratio of an interval of so many semitones, 0 or more, in its lowest terms."""
    above, below = _PURE[steps % 12][1]
    above *= 2 ** (steps // 12)
    common = math.gcd(above, below)
    return above // common, below // common


def interval_name(steps: int) -> str:
    """Name an interval of so many semitones, 0 or more."""
    octaves, name = steps // 12, _PURE[steps % 12][0]
    if not octaves:
        return name
    above = "octave" if octaves == 1 else f"{octaves} octaves"
    return above if steps % 12 == 0 else f"{name} + {above}"


def note_name(frequency: float) -> str:
    """Name the note nearest to a frequency [Hz]."""
    key = semitones(1200 * math.log2(frequency / A4)) + 69
    return f"{_NOTES[key % 12]}{key // 12 - 1}"
