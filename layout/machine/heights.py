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

    def over(self, box: tuple[float, float, float, float]) -> NDArray[np.int64]:
        """Give which of them come over a box: left, low, right, high [mm]."""
        low = np.minimum(self.start[:, :2], self.end[:, :2]) - self.radius[:, None]
        high = np.maximum(self.start[:, :2], self.end[:, :2]) + self.radius[:, None]
        left, bottom, right, top = box
        return np.flatnonzero(
            (low[:, 0] <= right) & (high[:, 0] >= left) & (low[:, 1] <= top) & (high[:, 1] >= bottom)
        )

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
        How far its axis stays off the place, as a part of its radius, of the same shape.
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
    along_x, along_y = (np.where(upright, axis, way[:, k] / length) for k, axis in ((0, 1.0), (1, 0.0)))
    rise = np.where(upright, 0.0, way[:, 2] / length)
    off_x = places[None, :, 0] - moves.start[:, None, 0]
    off_y = places[None, :, 1] - moves.start[:, None, 1]
    along = off_x * along_x[:, None] + off_y * along_y[:, None]
    across = off_y * along_x[:, None] - off_x * along_y[:, None]
    far = np.where(upright, 0.0, flat)[:, None]
    radius = moves.radius[:, None]
    room = radius**2 - across**2
    half = np.sqrt(np.maximum(room, 0.0))
    # Where on its way the axis is over the place: [low, high], counted from beside it.
    low, high = np.maximum(-along, -half), np.minimum(far - along, half)
    reached = (room >= 0) & (low <= high)
    slope = rise[:, None]
    flat_at = np.where(slope > 0, low, high)
    ball_at = np.clip(-half * slope / np.sqrt(1 + slope**2), low, high)
    at = np.where(moves.ball[:, None], ball_at, flat_at)
    height = moves.start[:, None, 2] + slope * (along + at)
    lowest = np.minimum(moves.start[:, 2], moves.end[:, 2])[:, None]
    height = np.where(upright[:, None], lowest, height)
    ball_up = radius - np.sqrt(np.maximum(room - at**2, 0.0))
    height = height + np.where(moves.ball[:, None], ball_up, 0.0)
    nearest = np.hypot(across, np.clip(0.0, -along, far - along))
    return Swept(np.where(reached, height, np.inf), nearest / radius)
