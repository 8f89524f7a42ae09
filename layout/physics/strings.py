"""Strings from what a maker knows: gauge, kind and pitch give mass, tension and stiffness."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from itertools import pairwise
from typing import Final, Protocol

A4: Final = 440.0  # Hz, ISO 16

KINDS: Final = ("plain steel", "wound steel", "plain nylon", "wound nylon", "fluorocarbon")
CORE_SHAPES: Final = ("round", "hex")

# kg/m3. Windings from memory; the first three agree with common handbook values.
WINDINGS: Final = {
    "nickel-plated steel": 7900.0,
    "nickel": 8900.0,
    "stainless steel": 7900.0,
    "phosphor bronze": 8800.0,
    "bronze 80/20": 8650.0,
    "silver-plated copper": 8960.0,
}
USUAL_WINDING: Final = "nickel-plated steel"
USUAL_CORE_SHAPE: Final = "hex"

# kg/m3. Steel: common handbook value of carbon steel. Nylon and fluorocarbon: from memory.
DENSITIES: Final = {"steel": 7850.0, "plain nylon": 1070.0, "fluorocarbon": 1780.0}

# Young's modulus of music wire [GPa] up to a diameter [mm]: R. G. Budynas, J. K. Nisbett, "Shigley's
# Mechanical Engineering Design", table 10-5 (from memory; the last two rows too).
STEEL_MODULUS: Final = ((0.8, 203.4), (1.61, 200.0), (3.0, 196.5), (math.inf, 193.0))

# Least tensile strength of music wire to ASTM A228 by diameter, [in] to [ksi]: a wire maker's table
# of the standard.
WIRE_STRENGTH: Final = (
    (0.008, 399), (0.009, 393), (0.010, 387), (0.011, 382), (0.012, 377), (0.013, 373), (0.014, 369),
    (0.016, 362), (0.018, 356), (0.020, 350), (0.022, 345), (0.024, 341), (0.026, 337), (0.032, 327),
)  # fmt: skip
_MPA_PER_KSI: Final = 6.894757
_MM_PER_INCH: Final = 25.4

POLYMER_CONSTANT: Final = 50.0  # EA over tension of nylon and fluorocarbon, about (from memory)
HEX_AREA: Final = 0.866  # of the square of the width across flats
CORE_UNCERTAINTY: Final = 0.15  # part by which an estimated core may be off (from memory)
HIGH_LOAD: Final = 0.80  # of the breaking load: warn

_PITCH: Final = re.compile(r"([A-G])([#b]?)(-?[0-9])")
_SEMITONES: Final = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
_ACCIDENTAL: Final = {"#": 1, "b": -1, "": 0}


class Stated(Protocol):
    """What a plan states of a string; anything may be None."""

    @property
    def pitch(self) -> str | None:
        """Named pitch."""

    @property
    def frequency(self) -> float | None:
        """Frequency instead of a pitch [Hz]."""

    @property
    def gauge(self) -> float | None:
        """Diameter [mm]."""

    @property
    def kind(self) -> str | None:
        """One of `KINDS`."""

    @property
    def core(self) -> float | None:
        """Core of a wound steel string, across flats where it is hexagonal [mm]."""

    @property
    def core_shape(self) -> str | None:
        """One of `CORE_SHAPES`."""

    @property
    def winding(self) -> str | None:
        """One of `WINDINGS`."""

    @property
    def mass(self) -> float | None:
        """Mass per length [g/m]."""

    @property
    def string_constant(self) -> float | None:
        """EA over tension."""

    @property
    def bending(self) -> float | None:
        """Bending stiffness EI [N mm2]."""


@dataclass(frozen=True, slots=True)
class StringBody:
    """A string at its pitch.

    Parameters
    ----------
    frequency
        Pitch of the open string [Hz].
    mass
        Mass per length [kg/m].
    tension
        Tension of the open string [N].
    axial
        Axial stiffness EA [N].
    bending
        Bending stiffness EI [N mm2].
    core
        Diameter of what carries the tension, across flats where hexagonal [mm]; None for polymers.
    core_estimated
        The core was not stated but estimated from the gauge.
    stress_ratio
        Stress over the least strength of music wire of that size; None for polymers.
    """

    frequency: float
    mass: float
    tension: float
    axial: float
    bending: float
    core: float | None
    core_estimated: bool
    stress_ratio: float | None

    @property
    def constant(self) -> float:
        """EA over tension: cents of pitch per cent of stretch, about."""
        return self.axial / self.tension


def frequency(pitch: str) -> float:
    """Give the frequency of a named pitch in twelve equal divisions.

    Parameters
    ----------
    pitch
        Letter, accidental and octave: ``E4``, ``F#3``, ``Bb2``.

    Returns
    -------
    float
        Frequency [Hz] with A4 at 440 Hz (ISO 16).

    Raises
    ------
    ValueError
        The text is not a pitch.
    """
    found = _PITCH.fullmatch(pitch)
    if found is None:
        raise ValueError(f'given "{pitch}"; a pitch is written like E4, F#3 or Bb2')
    letter, accidental, octave = found.groups()
    above_a4 = _SEMITONES[letter] + _ACCIDENTAL[accidental] - 9 + 12 * (int(octave) - 4)
    return A4 * math.pow(2.0, above_a4 / 12)


def unstated(string: Stated) -> str | None:
    """Name the key without which nothing can be said of a string's pitch.

    Parameters
    ----------
    string
        What is stated.

    Returns
    -------
    str or None
        The key, or None when enough is stated.
    """
    if string.pitch is None and string.frequency is None:
        return "pitch"
    if string.gauge is None:
        return "gauge"
    if string.kind is None:
        return "kind"
    return "mass" if string.kind == "wound nylon" and string.mass is None else None


def tension(mass: float, scale: float, pitch: float) -> float:
    """Give the tension that brings a string to its pitch.

    Parameters
    ----------
    mass
        Mass per length [kg/m].
    scale
        Scale length [mm].
    pitch
        Frequency [Hz].

    Returns
    -------
    float
        Tension [N], ``T = mu (2 X f)^2``; reproduces the tensions of M. B. Anderson, R. G.
        Beausoleil, J. Acoust. Soc. Am. 156(1), 683 (2024).
    """
    return mass * (2 * scale / 1000 * pitch) ** 2


def wire_strength(diameter: float) -> float:
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


def body(string: Stated, scale: float, *, core_factor: float = 1.0) -> StringBody:
    """Calculate what a string is made of and how hard it is strung.

    Parameters
    ----------
    string
        What is stated; `unstated` found nothing wanting.
    scale
        The string's own scale length [mm].
    core_factor
        Makes an estimated core thicker or thinner, to see what hangs on the estimate.

    Returns
    -------
    StringBody
        Mass, tension and stiffness; whatever the plan states overrides what the gauge gives.
    """
    pitch = string.frequency if string.pitch is None else frequency(string.pitch)
    if string.gauge is None or pitch is None:
        raise ValueError(f"{unstated(string)} of the string is not stated")
    estimated = False
    core: float | None = None
    if string.kind == "wound steel":
        estimated = string.core is None
        core = string.core if string.core is not None else core_factor * estimated_core(string.gauge)
        core = min(core, 0.95 * string.gauge)
        mass, area = _wound(string, string.gauge, core)
    elif string.kind == "plain steel":
        core = string.gauge
        area = math.pi * core**2 / 4
        mass = DENSITIES["steel"] * area * 1e-6
    else:
        area = math.pi * string.gauge**2 / 4
        mass = DENSITIES.get(string.kind or "", 0.0) * area * 1e-6
    if string.mass is not None:
        mass = string.mass * 1e-3
    pull = tension(mass, scale, pitch)
    if string.string_constant is not None:
        axial = string.string_constant * pull
    elif core is None:
        axial = POLYMER_CONSTANT * pull
    else:
        axial = 1e3 * _modulus(core) * area
    bending = axial * (core or string.gauge) ** 2 / 16 if string.bending is None else string.bending
    stress = None if core is None else pull / area / wire_strength(core)
    return StringBody(pitch, mass, pull, axial, bending, core, estimated, stress)


def estimated_core(gauge: float) -> float:
    """Guess the core of a wound steel string [mm] from its gauge [mm].

    From memory: ``0.22 + 0.19 * gauge`` holds from guitar thirds to bass fifths.
    """
    return 0.22 + 0.19 * gauge


def _wound(string: Stated, gauge: float, core: float) -> tuple[float, float]:
    """Give mass per length [kg/m] and core area [mm2] of a wound steel string."""
    round_core = (string.core_shape or USUAL_CORE_SHAPE) == "round"
    area = math.pi * core**2 / 4 if round_core else HEX_AREA * core**2
    wire = (gauge - core) / 2
    # Round wire, turns touching: one turn of length pi (core + wire) in each wire's width.
    winding = math.pi**2 * wire * (core + wire) / 4
    density = WINDINGS[string.winding or USUAL_WINDING]
    return (DENSITIES["steel"] * area + density * winding) * 1e-6, area


def _modulus(diameter: float) -> float:
    """Give Young's modulus of music wire [GPa]."""
    return next(modulus for limit, modulus in STEEL_MODULUS if diameter <= limit)
