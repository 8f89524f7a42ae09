"""``slotwright new``: a plan to begin with."""

from __future__ import annotations

from pathlib import Path

import click

from slotwright.layout.errors import SlotwrightError

_LONGEST = 120  # letters; the name becomes the title
# What other systems keep for devices, whatever the ending.
_RESERVED = frozenset(("CON", "PRN", "AUX", "NUL", *(f"{port}{n}" for port in ("COM", "LPT") for n in range(10))))


@click.command("new", epilog="Example: slotwright new kitchen-table --from nylon-six")
@click.argument("name", required=False)
@click.option(
    "--from", "starter", metavar="STARTER", help="Starter to copy; without it the one called NAME, else electric-six."
)
@click.option("--list", "listing", is_flag=True, help="List the starters instead.")
def command(name: str | None, starter: str | None, listing: bool) -> None:
    """Write NAME.toml from a starter plan.

    The new plan is titled NAME; every value in it is there to be changed.
    """
    from slotwright import templates  # noqa: PLC0415 - quick --help
    from slotwright.layout.export.files import write_whole  # noqa: PLC0415
    from slotwright.layout.plan.fields import nearest, quoted  # noqa: PLC0415

    starters = templates.starters()
    if listing and name is not None:
        raise click.UsageError("--list takes no NAME.")
    if listing:
        width = max(map(len, starters))
        for key, text in starters.items():
            click.echo(f"{key:<{width}}  {templates.about(text)}")
        return
    if name is None:
        raise click.UsageError("Missing argument 'NAME'. (--list shows the starters.)")
    path = Path(name if name.endswith(".toml") else f"{name}.toml")
    stem = path.name.removesuffix(".toml")
    if not stem.strip(". ") or not stem.isprintable() or len(stem) > _LONGEST:
        raise SlotwrightError(f"{quoted(name)}: a plan is named with 1 to {_LONGEST} ordinary letters")
    if stem != stem.rstrip(". ") or stem.split(".")[0].strip().upper() in _RESERVED:
        raise SlotwrightError(f"{quoted(name)}: not every system can keep a file of that name; choose another")
    if starter is None:
        starter = stem if stem in starters else templates.USUAL
    if starter not in starters:
        near = nearest(starter, list(starters)) or f"known: {', '.join(starters)}"
        raise SlotwrightError(f"no starter is called {starter}; {near}")
    write_whole({path: templates.titled(starters[starter], stem).encode()})
    click.echo(f"{path}  from {starter}; next: slotwright draw {path}")
