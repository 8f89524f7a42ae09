"""Of ``slotwright survey``: new frets for an old board."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any, Final

import click

from slotwright.cli.console import length_of, print_json, read_measured
from slotwright.cli.wire import print_wire, print_wire_csv
from slotwright.layout.errors import PlanError, SlotwrightError
from slotwright.layout.findings import sentence
from slotwright.layout.limits import MOST_FRETS

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from pathlib import Path

    from slotwright.layout.plan.tables import Frets
    from slotwright.layout.survey.refret import Refret
    from slotwright.layout.units import Unit

_OF_WIRE: Final = ("tang_width", "bead_width", "length", "overhang")
_OF_FRETS: Final = ("tang_depth", "height")
_ELSEWHERE: Final = ("sigma", "saddle", "plan", "strings", "nut_width", "width", "spread_saddle", "plot", "force")
_MOST_PLANED: Final = 5.0  # mm


def run(measurements: Path, units: Unit, *, as_json: bool, **options: Any) -> None:  # noqa: ANN401 - one for each option
    """Print what new frets on a measured board take."""
    from slotwright.layout.export.data import survey as data  # noqa: PLC0415 - quick --help
    from slotwright.layout.readings.board import read_board  # noqa: PLC0415
    from slotwright.layout.survey.refret import refret  # noqa: PLC0415

    if other := [name for name in _ELSEWHERE if options[name]]:
        raise click.UsageError(f"--refret excludes --{other[0].replace('_', '-')}.")
    new = _new_frets(options["wire"], units)
    binding, plane = (
        0.0 if options[name] is None else length_of(f"--{name}", options[name], units, 0, most)
        for name, most in (("binding", 10.0), ("plane", _MOST_PLANED))
    )
    only = _frets_of(options["only"])
    found = read_measured(
        measurements,
        lambda text: refret(
            read_board(text, units),
            new,
            binding=binding,
            plane=plane,
            only=only,
            divisions=options["divisions"],
            units=units,
        ),
    )
    if as_json:
        print_json(data.refret(found))
        return
    if options["as_csv"]:
        print_wire_csv(found.wires, units)
        return
    title = options["title"] or measurements.stem.encode("utf-8", "replace").decode()  # a name may be no text
    print_wire(found.wires, title, units)
    for finding in found.findings:
        click.echo(sentence(finding))
    for key, unknown in _unknown(new, found):
        click.echo(f"{unknown} is not known without --wire {key}=LEN.")


def _unknown(new: Frets, found: Refret) -> Iterator[tuple[str, str]]:
    """Give what was measured and cannot be judged, with the key that is missing."""
    if found.old.slot_width and not (new.wire and new.wire.tang_width):
        yield "tang_width", "How the tang fits"
    if found.slots and found.needed is None:
        yield "tang_depth", "Which slots are too shallow"
    if found.old.crown_height and found.rise is None and not found.steps:
        yield "height", "How the new crowns stand to the old ones"


def _frets_of(given: str | None) -> tuple[int, ...]:
    """Read which frets are replaced: numbers and ranges, such as ``1-5,7``."""
    found: set[int] = set()
    for part in given.split(",") if given else ():
        first, _, last = (each.strip() for each in part.partition("-"))
        ends = [first, last or first]
        if not all(re.fullmatch("[0-9]{1,3}", end) and 0 < int(end) <= MOST_FRETS for end in ends):
            raise SlotwrightError(f'--only: given "{given}"; write frets as 1-5,7')
        if int(ends[0]) > int(ends[1]):
            raise SlotwrightError(f'--only: given "{part}"; it ends before it begins')
        found.update(range(int(ends[0]), int(ends[1]) + 1))
    return tuple(sorted(found))


def _new_frets(given: Sequence[str], units: Unit) -> Frets:
    """Read what is said of the new wire."""
    from slotwright.layout.plan.fields import reading_in  # noqa: PLC0415 - quick --help
    from slotwright.layout.plan.tables import Frets  # noqa: PLC0415

    said: dict[str, str] = {}
    for text in given:
        name, _, length = text.partition("=")
        if name not in (*_OF_WIRE, *_OF_FRETS) or not length:
            names = ", ".join((*_OF_WIRE, *_OF_FRETS))
            raise SlotwrightError(f'--wire: given "{text}"; allowed NAME=LEN, NAME one of {names}')
        if name in said:
            raise SlotwrightError(f"--wire: {name} is given twice; keep one")
        said[name] = length
    table: dict[str, Any] = {name: length for name, length in said.items() if name in _OF_FRETS}
    table["wire"] = {name: length for name, length in said.items() if name in _OF_WIRE}
    try:
        with reading_in(units):
            return Frets.model_validate(table)
    except PlanError as error:
        faults = (str(fault).removeprefix("wire.") for fault in error.faults)
        raise SlotwrightError("\n  ".join(f"--wire {fault}" for fault in faults)) from None
