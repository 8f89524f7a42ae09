"""Every key of a plan that can be edited: what it means, what it says, whether that was stated or assumed."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Any, Final

from slotwright.cli.desk.values import named, shown, stated
from slotwright.layout.errors import PlanError
from slotwright.layout.names import BRIDGE_KINDS
from slotwright.layout.plan.keys import Key, keys
from slotwright.layout.plan.reader import contents_of
from slotwright.layout.plan.writer import steps_of

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from slotwright.cli.desk.state import Desk
    from slotwright.layout.instrument.instrument import Instrument
    from slotwright.layout.units import Unit

# Tables that every instrument has, whether the file writes them or not.
_ALWAYS: Final = ("scale", "frets", "board", "setup", "compensation", "calibration", "job")
# The kinds of bridge that have a key: of a plan's own bridge they go without saying.
_KINDS: Final = re.compile(rf" \((({'|'.join(BRIDGE_KINDS)})( or )?)+\)$")


_ROW: Final = re.compile(r"^\[([^\[\]]*)\]$")


@dataclass(frozen=True, slots=True)
class Entry:
    """A key as it stands in one plan.

    Parameters
    ----------
    path
        Its path, such as ``strings[2].gauge``.
    name
        What a bench calls it.
    words
        What it means, and where it is measured from.
    unit
        Of a bare number; empty where it has none.
    limits
        What is allowed, as a refusal says it; empty where that is no range and no list.
    value
        What the file states, as a person reads it; empty where it states nothing.
    instead
        What holds then; empty where nothing does.
    required
        The plan cannot do without it.
    """

    path: str
    name: str
    words: str
    unit: str
    limits: str
    value: str
    instead: str
    required: bool

    @property
    def group(self) -> str:
        """Name of the table it stands in."""
        return str(steps_of(self.path)[0]) if "." in self.path else "plan"


def entries(desk: Desk) -> tuple[Entry, ...]:
    """List what can be edited.

    Parameters
    ----------
    desk
        The plan.

    Returns
    -------
    tuple of Entry
        In the order of the tables; keys of tables that the plan has.
    """
    try:
        contents = contents_of(desk.text)
    except PlanError:
        return ()
    found = tuple(_entries(contents, desk.instrument))
    groups = list(dict.fromkeys(entry.group for entry in found))
    return tuple(sorted(found, key=lambda entry: (groups.index(entry.group), _row(entry.path))))


def _row(path: str) -> tuple[int, ...]:
    """Give the places of lists in a path, so that what belongs to one string or cutter stands together."""
    return tuple(step for step in steps_of(path) if isinstance(step, int))


@cache
def _keys() -> tuple[Key, ...]:
    return keys()


@cache
def _limits(key: Key, units: Unit) -> str:
    return key.limits(units)


def _entries(contents: Mapping[str, Any], instrument: Instrument) -> Iterator[Entry]:
    bridge = instrument.plan.bridge
    having = {field.alias or name for name, field in type(bridge).model_fields.items()} if bridge else set()
    seen = set()
    for key in _keys():
        if key.path.startswith("bridge.") and steps_of(key.path)[1] not in having:
            continue
        for path in _places(contents, key.path):
            value = stated(contents, path)
            if path in seen or _holds_tables(value):
                continue
            seen.add(path)
            taken = instrument.assumed.get(path)
            yield Entry(
                path=path,
                name=named(path),
                words=_KINDS.sub("", key.words),
                unit=instrument.plan.units if key.unit == "length" else key.unit,
                limits=_limits(key, instrument.plan.units),
                value=shown(value),
                instead="" if value is not None or not taken else _ROW.sub(r"\1", taken.text),
                required=key.required,
            )


def _places(contents: Mapping[str, Any], path: str) -> Iterator[str]:
    """Yield the paths that a key has in a file: one for each table of a list."""
    if "[...]" in path:
        before, _, behind = path.partition("[...]")
        if isinstance(rows := stated(contents, before), list):
            for place, row in enumerate(rows, start=1):
                if isinstance(row, dict):
                    yield from _places(contents, f"{before}[{place}]{behind}")
        return
    table = path.rpartition(".")[0]
    if not table or table in _ALWAYS or isinstance(stated(contents, table), dict):
        yield path


def _holds_tables(value: object) -> bool:
    return isinstance(value, dict) or (isinstance(value, list) and any(isinstance(each, dict) for each in value))
