"""What a plan's target chords sound like: every pair of their notes, before and after compensation."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import combinations
from typing import TYPE_CHECKING, Final

import numpy as np

from slotwright.layout.findings import Finding, strings_named
from slotwright.layout.physics.intervals import interval_name, note_name, pure, semitones
from slotwright.layout.units import cents

if TYPE_CHECKING:
    from collections.abc import Iterator

    from slotwright.layout.instrument.stringing import Strung
    from slotwright.layout.plan.plan import Plan

FURTHEST: Final = 3  # pairs of a chord that are worth a line each
# Speaking fraction, between frets 4 and 5 of twelve: nobody places a saddle by what lies below (from memory).
LOW: Final = 2 ** (-4.5 / 12)


@dataclass(frozen=True, slots=True)
class Note:
    """One string in a chord.

    Parameters
    ----------
    string
        Its number.
    fret
        Where it is pressed; 0 open.
    frequency
        What it should sound [Hz]: the open string's pitch, raised by the fret's interval.
    before, after
        How far it is off with both offsets zero and with those found [cents]; open strings are in tune.
    """

    string: int
    fret: int
    frequency: float
    before: float
    after: float

    @property
    def name(self) -> str:
        """Name of the nearest note of twelve divisions."""
        return note_name(self.frequency)


@dataclass(frozen=True, slots=True)
class Pair:
    """Two notes that sound together.

    Parameters
    ----------
    low, high
        The notes, by what they should sound; of a unison the lower-numbered string is `low`.
    interval
        Between what they should sound [cents].
    pure
        The pure ratio nearest to it; None where the frets do not divide the octave by twelve.
    """

    low: Note
    high: Note
    interval: float
    pure: tuple[int, int] | None

    @property
    def before(self) -> float:
        """How much wider than it should be the interval is before compensation [cents]."""
        return self.high.before - self.low.before

    @property
    def after(self) -> float:
        """The same after compensation [cents]."""
        return self.high.after - self.low.after

    @property
    def steps(self) -> int:
        """The interval in semitones, the nearest whole number."""
        return semitones(self.interval)

    @property
    def name(self) -> str:
        """What the interval is called."""
        return interval_name(self.steps)

    @property
    def from_pure(self) -> tuple[float, float] | None:
        """How much wider than the pure one the interval is before and after compensation [cents]."""
        if self.pure is None:
            return None
        wider = self.interval - 1200 * math.log2(self.pure[0] / self.pure[1])
        return wider + self.before, wider + self.after


@dataclass(frozen=True, slots=True)
class Chord:
    """A chord on the instrument.

    Parameters
    ----------
    written
        As the plan has it.
    notes
        Its notes, string 1 first; of a course all strings.
    pairs
        All pairs of notes, the one furthest off after compensation first.
    """

    written: str
    notes: tuple[Note, ...]
    pairs: tuple[Pair, ...]

    @property
    def furthest(self) -> tuple[Pair, ...]:
        """The pairs that a table shows."""
        return self.pairs[:FURTHEST]


def twelve(plan: Plan) -> bool:
    """Tell whether the frets divide the octave by twelve, so that intervals have names and pure ratios."""
    return plan.frets.cents is None and plan.frets.divisions == 12


def sounded(plan: Plan, strung: Strung) -> tuple[Chord, ...]:
    """Sound every chord of a plan's aims.

    Parameters
    ----------
    plan
        The plan.
    strung
        Its strings on its neck.

    Returns
    -------
    tuple of Chord
        Each chord once, at the strings' own pitches; errors are against the plan's own division.
    """
    return tuple(_chord(plan, strung, written) for written in plan.chords)


def _chord(plan: Plan, strung: Strung, written: str) -> Chord:
    notes = []
    for place, fret in enumerate(plan.fingered(written)):
        if fret is None:
            continue
        raised = 2 ** (float(plan.cents[fret]) / 1200)
        off = [float(errors.total[place, fret - 1]) if fret else 0.0 for errors in (strung.before, strung.after)]
        notes.append(Note(place + 1, fret, strung.bodies[place].frequency * raised, *off))
    pairs = [_pair(plan, *two) for two in combinations(notes, 2)]
    return Chord(written, tuple(notes), tuple(sorted(pairs, key=lambda pair: -abs(pair.after))))


def _pair(plan: Plan, one: Note, other: Note) -> Pair:
    low, high = (other, one) if other.frequency < one.frequency * (1 - 1e-9) else (one, other)
    interval = 1200 * math.log2(high.frequency / low.frequency)
    return Pair(low, high, interval, pure(semitones(interval)) if twelve(plan) else None)


def chord_findings(plan: Plan, strung: Strung) -> Iterator[Finding]:
    """Name the strings that chords fret so low that their saddles hardly answer.

    Parameters
    ----------
    plan, strung
        The plan and its strings on its neck.

    Yields
    ------
    Finding
        One for all of them.
    """
    aims = (aim for aim in plan.compensation.aim if aim.chords)
    served = {string - 1 for aim in aims for string in aim.strings or range(1, len(plan.strings) + 1)}
    highest = [int(np.flatnonzero(row)[-1]) for row in strung.weights]
    low = [place for place in sorted(served) if strung.fretting.fractions[highest[place]] > LOW]
    if not low:
        return
    off = [float(strung.after.total[place, plan.action_fret - 1]) for place in low]
    named = strings_named([place + 1 for place in low])
    most = max(float(abs(strung.sensitivity[place, highest[place]])) for place in low)
    frets = [highest[place] + 1 for place in low]
    yield Finding(
        "low chords",
        named,
        f"no chord frets {named} further up than fret {', '.join(map(str, frets))}: there 1 mm of saddle changes "
        f"the pitch by {most:.1f} cents at most, and fret {plan.action_fret} is then off by "
        f"{', '.join(map(cents, off))} cents; add chords further up, or aim at frets",
        {
            "cents_per_mm": most,
            **{f"string_{place + 1}_fret": fret for place, fret in zip(low, frets, strict=True)},
            **{f"string_{place + 1}_cents": each for place, each in zip(low, off, strict=True)},
        },
    )
