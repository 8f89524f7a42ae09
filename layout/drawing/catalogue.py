"""From an instrument to sheets; one module per sheet."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from slotwright.layout import names
from slotwright.layout.drawing import (
    board,
    bridge,
    index,
    nut,
    position_marks,
    radius,
    saddle,
    slots,
    stick,
)
from slotwright.layout.drawing.frame import Content, framed
from slotwright.layout.errors import SheetError
from slotwright.layout.plan.fields import listed, nearest
from slotwright.layout.plan.milling import lacking

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from slotwright.layout.drawing.sheet import Sheet
    from slotwright.layout.instrument.instrument import Instrument
    from slotwright.layout.names import SheetName


def _setup(instrument: Instrument) -> Content:
    from slotwright.layout.drawing.setup import content  # noqa: PLC0415 - slow to import, and few plans have it

    return content(instrument)


def _no_setup(instrument: Instrument) -> str | None:
    if lacks := lacking(instrument.plan):
        return lacks.partition(";")[0]
    from slotwright.layout.machine.jobs import refusal  # noqa: PLC0415

    return refusal(instrument)


def _template(instrument: Instrument) -> Content:
    from slotwright.layout.drawing.template import content  # noqa: PLC0415 - as the setup

    return content(instrument)


def _no_template(instrument: Instrument) -> str | None:
    if not instrument.plan.template:
        return "the plan has no [[template]]"
    from slotwright.layout.drawing.template import missing  # noqa: PLC0415

    return missing(instrument)


@dataclass(frozen=True, slots=True)
class SheetKind:
    """A kind of sheet.

    Parameters
    ----------
    content
        Draws it.
    missing
        Says what a plan lacks for it, None when nothing; every plan has enough without it.
    """

    content: Callable[[Instrument], Content]
    missing: Callable[[Instrument], str | None] = lambda _: None


SHEETS: Final[Mapping[SheetName, SheetKind]] = {
    "board": SheetKind(board.content),
    "slots": SheetKind(slots.content),
    "marks": SheetKind(position_marks.content, position_marks.missing),
    "stick": SheetKind(stick.content),
    "index": SheetKind(index.content, index.missing),
    "radius": SheetKind(radius.content, radius.missing),
    "nut": SheetKind(nut.content, nut.missing),
    "saddle": SheetKind(saddle.content, saddle.missing),
    "bridge": SheetKind(bridge.content, bridge.missing),
    "template": SheetKind(_template, _no_template),
    "setup": SheetKind(_setup, _no_setup),
}


def draw_sheet(instrument: Instrument, name: SheetName, *, mirrored: bool = False) -> Sheet:
    """Draw one sheet of an instrument.

    Parameters
    ----------
    instrument
        The instrument, as `lay_out` gives it.
    name
        Which sheet: ``board``, ``slots``, ``marks``, ``stick``, ``index``, ``radius``, ``nut``, ``saddle``,
        ``bridge``, ``template`` or ``setup``.
    mirrored
        Mirror the drawing across the centre line, for work from the back; words stay readable.

    Returns
    -------
    Sheet
        The finished drawing.

    Raises
    ------
    SheetError
        There is no such sheet, or the plan does not describe it; the message says what is missing.
    """
    if name not in SHEETS:
        mend = nearest(name, names.SHEETS) or f"allowed {listed(names.SHEETS)}"
        raise SheetError(f'there is no sheet "{name}"; {mend}')
    sheet = SHEETS[name]
    if lacks := sheet.missing(instrument):
        raise SheetError(f"sheet {name}: {lacks}")
    sheets = counted(instrument)
    of = sheets.index(name) + 1, len(sheets)
    return framed(name, instrument, sheet.content(instrument), of=of, mirrored=mirrored)


def counted(instrument: Instrument) -> tuple[SheetName, ...]:
    """Name the sheets as they are counted: the setup wherever the plan states it, for to judge it takes long."""

    def counts(name: SheetName, sheet: SheetKind) -> bool:
        lacks = lacking(instrument.plan) if name == "setup" else sheet.missing(instrument)
        return lacks is None

    return tuple(name for name, sheet in SHEETS.items() if counts(name, sheet))


def described(instrument: Instrument) -> tuple[SheetName, ...]:
    """Name the sheets that a plan describes."""
    return tuple(name for name, sheet in SHEETS.items() if sheet.missing(instrument) is None)
