"""``slotwright hear``: a recording becomes readings."""

from __future__ import annotations

import shlex
from pathlib import Path
from typing import TYPE_CHECKING

import click

from slotwright.cli.console import FILE, counted, print_json, print_table, read_instrument, refuse_now, warn, write
from slotwright.layout.errors import SlotwrightError
from slotwright.layout.units import cents as shown_cents

if TYPE_CHECKING:
    from collections.abc import Sequence

    from slotwright.layout.instrument.instrument import Instrument
    from slotwright.layout.sound.heard import Hearing


@click.command("hear", epilog="Example: slotwright hear heron.toml take.wav --readings first.csv")
@click.argument("plan", type=FILE)
@click.argument("take", type=FILE)
@click.option("--readings", type=FILE, required=True, metavar="FILE.csv", help="Table of the notes, for bench.")
@click.option("--played", metavar="TEXT", help='What was played: "6 5 4 3 2 1: 0 12 17" (default), "6-1: 0-22".')
@click.option("--again", multiple=True, metavar="N=FILE", help="String N from another take, instead of this one.")
@click.option("--evidence", type=FILE, metavar="FILE.html", help="A page that shows what was heard.")
@click.option("--save-plan", type=FILE, metavar="FILE.toml", help="Keep the plan with the inharmonicity heard.")
@click.option("--moved/--not-moved", default=None, help="Saddles were moved since FILE.csv; asked without it.")
@click.option("--force", is_flag=True, help="Replace evidence and plan if they exist; readings are only added to.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
def command(
    plan: Path,
    take: Path,
    readings: Path,
    played: str | None,
    again: tuple[str, ...],
    evidence: Path | None,
    save_plan: Path | None,
    moved: bool | None,
    force: bool,
    as_json: bool,
) -> None:
    """Read the notes of a recording TAKE of the instrument of PLAN, for bench.

    Hold the instrument as it is played and fret as the player would. Lowest string first: open, fret
    12, fret 17, then the next string; two seconds a note, stop it, half a second of rest. Damp the other
    strings; pluck again when unsure. Tone control open; pickups low if notes warble. WAV, FLAC or AIFF.

    The readings are of the first partial at amplitude zero, which a meter reads 1 to 2 cents sharper:
    do not mix both in one pass. On a solid body expect 0.3 to 0.5 cents a note, 1 to 1.5 on an acoustic
    (rule of thumb). Of equal pitches on neighbouring strings the order alone tells which is which.
    """
    from slotwright.layout.export.data import hear as data  # noqa: PLC0415 - quick --help
    from slotwright.layout.sound.played import AgainError, PlayedError  # noqa: PLC0415
    from slotwright.layout.sound.readings import hear  # noqa: PLC0415
    from slotwright.layout.sound.written import added_to, table  # noqa: PLC0415

    _refuse_names(readings, evidence, save_plan)
    refuse_now([path for path in (evidence, save_plan) if path is not None], force=force)
    instrument = read_instrument(plan)
    before = readings.read_bytes() if readings.exists() else None
    try:
        found = hear(instrument, take, played, _others(again), lambda each: counted(each, "listening"))
    except PlayedError as error:
        option = "--again" if isinstance(error, AgainError) else "--played"
        raise SlotwrightError(f"{option}: {error}") from None
    except (FileNotFoundError, IsADirectoryError, NotADirectoryError) as error:
        raise SlotwrightError(f"{error.filename}: {(error.strerror or '').lower()}; a recording is needed") from None
    warn(instrument)
    if before is None:
        written, number = table(found, instrument.plan), 1
    else:
        if moved is None:
            moved = _asked(readings)
        written, number = added_to(before, readings, found, instrument.plan, moved=moved)
    files = {}
    if evidence is not None:
        from slotwright.layout.export.report.evidence import page  # noqa: PLC0415

        files[evidence] = page(instrument, found)
    if save_plan is not None:
        files[save_plan] = _taught(plan, found)
    write(files, force=force)
    write({readings: written}, force=True)
    if as_json:
        print_json({"pass": number, **data.heard(found)})
        return
    _print(instrument, found, number)
    following = shlex.join(("slotwright", "bench", str(plan), str(readings)))
    click.echo(f"{readings}  pass {number}, {len(found.notes)} notes; next: {following}")
    for path in files:
        click.echo(f"{path}  {'what was heard; open it in a browser' if path == evidence else 'the plan'}")


def _asked(readings: Path) -> bool:
    """Ask whether saddles were moved; without an answer nothing is written."""
    try:
        return click.confirm(f"{readings} has readings. Were saddles moved since?", err=True)
    except click.Abort:
        raise SlotwrightError("not answered; nothing was written. Give --moved or --not-moved") from None


def _refuse_names(readings: Path, evidence: Path | None, save_plan: Path | None) -> None:
    for path, suffixes, what in (
        (readings, (".csv",), "readings are a CSV file"),
        (evidence, (".html", ".htm"), "the evidence is an HTML file"),
        (save_plan, (".toml",), "the plan is a TOML file"),
    ):
        if path is not None and path.suffix.lower() not in suffixes:
            raise SlotwrightError(f"{path}: {what}; end its name in {suffixes[0]}")
    if readings.is_dir():
        raise SlotwrightError(f"{readings}: is a folder; name a file for the readings")


def _others(again: Sequence[str]) -> dict[int, Path]:
    """Read the strings that were recorded again."""
    others: dict[int, Path] = {}
    for each in again:
        string, equals, name = each.partition("=")
        if not equals or not string.strip().isdecimal() or not name:
            raise SlotwrightError(f'--again: given "{each}"; write it like 3=take2.wav')
        if int(string) in others:
            raise SlotwrightError(f"--again: string {int(string)} stands there twice; one take replaces it whole")
        others[int(string)] = Path(name)
    return others


def _taught(plan: Path, found: Hearing) -> bytes:
    from slotwright.layout.plan.writer import stiffened  # noqa: PLC0415 - quick --help

    if not found.stiffnesses:
        raise SlotwrightError("--save-plan: too few partials tell how stiff the strings are; nothing is written")
    return stiffened(plan.read_bytes(), {each.string: each.inharmonicity for each in found.stiffnesses})


def _print(instrument: Instrument, found: Hearing, number: int) -> None:
    take = found.takes[0].take
    click.echo(
        f"{instrument.title}: {len(found.notes)} notes of {take.seconds:.0f} s, pass {number}; "
        "in cents against the plan"
    )
    head = ["string", "fret", "Hz", "cents", "\u00b1", "glide", "inharmonicity", "note"]
    rows = [
        [
            str(note.string),
            str(note.fret or "open"),
            f"{note.hertz:.3f}",
            shown_cents(note.cents),
            f"{note.doubt:.2f}",
            shown_cents(note.glide, 1),
            "" if note.inharmonicity is None else f"{1e6 * note.inharmonicity:.0f}e-6",
            note.note,
        ]
        for note in found.notes
    ]
    print_table(head, rows)
    click.echo(
        "\u00b1: one standard error; glide: how much higher a note begins; Hz: first partial at amplitude zero"
    )
    for each in found.stiffnesses:
        error = f"{100 * each.error / each.inharmonicity:.0f} %" if each.inharmonicity else "?"
        click.echo(f"string {each.string}: inharmonicity {1e6 * each.inharmonicity:.1f}e-6 \u00b1 {error}")
    for finding in found.findings:
        click.echo(f"{finding.kind}: {finding}")
    if found.missing:
        from slotwright.layout.sound.remarks import listed  # noqa: PLC0415 - quick --help

        order = found.takes[0].assignment.order
        click.echo(f"missing: {listed(found.missing, order)}; record that string again (--again N=FILE)")
