"""Of ``slotwright frets``: the fret wire to cut."""

from __future__ import annotations

import csv
import math
import sys
from typing import TYPE_CHECKING, Final

import click

from slotwright.cli.console import UNIT_NAMES, print_table
from slotwright.layout.units import show

if TYPE_CHECKING:
    from collections.abc import Iterator

    import numpy as np
    from numpy.typing import NDArray

    from slotwright.layout.instrument.wire import Wires
    from slotwright.layout.units import Unit

    # Lengths [mm], and the decimals that a hand works to in mm and in inches.
    _Column = tuple[NDArray[np.float64], tuple[int, int]]

_CUT: Final = (0, 3)


def print_wire(wires: Wires, title: str, units: Unit) -> None:
    """Print the wire of every fret and how the rods are cut."""
    click.echo(f"{title}: fret wire, lengths in {UNIT_NAMES[units]}, over the curve of the board")
    print_table(*wire_rows(wires, units))
    for line in rod_lines(wires, units):
        click.echo(line)


def wire_rows(wires: Wires, units: Unit) -> tuple[list[str], list[list[str]]]:
    """Give head and rows of the wire of every fret; what has no meaning on this board is left out."""
    columns: dict[str, _Column] = {"over the board": (wires.over_board, (1, 3)), "cut": (wires.cut, _CUT)}
    if wires.nip.any():
        columns |= {"tang left": (wires.tang, (1, 2)), "nip each end": (wires.nip, (1, 2))}
    if math.isfinite(wires.bend[0]):
        columns["bend to radius"] = (wires.bend, (0, 1))
    rows = [
        [
            str(fret),
            *(show(float(column[place]), units, digits[units == "in"]) for column, digits in columns.values()),
        ]
        for place, fret in enumerate(wires.frets)
    ]
    return ["fret", *columns], rows


def rod_lines(wires: Wires, units: Unit) -> Iterator[str]:
    """Say how much wire that is, and how the rods are cut."""

    def said(length: float) -> str:
        return f"{show(length, units, _CUT[units == 'in'])} {units}"

    yield f"total: {said(wires.total)} in {len(wires.frets)} pieces"
    yield f"rods of {said(wires.length)}: {len(wires.rods)}"
    for number, (rod, left) in enumerate(zip(wires.rods, wires.left, strict=True), start=1):
        yield f"  {number}: fret{'s' * (len(rod) > 1)} {', '.join(map(str, rod))}; {said(left)} left"


def print_wire_csv(wires: Wires, units: Unit) -> None:
    """Print the same as comma-separated values, every column; without a radius that one is empty."""
    columns = {
        "over the board": wires.over_board,
        "cut": wires.cut,
        "tang left": wires.tang,
        "nip each end": wires.nip,
        "bend to radius": wires.bend,
    }
    rod_of = {fret: number for number, rod in enumerate(wires.rods, start=1) for fret in rod}
    writer = csv.writer(sys.stdout, lineterminator="\n")
    writer.writerow(["fret", *(f"{name} [{units}]" for name in columns), "rod"])
    for place, fret in enumerate(wires.frets):
        lengths = (float(column[place]) for column in columns.values())
        cells = (show(x, units, 3 if units == "mm" else 4) if math.isfinite(x) else "" for x in lengths)
        writer.writerow([fret, *cells, rod_of.get(fret, "")])
