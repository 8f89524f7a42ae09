"""From the text of a plan file to a Plan, with every fault named at once."""

from __future__ import annotations

import copy
import re
import tomllib
from typing import TYPE_CHECKING, Any, Final

from pydantic import BaseModel, ValidationError

from slotwright.layout.errors import Fault, PlanError
from slotwright.layout.plan.fields import WrongValueError, listed, nearest, quoted
from slotwright.layout.plan.tables import BRIDGE_KINDS, Plan, Table, WrongTableError

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

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

# Lists whose other values are looked at when one is wrong: they do not hang on their places.
_LISTS: Final = ("position_marks", "double_marks", "tunings", "groups", "strings", "frets")

# Two keys of one table that state the same thing. Looked for in the text itself, so that they
# are named together with whatever else is wrong.
_SAME_THING: Final = (
    ("scale", "length", "treble"),
    ("scale", "length", "bass"),
    ("frets", "divisions", "cents"),
    ("board", "edge_margin", "width_at"),
    ("setup", "nut_action", "first_gap"),
)


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
    if len(text) > MOST_BYTES:
        raise PlanError([Fault("", f"the file has {len(text)} bytes; a plan has at most {MOST_BYTES}")])
    contents = _contents(text)
    return check_plan({**contents, "tunings": list(tunings)} if tunings else contents)


def check_plan(contents: Mapping[str, Any]) -> Plan:
    """Check the contents of a plan that is already a mapping.

    Parameters
    ----------
    contents
        Tables and keys as TOML gives them.

    Returns
    -------
    Plan
        The plan, every length in mm.

    Raises
    ------
    PlanError
        With all faults that were found.
    """
    faults = list(_same_thing(contents))
    units = contents.get("units")
    context = {"units": units if units in ("mm", "in") else "mm"}
    try:
        plan = Plan.model_validate(contents, context=context)
    except ValidationError as error:
        found = error.errors()
        faults += [fault for each in found for fault in _faults(each, contents)]
        faults += _behind(found, contents, context)
        raise PlanError(dict.fromkeys(faults)) from None
    if faults:
        raise PlanError(faults)
    return plan


def _behind(errors: Sequence[Any], contents: Mapping[str, Any], context: dict[str, Any]) -> Iterator[Fault]:
    """Find faults that others hide: what keys get wrong together is only seen once each is right."""
    pruned, gone = copy.deepcopy(dict(contents)), set[str]()
    for _ in range(3):  # wrong values, then tables wrong in themselves, then tables against each other
        blamed = {loc for error in errors for loc in _blamed(error)}
        # From the end of each list, so that what is still to be cut stays where it was.
        cut = {_path(loc) for loc in sorted(blamed, key=_from_the_end) if _cut(pruned, loc)}
        gone |= cut
        if not cut:
            return
        try:
            Plan.model_validate(pruned, context=context)
        except ValidationError as error:
            errors = error.errors()
        else:
            return
        for each in errors:
            if _holds(each, gone):
                yield from _faults(each, contents)


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
        return False  # a key that is missed only because it was cut
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


def _contents(text: bytes) -> dict[str, Any]:
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


def _same_thing(contents: Mapping[str, Any]) -> Iterator[Fault]:
    for table, kept, other in _SAME_THING:
        inside = contents.get(table)
        if isinstance(inside, dict) and kept in inside and other in inside:
            yield Fault(f"{table}.{other}", f"stated besides {table}.{kept}", "keep one of them")


def _faults(error: Any, contents: Mapping[str, Any]) -> Iterator[Fault]:  # noqa: ANN401 - a pydantic error
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
        yield from _unknown(error["loc"], contents)
    elif error["type"].startswith("model"):
        inline = isinstance(error["loc"][-1], int)
        yield Fault(
            path,
            f"given {quoted(error['input'])}; a table belongs here",
            "write { ... }" if inline else f"write [{path}]",
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


def _unknown(loc: tuple[str | int, ...], contents: Mapping[str, Any]) -> Iterator[Fault]:
    key = str(loc[-1])
    if len(loc) == 2 and _swallowed_by(key, contents) == loc[0] and key != "units":
        return  # said where the key is missed
    model: type[Table] = Plan
    for part in loc[:-1]:
        model = _inside(model, part) if isinstance(part, str) else model
    known = list(model.model_fields)
    mend = nearest(key, known) or f"known here: {', '.join(known)}"
    if len(loc) > 1 and key in Plan.model_fields:
        mend = f"{key} belongs at the top of the file, above the first table"
    yield Fault(_path((*loc[:-1], _shortened(key))), "unknown key", mend)


def _inside(model: type[Table], key: str) -> type[Table]:
    """Find the table that a key of another table holds."""
    kinds = [model.model_fields[key].annotation]
    for kind in kinds:
        if isinstance(kind, type) and issubclass(kind, BaseModel):
            return kind  # type: ignore[return-value]
        kinds += getattr(kind, "__args__", ())
    return model


def _path(loc: tuple[str | int, ...]) -> str:
    """Write a key path; strings and aims are counted from 1, as makers count them."""
    text = ""
    for part in loc:
        text += f"[{part + 1}]" if isinstance(part, int) else f".{part}" if text else part
    return text


def _shortened(key: str) -> str:
    shown = quoted(key)
    return key if shown == f'"{key}"' and key.isidentifier() else shown
