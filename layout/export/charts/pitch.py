"""Charts of pitch as SVG, readable in black and white."""

from __future__ import annotations

import io
import math
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import svgwrite

from slotwright.layout.drawing.lettering import cleaned, fitted

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

WIDTH: Final = 190.0  # mm
_PANEL: Final = 37.0  # mm, height of a string's panel with its gap
LEFT: Final = 32.0  # mm, room for the names of strings and the cents
_TOP: Final = 22.0  # mm, room for title and key
_BOTTOM: Final = 12.0  # mm, room for the frets' numbers
INK: Final = "#101418"
GREY: Final = "#7a828a"
BAND: Final = "#e3e6e9"
_SPREAD: Final = "#b4bbc2"


def pitch_chart(
    title: str, names: Sequence[str], before: Floats, after: Floats, aims: NDArray[np.bool_], tolerance: float
) -> bytes:
    """Draw the error of every note, string by string, before and after compensation.

    Parameters
    ----------
    title
        Title of the plan.
    names
        Name of each string; a star at its end marks an estimated core.
    before, after
        Errors [cents], shape (strings, frets).
    aims
        True for the frets of each string's aim, shape (strings, frets).
    tolerance
        Half the height of the band that counts as in tune [cents].

    Returns
    -------
    bytes
        SVG of A4 width, a panel with a scale of its own for each string.
    """
    drawing = blank_chart(title, "pitch", _TOP + _PANEL * len(names) + _BOTTOM)
    _key(drawing, tolerance)
    for place, name in enumerate(names):
        panel = _Panel(drawing, place, np.stack((before[place], after[place])), tolerance)
        panel.frame(name, tolerance)
        panel.curve(before[place], aims[place], filled=False)
        panel.curve(after[place], aims[place], filled=True)
    return _written(drawing, names, before.shape[1], "cents at each fret, sharp above the line")


def slip_chart(
    title: str,
    names: Sequence[str],
    bands: tuple[Floats, Floats, Floats],
    aims: NDArray[np.bool_],
    tolerance: float,
) -> bytes:
    """Draw what a shop's slips make of every note, string by string.

    Parameters
    ----------
    title
        Title of the plan.
    names
        Name of each string; a star at its end marks an estimated core.
    bands
        Errors that 5 %, half and 95 % of the instruments stay below [cents], each of shape (strings, frets).
    aims
        True for the frets of each string's aim, shape (strings, frets).
    tolerance
        Half the height of the band that counts as in tune [cents].

    Returns
    -------
    bytes
        SVG of A4 width, a panel with a scale of its own for each string.
    """
    drawing, every = blank_chart(title, "pitch", _TOP + _PANEL * len(names) + _BOTTOM), np.stack(bands, axis=1)
    _slip_key(drawing, tolerance)
    for place, name in enumerate(names):
        panel = _Panel(drawing, place, every[place], tolerance)
        panel.frame(name, tolerance)
        panel.spread(every[place, 0], every[place, 2], tolerance)
        panel.curve(every[place, 1], aims[place], filled=True)
    return _written(drawing, names, every.shape[2], "cents at each fret of instruments built by this plan")


def blank_chart(title: str, about: str, height: float) -> Any:  # noqa: ANN401 - svgwrite is untyped
    """Begin a chart of A4 width and some height [mm] with its title and what it is about."""
    drawing = svgwrite.Drawing(
        size=(f"{WIDTH}mm", f"{height}mm"),
        viewBox=f"0 0 {WIDTH} {height}",
        debug=False,
        style="background:#ffffff",
        font_family="sans-serif",
        font_size=3.2,
        fill=INK,
    )
    drawing.set_desc(title=f"{cleaned(title)} - {about}")
    text, size = fitted(cleaned(title), WIDTH - 12, 3.6)
    drawing.add(drawing.text(text, insert=(6, 9), font_size=round(size / 0.72, 2)))
    return drawing


def _written(drawing: Any, names: Sequence[str], frets: int, words: str) -> bytes:  # noqa: ANN401
    starred = "; * core estimated, not stated" if any(name.endswith("*") for name in names) else ""
    _frets(drawing, frets, _TOP + _PANEL * len(names), words + starred)
    written = io.StringIO()
    drawing.write(written, pretty=True, indent=1)
    return written.getvalue().encode()


class _Panel:
    """The axes of one string."""

    def __init__(self, drawing: Any, place: int, cents: Floats, tolerance: float) -> None:  # noqa: ANN401
        self.drawing, self.frets = drawing, cents.shape[-1]
        self.top = _TOP + place * _PANEL
        self.bottom = self.top + _PANEL - 9
        # A scale for each string: on one for all, what is left would be a flat line.
        low, high = min(float(cents.min()), -tolerance), max(float(cents.max()), tolerance)
        self.step = round_step(high - low)
        self.low, self.high = self.step * math.floor(low / self.step), self.step * math.ceil(high / self.step)

    def y(self, cents: float) -> float:
        """Place an error on the sheet."""
        return round(self.bottom - (cents - self.low) / (self.high - self.low) * (self.bottom - self.top), 3)

    def frame(self, name: str, tolerance: float) -> None:
        """Draw the band, the levels and the name."""
        d, right, step = self.drawing, WIDTH - 6, self.step
        band = self.y(-tolerance) - self.y(tolerance)
        d.add(d.rect((LEFT, self.y(tolerance)), (right - LEFT, round(band, 3)), fill=BAND))
        for level in range(round((self.high - self.low) / step) + 1):
            cents = self.low + level * step
            y, wide = self.y(cents), 0.25 if abs(cents) < step / 2 else 0.08
            d.add(d.line((LEFT, y), (right, y), stroke=GREY, stroke_width=wide))
            d.add(
                d.text(
                    f"{cents:+.0f}".replace("+0", "0"), insert=(LEFT - 1.5, y + 1), text_anchor="end", font_size=2.8
                )
            )
        d.add(d.text(name, insert=(6, (self.top + self.bottom) / 2 + 1.2)))

    def spread(self, low: Floats, high: Floats, tolerance: float) -> None:
        """Draw where most instruments lie, and over it zero and the edges of the band that counts as in tune."""
        d, right = self.drawing, WIDTH - 6
        upper = [(fret_x(n, self.frets), self.y(float(c))) for n, c in enumerate(high, start=1)]
        lower = [(fret_x(n, self.frets), self.y(float(c))) for n, c in enumerate(low, start=1)]
        d.add(d.polygon([*upper, *reversed(lower)], fill=_SPREAD, stroke=GREY, stroke_width=0.15))
        d.add(d.line((LEFT, self.y(0)), (right, self.y(0)), stroke=GREY, stroke_width=0.25))
        for edge in (tolerance, -tolerance):
            line = d.line((LEFT, self.y(edge)), (right, self.y(edge)), stroke=INK, stroke_width=0.15)
            line["stroke-dasharray"] = "0.6 0.9"
            d.add(line)

    def curve(self, cents: Floats, aims: NDArray[np.bool_], *, filled: bool) -> None:
        """Draw the errors along the neck; the frets of the aim have larger marks."""
        d = self.drawing
        points = [(fret_x(n, self.frets), self.y(float(c))) for n, c in enumerate(cents, start=1)]
        line = d.polyline(points, fill="none", stroke=INK, stroke_width=0.3 if filled else 0.2)
        if not filled:
            line["stroke-dasharray"] = "1.2 0.8"
        d.add(line)
        for point, aimed in zip(points, aims, strict=True):
            _mark(d, point, 0.95 if aimed else 0.5, filled=filled)


def _mark(drawing: Any, point: tuple[float, float], radius: float, *, filled: bool) -> None:  # noqa: ANN401
    fill = INK if filled else "#ffffff"
    drawing.add(drawing.circle(point, radius, fill=fill, stroke=INK, stroke_width=0.2))


def _key(drawing: Any, tolerance: float) -> None:  # noqa: ANN401
    y = 16.0
    for x, filled, words in ((6.0, False, "before: saddle and nut on their lines"), (76.0, True, "after")):
        line = drawing.line((x, y), (x + 9, y), stroke=INK, stroke_width=0.3)
        if not filled:
            line["stroke-dasharray"] = "1.2 0.8"
        drawing.add(line)
        _mark(drawing, (x + 4.5, y), 0.95, filled=filled)
        drawing.add(drawing.text(words, insert=(x + 11, y + 1.1)))
    drawing.add(drawing.rect((103, y - 1.6), (9, 3.2), fill=BAND))
    words = f"within {tolerance:g} cents; large marks: frets of the aim"
    drawing.add(drawing.text(words, insert=(114, y + 1.1)))


def _slip_key(drawing: Any, tolerance: float) -> None:  # noqa: ANN401
    y = 16.0
    drawing.add(drawing.rect((6, y - 1.6), (9, 3.2), fill=_SPREAD, stroke=GREY, stroke_width=0.15))
    drawing.add(drawing.text("nine instruments in ten", insert=(17, y + 1.1)))
    drawing.add(drawing.line((60, y), (69, y), stroke=INK, stroke_width=0.3))
    _mark(drawing, (64.5, y), 0.95, filled=True)
    drawing.add(drawing.text("the middle one", insert=(71, y + 1.1)))
    drawing.add(drawing.rect((103, y - 1.6), (9, 3.2), fill=BAND))
    for edge in (y - 1.6, y + 1.6):
        line = drawing.line((103, edge), (112, edge), stroke=INK, stroke_width=0.15)
        line["stroke-dasharray"] = "0.6 0.9"
        drawing.add(line)
    words = f"within {tolerance:g} cents; large marks: frets of the aim"
    drawing.add(drawing.text(words, insert=(114, y + 1.1)))


def _frets(drawing: Any, frets: int, y: float, words: str) -> None:  # noqa: ANN401
    every = 1 if frets <= 30 else 2
    for fret in range(1, frets + 1, every):
        drawing.add(drawing.text(str(fret), insert=(fret_x(fret, frets), y), text_anchor="middle", font_size=2.6))
    drawing.add(drawing.text(words, insert=(6, y + 6), font_size=2.8))


def fret_x(fret: int, frets: int) -> float:
    """Place a fret along a chart [mm]."""
    first, last = LEFT + 4, WIDTH - 10
    return round(first + (last - first) * (fret - 1) / max(frets - 1, 1), 3)


def round_step(reach: float) -> float:
    """Choose a round step that divides a reach of cents into a handful of levels."""
    return next((step for step in (1.0, 2.0, 5.0, 10.0, 20.0, 50.0) if reach / step <= 5), 100.0)
