"""A stiff string between its ends: exact frequencies, and what a real instrument makes of it at each fret.

Solved from ``T y'' - EI y'''' = mu y_tt`` and its boundary conditions, not from the law that is fitted to
recordings.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from forward import World, frequency
from numpy.typing import NDArray
from scipy.optimize import brentq

Array = NDArray[np.float64]

STEEL_MODULUS = 200e3  # N/mm2; 197-203 GPa brings the law to the plain strings of Hjerrild and Christensen 2019
STEEL_DENSITY = 7850.0  # kg/m3


@dataclass(frozen=True)
class String:
    """A string as it sounds: between fret or nut and saddle.

    ``clamped`` counts the clamped ends: 1 is clamped at fret or nut and hinged at the saddle, 2 both
    clamped, 0 both hinged.
    """

    length: float  # mm
    tension: float  # N
    bending: float  # EI, N mm2
    mass: float  # kg/m
    kind: str = "steel"  # or wound, nylon: how fast it dies away
    clamped: int = 1

    @property
    def inharmonicity(self) -> float:
        """B by its definition, pi^2 EI / (T L^2)."""
        return np.pi**2 * self.bending / (self.tension * self.length**2)

    @property
    def limp(self) -> float:
        """Give the first frequency that it would have without stiffness [Hz]."""
        return float(np.sqrt(self.tension / self.mass) / (2e-3 * self.length))

    def frequencies(self, many: int = 1) -> Array:
        """Give its first frequencies at no amplitude [Hz], of the shape (many,).

        A mode is made of ``sin`` and ``cos`` of ``b x`` and ``sinh`` and ``cosh`` of ``a x``, with
        ``a^2 = b^2 + T / EI`` and ``mu w^2 = EI b^4 + T b^2``. Its ends fix ``z = b L``:

        hinged at both ``sin z = 0``; clamped at one ``tan z / z = tanh(a L) / (a L)``; clamped at both
        ``tan(z/2) / z = tanh(a L / 2) / (a L)`` for the modes that are odd about the middle and
        ``-z tan(z/2) = a L tanh(a L / 2)`` for the even ones. Each is written as ``z = n pi`` and an arc
        between nothing and a right angle for every clamped end, and repeated until it stands still: one step
        brings it nearer by ``a L``, which is 100 and more.
        """
        n = np.arange(1, many + 1)
        if not self.bending:
            return n * self.limp
        firm = self.length * np.sqrt(self.tension / self.bending)
        z = n * np.pi
        for _ in range(60):
            stiff = np.hypot(z, firm)
            if self.clamped == 1:
                arc = np.arctan(z / stiff * np.tanh(stiff))
            else:
                arc = 2 * np.arctan(z / stiff * np.tanh(stiff / 2) ** np.where(n % 2, -1, 1))
            z = n * np.pi + (arc if self.clamped else 0)
        return np.asarray(z / np.pi * self.limp * np.sqrt(1 + (z / firm) ** 2), float)

    def fitted(self, many: int) -> tuple[float, float]:
        """Give f0 [Hz] and B that the law ``f_n = n f0 sqrt(1 + B n^2)`` has when fitted to exact partials."""
        n = np.arange(1, many + 1)
        slope, level = np.polyfit(n**2.0, (self.frequencies(many) / n) ** 2, 1)
        return float(np.sqrt(level)), float(slope / level)

    def tuned(self, hertz: float) -> String:
        """Give it with the tension that brings its first frequency where it is wanted [Hz]."""
        slack = self.mass * (2e-3 * self.length * hertz) ** 2

        def sharp(tension: float) -> float:
            return float(replace(self, tension=tension).frequencies()[0]) - hertz

        return replace(self, tension=brentq(sharp, 0.3 * slack, 1.1 * slack, xtol=1e-13, rtol=1e-14))


def steel(diameter: float, length: float, hertz: float) -> String:
    """Make a plain steel string of a diameter [mm], tuned [Hz]."""
    mass = STEEL_DENSITY * np.pi * diameter**2 / 4 * 1e-6
    return String(length, 1.0, STEEL_MODULUS * np.pi * diameter**4 / 64, mass).tuned(hertz)


def wound(core: float, mass: float, length: float, hertz: float) -> String:
    """Make a wound string from its steel core [mm], which alone bends, and mass [kg/m], tuned [Hz]."""
    return String(length, 1.0, STEEL_MODULUS * np.pi * core**4 / 64, mass, "wound").tuned(hertz)


def nylon(bending: float, mass: float, length: float, hertz: float) -> String:
    """Make a nylon string from EI [N mm2] and mass [kg/m], tuned [Hz]."""
    return String(length, 1.0, bending, mass, "nylon").tuned(hertz)


# By name: what single notes are drawn from. Cores of wound strings as fit the B of Hjerrild and Christensen 2019,
# masses such as bring them to that B; nylon EI and T: J. Woodhouse, Acta Acustica united with Acustica 90 (2004)
# 945-965, table I, mass from T at 650 mm.
MADE = {
    "steel E4": steel(0.305, 645, frequency("E4")),
    "steel B3": steel(0.406, 645, frequency("B3")),
    "steel G3": steel(0.432, 629, frequency("G3")),
    "wound D3": wound(0.366, 0.00337, 645, frequency("D3")),
    "wound A2": wound(0.391, 0.00568, 645, frequency("A2")),
    "wound E2": wound(0.469, 0.00869, 645, frequency("E2")),
    "bass E1": wound(0.561, 0.0314, 864, frequency("E2") / 2),
    "nylon E4": nylon(130, 70.3 / (1.3 * frequency("E4")) ** 2, 650, frequency("E4")),
    "nylon B3": nylon(160, 53.4 / (1.3 * frequency("B3")) ** 2, 650, frequency("B3")),
    "nylon D3": nylon(51, 71.2 / (1.3 * frequency("D3")) ** 2, 650, frequency("D3")),
}


def at_fret(string: String, fret: int, *, sharp: float = 0.0) -> String:
    """Stop an ideal neck's string at a fret, drawn sharp by some cents through more tension."""
    stopped = replace(string, length=string.length * 2 ** (-fret / 12))
    return stopped if not sharp else stopped.tuned(float(stopped.frequencies()[0]) * 2 ** (sharp / 1200))


def of_instrument(world: World, string: int, fret: int, *, off: float = 0.0, tune: bool = True) -> String:
    """Give a string of an instrument as it sounds at a fret: its true length, tension and mass, all as played.

    Parameters
    ----------
    world
        The instrument of `forward`, with what is wrong with it.
    string, fret
        Which string, 1 the highest, and where it is stopped; 0 is open.
    off
        How far the open string is out of tune [cents].
    tune
        Whether the open string is brought to pitch, stiffness and all; else it has the tension of the plan.

    """
    open_length, tension, mass = (float(part) for part in world.open(string))
    pitch, _, ea, bending, gauge = world.strings[string - 1]
    assert not world.pull, "a magnet that bends the last frets upward is no matter of the string itself"
    kind = "steel" if bending > 0.5 * ea * gauge**2 / 16 else "wound"
    sounding = String(open_length, tension, bending * world.stiffness**2, mass, kind)
    if tune:
        sounding = sounding.tuned(frequency(pitch) * 2 ** (off / 1200))
    if not fret:
        return sounding
    speaking, longer, axial = (float(np.squeeze(part)) for part in world.pressed(string, [fret]))
    return replace(
        sounding, length=speaking, tension=sounding.tension + axial * longer, mass=sounding.mass / (1 + longer)
    )
