"""Texts of plans, changed in one place and left as they were written elsewhere."""

from __future__ import annotations

import codecs
import re
from typing import TYPE_CHECKING, Any

from slotwright.layout.plan.reader import parse_plan

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence


def steps_of(path: str) -> tuple[str | int, ...]:
    """Take a key path apart.

    Parameters
    ----------
    path
        Such as ``strings[2].gauge``, counted from 1.

    Returns
    -------
    tuple
        Keys, and places counted from 0.
    """
    return tuple(int(step) - 1 if step.isdigit() else step for step in re.findall(r"[^.\[\]]+", path))


def restated(text: bytes, path: str, written: str | None) -> bytes:
    """Put one value into the text of a plan, or take it out; everything else stays as it was written.

    Parameters
    ----------
    text
        A plan file.
    path
        Path of the key, such as ``board.nut_width`` or ``strings[2].gauge``; a table that is not there is made.
    written
        The value as TOML writes it; None takes the key out.

    Returns
    -------
    bytes
        The file, comments and order kept; it is not checked whether it still is a plan.

    Raises
    ------
    KeyError
        There is no such place, or tables stand there.
    ValueError
        What is written is no value of TOML.
    """
    import tomlkit  # noqa: PLC0415 - wanted only here
    from tomlkit.exceptions import NonExistentKey, TOMLKitError  # noqa: PLC0415

    document = tomlkit.parse(text.decode("utf-8-sig"))
    *way, key = steps_of(path) or ("",)
    table: Any = document
    try:
        for step in way:
            if isinstance(step, str) and step not in table:
                if written is None:
                    return text
                table[step] = tomlkit.table() if table is document else tomlkit.inline_table()
            table = table[step]
        if -1 in way or not isinstance(table, dict) or not isinstance(key, str) or _holds_tables(table.get(key)):
            raise KeyError(path)
        if written is not None:
            table[key] = tomlkit.value(written)
        elif key in table:
            del table[key]
        changed = tomlkit.dumps(document).encode()
    except (IndexError, NonExistentKey, TypeError):
        raise KeyError(path) from None
    except (RecursionError, TOMLKitError) as error:
        raise ValueError(str(error)) from None
    return _begun(text) + changed


def with_row(text: bytes, path: str, written: str) -> bytes:
    """Put one more table at the end of a list of tables, which is made where it is not there.

    Parameters
    ----------
    text
        A plan file.
    path
        Path of the list, such as ``compensation.aim``.
    written
        The table as TOML writes it on one line.

    Returns
    -------
    bytes
        The file; comments and order are kept.
    """
    import tomlkit  # noqa: PLC0415 - wanted only here

    document = tomlkit.parse(text.decode("utf-8-sig"))
    rows, row = _found(document, steps_of(path)), tomlkit.value(written)
    if not isinstance(rows, list) and "." in path:
        return restated(text, path, f"[{written}]")
    if rows is None:
        rows = tomlkit.aot()
        document.append(path, rows)
    if isinstance(rows, tomlkit.items.AoT):
        table = tomlkit.table()
        table.update(row.unwrap())
        rows.append(table)
    else:
        rows.append(row)
    return _begun(text) + tomlkit.dumps(document).encode()


def without(text: bytes, path: str) -> bytes:
    """Take a table, or a row of a list of tables, out of the text of a plan.

    Parameters
    ----------
    text
        A plan file.
    path
        Such as ``blank`` or ``compensation.aim[2]``; of a list of one row the list is taken out.

    Returns
    -------
    bytes
        The file; comments within what is taken out go with it.

    Raises
    ------
    KeyError
        There is no such table.
    """
    import tomlkit  # noqa: PLC0415 - wanted only here

    document = tomlkit.parse(text.decode("utf-8-sig"))
    *way, last = steps_of(path) or ("",)
    around = _found(document, way)
    if isinstance(last, int) and isinstance(around, list) and len(around) == 1:
        *way, last = way
        around = _found(document, way)
    if not isinstance(_found(around, [last]), dict | list):
        raise KeyError(path)
    del around[last]
    return _begun(text) + tomlkit.dumps(document).encode()


def _found(inside: Any, way: Sequence[str | int]) -> Any:  # noqa: ANN401 - whatever stands there
    """Follow a path; None where it leads nowhere."""
    for step in way:
        try:
            inside = inside[step]
        except (KeyError, IndexError, TypeError):
            return None
    return inside


def _begun(text: bytes) -> bytes:
    return codecs.BOM_UTF8 if text.startswith(codecs.BOM_UTF8) else b""


def _holds_tables(value: object) -> bool:
    return isinstance(value, dict) or (isinstance(value, list) and any(isinstance(each, dict) for each in value))


def recalibrated(text: bytes, stiffness: float, stretch: float, press_depth: float | None = None) -> bytes:
    """Put calibration factors into the text of a plan; everything else stays as it was written.

    Parameters
    ----------
    text
        A plan file.
    stiffness, stretch
        The factors.
    press_depth
        The depth that goes with them [mm]; None leaves the plan's as it was written.

    Returns
    -------
    bytes
        The file with its `[calibration]`, comments kept.
    """
    import tomlkit  # noqa: PLC0415 - wanted only here

    document = tomlkit.parse(text.decode("utf-8-sig"))
    table = document.setdefault("calibration", tomlkit.table())
    for key, factor in (("stiffness", stiffness), ("stretch", stretch)):
        table[key] = round(factor, 4)
    if press_depth is not None:
        deep = round(press_depth, 3)
        if deep or "press_depth" in document.get("setup", {}):  # unless stated it is 0
            document.setdefault("setup", tomlkit.table())["press_depth"] = f"{deep:.3f} mm" if deep else 0
    written = tomlkit.dumps(document).encode()
    parse_plan(written)
    return written


def stiffened(text: bytes, inharmonicities: Mapping[int, float]) -> bytes:
    """Put the inharmonicity that strings were heard to have into the text of a plan.

    Parameters
    ----------
    text
        A plan file.
    inharmonicities
        B of open strings by number; a `bending` that was stated gives way to it.

    Returns
    -------
    bytes
        The file with the keys of these strings, comments kept.
    """
    import tomlkit  # noqa: PLC0415 - wanted only here

    document = tomlkit.parse(text.decode("utf-8-sig"))
    strings = document["strings"]
    if isinstance(strings, dict):  # a set: what is known better of a string replaces it
        if "replace" not in strings:
            _put(strings, "replace", tomlkit.array())
        replaced = strings["replace"]
        for number, found in sorted(inharmonicities.items()):
            own = next((each for each in replaced if int(each["string"]) == number), None)
            if own is None:
                own = tomlkit.inline_table()
                own["string"] = number
                own["inharmonicity"] = float(f"{found:.4g}")
                replaced.append(own)
            else:
                own.pop("bending", None)
                _put(own, "inharmonicity", float(f"{found:.4g}"))
    else:
        for number, found in sorted(inharmonicities.items()):
            own = strings[number - 1]
            own.pop("bending", None)
            _put(own, "inharmonicity", float(f"{found:.4g}"))
    written = tomlkit.dumps(document).encode()
    parse_plan(written)
    return written


def _put(table: Any, key: str, value: object) -> None:  # noqa: ANN401 - a table of tomlkit, whose types are not told
    """Put a value into a table; where that stands on one line, its brace stays as far behind the last value."""
    from tomlkit import item  # noqa: PLC0415 - wanted only here
    from tomlkit.items import InlineTable  # noqa: PLC0415

    new = item(value)
    if isinstance(table, InlineTable) and key not in table and table.as_string().endswith(" }"):
        new.trivia.trail = " "
    table[key] = new
