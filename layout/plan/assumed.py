"""What a plan left unsaid, and what was taken instead."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from slotwright.layout.plan.bridges import Adjustable
from slotwright.layout.plan.fields import LengthField
from slotwright.layout.plan.keys import unit_of
from slotwright.layout.plan.table import Table
from slotwright.layout.units import show

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from pydantic.fields import FieldInfo

    from slotwright.layout.plan.plan import Plan


@dataclass(frozen=True, slots=True)
class Assumed:
    """A value the plan did not state.

    Parameters
    ----------
    value
        The value; lengths in mm.
    text
        The same as it would stand in the plan, lengths in its units.
    is_length
        It is a length, or a row of them.
    """

    value: object
    text: str
    is_length: bool = False


def assumed(plan: Plan) -> dict[str, Assumed]:
    """List the values that the plan did not state.

    Parameters
    ----------
    plan
        A checked plan.

    Returns
    -------
    dict
        Key path to the value taken.
    """
    settled: dict[str, object] = {
        "board.string_spread_nut": plan.spread_nut,
        "board.string_spread_saddle": plan.spread_saddle,
        "board.spacing": plan.spacing,
        "board.behind_nut": plan.behind_nut,
        "setup.action_fret": plan.action_fret,
        "setup.relief_between": plan.relief_between,
        "setup.nut_action": plan.nut_action,
        "frets.zero_fret_height": plan.zero_fret_height,
        "nut.seat": plan.nut_seat,
        "blank.thickness": plan.stock_thickness,
        **_of_machine(plan),
    }
    moot = {
        "frets.divisions": plan.frets.cents is not None,
        "frets.zero_fret_height": not plan.frets.zero_fret,
        "board.edge_margin": plan.board.width_at is not None,
        "setup.nut_action": plan.setup.first_gap is not None,
        "scale.square_fret": plan.scale.length is not None,
        "board.course_spacing": all(string.course is None for string in plan.strings),
        "board.mark_diameter": not plan.board.marked,
        "bridge.reserve": plan.bridge is not None and not isinstance(plan.bridge, Adjustable),
        "board.side_dots": not plan.board.marked,
        "board.side_dot_diameter": not (plan.board.marked and plan.board.side_dots),
        **_moot_of_machine(plan),
        # A locking nut comes as it is, and stands in no groove.
        **dict.fromkeys(
            ("nut.height", "nut.slot", "nut.ledge"), plan.nut is not None and plan.nut.locking is not None
        ),
    }
    found = {} if "units" in plan.model_fields_set else {"units": Assumed(plan.units, plan.units)}
    for path, filled in plan.string_set.filled() if plan.string_set else ():
        found[path] = Assumed(filled, _of_string(filled, plan))
    for name in (
        "scale",
        "frets",
        "board",
        "blank",
        "jig",
        "setup",
        "compensation",
        "calibration",
        "nut",
        "bridge",
        "machine",
    ):
        if (table := getattr(plan, name)) is not None:
            for path, value, is_length in _unstated(table, name, settled, moot):
                found[path] = Assumed(value, _written(value, plan if is_length else None), is_length)
    return found


class _Rate(float):
    """A number that follows from others and is no length."""


def _of_machine(plan: Plan) -> dict[str, object]:
    """Give what of a machine follows from other values."""
    if plan.machine is None:
        return {}
    found: dict[str, object] = {"machine.spoil": plan.machine.spoil_depth}
    for place, cutter in enumerate(plan.machine.settled, start=1):
        found[f"machine.cutters[{place}].feed"] = _Rate(cutter.feed or 0.0)
        found[f"machine.cutters[{place}].step_down"] = cutter.step_down
    return found


def _moot_of_machine(plan: Plan) -> dict[str, bool]:
    """Tell which keys of a machine have no meaning in this plan."""
    if plan.machine is None:
        return {}
    machine = plan.machine
    done = {operation for cutter in machine.cutters for operation in cutter.operations}
    return {
        "machine.touch": machine.z_zero != "top",
        **dict.fromkeys((f"machine.tabs.{key}" for key in type(machine.tabs).model_fields), machine.hold == "tape"),
        **dict.fromkeys(("machine.scallop", "machine.sanding"), "surface" not in done),
        "machine.mark_depth": "marks" not in done,
    }


def _of_string(filled: Mapping[str, Any] | str, plan: Plan) -> str:
    """Write what a set says of a string, or the tuning that it usually has."""
    if isinstance(filled, str):
        return filled
    forms = {"mass": "{:g} g/m", "string_constant": "string constant {:g}", "course": "course {}"}
    decimals = 3 if plan.units == "mm" else 4
    parts = {
        key: f"{show(value, plan.units, decimals)} {plan.units}" if key == "gauge" else value
        for key, value in filled.items()
    }
    return ", ".join(forms.get(key, "{}").format(value) for key, value in parts.items())


def with_unit(path: str, taken: Assumed) -> str:
    """Write a value that was taken, with its unit unless that is the plan's unit of lengths.

    Parameters
    ----------
    path
        Path of its key.
    taken
        What was taken.

    Returns
    -------
    str
        Such as ``3000 mm/min``; lengths, counts and words as they are.
    """
    unit = "" if taken.is_length else unit_of(path)
    return taken.text if unit in ("", "length") else f"{taken.text} {unit}"


def plain_value(path: str, taken: Assumed) -> str:
    """Write a value that was taken in the words of a bench, with its unit."""
    return _VALUES.get((path, taken.text)) or with_unit(path, taken)


def plain_name(path: str) -> str:
    """Name a key in the words of a bench.

    Parameters
    ----------
    path
        Path of a key, such as ``setup.press_distance``.

    Returns
    -------
    str
        What a sheet calls it: the key without its table, unless that would be unclear.
    """
    if path in _NAMES:
        return _NAMES[path]
    table, _, key = path.rpartition(".")
    words = key.replace("_", " ")
    of = table.removeprefix("machine.").replace("cutters[", "cutter ").replace("]", "").replace(".", " ")
    return f"{of} {words}" if of != table or table.partition(".")[0] in _WITH_TABLE else words


_WITH_TABLE: Final = ("bridge", "jig", "nut", "blank")
_NAMES: Final = {
    "frets.count": "number of frets",
    "frets.divisions": "divisions of the octave",
    "frets.height": "height of a crown",
    "frets.slot_clearance": "slot deeper than tang by",
    "scale.square_fret": "square fret",
    "board.spacing": "strings spaced by",
    "board.string_spread_nut": "string spread at the nut",
    "board.string_spread_saddle": "string spread at the saddle",
    "board.edge_margin": "outer string to edge",
    "setup.nut_action": "action at the nut",
    "setup.relief_between": "relief between frets",
    "setup.press_distance": "finger behind the crown",
    "setup.clamped_ends": "ends of a string held stiffly",
    "compensation.nut": "nut compensation",
    "compensation.minimise": "least error",
    "compensation.tolerance": "tolerance",
    "compensation.rounding": "offsets rounded to",
    "calibration.stiffness": "stiffness, times",
    "calibration.stretch": "stretch, times",
    "jig.blade_to_pin": "blade to pin",
}
_VALUES: Final = {("compensation.minimise", "rms"): "average (rms)"}


def _unstated(
    table: Table, name: str, settled: Mapping[str, object], moot: Mapping[str, bool]
) -> Iterator[tuple[str, object, bool]]:
    """Yield path and value of what a table and the tables in it did not state, and whether it is a length."""
    for key, field in type(table).model_fields.items():
        path = f"{name}.{field.alias or key}"
        value = settled.get(path, getattr(table, key))
        if isinstance(value, Table):
            yield from _unstated(value, path, settled, moot)
        elif isinstance(value, tuple) and value and isinstance(value[0], Table):
            for place, each in enumerate(value, start=1):
                yield from _unstated(each, f"{path}[{place}]", settled, moot)
        elif key not in table.model_fields_set and value is not None and value != () and not moot.get(path):
            plain = isinstance(settled.get(path), _Rate)
            yield path, value, not plain and (path in settled or _is_length(field))


def _is_length(field: FieldInfo) -> bool:
    return any(isinstance(mark, LengthField) for mark in field.metadata)


def _written(value: object, plan: Plan | None) -> str:
    """Write a value as it would stand in the plan."""
    if isinstance(value, tuple):
        return f"[{', '.join(_written(each, plan) for each in value)}]"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float):
        if plan is None:
            return f"{value:g}"
        return show(value, plan.units, 4 if plan.units == "in" else 2 if round(value, 2) == value else 3)
    return str(value)
