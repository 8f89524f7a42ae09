"""What a recording says, as an object that a script reads: pitch in Hz, errors in cents."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from slotwright.layout.sound.heard import HeardNote, Hearing, Listened


def heard(found: Hearing) -> dict[str, Any]:
    """Tell notes, what is missing, how stiff the strings are, and every sound of the takes.

    Parameters
    ----------
    found
        What the recordings say.
    """
    return {
        "notes": [_note(note) for note in found.notes],
        "missing": [{"string": string, "fret": fret} for string, fret in found.missing],
        "strings": [
            {"string": each.string, "inharmonicity": each.inharmonicity, "inharmonicity_error": each.error}
            for each in found.stiffnesses
        ],
        "sounds": [sound for take in found.takes for sound in _sounds(take)],
        "findings": [finding.data for finding in found.findings],
    }


def _note(note: HeardNote) -> dict[str, Any]:
    return {
        "string": note.string,
        "fret": note.fret,
        "hz": note.hertz,
        "cents": note.cents,
        "doubt": note.doubt,
        "glide": note.glide,
        "inharmonicity": note.inharmonicity,
        "note": note.note,
    }


def _sounds(take: Listened) -> list[dict[str, Any]]:
    return [
        {
            "take": take.name,
            "begin": sound.pluck.begin,
            "end": sound.pluck.end,
            "string": None if (note := take.of(place)) is None else note[0],
            "fret": None if note is None else note[1],
            "left_out": sound.unfit,
            "margin": float(take.assignment.margins[place]),
        }
        for place, sound in enumerate(take.sounds)
    ]
