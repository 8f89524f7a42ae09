"""One instrument in several tunings: the same strings at other pitches share their contacts."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from slotwright.layout.physics import strings
from slotwright.layout.physics.offsets import compensate, largest, rms
from slotwright.layout.physics.pitch import parts

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from numpy.typing import NDArray

    from slotwright.layout.physics.offsets import Offsets, Saddles
    from slotwright.layout.physics.pitch import Fretting
    from slotwright.layout.physics.strings import StringBody
    from slotwright.layout.plan.plan import Plan

    Floats = NDArray[np.float64]


def in_all_tunings(plan: Plan, fretting: Fretting) -> Fretting:
    """Give the strings the tensions of every tuning, their own first.

    Parameters
    ----------
    plan
        The plan.
    fretting
        Its strings at their own pitches.

    Returns
    -------
    Fretting
        With tension of shape (tunings + 1, strings), ``T = mu (2 X f)^2``; unchanged where the plan has no tunings.
        Axial and bending stiffness belong to the string as it was made and stay, in newtons: also for strings
        whose stiffness was stated as a multiple of their tension, which is that at their own pitch.
    """
    if not plan.tunings:
        return fretting
    pitches = [s.frequency if s.pitch is None else strings.frequency(s.pitch) for s in plan.strings]
    own = np.array(pitches, dtype=np.float64)
    raised = np.vstack((own, _frequencies(plan))) / own
    return replace(fretting, tension=fretting.tension * raised**2)


def retuned(plan: Plan, bodies: Sequence[StringBody]) -> Iterator[tuple[StringBody, ...]]:
    """Yield the strings at the pitches of each further tuning.

    Parameters
    ----------
    plan
        The plan.
    bodies
        Its strings at their own pitches.

    Yields
    ------
    tuple of StringBody
        Pitch, tension and stress changed; all else as it was made.
    """
    for pitches in _frequencies(plan):
        yield tuple(
            replace(
                body,
                frequency=float(pitch),
                tension=body.tension * float(pitch / body.frequency) ** 2,
                stress_ratio=body.stress_ratio and body.stress_ratio * float(pitch / body.frequency) ** 2,
            )
            for body, pitch in zip(bodies, pitches, strict=True)
        )


@dataclass(frozen=True, slots=True)
class Loss:
    """What one tuning loses by sharing the contacts with others.

    Parameters
    ----------
    tuning
        Its pitches, lowest string first.
    rms, worst
        Of the errors at the target frets where the contacts stand [cents], shape (strings,).
    own_best_rms, own_best_worst
        The least that each could be if the contacts served this tuning alone [cents], shape (strings,). A nut
        common to all strings and a shared saddle serve strings together: there a single one may fare better in
        company.
    """

    tuning: str
    rms: Floats
    worst: Floats
    own_best_rms: Floats
    own_best_worst: Floats


def losses(
    plan: Plan, fretting: Fretting, weights: Floats, offsets: Offsets, saddles: Saddles | None = None
) -> tuple[Loss, ...]:
    """Weigh every tuning against what it could have alone.

    Parameters
    ----------
    plan
        The plan.
    fretting
        Its strings at their own pitches.
    weights
        The aim, shape (strings, frets).
    offsets
        Where the contacts stand.
    saddles
        Which strings share a saddle, whatever the tuning; None where none do.

    Returns
    -------
    tuple of Loss
        The strings' own pitches first, then the tunings of the plan.
    """

    def left(tuned: Fretting, at: Offsets) -> Floats:
        return parts(tuned, at.saddle, at.nut).total

    own = [string.pitch or f"{string.frequency:g} Hz" for string in plan.strings]
    found = []
    tensions = np.atleast_2d(in_all_tunings(plan, fretting).tension)
    for tuning, tension in zip((own, *plan.tunings), tensions, strict=True):
        tuned = replace(fretting, tension=tension)
        even, least = (
            compensate(tuned, weights, nut=plan.compensation.nut, minimise=minimise, saddles=saddles)
            for minimise in ("rms", "worst")
        )
        found.append(
            Loss(
                tuning=" ".join(reversed(tuning)),
                rms=rms(left(tuned, offsets), weights),
                worst=largest(left(tuned, offsets), weights),
                own_best_rms=rms(left(tuned, even), weights),
                own_best_worst=largest(left(tuned, least), weights),
            )
        )
    return tuple(found)


def _frequencies(plan: Plan) -> Floats:
    """Give the pitches of the further tunings [Hz], shape (tunings, strings)."""
    return np.array([[strings.frequency(pitch) for pitch in tuning] for tuning in plan.tunings])
