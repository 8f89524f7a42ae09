"""Where the strings touch nut and saddle, drawn and dimensioned from the fret nearest the octave."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from slotwright.layout.drawing.marks import point, spread
from slotwright.layout.drawing.sheet import Layer, Line, Text
from slotwright.layout.findings import sentence
from slotwright.layout.instrument.pitch_findings import estimates
from slotwright.layout.units import SHOWN

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

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


def saddle_labels(instrument: Instrument, x: float) -> Iterator[Entity]:
    """Write from `x` on how far behind the octave fret each saddle contact stands."""
    strung, neck = instrument.strung, instrument.neck
    if strung is None:
        return
    contacts = neck.on_strings(neck.scales + strung.offsets.saddle)
    yield from column(instrument, contacts, saddle_words(instrument), x)


def column(instrument: Instrument, contacts: Floats, words: Sequence[str], x: float) -> Iterator[Entity]:
    """Write beside each contact, from `x` on, how far it stands from the octave fret."""
    x = max(x, float(contacts[:, 0].max()) + 6)
    rows = _rows(contacts)
    for contact, row, text in zip(contacts, rows, words, strict=True):
        yield Line(Layer.DIM, point(contact + np.array([1.5, 0.0])), (x - 1, row))
        yield Text(Layer.DIM, (x, row), text, _HEIGHT, up="middle")
    heading = f"from fret {instrument.plan.action_fret}"  # a mirror puts it below them
    yield Text(Layer.DIM, (x, max(rows) + 2 * _HEIGHT), heading, _HEIGHT, up="middle")


def nut_labels(instrument: Instrument, x: float) -> Iterator[Text]:
    """Write, up to `x`, how far before the octave fret each nut contact stands, where each has its own."""
    strung, neck = instrument.strung, instrument.neck
    if strung is None or instrument.plan.compensation.nut != "per string":
        return
    rows = _rows(neck.nut_ends)
    for row, text in zip(rows, nut_words(instrument), strict=True):
        yield Text(Layer.DIM, (x, row), text, _HEIGHT, "right", "middle")
    heading = f"to fret {instrument.plan.action_fret}"
    yield Text(Layer.DIM, (x, max(rows) + 2 * _HEIGHT), heading, _HEIGHT, "right", "middle")


def saddle_words(instrument: Instrument) -> list[str]:
    """Say for each string how far its saddle contact stands from the octave fret, along the string."""
    strung, neck, said = instrument.stringing, instrument.neck, instrument.length
    from_octave = neck.scales + strung.offsets.saddle - neck.from_nut[instrument.plan.action_fret]
    return [
        f"{string}: {said(float(far))} (set {'back' if offset >= 0 else 'forward'} {said(abs(float(offset)))})"
        for string, (far, offset) in enumerate(zip(from_octave, strung.offsets.saddle, strict=True), start=1)
    ]


def nut_words(instrument: Instrument) -> list[str]:
    """Say for each string how far its nut contact stands from the octave fret, along the string."""
    strung, neck, said = instrument.stringing, instrument.neck, instrument.length
    to_octave = neck.from_nut[instrument.plan.action_fret] - strung.offsets.nut
    return [
        f"{string}: {said(float(far))} ({_way(instrument, float(offset))})"
        for string, (far, offset) in enumerate(zip(to_octave, strung.offsets.nut, strict=True), start=1)
    ]


def _way(instrument: Instrument, offset: float) -> str:
    words = instrument.length(abs(offset))
    if not float(words):
        return "on the line"
    return f"{words} {'toward' if offset > 0 else 'away from'} fret 1"


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
