"""The `saddle` sheet: the crest seen from the bridge's rear, and the contacts across its thickness."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, Literal

import numpy as np

from slotwright.layout.drawing import contacts
from slotwright.layout.drawing.frame import Content
from slotwright.layout.drawing.marks import spread
from slotwright.layout.drawing.nut import string_numbers
from slotwright.layout.drawing.sheet import Contour, Dimension, Layer, Line, Passage, Text
from slotwright.layout.findings import sentence
from slotwright.layout.physics.pitch import saddle_height
from slotwright.layout.plan.bridges import Adjustable, SaddleSlot

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from slotwright.layout.drawing.sheet import Entity
    from slotwright.layout.instrument.instrument import Instrument

    Floats = NDArray[np.float64]

_APART: Final = 14.0  # mm between the two views
_HEIGHT: Final = 2.2
_ENDS: Final = 5.0  # mm of crest beyond the outer strings where no length is stated
_BODY: Final = 5.0  # mm drawn below the crest's level where no depth is stated


def missing(instrument: Instrument) -> str | None:
    """Say what the plan lacks for this sheet."""
    bridge = instrument.plan.bridge
    if isinstance(bridge, Adjustable):
        return f'a bridge with "{bridge.kind}" has no saddle to shape'
    return instrument.bridge_lacks


def content(instrument: Instrument) -> Content:
    """Draw the crest's profile, and above it the contacts across the saddle."""
    entities = [*_from_above(instrument), *_profile(instrument)]
    tables = ("board", "setup", "compensation", "bridge")
    origin = "middle, top view"
    return Content(
        entities, list(_notes(instrument)), tables, mirrors=False, origin=origin, figures=[*_table(instrument)]
    )


def places(instrument: Instrument) -> Floats:
    """Give where the strings cross the crest, along it from its middle, treble side positive [mm]."""
    placed = instrument.bridge
    turn = np.radians(placed.crest_angle)
    along: Floats = (placed.contacts - placed.datum) @ np.array([-np.sin(turn), np.cos(turn)])
    return along


def crests(instrument: Instrument) -> Floats:
    """Give the height of each contact [mm]: above the base if that is known, else above the crowns' straight edge."""
    placed, strung = instrument.bridge, instrument.stringing
    if placed.exposure is not None:
        return placed.exposure
    return saddle_height(strung.fretting, strung.offsets.saddle, strung.offsets.nut)


def _half(instrument: Instrument) -> float:
    stated = _slot(instrument, "slot_length")
    return stated / 2 if stated else float(np.abs(places(instrument)).max()) + _ENDS


def _slot(instrument: Instrument, key: Literal["slot_width", "slot_length", "slot_depth"]) -> float | None:
    """Give a measure of the slot that the saddle stands in [mm]; None where it stands in none, or none is stated."""
    bridge = instrument.plan.bridge
    measure: float | None = getattr(bridge, key) if isinstance(bridge, SaddleSlot) else None
    return measure


def _from_above(instrument: Instrument) -> Iterator[Entity]:
    """Draw the saddle from above, its treble end to the right: down the sheet is toward the rear."""
    along, y = instrument.bridge.along, places(instrument)
    half, thick = _half(instrument), _thick(instrument)
    corners = ((-half, -thick), (half, -thick), (half, thick), (-half, thick))
    yield Contour(Layer.REF_BLANK, corners)
    yield Line(Layer.REF_CENTRE, (-half - 4, 0.0), (half + 4, 0.0))
    order = np.argsort(y)
    bounds = np.concatenate(([-half], (y[order][:-1] + y[order][1:]) / 2, [half]))
    for rank, string in enumerate(order):
        at, arm = float(y[string]), 0.4 * float(min(bounds[rank + 1] - y[string], y[string] - bounds[rank]))
        place = np.array([at, -float(along[string])])
        yield from contacts.contact_cross(place, np.array([arm, 0.0]), np.array([0.0, min(arm, 0.6 * thick)]))
    yield from string_numbers(y, thick + 3, -thick - 4)
    if _slot(instrument, "slot_width"):
        beside = half + 8.0
        width = instrument.length(2 * thick)
        yield Dimension((beside, -thick), (beside, thick), width, ((half, -thick), (half, thick)), beyond=True)
    yield Text(Layer.TEXT, (-half - 6, 1.0), "top view", 2.5, "right")
    yield Text(Layer.TEXT, (-half - 6, -1.0), "rear below", 2.5, "right", "top")


def _thick(instrument: Instrument) -> float:
    """Give half the thickness drawn."""
    return (_slot(instrument, "slot_width") or 2 * float(np.abs(instrument.bridge.along).max()) + 2.0) / 2


def _known_foot(instrument: Instrument) -> bool:
    """Tell whether the saddle's whole height is known: how far it stands out, and in."""
    return _slot(instrument, "slot_depth") is not None and instrument.bridge.exposure is not None


def _profile(instrument: Instrument) -> Iterator[Entity]:
    """Draw the crest from string to string; straight on past the outer ones."""
    y, z = places(instrument), crests(instrument)
    half, order = _half(instrument), np.argsort(y)
    low = -_thick(instrument) - 4 - _APART - float(z.max())
    at, height = y[order], z[order]
    ends = []
    for end, (a, b) in ((-half, (0, 1)), (half, (-1, -2))):
        lean = (height[a] - height[b]) / (at[a] - at[b]) if len(at) > 1 else 0.0
        ends.append((end, float(height[a] + lean * (end - at[a]))))
    depth = _slot(instrument, "slot_depth") or _BODY
    crest = [ends[0], *((float(a), float(h)) for a, h in zip(at, height, strict=True)), ends[1]]
    corners = [(-half, -depth), (half, -depth), *reversed(crest)]
    # An outline to cut only where its foot is known, and not invented.
    layer = Layer.CUT_OUTLINE if _known_foot(instrument) else Layer.REF_SADDLE
    yield Contour(layer, tuple((x, low + h) for x, h in corners))
    yield Line(Layer.REF_BLANK, (-half - 4, low), (half + 4, low))
    yield Text(Layer.TEXT, (-half - 6, low), _level(instrument), 2.5, "right", "middle")
    foot = low - depth
    apart = 3.2 if len(y) < 10 else 4.8
    for string, place in zip(order, spread(sorted(float(a) for a in y), apart), strict=True):
        here = float(y[string])
        yield Line(Layer.DIM, (here, foot - 1.0), (here, foot - 2.5))
        yield Line(Layer.DIM, (here, foot - 2.5), (place, foot - 5.0))
        yield Text(Layer.TEXT, (place, foot - 5.8), str(int(string) + 1), _HEIGHT, "center", "top")
    said, row = instrument.length, foot - 13.0
    yield Dimension((-half, row), (half, row), said(2 * half), ((-half, row + 3), (half, row + 3)))
    if _known_foot(instrument):
        highest, beside = low + float(z.max()), half + 8.0
        at_top = float(y[int(np.argmax(z))])
        yield Dimension((beside, foot), (beside, highest), said(highest - foot), ((half, foot), (at_top, highest)))


def _table(instrument: Instrument) -> Iterator[Passage]:
    """Tell where each string crosses the crest, how high, and how far before or behind the saddle's middle."""
    said, z = instrument.length, crests(instrument)
    rows = [
        (
            str(string + 1),
            said(abs(float(y))),
            said(float(z[string])),
            f"{said(abs(float(along)))} {'behind' if along > 0 else 'before'}",
        )
        for string, (y, along) in enumerate(zip(places(instrument), instrument.bridge.along, strict=True))
    ]
    over = f"over the {_level(instrument)}"
    yield Passage("Crest", (), (("string", "from centre", over, "off its middle"), *rows))


def _level(instrument: Instrument) -> str:
    return "base" if instrument.bridge.exposure is not None else "crowns"


def _notes(instrument: Instrument) -> Iterator[str]:
    level = (
        "the bridge's base"
        if instrument.bridge.exposure is not None
        else "a straight edge along the crowns at the middle"
    )
    yield f"Heights are those of the strings' undersides above {level}, at the stated action. Seen from the bridge."
    if not _known_foot(instrument):
        yield (
            "How deep the saddle stands in its bridge is not known, so its foot is drawn as a reference only; state "
            "bridge.plane_height, base_height and slot_depth."
        )
    yield from contacts.grounds(instrument)
    yield from map(sentence, instrument.bridge_findings)
