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
@click.argument("readings", type=FILE, required=False, metavar="[READINGS.csv]")
@click.option("--port", type=click.IntRange(0, 65535), default=0, help="Port of the address; without it a free one.")
@click.option("--no-browser", is_flag=True, help="Only print the address.")
@click.option("--for", "time", metavar="TIME", help="End after 2h, 30m or 90s; without it Ctrl-C ends it.")
@click.option("--ask-before-saving", "asks", is_flag=True, help="Edits wait for the button Save.")
@click.option("--install-icon", "icon", is_flag=True, help="Put an icon that opens this folder on the desktop.")
def command(
    plan: Path | None,
    readings: Path | None,
    port: int,
    no_browser: bool,
    time: str | None,
    asks: bool,
    icon: bool,
) -> None:
    """Open PLAN as a page in the browser of this machine.

    The drawing is the form: click a measure on it and type another, in any unit a plan takes. The
    plan file is written after every edit, comments and order kept; it may be open in an editor at
    the same time. What is read at the bench is typed on the page, or recorded, and kept in READINGS.csv,
    which is called after the plan where it is not named. Without PLAN the page asks for the job, lists
    the plans of this folder and begins new ones.

    The first line printed is the address. Nothing leaves this machine.
    """
    seconds = _seconds(time)
    if icon:
        _install_icon()
        return
    if readings is not None and readings.suffix.lower() != ".csv":
        raise SlotwrightError(f"{readings}: readings are a CSV file; end its name in .csv")
    from slotwright.cli.desk.server import listen, serve  # noqa: PLC0415 - quick --help

    begun = _begun(plan, readings, asks=asks)

    def told(address: str) -> None:
        click.echo(address)
        click.echo("Ctrl-C closes the desk.", err=True)
        if not no_browser:
            _open(address)

    kept = serve(begun, listen(port), seconds, told)
    if kept is not None and kept.unsaved:
        click.echo(f"{kept.path.name}: the last edits were not saved", err=True)


def _install_icon() -> None:
    from slotwright.cli.desk.icon import icon_files  # noqa: PLC0415 - quick --help
    from slotwright.layout.export.files import write_whole  # noqa: PLC0415

    files = icon_files(sys.platform, Path.home(), Path.cwd(), sys.executable)
    for path in files:
        path.parent.mkdir(parents=True, exist_ok=True)
    write_whole({path: text.encode() for path, text in files.items()}, force=True)
    for path in files:
        if path.suffix != ".svg":
            path.chmod(0o755)  # desktops start nothing else
        click.echo(path)


def _begun(plan: Path | None, readings: Path | None, *, asks: bool) -> Keeper | Entrance:
    from slotwright.cli.desk.entrance import Entrance  # noqa: PLC0415 - quick --help
    from slotwright.cli.desk.keeper import Keeper  # noqa: PLC0415

    if plan is None:
        return Entrance(Path.cwd(), asks)
    try:
        return Keeper.of(plan.resolve(), readings and readings.resolve(), asks=asks)
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
