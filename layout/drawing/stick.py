"""The `stick` sheet: strips that carry every fret, to lay along the board and mark from."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING, Final

import numpy as np

from slotwright.layout.drawing import contacts
from slotwright.layout.drawing.frame import Content
from slotwright.layout.drawing.lettering import fitted, text_width
from slotwright.layout.drawing.marks import octave_check, place_along, sides
from slotwright.layout.drawing.sheet import Contour, Layer, Line, Text
from slotwright.layout.instrument.lines import Along

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from slotwright.layout.drawing.sheet import Entity
    from slotwright.layout.instrument.instrument import Instrument

_WIDTH: Final = 25.0  # mm
_SPARE: Final = 15.0  # mm of strip before the nut and behind the saddle line
_HEIGHT: Final = 2.5
_SMALLEST: Final = 1.2  # mm, the smallest capitals that can be read


def content(instrument: Instrument) -> Content:
    """Draw one strip for the centre line, or one for each edge of a multiscale."""
    plan = instrument.plan
    entities: list[Entity] = []
    if plan.scale.length is not None:
        middle = Along(np.zeros(1), np.zeros(1))
        entities += _strip(instrument, middle, "centre line", 0.0, range(len(plan.strings)))
        along = "along the centre line"
    else:
        for side, y in zip(sides(instrument), (-_WIDTH / 2 - 8, _WIDTH / 2 + 8), strict=True):
            edge = 1 - side.slot
            name = ("treble", "bass")[edge] + " edge"
            entities += _strip(instrument, instrument.neck.edges[edge], name, y, [side.number - 1])
        along = "along that edge of the board, where each slot meets it"
    marking = (
        f"Every tick is measured from the nut {along}. Lay the strip with that tick where the strings end, "
        "tape it down and mark all frets without moving it."
    )
    notes = [marking, "The saddle line is nominal: a string that is to play in tune is set back from it."]
    if instrument.strung is not None:
        notes.append("Ticks with a number are saddle contacts.")
        if plan.scale.length is None:
            notes.append(_carried(instrument))
        notes += [*contacts.notes(instrument), *contacts.moved_nut(instrument)]
    # Along the edges of a fan the strips have other distances than the centre line.
    check = octave_check(instrument) if plan.scale.length is not None else ""
    origin = "middle of the strip" if plan.scale.length is not None else "midway between the strips"
    origin += " at the tick of the nominal nut line"
    return Content(entities, notes, check=check, origin=origin, figures=[*contacts.table(instrument)])


def _carried(instrument: Instrument) -> str:
    """Say where on the edge strips the contacts of the outer strings stand, and how they came there."""
    neck, said = instrument.neck, instrument.length
    octave = instrument.plan.action_fret
    places = []
    for side in sides(instrument):
        edge = neck.edges[1 - side.slot]
        ((string, place, _),) = _contacts(instrument, edge, [side.number - 1])
        far = place - place_along(neck.frets[octave], edge, neck.frets[0])
        places.append(f"{string + 1}: {said(far)}")
    return (
        f"On these strips contacts are carried to the edge in the direction of the saddle line, where they stand "
        f"from the tick of fret {octave}: {', '.join(places)}. Set a bevel to the saddle line; do not square across."
    )


def _strip(instrument: Instrument, edge: Along, name: str, y: float, strings: Sequence[int]) -> Iterator[Entity]:
    """Draw a strip to lay along a line; of the strings' contacts only some belong on it."""
    neck = instrument.neck
    low, high = y - _WIDTH / 2, y + _WIDTH / 2
    nut = place_along(neck.frets[0].moved(neck.nut_moved), edge, neck.frets[0])
    frets = [place_along(neck.frets[n], edge, neck.frets[0]) for n in range(1, instrument.plan.frets.count + 1)]
    saddle = place_along(neck.saddle, edge, neck.frets[0])
    found = list(_contacts(instrument, edge, strings))
    left, right = nut - _SPARE, max([saddle + _SPARE, *(x + 8 for _, x, _ in found)])
    yield Contour(Layer.CUT_OUTLINE, ((left, low), (right, low), (right, high), (left, high)))
    for x in (nut, *frets, saddle):
        yield Line(Layer.MARK, (x, low), (x, high))
    words = "0" if instrument.plan.frets.zero_fret else "nut"
    yield Text(Layer.TEXT, (nut - 1.0, y - 6.0), words, _HEIGHT, "center", "bottom", 90)
    close = saddle - frets[-1] < 8  # frets all the way up to the saddle: its name stands behind it
    at = max([saddle, *(x + 3 for _, x, _ in found)]) + 1 if close else min([saddle, *(x for _, x, _ in found)]) - 1
    yield Text(Layer.TEXT, (at, y), "nominal saddle", 1.9, "center", "top" if close else "bottom", 90)
    yield from _numbers([nut, *frets], low + 3.0, instrument.plan.board.joint_fret)
    lane = _WIDTH / len(strings)
    for row, (string, x, x_nut) in enumerate(found):
        middle = high - (row + 0.5) * lane
        arm = min(2.0, 0.4 * lane)
        yield Line(Layer.CONTACT, (x, middle - arm), (x, middle + arm))
        if x_nut is not None:
            yield Line(Layer.CONTACT, (x_nut, middle - arm), (x_nut, middle + arm))
        if lane > 1.3 * _SMALLEST:
            height = min(2.0, 0.6 * lane)
            yield Text(Layer.TEXT, (x + 0.8, middle), str(string + 1), height, up="middle")
    title, tail, room = instrument.plan.title, f", {name}", saddle - frets[-1] - 16
    if room > 20:
        text, height = fitted(title, room, 3.5, tail=tail)
        yield Text(Layer.TEXT, (frets[-1] + 6, y), text, height, up="middle")
    else:
        text, height = fitted(title, right - left, 2.5, tail=tail)
        yield Text(Layer.TEXT, (left, high + 1.5), text, height)


def _contacts(
    instrument: Instrument, edge: Along, strings: Sequence[int]
) -> Iterator[tuple[int, float, float | None]]:
    """Give strings with the places of saddle and nut contact, carried over in the lines' direction."""
    strung, neck = instrument.strung, instrument.neck
    if strung is None:
        return
    saddle = neck.on_strings(neck.scales + strung.offsets.saddle) - neck.saddle_ends
    nut = neck.on_strings(strung.offsets.nut) - neck.nut_ends
    for string in strings:
        # Both lines keep their lean when they are moved through the contact of one string.
        moved = [
            line.moved(float(way[string, 0] - line.skew[0] * way[string, 1]))
            for line, way in ((neck.saddle, saddle), (neck.frets[0], nut))
        ]
        places = [place_along(line, edge, neck.frets[0]) for line in moved]
        yield string, places[0], places[1] if strung.offsets.nut[string] else None


def _numbers(places: Sequence[float], low: float, joint: int) -> Iterator[Text]:
    """Write the number of each place just before it: level, upright, or not at all."""
    for number, (before, x) in enumerate(pairwise(places), start=1):
        room = x - before - 1.6
        text = str(number) if number != joint else f"{number}, joint"
        if text_width(text, _HEIGHT) <= room:
            yield Text(Layer.TEXT, (x - 0.8, low), text, _HEIGHT, "right")
        elif room >= _SMALLEST:
            yield Text(Layer.TEXT, (x - 0.8, low), text, min(_HEIGHT, room), "left", "bottom", 90)
