"""``slotwright bench``: readings become saddle moves."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from slotwright.cli.console import print_json, print_table, read_instrument, read_measured, warn
from slotwright.layout.errors import SlotwrightError

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from slotwright.layout.bench import Advice
    from slotwright.layout.diagnosis import Finding, Intonation
    from slotwright.layout.dialogue import Dialogue, Question
    from slotwright.layout.fretted import Reading
    from slotwright.layout.instrument import Instrument


@click.command("bench", epilog="Example: slotwright bench heron.toml readings.csv")
@click.argument("plan", type=click.Path(path_type=Path))
@click.argument("readings", type=click.Path(path_type=Path), required=False, metavar="[READINGS.csv]")
@click.option("--ask", is_flag=True, help="Ask for the readings one by one, with the instrument in hand.")
@click.option("--log", type=click.Path(path_type=Path), metavar="FILE.csv", help="For --ask: keep each reading here.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object, lengths in mm.")
def command(plan: Path, readings: Path | None, ask: bool, log: Path | None, as_json: bool) -> None:
    """Intonate the instrument of PLAN from READINGS: which saddle moves, which way, how far.

    The table has the columns string, fret and cents (or hz), and perhaps open (cents of the open
    string), saddle_offset, pass and note (warble). With --ask the same is a dialogue; a log that exists
    is gone on with.
    """
    from slotwright.layout.diagnosis import intonate  # noqa: PLC0415
    from slotwright.layout.fretted import parse_readings  # noqa: PLC0415 - quick --help

    if ask == (readings is not None):
        raise click.UsageError("Give READINGS.csv, or --ask to be asked for them.")
    if ask != (log is not None):
        raise click.UsageError(
            "--ask needs --log FILE.csv, where each reading is safe." if ask else "--log is for --ask."
        )
    instrument = read_instrument(plan)
    if readings is not None:
        raw = read_measured(readings, lambda text: parse_readings(text, instrument.plan))
        if not raw:
            raise SlotwrightError(f"{readings}: nothing stands below its header; write a line for each reading")
        warn(instrument)
    else:
        assert log is not None  # noqa: S101 - asked above
        raw = _converse(instrument, log)
        if not raw:
            return
    found = intonate(instrument, raw)
    if as_json:
        print_json(_as_json(found))
        return
    _print(instrument, found)


def _print(instrument: Instrument, found: Intonation) -> None:
    from slotwright.layout.dialogue import said_turns  # noqa: PLC0415 - quick --help

    plan, said = instrument.plan, instrument.length
    advices = [verdict.advice for verdict in found.strings if verdict.advice is not None]
    turned = any(advice.turns for advice in advices)
    travels = any(advice.travel is not None for advice in advices)
    head = ["string", "read", "saddle", "give or take"] + ["turns"] * turned + ["then"] + ["travel left"] * travels
    rows = []
    for advice in advices:
        words = "leave it" if advice.direction == "leave" else f"{advice.direction} {said(abs(advice.move))}"
        row = [str(advice.string), _notes(advice, advice.now), words, said(advice.error)]
        row += ["" if not advice.turns else said_turns(advice.turns)] * turned
        row += [_notes(advice, advice.expected)]
        row += [said(min(advice.travel)) if advice.travel else ""] * travels
        rows.append(row)
    click.echo(f"{instrument.title}: lengths in {plan.units}; errors in cents at each fret, against the open string")
    if rows:
        print_table(head, rows)
        _remarks(instrument, advices)
    for verdict in found.strings:
        for finding in verdict.findings:
            click.echo(f"string {verdict.string}: {finding.kind}: {finding.evidence}")
    for finding in found.findings:
        click.echo(f"{finding.kind}: {finding.evidence}")


def _remarks(instrument: Instrument, advices: Sequence[Advice]) -> None:
    tolerance = instrument.plan.compensation.tolerance
    beyond = [str(advice.string) for advice in advices if not advice.within]
    if beyond:
        click.echo(f"not within {tolerance:g} cents even then: string {', '.join(beyond)}")
    if all(advice.direction == "leave" for advice in advices):
        click.echo("no saddle needs to be moved")
        return
    click.echo("back: away from the nut; a sharp fretted note asks for it. give or take: one standard error")
    if instrument.strung is None:
        click.echo("the strings are not known: moves are reckoned from lengths alone")
    click.echo("Loosen a string before you turn its screw, retune after each move, then read again.")
    click.echo("Strings under tension whip when they break: keep your face out of their line.")


def _notes(advice: Advice, cents: Iterable[float]) -> str:
    return "  ".join(
        f"{fret}: {round(float(off), 1) + 0.0:+.1f}"
        for fret, off, aimed in zip(advice.frets, cents, advice.aimed, strict=True)
        if aimed
    )


def _converse(instrument: Instrument, log: Path) -> tuple[Reading, ...]:
    """Ask until everything is read, or the user has enough; every reading is on disk before the next question."""
    from slotwright.layout.dialogue import REMINDERS, Dialogue, understood  # noqa: PLC0415 - quick --help
    from slotwright.layout.export.files import write_whole  # noqa: PLC0415
    from slotwright.layout.fretted import as_log, parse_readings  # noqa: PLC0415

    dialogue, skipped = Dialogue(instrument), set[tuple[int, int]]()
    raw: tuple[Reading, ...] = ()
    if log.exists():
        raw = read_measured(log, lambda text: parse_readings(text, instrument.plan))
        click.echo(f"{log}: going on after {len(raw)} readings")
    else:
        write_whole({log: as_log((), instrument.plan)})  # a log that cannot be written is told now
    for line in REMINDERS:
        click.echo(line)
    click.echo("Type cents or hz (w behind it: warbles). Enter repeats, b steps back, s skips, q ends.")
    while (question := dialogue.ask(raw, skipped)) is not None:
        answer = _answer(question)
        if answer == "q":
            click.echo(f"{log} keeps {len(raw)} readings; the same command goes on")
            break
        if answer == "s":
            skipped.add((question.string, question.fret))
        elif answer == "b":
            raw, skipped = raw[:-1], set()
        elif answer:
            try:
                raw = (*raw, question.reading(*understood(answer, instrument.plan, question)))
            except ValueError as error:
                click.echo(str(error))
                continue
        write_whole({log: as_log(raw, instrument.plan)}, force=True)
    _summary(dialogue, raw)
    return raw


def _answer(question: Question) -> str:
    """Ask for one reading; the end of the input ends the dialogue."""
    for line in question.told:
        click.echo(line)
    try:
        answer: str = click.prompt(
            f"string {question.string} fret {question.fret}", default="", show_default=False, prompt_suffix=" > "
        )
    except click.Abort:
        click.echo("")
        return "q"
    return answer.strip().lower()


def _summary(dialogue: Dialogue, raw: Sequence[Reading]) -> None:
    """Say what was moved, string by string."""
    click.echo("")
    for string in sorted({reading.string for reading in raw}):
        moves = {reading.at: reading.moved for reading in raw if reading.string == string}
        moved = [move for move in moves.values() if move]
        said = dialogue.instrument.length(abs(sum(moved)))
        way = "back" if sum(moved) > 0 else "forward"
        many = "1 move" if len(moved) == 1 else f"{len(moved)} moves"
        click.echo(f"string {string}: {f'{many}, {way} {said} in all' if moved else 'not moved'}")


def _as_json(found: Intonation) -> dict[str, Any]:
    strings = []
    for verdict in found.strings:
        advice = verdict.advice
        told: dict[str, Any] = {"string": verdict.string}
        told |= {
            "move": advice.move if advice else None,
            "move_error": advice.error if advice else None,
            "turns": advice.turns if advice else None,
            "direction": advice.direction if advice else "leave",
            "read": _cents(advice, advice.now) if advice else [],
            "expected": _cents(advice, advice.expected) if advice else [],
            "within_tolerance": advice.within if advice else False,
            "travel_left": list(advice.travel) if advice and advice.travel else None,
            "findings": _findings(verdict.findings),
        }
        strings.append(told)
    return {"strings": strings, "findings": _findings(found.findings), "calibration": None}


def _cents(advice: Advice, cents: Iterable[float]) -> list[dict[str, Any]]:
    return [{"fret": int(fret), "cents": float(off)} for fret, off in zip(advice.frets, cents, strict=True)]


def _findings(findings: Iterable[Finding]) -> list[dict[str, str]]:
    return [{"kind": finding.kind, "evidence": finding.evidence} for finding in findings]
