"""A recording to a page: what was heard, so that one sees why a note was left out."""

from __future__ import annotations

from importlib.metadata import version
from importlib.resources import files
from typing import TYPE_CHECKING, Any

from jinja2 import Environment, FunctionLoader, StrictUndefined

from slotwright import templates
from slotwright.layout.export.report.heard import level_rows, partials_picture, pitch_picture
from slotwright.layout.findings import sentence
from slotwright.layout.sound.remarks import listed
from slotwright.layout.units import cents

if TYPE_CHECKING:
    from slotwright.layout.instrument.instrument import Instrument
    from slotwright.layout.sound.heard import HeardNote, Hearing, Listened

_MOST_NOTES = 60  # with pictures of their own: a page of every fret would be too long to load


def page(instrument: Instrument, found: Hearing) -> bytes:
    """Write the evidence of a recording.

    Parameters
    ----------
    instrument
        What was recorded.
    found
        What was heard.

    Returns
    -------
    bytes
        A whole HTML file in UTF-8 that fetches nothing and runs nothing.
    """
    environment = Environment(
        autoescape=True,
        loader=FunctionLoader(lambda name: (files(templates) / name).read_text("utf-8")),
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    return environment.get_template("evidence.html").render(_content(instrument, found)).encode()


def _content(instrument: Instrument, found: Hearing) -> dict[str, Any]:
    order = [note for take in found.takes for note in take.assignment.order]
    pictured = len(found.notes) <= _MOST_NOTES
    return {
        "title": instrument.title,
        "version": version("slotwright"),
        "takes": [
            {"name": take.name.replace("\\", "/").rsplit("/", 1)[-1], "rows": level_rows(take)}
            for take in found.takes
        ],
        "findings": [sentence(finding) for finding in found.findings],
        "missing": listed(found.missing, order),
        "strings": [
            {
                "string": string,
                "stiffness": next(
                    (
                        f"{1e6 * s.inharmonicity:.1f}e-6 \u00b1 {100 * s.error / s.inharmonicity:.0f} %"
                        for s in found.stiffnesses
                        if s.string == string and s.inharmonicity
                    ),
                    "",
                ),
                "notes": [_note(found.takes[note.take], note, pictured=pictured) for note in own],
            }
            for string in sorted({note.string for note in found.notes}, reverse=True)
            for own in [[note for note in found.notes if note.string == string]]
        ],
        "pictured": pictured,
        "splits": [
            (f"string {note.string}, {'open' if note.fret == 0 else f'fret {note.fret}'}", f"{sound.split:.1f}")
            for note in found.notes
            for sound in [found.takes[note.take].sounds[note.sounds[0]]]
            if sound.split is not None
        ],
    }


def _note(take: Listened, note: HeardNote, *, pictured: bool) -> dict[str, Any]:
    sound = take.sounds[note.sounds[0]]
    count = 0 if sound.partials is None else len(sound.partials.numbers)
    return {
        "name": "open" if note.fret == 0 else f"fret {note.fret}",
        "hertz": f"{note.hertz:.3f}",
        "cents": cents(note.cents),
        "doubt": f"{note.doubt:.2f}",
        "glide": cents(note.glide, 1),
        "stiffness": "" if note.inharmonicity is None else f"{1e6 * note.inharmonicity:.0f}e-6",
        "partials": count,
        "plucks": len(note.sounds),
        "remark": note.note,
        "law": partials_picture(sound) if pictured else "",
        "after": pitch_picture(sound) if pictured else "",
    }
