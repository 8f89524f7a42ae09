"""Circular arcs given by their ends and a bulge, as drawings and machines have them."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Iterator

Point = tuple[float, float]

NEAR: Final = 0.01  # mm, how far a chord may stay off its arc where one stands for the other
_FINEST: Final = math.radians(1.0)


def bulge_of(rise: float, chord: float) -> float:
    """Give the bulge of an arc: the tangent of a quarter of its angle.

    Parameters
    ----------
    rise
        Its height over the middle of its chord [mm]; negative turns it clockwise.
    chord
        From end to end [mm].
    """
    return 2 * rise / chord


@dataclass(frozen=True, slots=True)
class Arc:
    """A circular arc.

    Parameters
    ----------
    centre
        Its centre [mm].
    radius
        Its radius [mm].
    begin
        Direction from the centre to its start [radians].
    turn
        The angle it runs through, anticlockwise positive [radians].
    """

    centre: Point
    radius: float
    begin: float
    turn: float

    @classmethod
    def between(cls, start: Point, end: Point, bulge: float) -> Arc:
        """Lay an arc between two points; its bulge is not 0."""
        (x0, y0), (x1, y1) = start, end
        # The centre lies beside the middle of the chord.
        away = (1 - bulge**2) / (4 * bulge)
        cx, cy = (x0 + x1) / 2 - away * (y1 - y0), (y0 + y1) / 2 + away * (x1 - x0)
        radius = math.hypot(x1 - x0, y1 - y0) * (1 + bulge**2) / (4 * abs(bulge))
        return cls((cx, cy), radius, math.atan2(y0 - cy, x0 - cx), 4 * math.atan(bulge))

    def at(self, share: float) -> Point:
        """Give the point at a share of the way, 0 its start and 1 its end [mm]."""
        angle = self.begin + share * self.turn
        return self.centre[0] + self.radius * math.cos(angle), self.centre[1] + self.radius * math.sin(angle)

    def between_ends(self, near: float = NEAR) -> list[Point]:
        """Give points between its ends, close enough that their chords stay within `near` [mm]."""
        step = max(2 * math.acos(max(0.0, 1 - near / self.radius)), _FINEST)
        count = max(2, math.ceil(abs(self.turn) / step))
        return [self.at(place / count) for place in range(1, count)]

    def extremes(self) -> Iterator[Point]:
        """Yield the points where it is furthest to the left, right, up or down between its ends [mm]."""
        low, high = sorted((self.begin, self.begin + self.turn))
        quarter = math.pi / 2
        for place in range(math.ceil(low / quarter), math.floor(high / quarter) + 1):
            yield self.at((place * quarter - self.begin) / self.turn)
