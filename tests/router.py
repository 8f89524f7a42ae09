"""A router of our own: programs as another interpreter reads them, and what a cutter leaves of the wood.

Nothing here knows how the engine plans, reads or simulates a program.
"""

from __future__ import annotations

import os
import re
import subprocess
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from pathlib import Path

INCH = 25.4
CANONICAL = re.compile(r"^ *\d+ N[\d.]+ +(\w+)\((.*)\)$", re.MULTILINE)


@dataclass(frozen=True)
class Canonical:
    """What the interpreter makes of a program: for each move whether it is travel, its end, feed and spindle [mm]."""

    travel: np.ndarray
    end: np.ndarray  # (n, 3)
    feed: np.ndarray
    turning: np.ndarray

    @property
    def start(self):
        """Where each begins; the first two from nowhere, high above."""
        return np.vstack((self.end[:1] + np.array([0, 0, 50]), self.end[:-1]))


def interpreted(folder: Path, scratch: Path, text: str) -> Canonical:
    """Run a program through the interpreter; whatever it refuses ends the test."""
    (scratch / "program.ngc").write_text(text, "ascii")
    (scratch / "tools.tbl").write_text(
        "T1 P1 Z0 D0.6 ;\n"
    )  # it must be there, or the interpreter ends without a word
    (scratch / "variables.var").write_text("")
    done = subprocess.run(
        [folder / "usr/bin/rs274", "-t", "tools.tbl", "-v", "variables.var", "-g", "program.ngc"],
        cwd=scratch,
        env={**os.environ, "LD_LIBRARY_PATH": f"{folder}/usr/lib:{folder}/usr/lib/x86_64-linux-gnu"},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, (done.stdout[-400:], done.stderr[-400:])
    assert "PROGRAM_END" in done.stdout
    unit, feed, turning, moves = 1.0, np.nan, False, []
    for name, given in CANONICAL.findall(done.stdout):
        if name == "USE_LENGTH_UNITS":
            unit = INCH if "INCHES" in given else 1.0
        elif name == "SET_FEED_RATE":
            feed = float(given) * unit
        elif name == "START_SPINDLE_CLOCKWISE":
            turning = True
        elif name == "STOP_SPINDLE_TURNING":
            turning = False
        elif name in ("STRAIGHT_FEED", "STRAIGHT_TRAVERSE"):
            place = [float(axis) * unit for axis in given.split(", ")[:3]]
            moves.append((name == "STRAIGHT_TRAVERSE", place, feed, turning))
        else:
            assert "ARC" not in name
            assert name not in ("PROBE", "DWELL") or float(given) < 10
    travel, end, feeds, on = zip(*moves, strict=True)
    return Canonical(np.array(travel), np.array(end), np.array(feeds), np.array(on))


def along(program: Canonical, step: float, which=None):
    """Walk along moves: places [mm] no further apart than a step, and the move that each belongs to."""
    places, moves = [], []
    for move in np.flatnonzero(~program.travel) if which is None else which:
        start, end = program.start[move], program.end[move]
        many = max(int(np.ceil(np.linalg.norm(end - start) / step)), 1)
        places.append(start + np.linspace(0, 1, many + 1)[:, None] * (end - start))
        moves.append(np.full(many + 1, move))
    return np.concatenate(places), np.concatenate(moves)


class Wood:
    """Wood on a grid, cut by a tip that is put down at one place after the other."""

    def __init__(self, left, low, right, high, step, top):
        self.x, self.y, self.step = np.arange(left, right, step), np.arange(low, high, step), step
        self.height = top(*np.meshgrid(self.x, self.y, indexing="ij"))

    def cut(self, places, radius, ball=False):
        """Put the tip down at places (n, 3)."""
        reach = int(radius / self.step) + 2
        inside = (
            (places[:, 0] > self.x[0] - radius)
            & (places[:, 0] < self.x[-1] + radius)
            & (places[:, 1] > self.y[0] - radius)
            & (places[:, 1] < self.y[-1] + radius)
        )
        for x, y, z in places[inside]:
            i, j = round((x - self.x[0]) / self.step), round((y - self.y[0]) / self.step)
            at = np.s_[max(i - reach, 0) : i + reach + 1, max(j - reach, 0) : j + reach + 1]
            off = (self.x[at[0], None] - x) ** 2 + (self.y[None, at[1]] - y) ** 2
            bottom = z + radius - np.sqrt(np.maximum(radius**2 - off, 0)) if ball else z
            here = self.height[at]
            np.minimum(here, np.where(off <= radius**2, bottom, np.inf), out=here)
