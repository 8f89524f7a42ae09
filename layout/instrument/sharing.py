"""Which strings of a plan share a contact, and how it ties their set-backs.

The one definition: strings that share a contact have one set-back in common, measured along each of them from the end
of its scale. So their contacts lie on a line parallel to the ends of the scales: square to the neck, but in a fan.
Where the plan turns the base (`bridge.angle`), a saddle turns with it: there the contacts lie on a line along
the base.
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
    first = np.arange(len(plan.strings))
    for group in plan.shared_contacts:
        first[list(group)] = min(group)
    apart = Saddles.apart(len(first))
    if not isinstance(plan.bridge, IndividualSaddles) or not plan.bridge.angle:
        return Saddles(first, apart.start, apart.rate)
    # How far to the rear of the base the end of each scale lies, and how far a step along the string goes.
    turn = math.radians(plan.bridge.angle)
    to_rear = np.array([math.cos(turn), plan.board.hand * math.sin(turn)])
    ends, steps = neck.saddle_ends @ to_rear, neck.directions @ to_rear
    return Saddles(first, (ends[first] - ends) / steps, steps[first] / steps)
