"""Starter plans, from an invented workshop."""

from __future__ import annotations

from importlib.resources import files


def starters() -> dict[str, str]:
    """Give the text of each starter plan by its name."""
    found = {entry.name: entry for entry in files(__name__).iterdir() if entry.name.endswith(".toml")}
    return {name.removesuffix(".toml"): found[name].read_text("utf-8") for name in sorted(found)}
