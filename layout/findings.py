"""What is to be said of something that was computed or measured: data first, then words.

Made once, where it is found; a terminal, a sheet, a page and a script show the same ones.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Mapping


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that was found.

    Parameters
    ----------
    kind
        What it is, in a word or two that stay from release to release, such as ``thin wood``.
    subject
        What it is about, such as ``string 3``, ``fret 12``, ``board`` or ``bridge``.
    words
        All of it in words, with what would mend it; lengths in the unit of the plan.
    numbers
        The figures in the words by name: lengths [mm], errors of pitch [cents], parts of a whole [1].
    """

    kind: str
    subject: str
    words: str
    numbers: Mapping[str, float] = field(default_factory=dict)

    def __str__(self) -> str:
        """Give the words."""
        return self.words

    @property
    def data(self) -> dict[str, Any]:
        """All of it for a file."""
        return {"kind": self.kind, "subject": self.subject, "numbers": dict(self.numbers), "words": self.words}


def sentence(words: object) -> str:
    """Make words, or those of a finding, a sentence of their own."""
    text = str(words)
    return f"{text[0].upper()}{text[1:]}."


def strings_named(strings: list[int]) -> str:
    """Name strings by their numbers: ``string 3``, ``strings 1, 2``."""
    return f"string{'s' * (len(strings) > 1)} {', '.join(map(str, strings))}"
