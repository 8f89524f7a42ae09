"""How one value of a plan is checked: what it may be and how a refusal reads."""

from __future__ import annotations

import math
from collections.abc import Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from pydantic import BaseModel, BeforeValidator
from pydantic_core import core_schema

from slotwright.layout.errors import Fault, LengthError
from slotwright.layout.names import ONE_TABLE, SEVERAL_TABLES
from slotwright.layout.physics import strings
from slotwright.layout.units import MM_PER_INCH, Unit, is_bare, parse_length, show

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from pydantic import GetCoreSchemaHandler
    from pydantic_core import CoreSchema

Wrong = tuple[tuple[int, ...], str, str]  # where in a list, what, mend

_UNITS: ContextVar[Unit] = ContextVar("units of bare lengths", default="mm")
_SHOWN = 60  # characters of a wrong value that are worth repeating


class WrongValueError(ValueError):
    """One value is wrong, or several of a list are.

    Parameters
    ----------
    what
        What was given and what is allowed.
    mend
        What to do about it.
    each
        For a list: where in it (from 0, one step for each list inside), what and mend of all that is wrong.
    """

    def __init__(self, what: str, mend: str = "", each: Sequence[Wrong] = ()) -> None:
        self.each: tuple[Wrong, ...] = tuple(each) or (((), what, mend),)
        super().__init__(what)


class WrongTableError(ValueError):
    """Several faults of one table, each with its key path inside that table."""

    def __init__(self, faults: tuple[Fault, ...]) -> None:
        self.faults = faults
        super().__init__("faults")


@contextmanager
def reading_in(units: Unit) -> Iterator[None]:
    """Take bare lengths to be in these units while a plan is checked."""
    before = _UNITS.set(units)
    try:
        yield
    finally:
        _UNITS.reset(before)


def quoted(given: object) -> str:
    """Repeat a given value in a message, shortened where it is long."""
    if isinstance(given, bool):
        return "true" if given else "false"
    text = f'"{given}"' if isinstance(given, str) else str(given)
    text = text.encode("unicode_escape").decode("ascii") if not text.isprintable() else text
    return text if len(text) <= _SHOWN else text[: _SHOWN - 3] + "..."


class LengthField(BeforeValidator):
    """Marks a value, or each value of a tuple, as a length in mm."""


@dataclass(frozen=True, slots=True)
class OrTable:
    """Marks a list of tables that may be stated as one other table; the value is then what is made of that.

    Parameters
    ----------
    table
        The kind of that table.
    made
        Makes the list of one that is checked.
    """

    table: type[BaseModel]
    made: Callable[[Any], tuple[Any, ...]]

    def __get_pydantic_core_schema__(self, source: object, handler: GetCoreSchemaHandler) -> CoreSchema:
        """Check one or the other: a tagged union, so that the faults of the wrong one are not told."""
        one = core_schema.no_info_after_validator_function(self.made, handler.generate_schema(self.table))
        return core_schema.tagged_union_schema(
            {ONE_TABLE: one, SEVERAL_TABLES: handler(source)},
            discriminator=lambda given: ONE_TABLE if isinstance(given, Mapping | self.table) else SEVERAL_TABLES,
        )


@dataclass(frozen=True, slots=True)
class LengthCheck:
    """Checks one length.

    Parameters
    ----------
    low, high
        Limits [mm].
    gauge
        It is the gauge of a string, which players give in thousandths of an inch.
    """

    low: float
    high: float
    gauge: bool = False

    def __call__(self, given: object) -> float:
        """Give the length [mm]; raises WrongValueError."""
        units = _UNITS.get()
        try:
            length = parse_length(given, units)
        except LengthError as error:
            raise WrongValueError(
                str(error), "one length is wanted here" if isinstance(given, list) else ""
            ) from None
        if self.low <= length <= self.high:
            return length
        raise WrongValueError(
            f"given {quoted(given)}{f' {units}' if is_bare(given) else ''}; "
            f"allowed {show(self.low, units)} to {show(self.high, units)} {units}",
            self._mend(given, units) if is_bare(given) else "",
        )

    def _mend(self, given: object, units: Unit) -> str:
        number = parse_length(given, "mm")
        if self.gauge and 5 <= number <= 200:
            # Players name a string by its thousandths of an inch.
            text = f"{number / 1000:.4f}".lstrip("0")
            return f"did you mean {text.removesuffix('0')} in?"
        other: Unit = "in" if units == "mm" else "mm"
        in_other = number * MM_PER_INCH if other == "in" else number
        if self.low <= in_other <= self.high:
            return f'did you mean "{number:g} {other}"?'
        return ""


def mm(low: float, high: float) -> LengthField:
    """Check a length.

    Parameters
    ----------
    low, high
        Limits [mm].

    Returns
    -------
    LengthField
        Validator that yields the length [mm].
    """
    return LengthField(LengthCheck(low, high))


def mm_or(word: str, low: float, high: float) -> LengthField:
    """Check a length [mm] that one word may stand for."""
    check = LengthCheck(low, high)

    def either(given: object) -> float | str:
        if not isinstance(given, str) or any(letter.isdigit() for letter in given):
            return check(given)
        if given != word:
            raise WrongValueError(f'given {quoted(given)}; allowed a length or "{word}"', nearest(given, (word,)))
        return word

    return LengthField(either)


def gauge() -> LengthField:
    """Check the diameter of a string or of its core."""
    return LengthField(LengthCheck(0.1, 6.0, gauge=True))


def number(low: float, high: float) -> BeforeValidator:
    """Check a plain number between two limits."""
    return BeforeValidator(lambda given: check_number(given, low, high))


def inharmonicity() -> BeforeValidator:
    """Check the inharmonicity of a string's partials: a plain number, some 1e-5 to 1e-3."""
    least, most = 1e-7, 0.01

    def check(given: object) -> float:
        if isinstance(given, int | float) and most < given < most * 1e6:
            # Tables print it in millionths.
            what = f"given {quoted(given)}; allowed a number from {least:g} to {most:g}"
            raise WrongValueError(what, f"did you mean {given:g}e-6?")
        return check_number(given, least, most)

    return BeforeValidator(check)


def whole(low: int, high: int) -> BeforeValidator:
    """Check a whole number between two limits."""
    return BeforeValidator(lambda given: check_whole(given, low, high))


def words(most: int, *, empty: bool = True) -> BeforeValidator:
    """Check a text of limited length."""

    def check(given: object) -> str:
        least = "at most" if empty else "1 to"
        if not isinstance(given, str):
            mend = f'put it in quotes: "{given}"' if not isinstance(given, list | dict) else ""
            raise WrongValueError(f"given {quoted(given)}; allowed text of {least} {most} characters", mend)
        seen = any(letter.isprintable() and not letter.isspace() for letter in given)
        if len(given) > most or not (empty or seen):
            raise WrongValueError(f"given {quoted(given)}; allowed text of {least} {most} characters")
        return given

    return BeforeValidator(check)


def yes_no() -> BeforeValidator:
    """Check a switch."""

    def check(given: object) -> bool:
        if not isinstance(given, bool):
            raise WrongValueError(f"given {quoted(given)}; allowed true or false")
        return given

    return BeforeValidator(check)


def one_of(allowed: Sequence[str]) -> BeforeValidator:
    """Check a word from a list."""

    def check(given: object) -> str:
        if isinstance(given, str) and given in allowed:
            return given
        near = nearest(given, allowed) if isinstance(given, str) else ""
        raise WrongValueError(f"given {quoted(given)}; allowed {listed(allowed)}", near)

    return BeforeValidator(check)


def pitch() -> BeforeValidator:
    """Check a named pitch."""

    def check(given: object) -> str:
        if not isinstance(given, str):
            raise WrongValueError(f"given {quoted(given)}; a pitch is text like E4, F#3 or Bb2")
        try:
            strings.frequency(given)
        except ValueError as error:
            raise WrongValueError(str(error)) from None
        return given

    return BeforeValidator(check)


def square_fret() -> BeforeValidator:
    """Check a fret number, ``nut`` or ``saddle``; yields the number, 0 or ``inf``."""
    ends = {"nut": 0.0, "saddle": math.inf}

    def check(given: object) -> float:
        if isinstance(given, str):
            if given not in ends:
                raise WrongValueError(f'given {quoted(given)}; allowed a fret number, "nut" or "saddle"')
            return ends[given]
        return check_number(given, 0, 60)

    return BeforeValidator(check)


def nearest(given: str, known: Sequence[str]) -> str:
    """Suggest the known word nearest to a misspelt one.

    Parameters
    ----------
    given
        The word that is not known.
    known
        The words that are.

    Returns
    -------
    str
        ``did you mean ...?``, or nothing where no word is near.
    """
    import difflib  # noqa: PLC0415 - wanted only once something is misspelt

    near = difflib.get_close_matches(given.lower(), known, n=1, cutoff=0.6)
    return f"did you mean {near[0]}?" if near else ""


def listed(allowed: Sequence[str]) -> str:
    """Join quoted words for a message: ``"a", "b" or "c"``."""
    *first, last = (f'"{word}"' for word in allowed)
    return f"{', '.join(first)} or {last}" if first else last


def check_number(given: object, low: float, high: float) -> float:
    """Give a plain number between two limits; raises WrongValueError."""
    if isinstance(given, bool) or not isinstance(given, int | float) or not low <= given <= high:
        raise WrongValueError(f"given {quoted(given)}; allowed a number from {low:g} to {high:g}")
    return float(given)


def check_whole(given: object, low: int, high: int) -> int:
    """Give a whole number between two limits; raises WrongValueError."""
    if isinstance(given, bool) or not isinstance(given, int) or not low <= given <= high:
        raise WrongValueError(f"given {quoted(given)}; allowed a whole number from {low} to {high}")
    return given
