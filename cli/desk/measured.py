"""A neck that was measured: what its crowns say, and a plan of it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final, cast

from slotwright.layout.errors import SlotwrightError
from slotwright.layout.findings import sentence
from slotwright.layout.limits import MOST_STRINGS
from slotwright.layout.readings.crowns import read_measurements
from slotwright.layout.survey.findings import findings
from slotwright.layout.survey.plan_text import Asked, plan_text, width_fret
from slotwright.layout.survey.scale import find_scale
from slotwright.layout.units import parse_length

if TYPE_CHECKING:
    from slotwright.layout.survey.scale import Survey
    from slotwright.layout.units import Unit

READ: Final = ("unit", "table", "strings", "nut_width", "width", "spread")  # what a plan of a neck is asked for
_SAID: Final = {"nut_width": "width at the nut", "width": "width further up", "spread": "spread at the saddle"}


def measured_neck(unit: str, table: str) -> dict[str, Any]:
    """Say what the measured crowns of a neck tell.

    Parameters
    ----------
    unit
        Of bare numbers.
    table
        ``fret,distance`` and a line for each crown.

    Returns
    -------
    dict
        Findings in sentences, and the fret at which the width of the board is wanted.

    Raises
    ------
    SlotwrightError
        With all that is wrong with the table, or that no rule explains the crowns.
    """
    found = _survey(unit, table)
    return {
        "lines": [sentence(str(each)) for each in findings(found, {}, cast("Unit", unit))],
        "fret": width_fret(found),
    }


def plan_of(stem: str, *, unit: str, table: str, strings: str, nut_width: str, width: str, spread: str) -> str:
    """Write a plan of a measured neck; raises SlotwrightError with what is wrong or missing."""
    found = _survey(unit, table)
    if not strings.strip().isdecimal() or not 1 <= int(strings) <= MOST_STRINGS:
        raise SlotwrightError(f"strings: how many, 1 to {MOST_STRINGS}")
    lengths = {name: _length(name, given, unit) for name, given in (("nut_width", nut_width), ("width", width))}
    saddle = _length("spread", spread, unit) if spread.strip() else None
    return plan_text(found, stem, cast("Unit", unit), Asked(int(strings), **lengths, spread_saddle=saddle))


def _survey(unit: str, table: str) -> Survey:
    if unit not in ("mm", "in"):
        raise SlotwrightError("the unit is mm or in")
    found = find_scale(read_measurements(table.encode(), cast("Unit", unit)))
    if found.rule == "none":
        raise SlotwrightError(" ".join(sentence(str(each)) for each in findings(found, {}, cast("Unit", unit))))
    return found


def _length(name: str, given: str, unit: str) -> float:
    try:
        return parse_length(given, cast("Unit", unit))
    except SlotwrightError as error:
        raise SlotwrightError(f"{_SAID[name]}: {error}") from None
