"""How a list in a plan is checked: all that is wrong in it at once."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, TypeVar

from pydantic import BeforeValidator, ValidationInfo

from slotwright.layout.physics import strings
from slotwright.layout.plan.fields import (
    LengthCheck,
    LengthField,
    Wrong,
    WrongValueError,
    check_number,
    check_whole,
    listed,
    nearest,
    quoted,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

_Value = TypeVar("_Value")


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
    check = LengthCheck(low, high)

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
    place, across = LengthCheck(-1000.0, 3000.0), LengthCheck(0.1, 100.0)

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


def boxes(most: int) -> LengthField:
    """Check a list of ``[x1, y1, x2, y2, height]``; the lesser of two x or y comes first then."""
    place, high = LengthCheck(-1000.0, 3000.0), LengthCheck(0.1, 200.0)

    def rows(given: object) -> tuple[tuple[float, ...], ...]:
        if not isinstance(given, list) or not all(isinstance(box, list) and len(box) == 5 for box in given):
            raise WrongValueError(f"given {quoted(given)}; allowed a list of [x1, y1, x2, y2, height]")
        if len(given) > most:
            raise WrongValueError(f"given {len(given)}; allowed up to {most}")

        def box(parts: Sequence[object]) -> tuple[float, ...]:
            checks = iter((place, place, place, place, high))

            def one(part: object) -> float:
                return next(checks)(part)

            x1, y1, x2, y2, height = each_of(parts, one)
            return min(x1, x2), min(y1, y2), max(x1, x2), max(y1, y2), height

        return each_of(given, box)

    return LengthField(rows)


@dataclass(frozen=True, slots=True)
class Place:
    """A place that was measured.

    Parameters
    ----------
    x, y
        Along and off the centre line [mm]; None where it was measured by two rules.
    treble, bass
        From the treble and the bass end of fret 12 [mm]; None where it was not.
    diameter
        Of a hole [mm]; 0 of a corner.
    """

    x: float | None = None
    y: float | None = None
    treble: float | None = None
    bass: float | None = None
    diameter: float = 0.0

    def contents(self) -> object:
        """Give it as a plan file may have it, in mm."""
        ruled = {"treble": self.treble, "bass": self.bass} if self.x is None else {"x": self.x, "y": self.y}
        whole = {**ruled, "diameter": self.diameter} if self.diameter else ruled
        said = {key: f"{length!r} mm" for key, length in whole.items()}
        return said if self.x is None else list(said.values())


def places(most: int, *, across: bool) -> LengthField:
    """Check a list of measured places, of holes with what they measure across."""
    names = ("diameter",) if across else ()
    checks = {
        "x": LengthCheck(-1000.0, 3000.0), "y": LengthCheck(-1000.0, 1000.0), "treble": LengthCheck(1.0, 3000.0),
        "bass": LengthCheck(1.0, 3000.0), "diameter": LengthCheck(0.1, 100.0),
    }  # fmt: skip
    flat, ruled = ("x", "y", *names), ("treble", "bass", *names)
    allowed = f"[{', '.join(flat)}] or {{ {', '.join(ruled)} }}"

    def place(given: object) -> Place:
        if isinstance(given, Place):
            return given
        if isinstance(given, list) and len(given) == len(flat):
            keys: Sequence[str] = flat
            values: Sequence[object] = given
        elif isinstance(given, Mapping) and set(given) == set(ruled):
            keys, values = ruled, [given[key] for key in ruled]
        else:
            raise WrongValueError(f"given {quoted(given)}; allowed {allowed}")
        in_turn = iter(keys)

        def one(part: object) -> float:
            return checks[next(in_turn)](part)

        return Place(**dict(zip(keys, each_of(values, one), strict=True)))

    def all_of(given: object) -> tuple[Place, ...]:
        if not isinstance(given, list | tuple):
            raise WrongValueError(f"given {quoted(given)}; allowed a list of {allowed}")
        if len(given) > most:
            raise WrongValueError(f"given {len(given)}; allowed up to {most}")
        return each_of(given, place)

    return LengthField(all_of)


def wholes(low: int, high: int, *, empty: bool = False, exactly: int | None = None) -> BeforeValidator:
    """Check a list of whole numbers between two limits, none named twice."""

    def check(given: object) -> tuple[int, ...]:
        if not isinstance(given, list) or (not given and not empty) or len(given) != (exactly or len(given)):
            many = f"{exactly} " if exactly else ""
            raise WrongValueError(f"given {quoted(given)}; allowed a list of {many}whole numbers, {low} to {high}")
        seen: set[int] = set()

        def one(each: object) -> int:
            value = check_whole(each, low, high)
            if value in seen:
                raise WrongValueError(f"given {value}; it stands there twice")
            seen.add(value)
            return value

        return each_of(given, one)

    return BeforeValidator(check)


def words_of(allowed: Sequence[str]) -> BeforeValidator:
    """Check a list of words out of some, none twice."""

    def check(given: object) -> tuple[str, ...]:
        if not isinstance(given, list) or not given:
            raise WrongValueError(f"given {quoted(given)}; allowed a list of {listed(allowed)}")
        seen: set[str] = set()

        def one(each: object) -> str:
            if not isinstance(each, str) or each not in allowed:
                near = nearest(each, allowed) if isinstance(each, str) else ""
                raise WrongValueError(f"given {quoted(each)}; allowed {listed(allowed)}", near)
            if each in seen:
                raise WrongValueError(f"given {quoted(each)}; it stands there twice")
            seen.add(each)
            return each

        return each_of(given, one)

    return BeforeValidator(check)


def weights() -> BeforeValidator:
    """Check a list of weights: above zero."""

    def check(given: object) -> tuple[float, ...]:
        if not isinstance(given, list) or not given:
            raise WrongValueError(f"given {quoted(given)}; allowed a list of numbers above 0")
        return each_of(given, lambda each: check_number(each, 1e-6, 1e6))

    return BeforeValidator(check)


def groups(most: int) -> BeforeValidator:
    """Check lists of strings that share a saddle, no string in two of them."""

    def check(given: object) -> tuple[tuple[int, ...], ...]:
        lists = isinstance(given, list) and all(isinstance(group, list) and group for group in given)
        if not isinstance(given, list) or not lists or len(given) > most:
            raise WrongValueError(f"given {quoted(given)}; allowed lists of strings, such as [[1, 2], [3, 4]]")
        seen: set[int] = set()

        def one(each: object) -> int:
            string = check_whole(each, 1, most)
            if string in seen:
                raise WrongValueError(f"given {string}; a string stands there twice")
            seen.add(string)
            return string

        return each_of(given, lambda group: each_of(group, one))

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


def ascending_cents() -> BeforeValidator:
    """Check the notes of one period: ascending, above 0, the last one the period."""

    def check(given: object) -> tuple[float, ...]:
        if not isinstance(given, list) or not given:
            raise WrongValueError(f"given {quoted(given)}; allowed a list of cents, the last one the period")
        before = 0.0

        def note(each: object) -> float:
            nonlocal before
            after = check_number(each, 1, 4800)
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
        raise WrongValueError(
            f"given {shown}; allowed a count or a list of tables, 1 to {most}",
            f"write {{ set = {quoted(given)} }}" if isinstance(given, str) else "",
        )

    return BeforeValidator(check)


def tables() -> BeforeValidator:
    """Check that there is a list of tables."""

    def check(given: object) -> object:
        if not isinstance(given, list):
            raise WrongValueError(f"given {quoted(given)}; allowed a list of tables, [{{ ... }}, ...]")
        return given

    return BeforeValidator(check)
