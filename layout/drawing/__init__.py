"""From an instrument to sheets; one module per sheet."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, Protocol

from slotwright.layout.drawing import board, index, radius, slots, stick
from slotwright.layout.errors import SheetError

if TYPE_CHECKING:
    from collections.abc import Mapping

    from slotwright.layout.drawing.sheet import Sheet
    from slotwright.layout.instrument import Instrument


class SheetModule(Protocol):
    """What a module that draws a sheet offers."""

    def missing(self, instrument: Instrument, /) -> str | None:
        """Say what the plan lacks for this sheet; None when it can be drawn."""

    def draw(self, instrument: Instrument, /, *, mirrored: bool = False) -> Sheet:
        """Draw the sheet."""


SHEETS: Final[Mapping[str, SheetModule]] = {
    "board": board,
    "slots": slots,
    "stick": stick,
    "index": index,
    "radius": radius,
}


def draw_sheet(instrument: Instrument, name: str, *, mirrored: bool = False) -> Sheet:
    """Draw one sheet.

    Parameters
    ----------
    instrument
        What is drawn.
    name
        A name from `SHEETS`.
    mirrored
        Negate every y, for work from the back.

    Returns
    -------
    Sheet
        The finished drawing.

    Raises
    ------
    SheetError
        The plan does not describe this sheet; the message says what is missing.
    """
    sheet = SHEETS[name]
    if lacking := sheet.missing(instrument):
        raise SheetError(f"sheet {name}: {lacking}")
    return sheet.draw(instrument, mirrored=mirrored)


def described(instrument: Instrument) -> tuple[str, ...]:
    """Name the sheets that a plan describes."""
    return tuple(name for name, sheet in SHEETS.items() if sheet.missing(instrument) is None)
