"""Strings as makers name them: pitch, kind, winding."""

from __future__ import annotations

import math
import re
from typing import Final

KINDS: Final = ("plain steel", "wound steel", "plain nylon", "wound nylon", "fluorocarbon")

WINDINGS: Final = (
    "nickel-plated steel",
    "nickel",
    "stainless steel",
    "phosphor bronze",
    "bronze 80/20",
    "silver-plated copper",
)

CORE_SHAPES: Final = ("round", "hex")

A4: Final = 440.0  # Hz, ISO 16

_PITCH: Final = re.compile(r"([A-G])([#b]?)(-?[0-9])")
_SEMITONES: Final = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
_ACCIDENTAL: Final = {"#": 1, "b": -1, "": 0}


def frequency(pitch: str) -> float:
    """Give the frequency of a named pitch in twelve equal divisions.

    Parameters
    ----------
    pitch
        Letter, accidental and octave: ``E4``, ``F#3``, ``Bb2``.

    Returns
    -------
    float
        Frequency [Hz] with A4 at 440 Hz (ISO 16).

    Raises
    ------
    ValueError
        The text is not a pitch.
    """
    found = _PITCH.fullmatch(pitch)
    if found is None:
        raise ValueError(f'given "{pitch}"; a pitch is written like E4, F#3 or Bb2')
    letter, accidental, octave = found.groups()
    above_a4 = _SEMITONES[letter] + _ACCIDENTAL[accidental] - 9 + 12 * (int(octave) - 4)
    return A4 * math.pow(2.0, above_a4 / 12)
