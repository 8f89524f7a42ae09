"""What stands on the page: its parts, each of which can be put in anew after an edit."""

from __future__ import annotations

from functools import cache
from importlib.resources import files
from itertools import groupby
from typing import TYPE_CHECKING, Any, Final

from jinja2 import Environment, FunctionLoader, StrictUndefined

from slotwright import templates
from slotwright.cli.desk.bench import bench
from slotwright.cli.desk.drawing import drawing
from slotwright.cli.desk.entries import entries
from slotwright.cli.desk.files import pages, programs, sheets
from slotwright.cli.desk.jobs import BY_NAME, printed
from slotwright.cli.desk.tables import additions, removable
from slotwright.cli.desk.values import named
from slotwright.layout import cautions
from slotwright.layout.export.paper import SIZES
from slotwright.layout.export.report import facts
from slotwright.layout.findings import sentence

if TYPE_CHECKING:
    from slotwright.cli.desk.entries import Entry
    from slotwright.cli.desk.keeper import Keeper
    from slotwright.layout.errors import Fault
    from slotwright.layout.names import Reader

PARTS = ("head", "picture", "answer", "job", "bench", "keys", "edits", "findings", "files")

_OF_PRINTS: Final = "Nothing on this page is at full size: print a sheet, and measure its scale bars before you cut."
_SHOWN_STEPS: Final = 12  # the last ones; those before are folded away
_MACROS = {"bench": "benched", "job": "handful"}  # their names are taken by what they show


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
    return {name: str(getattr(module, _MACROS.get(name, name))()) for name in PARTS}


def page(keeper: Keeper) -> bytes:
    """Write the whole page."""
    return environment().get_template("desk.html").render(whole=True, **_content(keeper)).encode()


def milled(keeper: Keeper) -> str:
    """Write the list of programs, once they are proved; raises MillError where the board cannot be milled."""
    instrument = keeper.desk.instrument
    found = programs(instrument, keeper.path.stem)
    rows = [
        (each.name, f"{each.cutter.shape} {instrument.length(each.cutter.diameter)}", f"{each.minutes:.0f}")
        for each in found
    ]
    module = environment().get_template("desk.html").make_module({"unit": instrument.plan.units})
    return str(module.programs(rows, cautions.MILLING))  # type: ignore[attr-defined]


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
    instrument, unit = desk.instrument, desk.instrument.plan.units
    listed = entries(desk)
    stem, found = keeper.path.stem, pages(desk, keeper.path.stem)
    return {
        "title": instrument.title,
        "file": keeper.path.name,
        "unsaved": keeper.unsaved,
        "asks": keeper.asks,
        "trouble": keeper.trouble,
        "bench": bench(desk),
        "table": keeper.readings.name,
        "unit": {"mm": "mm", "in": "inches"}[unit],
        "version": keeper.version,
        "heading": facts.heading(instrument)["parts"],
        "drawing": drawing(instrument, desk.before, [fault.where for fault in desk.faults]),
        "faults": fault_words(desk.faults),
        "words": desk.words,
        "changes": list(map(str, desk.changes)),
        "appeared": [facts.in_both(sentence(words), unit) for words in desk.appeared],
        "settled": [facts.in_both(sentence(words), unit) for words in desk.settled],
        "groups": [(name, list(group)) for name, group in groupby(listed, key=lambda entry: entry.group)],
        "removable": removable(desk),
        "additions": additions(instrument),
        "jobs": list(BY_NAME),
        "job": _job(keeper, listed, found),
        "wrong": {fault.where for fault in desk.faults},
        "steps": [step.words for step in desk.steps],
        "shown": max(0, len(desk.steps) - _SHOWN_STEPS),
        "at": desk.at,
        "found": facts.findings(instrument),
        "sheets": sheets(instrument, stem),
        "pages": found,
        "papers": list(SIZES),
        "machine": instrument.plan.machine is not None,
        "stem": stem,
        "cautions": [_OF_PRINTS, *cautions.of_page(bridge=instrument.placed is not None)[1:]],
    }


def _job(keeper: Keeper, listed: tuple[Entry, ...], found: dict[Reader, str]) -> dict[str, Any]:
    """Give the handful of values of the job that was chosen, and what is printed for it."""
    job = BY_NAME.get(keeper.job)
    if job is None:
        return {"name": ""}
    at = {entry.path: entry for entry in listed}
    there = (at[key] for key in job.keys if key in at)
    return {
        "name": job.name,
        # Of one scale and two only those are shown that the plan has.
        "rows": [entry for entry in there if entry.value or not entry.path.startswith("scale.")],
        "lacks": "bridge" if "bridge.kind" in job.keys and keeper.desk.instrument.plan.bridge is None else "",
        "print": printed(job, keeper.desk.instrument, keeper.path.stem, found),
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
