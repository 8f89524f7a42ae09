"""A recording -> readings: every note with its pitch, its doubt and what else was heard."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Final

import numpy as np

from slotwright.layout.errors import SlotwrightError
from slotwright.layout.findings import Finding
from slotwright.layout.physics.temperament import CENTS_PER_NEPER
from slotwright.layout.readings.notes import target
from slotwright.layout.sound import marks
from slotwright.layout.sound.assignment import GATE, SURE, assign
from slotwright.layout.sound.partials import FEWEST_FOR_STIFFNESS, fit, follow, rest
from slotwright.layout.sound.pitch import first_pitch, part_of, series
from slotwright.layout.sound.played import AgainError, played_notes
from slotwright.layout.sound.plucks import levels, plucks
from slotwright.layout.sound.take import TakeError, clock, read_take

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping, Sequence

    from numpy.typing import NDArray

    from slotwright.layout.instrument.instrument import Instrument
    from slotwright.layout.plan.plan import Plan
    from slotwright.layout.sound.assignment import Assignment
    from slotwright.layout.sound.partials import Courses, Fit, Partials
    from slotwright.layout.sound.plucks import Levels, Pluck
    from slotwright.layout.sound.take import Take

    Floats = NDArray[np.float64]
    Note = tuple[int, int]

MOST_OFF: Final = 60.0  # cents that an open string may be out of tune
_NECK: Final = 0.03  # part by which B of one note may differ from the neck's law at the least
_PLAN: Final = 0.35  # part by which the plan's B may be off, with an estimated core (measured strings: up to a third)
_NOTE_LEAST: Final = 0.25  # s that a note has to last to be read
_MOST_DOUBT: Final = 5.0  # cents
SOUNDS: Final = 1000  # plucks that a take has at most
_SAME_EACH: Final[Callable[[Sequence[Pluck]], Iterable[Pluck]]] = lambda each: each  # noqa: E731


@dataclass(frozen=True, slots=True)
class Sound:
    """One sound of a take and what it was found to be.

    Parameters
    ----------
    pluck
        When it sounds.
    courses, partials, fit
        Its partials over time, at rest, and their law; None where it is no note.
    decay
        What it loses in a second [dB].
    buzz
        What sounds between its partials [dB against all of it].
    split
        By how much its partials are double [cents]; None where they are not.
    clipped
        It is too loud for the recorder.
    """

    pluck: Pluck
    courses: Courses | None = None
    partials: Partials | None = None
    fit: Fit | None = None
    decay: float = 0.0
    buzz: float = -99.0
    split: float | None = None
    clipped: bool = False

    @property
    def pitch(self) -> float | None:
        """Its pitch [Hz]; None where it is no note."""
        return None if self.fit is None else self.fit.pitch

    @property
    def unfit(self) -> str:
        """Why it is not used; empty where it may be."""
        if self.fit is None:
            return "no note"
        if self.clipped:
            return "too loud for the recorder"
        if self.decay > marks.DEAD:
            return "dead: it dies within a second"
        if self.buzz > marks.BUZZ:
            return "buzzing"
        if self.fit.doubt > _MOST_DOUBT:
            return f"its pitch is in doubt by {self.fit.doubt:.0f} cents"
        return ""


@dataclass(frozen=True, slots=True)
class HeardNote:
    """One note as a take has it; repeats are averaged.

    Parameters
    ----------
    string, fret
        Which; fret 0 is the open string.
    hertz
        Its first partial at amplitude zero [Hz].
    cents
        Against the plan [cents].
    doubt
        Standard error [cents].
    glide
        By how much it stands above that after the pluck [cents].
    inharmonicity
        B of the note as fretted; None where too few partials tell.
    inharmonicity_error
        Its standard error.
    note
        What else was heard.
    sounds
        Which sounds of the take it is, from 0.
    take
        Which take, from 0.
    """

    string: int
    fret: int
    hertz: float
    cents: float
    doubt: float
    glide: float
    inharmonicity: float | None
    inharmonicity_error: float
    note: str
    sounds: tuple[int, ...]
    take: int = 0


@dataclass(frozen=True, slots=True)
class Stiffness:
    """How stiff a string was heard to be: B of the open string, from all of its notes.

    Parameters
    ----------
    string
        Which.
    inharmonicity, error
        B and its standard error.
    notes
        How many told it.
    """

    string: int
    inharmonicity: float
    error: float
    notes: int


@dataclass(frozen=True, slots=True)
class Listened:
    """One take with all its sounds.

    Parameters
    ----------
    name
        Of the file.
    take, levels
        The recording and its level.
    sounds
        All sounds.
    assignment
        Which of them is which note.
    """

    name: str
    take: Take
    levels: Levels
    sounds: tuple[Sound, ...]
    assignment: Assignment

    def of(self, sound: int) -> Note | None:
        """Give which note a sound is; None for a stray."""
        place = int(self.assignment.notes[sound])
        return None if place < 0 else self.assignment.order[place]


@dataclass(frozen=True, slots=True)
class Hearing:
    """All that recordings say.

    Parameters
    ----------
    takes
        The takes that were heard.
    notes
        Every note that can be used, string by string as declared.
    missing
        Notes that were to be played and cannot be used.
    stiffnesses
        How stiff the strings are.
    findings
        What is to be said, about the take, strings and notes.
    """

    takes: tuple[Listened, ...]
    notes: tuple[HeardNote, ...]
    missing: tuple[Note, ...]
    stiffnesses: tuple[Stiffness, ...]
    findings: tuple[Finding, ...] = field(default=())


def named(note: Note) -> str:
    """Say which note."""
    string, fret = note
    return f"string {string} open" if fret == 0 else f"string {string} fret {fret}"


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
        raise TakeError(f"{take}: {_nothing(whole, wanted)}")
    _refuse_out_of_tune(plan, notes)
    place_of = {note: place for place, note in enumerate(order)}
    notes.sort(key=lambda note: place_of[note.string, note.fret])
    missing = tuple(note for note in order if note not in heard)
    stiff = _stiffnesses(notes, instrument)
    about = tuple(finding for each in found for finding in _about(each, wanted))
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
            findings += _remarks(heard, listened)
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


def _remarks(note: HeardNote, listened: Listened) -> list[Finding]:
    """Say what is odd about a note that is used."""
    subject, name = f"string {note.string}", named((note.string, note.fret))
    found = []
    for sound in note.sounds:
        heard = listened.sounds[sound]
        if heard.split is not None:
            words = (
                f"{name} warbles: its partials are double, {heard.split:.1f} cents apart; magnets may pull, "
                "lower the pickups and record it again"
            )
            found.append(Finding("warble", subject, words, {"split": heard.split}))
            break
    if note.glide > marks.HARD:
        words = f"{name} falls by {note.glide:.1f} cents after the pluck: plucked too hard; pluck softer"
        found.append(Finding("hard pluck", subject, words, {"glide": note.glide}))
    return found


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


def _about(listened: Listened, wanted: Mapping[Note, float]) -> list[Finding]:
    """Say what is to be said of a take: strays, swapped strings, doubtful readings, notes that are missing."""
    found = list(listened.take.findings)
    assignment = listened.assignment
    if assignment.swapped:
        strings = " and ".join(map(str, assignment.swapped))
        if len(assignment.swapped) > 2:
            words = "the strings were played in the other order; they are told by their pitch"
        else:
            words = f"strings {strings} look swapped; they are told by their pitch"
        found.append(Finding("order", "take", words))
    for which, sound in enumerate(listened.sounds):
        if listened.of(which) is None:
            words = f"{clock(sound.pluck.begin)}: {_stray(sound, wanted)}; left out"
            found.append(Finding("stray", "take", words, {"at": sound.pluck.begin}))
    found += _played_again(listened)
    for which, margin in enumerate(assignment.margins):
        note = listened.of(which)
        other = int(assignment.others[which])
        if margin < SURE and (note is not None or other >= 0) and listened.sounds[which].fit is not None:
            names = ["no note that was asked for" if each is None else named(each) for each in (note, None)]
            if other >= 0:
                names[1] = named(assignment.order[other])
            string = (note or assignment.order[other])[0]
            words = (
                f"{clock(listened.sounds[which].pluck.begin)}: {names[0]}, or {names[1]}; record string {string} "
                "again by itself"
            )
            found.append(Finding("in doubt", f"string {string}", words, {"margin": float(margin)}))
    return found


def _played_again(listened: Listened) -> list[Finding]:
    """Name the strings that were played, perhaps once more, after others than was declared."""
    found: dict[int, Finding] = {}
    before: list[int] = []
    for sound, place in zip(listened.sounds, listened.assignment.notes, strict=True):
        if 0 <= place < max(before, default=0):
            string, _ = listened.assignment.order[place]
            when = clock(sound.pluck.begin)
            words = f"string {string} was played at {when}, after others; it is told by its pitch"
            if place in before:
                words = f"string {string} was played again at {when}; averaged with what was heard before"
            found.setdefault(string, Finding("again", f"string {string}", words, {"at": sound.pluck.begin}))
        before.append(int(place))
    return list(found.values())


def _stray(sound: Sound, wanted: Mapping[Note, float]) -> str:
    if sound.pitch is None:
        return "a knock or noise"
    near = min(wanted, key=lambda note: abs(np.log(wanted[note] / (sound.pitch or 1.0))))
    off = CENTS_PER_NEPER * float(np.log(sound.pitch / wanted[near]))
    like = f", near {named(near)}" if abs(off) < GATE else ""
    return f"a note of {sound.pitch:.1f} Hz{like}, that was not asked for then"


def _refuse_out_of_tune(plan: Plan, notes: Sequence[HeardNote]) -> None:
    off = {note.string: note.cents for note in notes if note.fret == 0 and abs(note.cents) > MOST_OFF}
    if not off:
        return
    if len(off) > 1 and len(off) >= 0.6 * len(plan.strings) and len({cents > 0 for cents in off.values()}) == 1:
        middle = float(np.median(list(off.values())))
        way = "sharp" if middle > 0 else "flat"
        raise TakeError(
            f"the whole instrument stands {abs(middle):.0f} cents {way} of the plan's pitch; tune first, or change "
            "strings[...].pitch in the plan"
        )
    which = ", ".join(f"string {string} by {cents:+.0f}".replace("-", "\u2212") for string, cents in off.items())
    raise TakeError(f"open strings out of tune, in cents: {which}; tune first, or change the plan's pitch")


def _nothing(listened: Listened, wanted: Mapping[Note, float]) -> str:
    """Say why no note of a take can be used."""
    heard = [sound for sound in listened.sounds if sound.fit is not None]
    if not heard:
        return (
            f"none of the sounds heard ({len(listened.sounds)}) is a single plucked note; damp the other strings and "
            "let each note ring for two seconds"
        )
    reasons = list(dict.fromkeys(sound.unfit for sound in heard if sound.unfit))
    if all(sound.unfit for sound in heard):
        clipped = next((str(finding) for finding in listened.take.findings if finding.kind == "clipped"), "")
        return f"none of the notes heard ({len(heard)}) can be used: {clipped or '; '.join(reasons[:3])}"
    lowest, highest = min(wanted.values()), max(wanted.values())
    return (
        f"none of the notes heard ({len(heard)}) can be taken for one of the plan's from {lowest:.0f} to "
        f"{highest:.0f} Hz; is it the right plan, and the order that was played?"
    )


def listed(notes: Sequence[Note], order: Sequence[Note]) -> str:
    """Name notes string by string: ``string 6 at 12 and 17, all of string 4``."""
    parts = []
    for string in dict.fromkeys(string for string, _ in notes):
        frets = ["open" if fret == 0 else str(fret) for which, fret in notes if which == string]
        whole = len(frets) == len({fret for which, fret in order if which == string})
        parts.append(f"all of string {string}" if whole else f"string {string} at {', '.join(frets)}")
    return "; ".join(parts)
