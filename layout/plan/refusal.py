"""What validation found wrong with a plan, in a maker's words and with every fault at once."""

from __future__ import annotations

import copy
from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Any, Final, get_args

from pydantic import BaseModel, ValidationError

from slotwright.layout.errors import Fault
from slotwright.layout.names import BRIDGE_KINDS, ONE_TABLE, SEVERAL_TABLES, UNKNOWN_KIND
from slotwright.layout.plan.fields import OrTable, WrongTableError, WrongValueError, listed, nearest, quoted

# Lists whose other values are looked at when one is wrong: they do not hang on their places.
_LISTS: Final = ("position_marks", "double_marks", "tunings", "groups", "strings", "frets", "chords")
_TAGS: Final = (*BRIDGE_KINDS, UNKNOWN_KIND, ONE_TABLE, SEVERAL_TABLES)


def faults_of(
    model: type[BaseModel],
    validate: Callable[[Any], object],
    error: ValidationError,
    contents: Any,  # noqa: ANN401
) -> tuple[Fault, ...]:
    """Name everything that is wrong with the contents of a plan.

    Parameters
    ----------
    model
        The plan's model.
    validate
        Validates contents, or raises ValidationError.
    error
        What it raised for these.
    contents
        Tables and keys as TOML gives them.

    Returns
    -------
    tuple of Fault
        Each once, with its key path.
    """
    found, contents = _errors(error), contents if isinstance(contents, Mapping) else {}
    faults = [fault for each in found for fault in _faults(model, each, contents)]
    faults += _behind(model, validate, found, contents)
    return tuple(dict.fromkeys(faults))


def _errors(error: ValidationError) -> list[Any]:
    """Give pydantic's errors; which of several kinds of table it looked at is no part of a key path."""
    found: list[Any] = []
    for each in error.errors():
        loc = each["loc"]
        tagged = len(loc) > 1 and loc[0] in ("bridge", "strings") and loc[1] in _TAGS
        found.append({**each, "loc": (loc[0], *loc[2:])} if tagged else each)
    return found


def _behind(
    model: type[BaseModel], validate: Callable[[Any], object], errors: Sequence[Any], contents: Mapping[str, Any]
) -> Iterator[Fault]:
    """Find faults that others hide: what keys get wrong together is only seen once each is right."""
    pruned, gone = copy.deepcopy(dict(contents)), set[str]()
    for _ in range(
        4
    ):  # keys that say the same, wrong values, then tables wrong in themselves, then tables against each other
        blamed = {loc for error in errors for loc in _blamed(error)}
        # From the end of each list, so that what is still to be cut stays where it was.
        cut = {_path(loc) for loc in sorted(blamed, key=_from_the_end) if _cut(pruned, loc)}
        gone |= cut
        if not cut:
            return
        try:
            validate(pruned)
        except ValidationError as error:
            errors = _errors(error)
        else:
            return
        for each in errors:
            if _holds(each, gone):
                yield from (fault for fault in _faults(model, each, contents) if not _only_cut(fault, gone))


def _only_cut(fault: Fault, gone: set[str]) -> bool:
    """Tell whether a key is missed only because another of its table, which would stand for it, was cut out."""
    return fault.what == "missing" and any(path.startswith(fault.where.rpartition(".")[0]) for path in gone)


def _blamed(error: Any) -> Iterator[tuple[str | int, ...]]:  # noqa: ANN401 - a pydantic error
    """Yield the places of the keys that an error is about."""
    cause = error.get("ctx", {}).get("error")
    if isinstance(cause, WrongTableError):
        yield from ((*error["loc"], fault.where) for fault in cause.faults)
    elif isinstance(cause, WrongValueError) and error["loc"][-1] in _LISTS:
        yield from ((*error["loc"], *inside) for inside, _, _ in cause.each)
        if error["loc"][-1] == "frets":  # a weight belongs to each
            yield (*error["loc"][:-1], "weights")
    else:
        yield error["loc"]


def _from_the_end(loc: tuple[str | int, ...]) -> tuple[int, ...]:
    return tuple(-part for part in loc if isinstance(part, int))


def _holds(error: Any, gone: set[str]) -> bool:  # noqa: ANN401 - a pydantic error
    """Tell whether an error is no mere consequence of the keys that were cut out."""
    if not isinstance(error.get("ctx", {}).get("error"), WrongTableError):
        # What is missed, or a list that is empty, only because of what was cut.
        return error["type"] != "missing" and not any(path.startswith(_path(error["loc"])) for path in gone)
    # Defaults in the place of what was cut would be blamed unjustly.
    table = _path(error["loc"])
    leans_on = {"scale": ("scale",), "": ("frets.count", "strings", "scale")}.get(table, ())
    return not any(path.startswith(leans_on) for path in gone if leans_on)


def _cut(contents: Any, loc: tuple[str | int, ...]) -> bool:  # noqa: ANN401 - TOML holds anything
    """Take a wrong key out of a plan; tell whether there was one."""
    *way, last = loc or ("",)
    for part in way:
        try:
            contents = contents[part]
        except (KeyError, IndexError, TypeError):
            return False
    if isinstance(contents, dict) and last in contents:
        del contents[last]
        return True
    if isinstance(contents, list) and isinstance(last, int) and last < len(contents):
        del contents[last]
        return True
    return False


def _faults(model: type[BaseModel], error: Any, contents: Mapping[str, Any]) -> Iterator[Fault]:  # noqa: ANN401 - a pydantic error
    """Say in a maker's words what the validation found."""
    path = _path(error["loc"])
    cause = error.get("ctx", {}).get("error")
    if isinstance(cause, WrongTableError):
        for fault in cause.faults:
            yield Fault(".".join(filter(None, (path, fault.where))), fault.what, fault.mend)
    elif isinstance(cause, WrongValueError):
        for inside, what, mend in cause.each:
            yield Fault(_path((*error["loc"], *inside)), what, mend)
    elif error["type"] == "missing":
        yield _missing(error["loc"], contents)
    elif error["type"] == "extra_forbidden":
        yield from _unknown(model, error["loc"], contents)
    elif error["type"].startswith("model"):
        inline = bool(error["loc"]) and isinstance(error["loc"][-1], int)
        yield Fault(
            path,
            f"given {quoted(error['input'])}; a table belongs here",
            "write { ... }" if inline else f"write [{path}]" if path else "",
        )
    else:
        yield Fault(path, f"given {quoted(error['input'])}; {error['msg'].lower()}")


def _missing(loc: tuple[str | int, ...], contents: Mapping[str, Any]) -> Fault:
    key = str(loc[-1])
    table = _swallowed_by(key, contents) if len(loc) == 1 else None
    if table:
        return Fault(
            key,
            f"missing at the top of the file; a line below [{table}] belongs to that table",
            f"move {key} above the first table",
        )
    forms = {
        "title": 'write title = "..."',
        "strings": "write strings = 6, or a list of tables",
        "strings.set": 'write set = "electric 10-46", or the like',
        "scale": 'write [scale] and length = "648 mm"',
        "board": "write [board] and nut_width = ...",
        "bridge.kind": f"one of {listed(BRIDGE_KINDS)}",
    }
    return Fault(_path(loc), "missing", forms.get(_path(loc), "it has no default"))


def _swallowed_by(key: str, contents: Mapping[str, Any]) -> str | None:
    """Find the table above which a key of the top of the file should have stood."""
    if key in contents or key not in ("title", "units", "strings"):
        return None
    return next((name for name, inside in contents.items() if isinstance(inside, dict) and key in inside), None)


def _unknown(model: type[BaseModel], loc: tuple[str | int, ...], contents: Mapping[str, Any]) -> Iterator[Fault]:
    key = str(loc[-1])
    if of_kinds := _other_kinds(model, loc):
        yield Fault(_path(loc), f'belongs to {listed(of_kinds)}, not to "{contents["bridge"]["kind"]}"')
        return
    if len(loc) == 2 and _swallowed_by(key, contents) == loc[0] and key != "units":
        return  # said where the key is missed
    table = model
    for part in loc[:-1]:
        table = _inside(table, part, contents) if isinstance(part, str) else table
    known = [field.alias or key for key, field in table.model_fields.items()]
    mend = nearest(key, known) or f"known here: {', '.join(known)}"
    if len(loc) > 1 and key in model.model_fields:
        mend = f"{key} belongs at the top of the file, above the first table"
    yield Fault(_path((*loc[:-1], _shortened(key))), "unknown key", mend)


def _inside(model: type[BaseModel], key: str, contents: Mapping[str, Any]) -> type[BaseModel]:
    """Find the table that a key of another table holds; of the kinds of bridge the one that is stated."""
    held = _held(model, key)
    if len(held) < 2:
        return held[0] if held else model
    if key == "strings":
        return held[0] if isinstance(contents[key], Mapping) else held[-1]
    return next((table for table in held if contents[key].get("kind") in _kinds(table)), held[-1])


def _held(model: type[BaseModel], key: str) -> list[type[BaseModel]]:
    """Give every table that a key may hold; first one that may stand there instead of a list."""
    marks = model.model_fields[key].metadata
    found: list[type[BaseModel]] = [mark.table for mark in marks if isinstance(mark, OrTable)]
    parts: list[Any] = [model.model_fields[key].annotation]
    for part in parts:
        if isinstance(part, type) and issubclass(part, BaseModel):
            found.append(part)
        parts += getattr(part, "__args__", ())
    return found


def _kinds(table: type[BaseModel]) -> tuple[str, ...]:
    """Name the kind of bridge that a table is of; nothing for the one that has the keys of all."""
    kinds = get_args(table.model_fields["kind"].annotation)
    return kinds if len(kinds) == 1 else ()


def _other_kinds(model: type[BaseModel], loc: tuple[str | int, ...]) -> list[str]:
    """Name the kinds of bridge that have a key which the stated one has not."""
    if len(loc) != 2 or loc[0] != "bridge" or "bridge" not in model.model_fields:
        return []
    return [kind for table in _held(model, "bridge") if loc[1] in table.model_fields for kind in _kinds(table)]


def _path(loc: tuple[str | int, ...]) -> str:
    """Write a key path; strings and aims are counted from 1, as makers count them."""
    text = ""
    for part in loc:
        text += f"[{part + 1}]" if isinstance(part, int) else f".{part}" if text else part
    return text


def _shortened(key: str) -> str:
    shown = quoted(key)
    return key if shown == f'"{key}"' and key.isidentifier() else shown
