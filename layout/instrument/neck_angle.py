"""A neck that stands too low or too high for its bridge, and what would bring saddle and action together."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

from slotwright.layout.findings import Finding

if TYPE_CHECKING:
    from collections.abc import Iterator

    import numpy as np
    from numpy.typing import NDArray

    from slotwright.layout.instrument.neck import Neck
    from slotwright.layout.plan.plan import Plan

    Floats = NDArray[np.float64]

EXPOSURE: Final = (2.0, 5.0)  # mm of saddle out of its base (common practice, from memory)


def findings(plan: Plan, neck: Neck, exposure: Floats | None) -> Iterator[Finding]:
    """Judge how far the saddle stands out at the wanted action.

    Parameters
    ----------
    plan, neck
        The plan and its neck.
    exposure
        How far each crest stands above the base [mm], shape (strings,); None where that is not known.

    Yields
    ------
    Finding
        ``neck too low`` or ``neck too high``, each with what would mend it.
    """
    if exposure is None:
        return
    low, high = float(exposure.min()), float(exposure.max())
    short, over = EXPOSURE[0] - low, high - EXPOSURE[1]
    if short > 0 or over > 0:
        kind, by = ("neck too low", short) if short > 0 else ("neck too high", over)
        usual = f"{plan.said(EXPOSURE[0])} to {plan.said(EXPOSURE[1])} is usual"
        out = f"at the stated action the saddle stands {plan.said(low)} to {plan.said(high)} out of its base; {usual}"
        words = f"{out}: {'; or '.join(cures(plan, neck, by, higher=short > 0))}"
        yield Finding(kind, "saddle", words, {"least": low, "most": high})


def cures(plan: Plan, neck: Neck, by: float, *, higher: bool) -> Iterator[str]:
    """Say what brings a neck's line further up at the saddle, or down.

    Parameters
    ----------
    plan, neck
        The plan and its neck.
    by
        How far, at the saddle [mm].
    higher
        Up; else down.

    Yields
    ------
    str
        Changes in words, the smallest work first.
    """
    said, joint = plan.said, plan.board.joint_fret
    yield f"a bridge {said(by)} {'thinner' if higher else 'thicker'}"
    if not joint:
        yield "a change of the neck's angle (state board.joint_fret and heel_depth to have it calculated)"
        return
    to_joint = float(neck.frets.middle[joint])
    to_saddle = float(neck.scales.mean()) - to_joint
    if higher:
        # Taken off at the nut and nothing at the joint, the line turns about the joint.
        yield f"the board planed by {said(by * to_joint / to_saddle)} at the nut, running out at the joint"
    turn = f"the neck set {'back' if higher else 'forward'} by {math.degrees(math.atan(by / to_saddle)):.2f} degrees"
    if not plan.board.heel_depth:
        yield f"{turn} (state board.heel_depth to have the cut calculated)"
        return
    cut = said(by * plan.board.heel_depth / to_saddle)
    where = (
        "at the foot of the heel, running out at the board" if higher else "under the board, running out at the foot"
    )
    yield f"{turn}: {cut} off {where}, or a wedge of that under a bolted neck"
