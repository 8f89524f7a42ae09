"""The files of a plan on the desk: byte for byte what the command line writes."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache, partial
from typing import TYPE_CHECKING

from slotwright.cli.desk.rounds import readings_of
from slotwright.layout.drawing.catalogue import counted, draw_sheet
from slotwright.layout.errors import MeasuredError
from slotwright.layout.export.write import drawing, without_kerf
from slotwright.layout.machine.programs import mill
from slotwright.layout.names import FORMATS, READERS, SOLIDS

if TYPE_CHECKING:
    from collections.abc import Callable

    from slotwright.cli.desk.state import Desk
    from slotwright.layout.instrument.instrument import Instrument
    from slotwright.layout.machine.programs import Program
    from slotwright.layout.names import Format, Reader, SheetName
    from slotwright.layout.readings.notes import Reading
    from slotwright.layout.sound.heard import Hearing

SHOWN = ("application/pdf", "text/html; charset=utf-8")  # what a browser shows by itself
KINDS = {
    "dxf": "image/vnd.dxf",
    "svg": "image/svg+xml",
    "pdf": "application/pdf",
    "3mf": "model/3mf",
    "html": "text/html; charset=utf-8",
    "toml": "application/toml",
    "ngc": "text/plain; charset=us-ascii",
}


@dataclass(frozen=True, slots=True)
class Printing:
    """How pages are printed; as the command line does it unless stated.

    Parameters
    ----------
    paper
        Name or size of the paper.
    measured
        A scale bar as it was printed, over what it should be, such as ``249.4/250``; empty where it came out right.
    """

    paper: str = "A4"
    measured: str = ""


def sheets(instrument: Instrument, stem: str) -> dict[SheetName, dict[Format, str]]:
    """Name the files of every sheet that a plan describes."""
    return {
        name: {kind: f"{stem}-{name}.{kind}" for kind in FORMATS if kind != "3mf" or name in SOLIDS}
        for name in counted(instrument)
    }


@lru_cache(maxsize=1)
def programs(instrument: Instrument, stem: str) -> tuple[Program, ...]:
    """Prove the programs of a router; raises MillError where the board cannot be milled."""
    return mill(instrument, stem=stem)


def pages(desk: Desk, stem: str) -> dict[Reader, str]:
    """Name the pages for the job that the plan and what was read are enough for."""
    read = bool(_readings(desk))
    return {
        reader: f"{stem}.html" if reader == "maker" else f"{stem}-{reader}.html"
        for reader in READERS
        if reader == "maker" or desk.instrument.strung is not None or (reader == "customer" and read)
    }


def files(desk: Desk, stem: str, printing: Printing = Printing()) -> dict[str, Callable[[], bytes]]:
    """Give what can be downloaded, by name, each made once it is wanted.

    Parameters
    ----------
    desk
        The plan; while it has faults there is the plan file alone.
    stem
        What the files are called after.
    printing
        Of the pages of a PDF.

    Returns
    -------
    dict
        Name of a file to what makes it.
    """
    found: dict[str, Callable[[], bytes]] = {f"{stem}.toml": lambda: desk.text}
    if desk.faults:
        return found
    instrument = desk.instrument
    for reader, name in pages(desk, stem).items():
        found[name] = partial(_page, desk, reader)
    if desk.bench.heard is not None:
        found[f"{stem}-heard.html"] = partial(_evidence, desk, desk.bench.heard)
    for sheet, names in sheets(instrument, stem).items():
        for kind, name in names.items():
            found[name] = partial(_drawn, instrument, sheet, kind, printing)
    return found


def made(desk: Desk, stem: str, name: str, printing: Printing) -> bytes | None:
    """Make a file; None where there is none of that name."""
    if not name.endswith(".ngc"):
        maker = files(desk, stem, printing).get(name)
        return maker and maker()
    if desk.faults or desk.instrument.plan.machine is None:
        return None
    found = {program.name: program.text.encode() for program in programs(desk.instrument, stem)}
    return found.get(name)


def _drawn(instrument: Instrument, name: SheetName, kind: Format, printing: Printing) -> bytes:
    sheet = draw_sheet(without_kerf(instrument) if kind == "3mf" else instrument, name)
    if kind != "pdf":
        return drawing(sheet, kind)
    from slotwright.layout.export.paper import correction  # noqa: PLC0415 - wanted only here
    from slotwright.layout.export.pdf import pdf  # noqa: PLC0415 - slow to import
    from slotwright.layout.export.tiling import share_out  # noqa: PLC0415

    scale = correction(printing.measured) if printing.measured else (1.0, 1.0)
    return pdf(sheet, share_out(sheet, paper=printing.paper, scale=scale))


def _page(desk: Desk, reader: Reader) -> bytes:
    from slotwright.layout.export.report.page import page  # noqa: PLC0415 - slow to import

    return page(desk.instrument, _readings(desk), reader=reader)


def _readings(desk: Desk) -> tuple[Reading, ...]:
    """Give what was read; nothing of a table that has faults."""
    try:
        return readings_of(desk)
    except MeasuredError:
        return ()


def _evidence(desk: Desk, heard: Hearing) -> bytes:
    from slotwright.layout.export.report.evidence import page  # noqa: PLC0415 - slow to import

    return page(desk.instrument, heard)
