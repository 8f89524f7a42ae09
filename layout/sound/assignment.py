"""Which sound of a take is which note: the cheapest reading of the whole take.

Every sound is a note of the declared order, the same note once more, or a stray; every note is heard or
missed. Each of these has a price, and dynamic programming finds the reading that is cheapest. How much
dearer the best other reading of one sound is tells how sure that sound's is. Strays that are a string once
more, two of its notes or more in their order, are taken for that.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from slotwright.layout.physics.temperament import CENTS_PER_NEPER

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

GATE: Final = 150.0  # cents that a note may be off the plan
_USUAL: Final = 60.0  # cents, what notes are off the plan (standard deviation)
NEAR: Final = 75.0  # cents that a fretted note may be off, once the tuning of its string is known
_CLOSE: Final = 25.0  # cents, what they are then (standard deviation)
STRAY, KNOCK, MISSED, AGAIN = 3.0, 0.2, 2.5, 0.5  # prices
SURE: Final = 1.0  # a margin below this is in doubt
_SAME: Final = 10.0  # cents that a note played once more may be off what it was
_SWAPPED: Final = 4.0  # by how much cheaper another order of the strings has to be

Note = tuple[int, int]


@dataclass(frozen=True, slots=True)
class Assignment:
    """The cheapest reading of a take.

    Parameters
    ----------
    notes
        Place in the declared order of every sound; -1 for a stray, shape (sounds,).
    others
        The same in the best other reading of that sound, shape (sounds,).
    margins
        How much dearer that is, shape (sounds,).
    price
        What the reading costs.
    order
        The notes in the order that was found, which is the declared one unless strings were swapped.
    swapped
        Strings that were played in another order than declared; empty where none were.
    """

    notes: NDArray[np.intp]
    others: NDArray[np.intp]
    margins: Floats
    price: float
    order: tuple[Note, ...]
    swapped: tuple[int, ...]


def assign(pitches: Sequence[float | None], order: Sequence[Note], wanted: Mapping[Note, float]) -> Assignment:
    """Find which sound is which note.

    Parameters
    ----------
    pitches
        Pitch of every sound [Hz]; None for a knock.
    order
        String and fret of every note, as they were to be played.
    wanted
        The plan's pitch of each [Hz].

    Returns
    -------
    Assignment
        The cheapest reading; strings in another order than declared only where that is clearly cheaper.
    """
    best = _in_order(pitches, tuple(order), wanted)
    if best.price < _SWAPPED:
        return _with_replays(best, pitches, wanted)
    strings = list(dict.fromkeys(string for string, _ in order))
    others = [[*strings[:i], strings[i + 1], strings[i], *strings[i + 2 :]] for i in range(len(strings) - 1)]
    if len(strings) > 2:
        others.append(strings[::-1])
    for other in others:
        now = tuple(note for string in other for note in order if note[0] == string)
        found = _in_order(pitches, now, wanted)
        if found.price + _SWAPPED < best.price - _SWAPPED * bool(best.swapped):
            changed = tuple(was for was, then in zip(strings, other, strict=True) if was != then)
            best = Assignment(found.notes, found.others, found.margins, found.price, now, changed)
    return _with_replays(best, pitches, wanted)


def _in_order(pitches: Sequence[float | None], order: tuple[Note, ...], wanted: Mapping[Note, float]) -> Assignment:
    """Read a take twice: by the plan's pitches, then by the tuning that the first look tells of each string."""
    expected = np.array([wanted[note] for note in order])
    off = _off(pitches, expected)
    notes, *_ = _cheapest(_prices(off, GATE, _USUAL), pitches)
    tuning = _tunings(notes, off, order)
    shift = np.array([tuning[string] for string, _ in order])
    best = _cheapest(_prices(off - shift, NEAR, _CLOSE), pitches)
    return Assignment(*best, order, ())


def _with_replays(found: Assignment, pitches: Sequence[float | None], wanted: Mapping[Note, float]) -> Assignment:
    """Take strays for a string that was played once more, after others: where they can be that string alone."""
    expected = np.array([wanted[note] for note in found.order])
    off = _off(pitches, expected)
    tuning = _tunings(found.notes, off, found.order)
    gates = np.full(len(found.order), NEAR)
    for place, (string, _) in enumerate(found.order):
        before = off[found.notes == place, place]
        off[:, place] -= np.median(before) if before.size else tuning[string]
        gates[place] = _SAME if before.size else NEAR
    notes, others, margins = found.notes.copy(), found.others.copy(), found.margins.copy()
    sounds = [sound for sound, pitch in enumerate(pitches) if pitch is not None]
    while sounds:
        if found.notes[sounds[0]] >= 0:
            del sounds[0]
            continue
        strays = list(itertools.takewhile(lambda sound: found.notes[sound] < 0, sounds))
        each = [_replayed(strays, off, gates, own) for own in _by_string(found.order)]
        each.sort(key=len, reverse=True)
        clear = len(set(each[0])) > 1 and (len(each) == 1 or len(each[0]) > len(each[1]))
        count = len(each[0]) if clear else 1
        for sound, place in zip(strays, each[0] if clear else (), strict=False):
            notes[sound], others[sound], margins[sound] = place, -1, STRAY
        del sounds[:count]
    return replace(found, notes=notes, others=others, margins=margins)


def _by_string(order: tuple[Note, ...]) -> list[list[int]]:
    """Give the places of each string's notes."""
    places: dict[int, list[int]] = {}
    for place, (string, _) in enumerate(order):
        places.setdefault(string, []).append(place)
    return list(places.values())


def _replayed(sounds: Sequence[int], off: Floats, gates: Floats, own: list[int]) -> list[int]:
    """Give which notes of a string sounds are, as far as they are, in their order."""
    found: list[int] = []
    for sound in sounds:
        near = min(own, key=lambda place: abs(off[sound, place]))
        if abs(off[sound, near]) > gates[near] or (found and near < found[-1]):
            break
        found.append(near)
    return found


def _off(pitches: Sequence[float | None], expected: Floats) -> Floats:
    heard = np.array([pitch or 1e-3 for pitch in pitches])
    off: Floats = CENTS_PER_NEPER * np.log(heard[:, None] / expected[None, :])
    return off


def _prices(off: Floats, gate: float, usual: float) -> Floats:
    prices: Floats = np.where(np.abs(off) <= gate, (off / usual) ** 2, np.inf)
    return prices


def _tunings(notes: NDArray[np.intp], off: Floats, order: tuple[Note, ...]) -> dict[int, float]:
    """Give how far each string is out of tune [cents]: as its open string sounds, else as the others do."""
    opened: dict[int, list[float]] = {}
    every: list[float] = []
    for sound, note in enumerate(notes):
        if note >= 0:
            every.append(float(off[sound, note]))
            if order[note][1] == 0:
                opened.setdefault(order[note][0], []).append(float(off[sound, note]))
    common = float(np.median(every)) if every else 0.0
    tuning = {}
    for string in {string for string, _ in order}:
        own = float(np.median(opened[string])) if string in opened else common
        tuning[string] = own
    return tuning


def _cheapest(
    prices: Floats, pitches: Sequence[float | None]
) -> tuple[NDArray[np.intp], NDArray[np.intp], Floats, float]:
    """Find the cheapest way through a take, and for every sound the best other one.

    A state is how many notes are behind us, and whether the last of them was heard; only what was heard can be
    heard again.
    """
    sounds, notes = prices.shape
    stray = np.array([KNOCK if pitch is None else STRAY for pitch in pitches])
    ahead = np.full((sounds + 1, notes + 1, 2), np.inf)
    ahead[0, 0, 0] = 0.0
    for i in range(sounds + 1):
        if i:
            ahead[i] = ahead[i - 1] + stray[i - 1]
            ahead[i, 1:, 1] = np.minimum(ahead[i, 1:, 1], ahead[i - 1, 1:, 1] + prices[i - 1] + AGAIN)
            ahead[i, 1:, 1] = np.minimum(ahead[i, 1:, 1], ahead[i - 1, :-1].min(axis=1) + prices[i - 1])
        for j in range(1, notes + 1):
            ahead[i, j, 0] = min(ahead[i, j, 0], ahead[i, j - 1].min() + MISSED)
    behind = np.full((sounds + 1, notes + 1, 2), np.inf)
    behind[sounds, notes] = 0.0
    for i in range(sounds, -1, -1):
        if i < sounds:
            behind[i] = behind[i + 1] + stray[i]
            behind[i, 1:, 1] = np.minimum(behind[i, 1:, 1], behind[i + 1, 1:, 1] + prices[i] + AGAIN)
            behind[i, :-1] = np.minimum(behind[i, :-1], (prices[i] + behind[i + 1, 1:, 1])[:, None])
        for j in range(notes - 1, -1, -1):
            behind[i, j] = np.minimum(behind[i, j], behind[i, j + 1, 0] + MISSED)
    through = np.empty((sounds, notes + 1))
    for i in range(sounds):
        first = ahead[i, :-1].min(axis=1) + prices[i] + behind[i + 1, 1:, 1]
        again = ahead[i, 1:, 1] + prices[i] + AGAIN + behind[i + 1, 1:, 1]
        through[i, :-1] = np.minimum(first, again)
        through[i, -1] = (ahead[i] + behind[i + 1]).min() + stray[i]
    price = float(ahead[sounds, notes].min())
    ranked = np.argsort(through, axis=1, kind="stable")
    best, other = ranked[:, 0], ranked[:, 1]
    rows = np.arange(sounds)
    margins = np.minimum(through[rows, other] - through[rows, best], 99.0)
    return np.where(best == notes, -1, best), np.where(other == notes, -1, other), margins, price
