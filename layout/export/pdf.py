"""Sheet to PDF at full size: one page, or a cover and tiles to be taped together."""

from __future__ import annotations

import io
from importlib.metadata import version
from typing import TYPE_CHECKING, Any

from slotwright.layout.export import ink
from slotwright.layout.export.cover import covers
from slotwright.layout.export.outside import kept_out
from slotwright.layout.export.page import page
from slotwright.layout.export.tile import draw_tile, on_tiles

with kept_out():
    from reportlab.lib.units import mm
    from reportlab.pdfbase.pdfdoc import PDFDictionary, PDFInfo, PDFName, PDFString
    from reportlab.pdfgen.canvas import Canvas

if TYPE_CHECKING:
    from slotwright.layout.drawing.sheet import Sheet
    from slotwright.layout.export.tiling import Layout


def pdf(sheet: Sheet, layout: Layout) -> bytes:
    """Write a sheet as PDF.

    Parameters
    ----------
    sheet
        The drawing.
    layout
        How it is shared out over pages.

    Returns
    -------
    bytes
        The file; the same sheet always gives the same bytes. It asks the printer for no scaling.
    """
    with kept_out():
        return _written(sheet, layout)


def pages_of(sheet: Sheet, layout: Layout) -> tuple[int, int]:
    """Count the covers and the tiles of a sheet; one that is a single page has no cover."""
    return (0 if layout.framed else len(covers(sheet, layout))), len(layout.tiles)


def _written(sheet: Sheet, layout: Layout) -> bytes:
    ink.learn_letters()
    written = io.BytesIO()
    canvas = Canvas(written, pagesize=tuple(side * mm for side in layout.paper), pdfVersion=(1, 6), invariant=1)
    canvas._doc.info = _About(sheet, layout)  # noqa: SLF001 - reportlab would state a date
    canvas.setViewerPreference("PrintScaling", "None")
    before = [] if layout.framed else covers(sheet, layout)
    pages, tiles = len(before) + len(layout.tiles), len(layout.tiles)
    for number, cover in enumerate(before, start=1):
        with page(canvas, sheet, layout, (number, pages), "cover, "):
            cover.draw(canvas)
    shown = on_tiles(sheet, layout)
    for number, tile in enumerate(layout.tiles, start=1):
        said = f"tile {number} of {tiles}, " if tiles > 1 else ""
        with page(canvas, sheet, layout, (number + len(before), pages), said, tile):
            draw_tile(canvas, layout, tile, shown[tile])
    canvas.save()
    return written.getvalue()


class _About(PDFInfo):  # type: ignore[misc] # reportlab is untyped
    """What a file says of itself; no dates, for these would tell nothing of the plan."""

    def __init__(self, sheet: Sheet, layout: Layout) -> None:
        super().__init__()
        tiles = len(layout.tiles)
        self.title = f"{sheet.title} - {sheet.name}"
        self.subject = f"Sheet {sheet.name} at full size, {f'{tiles} tiles' if tiles > 1 else 'one page'}"
        self.keywords = f"{sheet.name}, full size, template, instrument making"
        self.creator = f"slotwright {version('slotwright')}"

    def format(self, document: Any) -> Any:  # noqa: ANN401
        """Write it."""
        said = {"Title": self.title, "Subject": self.subject, "Keywords": self.keywords}
        said |= {"Creator": self.creator, "Producer": self.producer}
        entries = {key: PDFString(text) for key, text in said.items()}
        return PDFDictionary({**entries, "Trapped": PDFName("False")}).format(document)
