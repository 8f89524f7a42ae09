"""The readings of a recording as their table: a new one, or a pass more of one that is there."""

from __future__ import annotations

import csv
import io
from typing import TYPE_CHECKING, Final

from slotwright.layout.errors import MeasuredError, SlotwrightError
from slotwright.layout.readings.kept import Kept
from slotwright.layout.readings.notes import MOST_PASSES, SOURCES, parse_readings

if TYPE_CHECKING:
    from pathlib import Path

    from slotwright.layout.plan.plan import Plan
    from slotwright.layout.sound.heard import HeardNote, Hearing

COLUMNS: Final = ("string", "fret", "hz", "cents", "doubt", "glide", "inharmonicity", "source", "note")


def table(found: Hearing, plan: Plan) -> bytes:
    """Write the notes of a recording as a table of readings.

    Parameters
    ----------
    found
        What the recording says.
    plan
        The plan of the instrument, which the table is read back by.

    Returns
    -------
    bytes
        One row a note; fret 0 is the open string.
    """
    written = io.StringIO()
    rows = csv.writer(written, lineterminator="\n")
    rows.writerow(COLUMNS)
    for note in found.notes:
        cells = _cells(note)
        rows.writerow([cells[column] for column in COLUMNS])
    text = written.getvalue().encode()
    parse_readings(text, plan)
    return text


def added_to(before: bytes, path: Path, found: Hearing, plan: Plan, *, moved: bool) -> tuple[bytes, int]:
    """Add the notes of a recording to a table of readings that is there.

    Parameters
    ----------
    before
        The table.
    path
        Its name, for messages.
    found
        What the recording says.
    plan
        The plan of the instrument.
    moved
        Saddles were moved since its last pass: the notes are a pass of their own.

    Returns
    -------
    bytes
        The table with every row it had, and those of the recording below.
    int
        The number of their pass.

    Raises
    ------
    SlotwrightError
        The table cannot be read, or the notes do not go with it.
    """
    try:
        there = Kept.of(before, plan)
        at = min(max(there.last, 1) + (moved and bool(there.rows)), MOST_PASSES)
        text = there.with_rows({**_cells(note), "pass": str(at)} for note in found.notes).text()
        parse_readings(text, plan)
    except MeasuredError as error:
        raise SlotwrightError(f"{path}: {error.lines[0]}; the recording was not added") from None
    return text, at


def _cells(note: HeardNote) -> dict[str, str]:
    return {
        "string": str(note.string),
        "fret": str(note.fret),
        "hz": f"{note.hertz:.5f}",
        "cents": f"{note.cents:.3f}",
        "doubt": f"{note.doubt:.3f}",
        "glide": f"{note.glide:.2f}",
        "inharmonicity": "" if note.inharmonicity is None else f"{note.inharmonicity:.4g}",
        "source": SOURCES[1],
        "note": note.note,
    }
