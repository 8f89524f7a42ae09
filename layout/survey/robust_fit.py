"""Straight lines through readings of known scatter, a few of which may be bad."""

from __future__ import annotations

from dataclasses import dataclass, replace
from statistics import NormalDist
from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Bools = NDArray[np.bool_]
    Ints = NDArray[np.intp]

_SET_ASIDE: Final = 3  # at most one reading in so many: with more, nobody knows which are the bad ones
_ONE_MORE: Final = 9.0  # of chi-square, for a parameter more: three standard errors
_NO_ROOM: Final = 1e-9  # a reading that the fit passes through whatever it says cannot be judged


@dataclass(frozen=True, slots=True)
class Fit:
    """Least squares without the readings that were set aside.

    Parameters
    ----------
    parameters, covariance
        What was fitted, and its covariance from the known scatter; shapes (p,) and (p, p).
    residuals
        Readings less fit, shape (n,); those set aside against the fit of the others.
    spread
        Standard deviation each residual has when its reading is sound, shape (n,):
        ``sigma sqrt(1 - h)`` for those kept, ``sigma sqrt(1 + h)`` for those set aside, `h` the leverage;
        ``inf`` for a reading that cannot be judged.
    kept
        False for readings set aside, shape (n,).
    chi_square
        Sum of the squared residuals over sigma; one that was set aside counts as the limit, and so do the
        first of a line together where they are off by the same.
    together
        True for readings at the beginning of a line that are off by the same, shape (n,); all set aside.
    hint
        By how much it would lessen the chi-square to let the first readings of a line be off by the same,
        where that was not enough to do so.
    """

    parameters: Floats
    covariance: Floats
    residuals: Floats
    spread: Floats
    kept: Bools
    chi_square: float
    together: Bools
    hint: float = 0.0


def outlier_limit(readings: int, alarm: float) -> float:
    """Give the limit for studentised residuals.

    Parameters
    ----------
    readings
        How many readings are tested.
    alarm
        How often at most a set of sound readings may raise any alarm.

    Returns
    -------
    float
        Two-sided limit after Bonferroni: of `readings` standard normal values, dependent or not,
        one passes it with a probability of `alarm` at most.
    """
    return NormalDist().inv_cdf(1 - alarm / (2 * readings))


def settle(design: Floats, readings: Floats, line: Ints, sigma: float, limit: float, kept: Bools) -> Fit:
    """Fit by least squares, setting bad readings aside and taking sound ones back.

    One reading at a time is set aside while its studentised residual passes the limit, the largest
    first, or taken back while it does not. Each step lessens `Fit.chi_square`, so it comes to an end.

    Parameters
    ----------
    design
        Derivatives of each reading by each parameter, shape (n, p).
    readings
        Shape (n,).
    line
        The line each reading belongs to, from 0; at most a third of each line is set aside, and
        none of fewer than four.
    sigma
        Standard deviation of a reading.
    limit
        Limit for studentised residuals.
    kept
        Readings to begin with.

    Returns
    -------
    Fit
        Where no single step lessens the chi-square any more.
    """
    kept = kept.copy()
    room = _room(line)
    while True:
        fit = _least_squares(design, readings, sigma, limit, kept)
        off = np.abs(fit.residuals) / fit.spread
        back = np.where(kept, np.inf, off)
        if back.min() < limit:
            kept[np.argmin(back)] = True
            continue
        free = np.bincount(line[~kept], minlength=len(room)) < room
        out = np.where(kept & free[line], off, 0.0)
        if out.max() <= limit:
            return fit
        kept[np.argmax(out)] = False


def fit_lines(share: Floats, readings: Floats, line: Ints, sigma: float, limit: float) -> Fit:
    """Fit ``readings = zero + scale * share`` for each line by itself.

    Several bad readings can hide one another when all of them pull at the first fit. So the search
    begins twice, from all readings and from those near the best straight line through any two,
    and the smaller chi-square wins. The first readings of a line may be off by the same, as where the end of
    a neck was moved: together they then count as one bad reading.

    Parameters
    ----------
    share, readings, line
        What is known and what was read, and the line each belongs to; shape (n,).
    sigma, limit
        As in `settle`.

    Returns
    -------
    Fit
        With zero and scale of each line in turn as parameters.
    """
    design = line_design(share, line)
    near = np.empty(len(line), dtype=np.bool_)
    for each, room in enumerate(_room(line)):
        mine = line == each
        near[mine] = _near_best_pair(share[mine], readings[mine], sigma, limit, int(room))
    starts = [np.ones(len(line), dtype=np.bool_)]
    if not near.all():
        starts.append(near)
    fits = [settle(design, readings, line, sigma, limit, kept) for kept in starts]
    best = min(fits, key=lambda fit: fit.chi_square)
    found, hint = best, 0.0
    for gain, first in _firsts(design, readings, line, sigma, limit, best):
        hint = max(hint, gain)
        if gain > limit**2 + _ONE_MORE:
            moved = _with_first_moved(design, readings, line, sigma, limit, first)
            found = min(found, moved, key=lambda fit: fit.chi_square)
    return found if found is not best else replace(best, hint=hint)


def _firsts(
    design: Floats, readings: Floats, line: Ints, sigma: float, limit: float, best: Fit
) -> Iterator[tuple[float, Bools]]:
    """Yield for each line the first two or more readings that gain most by being off by the same, and how much."""
    for each, room in enumerate(_room(line)):
        mine = np.flatnonzero(line == each)
        tried = []
        for many in range(2, int(room) + 1):
            first = np.zeros(len(line), dtype=np.bool_)
            first[mine[:many]] = True
            moved = np.column_stack((design, first.astype(np.float64)))
            fit = _least_squares(moved, readings, sigma, limit, best.kept | first)
            tried.append((best.chi_square - fit.chi_square, first))
        if tried:
            yield max(tried, key=lambda pair: pair[0])


def _with_first_moved(design: Floats, readings: Floats, line: Ints, sigma: float, limit: float, first: Bools) -> Fit:
    """Fit with some readings off by the same: one more thing to fit, which costs as much as a bad reading."""
    every = np.ones(len(line), dtype=np.bool_)
    fit = settle(np.column_stack((design, first.astype(np.float64))), readings, line, sigma, limit, every)
    # The others alone tell where the line is; one among the first that goes with them is taken back.
    kept = fit.kept & ~first
    others = _least_squares(design, readings, sigma, limit, kept)
    sound = first & ~fit.kept & (np.abs(others.residuals) < limit * others.spread)
    if (np.bincount(line[~(kept | sound)], minlength=line.max() + 1) > _room(line)).any():
        return replace(others, chi_square=np.inf)
    others = _least_squares(design, readings, sigma, limit, kept | sound)
    return replace(others, chi_square=fit.chi_square + limit**2, together=first & ~sound)


def line_design(share: Floats, line: Ints) -> Floats:
    """Give the design matrix of `fit_lines`, shape (n, 2 * lines)."""
    mine = line[:, None] == np.arange(line.max() + 1)
    design: Floats = np.stack((mine, mine * share[:, None]), axis=-1).reshape(len(line), -1)
    return design


def _room(line: Ints) -> Ints:
    """Tell how many readings of each line may be set aside."""
    many = np.bincount(line)
    # Of three readings any one can be blamed for the same misfit.
    return np.where(many > 3, many // _SET_ASIDE, 0)


def _near_best_pair(share: Floats, readings: Floats, sigma: float, limit: float, room: int) -> Bools:
    """Find the line through two readings that most others are near to, and those that are."""
    one, other = np.triu_indices(len(share), 1)
    slope = (readings[other] - readings[one]) / (share[other] - share[one])
    off = np.abs(readings - readings[one, None] - slope[:, None] * (share - share[one, None])) / sigma
    best = off[np.argmin(np.square(np.minimum(off, limit)).sum(axis=1))]
    kept: Bools = best <= limit
    kept[np.argsort(best)[: len(best) - room]] = True
    return kept


def _least_squares(design: Floats, readings: Floats, sigma: float, limit: float, kept: Bools) -> Fit:
    used = design[kept]
    unit = np.asarray(
        np.linalg.inv(used.T @ used), dtype=np.float64
    )  # few columns, far from alike: no loss in the squares
    parameters = unit @ (used.T @ readings[kept])
    residuals = readings - design @ parameters
    leverage = ((design @ unit) * design).sum(axis=1)
    share = np.where(kept, 1 - leverage, 1 + leverage)
    spread = np.where(share > _NO_ROOM, sigma * np.sqrt(np.maximum(share, _NO_ROOM)), np.inf)
    chi_square = float(np.square(residuals[kept] / sigma).sum() + (~kept).sum() * limit**2)
    covariance: Floats = sigma**2 * unit
    return Fit(parameters, covariance, residuals, spread, kept.copy(), chi_square, np.zeros_like(kept))
