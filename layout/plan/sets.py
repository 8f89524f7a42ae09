"""Usual sets of strings: what is printed on no packet a plan need not state.

Gauges and tunings are common sizes that anybody sells, from memory; diameters, masses and string constants of the
nylon sets are those of M. B. Anderson, R. G. Beausoleil, J. Acoust. Soc. Am. 156(1), 683 (2024), doubled radii.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

from slotwright.layout.units import MM_PER_INCH


@dataclass(frozen=True, slots=True)
class Made:
    """One string of a set.

    Parameters
    ----------
    gauge
        Diameter [mm].
    kind
        As a plan names it.
    winding
        What a steel core is wound with; None for other kinds.
    mass
        Mass per length [g/m]; None where gauge and kind tell it.
    string_constant
        EA over the tension; None where the kind tells it.
    course
        Number of its course; None where strings stand alone.
    """

    gauge: float
    kind: str
    winding: str | None = None
    mass: float | None = None
    string_constant: float | None = None
    course: int | None = None

    @property
    def contents(self) -> dict[str, Any]:
        """What a plan would state of it; the gauge [mm]."""
        keys = ("gauge", "kind", "winding", "mass", "string_constant", "course")
        return {key: value for key in keys if (value := getattr(self, key)) is not None}


@dataclass(frozen=True, slots=True)
class UsualSet:
    """A set of strings.

    Parameters
    ----------
    strings
        Its strings, string 1 first.
    tuning
        Pitches from the highest-numbered string to string 1.
    """

    strings: tuple[Made, ...]
    tuning: str

    @property
    def gauges(self) -> str:
        """Gauges in thousandths of an inch, string 1 first, w for wound ones."""
        return " ".join(
            f"{round(1000 * each.gauge / MM_PER_INCH, 1):g}{'w' * each.kind.startswith('wound')}"
            for each in self.strings
        )


@dataclass(frozen=True, slots=True)
class _Family:
    """What the sets of a family have in common: the tuning, what steel is wound with, strings of a course."""

    tuning: str
    winding: str = ""
    course: int = 1
    plain: str = "plain steel"


_SIX: Final = "E2 A2 D3 G3 B3 E4"
_FAMILIES: Final = {
    "electric": _Family(_SIX, "nickel-plated steel"),
    "acoustic": _Family(_SIX, "phosphor bronze"),
    # Of each pair the thinner string stands on the bass side.
    "twelve-string": _Family("E3 E2 A3 A2 D4 D3 G4 G3 B3 B3 E4 E4", "phosphor bronze", course=2),
    "bass": _Family("E1 A1 D2 G2", "nickel-plated steel"),
    "five-string bass": _Family("B0 E1 A1 D2 G2", "nickel-plated steel"),
    "mandolin": _Family("G3 G3 D4 D4 A4 A4 E5 E5", "phosphor bronze", course=2),
    "ukulele": _Family("G4 C4 E4 A4", plain="plain nylon"),
    "ukulele fluorocarbon": _Family("G4 C4 E4 A4", plain="fluorocarbon"),
}
# Gauges in thousandths of an inch, string 1 first, w: wound.
_GAUGES: Final = """
electric               8-38    8 10 15 21w 30w 38w
electric               9-42    9 11 16 24w 32w 42w
electric               9-46    9 11 16 26w 36w 46w
electric              10-46   10 13 17 26w 36w 46w
electric              10-52   10 13 17 30w 42w 52w
electric              11-48   11 14 18 28w 38w 48w
electric              11-54   11 15 20 32w 42w 54w
electric              12-52   12 16 24w 32w 42w 52w
electric              12-56   12 16 24w 32w 44w 56w
acoustic              10-47   10 14 23w 30w 39w 47w
acoustic              11-52   11 15 22w 32w 42w 52w
acoustic              12-53   12 16 24w 32w 42w 53w
acoustic              12-54   12 16 25w 32w 42w 54w
acoustic              13-56   13 17 26w 35w 45w 56w
twelve-string         10-47   10 10 14 14 23w 8 30w 12 39w 18w 47w 27w
twelve-string         11-52   11 11 15 15 22w 9 32w 14 42w 20w 52w 30w
bass                  40-95   40w 60w 75w 95w
bass                  40-100  40w 60w 80w 100w
bass                  45-100  45w 65w 80w 100w
bass                  45-105  45w 65w 85w 105w
bass                  50-105  50w 70w 85w 105w
five-string bass      40-125  40w 60w 80w 100w 125w
five-string bass      45-130  45w 65w 85w 105w 130w
mandolin              10-34   10 10 14 14 24w 24w 34w 34w
mandolin              11-38   11 11 14 14 24w 24w 38w 38w
mandolin              11-40   11 11 15 15 26w 26w 40w 40w
ukulele               28-41   28 33 41 29
ukulele fluorocarbon  21-32   20.5 26 32 22.5
"""
# Radius [mm], mass [g/m] and string constant, string 1 first; three plain ones, three wound.
_NYLON: Final = {
    "nylon normal": (
        (0.356, 0.374, 48.2), (0.409, 0.505, 48.7), (0.512, 0.836, 58.6),
        (0.368, 1.920, 46.0), (0.445, 3.289, 48.7), (0.546, 5.470, 58.2),
    ),
    "nylon hard": (
        (0.362, 0.386, 47.9), (0.415, 0.522, 53.5), (0.521, 0.856, 57.5),
        (0.381, 2.007, 46.4), (0.457, 3.486, 49.0), (0.559, 5.666, 51.9),
    ),
}  # fmt: skip


def _of_gauges(family: str, gauges: str) -> UsualSet:
    about = _FAMILIES[family]
    made = []
    for place, gauge in enumerate(gauges.split()):
        wound = gauge.endswith("w")
        made.append(
            Made(
                gauge=round(float(gauge.removesuffix("w")) * MM_PER_INCH / 1000, 6),
                kind="wound steel" if wound else about.plain,
                winding=about.winding if wound else None,
                course=place // about.course + 1 if about.course > 1 else None,
            )
        )
    return UsualSet(tuple(made), about.tuning)


def _of_nylon(rows: tuple[tuple[float, float, float], ...]) -> UsualSet:
    made = (
        Made(2 * radius, "plain nylon" if place < 3 else "wound nylon", mass=mass, string_constant=constant)
        for place, (radius, mass, constant) in enumerate(rows)
    )
    return UsualSet(tuple(made), _SIX)


def _usual() -> dict[str, UsualSet]:
    found = {}
    for line in _GAUGES.strip().splitlines():
        family, outer, gauges = (part.strip() for part in line.split("  ") if part.strip())
        found[f"{family} {outer}"] = _of_gauges(family, gauges)
    found |= {name: _of_nylon(rows) for name, rows in _NYLON.items()}
    return found


SETS: Final = _usual()
"""Every usual set by its name."""
