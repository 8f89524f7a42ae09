"""Which rounds of readings were taken with nothing moved between them."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import replace
from typing import TYPE_CHECKING, Final

import numpy as np

from slotwright.layout.bench.state import doubt_of, open_doubt_of
from slotwright.layout.findings import Finding
from slotwright.layout.units import SHOWN

if TYPE_CHECKING:
    from collections.abc import Sequence

    from slotwright.layout.readings.notes import Reading

_SURE: Final = 2.0  # standard errors that two readings of one note may lie apart
_EXACT: Final = 1e-9  # cents: what lies apart by just that much does not hang on the last bit


def joined(raw: Sequence[Reading]) -> tuple[tuple[Reading, ...], tuple[Finding, ...]]:
    """Take rounds between which no saddle was moved as one.

    A round follows a move. Where two rounds state the same places of their saddles, or state none and read
    the same within their doubt on every string, nothing was moved: one is as good as the other.

    Parameters
    ----------
    raw
        What was read.

    Returns
    -------
    tuple of Reading
        The same; such rounds carry the number of the last of them.
    tuple of Finding
        Which rounds these are.
    """
    rounds: dict[int, list[Reading]] = defaultdict(list)
    for reading in raw:
        rounds[reading.at].append(reading)
    alike: list[list[int]] = []
    for at in sorted(rounds):
        if alike and _nothing_moved(rounds[alike[-1][-1]], rounds[at]):
            alike[-1].append(at)
        else:
            alike.append([at])
    last = {at: each[-1] for each in alike for at in each}
    return tuple(replace(reading, at=last[reading.at]) for reading in raw), tuple(map(_said, filter(_many, alike)))


def _many(rounds: Sequence[int]) -> bool:
    return len(rounds) > 1


def _said(rounds: Sequence[int]) -> Finding:
    *others, last = map(str, rounds)
    which = f"rounds {', '.join(others)} and {last}"
    return Finding("rounds", which, f"{which} are averaged: no saddle was moved between them")


def _nothing_moved(before: Sequence[Reading], after: Sequence[Reading]) -> bool:
    """Tell whether two rounds were read with every saddle in the same place."""
    strings = {reading.string for reading in before} & {reading.string for reading in after}
    return bool(strings) and all(
        _same_place(*([each for each in part if each.string == string] for part in (before, after)))
        for string in strings
    )


def _same_place(before: Sequence[Reading], after: Sequence[Reading]) -> bool:
    """Tell whether a string was read twice with its saddle in one place."""
    was, now = before[0].saddle_offset, after[0].saddle_offset
    if after[0].moved or (was is None) != (now is None):
        return False
    if was is not None and now is not None:
        return abs(was - now) < SHOWN
    if any(each.warbles for each in before) != any(each.warbles for each in after):
        return False  # the pickups were, perhaps
    old, new = _errors(before), _errors(after)
    return bool(old.keys() & new.keys()) and all(
        abs(np.mean(old[fret]) - np.mean(new[fret])) <= _apart(before, after, fret) + _EXACT
        for fret in old.keys() & new.keys()
    )


def _apart(before: Sequence[Reading], after: Sequence[Reading], fret: int) -> float:
    """Give how far the means of a note may lie apart in two rounds, each tuned by itself [cents]."""
    variance = 0.0
    for part in (before, after):
        own = [each for each in part if each.fret == fret and not each.warbles]
        variance += float(np.mean([doubt_of(each) ** 2 for each in own])) / len(own)
        variance += open_doubt_of(own[0]) ** 2
    return _SURE * float(np.sqrt(variance))


def _errors(readings: Sequence[Reading]) -> dict[int, list[float]]:
    heard = defaultdict(list)
    for reading in readings:
        if not reading.warbles:
            heard[reading.fret].append(reading.error)
    return heard
