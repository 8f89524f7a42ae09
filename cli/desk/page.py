"""What stands on the page: its parts, each of which can be put in anew after an edit."""

from __future__ import annotations

from dataclasses import asdict
from functools import cache
from importlib.resources import files
from itertools import groupby
from typing import TYPE_CHECKING, Any

from jinja2 import Environment, FunctionLoader, StrictUndefined

from slotwright import templates
from slotwright.cli.desk.drawing import drawing
from slotwright.cli.desk.entries import entries
from slotwright.cli.desk.files import sheets
from slotwright.cli.desk.values import named
from slotwright.layout import cautions
from slotwright.layout.export.report import facts
from slotwright.layout.findings import sentence

if TYPE_CHECKING:
    from slotwright.cli.desk.keeper import Keeper
    from slotwright.layout.errors import Fault

PARTS = ("head", "picture", "answer", "keys", "edits", "findings", "files")


def parts(keeper: Keeper) -> dict[str, str]:
    """Write the parts of the page that an edit may change.

    Parameters
    ----------
    keeper
        The plan.

    Returns
    -------
    dict
        Name of each part to its HTML.
    """
    content = _content(keeper)
    module = environment().get_template("desk.html").make_module(content)
    return {name: str(getattr(module, name)()) for name in PARTS}


def page(keeper: Keeper) -> bytes:
    """Write the whole page."""
    return environment().get_template("desk.html").render(whole=True, **_content(keeper)).encode()


def fault_words(faults: tuple[Fault, ...]) -> list[dict[str, str]]:
    """Write faults for the page: the key, and what is wrong there."""
    return [
        {
            "key": fault.where,
            "name": named(fault.where) if fault.where else "the plan",
            "words": f"{fault.what}; {fault.mend}" if fault.mend else fault.what,
        }
        for fault in faults
    ]


def asset(name: str) -> bytes:
    """Give a style sheet or a script."""
    return (files(templates) / name).read_bytes()


def _content(keeper: Keeper) -> dict[str, Any]:
    desk = keeper.desk
    instrument = desk.instrument
    listed = groupby(entries(desk), key=lambda entry: entry.group)
    return {
        "title": instrument.title,
        "file": keeper.path.name,
        "unit": instrument.plan.units,
        "version": keeper.version,
        "heading": facts.heading(instrument)["parts"],
        "drawing": drawing(instrument, desk.before, [fault.where for fault in desk.faults]),
        "faults": fault_words(desk.faults),
        "words": desk.words,
        "changes": list(map(str, desk.changes)),
        "appeared": [sentence(words) for words in desk.appeared],
        "settled": [sentence(words) for words in desk.settled],
        "groups": [(name, [asdict(entry) for entry in group]) for name, group in listed],
        "wrong": {fault.where for fault in desk.faults},
        "steps": [step.words for step in desk.steps],
        "at": desk.at,
        "found": facts.findings(instrument),
        "sheets": sheets(instrument, keeper.path.stem),
        "stem": keeper.path.stem,
        "cautions": cautions.of_page(bridge=instrument.placed is not None),
    }


@cache
def environment() -> Environment:
    """Give what writes pages from templates, everything escaped."""
    return Environment(
        autoescape=True,  # a title is shown as it was written, whatever it looks like
        loader=FunctionLoader(lambda name: asset(name).decode()),
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
