"""What was heard: sounds, notes, how stiff the strings are, and the takes they come from."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

from slotwright.layout.sound import marks

if TYPE_CHECKING:
    from slotwright.layout.findings import Finding
    from slotwright.layout.sound.assignment import Assignment, Note
    from slotwright.layout.sound.partials import Courses, Fit, Partials
    from slotwright.layout.sound.plucks import Levels, Pluck
    from slotwright.layout.sound.take import Take

_MOST_DOUBT: Final = 5.0  # cents


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
