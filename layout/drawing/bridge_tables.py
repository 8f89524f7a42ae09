"""What the `bridge` sheet tells in tables: distances to check, holes, margins."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from slotwright.layout.drawing.contacts import signed
from slotwright.layout.drawing.sheet import Passage
from slotwright.layout.instrument.bridge import margins
from slotwright.layout.units import SHOWN

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from slotwright.layout.instrument.instrument import Instrument

    Floats = NDArray[np.float64]


def distances(instrument: Instrument) -> Iterator[Passage]:
    """Tell the sides and diagonals to check with a rule."""
    names = dict(zip("ABCD", check_points(instrument), strict=True))
    rows = [
        (f"{a}-{b}", instrument.length(float(np.hypot(*(names[a] - names[b])))), what)
        for (a, b), what in (("AC", "side"), ("BD", "side"), ("AD", "diagonal"), ("BC", "diagonal"))
    ]
    fret = instrument.plan.action_fret
    yield Passage(
        "Check before you drill",
        (f"A and B: ends of fret {fret} at the board's edges; C and D: {checked_on(instrument)}.",),
        (("from to", "distance", ""), *rows),
    )


def hole_table(instrument: Instrument) -> Iterator[Passage]:
    """Tell where each hole is drilled, from the octave fret along the centre line and aside."""
    placed, said, fret = instrument.bridge, instrument.length, instrument.plan.action_fret
    crown = float(instrument.neck.frets.middle[fret])
    if placed.holes:
        rows = [
            (
                hole.what,
                "stays" if hole.there else said(hole.diameter),
                signed(said(hole.x - crown)),
                aside(instrument, hole.y),
            )
            for hole in placed.holes
        ]
        yield Passage("Holes", (), (("for", "drill", f"from fret {fret}", "from the centre line"), *rows))


def margin_table(instrument: Instrument) -> Iterator[Passage]:
    """Tell the air between the outer strings and the edges of the board."""
    said = instrument.length
    rows = [
        (name, signed(said(treble)), signed(said(bass)), f"{share:.2f}")
        for name, treble, bass, share in margins(instrument.plan, instrument.neck)
    ]
    yield Passage(
        "Outer strings to the edges",
        ("Last column: what 1.00 of bridge shift to the treble side takes off the treble margin.",),
        (("at", "treble", "bass", "per 1.00"), *rows),
    )


def check_points(instrument: Instrument) -> tuple[Floats, Floats, Floats, Floats]:
    """Give crown ends A (treble) and B (bass), and C and D on the bridge, treble side first."""
    bass, treble = instrument.neck.lines_in_board[instrument.plan.action_fret]
    placed = instrument.bridge
    posts = [np.array([hole.x, hole.y]) for hole in placed.holes if hole.what == "post"]
    if posts:
        return treble, bass, posts[0], posts[1]
    corners = placed.outlines[0] if len(placed.outlines) == 1 else placed.slot
    if corners is not None:
        return treble, bass, corners[3], corners[0]
    return treble, bass, placed.contacts[0], placed.contacts[-1]


def checked_on(instrument: Instrument) -> str:
    """Say what of the bridge the points C and D are."""
    placed = instrument.bridge
    if any(hole.what == "post" for hole in placed.holes):
        return "posts"
    if len(placed.outlines) == 1:
        rounded_off = getattr(instrument.plan.bridge, "corner_radius", 0.0)
        return f"front corners of the bridge{' before they are rounded' if rounded_off else ''}"
    return "outer contacts" if placed.slot is None else "front corners of the saddle slot"


def aside(instrument: Instrument, y: float) -> str:
    """Say how far off the centre line a hole stands, and to which side."""
    if abs(y) < SHOWN:
        return "on it"
    side = "treble" if (y > 0) != instrument.plan.board.left_handed else "bass"
    return f"{instrument.length(abs(y))} {side}"
