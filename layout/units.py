"""Lengths as shops write them, and back."""

from __future__ import annotations

import re
from fractions import Fraction
from typing import Final, Literal

from slotwright.layout.errors import LengthError

Unit = Literal["mm", "in"]

MM_PER_INCH: Final = 25.4  # exact by international agreement of 1959
ROUNDING: Final = 1e-9  # mm; less is the arithmetic's
SHOWN: Final = 0.005  # mm; what is nearer to a limit reads as the limit itself

FORMS: Final = '648, "648 mm", "64.8 cm", "25.5 in", "25 1/2 in", "25-1/2\\"" or ".010\\""'

_IN_MM: Final = {
    "mm": Fraction(1),
    "cm": Fraction(10),
    "in": Fraction("25.4"),
}
_SPELLINGS: Final = {
    **dict.fromkeys(("mm", "cm", "in"), ""),
    **dict.fromkeys(("in.", "inch", "inches", '"', "\u201d", "\u2033", "''"), "in"),
}
_UNITS: Final = "|".join(sorted(map(re.escape, _SPELLINGS), key=len, reverse=True))
_LENGTH: Final = re.compile(
    rf"""\s* (?P<sign>[+-]?) \s*
    (?: (?P<decimal> [0-9]+\.?[0-9]* | \.[0-9]+ )
      | (?: (?P<whole>[0-9]+) (?: \s+ | \s*-\s* ) )? (?P<part>[0-9]+) \s*/\s* (?P<of>[0-9]+)
    )
    \s* (?P<unit>{_UNITS})? \s*""",
    re.VERBOSE,
)
_LONGEST: Final = 60  # characters; nobody writes a length longer than this


def parse_length(given: object, units: Unit) -> float:
    """Turn a number or a text into a length.

    Parameters
    ----------
    given
        A number in `units`, or text that may carry its own unit.
    units
        Unit of bare numbers and of text without one.

    Returns
    -------
    float
        The length [mm], the nearest double to the exact value.

    Raises
    ------
    LengthError
        `given` is neither; the message shows the forms that are understood.
    """
    exact, _ = _exact(given, units)
    try:
        return float(exact)
    except OverflowError:
        raise LengthError(f"given {_short(given)}; too large for a length") from None


def is_bare(given: object) -> bool:
    """Tell whether a length was written without a unit of its own.

    Parameters
    ----------
    given
        A number or text that `parse_length` accepts.

    Returns
    -------
    bool
        True when the unit of the plan decides what it means.
    """
    _, bare = _exact(given, "mm")
    return bare


MINUS: Final = "\u2212"  # as wide as a plus, so that columns stand straight


def cents(error: float, decimals: int = 2) -> str:
    """Write an error of pitch [cents] with its sign; zero has none."""
    rounded = round(float(error), decimals)
    return f"{rounded:+.{decimals}f}".replace("-", MINUS) if rounded else f"{0:.{decimals}f}"


def show(length: float, units: Unit, decimals: int | None = None) -> str:
    """Write a length as a number in the chosen unit.

    Parameters
    ----------
    length
        Length [mm].
    units
        Unit to write it in; the unit itself is not written.
    decimals
        Digits after the point; 2 for mm and 3 for inches where not given.

    Returns
    -------
    str
        Such as ``648.00`` or ``25.512``; never a negative zero.
    """
    value, usual = (length, 2) if units == "mm" else (length / MM_PER_INCH, 3)
    digits = usual if decimals is None else decimals
    return f"{round(value, digits) + 0.0:.{digits}f}"


def _exact(given: object, units: Unit) -> tuple[Fraction, bool]:
    """Give the length in mm and whether it was written without a unit."""
    if isinstance(given, bool) or not isinstance(given, int | float | str):
        raise LengthError(f"given {_short(given)}; a length is a number or text such as {FORMS}")
    if not isinstance(given, str):
        try:
            # The decimal digits that were typed, not the binary double nearest to them.
            return Fraction(str(given)) * _IN_MM[units], True
        except ValueError:
            raise LengthError(f"given {_short(given)}; a length is a finite number") from None
    found = _LENGTH.fullmatch(given) if len(given) <= _LONGEST else None
    if found is None or (found["of"] and int(found["of"]) == 0):
        hint = "; write a decimal point, not a comma" if "," in given else ""
        raise LengthError(f"given {_short(given)}; a length is written {FORMS}{hint}")
    if found["decimal"]:
        size = Fraction(found["decimal"])
    else:
        size = Fraction(int(found["whole"] or 0)) + Fraction(int(found["part"]), int(found["of"]))
    unit = found["unit"]
    sign = -1 if found["sign"] == "-" else 1
    return sign * size * _IN_MM[(_SPELLINGS[unit] or unit) if unit else units], unit is None


def _short(given: object) -> str:
    text = str(given).lower() if isinstance(given, bool) else str(given)
    text = f'"{given}"' if isinstance(given, str) else text
    return text if len(text) <= _LONGEST else text[: _LONGEST - 3] + "..."
