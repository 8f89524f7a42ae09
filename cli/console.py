"""What the commands share: reading plans, printing tables and JSON."""

from __future__ import annotations

import errno
import json
import re
import sys
import time
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

import click

from slotwright.layout.errors import (
    FaultyError,
    KeptError,
    LengthError,
    MeasuredError,
    PlanError,
    SlotwrightError,
)
from slotwright.layout.sources import read

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence

    from slotwright.layout.instrument.instrument import Instrument
    from slotwright.layout.readings.notes import Reading
    from slotwright.layout.units import Unit


Measured = TypeVar("Measured")
Each = TypeVar("Each")

_PATIENCE = 1.0  # s

# Files are read and written by us alone: what keeps us from it is the machine's refusal, not bad input.
FILE = click.Path(readable=False, path_type=Path)

_PLAN, _TABLE = "a plan file", "a table of measurements"
_ENDINGS = {_PLAN: ".toml", _TABLE: ".csv"}

UNIT_NAMES = {"mm": "mm", "in": "inches"}


def read_instrument(path: Path, tunings: Sequence[str] = ()) -> Instrument:
    """Read a plan file and lay it out, with other tunings where some are given; a refusal names the file."""
    from slotwright.layout.instrument.instrument import lay_out  # noqa: PLC0415 - quick --help
    from slotwright.layout.plan.reader import MOST_BYTES, parse_plan  # noqa: PLC0415

    text = _read(path, MOST_BYTES, _PLAN)
    try:
        return lay_out(parse_plan(text, tunings))
    except PlanError as error:
        if tunings and all(fault.where.startswith("tunings") for fault in error.faults):
            raise SlotwrightError("\n  ".join(_of_option(error, tunings))) from None
        raise SlotwrightError(listed(path, error)) from None


def _of_option(error: PlanError, tunings: Sequence[str]) -> Iterator[str]:
    """Say what is wrong with tunings that an option gave, not the file."""
    from slotwright.layout.plan.fields import quoted  # noqa: PLC0415 - quick --help

    for fault in error.faults:
        _, number, rest = re.split(r"^tunings(?:\[(\d+)\])?(?:: )?", fault.where, maxsplit=1)
        given = f"--tuning {quoted(tunings[int(number) - 1])}" if number else "--tuning"
        yield str(replace(fault, where=f"{given}: {rest}" if rest else given))


def read_measured(path: Path, parse: Callable[[bytes], Measured]) -> Measured:
    """Read a table of measurements; a refusal names the file."""
    from slotwright.layout.readings.table import MOST_BYTES  # noqa: PLC0415 - quick --help

    return measured(path, _read(path, MOST_BYTES, _TABLE), parse)


def measured(path: Path, text: bytes, parse: Callable[[bytes], Measured]) -> Measured:
    """Understand what a table of measurements holds; a refusal names the file."""
    try:
        return parse(text)
    except MeasuredError as error:
        raise SlotwrightError(listed(path, error)) from None


def read_readings(path: Path, instrument: Instrument) -> tuple[Reading, ...]:
    """Read what was measured at the bench; a table without a reading is refused."""
    from slotwright.layout.readings.notes import parse_readings  # noqa: PLC0415 - quick --help

    readings = read_measured(path, lambda text: parse_readings(text, instrument.plan))
    if not readings:
        raise SlotwrightError(f"{path}: nothing stands below its header; write a line for each reading")
    return readings


def write(files: Mapping[Path, bytes], *, force: bool) -> None:
    """Write files whole or not at all."""
    from slotwright.layout.export.files import write_whole  # noqa: PLC0415 - quick --help

    try:
        with _force_told():
            write_whole(files, force=force)
    except OSError as error:
        if error.errno not in (errno.EACCES, errno.EROFS, errno.EPERM):
            raise
        context = click.get_current_context(silent=True)
        how = " with --out" if context and "out" in context.params else ""
        raise PermissionError(error.errno, f"{error.strerror}; choose another folder{how}", error.filename) from None


def refuse_now(paths: Iterable[Path], *, force: bool) -> None:
    """Refuse what `write` would refuse, before anything is asked."""
    from slotwright.layout.export.files import refuse_existing  # noqa: PLC0415 - quick --help

    with _force_told():
        refuse_existing(paths, force=force)


@contextmanager
def _force_told() -> Iterator[None]:
    try:
        yield
    except KeptError as error:
        raise SlotwrightError(f"{error}; --force replaces it") from None


def length_of(option: str, given: str, units: Unit, low: float, high: float) -> float:
    """Read the length that an option states [mm]; a refusal names the option."""
    from slotwright.layout.units import parse_length, show  # noqa: PLC0415 - quick --help

    try:
        length = parse_length(given, units)
    except LengthError as error:
        raise SlotwrightError(f"{option}: {error}") from None
    if not low <= length <= high:
        least, most = (float(show(end, units, 3)) for end in (low, high))
        raise SlotwrightError(
            f'{option}: given "{given}"; allowed {least:g} to {most:g} {units}{_in_other(given, units, low, high)}'
        )
    return length


def _in_other(given: str, units: Unit, low: float, high: float) -> str:
    """Say how to write a bare number that was meant in the other unit; nothing where it would not do either."""
    from slotwright.layout.units import parse_length  # noqa: PLC0415 - quick --help

    unit, name = ("in", "inches") if units == "mm" else ("mm", "mm")
    try:
        meant = parse_length(f"{float(given):g} {unit}", units)
    except (LengthError, ValueError):
        return ""
    return f'; for {name} write "{given.strip()} {unit}"' if low <= meant <= high else ""


def _read(path: Path, most: int, wanted: str) -> bytes:
    """Read a file that the user names; of one that is too large one byte too many, enough to refuse it."""
    try:
        return read(path, most)
    except (FileNotFoundError, IsADirectoryError, NotADirectoryError) as error:
        raise SlotwrightError(f"{path}: {(error.strerror or '').lower()}; {_meant(path, wanted)}") from None
    except ValueError:
        raise SlotwrightError(f"{str(path)!r}: no file can have that name") from None


def _meant(path: Path, wanted: str) -> str:
    """Name the file that was meant, where only the end of its name was left out."""
    ended = Path(f"{path}{_ENDINGS[wanted]}")
    return f"did you mean {ended}?" if ended.is_file() else f"{wanted} is needed here"


def listed(path: Path, error: FaultyError) -> str:
    """Name the file that a refusal is about; its faults in lines of their own."""
    if len(error.faults) == 1:
        return f"{path}: {error}"
    return "\n  ".join((f"{path}: {len(error.faults)} errors", *error.lines))


def print_json(content: object) -> None:
    """Print one JSON object."""
    click.echo(json.dumps(content, indent=2, allow_nan=False))


def warn(instrument: Instrument) -> None:
    """Print what is possible but hardly meant, beside the result."""
    for warning in instrument.warnings:
        click.echo(f"warning: {warning}", err=True)


def counted(steps: Sequence[Each], doing: str) -> Iterator[Each]:
    """Go through steps; on a terminal a bar tells how far it got, once that takes longer than a second."""
    begun, watched = time.monotonic(), sys.stderr.isatty()
    with click.progressbar(steps, label=doing, show_pos=True, hidden=True, file=sys.stderr) as bar:
        for step in bar:
            bar.hidden = not watched or time.monotonic() - begun < _PATIENCE
            yield step


def print_table(head: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
    """Print columns aligned to the right, the first to the left; never cut to fit a terminal."""
    widths = [max(map(len, column)) for column in zip(head, *rows, strict=True)]
    for row in (head, *rows):
        first, *others = zip(row, widths, strict=True)
        cells = (first[0].ljust(first[1]), *(cell.rjust(width) for cell, width in others))
        click.secho("  ".join(cells).rstrip(), bold=row is head)
