"""The files of a plan on the desk: byte for byte what the command line writes."""

from __future__ import annotations

from typing import TYPE_CHECKING

from slotwright.layout.drawing.catalogue import described, draw_sheet
from slotwright.layout.export.write import drawing, without_kerf
from slotwright.layout.names import FORMATS, SOLIDS

if TYPE_CHECKING:
    from collections.abc import Callable

    from slotwright.cli.desk.state import Desk
    from slotwright.layout.instrument.instrument import Instrument
    from slotwright.layout.names import Format, SheetName

KINDS = {
    "dxf": "image/vnd.dxf",
    "svg": "image/svg+xml",
    "pdf": "application/pdf",
    "3mf": "model/3mf",
    "html": "text/html; charset=utf-8",
    "toml": "application/toml",
}


def sheets(instrument: Instrument, stem: str) -> dict[SheetName, dict[Format, str]]:
    """Name the files of every sheet that a plan describes."""
    return {
        name: {kind: f"{stem}-{name}.{kind}" for kind in FORMATS if kind != "3mf" or name in SOLIDS}
        for name in described(instrument)
    }


def files(desk: Desk, stem: str) -> dict[str, Callable[[], bytes]]:
    """Give what can be downloaded, by name, each made once it is wanted.

    Parameters
    ----------
    desk
        The plan; while it has faults there is the plan file alone.
    stem
        What the files are called after.

    Returns
    -------
    dict
        Name of a file to what makes it.
    """
    found: dict[str, Callable[[], bytes]] = {f"{stem}.toml": lambda: desk.text}
    if desk.faults:
        return found
    instrument = desk.instrument
    found[f"{stem}.html"] = lambda: _report(instrument)
    for sheet, names in sheets(instrument, stem).items():
        for kind, name in names.items():
            found[name] = _maker(instrument, sheet, kind)
    return found


def _maker(instrument: Instrument, sheet: SheetName, kind: Format) -> Callable[[], bytes]:
    return lambda: _drawn(instrument, sheet, kind)


def _drawn(instrument: Instrument, name: SheetName, kind: Format) -> bytes:
    sheet = draw_sheet(without_kerf(instrument) if kind == "3mf" else instrument, name)
    if kind != "pdf":
        return drawing(sheet, kind)
    from slotwright.layout.export.pdf import pdf  # noqa: PLC0415 - slow to import
    from slotwright.layout.export.tiling import share_out  # noqa: PLC0415

    return pdf(sheet, share_out(sheet))


def _report(instrument: Instrument) -> bytes:
    from slotwright.layout.export.report.page import page  # noqa: PLC0415 - slow to import

    return page(instrument)
