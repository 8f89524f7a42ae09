"""A recording -> readings: every note with its pitch, its doubt and what else was heard."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Final

import numpy as np

from slotwright.layout.errors import SlotwrightError
from slotwright.layout.findings import Finding
from slotwright.layout.physics.temperament import CENTS_PER_NEPER
from slotwright.layout.readings.notes import target
from slotwright.layout.sound import marks
from slotwright.layout.sound.assignment import assign
from slotwright.layout.sound.heard import HeardNote, Hearing, Listened, Sound, Stiffness, named
from slotwright.layout.sound.partials import FEWEST_FOR_STIFFNESS, fit, follow, rest
from slotwright.layout.sound.pitch import first_pitch, part_of, series
from slotwright.layout.sound.played import AgainError, played_notes
from slotwright.layout.sound.plucks import levels, plucks
from slotwright.layout.sound.remarks import on_note, on_take, refuse_out_of_tune, why_nothing
from slotwright.layout.sound.take import TakeError, clock, read_take

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping, Sequence

    from numpy.typing import NDArray

    from slotwright.layout.instrument.instrument import Instrument
    from slotwright.layout.plan.plan import Plan
    from slotwright.layout.sound.assignment import Assignment, Note
    from slotwright.layout.sound.plucks import Pluck
    from slotwright.layout.sound.take import Take

    Floats = NDArray[np.float64]

_NECK: Final = 0.03  # part by which B of one note may differ from the neck's law at the least
_PLAN: Final = 0.35  # part by which the plan's B may be off, with an estimated core (measured strings: up to a third)
_NOTE_LEAST: Final = 0.25  # s that a note has to last to be read
SOUNDS: Final = 1000  # plucks that a take has at most
_SAME_EACH: Final[Callable[[Sequence[Pluck]], Iterable[Pluck]]] = lambda each: each  # noqa: E731


def hear(
    instrument: Instrument,
    take: Path | str,
    played: str | None = None,
    again: Mapping[int, Path | str] | None = None,
    watch: Callable[[Sequence[Pluck]], Iterable[Pluck]] = _SAME_EACH,
) -> Hearing:
    """Read the notes of a recording made at the bench.

    Parameters
    ----------
    instrument
        The instrument that was played.
    take
        File of the recording.
    played
        Which notes in which order, such as ``"6 5 4 3 2 1: 0 12 17"``, which is also what is taken without it.
    again
        Files of strings that were recorded again alone, by number of string. All notes of such a string are taken
        from its own file.
    watch
        Given the sounds, it hands them on one by one: so a caller can show how far the work is.

    Returns
    -------
    Hearing
        Notes, what is missing, and what else was found.

    Raises
    ------
    SlotwrightError
        Nothing can be read: the message says why and what helps.
    OSError
        A file cannot be read.
    """
    plan = instrument.plan
    order = played_notes(plan, played)
    wanted = _wanted(plan, order)
    whole = _listen(instrument, Path(take), order, wanted, watch)
    found = [whole]
    notes, findings = _notes_of(plan, whole, 0)
    replaced: set[int] = set()
    for place, (string, path) in enumerate(sorted((again or {}).items()), start=1):
        own = tuple(note for note in order if note[0] == string)
        if not own:
            raise AgainError(f"string {string}, recorded again, is not among those played")
        other = _listen(instrument, Path(path), own, wanted, watch)
        found.append(other)
        more, said = _notes_of(plan, other, place)
        notes = [note for note in notes if note.string != string] + more
        findings = [finding for finding in findings if finding.subject != f"string {string}"] + said
        replaced.add(string)
    heard = {(note.string, note.fret) for note in notes}
    if not heard:
        raise TakeError(f"{take}: {why_nothing(whole, wanted)}")
    refuse_out_of_tune(plan, notes)
    place_of = {note: place for place, note in enumerate(order)}
    notes.sort(key=lambda note: place_of[note.string, note.fret])
    missing = tuple(note for note in order if note not in heard)
    stiff = _stiffnesses(notes, instrument)
    about = tuple(finding for each in found for finding in on_take(each, wanted))
    return Hearing(tuple(found), tuple(notes), tuple(dict.fromkeys(missing)), stiff, (*about, *findings))


def _wanted(plan: Plan, order: Sequence[Note]) -> dict[Note, float]:
    wanted = {}
    for string, fret in order:
        hertz = target(plan, string, fret)
        if hertz is None:
            raise SlotwrightError(f"the plan states no pitch for string {string}; state strings[{string}].pitch")
        wanted[string, fret] = hertz
    return wanted


def _listen(
    instrument: Instrument,
    path: Path,
    order: tuple[Note, ...],
    wanted: Mapping[Note, float],
    watch: Callable[[Sequence[Pluck]], Iterable[Pluck]],
) -> Listened:
    """Find every sound of a take and which note it is."""
    take = read_take(path)
    level = levels(take)
    each = plucks(level)
    if not each:
        raise TakeError(
            f"{path}: no pluck stands out of the noise; record closer, two seconds a note and half a second of rest"
        )
    if len(each) > SOUNDS:
        raise TakeError(f"{path}: {len(each)} sounds; that is no take of single notes")
    sounds = [_sound(take, pluck, level.floor) for pluck in watch(each)]
    assignment = assign([sound.pitch for sound in sounds], order, wanted)
    sounds = _held_against_neck(sounds, assignment, instrument)
    return Listened(str(path), take, level, tuple(sounds), assignment)


def _sound(take: Take, pluck: Pluck, floor: float) -> Sound:
    """Look at one sound."""
    nothing = Sound(pluck)
    if pluck.seconds < _NOTE_LEAST:
        return nothing
    part = part_of(take, pluck)
    pitch = first_pitch(part, take.rate)
    found = None if pitch is None else series(part, take.rate, pitch)
    courses = None if found is None else follow(part, take.rate, found)
    if found is None or courses is None:
        return nothing
    partials = rest(courses, found.numbers)
    if partials is None or (partials.numbers > 3).all():
        return nothing
    law = fit(partials)
    clipped = bool(((take.clipped > pluck.begin - 0.5) & (take.clipped < pluck.end)).any())
    return Sound(
        pluck,
        courses,
        partials,
        law,
        marks.decay(courses),
        marks.between(part, take.rate, law.pitch, law.stiffness, floor),
        marks.split(courses, partials),
        clipped,
    )


def _held_against_neck(sounds: Sequence[Sound], found: Assignment, instrument: Instrument) -> list[Sound]:
    """Fit every note anew with the B that its string has over the neck: it grows as ``2^(n/6)``.

    Where its other notes tell nothing, the plan does, roughly: three partials alone would know neither.
    """
    held = list(sounds)
    for string in {string for string, _ in found.order}:
        own = [
            (place, found.order[note][1])
            for place, note in enumerate(found.notes)
            if note >= 0 and found.order[note][0] == string and not sounds[place].unfit
        ]
        for place, fret in own:
            told = [(sounds[other], at) for other, at in own if other != place]
            expected = _neck(told) or _by_plan(instrument, string)
            partials, law = sounds[place].partials, sounds[place].fit
            if expected is None or partials is None or law is None:
                continue
            grown = 2 ** (fret / 6)
            prior = (expected[0] * grown, expected[1] * grown)
            apart = abs(law.stiffness - prior[0]) / np.hypot(law.stiffness_error, prior[1])
            if apart < 4:  # else one of both is astray, and nobody knows which
                held[place] = replace(sounds[place], fit=fit(partials, prior))
    return held


def _by_plan(instrument: Instrument, string: int) -> tuple[float, float] | None:
    """Give B of an open string by its gauge and kind, and how far that may be off; None where these are not known."""
    if instrument.strung is None:
        return None
    expected = instrument.strung.bodies[string - 1].inharmonicity
    return (expected, _PLAN * expected) if expected > 0 else None


def _neck(told: Sequence[tuple[Sound, int]]) -> tuple[float, float] | None:
    """Give B of an open string by some of its notes, and its error; None where they tell nothing."""
    values, errors = [], []
    for sound, fret in told:
        law, partials = sound.fit, sound.partials
        if law is None or partials is None or len(partials.numbers) < 5:
            continue
        values.append(law.stiffness * 2 ** (-fret / 6))
        errors.append(np.hypot(law.stiffness_error, _NECK * law.stiffness) * 2 ** (-fret / 6) + 1e-8)
    if not values:
        return None
    value, weight = np.array(values), np.array(errors) ** -2
    mean = float((weight * value).sum() / weight.sum())
    scatter = max(1.0, float((weight * (value - mean) ** 2).sum()) / max(len(value) - 1, 1))
    if mean <= 0:
        return None
    return mean, max(float((scatter / weight.sum()) ** 0.5), _NECK * mean)


def _notes_of(plan: Plan, listened: Listened, place: int) -> tuple[list[HeardNote], list[Finding]]:
    """Put the sounds of each note together, and say which are not used."""
    notes, findings = [], []
    for note in dict.fromkeys(listened.assignment.order):
        own = [which for which in range(len(listened.sounds)) if listened.of(which) == note]
        good = [which for which in own if not listened.sounds[which].unfit]
        for which in own:
            sound = listened.sounds[which]
            if sound.unfit:
                words = f"{named(note)} at {clock(sound.pluck.begin)}: {sound.unfit}; left out"
                findings.append(Finding("left out", f"string {note[0]}", words, {"at": sound.pluck.begin}))
        if good:
            heard = _averaged(plan, note, good, listened, place)
            notes.append(heard)
            findings += on_note(heard, listened)
    return notes, findings


def _averaged(plan: Plan, note: Note, good: Sequence[int], listened: Listened, place: int) -> HeardNote:
    sounds = [listened.sounds[which] for which in good]
    fits = [sound.fit for sound in sounds if sound.fit is not None]
    partials = [sound.partials for sound in sounds if sound.partials is not None]
    pitch = np.array([CENTS_PER_NEPER * np.log(each.pitch) for each in fits])
    weight = np.array([each.doubt for each in fits]) ** -2.0
    mean = float((weight * pitch).sum() / weight.sum())
    doubt = float(weight.sum() ** -0.5)
    if len(fits) > 1:
        doubt = max(doubt, float(pitch.std(ddof=1)) / len(fits) ** 0.5)
    hertz = float(np.exp(mean / CENTS_PER_NEPER))
    wanted = target(plan, *note) or hertz
    told = [law for law, each in zip(fits, partials, strict=True) if len(each.numbers) >= FEWEST_FOR_STIFFNESS]
    stiffness, error = None, np.nan
    if told:
        sure = np.array([law.stiffness_error for law in told]) ** -2.0
        found = float((sure * [law.stiffness for law in told]).sum() / sure.sum())
        stiffness = _of_ends(found, plan.setup.clamped_ends)
        error = float(sure.sum() ** -0.5)
    splits = [sound.split for sound in sounds if sound.split is not None]
    if splits:  # it has two pitches, and which of them a neighbour note is to be held against nobody knows
        doubt = float(np.hypot(doubt, 0.5 * max(splits)))
    glide = float(np.mean([each.glide for each in partials]))
    remarks = (["warble"] if splits else []) + (["plucked too hard"] if glide > marks.HARD else [])
    return HeardNote(
        string=note[0],
        fret=note[1],
        hertz=hertz,
        cents=CENTS_PER_NEPER * float(np.log(hertz / wanted)),
        doubt=doubt,
        glide=glide,
        inharmonicity=stiffness,
        inharmonicity_error=error,
        note=", ".join(remarks),
        sounds=tuple(good),
        take=place,
    )


def _of_ends(fitted: float, clamped: int) -> float:
    """Give B as defined, ``pi^2 EI / (T L^2)``: clamped ends stretch the series by a little more than that.

    With ``e = sqrt(EI/T)/L`` and s clamped ends the bracket of the pitch model is, by powers of n,
    ``(1 + s e) (1 + pi^2 e^2 n^2 / 2 (1 + s e / 3))``.
    """
    return fitted / (1 + clamped * float(np.sqrt(fitted)) / (3 * np.pi))


def _stiffnesses(notes: Sequence[HeardNote], instrument: Instrument) -> tuple[Stiffness, ...]:
    found = []
    for string in range(1, len(instrument.plan.strings) + 1):
        own = [note for note in notes if note.string == string and note.inharmonicity is not None]
        if not own:
            continue
        values = np.array([(note.inharmonicity or 0.0) * 2 ** (-note.fret / 6) for note in own])
        errors = np.array([note.inharmonicity_error * 2 ** (-note.fret / 6) for note in own])
        weight = (errors**2 + (_NECK * values) ** 2) ** -1
        mean = float((weight * values).sum() / weight.sum())
        scatter = max(1.0, float((weight * (values - mean) ** 2).sum()) / max(len(own) - 1, 1))
        found.append(Stiffness(string, mean, float((scatter / weight.sum()) ** 0.5), len(own)))
    return tuple(found)
