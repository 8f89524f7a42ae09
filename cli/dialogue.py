"""The bench with the instrument in hand: one question after the other."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from slotwright.cli.console import read_measured
from slotwright.layout.errors import SlotwrightError

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from slotwright.layout.bench.dialogue import Dialogue, Question
    from slotwright.layout.instrument.instrument import Instrument
    from slotwright.layout.readings.notes import Reading


def converse(instrument: Instrument, log: Path) -> tuple[Reading, ...]:
    """Ask until everything is read; every reading is on disk before the next question.

    Gives nothing when the user ended it before.
    """
    from slotwright.layout.bench.dialogue import REMINDERS, Dialogue  # noqa: PLC0415 - quick --help

    dialogue, kept = Dialogue(instrument), _Log(log, instrument)
    asked: set[tuple[int, int]] = set()
    if kept.readings:
        click.echo(f"{log}: going on after {_many(kept.readings)}; the last move may be done already")
    for line in REMINDERS:
        click.echo(line)
    click.echo("Type cents or hz (w behind it: warbles). Enter repeats, b steps back, s skips, q ends.")
    while (question := dialogue.ask(kept.readings, kept.skipped)) is not None:
        answer = _answer(question, again=(question.string, question.at) in asked)
        asked.add((question.string, question.at))
        if answer == "q":
            break
        kept.take(question, answer)
    _summary(dialogue, kept.readings)
    for line in dialogue.closings(kept.readings, kept.skipped):
        click.echo(line)
    if question is None:
        return kept.readings
    if question.moved and question.told:
        click.echo(f"string {question.string}: asked to be moved, not read since; read before you turn again")
    click.echo(f"{log} keeps {_many(kept.readings)}; the same command goes on")
    return ()


def _many(readings: Sequence[Reading]) -> str:
    return "1 reading" if len(readings) == 1 else f"{len(readings)} readings"


class _Log:
    """The readings, and the file that holds them."""

    def __init__(self, path: Path, instrument: Instrument) -> None:
        from slotwright.layout.readings.notes import parse_readings  # noqa: PLC0415 - quick --help

        # Behind a link the file itself is what is kept.
        self.path, self.plan = path.resolve(), instrument.plan
        self.readings: tuple[Reading, ...] = ()
        # What was answered: a note that was skipped, None for one that was read.
        self.done: list[tuple[int, int] | None] = []
        self.written: bytes | None = None
        if self.path.exists():
            self.written = self.path.read_bytes()
        if self.written:
            self.readings = read_measured(path, lambda text: parse_readings(text, instrument.plan))
        self.write(self.readings)  # a log that cannot be written is told now, not after the first answer

    @property
    def skipped(self) -> set[tuple[int, int]]:
        """Notes that are not to be asked for."""
        return {note for note in self.done if note}

    def take(self, question: Question, answer: str) -> None:
        """Take what was typed: a reading, a step back, a skip, or nothing."""
        from slotwright.layout.bench.dialogue import understood  # noqa: PLC0415 - quick --help

        if answer == "s":
            self.done.append((question.string, question.fret))
        elif answer == "b":
            if not self.done or self.done.pop() is None:
                self.write(self.readings[:-1])
        elif answer:
            try:
                reading = question.reading(*understood(answer, self.plan, question))
            except ValueError as error:
                click.echo(str(error))
                return
            self.write((*self.readings, reading))
            self.done.append(None)

    def write(self, readings: tuple[Reading, ...]) -> None:
        """Put all readings on disk, unless somebody else wrote there."""
        from slotwright.layout.export.files import write_whole  # noqa: PLC0415 - quick --help
        from slotwright.layout.readings.notes import as_log  # noqa: PLC0415

        there = self.path.read_bytes() if self.path.exists() else None
        if there != self.written:
            what = "was changed by somebody else" if there is not None else "was taken away"
            raise SlotwrightError(f"{self.path.name} {what} meanwhile; nothing is written, start again")
        text = as_log(readings, self.plan)
        write_whole({self.path: text}, force=True)
        self.readings, self.written = readings, text


def _answer(question: Question, *, again: bool) -> str:
    """Ask for one reading; the end of the input ends the dialogue."""
    for line in question.told:
        click.echo(f"(as before) {line}" if again else line)
    try:
        answer: str = click.prompt(
            f"string {question.string} fret {question.fret}", default="", show_default=False, prompt_suffix=" > "
        )
    except (click.Abort, RuntimeError):  # nobody is there, or no longer
        click.echo("")
        return "q"
    return answer.strip().lower()


def _summary(dialogue: Dialogue, raw: Sequence[Reading]) -> None:
    """Say what was moved, string by string."""
    click.echo("")
    for string in sorted({reading.string for reading in raw}):
        moves = {reading.at: reading.moved for reading in raw if reading.string == string}
        moved = [move for move in moves.values() if move]
        said = dialogue.plan.said(abs(sum(moved)))
        way = "back" if sum(moved) > 0 else "forward"
        many = "1 move" if len(moved) == 1 else f"{len(moved)} moves"
        click.echo(f"string {string}: {f'{many}, {way} {said} in all' if moved else 'not moved'}")
