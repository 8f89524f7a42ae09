"""What the board shall look like when all is cut: places on it, and how low and high the wood may end there."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely

from slotwright.layout.instrument.lines import lengthened
from slotwright.layout.instrument.neck import mark_centres
from slotwright.layout.machine import pockets
from slotwright.layout.machine.heights import over
from slotwright.layout.machine.outline import TAB_SLOPE
from slotwright.layout.machine.setting import DOWEL_DEPTH
from slotwright.layout.machine.slots import slot_ends
from slotwright.layout.units import ROUNDING

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from slotwright.layout.instrument.instrument import Instrument
    from slotwright.layout.machine.jobs import Milling
    from slotwright.layout.machine.setting import Setting
    from slotwright.layout.plan.machine import Cutter

    Floats = NDArray[np.float64]
    Flags = NDArray[np.bool_]

_MOST_PLACES: Final = 400  # of one patch
_MOST_CELLS: Final = 400_000  # of the grid over the whole blank
_ALONG: Final = 0.5  # mm between places along a slot or an edge
_ROUND: Final = 24  # places round a hole


@dataclass(frozen=True, slots=True, eq=False)
class Patch:
    """Some places near each other, and what is wanted there.

    Parameters
    ----------
    operation, words
        What shapes them, and of which thing they are.
    places
        Where [mm], shape (n, 2).
    before
        Height of the wood before anything is cut [mm], shape (n,); ``-inf`` beside the blank.
    low, high
        How low and how high it may end [mm], shape (n,).
    wanted
        What it should be [mm], shape (n,); NaN where only the limits count.
    inside, through
        Which of them lie in the board, and which where the outline goes right through, shape (n,).
    """

    operation: str
    words: str
    places: Floats
    before: Floats
    low: Floats
    high: Floats
    wanted: Floats
    inside: Flags
    through: Flags

    @property
    def box(self) -> tuple[float, float, float, float]:
        """What they cover: left, low, right, high [mm]."""
        (left, low), (right, high) = self.places.min(axis=0), self.places.max(axis=0)
        return float(left), float(low), float(right), float(high)


class Wanted:
    """The board as it is to be, by place.

    Parameters
    ----------
    instrument, milling
        The instrument and how it is milled.
    """

    def __init__(self, instrument: Instrument, milling: Milling) -> None:
        self._instrument, self._milling = instrument, milling
        self._setting: Setting = milling.setting
        self._cutters = {work.operation: job.cutter for job in milling.jobs for work in job.works}
        self._near = self._setting.machine.tolerance
        self._off = 2 * self._near  # chords and the width of a tip on a curve together
        self._ends = slot_ends(instrument)
        self._slot_boxes = np.hstack(
            (self._ends.min(axis=1) - 2.0, self._ends.max(axis=1) + 2.0)
        )  # with room to spare
        self._marks = mark_centres(self._setting.plan, self._setting.neck)
        self._board = self._setting.part.buffer(-self._near / 2, join_style="mitre")  # what lies on its edge is waste
        groove = pockets.groove(self._setting)
        self._groove = None if groove is None else shapely.Polygon(groove)

    def patches(self) -> list[Patch]:
        """Give all places that are looked at."""
        found = list(self._grid())
        for operation, patches in (
            ("slots", self._slots), ("marks", self._round_marks), ("pockets", self._groove_walls),
            ("holes", self._dowels), ("outline", self._edges),
        ):  # fmt: skip
            if operation in self._cutters:
                found += [part for patch in patches(self._cutters[operation]) for part in _parted(patch)]
        return found

    def _surface(self, x: Floats, y: Floats) -> tuple[Floats, Floats, Floats]:
        """Give the board's own surface, and how low and high it may end [mm]."""
        top = self._setting.top(x, y, surfaced=True)
        ridge = self._setting.scallop
        return top, top - self._off, top + ridge + self._off

    def _limits(self, x: Floats, y: Floats) -> tuple[Floats, Floats, Floats, Flags]:
        """Give the limits anywhere: what is wanted, low, high, and which places lie in the board."""
        machine = self._setting.machine
        wanted, low, high = self._surface(x, y)
        inside = shapely.contains_xy(self._board, x, y)
        if "surface" not in self._cutters:
            wanted[:] = np.nan
        waste = ~inside
        wanted[waste], low[waste], high[waste] = np.nan, -machine.spoil_depth - self._off, np.inf
        for cut, floor in self._cuts(x, y):
            deeper = cut & (floor - self._off < low)
            low[deeper], high[cut], wanted[cut] = (floor - self._off)[deeper], np.inf, np.nan
        for hole_x, hole_y, across in machine.dowels if "holes" in self._cutters else ():
            low[np.hypot(x - hole_x, y - hole_y) <= across / 2 + self._near] = -DOWEL_DEPTH - self._off
        return wanted, low, high, inside

    def _cuts(self, x: Floats, y: Floats) -> Iterator[tuple[Flags, Floats]]:
        """Yield where something is cut into the board, and down to what height [mm]."""
        setting = self._setting
        if "slots" in self._cutters:
            half = (self._cutters["slots"].diameter + self._near) / 2
            cut = np.zeros(x.shape, dtype=np.bool_)
            box = float(x.min()), float(y.min()), float(x.max()), float(y.max())
            for line in self._ends[over(self._slot_boxes, box)]:
                along, across, length = _beside(line, x, y)
                cut |= (np.abs(across) <= half) & (along >= -self._near) & (along <= length + self._near)
            yield cut, setting.finished(x, y) - self._instrument.sawing.depth
        if "marks" in self._cutters:
            reach = (setting.plan.board.mark_diameter + pockets.MARK_PLAY) / 2 + self._near
            for _, mark_x, mark_y in self._marks:
                cut = np.hypot(x - mark_x, y - mark_y) <= reach
                yield cut, np.full(x.shape, pockets.mark_floor(setting, mark_x, mark_y))
        if "pockets" in self._cutters and self._groove is not None:
            cut = shapely.contains_xy(self._groove.buffer(self._near), x, y)
            yield cut, np.full(x.shape, pockets.groove_floor(setting))

    def _patch(self, operation: str, words: str, places: Floats, **changes: Floats) -> Patch:
        """Make a patch of places, with other limits than those that hold anywhere where such are given."""
        x, y = places.T
        wanted, low, high, inside = self._limits(x, y)
        before = np.where(self._setting.in_stock(x, y), self._setting.top(x, y, surfaced=False), -np.inf)
        stated = {"wanted": wanted, "low": low, "high": high}
        for key, values in changes.items():
            # NaN leaves what holds anywhere; a wanted height counts as it stands.
            stated[key] = values if key == "wanted" else np.where(np.isnan(values), stated[key], values)
        if operation in ("slots", "marks", "pockets"):
            # Where two of them lie over each other the deeper one counts.
            deeper = low < stated["low"] - ROUNDING
            stated["low"] = np.minimum(stated["low"], low)
            stated["wanted"] = np.where(deeper, np.nan, stated["wanted"])
        through = np.zeros(len(x), dtype=np.bool_)
        return Patch(operation, words, places, before, inside=inside, through=through, **stated)

    def _grid(self) -> Iterator[Patch]:
        """Cover the whole blank, so close that no cut is missed."""
        left, low, right, high = self._setting.stock
        thinnest = min(cutter.diameter for cutter in self._cutters.values())
        step = min(0.7 * thinnest, 0.5)
        step = max(step, math.sqrt((right - left) * (high - low) / _MOST_CELLS))
        side = step * math.floor(math.sqrt(_MOST_PLACES))
        for x in np.arange(left, right, side):
            for y in np.arange(low, high, side):
                across = np.arange(x, min(x + side - step / 2, right), step)
                up = np.arange(y, min(y + side - step / 2, high), step)
                places = np.stack(np.meshgrid(across, up, indexing="ij"), axis=-1).reshape(-1, 2)
                if len(places):
                    yield self._patch("surface", "the board", places)

    def _slots(self, cutter: Cutter) -> Iterator[Patch]:
        """Look into every slot, and at the wood on both sides of it."""
        half, near, plan = cutter.diameter / 2, self._near, self._setting.plan
        blind, board = plan.frets.slot_inset > 0, self._setting.part.buffer(-near)
        numbers = range(self._instrument.first_slot, plan.frets.count + 1)
        in_board = lengthened(self._instrument.neck.slots[self._instrument.first_slot :], -near)
        for number, ends, whole in zip(numbers, in_board, self._ends, strict=True):
            line = lengthened(ends[None], -half)[0] if blind else ends
            length = math.hypot(*(line[1] - line[0]))
            along = np.linspace(0.0, length, max(math.ceil(length / (0.74 * _ALONG)), 2))
            aside = np.array([-half - near, -half + near, -half / 2, 0.0, half / 2, half - near, half + near])
            places, off = _grid_on(line, along, aside), np.tile(np.abs(aside), len(along))
            # The ends of a slanted one lie partly beside the board.
            there = shapely.contains_xy(board, *places.T)
            places, off = places[there], off[there]
            cut = off < half
            # Beside its middle a flat tip reaches less far out, and leaves the floor as high as it is further in.
            lean, rise = np.abs(line[1] - line[0]) / length
            short = half + lean * off - rise * np.sqrt(np.maximum(half**2 - off**2, 0.0))
            if blind:  # nor does it come nearer to the ends
                way = np.repeat(along, len(aside))[there]
                short[(way < half) | (way > length - half)] = (1 + lean) * half
            x, y = places.T
            floor = self._setting.finished(x, y) - self._instrument.sawing.depth
            inner = self._setting.finished(x, np.maximum(np.abs(y) - short, 0.0)) - self._instrument.sawing.depth
            wanted = np.where(short < 0.2 * half, floor, np.nan)
            low = np.where(cut, floor, np.nan) - self._off
            high = np.where(cut, inner, np.nan) + self._off
            words = f"slot of fret {number}"
            yield self._patch("slots", words, places, wanted=wanted, low=low, high=high)
            if blind:  # and at the wood before both its ends
                yield self._patch("slots", words, lengthened(whole[None], 2 * near)[0], wanted=np.full(2, np.nan))

    def _round_marks(self, cutter: Cutter) -> Iterator[Patch]:
        """Look into every hole for a position mark, and at the wood round it."""
        del cutter
        half = (self._setting.plan.board.mark_diameter + pockets.MARK_PLAY) / 2
        for fret, x, y in self._marks:
            rings = (0.0, half / 3, 2 * half / 3, half - self._near, half + 2 * self._near)
            places, cut = _rings(x, y, rings), np.repeat([True] * 4 + [False], _ROUND)
            wanted = np.where(cut, pockets.mark_floor(self._setting, x, y), np.nan)
            low, high = wanted - self._off, wanted + self._off
            yield self._patch("marks", f"mark at fret {fret}", places, wanted=wanted, low=low, high=high)

    def _dowels(self, cutter: Cutter) -> Iterator[Patch]:
        """Look into every hole of a dowel."""
        del cutter
        for number, (x, y, across) in enumerate(self._setting.machine.dowels, start=1):
            places = _rings(x, y, (0.0, across / 4, across / 2 - self._near))
            wanted = np.full(len(places), -DOWEL_DEPTH)
            low, high = wanted - self._off, wanted + self._off
            yield self._patch("holes", f"dowel {number}", places, wanted=wanted, low=low, high=high)

    def _groove_walls(self, cutter: Cutter) -> Iterator[Patch]:
        """Look along both walls of the nut's groove and at its floor."""
        del cutter
        corners = pockets.groove(self._setting)
        if corners is None or self._groove is None:
            return
        for wall in (corners[[0, 1]], corners[[3, 2]]):
            line = lengthened(wall[None], -2 * self._near)[0]
            length = math.hypot(*(line[1] - line[0]))
            along = np.linspace(0.0, length, max(math.ceil(length / _ALONG), 2))
            reach = min(self._groove.bounds[2] - self._groove.bounds[0], 1.0) / 2
            aside = np.array([-reach, -2 * self._near, 2 * self._near, reach])
            places = _grid_on(line, along, aside)
            cut = shapely.contains_xy(self._groove, *places.T)
            wanted = np.where(cut, pockets.groove_floor(self._setting), np.nan)
            low, high = wanted - self._off, wanted + self._off
            yield self._patch("pockets", "groove of the nut", places, wanted=wanted, low=low, high=high)

    def _edges(self, cutter: Cutter) -> Iterator[Patch]:
        """Look along the outline: at the wood that stands, at the cut beside it, at the tabs."""
        machine, near, radius = self._setting.machine, self._near, cutter.diameter / 2
        corners = np.asarray(self._setting.part.exterior.coords)[:4]
        middle = corners.mean(axis=0)
        for start, end, name in zip(
            corners, np.roll(corners, -1, axis=0), ("bass side", "far end", "treble side", "nut end"), strict=True
        ):
            length = math.hypot(*(end - start))
            unit = (end - start) / length
            along = np.linspace(2 * near, length - 2 * near, max(math.ceil(length / _ALONG), 2))
            outward = np.array([-unit[1], unit[0]])
            outward *= math.copysign(1.0, float(outward @ (start - middle)))
            aside = np.array([-near, near, radius])
            places = (start + along[:, None] * unit)[:, None, :] + aside[:, None] * outward
            places = places.reshape(-1, 2)
            off = np.tile(aside, len(along))
            out = off > 0
            wanted = np.where(out, -machine.spoil_depth, np.nan)
            low, high = wanted - self._off, wanted + self._off
            for tab in self._milling.tabs:
                away = places - tab.middle
                beside = np.abs(away @ tab.outward) <= 2 * radius
                apart = np.where(beside, np.abs(away @ tab.along), np.inf)
                at_tab = out & (apart <= machine.tabs.length / 2)
                near_tab = out & (apart <= machine.tabs.length / 2 + cutter.diameter + self._tab_reach())
                wanted[near_tab], high[near_tab] = np.nan, machine.tabs.height + self._off
                low[at_tab] = machine.tabs.height - self._off
            patch = self._patch("outline", name, places, wanted=wanted, low=low, high=high)
            patch.through[:] = out & ~np.isnan(wanted)
            yield patch

    def _tab_reach(self) -> float:
        """Give how far the ramps of a tab reach [mm]."""
        return (self._setting.machine.tabs.height + self._setting.machine.spoil_depth) / TAB_SLOPE


def _beside(line: Floats, x: Floats, y: Floats) -> tuple[Floats, Floats, float]:
    """Give how far places lie along a line and off it, and its length [mm]."""
    length = math.hypot(*(line[1] - line[0]))
    unit = (line[1] - line[0]) / length
    off_x, off_y = x - line[0, 0], y - line[0, 1]
    return off_x * unit[0] + off_y * unit[1], off_y * unit[0] - off_x * unit[1], length


def _grid_on(line: Floats, along: Floats, aside: Floats) -> Floats:
    """Give places along a line and off it, shape (along x aside, 2) [mm]."""
    unit = (line[1] - line[0]) / math.hypot(*(line[1] - line[0]))
    normal = np.array([-unit[1], unit[0]])
    places = (line[0] + along[:, None] * unit)[:, None, :] + aside[:, None] * normal
    grid: Floats = places.reshape(-1, 2)
    return grid


def _rings(x: float, y: float, radii: tuple[float, ...]) -> Floats:
    """Give places on circles about a point, shape (radii x places round, 2) [mm]."""
    turn = 2 * math.pi * np.arange(_ROUND) / _ROUND
    round_it = np.stack((np.cos(turn), np.sin(turn)), axis=-1)
    places: Floats = np.array([x, y]) + (np.asarray(radii)[:, None, None] * round_it).reshape(-1, 2)
    return places


def _parted(patch: Patch) -> Iterator[Patch]:
    """Cut a long patch into pieces whose places lie near each other."""
    for begin in range(0, len(patch.places), _MOST_PLACES):
        part = slice(begin, begin + _MOST_PLACES)
        yield Patch(
            patch.operation, patch.words, patch.places[part], patch.before[part], patch.low[part], patch.high[part],
            patch.wanted[part], patch.inside[part], patch.through[part],
        )  # fmt: skip
