"""What a saddle leaves of an instrument's readings, held against the marks of known faults.

Every string's readings are explained by its saddle first. A pattern counts when neither chance nor
the doubts of the model explain it and it can be heard. Sizes are generalised least-squares estimates
with the covariance of the readings (A. C. Aitken, Proc. R. Soc. Edinburgh 55, 42, 1935).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from statistics import NormalDist
from typing import TYPE_CHECKING, Final, Literal

import numpy as np

from slotwright.layout.bench.calibration import PRIOR
from slotwright.layout.bench.state import LOW_FRETS, beyond_model, used_weights
from slotwright.layout.physics.pitch import errors, parts

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from numpy.typing import NDArray

    from slotwright.layout.bench.advice import Advice
    from slotwright.layout.bench.state import Readings, Setting
    from slotwright.layout.plan.plan import Plan

    Floats = NDArray[np.float64]

FALSE_ALARM: Final = 0.01  # chance that a healthy instrument raises a finding, for each kind of pattern
FEWEST: Final = 5  # readings of one string that can tell a crown or a magnet from a saddle
UPPER_FRETS: Final = 5  # from here on they should be good when only the nut is wrong
_TRIED: Final = 0.02  # mm and parts, small enough for a derivative
_MOST_STEPS: Final = 12  # each halves the miss

Kind = Literal["nut height", "nut place", "magnets", "crown"]


@dataclass(frozen=True, slots=True)
class Mark:
    """A pattern found on a string.

    Parameters
    ----------
    kind
        What it points to.
    fret
        Where; 0 for what is not of one fret.
    size
        How large: of the nut [mm], of magnets and crowns [cents].
    error
        Its standard error.
    """

    kind: Kind
    fret: int
    size: float
    error: float


class Evidence:
    """Readings of an instrument with what they are held against.

    Parameters
    ----------
    plan, setting, readings
        The instrument and what was read of it.
    """

    def __init__(self, plan: Plan, setting: Setting, readings: Readings) -> None:
        self.plan, self.setting, self.readings = plan, setting, readings
        self.beyond, self.weights = beyond_model(setting, readings), used_weights(setting, readings)
        self.tolerance = plan.compensation.tolerance
        fretting, saddle, nut = setting.fretting, readings.place, setting.nut
        here = parts(fretting, saddle, nut)
        self.slopes = errors(fretting, saddle, nut)[1]
        stretchier = replace(fretting, stretch=fretting.stretch * (1 + _TRIED))
        higher = replace(fretting, nut_height=fretting.nut_height + _TRIED)
        self.by_stretch = (parts(stretchier, saddle, nut).total - here.total) / _TRIED
        self.by_stiffness = here.stiffness
        self.by_height = (parts(higher, saddle, nut).total - here.total) / _TRIED
        strings, notes = int(readings.read.any(axis=1).sum()), int(readings.read.sum())
        # Bonferroni: the more notes are looked at, the further one of them strays by chance.
        tried = {"nut": 2 * strings, "magnets": strings, "crown": notes}
        self._limits = {kind: NormalDist().inv_cdf(1 - FALSE_ALARM / (2 * max(n, 1))) for kind, n in tried.items()}

    def left(self, advice: Advice) -> Floats:
        """Give the errors that the best move leaves [cents], shape (read frets,)."""
        string = advice.string - 1
        saddle = self.readings.place.copy()
        saddle[string] += advice.wanted
        after = parts(self.setting.fretting, saddle, self.setting.nut).total[string]
        left: Floats = (after + self.beyond[string])[advice.frets - 1]
        return left

    def marks(self, advices: Sequence[Advice]) -> dict[int, tuple[Mark, ...]]:
        """Explain the readings of every string by as few patterns as will do."""
        found = {advice.string: self._marks(advice) for advice in advices}
        if any(mark.kind.startswith("nut") for marks in found.values() for mark in marks):
            # A nut sounds loudest at fret 1: where one slot is wrong, the next one is likelier than a crown.
            found |= {
                advice.string: self._marks(advice, low_crowns=False)
                for advice in advices
                if any(mark.kind == "crown" and mark.fret <= LOW_FRETS for mark in found[advice.string])
            }
        return found

    def nut_sizes(self, advice: Advice) -> dict[Kind, float]:
        """Give how far the nut would be wrong, for each way it can be [mm]."""
        sizes = {
            kind: self._size(advice, shape) for kind, _, shape in self._patterns(advice) if kind.startswith("nut")
        }
        if "nut height" in sizes:
            sizes["nut height"] = self._nut_height(advice, sizes["nut height"])
        return sizes

    def _nut_height(self, advice: Advice, guess: float) -> float:
        """Find the height whose own effect is what was read: it grows with more than the height itself [mm]."""
        fretting, saddle, nut = self.setting.fretting, self.readings.place, self.setting.nut
        string, frets = advice.string - 1, advice.frets - 1
        here, height = parts(fretting, saddle, nut).total, abs(guess)
        for _ in range(_MOST_STEPS):
            higher = parts(replace(fretting, nut_height=fretting.nut_height + height), saddle, nut).total
            times = self._size(advice, (higher - here)[string, frets])
            if times <= 0:
                return guess
            height *= times**0.5
        return height

    def at_fret(self, advice: Advice, fret: int, marks: Sequence[Mark]) -> float:
        """Give how far a string is off at one fret, its other patterns aside [cents]; 0 where few were read."""
        shapes = {(kind, at): shape for kind, at, shape in self._patterns(advice)}
        if ("crown", fret) not in shapes:
            return 0.0
        others = [shapes[mark.kind, mark.fret] for mark in marks if (mark.kind, mark.fret) != ("crown", fret)]
        return self._size(advice, shapes["crown", fret], others)

    def _patterns(self, advice: Advice, *, low_crowns: bool = True) -> Iterator[tuple[Kind, int, Floats]]:
        """Yield the kind, the fret and the shape of what may be wrong with a string, (read frets,)."""
        string, frets = advice.string - 1, advice.frets - 1
        if advice.frets[0] <= LOW_FRETS and len(frets) > 2:
            if self.by_stretch[string].any():  # limp strings do not feel how high they lie
                yield "nut height", 0, self.by_height[string, frets]
            yield "nut place", 0, -self.slopes[string, frets, 1]
        if len(frets) < FEWEST:
            return
        bend = np.maximum(advice.frets - self.plan.action_fret, 0.0) ** 2
        if np.count_nonzero(bend) > 1:
            yield "magnets", 0, bend / bend.max()
        for fret, alone in zip(advice.frets, np.eye(len(frets)), strict=True):
            if low_crowns or fret > LOW_FRETS:
                yield "crown", int(fret), alone

    def _marks(self, advice: Advice, *, low_crowns: bool = True) -> tuple[Mark, ...]:
        shapes = [*self._patterns(advice, low_crowns=low_crowns)]
        explained: list[Floats] = []
        found: list[Mark] = []
        while shapes and len(explained) + 1 < len(advice.frets):
            sizes, uncertainties = self._sizes(advice, np.array([shape for _, _, shape in shapes]), explained)
            limits = np.array([self._limits[kind.split()[0]] for kind, _, _ in shapes])
            sure = np.divide(np.abs(sizes), limits * uncertainties, out=np.zeros_like(sizes), where=uncertainties > 0)
            best = int(np.argmax(sure))
            if sure[best] < 1 or not self._heard(shapes[best][0], float(sizes[best]), advice):
                break
            kind, fret, shape = shapes.pop(best)
            found.append(Mark(kind, fret, float(sizes[best]), float(uncertainties[best])))
            explained.append(shape)
        return tuple(found)

    def _heard(self, kind: Kind, size: float, advice: Advice) -> bool:
        """Tell whether a pattern goes the way its fault does, and is loud enough."""
        if kind == "crown":
            return abs(size) > self.tolerance
        if kind == "magnets":
            return size > self.tolerance
        left = self.left(advice)
        low, upper = left[advice.frets <= LOW_FRETS], left[advice.frets >= UPPER_FRETS]
        good = not upper.size or float(np.abs(upper.mean())) <= self.tolerance
        return size > 0 and float(low.mean()) > self.tolerance and good

    def _size(self, advice: Advice, shape: Floats, explained: Sequence[Floats] = ()) -> float:
        """Estimate how much of one pattern there is."""
        return float(self._sizes(advice, shape[None], explained)[0][0])

    def _sizes(self, advice: Advice, shapes: Floats, explained: Sequence[Floats] = ()) -> tuple[Floats, Floats]:
        """Estimate how much of each pattern there is besides the saddle and what is explained; with its error.

        Nothing, without an error, where they cannot be told apart. Shapes are (patterns, read frets).
        """
        string, frets = advice.string - 1, advice.frets - 1
        weigh = np.linalg.inv(self._covariance(string, frets))
        known = np.column_stack((self.slopes[string, frets, 0], *explained))
        carried = known.T @ weigh
        own = shapes - (known @ np.linalg.solve(carried @ known, carried @ shapes.T)).T
        weighed = own @ weigh
        information = (weighed * own).sum(axis=1)
        told = information >= 1e-9 * ((shapes @ weigh) * shapes).sum(axis=1)
        information = np.where(told, information, np.inf)
        return weighed @ self.beyond[string, frets] / information, information**-0.5

    def _covariance(self, string: int, frets: NDArray[np.intp]) -> Floats:
        """Give the covariance of what is read beyond the model, the model's own uncertainties included."""
        model = PRIOR * np.stack((self.by_stretch[string, frets], self.by_stiffness[string, frets]))
        covariance: Floats = self.readings.covariance(string, frets) + model.T @ model
        return covariance
