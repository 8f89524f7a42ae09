"""What was done at the bench, pass by pass."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from slotwright.layout.bench.advice import advise
from slotwright.layout.bench.rounds import joined
from slotwright.layout.bench.state import gather, setting_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from slotwright.layout.bench.advice import Advice
    from slotwright.layout.instrument.instrument import Instrument
    from slotwright.layout.readings.notes import Reading


@dataclass(frozen=True, slots=True)
class Visit:
    """One string in one pass.

    Parameters
    ----------
    string
        Its number.
    moved
        How far its saddle was moved before it was read, back positive [mm]; None where nobody said.
    advice
        What was read of it, and what that asked for; None where every note warbled.
    """

    string: int
    moved: float | None
    advice: Advice | None


def passes(instrument: Instrument, raw: Sequence[Reading]) -> dict[int, tuple[Visit, ...]]:
    """Follow an instrument through its passes.

    Parameters
    ----------
    instrument
        The instrument.
    raw
        What was read of it.

    Returns
    -------
    dict
        Number of the pass to what was read and done in it, string by string.
    """
    setting, found = setting_of(instrument), {}
    raw, _ = joined(raw)
    for at in sorted({reading.at for reading in raw}):
        so_far = [reading for reading in raw if reading.at <= at]
        advices = {a.string: a for a in advise(instrument.plan, setting, gather(setting, so_far))}
        strings = sorted({reading.string for reading in so_far if reading.at == at})
        found[at] = tuple(Visit(string, _moved(so_far, string), advices.get(string)) for string in strings)
    return found


def _moved(so_far: Sequence[Reading], string: int) -> float | None:
    """Tell how far a saddle was moved before its last pass: as said, or as its stated places differ."""
    own = {reading.at: reading for reading in so_far if reading.string == string}
    *before, now = (own[at] for at in sorted(own))
    if now.saddle_offset is not None and before and before[-1].saddle_offset is not None:
        return now.saddle_offset - before[-1].saddle_offset
    return now.moved or None
