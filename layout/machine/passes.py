"""Passes: how a path is cut, layer below layer, with every descent a ramp."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Final

import numpy as np

from slotwright.layout.units import ROUNDING

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from slotwright.layout.plan.machine import Cutter

    Floats = NDArray[np.float64]

SLOPE: Final = 0.05  # of a ramp into wood, some 3 degrees; common practice, no source


@dataclass(frozen=True, slots=True, eq=False)
class Run:
    """What is cut without leaving the wood: travel to its first point, down, along, up again.

    Parameters
    ----------
    words
        What it cuts, for a comment.
    points
        Places of the tip [mm], shape (n, 3).
    slow
        Which of the moves between them descend into wood, shape (n - 1,).
    """

    words: str
    points: Floats
    slow: NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Path:
    """A line along which a tip moves.

    Parameters
    ----------
    points
        Places [mm], shape (n, 3); a closed one ends where it begins.
    """

    points: Floats

    @cached_property  # asked for by every pass
    def along(self) -> Floats:
        """Way from its beginning to each of its points, seen from above [mm]."""
        return np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(self.points[:, :2], axis=0).T))))

    @property
    def length(self) -> float:
        """Its length, seen from above [mm]."""
        return float(self.along[-1])

    def piece(self, begin: float, end: float, lift: tuple[float, float]) -> Floats:
        """Give the points from one place along it to another, lifted evenly from one height to another [mm]."""
        along = self.along
        low, high = sorted((begin, end))
        inside = along[(along > low + ROUNDING) & (along < high - ROUNDING)]
        places = np.concatenate(([low], inside, [high]))
        if begin > end:
            places = places[::-1]
        points = np.column_stack([np.interp(places, along, self.points[:, axis]) for axis in range(3)])
        points[:, 2] += np.interp(np.abs(places - begin), [0.0, high - low], lift)
        return points


class Trace:
    """Collects the points of a run."""

    def __init__(self) -> None:
        self._points: list[list[float]] = []
        self._slow: list[bool] = []

    def add(self, points: Floats, *, slow: bool = False) -> None:
        """Go on through points; the first may be where the last ended."""
        here = self._points[-1] if self._points else None
        for point in points.tolist():  # plain numbers: arrays of three are slow
            if here is None or any(abs(now - was) > ROUNDING for now, was in zip(point, here, strict=True)):
                if here is not None:
                    self._slow.append(slow)
                self._points.append(point)
                here = point

    def run(self, words: str) -> Run:
        """Give all of it as one run."""
        return Run(words, np.array(self._points), np.array(self._slow, dtype=np.bool_))


def in_turn(*places: Floats | Sequence[float]) -> Floats:
    """Put places along a path in their order, each once."""
    return np.array(sorted({float(place) for some in places for place in some}))


def step_of(cutter: Cutter) -> float:
    """Give the largest depth of one pass [mm]."""
    return float(cutter.step_down or cutter.diameter / 2)


def levels(deep: float, cutter: Cutter, length: float, *, slope: float = SLOPE) -> Floats:
    """Share a depth out over passes: no step deeper than stated, none longer to ramp down than its path is.

    Parameters
    ----------
    deep
        The whole depth [mm].
    cutter
        The cutter.
    length
        Length of the path [mm].
    slope
        Of its ramps.

    Returns
    -------
    ndarray
        Heights above the last pass, from the whole depth down to 0 [mm].
    """
    count = max(math.ceil(deep / min(step_of(cutter), slope * length) - 1e-6), 1)
    return np.linspace(deep, 0.0, count + 1)


def to_and_fro(path: Path, lifts: Sequence[float] | Floats, words: str) -> Run:
    """Cut along a path to and fro, each way one step deeper.

    A ramp cut on the way out leaves a wedge that would be twice as deep on the way back. So the tip
    returns over its ramp at the new depth before it goes on.

    Parameters
    ----------
    path
        The deepest pass.
    lifts
        Heights above it, the first that of the tip before it enters [mm].
    words
        What it cuts.
    """
    trace, length, out = Trace(), path.length, True
    for above, here in itertools.pairwise(lifts):
        ramp = min((above - here) / SLOPE, length)
        start, end, turn = (0.0, length, ramp) if out else (length, 0.0, length - ramp)
        trace.add(path.piece(start, turn, (above, here)), slow=True)
        trace.add(path.piece(turn, start, (here, here)))
        trace.add(path.piece(start, end, (here, here)))
        out = not out
    return trace.run(words)


def circle(centre: tuple[float, float], radius: float, near: float) -> Floats:
    """Give a circle as a closed line of chords, its corners on the circle.

    Parameters
    ----------
    centre, radius
        Of the circle [mm].
    near
        How far a chord may be off [mm].

    Returns
    -------
    ndarray, shape (n + 1, 2)
        Corners, climbing where the wood lies outside: anticlockwise [mm].
    """
    count = max(math.ceil(math.pi / math.acos(max(1 - near / radius, 0.0))), 12)
    turn = np.linspace(0.0, 2 * math.pi, count + 1)
    return np.column_stack((centre[0] + radius * np.cos(turn), centre[1] + radius * np.sin(turn)))


def helix(ring: Floats, top: float, bottom: float, step: float) -> Floats:
    """Wind down a closed line, then go round once at the bottom.

    Parameters
    ----------
    ring
        Corners of the line, the last the first [mm], shape (n, 2).
    top, bottom
        Heights where it begins and ends [mm].
    step
        Largest descent of one turn [mm].

    Returns
    -------
    ndarray, shape (m, 3)
        Places of the tip [mm].
    """
    way = float(np.hypot(*np.diff(ring, axis=0).T).sum())
    turns = max(math.ceil((top - bottom) / min(step, SLOPE * way) - 1e-6), 1)
    chords = len(ring) - 1
    places = ring[np.arange(turns * chords + chords + 1) % chords]
    heights = np.concatenate((np.linspace(top, bottom, turns * chords + 1), np.full(chords, bottom)))
    return np.column_stack((places, heights))
