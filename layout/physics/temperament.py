"""Where the notes lie: cents of the frets and the fraction of the string that speaks."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import ArrayLike, NDArray

OCTAVE = 1200.0  # cents
CENTS_PER_NEPER = OCTAVE / float(np.log(2.0))  # a length wrong by a small part p is wrong by p times this


def steps_of_period(divisions: int, cents: Sequence[float] | None = None) -> NDArray[np.float64]:
    """Give the notes of one period of the fretting.

    Parameters
    ----------
    divisions
        Equal divisions of the octave.
    cents
        Used instead when given: ascending notes [cents], the last one the period.

    Returns
    -------
    ndarray, shape (notes,)
        Notes of one period [cents], the last one the period itself.
    """
    if cents is not None:
        return np.asarray(cents, dtype=np.float64)
    return OCTAVE * np.arange(1, divisions + 1, dtype=np.float64) / divisions


def cents_at(fret: ArrayLike, period: NDArray[np.float64]) -> NDArray[np.float64]:
    """Give the interval from the open string to any fret.

    Parameters
    ----------
    fret
        Fret numbers, shape (...); 0 is the nut, ``inf`` the saddle. Between two frets the
        interval is linear in cents.
    period
        Notes of one period [cents], as `steps_of_period` gives them.

    Returns
    -------
    ndarray, shape (...)
        Interval above the open string [cents].
    """
    number = np.asarray(fret, dtype=np.float64)
    notes = len(period)
    ladder = np.concatenate(([0.0], period))
    turns = np.floor_divide(np.where(np.isinf(number), 0.0, number), notes)
    within = np.where(np.isinf(number), 0.0, number) - turns * notes
    cents = turns * period[-1] + np.interp(within, np.arange(notes + 1), ladder)
    return np.where(np.isinf(number), np.inf, cents)


def speaking_fraction(cents: ArrayLike) -> NDArray[np.float64]:
    """Give the part of the string that sounds an interval above the open string.

    Parameters
    ----------
    cents
        Interval above the open string [cents], shape (...).

    Returns
    -------
    ndarray, shape (...)
        Speaking length over scale length: 1 at the nut, 1/2 at the octave, 0 at the saddle.
        With twelve equal divisions this is ``2**(-n/12)`` (G. Byers, "Classical guitar
        intonation", American Lutherie 47, 1996).
    """
    return np.exp2(-np.asarray(cents, dtype=np.float64) / OCTAVE)


def octave_fret(cents: NDArray[np.float64]) -> int:
    """Find the fret nearest one octave.

    Parameters
    ----------
    cents
        Intervals of frets 0, 1, ... [cents], shape (frets + 1,).

    Returns
    -------
    int
        Number of the fret, at least 1.
    """
    return int(np.argmin(np.abs(cents[1:] - OCTAVE))) + 1
