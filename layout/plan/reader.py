"""From the text of a plan file to a Plan."""

from __future__ import annotations

import re
import tomllib
from typing import TYPE_CHECKING, Any, Final

from slotwright.layout.errors import Fault, PlanError
from slotwright.layout.plan.fields import quoted
from slotwright.layout.plan.plan import Plan
from slotwright.layout.sources import read

if TYPE_CHECKING:
    from collections.abc import Sequence

    from slotwright.layout.sources import Source

MOST_BYTES: Final = 256_000
_DEEPEST: Final = 12  # tables and lists in each other; a plan has four
# A key of so many parts takes the parser minutes and gigabytes; no text in a plan is long enough to look like it.
_ENDLESS_KEY: Final = re.compile(r"""(?<![\w-])(?:(?:[\w-]++|"[^"\n]*"|'[^'\n]*')[ \t]*+\.[ \t]*+){64}""")
# What a line that is no TOML shows, and what to do about it; the first that fits.
_SLIPS: Final = (
    ("[\u201c-\u201f\u2018-\u201b\u00ab\u00bb]", "write straight quotes"),
    ("\r", "save it with the line ends of today"),
    (r"=\s*[-+]?\d+,\d+\s*(#|$)", "write a decimal point, not a comma"),
    (
        r"""=\s*[-+]?\.?\d[\d\s./-]*(mm|cm|in|inch|inches|"|'')\s*(#|$)""",
        'put a length with its unit in quotes, as "25.5 in"',
    ),
    (r"=\s*(#|$)", "write a value behind ="),
    (r"""=\s*("[^"]*|'[^']*)$""", "close the quotes"),
    (r"=\s*(?!true|false)[^\W\d]", "put text in quotes"),
    (r"=\s*\.\d", "write a 0 before the point"),
    (r"[^\x00-\x7f]", "a letter or blank there is not an ordinary one: type it again"),
    (r"^\s*\[", "write each table once"),
)
_MOST_VALUES: Final = 10_000  # more than any plan has, with a note at every cent
_WIDEST: Final = 64  # bits of a whole number; TOML knows no longer ones


def read_plan(source: Source) -> Plan:
    """Read a plan and check it.

    Parameters
    ----------
    source
        The path of a plan file, its text if that holds a line break, or its bytes.

    Returns
    -------
    Plan
        The plan, every length in mm.

    Raises
    ------
    PlanError
        The plan is wrong; all its faults are told at once, each with its key and what helps.
    OSError
        There is no such file.
    """
    return parse_plan(read(source, MOST_BYTES))


def parse_plan(text: bytes, tunings: Sequence[str] = ()) -> Plan:
    """Check the contents of a plan file.

    Parameters
    ----------
    text
        The file as it stands on disk.
    tunings
        Stand in for the tunings that the file states.

    Returns
    -------
    Plan
        The plan, every length in mm.

    Raises
    ------
    PlanError
        With all faults that were found.
    """
    contents = contents_of(text)
    return Plan.model_validate({**contents, "tunings": list(tunings)} if tunings else contents)


def contents_of(text: bytes) -> dict[str, Any]:
    """Read what a plan file states, without judging it.

    Parameters
    ----------
    text
        The file as it stands on disk.

    Returns
    -------
    dict
        Keys and tables as TOML gives them.

    Raises
    ------
    PlanError
        It is no TOML, or larger or deeper than any plan.
    """
    if len(text) > MOST_BYTES:
        raise PlanError([Fault("", f"the file has {len(text)} bytes; a plan has at most {MOST_BYTES}")])
    try:
        decoded = text.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise PlanError([Fault("", f"not UTF-8 text (byte {error.start})", "save it as UTF-8")]) from None
    try:
        return _loaded(decoded)
    except PlanError:  # itself a ValueError
        raise
    except tomllib.TOMLDecodeError as error:
        raise PlanError([_misread(decoded, str(error))]) from None
    except (ValueError, RecursionError) as error:
        # A number of thousands of digits; tables nested thousands deep.
        what = "nested too deep" if isinstance(error, RecursionError) else "a number is far too long"
        raise PlanError([Fault("", f"not a plan: {what}")]) from None


def _misread(text: str, error: str) -> Fault:
    """Say which line is no TOML, and what a hand or a word processor usually did there."""
    error, _, at = error.rpartition(" (at ")
    lines = text.rstrip("\n").split("\n")
    found = re.match(r"line (\d+)", at)
    number = min(int(found[1]), len(lines)) if found else len(lines)
    line = lines[number - 1].strip("\r")
    usual = "keep one of the two" if "overwrite" in error else "mend that line"
    mend = next((mend for sign, mend in _SLIPS if re.search(sign, line)), usual)
    return Fault(f"line {number}", f"{quoted(line.strip())} is not TOML ({error.lower()})", mend)


def _loaded(text: str) -> dict[str, Any]:
    """Read TOML; of what the parser lets through, refuse as it would what nothing behind it could hold or repeat."""
    if _ENDLESS_KEY.search(text):
        raise RecursionError
    contents = tomllib.loads(text)
    level: list[Any] = [contents]
    many = 0
    for _ in range(_DEEPEST):
        below = [each for inside in level for each in (inside.values() if isinstance(inside, dict) else inside)]
        many += len(below)
        if many > _MOST_VALUES:
            raise PlanError([Fault("", f"not a plan: it holds more than {_MOST_VALUES} values")])
        if any(isinstance(each, int) and each.bit_length() > _WIDEST for each in below):
            raise ValueError
        level = [each for each in below if isinstance(each, dict | list)]
    if level:
        raise RecursionError
    return contents
