"""The blank as it lies on the machine: where it is, how high its surfaces are, where travel is safe.

Axes are those of every drawing, left-handed boards included; heights run from the underside of the blank.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely

from slotwright.layout.errors import needed
from slotwright.layout.instrument.blank import blank_outline
from slotwright.layout.units import ROUNDING

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import ArrayLike, NDArray

    from slotwright.layout.instrument.instrument import Instrument
    from slotwright.layout.instrument.neck import Neck
    from slotwright.layout.plan.machine import Cutter, Machine
    from slotwright.layout.plan.plan import Plan

    Floats = NDArray[np.float64]

OVER_CLAMPS: Final = 2.0  # mm that travel stays above the highest clamp; common practice, no source
APPROACH: Final = 1.0  # mm above the blank where travel ends and feed begins; common practice, no source
DOWEL_DEPTH: Final = 4.0  # mm that the hole of a dowel goes into the spoil board; common practice, no source


@dataclass(frozen=True, slots=True, eq=False)
class Setting:
    """The blank on the machine.

    Parameters
    ----------
    plan, neck
        The plan, which has a machine and a blank, and its neck.
    part
        What the outline leaves: the board, or the core of a bound one [mm].
    stock
        Left, low, right and high edge of the blank [mm].
    thickness
        Thickness of the blank [mm].
    travel
        Height of travel [mm].
    origin
        The zero of the programs [mm], shape (3,).
    surfaces
        A cutter gives the board its radius.
    """

    plan: Plan
    neck: Neck
    part: shapely.Polygon
    stock: tuple[float, float, float, float]
    thickness: float
    travel: float
    origin: Floats
    surfaces: bool

    @property
    def machine(self) -> Machine:
        """The machine of the plan."""
        return needed(self.plan.machine, "the plan has no [machine]")

    @property
    def approach(self) -> float:
        """Height where travel ends and feed begins [mm]."""
        return self.thickness + APPROACH

    @property
    def left_on(self) -> float:
        """What surfacing leaves above the finished board [mm]."""
        return self.machine.sanding if self.surfaces else 0.0

    @property
    def scallop(self) -> float:
        """Ridges on the surface that slots and marks are cut into [mm]."""
        return self.machine.scallop if self.surfaces else 0.0

    def fall(self, x: ArrayLike, y: ArrayLike) -> Floats:
        """Give how far the finished surface falls below its middle [mm]; where the curve has ended, its end."""
        radius = self.neck.radius_at(x)
        half = np.minimum(np.abs(np.asarray(y, dtype=np.float64)), np.maximum(radius, 0.0) * (1 - ROUNDING))
        return self.neck.drop(x, half)

    def finished(self, x: ArrayLike, y: ArrayLike) -> Floats:
        """Give the height of the finished board [mm]."""
        return self.plan.board.thickness - self.fall(x, y)

    def top(self, x: ArrayLike, y: ArrayLike, *, surfaced: bool) -> Floats:
        """Give the height of the wood [mm], before or after a cutter has surfaced it."""
        if surfaced and self.surfaces:
            return self.finished(x, y) + self.left_on
        if self.machine.state == "surfaced":
            return np.maximum(self.thickness - self.fall(x, y), 0.0)  # a wide blank may end before its edge
        return np.full(np.broadcast_shapes(np.shape(x), np.shape(y)), self.thickness)

    def in_stock(self, x: ArrayLike, y: ArrayLike) -> NDArray[np.bool_]:
        """Tell whether a place is on the blank."""
        left, low, right, high = self.stock
        x, y = np.asarray(x), np.asarray(y)
        inside: NDArray[np.bool_] = (x >= left) & (x <= right) & (y >= low) & (y <= high)
        return inside

    def clamps(self) -> Iterator[tuple[shapely.Polygon, float]]:
        """Yield what stands on the machine: its outline [mm] and the height of its top [mm]."""
        for x1, y1, x2, y2, height in self.machine.keep_out:
            yield shapely.box(x1, y1, x2, y2), self.thickness + height


def setting_of(instrument: Instrument) -> Setting:
    """Lay the blank of an instrument on its machine.

    Parameters
    ----------
    instrument
        An instrument whose plan has a machine and a blank.
    """
    plan, neck = instrument.plan, instrument.neck
    machine = needed(plan.machine, "the plan has no [machine]")
    corners = blank_outline(plan)
    (left, low), (right, high) = corners.min(axis=0), corners.max(axis=0)
    thick = plan.stock_thickness
    highest = max((box[4] for box in machine.keep_out), default=-OVER_CLAMPS)
    whole = Setting(
        plan=plan,
        neck=neck,
        part=shapely.Polygon(neck.core),
        stock=(float(left), float(low), float(right), float(high)),
        thickness=thick,
        travel=thick + max(machine.safe_height, highest + OVER_CLAMPS),
        origin=np.zeros(3),
        surfaces=any("surface" in cutter.operations for cutter in machine.cutters),
    )
    if machine.zero == "corner":
        whole.origin[:2] = left, low
    if machine.z_zero == "top":
        whole.origin[2] = whole.top(*machine.touch, surfaced=False)
    return whole


def floor_under(setting: Setting, cutter: Cutter, x: Floats, y: Floats, depth: float) -> Floats:
    """Give the height of a flat tip whose edge touches a floor that is parallel to the finished surface.

    Parameters
    ----------
    setting, cutter
        The blank and the cutter.
    x, y
        Places of its axis [mm].
    depth
        Depth of the floor below the finished surface [mm].

    Returns
    -------
    ndarray
        Heights of the tip [mm]: those of the floor at `max(|y| - radius, 0)`, the highest under it.
    """
    return setting.finished(x, np.maximum(np.abs(y) - cutter.diameter / 2, 0.0)) - depth
