"""The neck's line at the bridge, seen from the side."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from slotwright.layout.export.report.facts import measure
from slotwright.layout.export.report.inline import element, group, line, shape, words
from slotwright.layout.instrument.neck_angle import EXPOSURE

if TYPE_CHECKING:
    from slotwright.layout.instrument.instrument import Instrument

_TALLER: Final = 4.0  # times: heights are a twentieth of the lengths, and what matters in them a hundredth
_AROUND: Final = 12.0  # mm of air
_BEFORE: Final = 60.0  # mm of neck before the joint
_HALF: Final = 14.0  # mm, half the length of a bridge that does not state it


def side_view(instrument: Instrument) -> dict[str, Any] | None:
    """Draw the straight edge along the crowns over top and bridge, and how far the saddle stands out.

    Parameters
    ----------
    instrument
        The instrument.

    Returns
    -------
    dict or None
        The picture and its figures; None where no heights are stated.
    """
    bridge, plan, neck = instrument.plan.bridge, instrument.plan, instrument.neck
    placed = instrument.placed
    if bridge is None or placed is None or placed.exposure is None:
        return None
    plane, base = bridge.plane_height, bridge.base_height
    if plane is None or base is None:
        return None
    low, high = float(placed.exposure.min()), float(placed.exposure.max())
    joint = plan.board.joint_fret or plan.frets.count
    x_joint, x_end = float(neck.frets.middle[joint]), float(neck.outline[:, 0].max())
    x_saddle = float(placed.contacts[:, 0].mean())
    before, behind = (_HALF, _HALF) if bridge.outline is None else _ends(bridge.outline[1], bridge.to_front)
    left, right = x_joint - _BEFORE, x_saddle + behind + 3 * _AROUND
    # Heights over the top at the saddle; the crowns run level, the top falls or climbs to the joint.
    at_joint = plane - plan.board.thickness - plan.frets.height
    lean = (0.0 - at_joint) / (x_saddle - x_joint)

    def top(x: float) -> float:
        return lean * (x - x_saddle)

    def at(x: float, height: float) -> tuple[float, float]:
        return x, -_TALLER * height

    wood = plane - plan.frets.height
    board = [(left, wood), (x_end, wood), (x_end, wood - plan.board.thickness), (left, wood - plan.board.thickness)]
    block = [(x_saddle - before, top(x_saddle - before)), (x_saddle - before, base), (x_saddle + behind, base),
             (x_saddle + behind, top(x_saddle + behind))]  # fmt: skip
    saddle = [
        (x_saddle - 1.5, base),
        (x_saddle - 1.5, base + high),
        (x_saddle + 1.5, base + high),
        (x_saddle + 1.5, base),
    ]
    letters = 0.016 * (right - left)
    highest, lowest = max(plane, base + high), min(top(right), wood - plan.board.thickness, 0.0)
    string = at(left, plane + _over(instrument, left)), at(x_saddle, base + high)
    above = -_TALLER * highest - 0.8 * letters
    lines = [
        line(at(left, plane), at(right, plane), class_="centre"),
        line(at(x_joint, wood), at(x_joint, wood - plan.board.thickness), class_="saddle"),
    ]
    parts = (
        group("bridge", [shape(at(*corner) for corner in each) for each in (board, block)]),
        group("bridge", [shape((at(*corner) for corner in saddle), class_="slot")]),
        group("corners", [line(at(x_joint, top(x_joint)), at(right, top(right)))]),
        group("lines", lines),
        group("strings", [line(*string, stroke_width=1.0)]),
        group("numbers", [words((x_joint, above), f"fret {joint}"), words((x_saddle, above), "saddle")]),
    )
    up, down = -_TALLER * highest - 2.4 * letters, -_TALLER * lowest + _AROUND
    box = f"{left:.2f} {up:.2f} {right - left:.2f} {down - up:.2f}"
    name = "neck and bridge from the side: a straight edge along the crowns over top, bridge and saddle"
    style = f"--wide:{right - left:.2f};--letters:{letters:.2f};max-width:{3 * (right - left):.0f}px"
    return {
        "drawn": element("svg", *parts, viewBox=box, role="img", aria_label=name, style=style),
        "taller": f"{_TALLER:g}",
        "plane": measure(instrument, plane),
        "base": measure(instrument, base),
        "low": measure(instrument, low),
        "high": measure(instrument, high),
        "usual": [measure(instrument, each) for each in EXPOSURE],
    }


def _ends(along: float, to_front: float | None) -> tuple[float, float]:
    """Give how far a bridge reaches before its contact line and behind it [mm]."""
    front = along / 2 if to_front is None else to_front
    return front, along - front


def _over(instrument: Instrument, x: float) -> float:
    """Give how high the highest string at the saddle runs over the crowns at a place on the neck [mm]."""
    strung, placed = instrument.stringing, instrument.bridge
    if placed.over_top is None or instrument.plan.bridge is None or instrument.plan.bridge.plane_height is None:
        return 0.0
    string = int(placed.over_top.argmax())
    at_nut = float(strung.fretting.nut_height[string])
    at_saddle = float(placed.over_top[string]) - instrument.plan.bridge.plane_height
    return at_nut + (at_saddle - at_nut) * x / float(placed.contacts[string, 0])
