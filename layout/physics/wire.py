"""Steel wire and strings wound over it: how stiff, how strong and how heavy they are."""

from __future__ import annotations

import math
from itertools import pairwise
from typing import Final

CORE_SHAPES: Final = ("round", "hex")
USUAL_CORE_SHAPE: Final = "hex"

STEEL: Final = 7850.0  # kg/m3, common handbook value of carbon steel

# kg/m3. From memory; the first three agree with common handbook values.
WINDINGS: Final = {
    "nickel-plated steel": 7900.0,
    "nickel": 8900.0,
    "stainless steel": 7900.0,
    "phosphor bronze": 8800.0,
    "bronze 80/20": 8650.0,
    "silver-plated copper": 8960.0,
}
USUAL_WINDING: Final = "nickel-plated steel"

# Young's modulus of music wire [GPa] up to a diameter [mm]: R. G. Budynas, J. K. Nisbett, "Shigley's
# Mechanical Engineering Design", table 10-5 (from memory; the last two rows too). The inharmonicity of
# four plain guitar strings of [HC19] gives 197 to 203 GPa.
STEEL_MODULUS: Final = ((0.8, 203.4), (1.61, 200.0), (3.0, 196.5), (math.inf, 193.0))

# Least tensile strength of music wire to ASTM A228 by diameter, [in] to [ksi]: a wire maker's table
# of the standard.
WIRE_STRENGTH: Final = (
    (0.004, 439), (0.005, 426), (0.006, 415), (0.007, 407), (0.008, 399), (0.009, 393), (0.010, 387), (0.011, 382),
    (0.012, 377), (0.013, 373), (0.014, 369), (0.016, 362), (0.018, 356), (0.020, 350), (0.022, 345), (0.024, 341),
    (0.026, 337), (0.032, 327), (0.034, 324), (0.036, 321), (0.038, 318), (0.040, 315), (0.042, 313), (0.045, 309),
    (0.048, 306), (0.051, 303), (0.055, 300), (0.059, 296), (0.063, 293),
)  # fmt: skip
_MPA_PER_KSI: Final = 6.894757
_MM_PER_INCH: Final = 25.4

HEX_AREA: Final = 0.866  # of the square of the width across flats
MOST_CORE: Final = 0.95  # of the gauge: some winding is always left

# Core of a wound string [mm]: a + b * gauge, by relative least squares over the cores that the inharmonicity of
# measured strings asks for, hexagonal and wound as usual. Guitars: seven strings of J. M. Hjerrild, M. G.
# Christensen, ICASSP 2019 ([HC19]), .0245 .032 .042 .052 in (acoustic) and .026 .038 .054 in (electric), inner
# gauges taken from usual sets. Basses: four roundwound strings, .045 .065 .085 .105 in, from openly licensed
# recordings (no publication; a scale of 864 mm is assumed). The fit leaves 5 % (rms) of the guitars, 2 % of the
# basses. The lines meet near 1.16 mm.
GUITAR_CORES: Final = (0.252, 0.157)
BASS_CORES: Final = (0.330, 0.090)
CORE_STRINGS: Final = 11
CORE_GAUGES: Final = (0.0245 * _MM_PER_INCH, 0.105 * _MM_PER_INCH)
CORE_DOUBT: Final = (0.15, 0.20)  # part by which an estimate may be off: among those gauges, and beyond them


def strength(diameter: float) -> float:
    """Give the least tensile strength of music wire.

    Parameters
    ----------
    diameter
        Diameter [mm].

    Returns
    -------
    float
        Strength [MPa]: the table of ASTM A228, linear in between; outside it ``2211 / d^0.145``
        (Shigley, table 10-4, from memory).
    """
    inches = diameter / _MM_PER_INCH
    table = WIRE_STRENGTH
    if not table[0][0] <= inches <= table[-1][0]:
        return 2211.0 / math.pow(diameter, 0.145)
    for (low, strong), (high, weak) in pairwise(table):
        if inches <= high:
            ksi = strong + (weak - strong) * (inches - low) / (high - low)
            break
    return ksi * _MPA_PER_KSI


def modulus(diameter: float) -> float:
    """Give Young's modulus of music wire [GPa] by its diameter [mm], from `STEEL_MODULUS`."""
    return next(found for limit, found in STEEL_MODULUS if diameter <= limit)


def area(diameter: float, shape: str = "round") -> float:
    """Give the section of a wire [mm2].

    Parameters
    ----------
    diameter
        Diameter, across flats where hexagonal [mm].
    shape
        One of `CORE_SHAPES`.
    """
    return (math.pi / 4 if shape == "round" else HEX_AREA) * diameter**2


def bending(diameter: float, shape: str = "round") -> float:
    """Give the bending stiffness EI of a wire [N mm2], ``EA d^2 / 16``.

    Parameters
    ----------
    diameter
        Diameter, across flats where hexagonal [mm].
    shape
        One of `CORE_SHAPES`. A hexagon's section has 11 % more, 0.0601 d^4; real ones are rounded, and the
        estimated cores are fitted with this formula.
    """
    return 1e3 * modulus(diameter) * area(diameter, shape) * diameter**2 / 16


def wound_mass(gauge: float, core: float, shape: str, winding: str) -> float:
    """Give the mass per length of a wound string [kg/m].

    Parameters
    ----------
    gauge, core
        Diameters of the whole and of its core [mm].
    shape
        Of the core, one of `CORE_SHAPES`.
    winding
        One of `WINDINGS`.

    Returns
    -------
    float
        Core and winding of round wire, turns touching: one turn of length ``pi (core + wire)`` in each wire's width.
    """
    wire = (gauge - core) / 2
    return (STEEL * area(core, shape) + WINDINGS[winding] * math.pi**2 * wire * (core + wire) / 4) * 1e-6


def estimated_core(gauge: float) -> float:
    """Estimate the core of a wound string from measured ones.

    Parameters
    ----------
    gauge
        Diameter of the whole [mm].

    Returns
    -------
    float
        Core [mm]: `GUITAR_CORES` up to where that line meets `BASS_CORES`, from there on the other.
    """
    return min(start + slope * gauge for start, slope in (GUITAR_CORES, BASS_CORES))


def core_doubt(gauge: float) -> float:
    """Give the part by which an estimated core may be off, by the gauge of the whole [mm]."""
    thinnest, thickest = CORE_GAUGES
    among, beyond = CORE_DOUBT
    # A gauge written in thousandths of an inch must not lie outside by rounding.
    return among if thinnest - 1e-6 <= gauge <= thickest + 1e-6 else beyond


def measured_core(inharmonicity: float, span: float, shape: str, mass: tuple[float, float]) -> float:
    """Give the core that a measured inharmonicity asks for.

    Parameters
    ----------
    inharmonicity
        B of the partials ``n f sqrt(1 + B n^2)``, which is ``pi^2 EI / (T L^2)`` [1].
    span
        ``T L^2 / mass`` of the string at its pitch, ``(2 f L)^2 L^2`` [N mm2 m/kg].
    shape
        Of the core, one of `CORE_SHAPES`.
    mass
        Mass per length as ``a + b core^2``: a [kg/m] and b [kg/m per mm2].

    Returns
    -------
    float
        Core [mm]. Core, mass and tension hang on each other; in the square of the core they make a
        quadratic equation.
    """
    asked = inharmonicity * span / math.pi**2  # EI = asked * mass
    constant, slope = mass
    # The modulus falls with the size, so the core found with it grows from row to row: one row fits its own core.
    for limit, found in STEEL_MODULUS:
        stiff = 1e3 * found * area(1.0, shape) / 16  # EI over core^4
        square = (asked * slope + math.sqrt((asked * slope) ** 2 + 4 * stiff * asked * constant)) / (2 * stiff)
        if (core := math.sqrt(square)) <= limit:
            break
    return core
