"""The bridge in its place: seen from above with the neck upward, and in figures."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import numpy as np

from slotwright.layout.drawing.bridge_tables import check_points, checked_on
from slotwright.layout.errors import needed
from slotwright.layout.export.report.facts import both, measure, pitch_name
from slotwright.layout.export.report.inline import Place, dot, element, group, line, shape, words
from slotwright.layout.instrument.bridge import margins, single_units
from slotwright.layout.units import ROUNDING

if TYPE_CHECKING:
    from collections.abc import Iterator

    from markupsafe import Markup
    from numpy.typing import NDArray

    from slotwright.layout.instrument.instrument import Instrument

    Floats = NDArray[np.float64]

_BAND: Final = 1.1  # mm, half the width of a band of travel
_ABOVE: Final = 16.0  # mm of string drawn before the bridge


def bridge_section(instrument: Instrument) -> dict[str, Any] | None:
    """Draw and tell where the bridge stands; None where it is not placed.

    Parameters
    ----------
    instrument
        The instrument.

    Returns
    -------
    dict or None
        The picture, the place, distances to check and the travel of each string.
    """
    if instrument.bridge_lacks:
        return None
    placed, plan, neck = instrument.bridge, instrument.plan, instrument.neck
    bridge = needed(instrument.plan.bridge, instrument.bridge_lacks)
    crown = float(neck.frets.middle[plan.action_fret])
    corners = dict(zip("ABCD", check_points(instrument), strict=True))
    crowns = neck.on_strings(neck.from_nut[plan.action_fret])
    checked = _checked(instrument)
    rows = []
    for place, contact in enumerate(placed.contacts):
        reserve = None if placed.reserve is None else [float(way) for way in placed.reserve[place]]
        rows.append(
            {
                "string": place + 1,
                "pitch": pitch_name(instrument, place),
                "far": both(instrument, float(np.hypot(*(contact - crowns[place])))),
                "travel": None if reserve is None else [both(instrument, way) for way in reserve],
                "short": reserve is not None and min(reserve) < bridge.reserve - ROUNDING,
            }
        )
    return {
        "kind": bridge.kind,
        "short": any(row["short"] for row in rows),
        "drawn": _picture(instrument, corners),
        "single": single_units(plan),
        "datum": measure(instrument, float(placed.datum[0]) - crown),
        "angle": f"{abs(placed.angle):.2f}" if placed.angle else "",
        "rear": "bass" if (placed.angle > 0) != plan.board.left_handed else "treble",
        "travel": placed.bands is not None,
        "reserve": measure(instrument, bridge.reserve),
        "rows": rows,
        "on": checked_on(instrument),
        "checks": [
            (f"{one} to {other}", measure(instrument, float(np.hypot(*(corners[one] - corners[other])))))
            for one, other in (("AC", "BD", "AD", "BC") if checked else ())
        ],
        "holes": list(_hole_rows(instrument, crown)),
        "there": bool(len(placed.there.holes)),
        "margins": [
            (name, both(instrument, treble), both(instrument, bass)) for name, treble, bass, _ in margins(plan, neck)
        ],
    }


def _checked(instrument: Instrument) -> bool:
    """Tell whether the points C and D are two: the contact of a single string is but one."""
    return len(instrument.plan.strings) > 1 or checked_on(instrument) != "outer contacts"


def _hole_rows(instrument: Instrument, crown: float) -> Iterator[dict[str, Any]]:
    """Yield every hole: its width, and how far it stands from the octave crown and off the centre line."""
    hand = instrument.plan.board.hand
    for hole in instrument.bridge.holes:
        aside = round(hand * hole.y, 6)
        yield {
            "what": hole.what,
            "wide": both(instrument, hole.diameter),
            "far": both(instrument, hole.x - crown),
            "aside": both(instrument, abs(aside)),
            "side": "treble" if aside > 0 else "bass" if aside < 0 else "",
        }


def _place(point: Floats) -> Place:
    """Give a point of the neck with the neck upward: toward the rear runs down the picture."""
    return float(point[1]), float(point[0])


def _picture(instrument: Instrument, corners: dict[str, Floats]) -> Markup:
    placed, neck = instrument.bridge, instrument.neck
    bands = [] if placed.bands is None else list(placed.bands)
    drilled = [(hole.x, hole.y, hole.diameter) for hole in placed.holes]
    there = [(float(x), float(y), float(diameter)) for x, y, diameter in placed.there.holes]
    holes = [np.array([[x - wide / 2, y], [x + wide / 2, y]]) for x, y, wide in (*drilled, *there)]
    slot = [] if placed.slot is None else [placed.slot]
    everything = np.concatenate([*placed.outlines, *slot, placed.contacts, neck.saddle_ends, *bands, *holes])
    (top, left), (bottom, right) = everything.min(axis=0), everything.max(axis=0)
    wide = max(right - left + 16, 60.0)
    left, letters, room = (left + right - wide) / 2, max(2.0, 0.012 * wide), 0.035 * wide
    top -= _ABOVE
    clear = 2.5 if checked_on(instrument) == "outer contacts" else 0.0
    lettered = _letters(corners, letters, clear) if _checked(instrument) else ()
    parts = (
        group("bridge", [shape(map(_place, outline)) for outline in placed.outlines]),
        group("bridge", [shape(map(_place, each), class_="slot") for each in slot]),
        group("bridge", [dot((y, x), wide / 2, class_="hole") for x, y, wide in drilled]),
        group("bridge", [dot((y, x), wide / 2, class_="hole there") for x, y, wide in there]),
        group("lines", _lines(instrument, top, bottom)),
        group("travel", _travel(instrument)),
        group("strings", _strings(instrument, top)),
        group("contacts", _contacts(instrument)),
        group("numbers", _numbers(instrument, top, letters)),
        group("corners", [*_datum(instrument), *lettered]),
    )
    box = f"{left:.2f} {top - room:.2f} {wide:.2f} {bottom - top + room + 6:.2f}"
    name = f"bridge seen from above, neck upward: {len(placed.contacts)} contacts"
    style = f"--wide:{wide:.2f};--letters:{letters:.2f};max-width:{6 * wide:.0f}px"
    return element("svg", *parts, viewBox=box, role="img", aria_label=name, style=style)


def _lines(instrument: Instrument, top: float, bottom: float) -> Iterator[Markup]:
    yield line((0, top), (0, bottom + 4), class_="centre")
    neck = instrument.neck
    reach = float(np.abs(neck.saddle_ends[:, 1]).max()) + 5.0
    ends = [(y, float(neck.saddle.x_at(y)[0])) for y in (-reach, reach)]
    yield line(*ends, class_="saddle")


def _travel(instrument: Instrument) -> Iterator[Markup]:
    """Draw how far each contact can be moved."""
    placed = instrument.bridge
    if placed.bands is None:
        return
    for (front, rear), way in zip(placed.bands, instrument.neck.directions, strict=True):
        beside = _BAND * np.array([-way[1], way[0]])
        yield shape(map(_place, (front - beside, rear - beside, rear + beside, front + beside)))


def _strings(instrument: Instrument, top: float) -> Iterator[Markup]:
    for string, way, contact in zip(
        instrument.plan.strings, instrument.neck.directions, instrument.bridge.contacts, strict=True
    ):
        start = contact + (top - contact[0]) / way[0] * way
        yield line(_place(start), _place(contact), stroke_width=0.7 + 0.8 * (string.gauge or 0.4))


def _contacts(instrument: Instrument) -> Iterator[Markup]:
    for contact, way in zip(instrument.bridge.contacts, instrument.neck.directions, strict=True):
        beside = 1.9 * np.array([-way[1], way[0]])
        yield line(_place(contact - beside), _place(contact + beside))


def _numbers(instrument: Instrument, top: float, letters: float) -> Iterator[Markup]:
    for place, (contact, way) in enumerate(zip(instrument.bridge.contacts, instrument.neck.directions, strict=True)):
        across = float(contact[1] + (top - contact[0]) / way[0] * way[1])
        yield words((across, top - 0.4 * letters), str(place + 1))


def _datum(instrument: Instrument) -> Iterator[Markup]:
    """Mark the datum with a cross; single units have none in common."""
    if not single_units(instrument.plan):
        y, x = _place(instrument.bridge.datum)
        yield line((y - 2, x), (y + 2, x))
        yield line((y, x - 2), (y, x + 2))


def _letters(corners: dict[str, Floats], letters: float, clear: float) -> Iterator[Markup]:
    """Letter the points on the bridge that a rule finds, clear of what is drawn there."""
    for name, other in ("CD", "DC"):
        here, away = corners[name], float(np.sign(corners[name][1] - corners[other][1]))
        yield dot(_place(here), 0.2 * letters)
        across = float(here[1]) + away * (0.9 * letters + clear)
        yield words((across, float(here[0]) + (0.35 if clear else -0.4) * letters), name)
