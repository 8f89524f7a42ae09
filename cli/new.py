"""``slotwright new``: a plan to begin with."""

from __future__ import annotations

import shlex
from pathlib import Path

import click

from slotwright.layout.errors import PlanError, SlotwrightError

_LONGEST = 120  # letters; the name becomes the title
# What other systems keep for devices, whatever the ending.
_RESERVED = frozenset(("CON", "PRN", "AUX", "NUL", *(f"{port}{n}" for port in ("COM", "LPT") for n in range(10))))


@click.command("new", epilog='Example: slotwright new kitchen-table --strings "acoustic 12-53" --scale "25 1/2 in"')
@click.argument("name", required=False)
@click.option(
    "--from",
    "starter",
    metavar="STARTER",
    help="Starter to copy; without it the one that --strings fits or that is called NAME, else electric-six.",
)
@click.option("--strings", "strings", metavar="SET", help='String it with a usual set, such as "acoustic 12-53".')
@click.option("--scale", metavar="LENGTH", help='Give it one scale of this length, such as "25 1/2 in".')
@click.option("--list", "listing", is_flag=True, help="List the starters and the sets of strings instead.")
def command(name: str | None, starter: str | None, strings: str | None, scale: str | None, listing: bool) -> None:
    """Write NAME.toml from a starter plan.

    The new plan is titled NAME; every value in it is there to be changed.
    """
    from slotwright import templates  # noqa: PLC0415 - quick --help
    from slotwright.layout.export.files import write_whole  # noqa: PLC0415
    from slotwright.layout.plan.fields import nearest, quoted  # noqa: PLC0415
    from slotwright.layout.plan.sets import SETS  # noqa: PLC0415

    starters = templates.starters()
    if listing and name is not None:
        raise click.UsageError("--list takes no NAME.")
    if listing and (starter or strings or scale):
        raise click.UsageError("--list goes alone: it takes no --from, --strings or --scale.")
    if listing:
        _list(starters)
        return
    if name is None:
        raise click.UsageError("Missing argument 'NAME'. (--list shows the starters.)")
    path = Path(name if name.endswith(".toml") else f"{name}.toml")
    stem = path.name.removesuffix(".toml")
    refuse_odd(stem, name)
    if strings is not None and strings not in SETS:
        from slotwright.layout.plan.string_set import nearest_sets  # noqa: PLC0415 - only when misspelt

        raise SlotwrightError(f"no set of strings is called {quoted(strings)}; {nearest_sets(strings)}")
    if starter is not None and starter not in starters:
        near = nearest(starter, list(starters)) or f"known: {', '.join(starters)}"
        raise SlotwrightError(f"no starter is called {starter}; {near}")
    starter, text = begun(stem, starter, strings, scale)
    write_whole({path: text.encode()})
    click.echo(f"{path}  from {starter}; next: slotwright draw {shlex.quote(str(path))}")


def begun(stem: str, starter: str | None, strings: str | None, scale: str | None) -> tuple[str, str]:
    """Write a plan from a starter that is known, or from the one that fits; say which, and give the text."""
    from slotwright import templates  # noqa: PLC0415 - quick --help

    starters = templates.starters()
    starter = starter or _usual(stem, strings, starters)
    text = templates.titled(starters[starter], stem)
    return starter, text if strings is None and scale is None else _changed(text, starter, strings, scale)


def refuse_odd(stem: str, given: str) -> None:
    """Refuse to call a plan what not every system can call a file; the refusal says what was given."""
    from slotwright.layout.plan.fields import quoted  # noqa: PLC0415 - quick --help

    if not stem.strip(". ") or not stem.isprintable() or len(stem) > _LONGEST:
        raise SlotwrightError(f"{quoted(given)}: a plan is named with 1 to {_LONGEST} ordinary letters")
    if stem != stem.rstrip(". ") or stem.split(".", maxsplit=1)[0].strip().upper() in _RESERVED:
        raise SlotwrightError(f"{quoted(given)}: not every system can keep a file of that name; choose another")


def _usual(stem: str, strings: str | None, starters: dict[str, str]) -> str:
    """Choose the starter that nobody named."""
    from slotwright import templates  # noqa: PLC0415 - quick --help
    from slotwright.layout.plan.starting import fitting_starter  # noqa: PLC0415

    if strings is not None:
        return fitting_starter(strings)
    return stem if stem in starters else templates.USUAL


def _list(starters: dict[str, str]) -> None:
    """List starters and sets."""
    from slotwright import templates  # noqa: PLC0415 - quick --help
    from slotwright.layout.plan.sets import SETS  # noqa: PLC0415

    width = max(map(len, starters))
    for key, text in starters.items():
        click.echo(f"{key:<{width}}  {templates.about(text)}")
    click.echo(
        "\nsets of strings, for --strings: gauges in thousandths of an inch from string 1 on, w wound; "
        "tuning, lowest string first"
    )
    rows = [(name, usual.gauges, usual.tuning) for name, usual in SETS.items()]
    first, second = (max(len(row[column]) for row in rows) for column in (0, 1))
    for name, gauges, tuning in rows:
        click.echo(f"{name:<{first}}  {gauges:<{second}}  {tuning}")


def _changed(text: str, starter: str, strings: str | None, scale: str | None) -> str:
    """Put strings and scale into a starter; refuse what could not be drawn."""
    from slotwright.cli.console import length_of  # noqa: PLC0415 - quick --help
    from slotwright.layout.instrument.instrument import lay_out  # noqa: PLC0415
    from slotwright.layout.limits import SCALES  # noqa: PLC0415
    from slotwright.layout.plan.reader import parse_plan  # noqa: PLC0415
    from slotwright.layout.plan.starting import (  # noqa: PLC0415
        fitting_starter,
        strings_in,
        strings_of,
        with_scale,
        with_set,
    )

    if strings is not None:
        there, given = strings_of(text), strings_in(strings)
        if there != given:
            raise SlotwrightError(
                f"{starter} has {there} strings, {strings} has {given}; take --from {fitting_starter(strings)}"
            )
        text = with_set(text, strings)
    if scale is not None:
        length_of("--scale", scale, parse_plan(text.encode()).units, *SCALES)
        text = with_scale(text, scale.strip())
    try:
        lay_out(parse_plan(text.encode()))
    except PlanError as error:
        raise SlotwrightError(f"with that the plan could not be drawn: {error.lines[0]}") from None
    return text
