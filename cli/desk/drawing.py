"""The drawing that is the form: the instrument seen from above, with its values where they are measured."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from slotwright.cli.desk.spots import Frame, Spot, place_spots
from slotwright.layout.export.report.inline import dot, element, group, line, shape, words
from slotwright.layout.instrument.neck import mark_centres

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from markupsafe import Markup
    from numpy.typing import NDArray

    from slotwright.layout.instrument.instrument import Instrument

    Floats = NDArray[np.float64]


def drawing(instrument: Instrument, before: Instrument | None = None, wrong: Iterable[str] = ()) -> Markup:
    """Draw an instrument with the values that can be edited on it.

    Parameters
    ----------
    instrument
        What is drawn, nut to the left.
    before
        The instrument before the last edit: its outline is drawn as a ghost where it was another.
    wrong
        Keys that have faults.

    Returns
    -------
    Markup
        SVG in mm, y down; each value is a group of the class ``spot`` that carries its key in ``data-key``.
    """
    frame, spots = place_spots(instrument)
    height, width = frame.high - frame.low, frame.right - frame.left
    faulty = set(wrong)
    layers = {
        "wood": [shape(_down(instrument.neck.outline))],
        "marks": _marks(instrument),
        "frets": _frets(instrument),
        "bridge": _bridge(instrument),
        "saddle": _saddle(instrument),
        "strings": _strings(instrument),
        "ghost": _ghost(instrument, before) if before else (),
        "measures": (line(*_down(ends)) for spot in spots for ends in spot.lines),
        "spots": (_written(spot, frame, wrong=spot.key in faulty) for spot in spots),
    }
    return element(
        "svg",
        *(group(name, parts) for name, parts in layers.items()),
        viewBox=f"{frame.left:.2f} {-frame.high:.2f} {width:.2f} {height:.2f}",
        role="group",
        aria_label=f"{instrument.title}: the instrument from above, nut to the left, with its measures",
    )


def _down(points: Iterable[Iterable[float]]) -> list[tuple[float, float]]:
    """Turn points over for a picture whose y runs down."""
    return [(float(x), -float(y)) for x, y in points]


def _written(spot: Spot, frame: Frame, *, wrong: bool) -> Markup:
    letter = frame.letter
    wide, high = spot.width(letter), spot.height(letter)
    kinds = ["spot", *(["assumed"] if spot.assumed else []), *(["wrong"] if wrong else [])]
    box = element(
        "rect", x=spot.x - wide / 2, y=-spot.y - high / 2, width=wide, height=high, rx=0.3 * letter
    )  # fmt: skip
    if spot.stacked:
        text: tuple[Markup, ...] = (
            words((spot.x, -spot.y - 0.3 * letter), spot.name, font_size=letter, class_="name"),
            words((spot.x, -spot.y + letter), spot.text, font_size=letter, class_="value"),
        )
    else:
        name = element("tspan", spot.name, class_="name")
        value = element("tspan", spot.text, class_="value")
        text = (element("text", name, " ", value, x=spot.x, y=-spot.y + 0.35 * letter, font_size=letter),)
    return element("g", box, *text, class_=" ".join(kinds), data_key=spot.key)


def _ghost(instrument: Instrument, before: Instrument) -> Iterator[Markup]:
    """Draw what was elsewhere before."""
    neck, old = instrument.neck, before.neck
    if neck.outline.shape != old.outline.shape or not np.allclose(neck.outline, old.outline, atol=1e-6):
        yield shape(_down(old.outline))
    lines, were = ((each.frets.middle, each.frets.skew) for each in (neck, old))
    if not np.array_equal(lines, were):
        yield from (line(*_down(ends)) for ends in old.lines_in_board[1:])
    if not np.array_equal(neck.saddle_ends, old.saddle_ends):
        yield line(*_down(old.saddle_ends[[0, -1]]))
    now = [] if instrument.placed is None else list(instrument.placed.outlines)
    then = [] if before.placed is None else list(before.placed.outlines)
    if len(now) != len(then) or not all(np.array_equal(*pair) for pair in zip(now, then, strict=True)):
        yield from (shape(_down(corners)) for corners in then)


def _marks(instrument: Instrument) -> Iterator[Markup]:
    for _, x, y in mark_centres(instrument.plan, instrument.neck):
        yield dot((x, -y), instrument.plan.board.mark_diameter / 2)


def _frets(instrument: Instrument) -> Iterator[Markup]:
    lines = instrument.neck.lines_in_board.copy()
    lines[0, :, 0] += instrument.neck.nut_moved
    for fret, ends in enumerate(lines):
        yield line(*_down(ends), class_="fret" if fret >= instrument.first_slot else "nut")


def _bridge(instrument: Instrument) -> Iterator[Markup]:
    placed = instrument.placed
    if placed is None:
        return
    yield from (shape(_down(corners)) for corners in placed.outlines)
    if placed.slot is not None:
        yield shape(_down(placed.slot), class_="slot")
    yield from (dot((hole.x, -hole.y), hole.diameter / 2) for hole in placed.holes)
    if placed.bands is not None:
        for front, rear in placed.bands:
            yield line(*_down((front, rear)), class_="travel")


def _saddle(instrument: Instrument) -> Iterator[Markup]:
    """Draw the nominal saddle line, which the scale is measured to."""
    yield line(*_down(instrument.neck.saddle_ends[[0, -1]]))


def _strings(instrument: Instrument) -> Iterator[Markup]:
    neck, strung = instrument.neck, instrument.strung
    nuts, saddles = neck.nut_ends, neck.saddle_ends
    if strung is not None:
        nuts = neck.on_strings(strung.offsets.nut)
        saddles = neck.on_strings(neck.scales + strung.offsets.saddle)
    for string, nut, saddle in zip(instrument.plan.strings, nuts, saddles, strict=True):
        yield line(*_down((nut, saddle)), stroke_width=0.25 + 0.5 * (string.gauge or 0.4))
        yield dot(_down((saddle,))[0], 1.1)
