"""``slotwright check``: whether a plan can be drawn."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from slotwright.cli.console import FILE, UNIT_NAMES, print_json, read_instrument

if TYPE_CHECKING:
    from pathlib import Path

    from slotwright.layout.instrument.instrument import Instrument


@click.command("check", epilog="Example: slotwright check heron.toml")
@click.argument("plan", type=FILE, required=False)
@click.option("--keys", is_flag=True, help="List all keys that a plan may have instead.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
def command(plan: Path | None, keys: bool, as_json: bool) -> None:
    """Compute everything PLAN describes; say what is wrong, odd or assumed.

    Exit code 0 only when the plan can be drawn.
    """
    if (plan is None) != keys:
        raise click.UsageError("Give PLAN, or --keys for all keys that one may have.")
    if plan is None:
        _print_keys(as_json=as_json)
    else:
        _check(plan, as_json=as_json)


def _check(plan: Path, *, as_json: bool) -> None:
    from slotwright.layout.drawing.catalogue import described, draw_sheet  # noqa: PLC0415 - quick --help
    from slotwright.layout.drawing.template import findings  # noqa: PLC0415
    from slotwright.layout.export.data import instrument as data  # noqa: PLC0415
    from slotwright.layout.machine.jobs import told  # noqa: PLC0415
    from slotwright.layout.plan.assumed import with_unit  # noqa: PLC0415

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
    for finding in instrument.wire_findings:
        click.echo(f"fret wire: {finding}")
    if instrument.strung is None:
        click.echo(f"pitch is not calculated: {instrument.unstated[0]}")
    _print_bridge(instrument)
    for finding in findings(instrument):
        click.echo(f"sheet template is not drawn: {finding}")
    for finding in told(instrument):
        click.echo(f"machine: {finding}")
    if instrument.assumed:
        click.echo(f"assumed, not stated in the plan (lengths in {UNIT_NAMES[instrument.plan.units]}):")
        width = max(map(len, instrument.assumed))
        for key, value in instrument.assumed.items():
            click.echo(f"  {key:<{width}}  {with_unit(key, value)}")


def _print_bridge(instrument: Instrument) -> None:
    if instrument.plan.bridge and instrument.bridge_lacks:
        click.echo(f"bridge is not placed: {instrument.bridge_lacks}")
    for key, now in instrument.plan.bridge.older.items() if instrument.plan.bridge else ():
        click.echo(f"bridge.{key} is still read; it is now bridge.{now}")
    for finding in instrument.bridge_findings:
        click.echo(f"bridge: {finding}")


def _print_keys(*, as_json: bool) -> None:
    from slotwright.layout.plan.keys import keys  # noqa: PLC0415 - only when asked for

    found = keys()
    if as_json:
        shown = ("path", "words", "unit", "default", "required")
        told = [{name: getattr(key, name) for name in shown} | {"allowed": key.limits("mm")} for key in found]
        print_json({"keys": told})
        return
    width = max(len(key.path) for key in found)
    for key in found:
        usual = "required" if key.required else f"default {key.default}" if key.default else ""
        unit = f"[{key.unit}]" if key.unit else ""
        click.echo(f"{key.path:<{width}}  {' '.join(filter(None, (key.words, unit, usual)))}")
    click.echo('[length]: a number in the units of the plan, or text such as "25 1/2 in"; defaults in mm')
