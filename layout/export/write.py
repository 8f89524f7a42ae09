"""One sheet to one file, in the format that its name asks for."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from slotwright.layout.errors import SheetError
from slotwright.layout.export.files import write_whole
from slotwright.layout.names import FORMATS
from slotwright.layout.plan.fields import listed, nearest

if TYPE_CHECKING:
    from os import PathLike

    from slotwright.layout.drawing.sheet import Sheet
    from slotwright.layout.instrument.instrument import Instrument
    from slotwright.layout.names import Lettering, Version
    from slotwright.layout.units import Unit


def drawing(
    sheet: Sheet,
    kind: Literal["dxf", "svg", "3mf"],
    *,
    unit: Unit = "mm",
    version: Version = "R2000",
    lettering: Lettering = "text",
) -> bytes:
    """Write a sheet as one of the formats that hold it whole.

    Parameters
    ----------
    sheet
        The drawing.
    kind
        The format.
    unit
        Unit of the file; a 3MF is in millimetres.
    version
        Version of a DXF file.
    lettering
        Letters as text, or as the outlines of a face that the project carries.

    Returns
    -------
    bytes
        The file.
    """
    if kind == "dxf":
        from slotwright.layout.export.dxf import dxf  # noqa: PLC0415 - slow to import, as the others

        return dxf(sheet, unit=unit, version=version, lettering=lettering)
    if kind == "3mf":
        from slotwright.layout.export.solid import solid  # noqa: PLC0415

        return solid(sheet)
    from slotwright.layout.export.svg import svg  # noqa: PLC0415

    return svg(sheet, unit=unit, lettering=lettering)


def without_kerf(instrument: Instrument) -> Instrument:
    """Give an instrument whose parts are drawn as they are to be, for what is built up and not cut.

    Parameters
    ----------
    instrument
        The instrument.

    Returns
    -------
    Instrument
        The same of a plan whose `kerf` is 0.
    """
    return replace(instrument, plan=instrument.plan.model_copy(update={"kerf": 0.0}))


def write(
    sheet: Sheet,
    path: str | PathLike[str],
    *,
    unit: Unit = "mm",
    version: Version = "R2000",
    lettering: Lettering = "text",
    paper: str = "A4",
    force: bool = False,
) -> None:
    """Write a sheet to a file, whole or not at all.

    Parameters
    ----------
    sheet
        The drawing.
    path
        The file; its suffix is the format: ``.dxf``, ``.svg``, ``.pdf``, or ``.3mf`` for sheets whose parts can
        be built up by a 3D printer. Lay these out from a plan without `kerf`, which is for what is cut.
    unit
        Unit of a DXF or SVG file.
    version
        Version of a DXF file: ``R12``, ``R2000`` or ``R2010``.
    lettering
        Letters of a DXF or SVG file: ``text``, or ``outline`` for closed lines.
    paper
        Paper of a PDF, by name or as width by height [mm], such as ``500x300``.
    force
        Replace a file that exists.

    Raises
    ------
    SheetError
        The suffix is that of no format, or the sheet has no parts for a 3D printer.
    PaperError
        The paper is not known, or too small for the sheet.
    KeptError
        The file exists and `force` is off.
    OSError
        The file cannot be written.
    """
    path = Path(path)
    kind: Any = path.suffix.lower().removeprefix(".")
    if kind in ("dxf", "svg", "3mf"):
        made = drawing(sheet, kind, unit=unit, version=version, lettering=lettering)
    elif kind == "pdf":
        from slotwright.layout.export.pdf import pdf  # noqa: PLC0415
        from slotwright.layout.export.tiling import share_out  # noqa: PLC0415

        made = pdf(sheet, share_out(sheet, paper))
    else:
        known = listed([f".{name}" for name in FORMATS])
        near = nearest(kind, FORMATS)
        raise SheetError(f"{path}: the suffix is the format, {known}{f'; {near}' if near else ''}")
    write_whole({path: made}, force=force)
