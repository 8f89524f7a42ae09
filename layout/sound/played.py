"""Which notes a take is said to hold, in which order."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final

from slotwright.layout.errors import SlotwrightError
from slotwright.layout.plan.fields import quoted

if TYPE_CHECKING:
    from collections.abc import Iterator

    from slotwright.layout.plan.plan import Plan

USUAL: Final = (0, 12, 17)
MOST: Final = 500
_FORM: Final = 'write it like "6 5 4 3 2 1: 0 12 17" or "6-1: 0-22", parts separated by ;'
_WORD: Final = re.compile(r"(\d{1,2})(?:-(\d{1,2}))?")


class PlayedError(SlotwrightError, ValueError):
    """An order of notes that cannot be understood."""


class AgainError(PlayedError):
    """A string recorded again that was not to be played at all."""


def played_notes(plan: Plan, text: str | None) -> tuple[tuple[int, int], ...]:
    """Give the notes that are said to be played, in their order.

    Parameters
    ----------
    plan
        The plan; strings and frets are its own.
    text
        Strings, a colon and frets, such as ``6 5 4 3 2 1: 0 12 17``; ``6-1: 0-22`` counts; more of it after
        a semicolon. None: lowest string first, open, 12 and 17, as far as the board has them.

    Returns
    -------
    tuple of (int, int)
        String and fret of every note.

    Raises
    ------
    PlayedError
        It is not understood, or the instrument has no such string or fret.
    """
    strings, frets = len(plan.strings), plan.frets.count
    if text is None:
        usual = [fret for fret in USUAL if fret <= frets]
        return tuple((string, fret) for string in range(strings, 0, -1) for fret in usual)
    found: list[tuple[int, int]] = []
    for part in filter(str.strip, text.replace(",", " ").split(";")):
        left, colon, right = part.partition(":")
        if not colon:
            raise PlayedError(f"given {quoted(part.strip())}; {_FORM}")
        which = list(_counted(left, 1, strings, "string"))
        at = list(_counted(right, 0, frets, "fret"))
        found += [(string, fret) for string in which for fret in at]
    if not found:
        raise PlayedError(f"names no note; {_FORM}")
    if len(found) > MOST:
        raise PlayedError(f"{len(found)} notes; a take has at most {MOST}")
    return tuple(found)


def _counted(text: str, low: int, high: int, what: str) -> Iterator[int]:
    words = text.split()
    if not words:
        raise PlayedError(f"names no {what}; {_FORM}")
    for word in words:
        match = _WORD.fullmatch(word)
        if match is None:
            raise PlayedError(f"given {quoted(word)} for a {what}; {_FORM}")
        first = int(match[1])
        last = int(match[2]) if match[2] else first
        for number in (first, last):
            if not low <= number <= high:
                raise PlayedError(f"{what} {number}; the plan has {low} to {high}")
        yield from range(first, last + 1) if last >= first else range(first, last - 1, -1)
