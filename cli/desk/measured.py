"""What was measured: the crowns of a neck and a plan of it, an old board and the wire for it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final, cast

from slotwright.cli.desk.values import named
from slotwright.cli.wire import rod_lines, wire_rows
from slotwright.layout.errors import PlanError, SlotwrightError
from slotwright.layout.findings import sentence
from slotwright.layout.limits import MOST_STRINGS
from slotwright.layout.plan.fields import reading_in
from slotwright.layout.plan.tables import Frets
from slotwright.layout.readings.board import read_board
from slotwright.layout.readings.crowns import read_measurements
from slotwright.layout.survey.findings import findings
from slotwright.layout.survey.plan_text import Asked, plan_text, width_fret
from slotwright.layout.survey.refret import refret
from slotwright.layout.survey.scale import find_scale
from slotwright.layout.units import parse_length

if TYPE_CHECKING:
    from slotwright.layout.survey.scale import Survey
    from slotwright.layout.units import Unit

READ: Final = ("unit", "table", "strings", "nut_width", "width", "spread")  # what a plan of a neck is asked for
OF_WIRE: Final = ("tang_width", "bead_width", "length")
OF_FRETS: Final = ("tang_depth", "height")
_SAID: Final = {
    "binding": "thickness of the binding",
    "plane": "planed off",
    "nut_width": "width at the nut",
    "width": "width further up",
    "spread": "spread at the saddle",
}


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
    try:
        return plan_text(found, stem, cast("Unit", unit), Asked(int(strings), **lengths, spread_saddle=saddle))
    except PlanError as error:
        raise SlotwrightError("\n".join(f"{named(fault.where)}: {fault.what}" for fault in error.faults)) from None


def old_board(unit: str, table: str, binding: str, plane: str, **wire: str) -> dict[str, Any]:
    """Say what new frets on a measured board take.

    Parameters
    ----------
    unit
        Of bare numbers.
    table
        ``fret,width`` and any of ``radius``, ``slot_width``, ``slot_depth``, ``crown_height``.
    binding, plane
        Thickness of the binding, and what is planed off; empty for none.
    wire
        What is known of the new wire, by `OF_WIRE` and `OF_FRETS`; empty where it is not.

    Returns
    -------
    dict
        Head and rows of the wire to cut, and what was found.

    Raises
    ------
    SlotwrightError
        With all that is wrong.
    """
    units = _units(unit)
    known = {name: length for name, length in wire.items() if length.strip()}
    frets: dict[str, Any] = {name: known[name] for name in OF_FRETS if name in known}
    with reading_in(units):
        new = Frets.model_validate({**frets, "wire": {name: known[name] for name in OF_WIRE if name in known}})
    found = refret(
        read_board(table.encode(), units),
        new,
        binding=_length("binding", binding, unit) if binding.strip() else 0.0,
        plane=_length("plane", plane, unit) if plane.strip() else 0.0,
        units=units,
    )
    head, rows = wire_rows(found.wires, units)
    return {
        "head": head,
        "rows": rows,
        "lines": [*map(sentence, map(str, found.findings)), *rod_lines(found.wires, units)],
    }


def _units(unit: str) -> Unit:
    if unit not in ("mm", "in"):
        raise SlotwrightError("the unit is mm or in")
    return cast("Unit", unit)


def _survey(unit: str, table: str) -> Survey:
    units = _units(unit)
    found = find_scale(read_measurements(table.encode(), units))
    if found.rule == "none":
        raise SlotwrightError(" ".join(sentence(str(each)) for each in findings(found, {}, units)))
    return found


def _length(name: str, given: str, unit: str) -> float:
    try:
        return parse_length(given, cast("Unit", unit))
    except SlotwrightError as error:
        raise SlotwrightError(f"{_SAID[name]}: {error}") from None
