"""``slotwright mill``: programs for a router."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING

import click

from slotwright.cli.console import (
    FILE,
    UNIT_NAMES,
    counted,
    listed,
    print_json,
    print_table,
    read_instrument,
    refuse_now,
    warn,
    write,
)
from slotwright.layout import cautions
from slotwright.layout.errors import MillError, SlotwrightError
from slotwright.layout.units import MINUS

if TYPE_CHECKING:
    from slotwright.layout.instrument.instrument import Instrument
    from slotwright.layout.machine.programs import Program
    from slotwright.layout.units import Unit


@click.command("mill", epilog="Example: slotwright mill heron.toml --out programs")
@click.argument("plan", type=FILE)
@click.option("--out", type=FILE, default=Path(), help="Folder for the files; made if needed.")
@click.option(
    "--unit", type=click.Choice(("mm", "in")), default="mm", show_default=True, help="Unit of the programs."
)
@click.option("--force", is_flag=True, help="Replace files that exist.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object, lengths in mm.")
def command(plan: Path, out: Path, unit: Unit, force: bool, as_json: bool) -> None:
    """Write the programs that mill the board of PLAN on a three-axis router.

    The plan's [machine] and [[machine.cutters]] say how. One file for each cutter and unbroken run of
    operations, RS-274 (ISO 6983) without arcs, compensation or tool changes. Each is read back and
    simulated before anything is written: what would spoil the board, a cutter or the machine is refused.
    """
    if any(part.exists() and not part.is_dir() for part in (out, *out.parents)):
        raise SlotwrightError(f"{out}: a file is in the way; --out takes a folder")
    from slotwright.layout.export.data.machine import milled  # noqa: PLC0415 - quick --help
    from slotwright.layout.machine.jobs import plan_milling  # noqa: PLC0415
    from slotwright.layout.machine.programs import mill, names_of  # noqa: PLC0415

    instrument = read_instrument(plan)
    warn(instrument)
    try:
        refuse_now([out / name for name in names_of(instrument, plan.stem)], force=force)
        programs = mill(instrument, unit=unit, stem=plan.stem, watch=lambda patches: counted(patches, "simulating"))
    except MillError as error:
        raise SlotwrightError(listed(plan, error)) from None
    findings = plan_milling(instrument).findings
    write({out / program.name: program.text.encode() for program in programs}, force=force)
    if as_json:
        print_json(milled(programs, out, findings))
        return
    _report(instrument, programs, out)
    for finding in findings:
        click.echo(finding)
    for caution in cautions.MILLING:
        click.echo(caution)


def _report(instrument: Instrument, programs: tuple[Program, ...], out: Path) -> None:
    """Print each file with its cutter, its time and what the simulation found."""
    plan = instrument.plan
    digits = 3 if plan.units == "mm" else 4

    def said(length: float, decimals: int | None = digits) -> str:
        return instrument.length(length, decimals).replace("-", MINUS) if math.isfinite(length) else ""

    clamps = max((len(program.clamps) for program in programs), default=0)
    head = ("file", "cutter", "minutes", "deepest", "shallowest", "rapid", *(f"clamp {n + 1}" for n in range(clamps)))
    rows = [
        [
            str(out / program.name),
            f"{program.cutter.shape} {said(program.cutter.diameter)}",
            f"{program.minutes:.1f}",
            said(program.deepest),
            said(program.shallowest),
            said(program.closest_rapid, None),
            *(said(clamp, None) for clamp in program.clamps),
        ]
        for program in programs
    ]
    click.echo(f"{instrument.title}: lengths in {UNIT_NAMES[plan.units]}; simulated from the text of each file")
    print_table(head, rows)
    click.echo(
        "deepest, shallowest: largest errors of depth, below 0 too deep; on the surface its ridges. "
        "rapid, clamp: closest travel to the blank and to each clamp."
    )
