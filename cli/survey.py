"""``slotwright survey``: the scale of a neck from its measured crowns."""

from __future__ import annotations

import math
import shlex
import sys
from functools import partial
from typing import TYPE_CHECKING, Any, NoReturn, cast

import click

from slotwright.cli.console import (
    FILE,
    UNIT_NAMES,
    length_of,
    print_json,
    print_table,
    read_measured,
    refuse_now,
    write,
)
from slotwright.layout.errors import PlanError, SlotwrightError
from slotwright.layout.limits import MOST_STRINGS
from slotwright.layout.units import MINUS, Unit, show
from slotwright.layout.units import cents as shown_cents

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from slotwright.layout.survey.plan_text import Asked
    from slotwright.layout.survey.scale import Saddle, Survey

_SIDES = ("treble", "bass")
_SADDLE_REACH = 0.1  # of what is expected; further away it was not measured from fret 12


@click.command("survey", epilog="Example: slotwright survey neck.csv --saddle 326.1,328.4 --plan neck.toml")
@click.argument("measurements", type=FILE)
@click.option("--sigma", metavar="LEN", help="How exact one reading is: its standard deviation; 0.15 mm without it.")
@click.option(
    "--divisions", type=click.IntRange(5, 60), default=12, show_default=True, help="Equal divisions of the octave."
)
@click.option(
    "--saddle", metavar="T,B", help="The saddle that is there, measured from fret 12 on the treble and bass edge."
)
@click.option(
    "--unit",
    type=click.Choice(["mm", "in"]),
    default="mm",
    show_default=True,
    help="Unit of bare numbers and of the table.",
)
@click.option("--title", metavar="T", help="Title of plan and chart; the name of the file without it.")
@click.option("--plan", type=FILE, metavar="FILE.toml", help="Write a plan of this neck.")
@click.option("--strings", type=click.IntRange(1, MOST_STRINGS), help="For the plan: how many strings.")
@click.option("--nut-width", metavar="LEN", help="For the plan: width of the board at the nut.")
@click.option("--width", metavar="LEN", help="For the plan: width of the board at the octave fret.")
@click.option("--spread-saddle", metavar="LEN", help="For the plan: outer string to outer string at the saddle.")
@click.option("--plot", type=FILE, metavar="FILE.svg", help="Chart how far each crown is off.")
@click.option("--refret", is_flag=True, help="Say instead what new frets on a measured board take.")
@click.option(
    "--wire",
    multiple=True,
    metavar="NAME=LEN",
    help="For --refret: tang_width, bead_width, tang_depth, height, length or overhang of the wire; repeatable.",
)
@click.option("--binding", metavar="LEN", help="For --refret: thickness of the binding.")
@click.option("--plane", metavar="LEN", help="For --refret: how much is planed off the board.")
@click.option("--only", metavar="FRETS", help="For --refret: the frets that are replaced, as 1-5,7; without it all.")
@click.option("--csv", "as_csv", is_flag=True, help="For --refret: print the wire as comma-separated values.")
@click.option("--force", is_flag=True, help="Replace plan and chart if they exist.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object, lengths in mm.")
def command(measurements: Path, unit: str, as_json: bool, **options: Any) -> None:  # noqa: ANN401 - one for each option
    """Find the scale of a neck from MEASUREMENTS of its crowns.

    A CSV file: fret,distance, or fret,treble,bass for both edges; all from one place near the nut,
    crown by crown. A row `nut` is the face of the nut. What the plan needs besides is asked for.

    With --refret: fret,width and any of radius,slot_width,slot_depth,crown_height, cells may stay
    empty; a row for the last fret in any case.
    """
    if options["refret"]:
        from slotwright.cli.refret import run  # noqa: PLC0415 - only when asked for

        run(measurements, cast("Unit", unit), as_json=as_json, **options)
        return
    if (
        alone := [f"--{name}" for name in ("wire", "binding", "plane", "only") if options[name]]
        + ["--csv"] * options["as_csv"]
    ):
        raise click.UsageError(f"{alone[0]} belongs to --refret.")
    from slotwright.layout.export.data import survey as data  # noqa: PLC0415
    from slotwright.layout.readings.crowns import read_measurements  # noqa: PLC0415 - quick --help
    from slotwright.layout.survey.scale import SIGMA, find_scale  # noqa: PLC0415

    units = cast("Unit", unit)
    force, plan, plot = options["force"], options["plan"], options["plot"]
    _check_names(plan, plot)
    sigma = SIGMA if options["sigma"] is None else length_of("--sigma", options["sigma"], units, 0.001, 5)
    stands = None if options["saddle"] is None else _two_lengths(options["saddle"], units)
    found = read_measured(
        measurements, lambda text: find_scale(read_measurements(text, units), sigma, options["divisions"])
    )
    if found.rule == "none":
        _refuse(measurements, found, units, as_json=as_json)
    saddles = _saddles(found, stands)
    title = options["title"] or measurements.stem.encode("utf-8", "replace").decode()  # a name may be no text
    files: dict[Path, bytes] = {}
    refuse_now(filter(None, (plan, plot)), force=force)
    if plan is not None:
        files[plan] = _plan(found, title, units, options)
    if plot is not None:
        from slotwright.layout.export.charts.residuals import survey_chart  # noqa: PLC0415

        files[plot] = survey_chart(title, found.lines, units)
    write(files, force=force)
    if as_json:
        print_json(data.survey(found, saddles, units))
        return
    _print(found, saddles, title, units)
    if plan is not None:
        click.echo(f"{plan}  plan of this neck; next: slotwright check {shlex.quote(str(plan))}")
    if plot is not None:
        click.echo(f"{plot}  chart of every crown")


def _refuse(measurements: Path, found: Survey, units: Unit, *, as_json: bool) -> NoReturn:
    """Say that no rule explains the crowns; what is written would mislead."""
    from slotwright.layout.export.data import survey as data  # noqa: PLC0415 - quick --help
    from slotwright.layout.survey.findings import findings  # noqa: PLC0415

    if as_json:
        print_json(data.survey(found, {}, units))
    said = "\n  ".join(map(str, findings(found, {}, units)))
    raise SlotwrightError(f"{measurements}: {said}")


def _check_names(plan: Path | None, plot: Path | None) -> None:
    for path, ending, what in ((plan, ".toml", "plan is a TOML"), (plot, ".svg", "chart is an SVG")):
        if path is not None and path.suffix.lower() != ending:
            raise SlotwrightError(f"{path}: the {what} file; end its name in {ending}")


def _two_lengths(given: str, units: Unit) -> tuple[float, float]:
    parts = given.split(",")
    if len(parts) != 2:
        raise SlotwrightError(f"--saddle: given {given}; treble and bass belong here, such as 326.1,328.4")
    treble, bass = (length_of("--saddle", part, units, 10, 2000) for part in parts)
    return treble, bass


def _saddles(found: Survey, stands: tuple[float, float] | None) -> dict[str, Saddle]:
    from slotwright.layout.survey.scale import saddle_that_is  # noqa: PLC0415 - quick --help

    if stands is None:
        return {}
    lines = (found.lines[0], found.lines[-1])
    for line, given in zip(lines, stands, strict=True):
        if abs(given - line.saddle_from_12) > _SADDLE_REACH * line.saddle_from_12:
            raise SlotwrightError(
                f"--saddle: {given:.2f} mm from fret 12, where {line.saddle_from_12:.2f} mm are expected; "
                "was it measured from fret 12?"
            )
    return {side: saddle_that_is(found, line, given) for side, line, given in zip(_SIDES, lines, stands, strict=True)}


def _plan(found: Survey, title: str, units: Unit, options: dict[str, Any]) -> bytes:
    from slotwright.layout.survey.plan_text import plan_text, width_fret  # noqa: PLC0415 - only when asked for

    try:
        return plan_text(found, title, units, _ask(options, units, width_fret(found))).encode()
    except PlanError as error:
        faults = "\n  ".join(["no plan, because these do not make a neck", *map(str, error.faults)])
        raise SlotwrightError(faults) from None


def _ask(options: dict[str, Any], units: Unit, fret: int) -> Asked:
    """Ask for what the crowns do not tell and the options did not say."""
    from slotwright.layout.survey.plan_text import Asked  # noqa: PLC0415 - only when asked for

    lacking = [f"--{name.replace('_', '-')}" for name in ("strings", "nut_width", "width") if options[name] is None]
    here = sys.stdin.isatty()
    if lacking and not here:
        raise SlotwrightError(f"the plan needs to know more: give {', '.join(lacking)}")

    def width(name: str, words: str, *, empty: bool = False) -> float | None:
        option, high = f"--{name.replace('_', '-')}", 800.0 if empty else 500.0
        if options[name] is not None:
            return length_of(option, options[name], units, 5, high)
        if empty and not lacking:
            return None  # all that is needed was said

        def check(given: str) -> float | None:
            if empty and not given.strip():
                return None
            try:
                return length_of(option, given, units, 5, high)
            except SlotwrightError as error:
                raise click.UsageError(str(error).partition(": ")[2]) from None

        usual = "" if empty else None
        return click.prompt(f"{words} [{units}]", default=usual, show_default=False, value_proc=check, err=True)

    try:
        strings = options["strings"] or click.prompt(
            "Number of strings", type=click.IntRange(1, MOST_STRINGS), err=True
        )
        nut_width = width("nut_width", "Width of the board at the nut")
        at_fret = width("width", f"Width of the board at fret {fret}")
        spread = width("spread_saddle", "Outer string to outer string at the saddle, Enter if not known", empty=True)
    except click.Abort:
        raise SlotwrightError(f"not answered; nothing was written. Give {', '.join(lacking)}") from None
    return Asked(strings, nut_width or 0.0, at_fret or 0.0, spread)  # only the last may stay empty


def _print(found: Survey, saddles: dict[str, Saddle], title: str, units: Unit) -> None:
    from slotwright.layout.survey.findings import findings  # noqa: PLC0415 - quick --help

    click.echo(f"{title}: lengths in {UNIT_NAMES[units]}; residual toward the bridge, cents sharp above 0")
    _print_crowns(found, partial(show, units=units))
    for finding in findings(found, saddles, units):
        click.echo(finding)
    click.echo("Measure the saddle line again, from fret 12 on both edges, before you cut or drill.")


def _print_crowns(found: Survey, said: Callable[[float], str]) -> None:
    frets = sorted({int(fret) for line in found.lines for fret in line.measured.frets})
    rows = {fret: [str(fret)] for fret in frets}
    nut = ["nut"]
    for line in found.lines:
        places = {int(fret): i for i, fret in enumerate(line.measured.frets)}
        nut += ["", "", "", ""] if line.measured.nut is None else [said(line.measured.nut), "", "", ""]
        for fret, row in rows.items():
            if fret not in places:
                row += ["", "", "", ""]
                continue
            i = places[fret]
            row += [said(float(line.measured.distances[i])), _signed(said, float(line.residuals[i]))]
            row += [_cents(line.cents[i]), "look at" if line.look_at[i] else ""]
    head = [name for line in found.lines for name in (line.measured.name, "residual", "cents", "")]
    print_table(("fret", *head), [nut] * any(nut[1:]) + list(rows.values()))


def _signed(said: Callable[[float], str], length: float) -> str:
    text = said(length)
    return text.replace("-", MINUS) if text.startswith("-") else f"+{text}" if float(text) else text


def _cents(cents: float) -> str:
    return "" if math.isnan(cents) else shown_cents(cents, 1)
