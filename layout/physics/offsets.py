"""Saddle and nut offsets that serve an aim: arrays in, arrays out."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final, Literal

import numpy as np

from slotwright.layout.physics.minimax import least_largest, least_largest_of_two
from slotwright.layout.physics.pitch import errors, parts

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from slotwright.layout.physics.pitch import Fretting

    Floats = NDArray[np.float64]
    Flags = NDArray[np.bool_]

NutRule = Literal["none", "common", "per string"]
Criterion = Literal["rms", "worst"]

SADDLE_REACH: Final = (-0.02, 0.04)  # of the scale: further than any bridge goes (from memory)
NUT_REACH: Final = 1.5  # mm (from memory)

_MOST_STEPS: Final = 30  # the problem is smooth and tiny: three steps are the rule
_CLOSE: Final = 1e-10  # mm
_FURTHEST: Final = 10.0  # mm that a nut is ever moved while the steps go on
_WIDEST: Final = 500.0  # mm that a saddle is ever moved by one step, further than any
_PLACES: Final = 13  # of the nut to try where steps alone are not to be trusted


@dataclass(frozen=True, slots=True, eq=False)
class Saddles:
    """Which strings stand on one saddle, and how far the contact of each goes when it is moved.

    Strings of one saddle touch it on one straight line; its place is told by the offset of its first string.

    Parameters
    ----------
    first
        The first string (from 0) on the saddle of each string, shape (S,): itself where it has one to itself.
    start
        Offset of each string where that of the first is 0 [mm], shape (S,).
    rate
        How far it goes for each mm that the first one goes, shape (S,).
    """

    first: NDArray[np.intp]
    start: Floats
    rate: Floats

    @classmethod
    def apart(cls, strings: int) -> Saddles:
        """Give each of so many strings a saddle to itself."""
        return cls(np.arange(strings), np.zeros(strings), np.ones(strings))

    @property
    def shared(self) -> Flags:
        """True for strings that have no saddle to themselves, shape (S,)."""
        flags: Flags = self._same.sum(axis=1) > 1
        return flags

    def others(self, string: int) -> list[int]:
        """Name the strings (from 0) on the saddle of one of them (from 0)."""
        return [int(other) for other in np.flatnonzero(self.first == self.first[string]) if other != string]

    @property
    def groups(self) -> list[list[int]]:
        """Strings (from 0) of every saddle that more than one stands on."""
        return [[i, *self.others(i)] for i in np.flatnonzero(self.shared).tolist() if self.first[i] == i]

    def at(self, place: Floats) -> Floats:
        """Give the offsets where each string's saddle is at a place, shape (..., S) [mm]."""
        return self.start + self.rate * place

    def place(self, offsets: Floats) -> Floats:
        """Give the place of each string's saddle, shape (..., S) [mm]."""
        return offsets[..., self.first]

    def sum(self, each: Floats) -> Floats:
        """Add up what the strings of each saddle have, shape (..., S)."""
        return each @ self._same.astype(np.float64)

    def most(self, each: Floats) -> Floats:
        """Give the most that a string of each saddle has, shape (..., S)."""
        most: Floats = np.where(self._same, each[..., None, :], -np.inf).max(axis=-1)
        return most

    @property
    def _same(self) -> Flags:
        same: Flags = self.first[:, None] == self.first
        return same


@dataclass(frozen=True, slots=True)
class Offsets:
    """Where the contacts belong.

    Parameters
    ----------
    saddle, nut
        Offsets toward the bridge [mm], shape (..., S).
    saddle_held, nut_held
        True where the best offset lay beyond what is sensible and was held at that limit,
        shape (..., S).
    """

    saddle: Floats
    nut: Floats
    saddle_held: Flags
    nut_held: Flags


def compensate(
    fretting: Fretting,
    weights: Floats,
    *,
    nut: NutRule = "none",
    minimise: Criterion = "rms",
    rounding: float = 0.0,
    beyond: Floats | float = 0.0,
    nut_stands: Floats | float = 0.0,
    saddles: Saddles | None = None,
) -> Offsets:
    """Find the offsets that serve an aim best.

    Strings on one saddle have one contact: its place serves the frets of all of them together, as if they were
    frets of one string.

    Parameters
    ----------
    fretting
        Strings over frets. Where its tension has one axis more than its scale, the first one holds tunings: they
        share the offsets, which serve the aim in all of them together.
    weights
        Weight of each fret in the aim of each string, 0 where it has none, shape (S, F).
    nut
        ``none``: the nut stays; ``per string``: each string has its own contact there; ``common``:
        one offset for all strings.
    minimise
        ``rms``: the weighted mean square of the errors; ``worst``: the largest of them.
    rounding
        Step the shop rounds offsets to [mm]; 0 for none.
    beyond
        What was measured beyond the model's errors [cents], shape (S, F).
    nut_stands
        Where the nut contacts stand before anything is moved [mm], shape (S,).
    saddles
        Which strings share a saddle; None where none do.

    Returns
    -------
    Offsets
        Offsets [mm]. Of a shared saddle it is the offset of the first string that is rounded, and the others follow
        it. An aim that does not settle both offsets leaves the nut alone.
    """
    search = _Search(fretting, weights, nut, minimise, beyond, saddles)
    still = np.zeros(np.broadcast_shapes(fretting.scale.shape, weights.shape[:-1])) + nut_stands
    saddle, best_nut = search.steps(still)
    if nut != "none":
        saddle, best_nut = search.safe(saddle, best_nut)
    held_nut = np.clip(best_nut, -NUT_REACH, NUT_REACH)
    shop_nut = _rounded(held_nut, rounding)
    if (shop_nut != best_nut).any():
        saddle = search.saddle_at(shop_nut)  # it makes up for what the nut may not do
    saddles = search.saddles
    low, high = ((reach * fretting.scale - saddles.start) / saddles.rate for reach in SADDLE_REACH)
    place = saddles.place(saddle)
    held = np.clip(place, saddles.most(low), -saddles.most(-high))
    return Offsets(saddles.at(_rounded(held, rounding)), shop_nut, held != place, held_nut != best_nut)


@dataclass(frozen=True, slots=True)
class _Search:
    """The search for the offsets that serve an aim; parameters as of `compensate`."""

    fretting: Fretting
    weights: Floats
    nut: NutRule
    minimise: Criterion
    beyond: Floats | float = 0.0
    sharing: Saddles | None = None

    @property
    def saddles(self) -> Saddles:
        """Which strings stand on one saddle."""
        return self.sharing or Saddles.apart(self.weights.shape[-2])

    def steps(self, start: Floats, most: int = _MOST_STEPS, kept: Flags | None = None) -> tuple[Floats, Floats]:
        """Step from a place of the nut until both offsets stand still: each step solves the problem made linear.

        A nut that is `kept` stays where it is.
        """
        weights, saddles, common = self.weights, self.saddles, self.nut == "common"
        place, at_nut = np.zeros_like(start), start.copy()
        # One fret cannot settle two offsets: there the nut stays.
        aimed = (weights > 0).sum(axis=-1).astype(np.float64)
        settled = (saddles.sum(aimed) if common else aimed) > 1
        free = np.broadcast_to(settled, start.shape) & (self.nut != "none")
        free = free if kept is None else free & ~kept
        step = _square_step if self.minimise == "rms" else _worst_step
        furthest = 0.2 * self.fretting.scale.min(axis=-1, keepdims=True)
        for _ in range(most):
            saddle = saddles.at(place)
            off, jacobian = errors(self.fretting, saddle, at_nut)
            off, rows, jacobian = _in_a_row(saddle, off + self.beyond, weights, jacobian)
            slopes = saddles.rate[:, None] * jacobian[..., 0], jacobian[..., 1]
            move, move_nut = step(off, slopes, rows, free, saddles, common=common)
            # Hold wild first steps inside the instrument.
            place = np.clip(place + move, -furthest, furthest)
            at_nut = np.clip(at_nut + move_nut, -_FURTHEST, _FURTHEST)
            if max(np.abs(move).max(), np.abs(move_nut).max()) < _CLOSE:
                break
        return saddles.at(place), at_nut

    def saddle_at(self, at_nut: Floats, most: int = _MOST_STEPS) -> Floats:
        """Find the best saddle while the nut stays where it is."""
        saddle, _ = replace(self, nut="none").steps(at_nut, most)
        return saddle

    def cost(self, saddle: Floats, at_nut: Floats) -> Floats:
        """Give what is to be made least: of each saddle's strings, or of all where they share the nut."""
        off, weights = _in_a_row(saddle, parts(self.fretting, saddle, at_nut).total + self.beyond, self.weights)
        each: Floats
        if self.minimise == "rms":
            each = self.saddles.sum((weights * off**2).sum(axis=-1))
            together = each.sum(axis=-1, keepdims=True)
        else:
            each = self.saddles.most(largest(off, weights))
            together = each.max(axis=-1, keepdims=True)
        return np.broadcast_to(together, each.shape) if self.nut == "common" else each

    def within(self, saddle: Floats, at_nut: Floats) -> tuple[Floats, Floats, Flags]:
        """Keep nuts that would go further than they may at the end of their reach, and let the rest make up for it.

        Where strings share a saddle, a nut that is held alters what the others want. Says also which are kept.
        """
        kept = np.abs(at_nut) > NUT_REACH
        for _ in range(at_nut.shape[-1]):
            if not kept.any():
                break
            saddle, at_nut = self.steps(np.clip(at_nut, -NUT_REACH, NUT_REACH), kept=kept)
            further = kept | (np.abs(at_nut) > NUT_REACH)
            if (further == kept).all():
                break
            kept = further
        # A hair beyond it, so that it is said to be held there.
        return saddle, np.where(kept, at_nut * (1 + 1e-9), at_nut), kept

    def safe(self, saddle: Floats, at_nut: Floats) -> tuple[Floats, Floats]:
        """Look the whole reach of the nut over where the steps led out of it, or to a place worse than none.

        With a nut far too high the errors are no longer nearly linear in its offset.
        """
        kept = np.zeros(at_nut.shape, dtype=np.bool_)
        if self.nut == "per string" and self.saddles.shared.any():
            saddle, at_nut, kept = self.within(saddle, at_nut)
        still = np.zeros_like(at_nut)
        # Two steps bring a saddle alone all but home: enough to compare with.
        unmoved = self.saddle_at(still, most=2)
        least = self.cost(unmoved, still)
        doubtful = (~kept & (np.abs(at_nut) > NUT_REACH)) | (self.cost(saddle, at_nut) > least * (1 + 1e-9))
        doubtful = self.saddles.most(doubtful.astype(np.float64)) > 0
        if not doubtful.any():
            return saddle, at_nut
        best, best_nut = unmoved, still
        for place in np.linspace(-NUT_REACH, NUT_REACH, _PLACES):
            tried_nut = np.full_like(at_nut, place)
            tried = self.saddle_at(tried_nut)
            cost = self.cost(tried, tried_nut)
            better = cost < least
            best, best_nut = np.where(better, tried, best), np.where(better, tried_nut, best_nut)
            least = np.where(better, cost, least)
        # From the best of these places the steps find the bottom, unless it lies beyond the reach.
        refined, refined_nut = self.steps(best_nut)
        inside = (np.abs(refined_nut) <= NUT_REACH) & (self.cost(refined, refined_nut) <= least)
        best, best_nut = np.where(inside, refined, best), np.where(inside, refined_nut, best_nut)
        # At the end of the reach: beyond it, so that it is said to be held there.
        best_nut = np.where(np.abs(best_nut) == NUT_REACH, best_nut * (1 + 1e-9), best_nut)
        return np.where(doubtful, best, saddle), np.where(doubtful, best_nut, at_nut)


def rms(off: Floats, weights: Floats) -> Floats:
    """Give the root of the weighted mean square error of each string, shape (..., S) [cents]."""
    mean: Floats = (weights * off**2).sum(axis=-1) / weights.sum(axis=-1)
    return np.sqrt(mean)


def worst(off: Floats, weights: Floats) -> NDArray[np.intp]:
    """Find the fret of each string's aim (as an index) whose error is largest, shape (..., S)."""
    place: NDArray[np.intp] = np.argmax(np.where(weights > 0, np.abs(off), -1.0), axis=-1)
    return place


def largest(off: Floats, weights: Floats) -> Floats:
    """Give the largest error of each string's aim, without its sign, shape (..., S) [cents]."""
    most: Floats = np.where(weights > 0, np.abs(off), 0.0).max(axis=-1)
    return most


def _rounded(offsets: Floats, step: float) -> Floats:
    # The zero added takes the sign off a rounded -0.1.
    return np.round(offsets / step) * step + 0.0 if step else offsets


def _in_a_row(saddle: Floats, off: Floats, weights: Floats, *slopes: Floats) -> tuple[Floats, ...]:
    """Lay the tunings of each string, where there are any, behind each other as if they were further frets."""
    if off.ndim == saddle.ndim + 1:
        return off, weights, *slopes
    each = (off, np.broadcast_to(weights, off.shape), *slopes)
    return tuple(np.moveaxis(v, 0, saddle.ndim).reshape(*saddle.shape, -1, *v.shape[off.ndim :]) for v in each)


def _square_step(
    off: Floats, slopes: tuple[Floats, Floats], weights: Floats, free: Flags, saddles: Saddles, *, common: bool
) -> tuple[Floats, Floats]:
    """Solve the linear least-squares problem: first what one string has to itself, then what strings share."""
    by_saddle, by_nut = slopes

    def over(one: Floats, other: Floats) -> Floats:
        total: Floats = (weights * one * other).sum(axis=-1)
        return total

    if common:
        aa, ab, ae = (saddles.sum(over(by_saddle, each)) for each in (by_saddle, by_nut, off))
        # What the saddle cannot do of each row.
        rest = by_nut - (ab / aa)[..., None] * by_saddle
        bb, be = (np.where(free, over(rest, each), 0.0).sum(axis=-1, keepdims=True) for each in (rest, off))
        move_nut = np.broadcast_to(np.divide(-be, bb, out=np.zeros_like(be), where=bb > 0), ae.shape)
        return -(ae + ab * move_nut) / aa, move_nut
    bb, ba, be = (over(by_nut, each) for each in (by_nut, by_saddle, off))
    share, own = (np.where(free, each / bb, 0.0) for each in (ba, be))
    # What the nuts cannot do of each row.
    rest = by_saddle - share[..., None] * by_nut
    move = -saddles.sum(over(rest, off)) / saddles.sum(over(rest, rest))
    return move, -(own + share * move)


def _worst_step(
    off: Floats, slopes: tuple[Floats, Floats], weights: Floats, free: Flags, saddles: Saddles, *, common: bool
) -> tuple[Floats, Floats]:
    """Solve the linear minimax problem."""
    aimed = weights > 0
    off, by_saddle, by_nut = (np.where(aimed, each, 0.0) for each in (off, *slopes))
    if not saddles.shared.any():
        if not free.any():
            return least_largest(off, by_saddle), np.zeros(off.shape[:-1])
        return least_largest_of_two(off, by_saddle, by_nut, free, 2 * _FURTHEST, common=common)
    # The strings of each saddle, filled up with ones that are never off: (..., saddles, most strings on one, frets).
    firsts, on = np.unique(saddles.first, return_inverse=True)
    nth = np.array([np.count_nonzero(on[:string] == saddle) for string, saddle in enumerate(on)])

    def gathered(each: Floats) -> Floats:
        filled = np.zeros((*each.shape[:-2], len(firsts), nth.max() + 1, each.shape[-1]))
        filled[..., on, nth, :] = each
        return filled

    off, by_saddle, by_nut = map(gathered, (off, by_saddle, by_nut))
    may = gathered(free[..., None].astype(np.float64))
    if free.any() and not common:
        # Here the saddle is what strings have in common, and the nut what each has to itself.
        real = np.broadcast_to(gathered(np.ones((len(on), 1)))[..., 0] > 0, off.shape[:-1])
        nut, place = least_largest_of_two(off, by_nut * may, by_saddle, real, _WIDEST, common=True)
        return place[..., on, nth], nut[..., on, nth]
    off, by_saddle, by_nut = (each.reshape(*each.shape[:-2], -1) for each in (off, by_saddle, by_nut))
    if not free.any():
        return least_largest(off, by_saddle)[..., on], np.zeros(free.shape)
    place, nut = least_largest_of_two(
        off, by_saddle, by_nut, may[..., 0].max(axis=-1) > 0, 2 * _FURTHEST, common=True
    )
    return place[..., on], nut[..., on]
