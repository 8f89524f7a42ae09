"""What can go wrong, said so that a maker can mend it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, TypeVar

if TYPE_CHECKING:
    from collections.abc import Iterable

_Thing = TypeVar("_Thing")

_MOST_LINES: Final = 40  # of complaint; one wrong column would fill screens


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing wrong with a plan or with a file of measurements.

    Parameters
    ----------
    where
        Key path in the plan, such as ``strings[2].gauge``, or line and column of a table.
    what
        What was given and what is allowed.
    mend
        What to do about it; empty where that is plain.
    """

    where: str
    what: str
    mend: str = ""

    def __str__(self) -> str:
        """Give the fault as one line."""
        text = f"{self.where}: {self.what}" if self.where else self.what
        return f"{text}; {self.mend}" if self.mend else text


class SlotwrightError(Exception):
    """Anything slotwright refuses; the message says what, where and what to do."""


class LengthError(SlotwrightError, ValueError):
    """A text or number that is not a length."""


class FaultyError(SlotwrightError, ValueError):
    """A file that a maker wrote and that has faults.

    Parameters
    ----------
    faults
        All that was found; the message has one line for each, but no screens of them.
    """

    def __init__(self, faults: Iterable[Fault]) -> None:
        self.faults = tuple(faults)
        self.lines = tuple(str(fault) for fault in self.faults[:_MOST_LINES])
        if (more := len(self.faults) - _MOST_LINES) > 0:
            self.lines += (f"and {more} more",)
        super().__init__("\n".join(self.lines))


class PlanError(FaultyError):
    """A plan that cannot be drawn."""


class MeasuredError(FaultyError):
    """A file of measurements that cannot be understood."""


class MillError(FaultyError):
    """A board that cannot be milled as its plan says, or a program that would spoil it."""


class SheetError(SlotwrightError, ValueError):
    """A sheet that this plan does not describe."""


def needed(value: _Thing | None, lacks: str | None) -> _Thing:
    """Give what a drawing cannot do without.

    Parameters
    ----------
    value
        What a plan may have left out.
    lacks
        What to say then.

    Returns
    -------
    object
        The same, which is there.

    Raises
    ------
    SheetError
        It is not.
    """
    if value is None:
        raise SheetError(lacks or "the plan says too little")
    return value


class PaperError(SlotwrightError, ValueError):
    """A paper, or a way of printing, that does not serve."""


class KeptError(SlotwrightError, FileExistsError):
    """A file that exists already and was not to be replaced."""
