"""``slotwright bench``: readings become saddle moves."""

from __future__ import annotations

from typing import TYPE_CHECKING, cast

import click
import numpy as np

from slotwright.cli.console import (
    FILE,
    UNIT_NAMES,
    print_json,
    print_table,
    read_instrument,
    read_readings,
    warn,
    write,
)
from slotwright.cli.dialogue import converse
from slotwright.layout import cautions
from slotwright.layout.errors import PlanError, SlotwrightError
from slotwright.layout.units import cents as shown_cents
from slotwright.layout.units import show

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Sequence
    from pathlib import Path

    from slotwright.layout.bench.advice import Advice
    from slotwright.layout.bench.diagnosis import Intonation
    from slotwright.layout.bench.restring import Restrung
    from slotwright.layout.instrument.instrument import Instrument
    from slotwright.layout.readings.notes import Reading

_MOST_NOTES = 3  # of a string that fit into a line of the table


@click.command("bench", epilog="Example: slotwright bench heron.toml readings.csv")
@click.argument("plan", type=FILE)
@click.argument("readings", type=FILE, required=False, metavar="[READINGS.csv]")
@click.option("--ask", is_flag=True, help="Ask for the readings one by one, with the instrument in hand.")
@click.option("--log", type=FILE, metavar="FILE.csv", help="For --ask: add each reading here.")
@click.option("--explain", is_flag=True, help="Say what the calibration rests on.")
@click.option("--restring", type=FILE, metavar="OTHER_PLAN", help="Say how far the saddles move for its strings.")
@click.option("--save-plan", type=FILE, metavar="FILE.toml", help="Keep the plan with what was learnt.")
@click.option("--force", is_flag=True, help="Replace that file if it exists.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object, lengths in mm.")
def command(
    plan: Path,
    readings: Path | None,
    ask: bool,
    log: Path | None,
    explain: bool,
    restring: Path | None,
    save_plan: Path | None,
    force: bool,
    as_json: bool,
) -> None:
    """Intonate the instrument of PLAN from READINGS: which saddle moves, which way, how far.

    The table has the columns string, fret and cents (or hz), and perhaps open (cents of the open
    string), from_fret_12 (where a ruler finds the saddle), pass (rounds between which saddles were
    moved) and note (warble). With --ask the same is a dialogue: type cents (-2.5) or 329.1 hz, w behind
    it when the note warbles. A log that exists is added to, row by row; what stands there stays. Five
    frets on four strings also teach how stiff and stretchy these strings are: --save-plan keeps that
    for later, --restring uses it to say how far the saddles will move for the strings of another plan.
    """
    from slotwright.layout.bench.diagnosis import intonate  # noqa: PLC0415
    from slotwright.layout.export.data import bench as data  # noqa: PLC0415

    if ask == (readings is not None):
        raise click.UsageError(
            "Give READINGS.csv or --ask, not both." if ask else "Give READINGS.csv, or --ask to be asked for them."
        )
    if ask != (log is not None):
        raise click.UsageError(
            "--ask needs --log FILE.csv, where each reading is safe." if ask else "--log is for --ask."
        )
    if ask and (explain or restring or save_plan or as_json):
        raise click.UsageError("--explain, --restring, --save-plan and --json go with READINGS.csv; the log is one.")
    if save_plan is not None and save_plan.suffix.lower() != ".toml":
        raise SlotwrightError(f"{save_plan}: the plan is a TOML file; end its name in .toml")
    instrument = read_instrument(plan)
    raw = _read(instrument, readings) if readings else converse(instrument, cast("Path", log))
    if not raw:
        return
    found = intonate(instrument, raw)
    other = None if restring is None else _warned(read_instrument(restring))
    restrung = None if other is None else _restrung(instrument, other, raw, found)
    if save_plan is not None:
        _save(plan, save_plan, found, force=force)
    if as_json:
        print_json(data.intonation(found, restrung))
        return
    _print(instrument, found, explain=explain)
    if other is not None and restrung is not None:
        _print_restrung(instrument, other, restrung)
    if save_plan is not None:
        click.echo(f"{save_plan}  the plan with its calibration")


def _read(instrument: Instrument, readings: Path) -> tuple[Reading, ...]:
    raw = read_readings(readings, instrument)
    warn(instrument)
    return raw


def _warned(instrument: Instrument) -> Instrument:
    warn(instrument)
    return instrument


def _restrung(instrument: Instrument, other: Instrument, raw: Sequence[Reading], found: Intonation) -> Restrung:
    from slotwright.layout.bench.restring import restring  # noqa: PLC0415
    from slotwright.layout.bench.state import gather, setting_of  # noqa: PLC0415 - quick --help

    setting = setting_of(instrument)
    try:
        return restring(instrument, other, setting, gather(setting, raw), found.advices, found.calibrated)
    except PlanError as error:
        raise SlotwrightError(f"--restring: {error}") from None


def _save(plan: Path, path: Path, found: Intonation, *, force: bool) -> None:
    from slotwright.layout.plan.writer import recalibrated  # noqa: PLC0415 - quick --help

    if found.calibrated is None:
        raise SlotwrightError(f"{path} is not written: {found.wanting}")
    if found.calibrated.doubtful:
        raise SlotwrightError(f"{path} is not written: {found.calibrated.doubtful}; look at the findings")
    learnt = found.calibrated
    text = recalibrated(plan.read_bytes(), learnt.stiffness, learnt.stretch, learnt.press_depth)
    write({path: text}, force=force)


def _print(instrument: Instrument, found: Intonation, *, explain: bool) -> None:
    from slotwright.layout.bench.moves import said_turns  # noqa: PLC0415 - quick --help

    plan, said = instrument.plan, instrument.length
    advices = found.advices
    turned = any(advice.turns for advice in advices)
    travels = _travels(instrument)
    head = ["string", "read", "saddle", "±"] + ["turns"] * turned + ["then"] + ["travel left"] * travels
    rows = []
    for advice in advices:
        no_order = {"leave": "leave it", "beyond": "beyond its travel" if travels else "out of reach"}
        words = no_order.get(advice.direction, f"{advice.direction} {said(abs(advice.wanted))}")
        row = [str(advice.string), _notes(advice, advice.now), words, said(advice.error)]
        row += ["" if not advice.turns else said_turns(advice.turns)] * turned
        row += [_notes(advice, advice.expected)]
        row += [said(min(advice.travel)) if advice.travel else "?"] * travels
        rows.append(row)
    lengths = UNIT_NAMES[plan.units]
    click.echo(f"{instrument.title}: lengths in {lengths}; errors in cents at each fret, against the open string")
    if rows:
        print_table(head, rows)
        _remarks(instrument, found)
    for verdict in found.strings:
        for finding in verdict.findings:
            click.echo(f"string {verdict.string}: {finding.kind}: {finding}")
    for finding in found.findings:
        click.echo(f"{finding.kind}: {finding}")
    for line in (*_taught(found), *(_rests_on(found, plan.said) if explain else ())):
        click.echo(line)


def _travels(instrument: Instrument) -> bool:
    """Tell whether the saddles have a travel that is known."""
    return instrument.placed is not None and instrument.placed.reserve is not None


def _taught(found: Intonation) -> Iterator[str]:
    """Say what the readings teach the model, or why they do not."""
    learnt = found.calibrated
    if learnt is None:
        yield f"not calibrated: {found.wanting}"
        return
    yield (
        f"calibration from string {', '.join(map(str, learnt.strings))}: stiffness {learnt.stiffness:.2f} ± "
        f"{learnt.stiffness_error:.2f}, stretch {learnt.stretch:.2f} ± {learnt.stretch_error:.2f} "
        f"(correlation {shown_cents(learnt.correlation)})"
    )
    yield f"the model missed those readings by {learnt.rms_before:.2f} cents, with this by {learnt.rms_after:.2f}"
    if learnt.doubtful:
        yield f"not to be trusted: {learnt.doubtful}; does each saddle stand where stated?"


def _rests_on(found: Intonation, said: Callable[[float], str]) -> Iterator[str]:
    """Say what the factors were learnt with, and what sounds like them."""
    from slotwright.layout.bench.calibration import STRETCH_SLIP  # noqa: PLC0415 - quick --help
    from slotwright.layout.instrument.tolerances import CAUSES  # noqa: PLC0415

    learnt = found.calibrated
    if learnt is None:
        return
    yield (
        f"allowed for: action off by {said(CAUSES['action'].usual)}, the height at fret 1 by "
        f"{said(CAUSES['nut-height'].usual)}, each string's stretch by {100 * STRETCH_SLIP:.0f} %"
    )
    if learnt.press_depth is None or learnt.press_depth_error is None or learnt.correlations is None:
        yield "frets 1 to 3 were not read: how deep the hand presses is taken from the plan"
        return
    depth, error = said(learnt.press_depth), said(learnt.press_depth_error)
    stretch, nut = map(shown_cents, learnt.correlations)
    yield (
        f"the hand presses {depth} ± {error} below the crown (correlation with the stretch {stretch}, with the nut's "
        f"height {nut}); to tell them apart press as lightly as the note speaks and read frets 1 to 3 again"
    )


def _print_restrung(instrument: Instrument, other: Instrument, restrung: Restrung) -> None:
    from slotwright.layout.bench.advice import turns_of  # noqa: PLC0415 - quick --help
    from slotwright.layout.bench.moves import said_turns  # noqa: PLC0415

    plan, said = instrument.plan, instrument.length
    threaded = plan.bridge is not None and plan.bridge.per_turn is not None
    head = ["string", "gauge", "tension", "load", "saddle", "±"]
    head += ["turns"] * threaded + ["travel left"] * (restrung.travel is not None)
    rows = []
    for i, (old, new) in enumerate(zip(plan.strings, other.plan.strings, strict=True)):
        move, error = float(restrung.move[i]), float(restrung.error[i])
        way = "leave it" if abs(move) < error else f"{'back' if move > 0 else 'forward'} {said(abs(move))}"
        turns = "" if abs(move) < error else said_turns(turns_of(plan, move) or 0.0)
        gauges = [show(string.gauge or 0.0, "in") for string in (old, new)]
        loads = ["" if np.isnan(part) else f"{100 * part:.0f}" for part in restrung.stress[i]]
        row = [str(i + 1), f"{gauges[0]} to {gauges[1]} in"]
        row += ["{:.1f} to {:.1f} N".format(*restrung.tension[i])]
        row += [f"{loads[0]} to {loads[1]} %" if any(loads) else ""]
        row += [way + ("" if restrung.read[i] else " *"), said(error), *([turns] * threaded)]
        left = None if restrung.travel is None else float(restrung.travel[i].min())
        row += [] if left is None else ["?" if np.isnan(left) else said(left)]
        rows.append(row)
    click.echo("")
    click.echo(
        f"for the strings of {other.title}, instead of the moves above: from where each saddle stands now, "
        f"in {UNIT_NAMES[plan.units]}"
    )
    print_table(head, rows)
    if not restrung.read.all():
        click.echo("* not read: from where it belongs with the strings that are on now, wherever it stands")
    if restrung.travel is not None and (short := np.flatnonzero(restrung.travel.min(axis=1) < 0)).size:
        click.echo(f"the travel does not hold string {', '.join(str(i + 1) for i in short)}")


def _remarks(instrument: Instrument, found: Intonation) -> None:
    tolerance, advices = instrument.plan.compensation.tolerance, found.advices
    kept_out = {v.string for v in found.strings if any(finding.kind == "shared contact" for finding in v.findings)}
    beyond = [str(advice.string) for advice in advices if not advice.within]
    if beyond:
        click.echo(f"not within {tolerance:g} cents even then: string {', '.join(beyond)}")
    if not any(advice.direction in ("back", "forward") for advice in advices):
        if not beyond:
            click.echo("no saddle needs to be moved")
        elif any(
            not (a.within or a.warbles or a.low or a.direction == "beyond" or a.string in kept_out) for a in advices
        ):
            click.echo("no move is surer than its doubt; read more frets")
        return
    click.echo("back: away from the nut; a sharp fretted note asks for it. ±: one standard error")
    if _travels(instrument) and any(advice.travel is None for advice in advices):
        click.echo("?: nobody read where that saddle stands; a ruler does, from fret 12 (column from_fret_12)")
    what = "a saddle" if instrument.plan.shared_saddles else "a place of the crest"
    for group in instrument.plan.shared_contacts:
        strings = " and ".join(str(place + 1) for place in group)
        click.echo(f"string {strings} share {what}: one move for {'both' if len(group) == 2 else 'all'}")
    if instrument.strung is None:
        click.echo("the strings are not known: moves are calculated from lengths alone")
    threaded = instrument.plan.bridge is not None and instrument.plan.bridge.per_turn is not None
    turned = "Loosen a string before you turn its screw, retune" if threaded else "Retune"
    click.echo(f"{turned} after each move, then read again.")
    click.echo(cautions.STRINGS)


def _notes(advice: Advice, cents: Iterable[float]) -> str:
    aimed = [
        (int(fret), shown_cents(off, 1), float(off))
        for fret, off, counts in zip(advice.frets, cents, advice.aimed, strict=True)
        if counts
    ]
    if len(aimed) > _MOST_NOTES:
        low, high = (sorted(aimed, key=lambda note: note[2])[end][1] for end in (0, -1))
        return f"{len(aimed)} frets: {low} to {high}"
    return "  ".join(f"{fret}: {off}" for fret, off, _ in aimed)
