"""A plan to begin with: the text of a starter with other strings and another scale."""

from __future__ import annotations

import json
import math
import re
from typing import TYPE_CHECKING, Final

from slotwright.layout.plan.bridges import IndividualSaddles
from slotwright.layout.plan.reader import parse_plan
from slotwright.layout.plan.sets import SETS
from slotwright.layout.units import MM_PER_INCH, parse_length

if TYPE_CHECKING:
    from slotwright.layout.units import Unit

# Each as a starter writes it, with remarks about these very strings above them.
_STRINGS: Final = re.compile(r"(?:^#.*\n)*^strings = (?:\[\s(?:.*\n)*?\]|\{.*).*\n", re.MULTILINE)
_SCALE: Final = re.compile(r"^\[scale\](?:.*\n)+?(?=\n)", re.MULTILINE)
_STARTERS: Final = {
    "electric": "electric-six",
    "acoustic": "steel-six",
    "twelve-string": "steel-twelve",
    "nylon": "nylon-six",
    "bass": "bass-four",
    "five-string bass": "bass-five-multiscale",
    "mandolin": "mandolin",
    "ukulele": "ukulele",
    "ukulele fluorocarbon": "ukulele",
}


def fitting_starter(name: str) -> str:
    """Name the starter that fits the family of a set."""
    return _STARTERS[name.rpartition(" ")[0]]


def with_set(text: str, name: str) -> str:
    """Put a usual set of strings into the text of a starter, in place of its own.

    Parameters
    ----------
    text
        A starter.
    name
        The name of a set of as many strings.

    Returns
    -------
    str
        The text; what is said of the strings beside them goes with them.
    """
    return _STRINGS.sub(lambda _: f"strings = {{ set = {json.dumps(name)} }}\n", text, count=1)


def with_scale(text: str, length: str) -> str:
    """Put one scale into the text of a starter, and as much blank as that takes.

    Parameters
    ----------
    text
        A starter.
    length
        The scale as a plan states it.

    Returns
    -------
    str
        The text.
    """
    plan = parse_plan(text.encode())
    longer = parse_length(length, plan.units) - (plan.scale.length or plan.scale.bass or 0.0)
    if plan.scale.length is None and isinstance(plan.bridge, IndividualSaddles):
        text = _without_units(text)
    text = _SCALE.sub(lambda _: f"[scale]\nlength = {_value(length)}\n", text, count=1)
    if plan.blank is None or longer <= 0:
        return text
    blank = _round_up(plan.blank.length + longer, plan.units)
    head, mark, rest = text.partition("[blank]")
    return head + mark + re.sub(r"^length = \S+", f"length = {blank:g}", rest, count=1, flags=re.MULTILINE)


def _without_units(text: str) -> str:
    """Take out what is said of single bridge units: with one scale it would be said of one base for all."""
    head, mark, rest = text.partition("[bridge]\n")
    of_bridge, gap, others = rest.partition("\n\n")
    of_bridge = re.sub(r"^(?:outline|front|holes) = .*\n?", "", of_bridge, flags=re.MULTILINE)
    return head + mark + re.sub(r" +#.*", "", of_bridge).rstrip("\n") + gap + others


def strings_of(text: str) -> int:
    """Count the strings of a starter."""
    return len(parse_plan(text.encode()).strings)


def strings_in(name: str) -> int:
    """Count the strings of a set."""
    return len(SETS[name].strings)


def _value(length: str) -> str:
    """Write a length as TOML: a number as it is, text in quotes."""
    return length if re.fullmatch(r"\d+(\.\d+)?", length) else json.dumps(length, ensure_ascii=False)


def _round_up(length: float, units: Unit) -> float:
    """Give a length [mm] as a plan states it: up to whole 5 mm, or quarters of an inch."""
    return 5 * math.ceil(length / 5) if units == "mm" else math.ceil(length / MM_PER_INCH * 4) / 4
