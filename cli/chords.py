"""What ``slotwright compensate`` tells of chords."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from slotwright.cli.console import print_table
from slotwright.layout.errors import SlotwrightError
from slotwright.layout.instrument.chords import sounded, twelve
from slotwright.layout.units import cents

if TYPE_CHECKING:
    from pathlib import Path

    from slotwright.layout.instrument.chords import Chord, Note, Pair
    from slotwright.layout.instrument.instrument import Instrument


def chords_of(instrument: Instrument, path: Path) -> tuple[Chord, ...]:
    """Sound the chords of a plan; refuse a plan that has none."""
    chords = sounded(instrument.plan, instrument.stringing)
    if not chords:
        raise SlotwrightError(
            f"{path}: it has no target chords; "
            'write aim = [{ chords = ["x32010", "x 10 12 12 12 10"] }] in [compensation]'
        )
    return chords


def print_chords(instrument: Instrument, chords: tuple[Chord, ...]) -> None:
    """Print the pairs of notes of every chord that are furthest off."""
    named = twelve(instrument.plan)
    click.echo(
        f"{instrument.title}: pairs of notes furthest off in each chord, before and after; "
        "cents that an interval is too wide (+) or too narrow"
    )
    head = ["chord", "strings", "notes" if named else "frets", *(["interval"] if named else []), "before", "after"]
    head += ["pure before", "pure after"] if named else []
    rows = []
    for chord in chords:
        shown = [_row(pair, named=named) for pair in chord.furthest]
        alone = [str(chord.notes[0].string), _note(chord.notes[0], named=named), *[""] * (len(head) - 3)]
        for place, row in enumerate(shown or [alone]):
            rows.append([chord.written if place == 0 else "", *row])
    print_table(head, rows)
    click.echo("before and after: against the plan's own division, open strings in tune")
    if named:
        click.echo(
            "pure: against the nearest pure interval; twelve equal steps alone miss a pure third by 14 to 16 cents"
        )
    else:
        click.echo("not compared with pure intervals: the frets do not divide the octave by twelve")
    for line in instrument.grounds:
        click.echo(line)


def _row(pair: Pair, *, named: bool) -> list[str]:
    both = (pair.low, pair.high)
    row = [", ".join(str(note.string) for note in both), " ".join(_note(note, named=named) for note in both)]
    row += [pair.name] if named else []
    row += [cents(pair.before), cents(pair.after)]
    return row + [cents(off) for off in pair.from_pure or ()]


def _note(note: Note, *, named: bool) -> str:
    return note.name if named else str(note.fret)
