"""A map of heights: how low the tip of a cutter has come over each of many places.

The places need not lie on a grid, so that a few of them tell where an edge is to a thousandth of a
millimetre. What is under a straight move is known exactly: nothing is stamped in steps.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

_LEAST: Final = 1e-12


@dataclass(frozen=True, slots=True, eq=False)
class Moves:
    """Straight moves of a tip, one after the other.

    Parameters
    ----------
    start, end
        Where they begin and end [mm], shape (n, 3).
    radius
        Radius of the cutter of each [mm], shape (n,).
    ball
        Whether its end is a ball, shape (n,).
    """

    start: Floats
    end: Floats
    radius: Floats
    ball: NDArray[np.bool_]

    @property
    def boxes(self) -> Floats:
        """What each of them comes over: left, low, right, high [mm], shape (n, 4)."""
        low = np.minimum(self.start[:, :2], self.end[:, :2]) - self.radius[:, None]
        high = np.maximum(self.start[:, :2], self.end[:, :2]) + self.radius[:, None]
        return np.hstack((low, high))

    def __getitem__(self, which: NDArray[np.int64]) -> Moves:
        """Give some of them."""
        return Moves(self.start[which], self.end[which], self.radius[which], self.ball[which])


@dataclass(frozen=True, slots=True, eq=False)
class Swept:
    """What moves do to the wood under some places.

    Parameters
    ----------
    bottom
        Lowest that each move comes over each place [mm], shape (moves, places); ``inf`` where it does not come.
    aside
        How far its axis stays off the place, as a part of its radius; ``inf`` where it does not come.
    """

    bottom: Floats
    aside: Floats


def swept(moves: Moves, places: Floats) -> Swept:
    """Find how low each move comes over each place.

    A flat tip is over a place while its axis is within its radius; a ball reaches its lowest where its
    slope is that of the move.

    Parameters
    ----------
    moves
        The moves.
    places
        Places [mm], shape (n, 2).
    """
    way = moves.end - moves.start
    flat = np.hypot(way[:, 0], way[:, 1])
    upright = flat < _LEAST
    length = np.where(upright, 1.0, flat)
    along_x = np.where(upright, 1.0, way[:, 0] / length)[:, None]
    along_y = np.where(upright, 0.0, way[:, 1] / length)[:, None]
    off_x = places[None, :, 0] - moves.start[:, None, 0]
    off_y = places[None, :, 1] - moves.start[:, None, 1]
    along = off_x * along_x + off_y * along_y
    across = off_y * along_x - off_x * along_y
    far = np.where(upright, 0.0, flat)
    radius = moves.radius[:, None]
    bottom, aside = np.full(along.shape, np.inf), np.full(along.shape, np.inf)
    near = np.nonzero((np.abs(across) <= radius) & (along >= -radius) & (along <= far[:, None] + radius))
    along, across, move = along[near], across[near], near[0]
    radius, slope = moves.radius[move], np.where(upright, 0.0, way[:, 2] / length)[move]
    room = np.maximum(radius**2 - across**2, 0.0)
    half = np.sqrt(room)
    # Where on its way the axis is over the place: [low, high], counted from beside it.
    low, high = np.maximum(-along, -half), np.minimum(far[move] - along, half)
    ball_at = np.clip(-half * slope / np.sqrt(1 + slope**2), low, high)
    at = np.where(moves.ball[move], ball_at, np.where(slope > 0, low, high))
    up = np.where(moves.ball[move], radius - np.sqrt(np.maximum(room - at**2, 0.0)), 0.0)
    lowest = np.minimum(moves.start[move, 2], moves.end[move, 2])
    height = np.where(upright[move], lowest, moves.start[move, 2] + slope * (along + at)) + up
    bottom[near] = np.where(low <= high, height, np.inf)
    aside[near] = np.hypot(across, np.clip(0.0, -along, far[move] - along)) / radius
    return Swept(bottom, aside)


def over(boxes: Floats, box: tuple[float, float, float, float]) -> NDArray[np.int64]:
    """Give which of some boxes (n, 4) meet one: left, low, right, high [mm]."""
    left, low, right, high = box
    return np.flatnonzero(
        (boxes[:, 0] <= right) & (boxes[:, 2] >= left) & (boxes[:, 1] <= high) & (boxes[:, 3] >= low)
    )
