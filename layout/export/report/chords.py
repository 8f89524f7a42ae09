"""What the target chords sound like, in a table."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from slotwright.layout.instrument.chords import sounded, twelve
from slotwright.layout.units import cents

if TYPE_CHECKING:
    from slotwright.layout.instrument.instrument import Instrument


def chord_table(instrument: Instrument) -> dict[str, Any] | None:
    """Give the pairs of notes of every chord that are furthest off after compensation.

    Parameters
    ----------
    instrument
        The instrument.

    Returns
    -------
    dict or None
        Rows for each chord; None where no aim has chords or the strings are not known.
    """
    plan, strung = instrument.plan, instrument.strung
    if strung is None or not plan.chords:
        return None
    named = twelve(plan)
    return {
        "named": named,
        "chords": [
            {
                "written": chord.written,
                "pairs": [
                    {
                        "strings": f"{pair.low.string}, {pair.high.string}",
                        "notes": " ".join(note.name if named else str(note.fret) for note in (pair.low, pair.high)),
                        "interval": pair.name if named else "",
                        "off": [cents(off, 1) for off in (pair.before, pair.after)],
                        "pure": [cents(off, 1) for off in pair.from_pure or ()],
                    }
                    for pair in chord.furthest
                ],
            }
            for chord in sounded(plan, strung)
        ],
    }
