"""All keys of a plan: what each means, its unit and its default."""

from __future__ import annotations

import inspect
import re
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Any, Final, get_args

from pydantic import BaseModel, BeforeValidator
from pydantic_core import PydanticUndefined

from slotwright.layout.plan.bridges import KINDS, AnyBridge
from slotwright.layout.plan.fields import LengthField, OrTable, WrongValueError, reading_in
from slotwright.layout.plan.plan import Plan
from slotwright.layout.plan.table import Table

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from pydantic.fields import FieldInfo

    from slotwright.layout.units import Unit

_LISTS: Final = {
    "strings": "strings[...]",
    "aim": "aim[...]",
    "under": "under[...]",
    "cutters": "cutters[...]",
    "replace": "replace[...]",
    "template": "template[...]",
}  # keys that hold a list of tables
_UNIT: Final = re.compile(r" \[(cents|degrees|g/m|N mm2|mm/min|rev/min)\]")  # in what is said of a key


@dataclass(frozen=True, slots=True)
class Key:
    """One key of a plan.

    Parameters
    ----------
    path
        Its path, such as ``board.nut_width``; of the bridge with the kinds that have it, if not all have.
    words
        What it means, and where it is measured from.
    unit
        ``length``, cents, degrees and the like; empty for a number or a text.
    default
        As a plan would state it; empty where it is required or there is none.
    required
        A plan, or a table that is there, must state it.
    checks
        What its value is checked by.
    """

    path: str
    words: str
    unit: str
    default: str
    required: bool
    checks: tuple[Callable[[Any], Any], ...] = ()

    def limits(self, units: Unit) -> str:
        """Say what is allowed, as the refusal of something impossible does; empty where that names no limits."""
        for check in self.checks:
            for impossible in (1e300, object()):
                try:
                    with reading_in(units):
                        check(impossible)
                except WrongValueError as error:
                    if allowed := str(error).partition("allowed ")[2]:
                        return allowed
        return ""


def keys() -> tuple[Key, ...]:
    """List all keys that a plan may have.

    Returns
    -------
    tuple of Key
        In the order of the tables; words come from the descriptions of the tables themselves.
    """
    return tuple(_of(Plan, ""))


def unit_of(path: str) -> str:
    """Give the unit of a key.

    Parameters
    ----------
    path
        Its path in a plan, such as ``machine.cutters[1].feed``.

    Returns
    -------
    str
        As `Key.unit` has it; empty for what is no key of its own.
    """
    return _units().get(re.sub(r"\[\d+\]", "[...]", path), "")


@cache
def _units() -> dict[str, str]:
    return {key.path: key.unit for key in keys()}


def _of(table: type[BaseModel], path: str) -> Iterator[Key]:
    """Yield the keys of a table and of the tables in it."""
    said = _said(table)
    for key, field in table.model_fields.items():
        name = field.alias or key
        inside, here = _tables(field), f"{path}{name}"
        if name in said:
            yield _key(here, said[name], field)
        if name == "bridge":
            yield from _of_bridge()
        elif inside:
            yield from _of(inside[0], f"{path}{_LISTS.get(name, name)}.")
        for mark in field.metadata:
            if isinstance(mark, OrTable):
                yield from _of(mark.table, f"{here}.")


def _of_bridge() -> Iterator[Key]:
    """Yield the keys of all kinds of bridge; those of some name the kinds."""
    every = AnyBridge.model_fields
    said: dict[str, str] = {}
    for kind in KINDS:
        said |= _said(kind)
    for name, field in every.items():
        yield _key(f"bridge.{name}", said.get(name, ""), field)
        for table in _tables(field):
            yield from _of(table, f"bridge.{_LISTS.get(name, name)}.")
    for name in dict.fromkeys(name for kind in KINDS for name in kind.model_fields if name not in every):
        having = [kind for kind in KINDS if name in kind.model_fields]
        kinds = " or ".join(get_args(kind.model_fields["kind"].annotation)[0] for kind in having)
        field = having[0].model_fields[name]
        yield _key(f"bridge.{name}", f"{said.get(name, '')} ({kinds})", field)
        for table in _tables(field):
            yield from _of(table, f"bridge.{name}.")


def _key(path: str, words: str, field: FieldInfo) -> Key:
    unit = "length" if any(isinstance(mark, LengthField) for mark in field.metadata) else ""
    if found := _UNIT.search(words):
        unit, words = found[1], _UNIT.sub("", words)
    checks: list[Any] = [mark.func for mark in field.metadata if isinstance(mark, BeforeValidator)]
    alone = tuple(check for check in checks if len(inspect.signature(check).parameters) == 1)
    return Key(path, words.replace("``", ""), unit, _written(field.default), field.is_required(), alone)


def _said(table: type[Any]) -> dict[str, str]:
    """Take the description of each key from that of its table, or of what it is built on; nothing without any."""
    found: dict[str, str] = {}
    for base in reversed(table.__mro__):
        text = inspect.cleandoc(base.__doc__ or "").partition("----------\n")[2] if issubclass(base, Table) else ""
        for names, words in re.findall(r"^(\S.*)\n((?:    .*\n?)+)", text, re.MULTILINE):
            found |= dict.fromkeys(names.split(", "), " ".join(words.split()))
    return {name: words for name, words in found.items() if words != "The tables."}


def _tables(field: FieldInfo) -> list[type[BaseModel]]:
    """Give the tables that a key may hold."""
    return [each for each in _parts(field.annotation) if isinstance(each, type) and issubclass(each, BaseModel)]


def _parts(annotation: Any) -> Iterator[Any]:  # noqa: ANN401 - whatever stands there
    """Go through what an annotation is made of."""
    yield annotation
    for part in get_args(annotation):
        yield from _parts(part)


def _written(value: object) -> str:
    """Write a default as a plan states it."""
    if value is None or value is PydanticUndefined or isinstance(value, BaseModel):
        return ""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return f'"{value}"' if value else ""
    if isinstance(value, tuple):
        return f"[{', '.join(map(_written, value))}]" if value else ""
    return f"{value:g}" if isinstance(value, float) else str(value)
