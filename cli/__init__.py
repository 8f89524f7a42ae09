"""The command line: parse, call the engine, print. One module per command."""

from __future__ import annotations

import errno
import io
import signal
import sys
from importlib import import_module
from typing import Final

import click

COMMANDS: Final = {
    "new": "Write a new plan from a starter.",
    "check": "Say whether a plan can be drawn.",
    "frets": "Print the fret table of a plan.",
    "compensate": "Say how far each saddle is set back.",
    "draw": "Draw the sheets of plans to files.",
    "bench": "Turn readings into saddle moves.",
    "survey": "Find the scale of a neck from its measured crowns.",
    "report": "Write one page to look at, send or print.",
}


class _Commands(click.Group):
    """Imports a command only when it is wanted: --help stays quick."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002 - click's signature
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:  # noqa: ARG002
        if cmd_name not in COMMANDS:
            return None
        command = import_module(f"slotwright.cli.{cmd_name}").command
        assert isinstance(command, click.Command)  # noqa: S101 - for the type checker
        return command

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        try:
            return super().resolve_command(ctx, args)
        except click.UsageError as error:
            import difflib  # noqa: PLC0415 - wanted only once something is misspelt

            near = difflib.get_close_matches(args[0], COMMANDS, n=1)
            raise click.UsageError(error.message + (f" Did you mean {near[0]}?" if near else ""), ctx) from None

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:  # noqa: ARG002
        with formatter.section("Commands"):
            formatter.write_dl(list(COMMANDS.items()))


@click.group(
    cls=_Commands,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
    epilog="Example: slotwright new heron, then slotwright draw heron.toml",
)
@click.version_option(package_name="slotwright", prog_name="slotwright", message="%(prog)s %(version)s")
def group() -> None:
    """From a maker's plan to fret-slot templates true enough to cut wood by."""


def main(args: list[str] | None = None) -> None:
    """Run the command line: exit 0 done, 2 bad input, 1 the machine failed."""
    from slotwright.layout.errors import SlotwrightError  # noqa: PLC0415 - quick --help

    for stream in (sys.stdout, sys.stderr):
        # A title may hold letters that this terminal or file cannot show.
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")
    for name in ("SIGTERM", "SIGHUP"):  # end as Ctrl-C does, with nothing half written left behind
        number = getattr(signal, name, None)  # Windows has no SIGHUP
        if number is not None and signal.getsignal(number) == signal.SIG_DFL:
            signal.signal(number, signal.default_int_handler)
    try:
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
