"""Strings from what a maker knows: gauge, kind and pitch give mass, tension and stiffness."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import Final, Protocol

from slotwright.layout.physics import polymer, wire

A4: Final = 440.0  # Hz, ISO 16

KINDS: Final = ("plain steel", "wound steel", "plain nylon", "wound nylon", "fluorocarbon")

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
        """One of `wire.CORE_SHAPES`."""

    @property
    def winding(self) -> str | None:
        """One of `wire.WINDINGS`."""

    @property
    def mass(self) -> float | None:
        """Mass per length [g/m]."""

    @property
    def string_constant(self) -> float | None:
        """EA over tension: how it stretches."""

    @property
    def bending(self) -> float | None:
        """Bending stiffness EI [N mm2]."""

    @property
    def inharmonicity(self) -> float | None:
        """B of the open string's partials, ``n f sqrt(1 + B n^2)`` [1]."""


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
        The core was neither stated nor measured but estimated from the gauge.
    stress_ratio
        Stress over the least strength of music wire of that size; None for polymers.
    bending_estimated
        The bending stiffness is that of other strings of its kind, whatever their gauge.
    """

    frequency: float
    mass: float
    tension: float
    axial: float
    bending: float
    core: float | None
    core_estimated: bool
    stress_ratio: float | None
    bending_estimated: bool = False

    @property
    def constant(self) -> float:
        """EA over tension: cents of pitch per cent of stretch, about."""
        return self.axial / self.tension

    @property
    def estimated(self) -> bool:
        """Its stiffness is an estimate with a range: of the core, or of the bending stiffness."""
        return self.core_estimated or self.bending_estimated

    @property
    def inharmonicity(self) -> float:
        """B of the partials ``n f sqrt(1 + B n^2)``: ``pi^2 EI / (T L^2)`` with ``T = mass (2 L f)^2`` [1]."""
        return 4e-6 * (math.pi * self.frequency / self.tension) ** 2 * self.mass * self.bending


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


def body(string: Stated, scale: float, *, end: int = 0) -> StringBody:
    """Calculate what a string is made of and how hard it is strung.

    Parameters
    ----------
    string
        What is stated; `unstated` found nothing wanting.
    scale
        The string's own scale length [mm].
    end
        -1 or 1 for the least or the most stiffness that an estimate leaves open, to see what hangs on it.

    Returns
    -------
    StringBody
        Mass, tension and stiffness; whatever the plan states overrides what the gauge gives.
    """
    pitch = string.frequency if string.pitch is None else frequency(string.pitch)
    if string.gauge is None or pitch is None:
        raise ValueError(f"{unstated(string)} of the string is not stated")
    made = _steel if string.kind in ("plain steel", "wound steel") else _polymer
    return made(string, string.gauge, pitch, scale, end)


def _steel(string: Stated, gauge: float, pitch: float, scale: float, end: int) -> StringBody:
    estimated = False
    shape, core = "round", gauge
    mass = wire.STEEL * wire.area(gauge) * 1e-6
    if string.kind == "wound steel":
        shape, winding = string.core_shape or wire.USUAL_CORE_SHAPE, string.winding or wire.USUAL_WINDING
        if string.core is not None:
            core = string.core
        elif string.inharmonicity is not None:
            mass_of = _mass_by_core(string, gauge, shape, winding)
            core = wire.measured_core(string.inharmonicity, tension(1.0, scale, pitch) * scale**2, shape, mass_of)
        else:
            core, estimated = wire.estimated_core(gauge) * (1 + end * wire.core_doubt(gauge)), True
        core = min(core, wire.MOST_CORE * gauge)
        mass = wire.wound_mass(gauge, core, shape, winding)
    if string.mass is not None:
        mass = string.mass * 1e-3
    pull, area = tension(mass, scale, pitch), wire.area(core, shape)
    return StringBody(
        frequency=pitch,
        mass=mass,
        tension=pull,
        axial=1e3 * wire.modulus(core) * area if string.string_constant is None else string.string_constant * pull,
        bending=_bending(string, wire.bending(core, shape), pull, scale),
        core=core,
        core_estimated=estimated,
        stress_ratio=pull / area / wire.strength(core),
    )


def _polymer(string: Stated, gauge: float, pitch: float, scale: float, end: int) -> StringBody:
    kind, wound = string.kind or "", string.kind == "wound nylon"
    mass = polymer.mass(kind, gauge) if string.mass is None else string.mass * 1e-3
    pull = tension(mass, scale, pitch)
    usual, doubt = polymer.WOUND_BENDING
    calculated = usual + end * doubt if wound else polymer.bending(kind, gauge, pull)
    return StringBody(
        frequency=pitch,
        mass=mass,
        tension=pull,
        axial=(string.string_constant or polymer.CONSTANT) * pull,
        bending=_bending(string, calculated, pull, scale),
        core=None,
        core_estimated=False,
        stress_ratio=None,
        bending_estimated=wound and string.bending is None and string.inharmonicity is None,
    )


def _mass_by_core(string: Stated, gauge: float, shape: str, winding: str) -> tuple[float, float]:
    """Give the mass of a wound steel string as ``a + b core^2``: a [kg/m] and b [kg/m per mm2]."""
    if string.mass is not None:
        return string.mass * 1e-3, 0.0
    hollow = wire.wound_mass(gauge, 0.0, shape, winding)
    return hollow, (wire.wound_mass(gauge, gauge, shape, winding) - hollow) / gauge**2


def _bending(string: Stated, calculated: float, pull: float, scale: float) -> float:
    """Give EI [N mm2]: stated, or ``B T L^2 / pi^2`` from a stated inharmonicity, or as calculated."""
    if string.inharmonicity is not None:
        return string.inharmonicity * pull * scale**2 / math.pi**2
    return calculated if string.bending is None else string.bending
