"""The picture of the instrument: board, strings and where they end, in parts that can be switched off."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import numpy as np

from slotwright.layout.export.report.facts import measure
from slotwright.layout.export.report.inline import Place, dot, element, group, line, shape, words
from slotwright.layout.instrument.neck import mark_centres

if TYPE_CHECKING:
    from collections.abc import Iterator

    from markupsafe import Markup
    from numpy.typing import NDArray

    from slotwright.layout.instrument.instrument import Instrument

    Floats = NDArray[np.float64]

_AROUND: Final = 9.0  # mm of air around the instrument
_LETTERS: Final = 0.0125  # height of letters over the width of the picture


def board_picture(instrument: Instrument) -> tuple[Markup, list[str]]:
    """Draw the instrument, nut to the left and treble side up as on the sheets.

    Parameters
    ----------
    instrument
        What is drawn.

    Returns
    -------
    tuple
        SVG in mm, where every fret carries its number in ``data-fret``, and the names of the layers
        that hold anything.
    """
    neck = instrument.neck
    reach = np.concatenate([neck.outline, neck.saddle_ends, *_ends(instrument), *_bridge_shapes(instrument)])
    (left, low), (right, high) = reach.min(axis=0) - _AROUND, reach.max(axis=0) + _AROUND
    letters = _LETTERS * (right - left)
    row = float(neck.outline[:, 1].min()) - 1.4 * letters
    low = min(low, row - 0.8 * letters)
    layers = {
        "wood": [shape(map(_place, neck.outline))],
        "frets": list(_frets(instrument)),
        "marks": list(_marks(instrument)),
        "bridge": list(_bridge(instrument)),
        "lines": list(_lines(instrument)),
        "strings": list(_strings(instrument)),
        "contacts": list(_contacts(instrument)),
        "numbers": list(_numbers(instrument, row, letters)),
    }
    parts = [group(name, layer) for name, layer in layers.items()]
    box = f"{left:.2f} {-high:.2f} {right - left:.2f} {high - low:.2f}"
    name = f"{instrument.title}: board, strings and bridge, seen from above with the nut to the left"
    style = f"--wide:{right - left:.2f}"
    drawn = element("svg", *parts, viewBox=box, role="img", aria_label=name, style=style)
    return drawn, [name for name, layer in layers.items() if layer]


def _place(point: Floats) -> Place:
    """Give a point of the neck on the picture, where y runs down."""
    return float(point[0]), -float(point[1])


def _bridge_shapes(instrument: Instrument) -> list[Floats]:
    if instrument.bridge_lacks:
        return []
    placed = instrument.bridge
    holes = [np.array([[hole.x, hole.y]]) for hole in placed.holes]
    return [*placed.outlines, placed.contacts, *holes]


def _frets(instrument: Instrument) -> Iterator[Markup]:
    """Draw each fret with the room around it that belongs to it, half way to its neighbours."""
    neck, start = instrument.neck, instrument.first_slot
    origin = "nut" if start else "zero fret"
    lines = neck.lines_in_board.copy()
    lines[0, :, 0] += neck.nut_moved
    bounds = np.concatenate((neck.outline[None, [0, 3]], (lines[:-1] + lines[1:]) / 2, neck.outline[None, [1, 2]]))
    for fret, (crown, before, behind) in enumerate(zip(lines, bounds[:-1], bounds[1:], strict=True)):
        far = float(neck.frets.middle[fret]) - neck.nut_moved if fret else 0.0
        told = measure(instrument, far, (3, 4))
        name = f"fret {fret}: {told.main} ({told.other}) from the {origin}" if fret else origin
        yield element(
            "g",
            element("title", name),
            shape(map(_place, (before[0], behind[0], behind[1], before[1])), class_="room"),
            line(_place(crown[0]), _place(crown[1]), class_="fret" if fret >= start else "nut"),
            data_fret=str(fret),
        )


def _marks(instrument: Instrument) -> Iterator[Markup]:
    for _, x, y in mark_centres(instrument.plan, instrument.neck):
        yield dot((x, -y), instrument.plan.board.mark_diameter / 2)


def _lines(instrument: Instrument) -> Iterator[Markup]:
    """Draw the centre line and the nominal saddle line."""
    neck = instrument.neck
    saddle = float(neck.saddle.middle[0])
    yield line((float(neck.outline[:, 0].min()) - 4, 0), (saddle + 5, 0), class_="centre")
    reach = float(np.abs(neck.saddle_ends[:, 1]).max()) + 5.0
    ends = [(float(neck.saddle.x_at(y)[0]), -y) for y in (reach, -reach)]
    yield line(*ends, class_="saddle")


def _bridge(instrument: Instrument) -> Iterator[Markup]:
    if instrument.bridge_lacks:
        return
    placed = instrument.bridge
    for corners in placed.outlines:
        yield shape(map(_place, corners))
    if placed.slot is not None:
        yield shape(map(_place, placed.slot), class_="slot")
    for hole in placed.holes:
        yield dot((hole.x, -hole.y), hole.diameter / 2, class_="hole")


def _ends(instrument: Instrument) -> tuple[Floats, Floats]:
    """Give where the strings touch nut and saddle; the nominal lines where that is not known."""
    neck, strung = instrument.neck, instrument.strung
    if strung is None:
        return neck.nut_ends, neck.saddle_ends
    return neck.on_strings(strung.offsets.nut), neck.on_strings(neck.scales + strung.offsets.saddle)


def _strings(instrument: Instrument) -> Iterator[Markup]:
    """Draw the strings, the thicker ones thicker."""
    for string, nut, saddle in zip(instrument.plan.strings, *_ends(instrument), strict=True):
        yield line(_place(nut), _place(saddle), stroke_width=0.7 + 0.8 * (string.gauge or 0.4))


def _contacts(instrument: Instrument) -> Iterator[Markup]:
    """Mark where each string touches nut and saddle, with the distance from the octave fret."""
    if instrument.strung is None:
        return
    neck, fret = instrument.neck, instrument.plan.action_fret
    crowns = neck.on_strings(neck.from_nut[fret])
    for where, points in zip(("nut", "saddle"), _ends(instrument), strict=True):
        for number, (point, crown) in enumerate(zip(points, crowns, strict=True), start=1):
            far = measure(instrument, math.hypot(*(point - crown)))
            told = f"string {number}: {where} contact {far.main} ({far.other}) from fret {fret}"
            name = element("title", told)
            yield element("circle", name, cx=float(point[0]), cy=-float(point[1]), r=1.1)


def _numbers(instrument: Instrument, row: float, letters: float) -> Iterator[Markup]:
    """Write the numbers of the frets in a row below the board, leaving out what has no room."""
    ends = instrument.neck.lines_in_board[1:]
    lower = [float(end[int(end[1, 1] < end[0, 1]), 0]) for end in ends]
    halves = [(0.29 * len(str(fret)) + 0.1) * letters for fret in range(1, len(ends) + 1)]
    free, last = -math.inf, lower[-1] - halves[-1]
    for fret, (x, half) in enumerate(zip(lower, halves, strict=True), start=1):
        # The last one has its number in any case.
        if fret == len(ends) or (x - half >= free and x + half <= last):
            free = x + half
            yield words((x, -row), str(fret))
