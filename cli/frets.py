"""``slotwright frets``: the fret table."""

from __future__ import annotations

import csv
import math
import sys
from typing import TYPE_CHECKING, Any

import click
import numpy as np

from slotwright.cli.console import FILE, UNIT_NAMES, print_json, print_table, read_instrument, warn
from slotwright.layout import cautions

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from slotwright.layout.instrument.instrument import Instrument


@click.command("frets", epilog="Example: slotwright frets heron.toml --csv > heron.csv")
@click.argument("plan", type=FILE)
@click.option("--wire", is_flag=True, help="Print the fret wire to cut instead.")
@click.option("--csv", "as_csv", is_flag=True, help="Print comma-separated values, lengths in the plan's unit.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object, lengths in mm.")
def command(plan: Path, wire: bool, as_csv: bool, as_json: bool) -> None:
    """Print where the frets of PLAN lie and how deep they are sawn.

    All distances run from the nut. The step from the fret before is there to check a mark by, never
    to mark from: small errors would add up. With --wire: the wire to cut for every fret, the tang to
    nip on a bound board or a blind slot, the rods that takes, and how the wire fits its slots.
    """
    if as_csv and as_json:
        raise click.UsageError("--csv and --json exclude each other.")
    from slotwright.layout.export.data import instrument as data  # noqa: PLC0415 - quick --help

    instrument = read_instrument(plan)
    warn(instrument)
    if as_json:
        print_json(data.wire(instrument) if wire else data.frets(instrument))
    elif wire:
        _print_wire(instrument, as_csv=as_csv)
    elif as_csv:
        _print_csv(instrument)
    else:
        _print_text(instrument)


def _print_wire(instrument: Instrument, *, as_csv: bool) -> None:
    from slotwright.cli.wire import print_wire, print_wire_csv  # noqa: PLC0415 - only when asked for

    wires, plan = instrument.wires, instrument.plan
    if as_csv:
        print_wire_csv(wires, plan.units)
        return
    print_wire(wires, instrument.title, plan.units)
    for finding in instrument.wire_findings:
        click.echo(finding)
    if lacking := [key for key in ("tang_width", "bead_width") if getattr(plan.fret_wire, key) is None]:
        click.echo(f"how the wire fits is not known without {' and '.join(lacking)} in frets.wire")
    if not (stated := plan.frets.wire) or "overhang" not in stated.model_fields_set:
        click.echo(f"overhang at each end, assumed: {plan.said(plan.fret_wire.overhang)}")


def _columns(instrument: Instrument) -> dict[str, Any]:
    """Give the columns of the table, each with a length in mm for every fret from 0."""
    plan, neck = instrument.plan, instrument.neck
    strings = len(plan.strings)
    middle, from_nut, along_edges = neck.frets.middle.copy(), neck.from_nut.copy(), neck.along_edges.copy()
    # Where the strings do end: a nut moved for all of them, or a zero fret, stands there.
    for first in (middle, from_nut, along_edges):
        first[0] += neck.nut_moved
    columns: dict[str, Any] = {"from nut": middle, "to saddle": neck.saddle.middle[0] - middle}
    columns["string 1"] = from_nut[:, 0]
    if strings > 1:
        columns[f"string {strings}"] = from_nut[:, -1]
    columns |= {"treble edge": along_edges[:, 0], "bass edge": along_edges[:, 1]}
    if plan.blank is not None:
        side = plan.board.hand * plan.blank.width / 2
        for name, y in (("blank treble", side), ("blank bass", -side)):
            along = neck.frets.x_at(y) + plan.blank.nut_at
            along[0] += neck.nut_moved
            # A leaning slot may leave the blank through its end: no mark on the edge then.
            columns[name] = np.where((along >= 0) & (along <= plan.blank.length), along, np.nan)
    if neck.nut_moved:
        columns["from moved nut"] = middle - neck.nut_moved
    columns["saw setting"] = instrument.sawing.setting
    columns["step (check only)"] = np.diff(middle, prepend=np.nan)
    return columns


def _rows(instrument: Instrument, columns: dict[str, Any], decimals: int) -> Iterator[list[str]]:
    """Write the lengths of every fret, and its angle last."""
    for fret, angle in enumerate(instrument.neck.angles):
        lengths = (float(column[fret]) for column in columns.values())
        cells = ("" if math.isnan(x) else instrument.length(x, decimals) for x in lengths)
        yield [str(fret), *cells, f"{angle:.2f}"]


def _print_text(instrument: Instrument) -> None:
    plan, sawing, said = instrument.plan, instrument.sawing, instrument.length
    wood = said(float(sawing.wood_left[sawing.thinnest]))
    unit = plan.units
    columns = _columns(instrument)
    edges = "" if plan.blank is None else "; blank edges from the blank's end"
    click.echo(f"{instrument.title}: lengths in {UNIT_NAMES[unit]}, from the nut{edges}")
    if instrument.neck.nut_moved:
        first = "zero fret" if plan.frets.zero_fret else "nut"
        click.echo(f"from nut: from the nominal nut line; row 0 is the {first} that was moved for all strings")
    rows = list(_rows(instrument, columns, 3 if unit == "mm" else 4))
    if plan.scale.length is None:
        print_table(("fret", *columns, "angle"), rows)
        click.echo(
            "angle: degrees from the centre line toward the bridge to the treble end of the fret; 90 is square"
        )
    else:
        print_table(("fret", *columns), [row[:-1] for row in rows])  # every fret is square
    click.echo(f"slot depth below the finished surface: {said(sawing.depth)} {unit}")
    click.echo(
        f"saw setting on a blank still flat: {said(sawing.setting[0])} at the nut, "
        f"{said(sawing.setting[-1])} at fret {plan.frets.count}; {wood} of wood left"
    )
    if instrument.straightness_note:
        click.echo(instrument.straightness_note)
    click.echo(cautions.SAWING)


def _print_csv(instrument: Instrument) -> None:
    unit = instrument.plan.units
    columns = _columns(instrument)
    columns["slot depth"] = [instrument.sawing.depth] * len(instrument.neck.cents)
    writer = csv.writer(sys.stdout, lineterminator="\n")
    writer.writerow(["fret", *(f"{name} [{unit}]" for name in columns), "angle [degrees]"])
    writer.writerows(_rows(instrument, columns, 4 if unit == "mm" else 5))
