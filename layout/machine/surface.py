"""The radius across the board: passes along lines that are straight on it.

Where the radius changes evenly along the board, the surface is a cone, and the lines y / R(x) = constant
on it are straight. Along each of them the surface leans one way alone, so that a ball or a flat tip that
touches it moves along a straight line too.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import numpy as np

from slotwright.layout.machine.passes import Path, step_of, to_and_fro
from slotwright.layout.units import ROUNDING

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from slotwright.layout.machine.passes import Run
    from slotwright.layout.machine.setting import Setting
    from slotwright.layout.plan.machine import Cutter

    Floats = NDArray[np.float64]

PAST: Final = 1.5  # mm that the curve is cut past the outline: slots run out there


def runs(setting: Setting, cutter: Cutter) -> Iterator[Run]:
    """Cut the curve, layer below layer.

    Parameters
    ----------
    setting, cutter
        The blank on the machine, and what cuts.
    """
    step, (near, far) = step_of(cutter), _reach(setting)
    finest = _lines(setting, cutter, setting.machine.scallop)
    whole = setting.thickness - min(_tips(setting, cutter, finest[[0, -1]], (near, far))[..., 2].min(), math.inf)
    # Layers before the last one leave ridges too, which the next takes off besides its own depth.
    ridge = min(step / 4, _ridge(setting, cutter, cutter.step_over * cutter.diameter))
    layers = max(math.ceil(whole / (step - ridge) - 1e-6), 1)
    for layer in range(layers - 1, -1, -1):
        lift = layer * (step - ridge)
        lines = _lines(setting, cutter, ridge) if layer else finest
        tips = _tips(setting, cutter, lines, (near, far))
        tips[..., 2] += lift
        words = f"surface, layer {layers - layer} of {layers}"
        for flank in _runs_of(tips[..., 2].min(axis=1) < setting.thickness - 1e-9):
            path = Path(_serpentine(tips[flank]))
            entry = min(step, max(setting.thickness - float(path.points[0, 2]), 1e-6))
            yield to_and_fro(path, (entry, 0.0), words)


def _reach(setting: Setting) -> tuple[float, float]:
    """Give where the passes begin and end along the board [mm]."""
    left, _, right, _ = setting.part.bounds
    return left - PAST, right + PAST


def _scale(setting: Setting, x: Floats | float) -> Floats:
    """Give how much further apart the lines are at x than at the nut."""
    radius = setting.neck.radius_at(x)
    return np.ones_like(radius) if setting.neck.radius[0] == 0 else radius / setting.neck.radius[0]


def _ridge(setting: Setting, cutter: Cutter, step: float) -> float:
    """Give the height of the ridges between passes at a distance [mm]."""
    radius = float(np.min(setting.neck.radius_at(np.array(_reach(setting)))))
    if cutter.shape == "ball":
        return step * step / 8 * (2 / cutter.diameter + 1 / radius)
    widest = float(np.abs(setting.part.exterior.coords.xy[1]).max()) + PAST
    return step * widest / radius  # steps at the edge, where it leans most


def _lines(setting: Setting, cutter: Cutter, ridge: float) -> Floats:
    """Give the y at the nut of the lines that the tip touches, so close that no more than a ridge stays [mm]."""
    x, y = (np.asarray(each) for each in setting.part.exterior.coords.xy)
    widest = float(_scale(setting, np.array(_reach(setting))).max())
    half = float((np.abs(y) / _scale(setting, x)).max()) + PAST
    usual = cutter.step_over * cutter.diameter
    radius = float(np.min(setting.neck.radius_at(np.array(_reach(setting)))))
    if cutter.shape == "ball" or math.isinf(radius):
        step = (
            usual if cutter.shape == "flat" else min(usual, math.sqrt(8 * ridge / (2 / cutter.diameter + 1 / radius)))
        )
        return np.linspace(-half, half, 2 * math.ceil(half * widest / step) + 1)
    # A flat tip leaves steps: each falls by a ridge at most. It lies on the outer side of its line, so that the crown
    # has one for either side.
    first, steepest = setting.neck.radius[0], widest * setting.neck.radius[0]
    side = [ROUNDING]
    while side[-1] < half:
        fall = steepest * (1 - math.sqrt(1 - (side[-1] / first) ** 2)) + ridge
        share = math.sqrt(1 - max(1 - fall / steepest, 0.0) ** 2)
        side.append(min(share * first, side[-1] + usual / widest, half))
    there = np.array(side)
    return np.concatenate((-there[::-1], there))


def _tips(setting: Setting, cutter: Cutter, lines: Floats, ends: tuple[float, float]) -> Floats:
    """Place the tip at both ends of each line [mm], shape (lines, 2, 3)."""
    x = np.array(ends)[None, :]
    y = lines[:, None] * _scale(setting, x)
    z = setting.top(x, y, surfaced=True)
    radius, reach = setting.neck.radius, cutter.diameter / 2
    if radius[0] == 0:
        lean_x, lean_y = np.zeros(len(lines)), np.zeros(len(lines))
    else:
        # The fall of the surface per mm along x and y, the same all along a line of the cone.
        share = lines / radius[0]
        root = np.sqrt(1 - share**2)
        lean_y = share / root
        change = (radius[1] - radius[0]) / float(setting.neck.frets.middle[-1])
        lean_x = change * (1 - root) - change * share * lean_y
    steep = np.hypot(lean_x, lean_y)
    out = np.stack((lean_x, lean_y), axis=-1)
    if cutter.shape == "ball":
        away = reach * out / np.sqrt(1 + steep**2)[:, None]
        lift = reach / np.sqrt(1 + steep**2) - reach
    else:
        away = reach * out / np.where(steep > 0, steep, 1.0)[:, None]
        lift = np.zeros(len(lines))
    return np.stack((x + away[:, :1], y + away[:, 1:], z + lift[:, None]), axis=-1)


def _serpentine(tips: Floats) -> Floats:
    """Join lines at their ends, every other one turned round, into one path of shape (2 lines, 3)."""
    turned = tips.copy()
    turned[1::2] = turned[1::2, ::-1]
    return turned.reshape(-1, 3)


def _runs_of(there: NDArray[np.bool_]) -> Iterator[slice]:
    """Yield the stretches of neighbours that are there."""
    marks = np.flatnonzero(np.diff(np.concatenate(([0], there.astype(np.int8), [0]))))
    for begin, end in marks.reshape(-1, 2):
        yield slice(int(begin), int(end))
