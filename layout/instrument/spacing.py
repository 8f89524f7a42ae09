"""How strings and courses share the width between the outermost strings."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from slotwright.layout.plan.plan import Plan

    Floats = NDArray[np.float64]


def string_places(plan: Plan, spread: float, in_course: float) -> Floats:
    """Place the strings across the neck.

    Parameters
    ----------
    plan
        A checked plan.
    spread
        Outer string to outer string [mm].
    in_course
        String to string inside a course [mm].

    Returns
    -------
    ndarray, shape (strings,)
        y of each string, string 1 at ``+spread / 2`` [mm].
    """
    courses = plan.courses
    widths = np.array([(len(course) - 1) * in_course for course in courses])
    if len(courses) == 1:
        return np.linspace(spread / 2, -spread / 2, len(plan.strings))
    first, last = (spread - widths[0]) / 2, (widths[-1] - spread) / 2
    if plan.spacing == "even centres":
        middles = np.linspace(first, last, len(courses))
    else:
        gauges = np.array([string.gauge or 0.0 for string in plan.strings])
        facing = np.array([(gauges[a[-1]] + gauges[b[0]]) / 2 for a, b in pairwise(courses)])
        air = (spread - widths.sum() - facing.sum()) / len(facing)
        steps = facing + air + (widths[:-1] + widths[1:]) / 2
        middles = first - np.concatenate(([0.0], np.cumsum(steps)))
        middles[-1] = last  # not the sum of the steps, which is off by a rounding
    return np.concatenate(
        [
            np.linspace(middle + width / 2, middle - width / 2, len(course))
            for middle, width, course in zip(middles, widths, courses, strict=True)
        ]
    )
