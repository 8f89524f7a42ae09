"""``slotwright compensate``: how far each saddle is set back."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click
import numpy as np

from slotwright.cli.chords import chords_of, print_chords
from slotwright.cli.console import FILE, UNIT_NAMES, print_json, print_table, read_instrument, warn, write
from slotwright.cli.tolerances import print_slips, read_sizes
from slotwright.cli.tunings import print_losses
from slotwright.layout import cautions
from slotwright.layout.errors import SlotwrightError
from slotwright.layout.export.data import instrument as data
from slotwright.layout.instrument.tolerances import simulate
from slotwright.layout.instrument.what_if import what_if
from slotwright.layout.physics import polymer, wire
from slotwright.layout.units import cents

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from slotwright.layout.instrument.instrument import Instrument
    from slotwright.layout.instrument.stringing import Strung
    from slotwright.layout.instrument.tolerances import Outcome

_AIMS = {"rms": "least average error (rms)", "worst": "least largest error"}


@click.command("compensate", epilog="Example: slotwright compensate heron.toml --explain 3 --plot heron-pitch.svg")
@click.argument("plan", type=FILE)
@click.option("--explain", type=int, metavar="STRING", help="Say why the notes of one string are off, fret by fret.")
@click.option("--plot", type=FILE, metavar="FILE.svg", help="Chart every note, before and after.")
@click.option(
    "--tuning",
    "tunings",
    multiple=True,
    metavar="PITCHES",
    help='Serve this tuning too, like "D2 A2 D3 G3 A3 D4", lowest string first; repeatable, replaces those of PLAN.',
)
@click.option("--slip", "slips", is_flag=True, help="Say what usual workshop errors cost; --plot then charts that.")
@click.option(
    "--slip-of",
    "sizes",
    multiple=True,
    metavar="NAME=LENGTH",
    help="Standard deviation of one error: slot, nut, saddle, action, nut-height, relief or gauge; repeatable.",
)
@click.option("--chords", "by_chords", is_flag=True, help="Say how far pairs of notes are off in the target chords.")
@click.option("--force", is_flag=True, help="Replace the chart if it exists.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object, lengths in mm.")
def command(
    plan: Path,
    explain: int | None,
    plot: Path | None,
    tunings: tuple[str, ...],
    slips: bool,
    sizes: tuple[str, ...],
    by_chords: bool,
    force: bool,
    as_json: bool,
) -> None:
    """Say how far each saddle of PLAN is set back so that its notes are in tune.

    The plan's target frets (compensation.aim) say where, its tolerance says how closely.
    """
    explained = explain is not None
    for refused, why in (
        (sizes and not slips, "--slip-of belongs to --slip."),
        (
            explained and (slips or as_json),
            "--explain excludes --slip and --json; the parts of every string are in the object of --json.",
        ),
        (force and plot is None, "--force is for --plot."),
        (by_chords and (slips or explained), "--chords excludes --slip and --explain."),
    ):
        if refused:
            raise click.UsageError(why)
    instrument, strung = _strung(plan, tunings, explain)
    chords = chords_of(instrument, plan) if by_chords else None
    slipped = simulate(instrument, read_sizes(sizes, instrument.plan.units)) if slips else None
    if plot is not None:
        _plot(instrument, strung, slipped, plot, force=force)
    warn(instrument)
    if as_json:
        print_json(data.offsets(instrument, strung, slipped, chords))
    elif chords is not None:
        print_chords(instrument, chords)
    elif slipped is not None:
        print_slips(instrument, slipped)
    elif explain is not None:
        _explain(instrument, strung, explain)
    else:
        _print(instrument, strung)
    if plot is not None and not as_json:
        click.echo(f"{plot}  chart of every note")


def _strung(plan: Path, tunings: tuple[str, ...], explain: int | None) -> tuple[Instrument, Strung]:
    """Read a plan whose strings are known, the one to explain among them."""
    instrument = read_instrument(plan, tunings)
    strung = instrument.strung
    if strung is None:
        lacking = "\n  ".join(map(str, instrument.unstated))
        raise SlotwrightError(f"{plan}: its strings are not known well enough\n  {lacking}")
    if explain is not None and not 1 <= explain <= len(strung.bodies):
        raise SlotwrightError(f"{plan}: string {explain} of {len(strung.bodies)}; --explain takes one of its strings")
    return instrument, strung


def _pitch(instrument: Instrument, place: int) -> str:
    string = instrument.plan.strings[place]
    return string.pitch or f"{string.frequency:g} Hz"


def _print(instrument: Instrument, strung: Strung) -> None:
    plan, said = instrument.plan, instrument.length
    octave = plan.action_fret
    from_octave = instrument.neck.scales + strung.offsets.saddle - instrument.neck.from_nut[octave]
    nut_moves = bool(strung.offsets.nut.any())
    guessed = bool(np.isfinite(strung.uncertainty).any())
    shared = bool(strung.saddles.shared.any())
    head = ["string", "pitch", "tension", "load", "set back", f"from fret {octave}"]
    head += (
        ["saddle with"] * shared
        + ["nut forward"] * nut_moves
        + ["± stiffness"] * guessed
        + ["at fret", "before", "after"]
    )
    rows = []
    for i, body in enumerate(strung.bodies):
        fret = int(strung.worst_fret[i])
        load = "" if body.stress_ratio is None else f"{100 * body.stress_ratio:.0f} %"
        row = [str(i + 1), _pitch(instrument, i), f"{body.tension:.1f} N", load]
        row += [said(float(strung.offsets.saddle[i])), said(float(from_octave[i]))]
        row += [_mates(strung, i)] * shared
        row += [said(float(strung.offsets.nut[i]))] * nut_moves
        furthest = float(np.abs(strung.uncertainty[i] - strung.offsets.saddle[i]).max())
        doubt = "" if np.isnan(furthest) else said(furthest)
        row += [doubt] * guessed
        row += [str(fret), cents(strung.before.total[i, fret - 1]), cents(strung.worst_cents[i])]
        rows.append(row)
    click.echo(
        f"{instrument.title}: lengths in {UNIT_NAMES[plan.units]}; before and after: cents at the target fret "
        "with the largest remaining error; "
        f"{_AIMS[plan.compensation.minimise]}"
    )
    print_table(head, rows)
    if plan.tunings:
        print_losses(instrument, strung)
    for line in _remarks(instrument, strung):
        click.echo(line)


def _mates(strung: Strung, place: int) -> str:
    """Name the strings on the same saddle."""
    return ", ".join(str(other + 1) for other in strung.saddles.others(place))


def _remarks(instrument: Instrument, strung: Strung) -> Iterator[str]:
    rule = instrument.plan.compensation
    if not any(finding.kind == "beyond tolerance" for finding in instrument.pitch_findings):
        own = ", at its own pitch" if instrument.plan.tunings else ""
        yield f"every string is within {rule.tolerance:g} cents at its target frets{own}"
    yield from map(str, instrument.pitch_findings)
    outside = np.where(strung.weights > 0, 0.0, strung.after.total)
    string, fret = np.unravel_index(int(np.argmax(np.abs(outside))), outside.shape)
    if outside[string, fret]:
        worst = cents(outside[string, fret])
        yield f"largest error at other frets: {worst} cents, string {string + 1} at fret {fret + 1}"
    if any(body.stress_ratio is not None for body in strung.bodies):
        yield "load: tension as a part of the breaking load of music wire of that size"
    yield from instrument.grounds
    yield cautions.STRINGS


def _explain(instrument: Instrument, strung: Strung, string: int) -> None:
    plan, said, i = instrument.plan, instrument.length, string - 1
    back = said(float(strung.offsets.saddle[i]))
    click.echo(
        f"{instrument.title}, string {string} ({_pitch(instrument, i)}), set back {back} "
        f"{plan.units}: cents at every fret and where they come from"
    )
    click.echo(_basis(instrument, strung, i))
    if strung.saddles.shared[i]:
        click.echo(_company(instrument, strung, i))
    after = strung.after
    columns = {
        "before": strung.before.total[i],
        "geometry": after.length[i],
        "mass": after.mass[i],
        "tension": after.stretch[i],
        "stiffness": after.stiffness[i],
        "after": after.total[i],
    }
    aimed = strung.weights[i] > 0
    rows = [
        [str(n + 1), *(cents(column[n]) for column in columns.values()), "target" if aimed[n] else ""]
        for n in range(len(aimed))
    ]
    print_table(("fret", *columns, ""), rows)
    click.echo("after = geometry + mass + tension + stiffness")
    click.echo("geometry: where fret, saddle and nut stand; mass: less mass per length once the string is stretched;")
    click.echo("tension: more of it from pressing the string down; stiffness: a short stiff string sounds higher")
    frets = sorted({1, plan.action_fret})
    rows = [
        [
            change.change,
            *(cents(change.cents[fret - 1]) for fret in frets),
            said(change.saddle),
        ]
        for change in what_if(plan, instrument.neck, strung, string)
    ]
    click.echo("")
    print_table(("what if", *(f"cents at fret {fret}" for fret in frets), "set back then"), rows)
    free = "" if plan.compensation.nut == "none" else ", the nut moved to suit"
    click.echo(
        f"cents: change of the note while nothing else is moved; set back then: for the same target frets{free}"
    )


def _basis(instrument: Instrument, strung: Strung, i: int) -> str:
    """Say what the set-back of a string rests on."""
    string, body = instrument.plan.strings[i], strung.bodies[i]
    low, high = (instrument.length(float(end)) for end in strung.uncertainty[i])
    if body.core_estimated:
        doubt = wire.core_doubt(string.gauge or 0.0)
        return (
            f"its core is an estimate from {wire.CORE_STRINGS} measured strings; "
            f"set back {low} to {high} with one {doubt:.0%} thinner or thicker".replace("%", " %")
        )
    if body.bending_estimated:
        usual, doubt = polymer.WOUND_BENDING
        return (
            f"its bending stiffness is an estimate from {polymer.WOUND_STRINGS} measured strings, "
            f"{usual:.0f} ± {doubt:.0f} N mm2; set back {low} to {high} with that"
        )
    if string.inharmonicity is not None:
        return f"its stiffness is measured: inharmonicity {string.inharmonicity:g} is stated"
    ways = {"core": string.core, "bending stiffness": string.bending}
    if stated := [name for name, value in ways.items() if value is not None]:
        return f"its stiffness is stated: {' and '.join(stated)}"
    return "its stiffness is calculated from gauge and tension, with the modulus of published strings"


def _company(instrument: Instrument, strung: Strung, i: int) -> str:
    """Say what a string loses by sharing its saddle."""
    said, alone = instrument.length, float(strung.alone.saddle[i])
    words = (
        f"it shares a saddle with string {_mates(strung, i)}; alone it would be set back {said(alone)}; sharing adds "
        f"{cents(strung.sharing_rms[i])} cents to its average error (rms), {cents(strung.sharing_worst[i])} to its "
        "largest"
    )
    if strung.bodies[i].estimated or np.isnan(strung.uncertainty[i]).any():
        return words
    low, high = (said(float(end)) for end in strung.uncertainty[i])
    return f"{words}; an estimate of theirs leaves {low} to {high} open"


def _plot(instrument: Instrument, strung: Strung, slipped: Outcome | None, path: Path, *, force: bool) -> None:
    from slotwright.layout.export.charts.pitch import pitch_chart, slip_chart  # noqa: PLC0415 - only when asked for

    if path.suffix.lower() != ".svg":
        raise SlotwrightError(f"{path}: the chart is an SVG file; end its name in .svg")
    names = [
        f"{i + 1}: {_pitch(instrument, i)}{' *' if body.estimated else ''}" for i, body in enumerate(strung.bodies)
    ]
    title, tolerance = instrument.plan.title, instrument.plan.compensation.tolerance
    aims = strung.weights > 0
    if slipped is None:
        chart = pitch_chart(title, names, strung.before.total, strung.after.total, aims, tolerance)
    else:
        chart = slip_chart(title, names, (slipped.low, slipped.median, slipped.high), aims, tolerance)
    write({path: chart}, force=force)
