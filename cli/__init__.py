"""The command line: parse, call the engine, print. One module per command."""

from __future__ import annotations

import codecs
import errno
import gc
import io
import os
import signal
import sys
from contextlib import contextmanager
from importlib import import_module
from typing import TYPE_CHECKING, Final

import click

if TYPE_CHECKING:
    from collections.abc import Iterator

# Threads of the linear algebra take longer to start than arrays as small as ours ever give back.
for _library in ("OPENBLAS", "MKL"):
    os.environ.setdefault(f"{_library}_NUM_THREADS", "1")
gc.set_threshold(50_000)  # a command is over before there is much to tidy away

COMMANDS: Final = {
    "new": "Write a new plan from a starter.",
    "check": "Say whether a plan can be drawn.",
    "frets": "Print the fret table of a plan.",
    "compensate": "Say how far each saddle is set back.",
    "draw": "Draw the sheets of plans to files.",
    "mill": "Write programs that mill the board.",
    "hear": "Read the notes of a recording, for bench.",
    "bench": "Turn readings into saddle moves.",
    "survey": "Find the scale of a neck from its measured crowns.",
    "report": "Write one page to look at, send or print.",
    "desk": "Open a plan as a page in the browser of this machine.",
}
_HOMES: Final = {"desk": "desk.command"}  # of commands that are no module of their own


_PLAIN: Final = {"\u2212": "-", "\u00b1": "+-", "\u2013": "-", "\u2026": "..."}


def _plainly(error: UnicodeError) -> tuple[str | bytes, int]:
    """Write signs that a terminal cannot show as it can: a minus must never become a question mark."""
    if not isinstance(error, UnicodeEncodeError):
        raise error
    letter = error.object[error.start]
    return _PLAIN.get(letter, letter.encode("ascii", "backslashreplace").decode()), error.start + 1


codecs.register_error("plainly", _plainly)


class _Commands(click.Group):
    """Imports a command only when it is run: --help stays quick."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002 - click's signature
        return list(self.commands)

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        name, command, rest = super().resolve_command(ctx, args)
        if command is not None:
            home = _HOMES.get(command.name or "", command.name)
            command = import_module(f"slotwright.cli.{home}").command
        return name, command, rest


@click.group(
    cls=_Commands,
    commands=[click.Command(name, short_help=what) for name, what in COMMANDS.items()],
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
    epilog="Example: slotwright new heron, then slotwright draw heron.toml",
)
@click.version_option(package_name="slotwright", prog_name="slotwright", message="%(prog)s %(version)s")
def group() -> None:
    """From a maker's plan to fret-slot templates true enough to cut wood by."""


@contextmanager
def _ended_tidily() -> Iterator[None]:
    """End as Ctrl-C does when terminated or hung up on, with nothing half written left behind."""
    numbers = [getattr(signal, name, None) for name in ("SIGTERM", "SIGHUP")]  # Windows has no SIGHUP
    ours = [number for number in numbers if number and signal.getsignal(number) == signal.SIG_DFL]
    for number in ours:
        signal.signal(number, signal.default_int_handler)
    try:
        yield
    finally:
        for number in ours:
            signal.signal(number, signal.SIG_DFL)


def main(args: list[str] | None = None) -> None:
    """Run the command line: exit 0 done, 2 bad input, 1 the machine failed."""
    from slotwright.layout.errors import SlotwrightError  # noqa: PLC0415 - quick --help

    for stream in (sys.stdout, sys.stderr):
        # A title may hold letters that this terminal or file cannot show.
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="plainly")
    try:
        with _ended_tidily():
            group(args, prog_name="slotwright")
    except SlotwrightError as error:
        click.echo(f"slotwright: {error}", err=True)
        sys.exit(2)
    except UnicodeEncodeError as error:
        click.echo(f"slotwright: {error.object[:60]!a}: a name or title holds bytes that are no text", err=True)
        sys.exit(2)
    except BrokenPipeError:
        sys.stderr.close()
        sys.exit(1)
    except OSError as error:
        where = f"{error.filename}: " if error.filename else ""
        click.echo(f"slotwright: {where}{error.strerror or error}", err=True)
        sys.exit(2 if error.errno == errno.ENAMETOOLONG else 1)
