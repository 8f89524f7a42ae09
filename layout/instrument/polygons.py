"""Polygons cut by straight lines."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]


def area(corners: Floats) -> float:
    """Give what a polygon covers [mm2], its corners of shape (n, 2)."""
    x, y = np.asarray(corners).reshape(-1, 2).T
    return abs(float(x @ np.roll(y, -1) - y @ np.roll(x, -1))) / 2


def cut(corners: Floats, at: Floats, toward: Floats) -> Floats:
    """Keep what lies on one side of a line.

    Parameters
    ----------
    corners
        Of the polygon [mm], shape (n, 2).
    at
        A point of the line [mm], shape (2,).
    toward
        Square to the line, to the side that is kept, shape (2,).

    Returns
    -------
    ndarray, shape (m, 2)
        Corners of what is left; none where nothing is.
    """
    depth = (corners - at) @ toward
    kept = []
    for here, there, one, other in zip(corners, np.roll(corners, -1, axis=0), depth, np.roll(depth, -1), strict=True):
        if one >= 0:
            kept.append(here)
        if (one > 0) != (other > 0) and 0 not in (one, other):
            kept.append(here + one / (one - other) * (there - here))
    return np.array(kept).reshape(-1, 2)


def beyond(corners: Floats, cover: Floats) -> list[Floats]:
    """Give what of a polygon a convex one does not cover.

    Parameters
    ----------
    corners, cover
        Corners of both [mm], shapes (n, 2) and (m, 2).

    Returns
    -------
    list of ndarray
        Pieces side by side, together all that is left bare.
    """
    middle, pieces, rest = cover.mean(axis=0), [], corners
    for here, there in zip(cover, np.roll(cover, -1, axis=0), strict=True):
        square = np.array([here[1] - there[1], there[0] - here[0]])
        outward = square * -np.sign(square @ (middle - here))
        if len(rest) > 2 and area(piece := cut(rest, here, outward)) > 1e-9:
            pieces.append(piece)
        rest = cut(rest, here, -outward) if len(rest) > 2 else rest
    return pieces


def holds(corners: Floats, place: Floats) -> bool:
    """Tell whether a point lies inside a polygon, by the sides that a ray from it crosses."""
    x, y = place
    x0, y0 = corners.T
    x1, y1 = np.roll(corners, -1, axis=0).T
    crossed = (y0 > y) != (y1 > y)
    with np.errstate(divide="ignore", invalid="ignore"):
        ahead = x < x0 + (y - y0) / (y1 - y0) * (x1 - x0)
    return bool((crossed & ahead).sum() % 2)


def clear_of(corners: Floats, place: Floats) -> float:
    """Give how far a point lies from the nearest side of a polygon [mm]."""
    ends = np.roll(corners, -1, axis=0)
    side = ends - corners
    length = np.maximum((side**2).sum(axis=1), np.finfo(float).tiny)  # of corners named twice none
    share = np.clip(((place - corners) * side).sum(axis=1) / length, 0.0, 1.0)
    return float(np.hypot(*(corners + share[:, None] * side - place).T).min())
