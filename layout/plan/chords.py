"""Chords as players write them: one fret for each string, from the highest-numbered string to string 1."""

from __future__ import annotations

import re
from typing import Final

from pydantic import BeforeValidator

from slotwright.layout.plan.fields import WrongValueError, quoted
from slotwright.layout.plan.rows import each_of

FORMS: Final = '"x32010", or "x 10 12 12 12 10" with frets above 9'
_APART: Final = re.compile(r"[\s,-]+")
_PLACE: Final = re.compile(r"[xX]|[0-9]{1,2}")


def fingering(chord: str) -> tuple[int | None, ...]:
    """Read a chord.

    Parameters
    ----------
    chord
        A fret for each course, from the highest-numbered one to course 1, 0 open and ``x`` not played: each one
        letter, or with blanks, commas or hyphens between them.

    Returns
    -------
    tuple of int or None
        Frets from course 1 on; None where nothing is played.

    Raises
    ------
    ValueError
        The text is no chord, or nothing is played in it.
    """
    written = chord.strip()
    places = list(filter(None, _APART.split(written))) if _APART.search(written) else list(written)
    if not places or not all(_PLACE.fullmatch(place) for place in places):
        raise ValueError(f"given {quoted(chord)}; a chord is written {FORMS}")
    frets = tuple(None if place in "xX" else int(place) for place in reversed(places))
    if all(fret is None for fret in frets):
        raise ValueError(f"given {quoted(chord)}; no string is played")
    return frets


def chord_list(most: int) -> BeforeValidator:
    """Check a list of chords."""

    def check(given: object) -> tuple[str, ...]:
        if not isinstance(given, list) or not 1 <= len(given) <= most:
            shown = f"{len(given)} of them" if isinstance(given, list) and given else quoted(given)
            raise WrongValueError(
                f"given {shown}; allowed a list of 1 to {most} chords, such as [{FORMS.split(',')[0]}]"
            )

        def one(each: object) -> str:
            if not isinstance(each, str):
                raise WrongValueError(f"given {quoted(each)}; a chord is text, written {FORMS}")
            try:
                fingering(each)
            except ValueError as error:
                raise WrongValueError(str(error)) from None
            return each

        return each_of(given, one)

    return BeforeValidator(check)
