"""How one value of a plan is checked: what it may be and how a refusal reads."""

from __future__ import annotations

import math
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, TypeVar

from pydantic import BeforeValidator, ValidationInfo

from slotwright.layout.errors import Fault, LengthError
from slotwright.layout.physics import strings
from slotwright.layout.units import MM_PER_INCH, Unit, is_bare, parse_length, show

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

_Value = TypeVar("_Value")
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


def each_of(given: Sequence[object], check: Callable[[Any], _Value]) -> tuple[_Value, ...]:
    """Check every value of a list, and tell all that are wrong at once.

    Parameters
    ----------
    given
        The list.
    check
        Checks one value.

    Returns
    -------
    tuple
        The checked values.

    Raises
    ------
    WrongValueError
        With every value that is wrong.
    """
    found: list[_Value] = []
    wrong: list[Wrong] = []
    for place, value in enumerate(given):
        try:
            found.append(check(value))
        except WrongValueError as error:
            wrong += [((place, *inside), what, mend) for inside, what, mend in error.each]
    if wrong:
        raise WrongValueError(f"{len(wrong)} wrong", each=wrong)
    return tuple(found)


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
class _LengthCheck:
    low: float
    high: float
    gauge: bool = False

    def __call__(self, given: object) -> float:
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
    return LengthField(_LengthCheck(low, high))


def mm_or(word: str, low: float, high: float) -> LengthField:
    """Check a length [mm] that one word may stand for."""
    check = _LengthCheck(low, high)

    def either(given: object) -> float | str:
        if not isinstance(given, str) or any(letter.isdigit() for letter in given):
            return check(given)
        if given != word:
            raise WrongValueError(f'given {quoted(given)}; allowed a length or "{word}"', nearest(given, (word,)))
        return word

    return LengthField(either)


def gauge() -> LengthField:
    """Check the diameter of a string or of its core."""
    return LengthField(_LengthCheck(0.1, 6.0, gauge=True))


def mm_row(names: Sequence[str], low: float, high: float, *, one_for_all: bool = False) -> LengthField:
    """Check a fixed row of lengths.

    Parameters
    ----------
    names
        What each place of the row holds, for the message.
    low, high
        Limits of each [mm].
    one_for_all
        A single length stands for every place.

    Returns
    -------
    LengthField
        Validator that yields a tuple of lengths [mm].
    """
    check = _LengthCheck(low, high)

    def row(given: object) -> tuple[float, ...]:
        if one_for_all and not isinstance(given, list):
            return (check(given),) * len(names)
        if not isinstance(given, list) or len(given) != len(names):
            alone = "one length or " if one_for_all else ""
            raise WrongValueError(f"given {quoted(given)}; allowed {alone}[{', '.join(names)}]")
        return each_of(given, check)

    return LengthField(row)


def holes(most: int) -> LengthField:
    """Check a list of ``[x, y, diameter]``."""
    place, across = _LengthCheck(-1000.0, 3000.0), _LengthCheck(0.1, 100.0)

    def rows(given: object) -> tuple[tuple[float, ...], ...]:
        if not isinstance(given, list) or not all(isinstance(h, list) and len(h) == 3 for h in given):
            raise WrongValueError(f"given {quoted(given)}; allowed a list of [x, y, diameter]")
        if len(given) > most:
            raise WrongValueError(f"given {len(given)} holes; allowed up to {most}")

        def hole(parts: Sequence[object]) -> tuple[float, ...]:
            checks = iter((place, place, across))

            def one(part: object) -> float:
                return next(checks)(part)

            return each_of(parts, one)

        return each_of(given, hole)

    return LengthField(rows)


def number(low: float, high: float) -> BeforeValidator:
    """Check a plain number between two limits."""
    return BeforeValidator(lambda given: _number(given, low, high))


def inharmonicity() -> BeforeValidator:
    """Check the inharmonicity of a string's partials: a plain number, some 1e-5 to 1e-3."""
    least, most = 1e-7, 0.01

    def check(given: object) -> float:
        if isinstance(given, int | float) and most < given < most * 1e6:
            # Tables print it in millionths.
            what = f"given {quoted(given)}; allowed a number from {least:g} to {most:g}"
            raise WrongValueError(what, f"did you mean {given:g}e-6?")
        return _number(given, least, most)

    return BeforeValidator(check)


def whole(low: int, high: int) -> BeforeValidator:
    """Check a whole number between two limits."""
    return BeforeValidator(lambda given: _whole(given, low, high))


def wholes(low: int, high: int, *, empty: bool = False, exactly: int | None = None) -> BeforeValidator:
    """Check a list of whole numbers between two limits, none named twice."""

    def check(given: object) -> tuple[int, ...]:
        if not isinstance(given, list) or (not given and not empty) or len(given) != (exactly or len(given)):
            many = f"{exactly} " if exactly else ""
            raise WrongValueError(f"given {quoted(given)}; allowed a list of {many}whole numbers, {low} to {high}")
        seen: set[int] = set()

        def one(each: object) -> int:
            value = _whole(each, low, high)
            if value in seen:
                raise WrongValueError(f"given {value}; it stands there twice")
            seen.add(value)
            return value

        return each_of(given, one)

    return BeforeValidator(check)


def weights() -> BeforeValidator:
    """Check a list of weights: above zero."""

    def check(given: object) -> tuple[float, ...]:
        if not isinstance(given, list) or not given:
            raise WrongValueError(f"given {quoted(given)}; allowed a list of numbers above 0")
        return each_of(given, lambda each: _number(each, 1e-6, 1e6))

    return BeforeValidator(check)


def groups(most: int) -> BeforeValidator:
    """Check lists of strings that share a saddle, no string in two of them."""

    def check(given: object) -> tuple[tuple[int, ...], ...]:
        lists = isinstance(given, list) and all(isinstance(group, list) and group for group in given)
        if not isinstance(given, list) or not lists or len(given) > most:
            raise WrongValueError(f"given {quoted(given)}; allowed lists of strings, such as [[1, 2], [3, 4]]")
        seen: set[int] = set()

        def one(each: object) -> int:
            string = _whole(each, 1, most)
            if string in seen:
                raise WrongValueError(f"given {string}; a string stands there twice")
            seen.add(string)
            return string

        return each_of(given, lambda group: each_of(group, one))

    return BeforeValidator(check)


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


def tunings(most: int) -> BeforeValidator:
    """Check a list of tunings, pitches lowest string first; yields those of each from string 1 on."""

    def check(given: object, info: ValidationInfo) -> tuple[tuple[str, ...], ...]:
        if not isinstance(given, list) or len(given) > most or not all(isinstance(each, str) for each in given):
            raise WrongValueError(
                f'given {quoted(given)}; allowed up to {most} texts such as "D2 A2 D3 G3 A3 D4", lowest string first'
            )

        def tuning(text: str) -> tuple[str, ...]:
            wrong = []
            names = text.replace(",", " ").split()
            for name in names:
                try:
                    strings.frequency(name)
                except ValueError as error:
                    wrong.append(((), str(error), ""))
            if many and len(names) != many:
                what = f"{len(names)} pitches for {many} strings"
                wrong.append(((), what, "name one for each, lowest string first"))
            if wrong:
                raise WrongValueError(f"{len(wrong)} wrong", each=wrong)
            return tuple(reversed(names))

        many = len((info.data or {}).get("strings", ()))
        return each_of(given, tuning)

    return BeforeValidator(check)


def square_fret() -> BeforeValidator:
    """Check a fret number, ``nut`` or ``saddle``; yields the number, 0 or ``inf``."""
    ends = {"nut": 0.0, "saddle": math.inf}

    def check(given: object) -> float:
        if isinstance(given, str):
            if given not in ends:
                raise WrongValueError(f'given {quoted(given)}; allowed a fret number, "nut" or "saddle"')
            return ends[given]
        return _number(given, 0, 60)

    return BeforeValidator(check)


def ascending_cents() -> BeforeValidator:
    """Check the notes of one period: ascending, above 0, the last one the period."""

    def check(given: object) -> tuple[float, ...]:
        if not isinstance(given, list) or not given:
            raise WrongValueError(f"given {quoted(given)}; allowed a list of cents, the last one the period")
        before = 0.0

        def note(each: object) -> float:
            nonlocal before
            after = _number(each, 1, 4800)
            if after - before < 1:
                raise WrongValueError(f"given {after:g} after {before:g}; cents ascend by 1 or more")
            before = after
            return after

        return each_of(given, note)

    return BeforeValidator(check)


def table_list(most: int) -> BeforeValidator:
    """Check a list of tables; a bare count stands for that many empty ones."""

    def check(given: object) -> object:
        if isinstance(given, list) and 1 <= len(given) <= most:
            return given
        if isinstance(given, int) and not isinstance(given, bool) and 1 <= given <= most:
            return [{}] * given
        shown = f"{len(given)} of them" if isinstance(given, list) else quoted(given)
        raise WrongValueError(f"given {shown}; allowed a count or a list of tables, 1 to {most}")

    return BeforeValidator(check)


def tables() -> BeforeValidator:
    """Check that there is a list of tables."""

    def check(given: object) -> object:
        if not isinstance(given, list):
            raise WrongValueError(f"given {quoted(given)}; allowed a list of tables, [{{ ... }}, ...]")
        return given

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


def _number(given: object, low: float, high: float) -> float:
    if isinstance(given, bool) or not isinstance(given, int | float) or not low <= given <= high:
        raise WrongValueError(f"given {quoted(given)}; allowed a number from {low:g} to {high:g}")
    return float(given)


def _whole(given: object, low: int, high: int) -> int:
    if isinstance(given, bool) or not isinstance(given, int) or not low <= given <= high:
        raise WrongValueError(f"given {quoted(given)}; allowed a whole number from {low} to {high}")
    return given
