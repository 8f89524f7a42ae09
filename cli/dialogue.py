"""The bench with the instrument in hand: one question after the other."""

from __future__ import annotations

import errno
import os
from typing import TYPE_CHECKING

import click

from slotwright.cli.console import measured, read_measured
from slotwright.layout.errors import SlotwrightError

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from slotwright.layout.bench.dialogue import Dialogue, Question
    from slotwright.layout.instrument.instrument import Instrument
    from slotwright.layout.readings.notes import Reading

_HOW = (
    "Type what the meter shows for the fretted note: cents (-2.5) or 329.1 hz; a w behind it when it warbles.",
    "Enter repeats, b takes the last one back, s skips, q ends.",
)


def converse(instrument: Instrument, log: Path) -> tuple[Reading, ...]:
    """Ask until everything is read; every reading is on disk before the next question.

    Gives nothing when the user ended it before.
    """
    from slotwright.layout.bench.dialogue import Dialogue  # noqa: PLC0415 - quick --help

    dialogue, kept = Dialogue(instrument), _Log(log, instrument)
    if kept.readings:
        click.echo(f"{log}: going on after {_many(kept.readings)}; the last move may be done already")
    for line in (*dialogue.reminders, *_HOW, ""):
        click.echo(line)
    told: tuple[int, tuple[str, ...]] = (0, ())
    while (question := dialogue.ask(kept.readings, kept.skipped, kept.since)) is not None:
        if question.told and (question.at, question.told) != told:
            click.echo("\n".join(question.told))
            told = question.at, question.told
        answer = _answer(question)
        if answer == "q":
            break
        for line in () if answer else question.told:
            click.echo(f"(as before) {line}")
        kept.take(question, answer)
    _summary(dialogue, kept)
    if question is None:
        return kept.readings
    if question.moved and question.told:
        click.echo(f"string {question.string}: asked to be moved, not read since; read before you turn again")
    click.echo(f"{log} keeps {_many(kept.readings)}; the same command goes on")
    return ()


def _many(readings: Sequence[Reading]) -> str:
    return "1 reading" if len(readings) == 1 else f"{len(readings)} readings"


class _Log:
    """The readings, and the file that they are added to."""

    def __init__(self, path: Path, instrument: Instrument) -> None:
        from slotwright.layout.export.files import add_to, write_whole  # noqa: PLC0415 - quick --help
        from slotwright.layout.readings.notes import as_log  # noqa: PLC0415

        # Behind a link the file itself is what is kept.
        self.name, self.path, self.plan = path, path.resolve(), instrument.plan
        # What was answered: the row that was written, or a note that was skipped.
        self.done: list[bytes | tuple[int, int]] = []
        header = as_log((), self.plan)
        if not self.path.exists():
            write_whole({self.path: header})
        self._refuse_protected()
        if self.path.is_file() and not self.path.stat().st_size:
            add_to(self.path, header)
        self._load(self._there())
        self.since = len(self.readings)
        if self.form.begun:
            click.echo(f"{path}: its last line had no line end; it is taken as whole")

    @property
    def skipped(self) -> set[tuple[int, int]]:
        """Notes that are not to be asked for."""
        return {note for note in self.done if isinstance(note, tuple)}

    def take(self, question: Question, answer: str) -> None:
        """Take what was typed: a reading, a step back, a skip, or nothing."""
        from slotwright.layout.bench.dialogue import understood  # noqa: PLC0415 - quick --help

        if answer == "s":
            self.done.append((question.string, question.fret))
        elif answer == "b":
            self._back()
        elif answer:
            try:
                reading = question.reading(*understood(answer, self.plan, question))
            except ValueError as error:
                click.echo(str(error))
                return
            self._add(reading)

    def _add(self, reading: Reading) -> None:
        """Add a reading to the file as it is now, whoever else wrote there; then go by all that it holds."""
        from slotwright.layout.export.files import add_to, write_whole  # noqa: PLC0415 - quick --help
        from slotwright.layout.readings.log import as_it_stands  # noqa: PLC0415

        known = self.text
        if not self.path.exists():
            write_whole({self.path: known})
            click.echo(f"{self.name} was taken away meanwhile; it is written anew, with all that it held")
        try:
            there = self._there()
            if there != known:
                self._load(there)
                reading = as_it_stands(reading, self.readings)
            row = self.form.row(reading, self.plan)
        except SlotwrightError as error:
            lost = self.form.row(reading, self.plan).decode().strip()
            raise SlotwrightError(f"{error}\nnot written, because that stands there since: {lost}") from None
        add_to(self.path, row)
        self.done.append(row)
        self._load(self._there())
        if self.text != known + row:
            click.echo(f"{self.name} was changed by somebody else meanwhile; now it holds {_many(self.readings)}")

    def _back(self) -> None:
        """Take back the last answer, if it was given here."""
        from slotwright.layout.export.files import take_off  # noqa: PLC0415 - quick --help

        if not self.done:
            click.echo(f"nothing to take back here; what was there before is mended in {self.name} itself")
            return
        last = self.done.pop()
        if isinstance(last, bytes):
            if not take_off(self.path, last):
                click.echo(f"{self.name} was changed by somebody else meanwhile; take the row out there")
            self._load(self._there())

    def _there(self) -> bytes:
        """Give what the file holds now; more than measurements ever have, or no file at all, is refused."""
        return read_measured(self.name, lambda text: text)

    def _load(self, text: bytes) -> None:
        """Understand what the file holds."""
        from slotwright.layout.readings.log import form_of  # noqa: PLC0415 - quick --help
        from slotwright.layout.readings.notes import parse_readings  # noqa: PLC0415

        self.text = text
        self.readings = measured(self.name, text, lambda given: parse_readings(given, self.plan))
        self.form = measured(self.name, text, lambda given: form_of(given, self.plan))

    def _refuse_protected(self) -> None:
        """Refuse a file that is not to be written to, also when its owner could; and what is no file."""
        if self.path.is_dir():
            raise IsADirectoryError(errno.EISDIR, os.strerror(errno.EISDIR), str(self.name))
        if self.path.is_file() and not (os.access(self.path, os.W_OK) and self.path.stat().st_mode & 0o222):
            raise PermissionError(errno.EACCES, "write-protected; name another log, or allow writing", str(self.name))


def _answer(question: Question) -> str:
    """Ask for one reading; the end of the input ends the dialogue."""
    try:
        answer: str = click.prompt(
            f"string {question.string} fret {question.fret}", default="", show_default=False, prompt_suffix=" > "
        )
    except (click.Abort, RuntimeError):  # nobody is there, or no longer
        click.echo("")
        return "q"
    return answer.strip().lower()


def _summary(dialogue: Dialogue, kept: _Log) -> None:
    """Say of every string how far its saddle was moved in all, and how it ended."""
    from slotwright.layout.bench.dialogue import named  # noqa: PLC0415 - quick --help

    click.echo("")
    ended = dialogue.closings(kept.readings, kept.skipped, kept.since)
    for unit in dialogue.units():
        own = [reading for reading in kept.readings if reading.string in unit]
        if own:
            gone = [move for move in {reading.at: reading.moved for reading in own}.values() if move]
            way = "back" if sum(gone) > 0 else "forward"
            many = "1 move" if len(gone) == 1 else f"{len(gone)} moves"
            moved = f"{many}, {way} {dialogue.plan.said(abs(sum(gone)))} in all" if gone else "not moved"
            if dialogue.track(unit, own).reversals:  # then nobody knows how far in all
                moved = f"{many}, not all of them the right way"
            click.echo(f"{named(unit)}: {moved}; {ended.get(unit, 'not finished')}")
