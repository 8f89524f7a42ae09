"""What is to be said of takes and notes: what is odd, left out or in doubt, and why nothing can be read."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from slotwright.layout.findings import Finding
from slotwright.layout.physics.temperament import CENTS_PER_NEPER
from slotwright.layout.sound import marks
from slotwright.layout.sound.assignment import GATE, SURE
from slotwright.layout.sound.heard import named
from slotwright.layout.sound.take import TakeError, clock

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from slotwright.layout.plan.plan import Plan
    from slotwright.layout.sound.assignment import Note
    from slotwright.layout.sound.heard import HeardNote, Listened, Sound

MOST_OFF: Final = 60.0  # cents that an open string may be out of tune


def on_note(note: HeardNote, listened: Listened) -> list[Finding]:
    """Say what is odd about a note that is used.

    Parameters
    ----------
    note
        The note.
    listened
        The take that has it.
    """
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


def on_take(listened: Listened, wanted: Mapping[Note, float]) -> list[Finding]:
    """Say what is to be said of a take: strays, swapped strings, doubtful readings, strings played again.

    Parameters
    ----------
    listened
        The take.
    wanted
        What the plan says of every note that was to be played [Hz].
    """
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


def refuse_out_of_tune(plan: Plan, notes: Sequence[HeardNote]) -> None:
    """Refuse open strings that are further out of tune than a setup can begin with.

    Parameters
    ----------
    plan, notes
        The plan, and what was heard.

    Raises
    ------
    TakeError
        With every such string, or with how far the whole instrument is off.
    """
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


def why_nothing(listened: Listened, wanted: Mapping[Note, float]) -> str:
    """Say why no note of a take can be used.

    Parameters
    ----------
    listened
        The take.
    wanted
        What the plan says of every note that was to be played [Hz].
    """
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
    """Name notes string by string: ``string 6 at 12, 17; all of string 4``.

    Parameters
    ----------
    notes
        The notes to name.
    order
        All that were to be played.
    """
    parts = []
    for string in dict.fromkeys(string for string, _ in notes):
        frets = ["open" if fret == 0 else str(fret) for which, fret in notes if which == string]
        whole = len(frets) == len({fret for which, fret in order if which == string})
        parts.append(f"all of string {string}" if whole else f"string {string} at {', '.join(frets)}")
    return "; ".join(parts)
