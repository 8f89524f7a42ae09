"""Starter plans, from an invented workshop."""

from __future__ import annotations

import json
import re
from importlib.resources import files
from typing import Final

USUAL: Final = "electric-six"

_TITLE: Final = re.compile(r'^title = "(.*)" *# *(.*)$', re.MULTILINE)


def starters() -> dict[str, str]:
    """Give the text of each starter plan by its name."""
    found = {entry.name: entry for entry in files(__name__).iterdir() if entry.name.endswith(".toml")}
    return {name.removesuffix(".toml"): found[name].read_text("utf-8") for name in sorted(found)}


def about(text: str) -> str:
    """Say in a few words what instrument a starter plan is of."""
    return ": ".join(_TITLE.findall(text)[0])


def titled(text: str, title: str) -> str:
    """Give the text of a starter plan with a title of its own."""
    return _TITLE.sub(lambda _: f"title = {json.dumps(title, ensure_ascii=False)}", text, count=1)
