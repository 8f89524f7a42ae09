"""``slotwright report``: one page for the job."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from slotwright.cli.console import FILE, read_instrument, read_readings, warn, write
from slotwright.layout.errors import SlotwrightError
from slotwright.layout.names import READERS

if TYPE_CHECKING:
    from slotwright.layout.names import Reader


@click.command("report", epilog="Example: slotwright report heron.toml --for customer")
@click.argument("plan", type=FILE)
@click.option(
    "--readings",
    type=FILE,
    metavar="FILE.csv",
    help="What was read at the bench.",
)
@click.option(
    "--for",
    "reader",
    type=click.Choice(READERS),
    default="maker",
    show_default=True,
    help="All of it; one sheet of large figures for the bench; one of before and after.",
)
@click.option("--out", type=FILE, metavar="FILE.html", help="File; without it after the plan.")
@click.option("--force", is_flag=True, help="Replace the file if it exists.")
def command(plan: Path, readings: Path | None, reader: Reader, out: Path | None, force: bool) -> None:
    """Write one page that shows everything PLAN gives, to open, send or print.

    The file needs nothing beside it: any browser opens it, with or without a network.
    """
    from slotwright.layout.export.report.page import page  # noqa: PLC0415 - quick --help

    out = out or Path(f"{plan.stem}.html" if reader == "maker" else f"{plan.stem}-{reader}.html")
    if out.suffix.lower() not in (".html", ".htm"):
        raise SlotwrightError(f"{out}: the report is an HTML file; end its name in .html")
    instrument = read_instrument(plan)
    raw = read_readings(readings, instrument) if readings else ()
    warn(instrument)
    written = page(instrument, raw, reader=reader)
    write({out: written}, force=force)
    size = f"{len(written) / 1e6:.1f} MB" if len(written) >= 1e5 else f"{len(written) / 1e3:.0f} kB"
    large = size if reader == "maker" else "1 page"
    click.echo(f"{out}  {large}; open it in a browser")
