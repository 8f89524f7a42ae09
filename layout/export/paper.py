"""Paper: its sizes, and what a printer makes of a scale bar."""

from __future__ import annotations

import re
from typing import Final

from slotwright.layout.errors import LengthError, PaperError
from slotwright.layout.units import MM_PER_INCH, parse_length

# mm. ISO 216; letter and tabloid are sizes A and B of ASME Y14.1, in inches; legal is common practice, no source.
SIZES: Final = {
    "A4": (210.0, 297.0),
    "A3": (297.0, 420.0),
    "A2": (420.0, 594.0),
    "A1": (594.0, 841.0),
    "A0": (841.0, 1189.0),
    **{
        name: (width * MM_PER_INCH, height * MM_PER_INCH)
        for name, width, height in (
            ("letter", 8.5, 11),
            ("legal", 8.5, 14),
            ("tabloid", 11, 17),
            ("ASME-A", 8.5, 11),
            ("ASME-B", 11, 17),
            ("ASME-C", 17, 22),
            ("ASME-D", 22, 34),
            ("ASME-E", 34, 44),
        )
    },
}
MOST_CORRECTION: Final = 0.03

_NUMBER: Final = re.compile(r"[0-9]+\.?[0-9]*|\.[0-9]+")
_LONGEST_BAR: Final = 10_000.0  # mm


def paper_size(text: str) -> tuple[float, float]:
    """Give the size of a paper by its name, or as width by height with units.

    Parameters
    ----------
    text
        A name from `SIZES`, or such as ``"500 mm x 20 in"``.

    Returns
    -------
    tuple of float
        Width and height [mm].

    Raises
    ------
    PaperError
        Neither of these.
    """
    for name, size in SIZES.items():
        if text.strip().lower().replace(" ", "-") == name.lower():
            return size
    sides = re.split(r"\s*[x\u00d7]\s*", text.strip())
    if len(sides) == 2:
        try:
            width, height = (parse_length(side, "mm") for side in sides)
        except LengthError as error:
            raise PaperError(f'paper "{text}": {error}') from None
        if min(width, height) >= 100 and max(width, height) <= 10_000:
            return width, height
        raise PaperError(
            f'paper "{text}" is {width:g} x {height:g} mm; allowed 100 to 10000; inches as "8.5in x 11in"'
        )
    raise PaperError(f'paper "{text}" is not known; {", ".join(SIZES)}, or width x height from 100 mm on')


def correction(text: str) -> tuple[float, float]:
    """Read how long scale bars are, and give what the next print has to be scaled by.

    Parameters
    ----------
    text
        ``"249.4/250"``, measured over nominal; ``"249.4/250, 199.8/200"`` for the level and the upright
        bar.

    Returns
    -------
    tuple of float
        Factors for the two axes.

    Raises
    ------
    PaperError
        Not understood, or more than 3 %.
    """
    factors = []
    for part in text.split(","):
        measured, slash, nominal = part.partition("/")
        bars = [float(bar) if slash and _NUMBER.fullmatch(bar.strip()) else 0.0 for bar in (measured, nominal)]
        if not all(0 < bar < _LONGEST_BAR for bar in bars):
            raise PaperError(f'"{text}" is not understood; write measured/nominal, such as 249.4/250')
        factors.append(bars[1] / bars[0])
    if not 1 <= len(factors) <= 2:
        raise PaperError(f'"{text}" has {len(factors)} bars; write one, or one for each axis')
    for factor in factors:
        if abs(factor - 1) > MOST_CORRECTION:
            raise PaperError(
                f'"{text}" is off by {100 * abs(factor - 1):.1f} %, more than {100 * MOST_CORRECTION:.0f} %: set the '
                "print dialogue to full size (100 %, no fitting) and measure again"
            )
    return factors[0], factors[-1]
