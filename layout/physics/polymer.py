"""Nylon and fluorocarbon, plain and wound: how heavy they are, how they stretch and how they bend."""

from __future__ import annotations

import math
from typing import Final

# kg/m3, from memory.
DENSITIES: Final = {"plain nylon": 1070.0, "fluorocarbon": 1780.0}

# EA over tension: how they stretch, slowly. M. B. Anderson, R. G. Beausoleil, J. Acoust. Soc. Am. 156(1), 683
# (2024), have 46 to 59 for twelve nylon strings; fluorocarbon from memory.
CONSTANT: Final = 50.0

# Modulus of bending [GPa], a + b * stress [GPa]: they bend fast, and more stiffly than they stretch.
# Nylon: two numbers through three plain strings of J. Woodhouse, Acta Acustica united with Acustica 90, 945 (2004),
# table I, with the diameters of Anderson and Beausoleil. Another opinion, 15 to 27 % stiffer, is 4.5 + 39 s: J.
# Woodhouse, N. Lynch-Aird, Acta Acustica united with Acustica 105, 516 (2019), eq. 16 (quoted second hand), which
# fluorocarbon is taken from.
MODULUS: Final = {"plain nylon": (2.9, 40.0), "fluorocarbon": (3.2, 41.0)}

# Bending stiffness of wound nylon, whatever the gauge, and by how much it may be off [N mm2]. D3 51 and A2 40 in
# Woodhouse's table of 2004; both about 70 in openly licensed recordings (no publication).
WOUND_BENDING: Final = (55.0, 20.0)
WOUND_STRINGS: Final = 4


def mass(kind: str, gauge: float) -> float:
    """Give the mass per length of a plain string [kg/m].

    Parameters
    ----------
    kind
        One of `DENSITIES`.
    gauge
        Diameter [mm].
    """
    return DENSITIES[kind] * math.pi * gauge**2 / 4 * 1e-6


def bending(kind: str, gauge: float, tension: float) -> float:
    """Give the bending stiffness EI of a plain string [N mm2].

    Parameters
    ----------
    kind
        One of `MODULUS`.
    gauge
        Diameter [mm].
    tension
        Tension [N]; the modulus grows with the stress.
    """
    area = math.pi * gauge**2 / 4
    start, slope = MODULUS[kind]
    return (1e3 * start + slope * tension / area) * area * gauge**2 / 16
