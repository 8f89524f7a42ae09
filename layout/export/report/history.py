"""What was done at the bench, pass by pass."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from slotwright.layout.export.report.facts import both, cents, pitch_name

if TYPE_CHECKING:
    from collections.abc import Sequence

    from slotwright.layout.instrument import Instrument


@dataclass(frozen=True, slots=True)
class Move:
    """What was read of one string in a pass, and what was done about it.

    Parameters
    ----------
    string, fret
        The string, and the fret where its worst note was read.
    cents
        Error of that note [cents].
    moved
        How far its saddle was moved then, back positive [mm].
    """

    string: int
    fret: int
    cents: float
    moved: float


@dataclass(frozen=True, slots=True)
class Pass:
    """One pass over the strings at the bench.

    Parameters
    ----------
    moves
        What was read and done, string by string.
    """

    moves: tuple[Move, ...]


def history(instrument: Instrument, readings: Sequence[Pass]) -> dict[str, Any] | None:
    """Tell what was read and moved at the bench, pass by pass, and where it ended; None without readings."""
    if not readings:
        return None
    passes = [
        [
            {
                "string": move.string,
                "pitch": pitch_name(instrument, move.string - 1),
                "fret": move.fret,
                "cents": cents(move.cents, 1),
                "moved": both(instrument, abs(move.moved)),
                "way": "back" if move.moved > 0 else "forward" if move.moved < 0 else "left",
            }
            for move in each.moves
        ]
        for each in readings
    ]
    last = max(readings[-1].moves, key=lambda move: abs(move.cents))
    return {"passes": passes, "ended": f"{cents(last.cents, 1)} cents on string {last.string} at fret {last.fret}"}
