"""Values of a plan as a person types and reads them."""

from __future__ import annotations

import json
import re
from typing import TYPE_CHECKING, Any, Final

from slotwright.layout.plan.assumed import plain_name
from slotwright.layout.plan.writer import steps_of

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

MOST_LETTERS: Final = 2000
_NAMES: Final = {
    "job.reference": "job or customer",
    "scale.length": "scale",
    "scale.treble": "treble scale",
    "scale.bass": "bass scale",
}
_SWITCHES: Final = {"yes": "true", "no": "false"}
_DECIMAL_COMMA: Final = re.compile(r"([-+]?[0-9]+),([0-9]{1,2})(\s*[a-z\"']+)?")
_NUMBER: Final = re.compile(r"[-+]?(\d+(\.\d+)?|\.\d+)")


def stated(contents: Mapping[str, Any], path: str) -> object:
    """Give what a plan file states at a key path, as TOML gives it; None where it states nothing."""
    found: Any = contents
    try:
        for step in steps_of(path):
            found = found[step]
    except (KeyError, IndexError, TypeError):
        return None
    return found


def named(path: str) -> str:
    """Name a key in the words of a bench, such as ``string 3 gauge``."""
    if "[" not in path:
        return _NAMES.get(path) or plain_name(path)
    table, _, key = path.rpartition(".")
    place = re.sub(r"s?\[(\d+)\]", r" \1", table.removeprefix("machine.").removeprefix("compensation."))
    return f"{place} {key}".replace("_", " ").replace(".", " ")


def shown(value: object) -> str:
    """Write a value as a person reads it: text bare, a plain row without brackets; empty for None."""
    if value is None:
        return ""
    if isinstance(value, list) and value and all(_is_plain(each) for each in value):
        return ", ".join(map(shown, value))
    return value if isinstance(value, str) else as_toml(value)


def written(given: str) -> tuple[str, ...]:
    """Say what somebody who typed a value may have meant.

    Parameters
    ----------
    given
        One line, not empty, such as ``43``, ``25 1/2 in``, ``1.5, 1.9`` or ``even gaps``.

    Returns
    -------
    tuple of str
        Values as TOML writes them, what is likeliest first; nothing where it cannot stand in a file.
    """
    text = re.sub("^\u2212(?=[0-9.])", "-", given.strip())
    if len(text) > MOST_LETTERS or not _can_stand(text):
        return ()
    return tuple(dict.fromkeys(_readings(text)))


def _readings(text: str) -> Iterator[str]:
    if text.lower() in _SWITCHES:
        yield _SWITCHES[text.lower()]
    # A decimal comma, but for what looks more like two numbers: 628,5 and not 254,406.
    if found := _DECIMAL_COMMA.fullmatch(text):
        yield _quoted(f"{found[1]}.{found[2]}{found[3]}") if found[3] else f"{found[1]}.{found[2]}"
    if re.fullmatch(r"[-+]?\.\d+", text):
        text = text.replace(".", "0.", 1)
    if _isas_toml(text):
        yield text
        if _NUMBER.fullmatch(text):
            yield f"[{text}]"  # a row of one, as text below
    if "," in text and text[0] not in "[{\"'":
        parts = [part.strip() for part in text.split(",")]
        each = (part if _NUMBER.fullmatch(part) and _isas_toml(part) else _quoted(part) for part in parts)
        yield f"[{', '.join(each)}]"
        yield f"[{', '.join(map(_quoted, parts))}]"
    yield _quoted(text)
    if not _NUMBER.fullmatch(text):
        yield f"[{_quoted(text)}]"


def _can_stand(text: str) -> bool:
    try:
        text.encode()
    except UnicodeEncodeError:
        return False
    return all(letter >= " " and letter != "\x7f" for letter in text)


def _isas_toml(text: str) -> bool:
    import tomlkit  # noqa: PLC0415 - wanted only once something is typed
    from tomlkit.exceptions import TOMLKitError  # noqa: PLC0415

    try:
        tomlkit.value(text)
    except (TOMLKitError, ValueError, RecursionError):
        return False
    return True


def _is_plain(value: object) -> bool:
    return isinstance(value, int | float) or (isinstance(value, str) and "," not in value)


def as_toml(value: object) -> str:
    """Write a value as TOML does, on one line."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return _quoted(value)
    if isinstance(value, list):
        return f"[{', '.join(map(as_toml, value))}]"
    if isinstance(value, dict):
        return f"{{ {', '.join(f'{key} = {as_toml(each)}' for key, each in value.items())} }}" if value else "{}"
    return str(value)


def _quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=False)  # TOML's basic strings have the same escapes
