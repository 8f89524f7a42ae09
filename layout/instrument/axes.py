"""Axes of a part of the instrument: points between them and the drawing, still right-handed."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Axes:
    """A part's own axes: +x runs to the rear, +y to the treble side.

    Parameters
    ----------
    datum
        Their origin on the drawing [mm], shape (2,).
    turn
        How far they are turned, anticlockwise [radians].
    """

    datum: Floats
    turn: float

    @property
    def rear(self) -> Floats:
        """Direction of the part's own x."""
        return np.array([math.cos(self.turn), math.sin(self.turn)])

    def out(self, own: Floats) -> Floats:
        """Give points of the part, shape (..., 2), on the drawing."""
        cos, sin = math.cos(self.turn), math.sin(self.turn)
        points: Floats = self.datum + own @ np.array([[cos, sin], [-sin, cos]])
        return points

    def own(self, points: Floats) -> Floats:
        """Give points of the drawing, shape (..., 2), in the part's axes."""
        cos, sin = math.cos(self.turn), math.sin(self.turn)
        own: Floats = (points - self.datum) @ np.array([[cos, -sin], [sin, cos]])
        return own

    def rectangle(self, front: float, rear: float, half: float) -> Floats:
        """Give the corners of a rectangle about the part's own x axis, front bass corner first [mm], shape (4, 2)."""
        return self.out(np.array([[front, -half], [rear, -half], [rear, half], [front, half]]))
