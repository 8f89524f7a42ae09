"""The outline: on its waste side, in passes a little off it, then one light pass at full depth; over tabs."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely

from slotwright.layout.instrument.lines import distance
from slotwright.layout.machine.passes import SLOPE, Path, Trace, in_turn, levels
from slotwright.layout.machine.slots import slot_ends
from slotwright.layout.units import ROUNDING

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from slotwright.layout.instrument.instrument import Instrument
    from slotwright.layout.machine.passes import Run
    from slotwright.layout.machine.setting import Setting
    from slotwright.layout.plan.machine import Cutter

    Floats = NDArray[np.float64]

ALLOWANCE: Final = 0.3  # mm that is left for the last pass, less for a thin cutter; common practice, no source
CLEAR_OF_SLOTS: Final = 4.0  # mm from a tab to the next slot
TAB_SLOPE: Final = 0.25  # of the ramps over a tab, some 14 degrees; common practice, no source
_LEAD: Final = 5.0  # mm along which the last pass closes in on the outline, and leaves it
_BETWEEN: Final = 2.0  # mm at least between the ramps of two tabs


@dataclass(frozen=True, slots=True, eq=False)
class Tab:
    """A bridge of wood between the board and its blank.

    Parameters
    ----------
    middle
        Its middle on the outline [mm], shape (2,).
    along, outward
        Unit vectors along the edge and away from the board, shape (2,).
    """

    middle: Floats
    along: Floats
    outward: Floats


def tabs(instrument: Instrument, setting: Setting, cutter: Cutter) -> tuple[Tab, ...]:
    """Place the tabs on the long sides, clear of the slots and spread out evenly.

    Parameters
    ----------
    instrument, setting, cutter
        The instrument, its blank on the machine, and what cuts the outline.

    Returns
    -------
    tuple of Tab
        As many as there is room for, which may be fewer than the plan wants; none where tape holds.
    """
    stated = setting.machine.tabs
    if setting.machine.hold == "tape":
        return ()
    corners = _corners(setting)
    found: list[Tab] = []
    sides = ((corners[0], corners[1]), (corners[3], corners[2]))  # bass and treble, nut end first
    for place, (start, end) in enumerate(sides):
        length = math.hypot(*(end - start))
        along = (end - start) / length
        outward = np.array([-along[1], along[0]])
        outward *= math.copysign(1.0, float(outward @ (start - corners.mean(axis=0))))
        many = (stated.count + 1 - place) // 2
        middles = _middles(instrument, setting, cutter, (start, along, length), many)
        found += [Tab(start + middle * along, along, outward) for middle in middles]
    return tuple(found)


def _middles(
    instrument: Instrument, setting: Setting, cutter: Cutter, side: tuple[Floats, Floats, float], many: int
) -> list[float]:
    """Choose where along one side tabs stand [mm]."""
    start, along, length = side
    stated = setting.machine.tabs
    half = stated.length / 2
    crossings = [_crossing(line, start, along) for line in slot_ends(instrument)]
    width = instrument.plan.frets.slot_width / 2
    barred = [(place - width - CLEAR_OF_SLOTS - half, place + width + CLEAR_OF_SLOTS + half) for place in crossings]
    # Nor at the ends, where the tip comes round the corner.
    margin = half + cutter.diameter / 2
    apart = stated.length + cutter.diameter + 2 * (stated.height + setting.machine.spoil_depth) / TAB_SLOPE + _BETWEEN
    chosen: list[float] = []
    for number in range(many):
        target = (number + 0.5) / many * length
        bars = [*barred, *((place - apart, place + apart) for place in chosen)]
        free = _free(bars, margin, length - margin)
        if free:
            chosen.append(min((min(max(target, low), high) for low, high in free), key=lambda x: abs(x - target)))
    return sorted(chosen)


def _free(barred: list[tuple[float, float]], low: float, high: float) -> list[tuple[float, float]]:
    """Give the stretches between two places that nothing bars."""
    found, here = [], low
    for begin, end in sorted(barred):
        if begin > here:
            found.append((here, min(begin, high)))
        here = max(here, end)
        if here >= high:
            break
    if here < high:
        found.append((here, high))
    return [(begin, end) for begin, end in found if end > begin]


def _crossing(line: Floats, start: Floats, along: Floats) -> float:
    """Give where a slot crosses a side, from the start of that [mm]."""
    way = line[1] - line[0]
    turn = along[0] * way[1] - along[1] * way[0]
    off = line[0] - start
    return float((off[0] * way[1] - off[1] * way[0]) / turn)


def _corners(setting: Setting) -> Floats:
    """Give the corners of the part as they were laid [mm], shape (4, 2)."""
    return np.asarray(setting.part.exterior.coords)[:4]


def ring(setting: Setting, off: float) -> Floats:
    """Give the closed line at a distance outside the part, from the middle of its nut end on, clockwise.

    With the part on its right a cutter that turns clockwise climbs.

    Parameters
    ----------
    setting
        The blank on the machine.
    off
        Distance from the part [mm].

    Returns
    -------
    ndarray, shape (n, 2)
        Corners, the last the first [mm].
    """
    wide = setting.part.buffer(off, join_style="mitre", mitre_limit=10.0)
    corners = np.asarray(shapely.geometry.polygon.orient(wide, sign=-1.0).exterior.coords)[:-1]
    nut_end = _corners(setting)[[0, 3]].mean(axis=0)
    sides = np.stack((corners, np.roll(corners, -1, axis=0)), axis=1)
    nearest = int(np.argmin(distance(sides.mean(axis=1), nut_end[None, :])))
    begin = sides[nearest].mean(axis=0)
    return np.vstack((begin, np.roll(corners, -nearest - 1, axis=0), begin))


def runs(instrument: Instrument, setting: Setting, cutter: Cutter) -> Iterator[Run]:
    """Cut the outline through: layers a little off it, going round without a stop, then the last pass.

    Parameters
    ----------
    instrument, setting, cutter
        The instrument, its blank on the machine, and what cuts.
    """
    held = tabs(instrument, setting, cutter)
    bottom = -setting.machine.spoil_depth
    rough = _Round(setting, cutter, held, min(ALLOWANCE, cutter.diameter / 6))
    heights = bottom + levels(setting.thickness - bottom, cutter, rough.length / 2)
    trace, place = Trace(), 0.0
    for above, here in itertools.pairwise(heights):
        ramp = (above - here) / SLOPE
        trace.add(rough.piece(place, place + ramp, (above, here)), slow=True)
        trace.add(rough.piece(place + ramp, place + ramp + rough.length, (here, here)))
        place = (place + ramp) % rough.length
    yield trace.run("outline, a little off")
    fine = _Round(setting, cutter, held, 0.0)
    trace = Trace()
    # In and out of the wood sideways, where the passes before have cleared it to the bottom.
    trace.add(rough.piece(0.0, ROUNDING, (bottom, bottom))[:1])
    lead = min(_LEAD, fine.first / 4)
    trace.add(fine.piece(lead, lead + fine.length + lead, (bottom, bottom)))
    trace.add(rough.piece(3 * lead, 3 * lead + ROUNDING, (bottom, bottom))[:1])
    yield trace.run("outline, last pass")


class _Round:
    """A way round the part that lifts the tip over the tabs."""

    def __init__(self, setting: Setting, cutter: Cutter, held: tuple[Tab, ...], allowance: float) -> None:
        corners = ring(setting, cutter.diameter / 2 + allowance)
        twice = np.vstack((corners, corners[1:], corners[1:]))
        self._path = Path(np.column_stack((twice, np.zeros(len(twice)))))
        self.length = self._path.length / 3
        self.first = math.hypot(*(corners[1] - corners[0]))  # as far as it is straight
        self._height = setting.machine.tabs.height
        flat = (setting.machine.tabs.length + cutter.diameter) / 2
        line = shapely.LineString(corners)
        middles = [line.project(shapely.Point(*(tab.middle + tab.outward * cutter.diameter / 2))) for tab in held]
        self._tabs = [(middle + turn * self.length, flat) for turn in range(3) for middle in middles]

    def piece(self, begin: float, end: float, heights: tuple[float, float]) -> Floats:
        """Give points from one place to another, at heights that change evenly but never below the tabs [mm]."""
        points = self._path.piece(begin, end, heights)
        if not self._tabs or min(heights) >= self._height:
            return points
        along = begin + Path(points).along
        feet = (self._height - min(heights)) / TAB_SLOPE + 0.01  # where its ramps lie below every level of this piece
        knees = [m + s * d for m, flat in self._tabs for d in (flat, flat + feet) for s in (-1.0, 1.0)]
        places = in_turn(along, [k for k in knees if begin < k < end])
        low, high = np.interp(places, along, points[:, 2]), self._lift(places)
        # Where the tip leaves its level for the ramp of a tab, or comes back to it.
        gap = high - low
        meets = np.flatnonzero(gap[:-1] * gap[1:] < 0)
        crossings = places[meets] + gap[meets] / (gap[meets] - gap[meets + 1]) * np.diff(places)[meets]
        places = in_turn(places, crossings)
        z = np.maximum(np.interp(places, along, points[:, 2]), self._lift(places))
        return np.column_stack((np.interp(places, along, points[:, 0]), np.interp(places, along, points[:, 1]), z))

    def _lift(self, places: Floats) -> Floats:
        """Give the height below which a tip would cut into a tab [mm]."""
        off: Floats = np.min([np.maximum(np.abs(places - middle) - flat, 0.0) for middle, flat in self._tabs], axis=0)
        lift: Floats = self._height - TAB_SLOPE * off
        return lift
