"""Charts of pitch as SVG, readable in black and white."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import numpy as np

from slotwright.layout.drawing.lettering import cleaned, fitted
from slotwright.layout.export.picture import Picture
from slotwright.layout.units import cents as shown

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
_DASHES: Final = "1.2 0.8"


def pitch_chart(
    title: str, names: Sequence[str], before: Floats, after: Floats, aims: NDArray[np.bool_], tolerance: float
) -> bytes:
    """Draw the error of every note, string by string, before and after compensation.

    Parameters
    ----------
    title
        Title of the plan.
    names
        Name of each string; a star at its end marks an estimated stiffness.
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
    picture = blank_chart(title, "pitch", _TOP + _PANEL * len(names) + _BOTTOM)
    _key(picture, tolerance)
    for place, name in enumerate(names):
        panel = _Panel(picture, place, np.stack((before[place], after[place])), tolerance)
        panel.frame(name, tolerance)
        panel.curve(before[place], aims[place], filled=False)
        panel.curve(after[place], aims[place], filled=True)
    return _written(picture, names, before.shape[1], "cents at each fret, sharp above the line")


def slip_chart(
    title: str,
    names: Sequence[str],
    bands: tuple[Floats, Floats, Floats],
    aims: NDArray[np.bool_],
    tolerance: float,
) -> bytes:
    """Draw what workshop errors make of every note, string by string.

    Parameters
    ----------
    title
        Title of the plan.
    names
        Name of each string; a star at its end marks an estimated stiffness.
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
    picture, every = blank_chart(title, "pitch", _TOP + _PANEL * len(names) + _BOTTOM), np.stack(bands, axis=1)
    _slip_key(picture, tolerance)
    for place, name in enumerate(names):
        panel = _Panel(picture, place, every[place], tolerance)
        panel.frame(name, tolerance)
        panel.spread(every[place, 0], every[place, 2], tolerance)
        panel.curve(every[place, 1], aims[place], filled=True)
    return _written(picture, names, every.shape[2], "cents at each fret of instruments built by this plan")


def blank_chart(title: str, about: str, height: float) -> Picture:
    """Begin a chart of A4 width and some height [mm] with its title and what it is about."""
    size, view = (f"{WIDTH}mm", f"{height}mm"), f"0 0 {WIDTH} {height}"
    words = f"{cleaned(title)} - {about}"
    picture = Picture(size, view, words, font_family="sans-serif", font_size=3.2, fill=INK)
    text, letters = fitted(cleaned(title), WIDTH - 12, 3.6)
    picture.text(text, (6, 9), font_size=round(letters / 0.72, 2))
    return picture


def _written(picture: Picture, names: Sequence[str], frets: int, words: str) -> bytes:
    starred = "; * stiffness estimated, not stated" if any(name.endswith("*") for name in names) else ""
    _frets(picture, frets, _TOP + _PANEL * len(names), words + starred)
    return picture.written()


class _Panel:
    """The axes of one string."""

    def __init__(self, picture: Picture, place: int, cents: Floats, tolerance: float) -> None:
        self.picture, self.frets = picture, cents.shape[-1]
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
        d, right, step = self.picture, WIDTH - 6, self.step
        band = self.y(-tolerance) - self.y(tolerance)
        d.rectangle((LEFT, self.y(tolerance)), (right - LEFT, round(band, 3)), fill=BAND)
        for level in range(round((self.high - self.low) / step) + 1):
            cents = self.low + level * step
            y, wide = self.y(cents), 0.25 if abs(cents) < step / 2 else 0.08
            d.line((LEFT, y), (right, y), stroke=GREY, stroke_width=wide)
            d.text(shown(cents, 0), (LEFT - 1.5, y + 1), text_anchor="end", font_size=2.8)
        d.text(name, (6, (self.top + self.bottom) / 2 + 1.2))

    def spread(self, low: Floats, high: Floats, tolerance: float) -> None:
        """Draw where most instruments lie, and over it zero and the edges of the band that counts as in tune."""
        d, right = self.picture, WIDTH - 6
        upper = [(fret_x(n, self.frets), self.y(float(c))) for n, c in enumerate(high, start=1)]
        lower = [(fret_x(n, self.frets), self.y(float(c))) for n, c in enumerate(low, start=1)]
        d.area([*upper, *reversed(lower)], fill=_SPREAD, stroke=GREY, stroke_width=0.15)
        d.line((LEFT, self.y(0)), (right, self.y(0)), stroke=GREY, stroke_width=0.25)
        for edge in (tolerance, -tolerance):
            d.line((LEFT, self.y(edge)), (right, self.y(edge)), "0.6 0.9", stroke=INK, stroke_width=0.15)

    def curve(self, cents: Floats, aims: NDArray[np.bool_], *, filled: bool) -> None:
        """Draw the errors along the neck; the frets of the aim have larger marks."""
        d = self.picture
        points = [(fret_x(n, self.frets), self.y(float(c))) for n, c in enumerate(cents, start=1)]
        d.lines(points, "" if filled else _DASHES, fill="none", stroke=INK, stroke_width=0.3 if filled else 0.2)
        for point, aimed in zip(points, aims, strict=True):
            _mark(d, point, 0.95 if aimed else 0.5, filled=filled)


def _mark(picture: Picture, point: tuple[float, float], radius: float, *, filled: bool) -> None:
    fill = INK if filled else "#ffffff"
    picture.circle(point, radius, fill=fill, stroke=INK, stroke_width=0.2)


def _key(picture: Picture, tolerance: float) -> None:
    y = 16.0
    for x, filled, words in ((6.0, False, "before: saddle and nut on their lines"), (76.0, True, "after")):
        picture.line((x, y), (x + 9, y), "" if filled else _DASHES, stroke=INK, stroke_width=0.3)
        _mark(picture, (x + 4.5, y), 0.95, filled=filled)
        picture.text(words, (x + 11, y + 1.1))
    picture.rectangle((103, y - 1.6), (9, 3.2), fill=BAND)
    words = f"within {tolerance:g} cents; large marks: target frets"
    picture.text(words, (114, y + 1.1))


def _slip_key(picture: Picture, tolerance: float) -> None:
    y = 16.0
    picture.rectangle((6, y - 1.6), (9, 3.2), fill=_SPREAD, stroke=GREY, stroke_width=0.15)
    picture.text("5\u201395 % range", (17, y + 1.1))
    picture.line((60, y), (69, y), stroke=INK, stroke_width=0.3)
    _mark(picture, (64.5, y), 0.95, filled=True)
    picture.text("median", (71, y + 1.1))
    picture.rectangle((103, y - 1.6), (9, 3.2), fill=BAND)
    for edge in (y - 1.6, y + 1.6):
        picture.line((103, edge), (112, edge), "0.6 0.9", stroke=INK, stroke_width=0.15)
    words = f"within {tolerance:g} cents; large marks: target frets"
    picture.text(words, (114, y + 1.1))


def _frets(picture: Picture, frets: int, y: float, words: str) -> None:
    every = 1 if frets <= 30 else 2
    for fret in range(1, frets + 1, every):
        picture.text(str(fret), (fret_x(fret, frets), y), text_anchor="middle", font_size=2.6)
    picture.text(words, (6, y + 6), font_size=2.8)


def fret_x(fret: int, frets: int) -> float:
    """Place a fret along a chart [mm]."""
    first, last = LEFT + 4, WIDTH - 10
    return round(first + (last - first) * (fret - 1) / max(frets - 1, 1), 3)


def round_step(reach: float) -> float:
    """Choose a round step that divides a reach of cents into a handful of levels."""
    return next((step for step in (1.0, 2.0, 5.0, 10.0, 20.0, 50.0) if reach / step <= 5), 100.0)
