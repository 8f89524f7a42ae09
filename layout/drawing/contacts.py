"""Where the strings touch nut and saddle, drawn and dimensioned from the fret nearest the octave."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from slotwright.layout.drawing.marks import point, spread
from slotwright.layout.drawing.sheet import Layer, Line, Passage, Text
from slotwright.layout.findings import sentence
from slotwright.layout.instrument.pitch_findings import estimates
from slotwright.layout.units import SHOWN

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from slotwright.layout.drawing.sheet import Entity
    from slotwright.layout.instrument.instrument import Instrument
    from slotwright.layout.instrument.lines import Across

    Floats = NDArray[np.float64]

_HEIGHT: Final = 2.2
_APART: Final = 1.55  # line to line, in heights
_ARM: Final = 1.2  # mm of tick on either side of a string


def crosses(instrument: Instrument) -> Iterator[Line]:
    """Mark every string's saddle contact with a cross, and its nut contact where that is moved."""
    strung, neck = instrument.strung, instrument.neck
    if strung is None:
        return
    yield from _crossed(instrument, neck.saddle, neck.on_strings(neck.scales + strung.offsets.saddle))
    if strung.offsets.nut.any():
        yield from _crossed(instrument, neck.frets[0], neck.on_strings(strung.offsets.nut))


def numbers(contacts: Floats, begin: float) -> Iterator[Entity]:
    """Write the numbers of contacts behind all that is drawn there, from `begin` on [mm], each with a bent leader."""
    rows = _rows(contacts)
    for string, (contact, row) in enumerate(zip(contacts, rows, strict=True), start=1):
        here = float(contact[1])
        yield Line(Layer.DIM, (begin, here), (begin + 3.0, row))
        yield Line(Layer.DIM, (begin + 3.0, row), (begin + 5.0, row))
        yield Text(Layer.DIM, (begin + 6.0, row), str(string), _HEIGHT, up="middle")


def saddle_numbers(instrument: Instrument, least: float) -> Iterator[Entity]:
    """Write the numbers of the saddle contacts, from `least` on or behind the rearmost."""
    if instrument.strung is None:
        return
    contacts = instrument.neck.on_strings(instrument.neck.scales + instrument.strung.offsets.saddle)
    yield from numbers(contacts, max(least, float(contacts[:, 0].max()) + 3.0))


def table(instrument: Instrument) -> Iterator[Passage]:
    """Tell in a table where the contacts stand, along the strings from the fret nearest the octave."""
    strung, neck, plan, said = instrument.strung, instrument.neck, instrument.plan, instrument.length
    if strung is None:
        return
    octave = neck.from_nut[plan.action_fret]
    head = ["string", f"fret {plan.action_fret} to saddle", "set back"]
    columns = [neck.scales + strung.offsets.saddle - octave, strung.offsets.saddle]
    if plan.compensation.nut == "per string":
        head += [f"nut to fret {plan.action_fret}", "toward fret 1"]
        columns += [octave - strung.offsets.nut, strung.offsets.nut]
    if instrument.placed is not None and instrument.placed.over_top is not None:
        head.append("over the top")
        columns.append(instrument.placed.over_top)
    rows = [
        (str(string), *(signed(said(float(column[string - 1]))) for column in columns))
        for string in range(1, len(plan.strings) + 1)
    ]
    yield Passage("Contacts, along the strings", (), (tuple(head), *rows))


def signed(figure: str) -> str:
    """Write a figure with a true minus sign."""
    return figure.replace("-", "\u2212")


def notes(instrument: Instrument) -> Iterator[str]:
    """Say what the contacts rest on."""
    strung = instrument.strung
    if strung is None:
        return
    both = "saddle and nut contacts" if strung.offsets.nut.any() else "saddle contacts"
    yield f"Solid crosses are {both} for the stated strings and setup; leave adjustment range for other gauges."
    if instrument.plan.compensation.nut == "per string" and strung.offsets.nut.max() > SHOWN:
        yield "Nut contacts toward fret 1 need a nut that overhangs the end of the board, or that end cut back."
    yield from grounds(instrument)


def grounds(instrument: Instrument) -> Iterator[str]:
    """Say what the set-backs rest on besides strings and setup."""
    strung = instrument.strung
    if strung is None:
        return
    yield from (f"{ground}." for ground in instrument.grounds)
    yield from map(sentence, estimates(instrument.plan, strung))


def moved_nut(instrument: Instrument) -> Iterator[str]:
    """Say how far the nut was moved for all strings."""
    moved, said = instrument.neck.nut_moved, instrument.length
    if moved:
        what = "zero fret" if instrument.plan.frets.zero_fret else "end of the board"
        way = "toward" if moved > 0 else "away from"
        yield f"For all strings the {what} is moved {said(abs(moved))} {way} fret 1 and drawn there; frets stay put."


def _rows(contacts: Floats) -> list[float]:
    """Give the height of each string's label, moved as little as needed."""
    order = np.argsort(contacts[:, 1])
    placed = np.empty(len(order))
    placed[order] = spread([float(y) for y in contacts[order, 1]], _APART * _HEIGHT)
    return [float(row) for row in placed]


def _crossed(instrument: Instrument, line: Across, contacts: Floats) -> Iterator[Line]:
    """Cross contacts in the direction of the nut or saddle line and along the strings."""
    skew = float(line.skew[0])
    across = np.array([skew, 1.0]) / np.hypot(1.0, skew)
    for contact, along in zip(contacts, instrument.neck.directions, strict=True):
        yield from contact_cross(contact, _ARM * across, _ARM * along)


def contact_cross(contact: Floats, across: Floats, along: Floats) -> Iterator[Line]:
    """Mark where a string touches by two arms on either side of it [mm]."""
    for arm in (across, along):
        yield Line(Layer.CONTACT, point(contact - arm), point(contact + arm))
