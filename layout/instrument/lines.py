"""The two kinds of straight lines a neck is built of, and where they cross."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from slotwright.layout.physics.minimax import least_largest_of_two

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Across:
    """Lines across the neck, ``x = middle + skew * y``.

    Parameters
    ----------
    middle
        Where each crosses the centre line [mm], shape (n,).
    skew
        Its lean toward the bridge per mm of y, shape (n,).
    """

    middle: Floats
    skew: Floats

    def moved(self, distance: float) -> Across:
        """Give the same lines moved along x [mm]."""
        return Across(self.middle + distance, self.skew)

    def __getitem__(self, which: int | slice) -> Across:
        """Give some of the lines."""
        return Across(np.atleast_1d(self.middle[which]), np.atleast_1d(self.skew[which]))

    def x_at(self, y: ArrayLike) -> Floats:
        """Give the x of each line at its y [mm]."""
        return self.middle + self.skew * np.asarray(y, dtype=np.float64)


@dataclass(frozen=True, slots=True)
class Along:
    """Lines along the neck, ``y = start + taper * x``.

    Parameters
    ----------
    start
        The y of each at x = 0 [mm], shape (n,).
    taper
        Its rise in y per mm of x, shape (n,).
    """

    start: Floats
    taper: Floats

    @classmethod
    def through(cls, first: Floats, second: Floats) -> Along:
        """Draw lines through pairs of points, each of shape (n, 2)."""
        taper = (second[:, 1] - first[:, 1]) / (second[:, 0] - first[:, 0])
        return cls(first[:, 1] - taper * first[:, 0], taper)

    def __getitem__(self, which: int | slice | list[int]) -> Along:
        """Give some of the lines."""
        return Along(np.atleast_1d(self.start[which]), np.atleast_1d(self.taper[which]))

    def y_at(self, x: ArrayLike) -> Floats:
        """Give the y of each line at its x [mm]."""
        return self.start + self.taper * np.asarray(x, dtype=np.float64)


def meet(across: Across, along: Along) -> Floats:
    """Cross every line across with every line along.

    Parameters
    ----------
    across, along
        n and m lines.

    Returns
    -------
    ndarray, shape (n, m, 2)
        Points [mm].
    """
    middle, skew = across.middle[:, None], across.skew[:, None]
    x = (middle + skew * along.start) / (1 - skew * along.taper)
    return np.stack((x, along.start + along.taper * x), axis=-1)


def distance(a: Floats, b: Floats) -> Floats:
    """Give the distances between points [mm], shape (..., 2)."""
    apart = a - b
    length: Floats = np.hypot(apart[..., 0], apart[..., 1])
    return length


def lengthened(lines: Floats, by: float) -> Floats:
    """Add a distance [mm], or take it off when negative, at both ends of lines (n, 2, 2); NaN where it has none."""
    along = lines[:, 1] - lines[:, 0]
    with np.errstate(invalid="ignore"):  # whoever asked refuses a slot of no length, and says why
        step = by * along / np.hypot(along[:, 0], along[:, 1])[:, None]
    return np.stack((lines[:, 0] - step, lines[:, 1] + step), axis=1)


def straight_fit(across: Floats, along: Floats) -> tuple[float, float, float]:
    """Lay a straight line through points so that the largest distance along x is least.

    Parameters
    ----------
    across, along
        y and x of the points [mm], shape (n,).

    Returns
    -------
    tuple of float
        x at y = 0 [mm], its change per mm of y, and the largest distance [mm].
    """
    if len(across) == 1:
        return float(along[0]), 0.0, 0.0
    # No line through the points leans more than the steepest that joins two of them.
    steepest = float(np.ptp(along) / np.diff(np.sort(across)).min())
    moves, leans = -np.ones(len(across)), -across
    free = np.ones((), dtype=np.bool_)
    start, lean = least_largest_of_two(along, moves, leans, free, steepest + 1.0, common=False)
    most = np.abs(along - start - lean * across).max()
    return float(start), float(lean), float(most)
