"""A job as a program: RS-274 (ISO 6983) in the subset that small controllers and grown ones both take."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import numpy as np

from slotwright.layout import cautions
from slotwright.layout.machine.setting import DOWEL_DEPTH
from slotwright.layout.units import MM_PER_INCH

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from numpy.typing import NDArray

    from slotwright.layout.machine.jobs import Job, Milling
    from slotwright.layout.machine.passes import Run
    from slotwright.layout.machine.setting import Setting
    from slotwright.layout.units import Unit

    Floats = NDArray[np.float64]

LONGEST: Final = 70  # characters of a line; small controllers hold no longer ones
DWELL: Final = 3.0  # s for the spindle to reach its speed; below 10, which some controllers take for milliseconds
_DECIMALS: Final[dict[Unit, int]] = {"mm": 4, "in": 5}
_FEED_DECIMALS: Final[dict[Unit, int]] = {"mm": 0, "in": 2}
_PLAIN: Final = frozenset("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789 .,:+-/='&")


def program(milling: Milling, job: Job, unit: Unit) -> str:
    """Write the program of a job.

    Parameters
    ----------
    milling, job
        All that is milled, and the job.
    unit
        Unit of its lengths.

    Returns
    -------
    str
        Its text: ASCII, lines of at most 70 characters, those with words numbered.
    """
    lines = [line for comment in _comments(milling, job, unit) for line in _wrapped(comment)]
    writer = _Writer(milling.setting, job, unit)
    writer.begin()
    for work in job.works:
        for run in work.runs:
            writer.run(run)
    writer.end()
    return "\n".join([*lines, *writer.lines]) + "\n"


def _comments(milling: Milling, job: Job, unit: Unit) -> Iterator[str]:
    """Say what the file does, with what, from which zero, and what to mind."""
    setting, plan = milling.setting, milling.setting.plan
    machine, cutter = setting.machine, job.cutter

    def said(length: float) -> str:
        digits = 3 if unit == "mm" else 4
        return f"{length if unit == 'mm' else length / MM_PER_INCH:.{digits}f} {unit}"

    revision = f", revision {plan.job.revision}" if plan.job and plan.job.revision else ""
    yield f"plan: {plan.title}{revision}"
    yield f"file {job.number} of {milling.jobs[-1].number}: {', '.join(job.operations)}"
    yield (
        f"cutter: {cutter.shape}, diameter {said(cutter.diameter)}, {cutter.flutes} flutes, "
        f"edges {said(cutter.cutting_length)}, {cutter.spindle} rev/min"
    )
    left, low, right, high = setting.stock
    yield f"blank: {said(right - left)} x {said(high - low)} x {said(setting.thickness)}"
    yield zero_said(setting, said)
    for number, (x1, y1, x2, y2, height) in enumerate(machine.keep_out, start=1):
        (a, b), (c, d) = ((x - setting.origin[0], y - setting.origin[1]) for x, y in ((x1, y1), (x2, y2)))
        yield f"clamp {number}: X {said(a)} to {said(c)}, Y {said(b)} to {said(d)}, {said(height)} above the blank"
    yield f"travel: {said(setting.travel - setting.thickness)} above the blank"
    if "holes" in job.operations:
        yield f"the holes go {said(DOWEL_DEPTH)} into the spoil board: nothing else may lie under the blank"
    if job is milling.jobs[0]:
        yield "cut a test slot in an offcut first and try the wire in it"
    yield from cautions.MILLING


def zero_said(setting: Setting, said: Callable[[float], str]) -> str:
    """Say where the zero of the programs is.

    Parameters
    ----------
    setting
        The blank on the machine.
    said
        Writes a length [mm] with its unit.
    """
    where = {"nut": "the nut line on the centre line", "corner": "the corner of the blank of least X and Y"}
    machine = setting.machine
    words = f"zero: X Y {where[machine.zero]}, Z "
    if machine.z_zero == "spoil board":
        return f"{words}the spoil board under the blank"
    x, y = (said(place - zero) for place, zero in zip(machine.touch, setting.origin, strict=False))
    return f"{words}the top of the blank, touched at X {x} Y {y}, a point that nothing cuts"


def _wrapped(words: str) -> Iterator[str]:
    """Put words into comments that every controller passes over, none too long."""
    plain = "".join(letter if letter in _PLAIN else " " for letter in _spelt(words))
    line = ""
    for word in (part for each in plain.split() for part in _cut(each)):
        if line and len(line) + 1 + len(word) > LONGEST - 2:
            yield f"({line})"
            line = ""
        line = f"{line} {word}".strip()
    yield f"({line})"


def _spelt(words: str) -> str:
    """Spell signs that have a meaning of their own to some controller, even in a comment."""
    for sign, plain in (("\u2212", "-"), ("%", "percent"), (";", ",")):
        words = words.replace(sign, plain)
    return words


def _cut(word: str) -> Iterator[str]:
    for start in range(0, len(word), LONGEST - 2):
        yield word[start : start + LONGEST - 2]


class _Writer:
    """Writes moves, each word only where it changes."""

    def __init__(self, setting: Setting, job: Job, unit: Unit) -> None:
        self.lines: list[str] = []
        self._setting, self._job, self._unit = setting, job, unit
        self._decimals = _DECIMALS[unit]
        self._count = 0
        self._here: list[str | None] = [None, None, None]
        self._feed = ""

    def begin(self) -> None:
        """Begin with units, plane, absolute places, safe height, spindle."""
        unit = {"mm": "G21", "in": "G20"}[self._unit]
        self._line(f"{unit} G17 G90 G94 G40 G49 G80 G54")
        self._rapid(z=self._setting.travel)
        if self._setting.machine.spindle_by_hand:
            self.lines += _wrapped("stop: switch the router on, wait until it runs, then go on")
            self._line("M0")
        self._line(f"S{self._job.cutter.spindle} M3")
        self._line(f"G4 P{DWELL:.1f}")

    def run(self, run: Run) -> None:
        """Travel to a run, cut along it, go up again."""
        cutter = self._job.cutter
        self.lines += _wrapped(run.words)
        x, y, z = run.points[0]
        self._rapid(x, y)
        self._rapid(z=max(self._setting.approach, z))
        self._cut((x, y, z), cutter.plunge)
        feed = float(cutter.feed or cutter.plunge)
        for before, here, slow in zip(run.points, run.points[1:], run.slow, strict=False):
            way, down = float(np.linalg.norm(here - before)), float(before[2] - here[2])
            wanted = feed / cutter.flutes if slow else feed
            # However steep, a tip goes down no faster than it may plunge.
            self._cut(here, min(wanted, cutter.plunge * way / down) if down > 0 else wanted)
        # Up at feed as well: nothing travels below where it may begin.
        x, y, z = run.points[-1]
        self._cut((x, y, max(self._setting.approach, z)), feed)
        self._rapid(z=self._setting.travel)

    def end(self) -> None:
        """End at safe height with the spindle off."""
        if self._setting.machine.spindle_by_hand:
            self.lines += _wrapped("stop: switch the router off")
            self._line("M0")
        self._line("M5")
        self._line("M30")

    def _rapid(self, x: float | None = None, y: float | None = None, z: float | None = None) -> None:
        if words := self._words((x, y, z)):
            self._line(f"G0 {words}")

    def _cut(self, place: Sequence[float] | Floats, feed: float) -> None:
        words = self._words(place)
        if not words:
            return
        digits = _FEED_DECIMALS[self._unit]
        size = feed / (1.0 if self._unit == "mm" else MM_PER_INCH)
        text = f"F{math.floor(size * 10**digits + 1e-6) / 10**digits:.{digits}f}"
        self._line(f"G1 {words}{'' if text == self._feed else f' {text}'}")
        self._feed = text

    def _words(self, place: Sequence[float | None] | Floats) -> str:
        """Write the coordinates that change."""
        words = []
        for axis, value in enumerate(place):
            if value is None:
                continue
            size = (float(value) - float(self._setting.origin[axis])) / (1.0 if self._unit == "mm" else MM_PER_INCH)
            text = f"{round(size, self._decimals) + 0.0:.{self._decimals}f}"
            if text != self._here[axis]:
                self._here[axis] = text
                words.append(f"{'XYZ'[axis]}{text}")
        return " ".join(words)

    def _line(self, words: str) -> None:
        self._count += 1
        self.lines.append(f"N{self._count} {words}")
