"""A chart of how far measured crowns stand from their places, readable in black and white."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import numpy as np

from slotwright.layout.export.charts.pitch import BAND, GREY, INK, LEFT, WIDTH, blank_chart, fret_x
from slotwright.layout.units import MM_PER_INCH, Unit

if TYPE_CHECKING:
    from collections.abc import Sequence

    from slotwright.layout.export.picture import Picture
    from slotwright.layout.survey.scale import Line

_PANEL: Final = 62.0  # mm, height of a line's panel with its gap
_RIGHT: Final = WIDTH - 6
_TOP: Final = 22.0  # mm, room for title and key
_BOTTOM: Final = 12.0  # mm, room for the frets' numbers
_BEYOND: Final = 4.0  # times the widest band; what stands off further is drawn at the edge
_SMALL: Final = 2.8


def survey_chart(title: str, lines: Sequence[Line], unit: Unit) -> bytes:
    """Draw how far every crown stands from its place, with the band it may stand in.

    Parameters
    ----------
    title
        What the neck is called.
    lines
        What was found along each line of the neck.
    unit
        Unit of the lengths on the chart.

    Returns
    -------
    bytes
        SVG of A4 width, a panel for each line.
    """
    height = _TOP + _PANEL * len(lines) + _BOTTOM
    picture = blank_chart(title, "crowns", height)
    _key(picture)
    last = max(int(line.measured.frets[-1]) for line in lines)
    for place, line in enumerate(lines):
        top = _TOP + place * _PANEL
        _panel(picture, line, unit, last, top, top + _PANEL - 9)
    every = 1 if last <= 30 else 2
    for fret in range(1, last + 1, every):
        x = fret_x(fret, last)
        picture.text(str(fret), (x, height - _BOTTOM), text_anchor="middle", font_size=2.6)
    words = f"{unit} from each crown's place, toward the bridge above the line"
    picture.text(words, (6, height - _BOTTOM + 6), font_size=_SMALL)
    return picture.written()


def _panel(picture: Picture, line: Line, unit: Unit, last: int, top: float, bottom: float) -> None:
    size = MM_PER_INCH if unit == "in" else 1.0
    off, allowed = line.residuals / size, line.allowed / size
    band = float(allowed[np.isfinite(allowed)].max(initial=0.0))
    reach = min(max(float(np.abs(off).max()), band), _BEYOND * band) if band else float(np.abs(off).max())
    step = _step(reach)
    levels = math.ceil(reach / step - 1e-9)

    def y(length: float) -> float:
        middle, half = (top + bottom) / 2, (bottom - top) / 2
        return round(middle - half * max(-1.0, min(1.0, length / (levels * step))), 3)

    wide = min(5.0, 0.8 * (fret_x(2, last) - fret_x(1, last)))
    frets = line.measured.frets.tolist()
    for fret, room in zip(frets, allowed, strict=True):
        if math.isfinite(room):
            corner = (round(fret_x(fret, last) - wide / 2, 3), y(room))
            picture.rectangle(corner, (round(wide, 3), round(y(-room) - y(room), 3)), fill=BAND)
    decimals = max(0, -math.floor(math.log10(step)))
    for level in range(-levels, levels + 1):
        at, heavy = y(level * step), 0.08 if level else 0.25
        picture.line((LEFT, at), (_RIGHT, at), stroke=GREY, stroke_width=heavy)
        text = f"{level * step:+.{decimals}f}" if level else "0"
        picture.text(text, (LEFT - 1.5, at + 1), text_anchor="end", font_size=_SMALL)
    if line.measured.name != "distance":
        picture.text(line.measured.name, (6, (top + bottom) / 2 + 1.2))
    for fret, length, bad in zip(frets, off, line.look_at, strict=True):
        _mark(picture, (fret_x(fret, last), y(length)), bad=bool(bad), beyond=abs(length) > levels * step)


def _mark(picture: Picture, point: tuple[float, float], *, bad: bool, beyond: bool = False) -> None:
    if beyond:
        x, y = point
        picture.rectangle((round(x - 0.9, 3), round(y - 0.9, 3)), (1.8, 1.8), fill=INK)
    elif bad:
        picture.circle(point, 1.1, fill=INK)
    else:
        picture.circle(point, 0.8, fill="#ffffff", stroke=INK, stroke_width=0.2)


def _key(picture: Picture) -> None:
    y = 16.0
    for x, words in ((6.0, "good"), (24.0, "look at this crown"), (64.0, "the same, beyond the chart")):
        _mark(picture, (x + 1, y), bad=x > 6, beyond=x > 60)
        picture.text(words, (x + 4, y + 1.1))
    picture.rectangle((116, y - 1.6), (5, 3.2), fill=BAND)
    picture.text("what measuring alone explains", (123, y + 1.1))


def _step(reach: float) -> float:
    """Choose a round step that divides a reach into a handful of levels."""
    decade = 10.0 ** math.floor(math.log10(max(reach, 1e-6) / 4))
    return next(decade * times for times in (1, 2, 5, 10) if reach / (decade * times) <= 4)
