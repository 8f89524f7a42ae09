"""``slotwright desk``: a plan in the browser of this machine."""

from __future__ import annotations

import os
import re
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from slotwright.cli.console import FILE, listed
from slotwright.layout.errors import PlanError, SlotwrightError

if TYPE_CHECKING:
    from slotwright.cli.desk.entrance import Entrance
    from slotwright.cli.desk.keeper import Keeper

_SECONDS = {"s": 1, "m": 60, "h": 3600}
_LONGEST = 7 * 24 * 3600.0  # s


@click.command("desk", epilog="Example: slotwright desk heron.toml")
@click.argument("plan", type=FILE, required=False)
@click.option("--port", type=click.IntRange(0, 65535), default=0, help="Port of the address; without it a free one.")
@click.option("--no-browser", is_flag=True, help="Only print the address.")
@click.option("--for", "time", metavar="TIME", help="End after 2h, 30m or 90s; without it Ctrl-C ends it.")
def command(plan: Path | None, port: int, no_browser: bool, time: str | None) -> None:
    """Open PLAN as a page in the browser of this machine.

    The drawing is the form: click a measure on it and type another, in any unit a plan takes. The
    plan file is written after every edit, comments and order kept; it may be open in an editor at
    the same time. Without PLAN the page lists the plans of this folder and begins new ones.

    The first line printed is the address. Nothing leaves this machine.
    """
    seconds = _seconds(time)
    from slotwright.cli.desk.server import listen, serve  # noqa: PLC0415 - quick --help

    begun = _begun(plan)

    def told(address: str) -> None:
        click.echo(address)
        click.echo("Ctrl-C closes the desk.", err=True)
        if not no_browser:
            _open(address)

    serve(begun, listen(port), seconds, told)


def _begun(plan: Path | None) -> Keeper | Entrance:
    from slotwright.cli.desk.entrance import Entrance  # noqa: PLC0415 - quick --help
    from slotwright.cli.desk.keeper import Keeper  # noqa: PLC0415

    if plan is None:
        return Entrance(Path.cwd())
    try:
        return Keeper.of(plan.resolve())
    except PlanError as error:
        raise SlotwrightError(listed(plan, error)) from None
    except (FileNotFoundError, IsADirectoryError, NotADirectoryError) as error:
        raise SlotwrightError(f"{plan}: {(error.strerror or '').lower()}; a plan file is needed here") from None


def _seconds(time: str | None) -> float | None:
    if time is None:
        return None
    found = re.fullmatch(r"(\d{1,6})([hms])", time.strip())
    seconds = float(found[1]) * _SECONDS[found[2]] if found else 0.0
    if not 0 < seconds <= _LONGEST:
        raise SlotwrightError(f'--for: given "{time}"; allowed a time such as 2h, 30m or 90s, at most 168h')
    return seconds


def _open(address: str) -> None:
    """Show the page, where there is a screen: a browser in this terminal would be in the way."""
    if sys.platform.startswith("linux") and not {"DISPLAY", "WAYLAND_DISPLAY"} & os.environ.keys():
        return
    import threading  # noqa: PLC0415 - wanted only here
    import webbrowser  # noqa: PLC0415

    # A browser may take a while, and one in a terminal all the time.
    threading.Thread(target=webbrowser.open, args=(address,), daemon=True).start()
