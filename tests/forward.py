"""An instrument that sounds: a second, independent model of fretted strings, for the bench to be tried on.

Frequencies from first principles (exact lengths, tension from stretch, stiff string), not errors in
cents; flat board, straight neck, nothing taken from the engine but the plan's own numbers.
"""

from __future__ import annotations

import dataclasses

import numpy as np
from helpers import contents, plan
from scipy.optimize import minimize_scalar

STRINGS = (  # frequency [Hz], mass [kg/m], EA [N], EI [N mm2], gauge [mm]; invented, within what guitars carry
    ("E4", 0.000401, 10310.0, 41.6, 0.254),
    ("B3", 0.000678, 17416.0, 118.7, 0.330),
    ("G3", 0.00114, 29254.0, 340.0, 0.430),
    ("D3", 0.00184, 19000.0, 135.0, 0.660),
    ("A2", 0.00343, 24000.0, 210.0, 0.914),
    ("E2", 0.00567, 29500.0, 330.0, 1.168),
)
HEAVIER = (  # another set for the same neck, tuned a tone lower
    ("D4", 0.000678, 17416.0, 118.7, 0.330),
    ("A3", 0.00103, 26400.0, 273.0, 0.406),
    ("F3", 0.00177, 18300.0, 125.0, 0.610),
    ("C3", 0.00290, 22000.0, 180.0, 0.813),
    ("G2", 0.00520, 27500.0, 285.0, 1.118),
    ("D2", 0.00880, 35000.0, 460.0, 1.473),
)
SCALE, SPREAD, AT_SADDLE = 640.0, 36.0, 52.0
NUT_ACTION, ACTION = 0.35, 1.7
PRESS = 8.0


def frequency(pitch):
    step = {"C": -9, "D": -7, "E": -5, "F": -4, "G": -2, "A": 0, "B": 2}[pitch[0]]
    return 440.0 * 2 ** ((step + 12 * (int(pitch[1]) - 4)) / 12)


def flat_plan(made_of=STRINGS, **compensation):
    """Give the plan of the same instrument, as its owner would write it down."""
    strings = []
    for pitch, mass, ea, ei, gauge in made_of:
        tension = mass * (2e-3 * SCALE * frequency(pitch)) ** 2
        strings.append({"pitch": pitch, "gauge": gauge, "kind": "plain steel", "mass": 1e3 * mass,
                        "string_constant": ea / tension, "bending": ei})  # fmt: skip
    made = contents(
        strings=strings,
        scale={"length": SCALE},
        frets={"count": 22},
        board={
            "nut_width": 43,
            "string_spread_nut": SPREAD,
            "string_spread_saddle": AT_SADDLE,
            "spacing": "even centres",
        },
        setup={"nut_action": NUT_ACTION, "action": ACTION, "relief": 0, "press_distance": PRESS, "clamped_ends": 1},
        compensation={"aim": [{"strings": [1, 2, 3], "frets": [12, 17]}, {"strings": [4, 5, 6], "frets": [12]}]},
        bridge={"kind": "individual saddles", "travel": 14.0, "thread_pitch": 0.5, "screw_from": "rear"},
    )
    for key, value in compensation.items():
        if key in ("setup", "bridge", "calibration"):
            made[key] = {**made.get(key, {}), **value}
        else:
            made["compensation"][key] = value
    return plan(**made)


@dataclasses.dataclass
class World:
    """One real instrument, with what is wrong with it."""

    saddle: np.ndarray  # mm, where each saddle stands
    slot_too_high: float = 0.0  # mm
    nut_too_far: float = 0.0  # mm from the first fret
    crown: tuple = ()  # (fret, mm toward the bridge, strings it concerns)
    pull: float = 0.0  # cents at the last fret, bending up from the octave
    stretch: float | np.ndarray = 1.0
    stiffness: float = 1.0
    strings: tuple = STRINGS
    action: float = ACTION  # mm
    action_off: float | np.ndarray = 0.0  # mm above what the plan says, of all strings or of each
    first_gap_off: float | np.ndarray = 0.0  # mm likewise, of the open string above crown 1
    press_depth: float = 0.0  # mm that the hand presses below the line from saddle to crown
    sideways: tuple | None = (
        None  # mm that each string goes to the side from nut to saddle; None for six, spread evenly
    )

    def _own(self, name, string):
        """Give what one string has of something that may be the same for all."""
        return float(np.broadcast_to(getattr(self, name), len(self.strings))[string - 1])

    def aside(self, string):
        """Give how far a string goes to the side from nut to saddle [mm]."""
        return ((string - 1) / 5 - 0.5) * (AT_SADDLE - SPREAD) if self.sideways is None else self.sideways[string - 1]

    def open(self, string):
        """Give length [mm], tension [N] and mass [kg/m] of an open string with the tension of the plan."""
        pitch, mass, _, _, _ = self.strings[string - 1]
        scale = np.hypot(SCALE, self.aside(string))
        # The maker's tension is that of the plan: what brings the nominal length to pitch.
        tension = mass * (2e-3 * scale * frequency(pitch)) ** 2
        nut, end, height, b = self._straight(string)
        return np.hypot(end - nut, height - b), tension, mass

    def _straight(self, string):
        """Give where an open string stands at nut and saddle: both along it, then its heights there [mm]."""
        scale = np.hypot(SCALE, self.aside(string))
        nut, end = -self.nut_too_far, scale + self.saddle[string - 1]
        # The open string is straight: down the line through what it stands above crowns 12 and 1.
        action_off, gap_off = self._own("action_off", string), self._own("first_gap_off", string)
        first = (scale * (1 - 2 ** (-1 / 12)) - nut) / (scale / 2 - nut)
        b = NUT_ACTION + self.slot_too_high + (gap_off - first * action_off) / (1 - first)
        tilt = (self.action + action_off - b) / (scale / 2 - nut)
        return nut, end, b + tilt * (end - nut), b

    def pressed(self, string, frets):
        """Give speaking lengths [mm] at frets, by what share the string is stretched, and its EA [N]."""
        scale = np.hypot(SCALE, self.aside(string))
        ea = (
            self.strings[string - 1][2] * scale**2 / SCALE**2
        )  # the plan states EA over tension, and that goes with scale
        n = np.asarray(list(frets))
        x = scale * (1 - 2 ** (-n / 12))
        for fret, astray, strings in self.crown:
            if string in strings:
                x = np.where(n == fret, x + astray, x)
        before = np.where(n == 1, 0.0, scale * (1 - 2 ** (-(n - 1) / 12)))
        nut, end, height, b = self._straight(string)
        open_length = np.hypot(end - nut, height - b)
        speaking = np.hypot(end - x, height)
        back = np.minimum(PRESS, (x - before) / 2)
        dip = height / (end - x) * back + self.press_depth
        behind = np.hypot(back, dip) + np.hypot(x - back - nut, b + dip)
        return speaking, self._own("stretch", string) * (speaking + behind - open_length) / open_length, ea

    def errors(self, string, frets=range(1, 23)):
        """Give what a perfect meter reads of fretted notes against the open string [cents]."""
        n = np.asarray(list(frets))
        ei = self.strings[string - 1][3]
        open_length, tension, mass = self.open(string)
        speaking, longer, ea = self.pressed(string, n)
        pulled = tension + ea * longer
        lighter = mass / (1 + longer)

        def sounded(length, pull, linear):
            t = np.sqrt(ei / pull) / length
            stiff = 1 + t + (1 + np.pi**2 / 2) * t**2 + (1 + 2 * np.pi**2 / 3) * t**3
            return 1 / (2e-3 * length) * np.sqrt(pull / linear) * stiff**self.stiffness

        heard = sounded(speaking, pulled, lighter) / sounded(open_length, tension, mass)
        bend = self.pull * (np.maximum(n - 12, 0) / 10) ** 2
        return 1200 * np.log2(heard) - 100 * n + bend

    def moved(self, string, by):
        saddle = self.saddle.copy()
        saddle[string - 1] += by
        return dataclasses.replace(self, saddle=saddle)

    def best_move(self, string, frets, *, minimise="rms"):
        """Find the move that serves the frets best by brute search."""

        def cost(by):
            off = self.moved(string, by).errors(string, frets)
            return np.sum(off**2) if minimise == "rms" else np.max(np.abs(off))

        return minimize_scalar(cost, bounds=(-12, 12), method="bounded", options={"xatol": 1e-7}).x


def healthy(**faults):
    """Give an instrument whose saddles stand where its aim wants them."""
    world = World(np.zeros(6), **faults)
    aims = {string: [12, 17] if string < 4 else [12] for string in range(1, 7)}
    for string, frets in aims.items():
        world = world.moved(string, world.best_move(string, frets))
    return world


def table(rows):
    """Write readings as their file."""
    return ("string,fret,cents\n" + "".join(f"{s},{n},{c:.6f}\n" for s, n, c in rows)).encode()
