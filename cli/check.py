"""``slotwright check``: whether a plan can be drawn."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from slotwright.cli.console import FILE, print_json, read_instrument

if TYPE_CHECKING:
    from pathlib import Path


@click.command("check", epilog="Example: slotwright check heron.toml")
@click.argument("plan", type=FILE)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
def command(plan: Path, as_json: bool) -> None:
    """Compute everything PLAN describes; say what is wrong, odd or assumed.

    Exit code 0 only when the plan can be drawn.
    """
    from slotwright.layout.drawing.catalogue import described, draw_sheet  # noqa: PLC0415 - quick --help
    from slotwright.layout.export.data import instrument as data  # noqa: PLC0415 - quick --help

    instrument = read_instrument(plan)
    sheets = described(instrument)
    for name in sheets:
        draw_sheet(instrument, name)
    if as_json:
        print_json(data.checked(instrument, sheets))
        return
    click.echo(f"{plan}: can be drawn ({', '.join(sheets)})")
    for warning in instrument.warnings:
        click.echo(f"warning: {warning}")
    if instrument.plan.bridge and instrument.bridge_lacks:
        click.echo(f"bridge is not placed: {instrument.bridge_lacks}")
    if instrument.strung is None:
        click.echo(f"pitch is not reckoned: {instrument.unstated[0]}")
    for finding in instrument.bridge_findings:
        click.echo(f"bridge: {finding}")
    if instrument.assumed:
        click.echo(f"assumed, not stated in the plan ({instrument.plan.units}):")
        width = max(map(len, instrument.assumed))
        for key, value in instrument.assumed.items():
            click.echo(f"  {key:<{width}}  {value.text}")
