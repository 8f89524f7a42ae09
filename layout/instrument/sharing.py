"""Which strings of a plan share a contact, and how it ties their set-backs.

The one definition: strings of one saddle touch it on a straight line along the base where the plan turns that
(`bridge.angle`), else parallel to the line through the ends of the scales, so that they have one set-back in common.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from slotwright.layout.physics.offsets import Saddles
from slotwright.layout.plan.bridges import IndividualSaddles

if TYPE_CHECKING:
    from slotwright.layout.instrument.neck import Neck
    from slotwright.layout.plan.plan import Plan


def saddles(plan: Plan, neck: Neck) -> Saddles:
    """Tie the set-backs of strings that share a saddle or, in a course, a place of the crest.

    Parameters
    ----------
    plan, neck
        A checked plan and its neck.

    Returns
    -------
    Saddles
        Each string's saddle, and where that holds its contact.
    """
    lean = float(neck.saddle.skew[0])
    if isinstance(plan.bridge, IndividualSaddles) and plan.bridge.angle:
        lean = -plan.board.hand * math.tan(math.radians(plan.bridge.angle))
    # x - lean * y of each scale's end and of a step along the string: alike for all contacts on such a line.
    across = np.array([1.0, -lean])
    ends, steps = neck.saddle_ends @ across, neck.directions @ across
    first = np.arange(len(plan.strings))
    for group in plan.shared_contacts:
        first[list(group)] = min(group)
    return Saddles(first, (ends[first] - ends) / steps, steps[first] / steps)
