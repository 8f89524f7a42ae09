"""Errors in straight lines, their largest made as small as it gets: arrays in, arrays out.

Each search cuts: the largest error is nowhere below the straight lines it was found to lie on, so the next
place to look is where the best two of these meet. It ends, for the lines are finitely many.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Flags = NDArray[np.bool_]

_MOST_CUTS: Final = 200  # ten are the rule
_ALIKE: Final = 1e-13  # of what is made least: rounding


def least_largest(off: Floats, slopes: Floats) -> Floats:
    """Find the one move that makes the largest of ``|off + slopes * move|`` least.

    Parameters
    ----------
    off
        Errors, shape (..., n).
    slopes
        Their change by the move, shape (..., n); an error that does not count is 0 and has the slope 0.

    Returns
    -------
    ndarray, shape (...)
        The move; 0 where nothing changes by it.
    """
    return _between(off, slopes, np.zeros_like(slopes))[0]


def least_largest_of_two(
    off: Floats, slopes: Floats, others: Floats, free: Flags, reach: float, *, common: bool
) -> tuple[Floats, Floats]:
    """Find two moves that make the largest of ``|off + slopes * move + others * other|`` least.

    Parameters
    ----------
    off
        Errors, shape (..., S, n).
    slopes, others
        Their changes by the two moves, shape (..., S, n).
    free
        Where the other move may differ from 0, shape (..., S).
    reach
        The furthest it goes to either side.
    common
        The other move is the same for all along S; those that are not free have no say in it.

    Returns
    -------
    move, other
        Moves, shape (..., S).
    """

    def at(other: Floats) -> tuple[Floats, Floats]:
        """Give the least that can be had with the other move held, and its slope by that."""
        _, least, slope = _between(off + others * other[..., None], slopes, others)
        if common:
            worst = np.where(free, least, -1.0).argmax(axis=-1, keepdims=True)
            least, slope = (np.take_along_axis(each, worst, axis=-1) for each in (least, slope))
        return least, slope

    shape = off.shape[:-1]
    low, high = np.full(shape, -reach), np.full(shape, reach)
    (low_least, low_slope), (high_least, high_slope) = at(low), at(high)
    other = np.where(low_slope >= 0, low, high)
    open_ = (low_slope < 0) & (high_slope > 0)
    for _ in range(_MOST_CUTS):
        if not open_.any():
            break
        rise = np.where(open_, high_slope - low_slope, 1.0)
        meet = low + (high_least - low_least - high_slope * (high - low)) / -rise
        other = np.where(open_, np.clip(meet, low, high), other)
        least, slope = at(other)
        floor = low_least + low_slope * (other - low)
        open_ = open_ & (slope != 0) & (least > floor + _ALIKE * (1 + least))
        left, right = open_ & (slope < 0), open_ & (slope > 0)
        low, low_least, low_slope = (
            np.where(left, new, old) for new, old in ((other, low), (least, low_least), (slope, low_slope))
        )
        high, high_least, high_slope = (
            np.where(right, new, old) for new, old in ((other, high), (least, high_least), (slope, high_slope))
        )
    other = np.where(free.any(axis=-1, keepdims=True) if common else free, other, 0.0)
    return least_largest(off + others * other[..., None], slopes), other


def _between(off: Floats, slopes: Floats, others: Floats) -> tuple[Floats, Floats, Floats]:
    """Find the best move, the least that it leaves, and the slope of that by another move, shape (...) each."""
    shape, many = off.shape[:-1], off.shape[-1]
    off, slopes, others = (each.reshape(-1, many) for each in (off, slopes, others))
    each = np.arange(len(off))
    # Far out the steepest error is the largest on either side.
    left = right = np.abs(slopes).argmax(axis=1)
    still = slopes[each, left] == 0
    sign_left = np.where(slopes[each, left] > 0, -1.0, 1.0)
    sign_right = -sign_left
    for _ in range(_MOST_CUTS):
        fall, rise = sign_left * slopes[each, left], sign_right * slopes[each, right]
        high_left, high_right = sign_left * off[each, left], sign_right * off[each, right]
        opening = np.where(still, 1.0, rise - fall)
        move = np.where(still, 0.0, (high_left - high_right) / opening)
        errors = off + slopes * move[:, None]
        largest = np.abs(errors).argmax(axis=1)
        sign = np.where(errors[each, largest] < 0, -1.0, 1.0)
        least, slope = np.abs(errors[each, largest]), sign * slopes[each, largest]
        higher = least > high_left + fall * move + _ALIKE * (1 + least)
        to_left, to_right = higher & (slope < 0), higher & (slope > 0)
        if not (to_left | to_right).any():
            break
        left, sign_left = np.where(to_left, largest, left), np.where(to_left, sign, sign_left)
        right, sign_right = np.where(to_right, largest, right), np.where(to_right, sign, sign_right)
    # Where two lines hold the move, they share what another move does; or the largest is one it does not alter.
    share = rise / opening
    tilt = share * sign_left * others[each, left] + (1 - share) * sign_right * others[each, right]
    tilt = np.where(still | (higher & (slope == 0)), sign * others[each, largest], tilt)
    return move.reshape(shape), least.reshape(shape), tilt.reshape(shape)
