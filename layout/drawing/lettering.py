"""How wide letters come out, and how a text is made to fit."""

from __future__ import annotations

import unicodedata
from functools import lru_cache


def cleaned(text: str) -> str:
    """Take control characters, line breaks and needless blanks out of a text."""
    return " ".join("".join(letter if letter.isprintable() else " " for letter in text).split())


def text_width(text: str, height: float) -> float:
    """Estimate how wide a text comes out.

    Parameters
    ----------
    text
        One line.
    height
        Height of its capitals [mm].

    Returns
    -------
    float
        Width [mm], on the wide side: a reader's font is not known beforehand.
    """
    return height * sum(map(_letter_width, text))


def fitted(text: str, width: float, height: float, least: float = 1.8, *, tail: str = "") -> tuple[str, float]:
    """Fit a text into a width: smaller letters first, then fewer.

    Parameters
    ----------
    text
        One line.
    width
        Room [mm].
    height, least
        Wanted and smallest height of capitals [mm].
    tail
        What follows the text and is kept whole.

    Returns
    -------
    tuple
        Text and height.
    """
    needed = text_width(text + tail, 1.0)
    if needed * height <= width:
        return text + tail, height
    if needed * least <= width:
        return text + tail, width / needed
    while text and text_width(f"{text}\u2026{tail}", least) > width:
        text = text[:-1]
    return f"{text.rstrip()}\u2026{tail}", least


def wrapped(text: str, width: float, height: float) -> list[str]:
    """Break a text into lines.

    Parameters
    ----------
    text
        One paragraph.
    width
        Room [mm].
    height
        Height of capitals [mm].

    Returns
    -------
    list of str
        Lines that fit; a single word too long for a line is cut.
    """
    lines, used, blank = [""], 0.0, text_width(" ", height)
    for word in text.split():
        more = text_width(word, height) + (blank if lines[-1] else 0.0)
        if used + more <= width:
            lines[-1], used = f"{lines[-1]} {word}".strip(), used + more
        else:
            lines.append(fitted(word, width, height, height)[0])
            used = text_width(lines[-1], height)
    return [line for line in lines if line]


@lru_cache(maxsize=4096)
def _letter_width(letter: str) -> float:
    """Advance of a letter over the height of capitals, after a wide sans-serif face."""
    if unicodedata.east_asian_width(letter) in "WF":
        return 1.45
    if letter in " .,:;!|'ijl()[]/":
        return 0.5
    if letter in "mwMW@%\u2014\u2026":
        return 1.35
    return 0.95 if letter.isupper() else 0.86
