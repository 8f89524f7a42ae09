"""Whole tables and rows of a plan on the desk: put in with values to begin with, and taken out."""

from __future__ import annotations

import re
from math import ceil
from typing import TYPE_CHECKING, Final

import numpy as np

from slotwright.cli.desk.state import Refused, judged_edit
from slotwright.cli.desk.values import as_toml
from slotwright.layout.errors import Fault, PlanError
from slotwright.layout.plan.bridges import IndividualSaddles
from slotwright.layout.plan.reader import contents_of
from slotwright.layout.plan.writer import restated, with_row, without
from slotwright.layout.units import MM_PER_INCH

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping

    from slotwright.cli.desk.state import Desk, Outcome
    from slotwright.layout.instrument.instrument import Instrument
    from slotwright.layout.plan.plan import Plan

_SPARE: Final = 10.0  # mm that a new blank is longer and wider than needed (common practice, no source)
_NEEDED: Final = ("scale", "board", "strings")  # no plan is without
_DROPPED: Final = "dropped"  # a key that is taken out


def additions(instrument: Instrument) -> dict[str, str]:
    """List what can be put into a plan: a word for it, and what it is for."""
    plan = instrument.plan
    one = plan.scale.length is not None
    found = {
        "two scales" if one else "one scale": "a scale for each outer string" if one else "all strings as string 1",
        "string": "one more, like the last" if plan.string_set is None and plan.strings[-1].gauge else "",
        "blank": "the square blank the board is cut from" if plan.blank is None else "",
        "jig": "a notched strip for a saw sled" if plan.jig is None else "",
        "fret wire": "how the wire fits its slots" if plan.frets.wire is None else "",
        "width at a fret": "a taper by width" if plan.board.width_at is None else "",
        "bridge": "where it stands, what to drill" if plan.bridge is None else "",
        "old bridge": "what is there already" if plan.bridge is not None and plan.bridge.existing is None else "",
        "aim": "other frets for some strings" if not plan.compensation.aim or _divisible(plan) is not None else "",
        "template": "for a router's guide bush",
    }
    return {name: words for name, words in found.items() if words}


def add(desk: Desk, what: str) -> Outcome:
    """Put a table or a row into the plan, with values to begin with that can be drawn."""
    if what not in additions(desk.instrument):
        return Refused((Fault("", "that cannot be put in here"),))
    made = _MAKERS[what](desk.instrument)
    text = desk.text
    try:
        for path, written in made.items():
            if path.endswith("[]"):
                text = with_row(text, path[:-2], written)
            else:
                text = restated(text, path, None if written == _DROPPED else written)
    except (KeyError, ValueError) as error:
        return Refused((Fault("", f"the file cannot be changed here ({error})", "mend it in an editor"),))
    return judged_edit(desk, text, f"{what} put in")


def take_out(desk: Desk, path: str) -> Outcome:
    """Take a table, or a row of a list of tables, out of the plan."""
    try:
        text = without(desk.text, path)
    except KeyError:
        return Refused((Fault(path, "the plan has no such table any more"),))
    return judged_edit(desk, text, f"{path} taken out")


def removable(desk: Desk) -> dict[str, list[tuple[str, str]]]:
    """List what may be taken out: by the table they stand in, path and name of tables and of rows."""
    try:
        contents = contents_of(desk.text)
    except PlanError:
        return {}
    found: dict[str, list[tuple[str, str]]] = {}
    for name, value in contents.items():
        paths = [*_inside(value, name), *([] if name in _NEEDED or not isinstance(value, dict) else [name])]
        if paths:
            found[name] = [(path, _called(path)) for path in paths]
    return found


def _called(path: str) -> str:
    """Name a table or a row: ``cutter 2``, ``width at``, ``aim 1``."""
    last = re.sub(r"s?\[([0-9]+)\]$", r" \1", path.rpartition(".")[2])
    return last.replace("_", " ")


def _inside(value: object, path: str) -> Iterator[str]:
    """Yield the paths of tables within a table or a list."""
    if isinstance(value, list) and (path != "strings" or len(value) > 1):
        yield from (f"{path}[{place}]" for place, row in enumerate(value, start=1) if isinstance(row, dict))
    if isinstance(value, dict):
        for name, each in value.items():
            if isinstance(each, dict):
                yield f"{path}.{name}"
            yield from _inside(each, f"{path}.{name}")


def _length(instrument: Instrument, length: float, step: float = 1.0) -> str:
    """Write a length [mm] as a whole number of steps of mm, or of eighths of an inch, no shorter than it is."""
    if instrument.plan.units == "mm":
        return f"{ceil(length / step - 1e-9) * step:g}"
    return f"{ceil(length / MM_PER_INCH * 8 - 1e-9) / 8:g}"


def _blank(instrument: Instrument) -> dict[str, str]:
    length, width = np.ptp(instrument.neck.outline, axis=0)
    return {
        "blank.length": _length(instrument, float(length) + 2 * _SPARE, 5.0),
        "blank.width": _length(instrument, float(width) + _SPARE),
    }


def _two_scales(instrument: Instrument) -> dict[str, str]:
    stated = f'"{instrument.plan.said(instrument.plan.scale.length or 0.0)}"'
    single = {"bridge.outline": _DROPPED} if isinstance(instrument.plan.bridge, IndividualSaddles) else {}
    return {"scale.length": _DROPPED, "scale.treble": stated, "scale.bass": stated, **single}


def _one_scale(instrument: Instrument) -> dict[str, str]:
    stated = f'"{instrument.plan.said(instrument.plan.scale.treble or 0.0)}"'
    return {"scale.treble": _DROPPED, "scale.bass": _DROPPED, "scale.square_fret": _DROPPED, "scale.length": stated}


def _width_at(instrument: Instrument) -> dict[str, str]:
    plan = instrument.plan
    fret = min(12, plan.frets.count)
    width = float(np.ptp(instrument.neck.lines_in_board[fret, :, 1]))
    return {
        "board.edge_margin": _DROPPED,
        "board.width_at": f'{{ fret = {fret}, width = "{plan.said(width)}" }}',
    }


def _string(instrument: Instrument) -> dict[str, str]:
    return {"strings[]": as_toml(instrument.plan.strings[-1].contents())}


def _divisible(plan: Plan) -> int | None:
    """Find an aim of several strings."""
    several = (place for place, aim in enumerate(plan.compensation.aim) if len(aim.strings or ()) > 1 and aim.frets)
    return next(several, None)


def _aim(instrument: Instrument) -> dict[str, str]:
    """Give one string of an aim an aim of its own, the same to begin with."""
    plan = instrument.plan
    place = _divisible(plan)
    if place is None:
        return {"compensation.aim[]": f"{{ strings = [1], frets = [{min(12, plan.frets.count)}] }}"}
    aim = plan.compensation.aim[place]
    *others, own = aim.strings or ()
    return {
        f"compensation.aim[{place + 1}].strings": str(others),
        "compensation.aim[]": f"{{ strings = [{own}], frets = {list(aim.frets or ())} }}",
    }


# Sizes to begin with are common practice, no source: a maker puts in what is there.
_MAKERS: Final[Mapping[str, Callable[[Instrument], dict[str, str]]]] = {
    "two scales": _two_scales,
    "one scale": _one_scale,
    "string": _string,
    "blank": _blank,
    "jig": lambda _: {"jig.pin": '"3 mm"'},
    "fret wire": lambda _: {"frets.wire": '{ tang_width = "0.52 mm" }'},
    "width at a fret": _width_at,
    "bridge": lambda _: {"bridge.kind": '"saddle slot"'},
    "old bridge": lambda _: {"bridge.existing": '{ from = "fret 12" }'},
    "aim": _aim,
    "template": lambda _: {"template[]": '{ for = "outline", bush = "17 mm", cutter = "8 mm" }'},
}
