"""The bench with the instrument in hand: one question after the other."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from slotwright.cli.console import read_measured

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from slotwright.layout.dialogue import Dialogue, Question
    from slotwright.layout.fretted import Reading
    from slotwright.layout.instrument import Instrument


def converse(instrument: Instrument, log: Path) -> tuple[Reading, ...]:
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
