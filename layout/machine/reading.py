"""A program as text -> motions: what a controller would do with it, and every word that it should not hold."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from slotwright.layout.findings import Finding
from slotwright.layout.machine.text import LONGEST
from slotwright.layout.units import MM_PER_INCH

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

_COMMENT: Final = re.compile(r"\([^()]*\)")
_WORD: Final = re.compile(r"([A-Z])([+-]?(?:\d+\.?\d*|\.\d+))")
_G: Final = {0, 1, 4, 17, 20, 21, 40, 49, 54, 80, 90, 94}
_M: Final = {0, 3, 5, 30}
_FIRST: Final = (17, 40, 49, 54, 80, 90, 94)  # to be stated before anything moves, and 20 or 21
_LONGEST_DWELL: Final = 10.0  # s, not to be reached: some controllers read milliseconds
_LEAST_DWELL: Final = 1.0  # s that a spindle needs to reach its speed; common practice, no source
_MOST_SAID: Final = 5  # of one kind of fault in one program


@dataclass(frozen=True, slots=True, eq=False)
class Motions:
    """What a program moves.

    Parameters
    ----------
    lines
        Line of the text of each move, from 1, shape (n,).
    rapid
        Whether it is travel, shape (n,).
    start, end
        Places of the tip [mm], shape (n, 3); NaN where a start is not known.
    feed
        Feed [mm/min], shape (n,); NaN where none was stated.
    spindle
        Turns per minute while it moves, shape (n,); 0 off.
    stopped
        Whether it stopped for a hand before, shape (n,).
    dwell
        Time that it stands still [s].
    switched_off
        Whether the spindle is off at the end by M5.
    findings
        What it should not hold.
    """

    lines: NDArray[np.int64]
    rapid: NDArray[np.bool_]
    start: Floats
    end: Floats
    feed: Floats
    spindle: Floats
    stopped: NDArray[np.bool_]
    dwell: float
    switched_off: bool
    findings: tuple[Finding, ...]


def read_program(text: str, name: str = "program") -> Motions:
    """Interpret a program.

    Parameters
    ----------
    text
        Its text.
    name
        What it is called in what is said of it.

    Returns
    -------
    Motions
        What it moves, in the axes of its zero; what it should not hold is left out and told.
    """
    reader = _Reader(name)
    for number, line in enumerate(text.splitlines(), start=1):
        reader.line(number, line)
    return reader.motions()


class _Reader:
    """Keeps what a controller remembers from line to line."""

    def __init__(self, name: str) -> None:
        self._name = name
        self._found: dict[str, list[Finding]] = {}
        self._moves: list[tuple[int, bool, tuple[float, ...], tuple[float, ...], float, float, bool]] = []
        self._here = (math.nan, math.nan, math.nan)
        self._unit = 0.0
        self._said: set[int] = set()
        self._motion: int | None = None
        self._feed = math.nan
        self._speed = 0.0
        self._turning = False
        self._ended = False
        self._off = False
        self._waited = False
        self._last = 0
        self._dwell = 0.0
        self._stops = 0

    def _tell(self, kind: str, number: int, words: str, **numbers: float) -> None:
        found = self._found.setdefault(kind, [])
        if len(found) < _MOST_SAID:
            found.append(
                Finding(kind, f"{self._name} line {number}", f"{self._name} line {number}: {words}", numbers)
            )

    def line(self, number: int, line: str) -> None:
        """Take one line."""
        if len(line) > LONGEST:
            self._tell("long line", number, f"{len(line)} characters; at most {LONGEST}", length=len(line))
        if not line.isascii() or not line.isprintable():
            self._tell("strange letter", number, "holds more than plain letters")
        bare = _COMMENT.sub(" ", line).strip()
        if not bare:
            return
        words = [(letter, float(value)) for letter, value in _WORD.findall(bare)]
        if _WORD.sub("", bare).strip():
            self._tell("unknown word", number, f"{_WORD.sub('', bare).split()[0]!r} is no word of this subset")
        if self._ended:
            self._tell("after the end", number, "stands after M30")
            return
        self._numbered(number, words)
        self._take(number, [(letter, value) for letter, value in words if letter != "N"])

    def _numbered(self, number: int, words: list[tuple[str, float]]) -> None:
        if not words or words[0][0] != "N":
            self._tell("no number", number, "has no line number")
        elif words[0][1] <= self._last:
            self._tell("line numbers", number, f"N{words[0][1]:g} does not follow N{self._last:g}")
        else:
            self._last = int(words[0][1])

    def _take(self, number: int, words: list[tuple[str, float]]) -> None:
        """Do what the words of a line say, in the order in which a controller does."""
        codes = {letter: [value for each, value in words if each == letter] for letter, _ in words}
        for letter, values in codes.items():
            if letter not in "GMFSXYZP":
                self._tell("unknown word", number, f"{letter} is no word of this subset")
            elif letter not in "GM" and len(values) > 1:
                self._tell("unknown word", number, f"{letter} stands there twice")
        for code in codes.get("G", []):
            self._code(number, code)
        if "F" in codes:
            self._feed = codes["F"][-1] * (self._unit or math.nan)
        if "S" in codes:
            self._speed = codes["S"][-1]
        self._switch(number, codes)
        if 4.0 in codes.get("G", []):
            self._wait(number, codes.get("P", []))
        elif "P" in codes:
            self._tell("unknown word", number, "P without G4")
        if place := {axis: codes[axis][-1] for axis in "XYZ" if axis in codes}:
            self._move(number, place)

    def _code(self, number: int, code: float) -> None:
        if code not in _G:
            self._tell("unknown word", number, f"G{code:g} is no word of this subset")
            return
        if code in (0, 1):
            self._motion = int(code)
        if code in (20, 21):
            unit = MM_PER_INCH if code == 20 else 1.0
            if self._unit and unit != self._unit:
                self._tell("two units", number, "changes the unit of a program that has begun")
            self._unit = unit
        self._said.add(int(code))

    def _switch(self, number: int, codes: dict[str, list[float]]) -> None:
        for code in codes.get("M", []):
            if code not in _M:
                self._tell("unknown word", number, f"M{code:g} is no word of this subset")
            elif code == 3:
                self._turning = True
                if self._speed <= 0:
                    self._tell("spindle", number, "M3 without a speed")
                self._off, self._waited = False, False
            elif code == 5:
                self._turning, self._off = False, True
            elif code == 0:
                self._stops += 1
            else:
                self._ended, self._turning = True, False

    def _wait(self, number: int, times: list[float]) -> None:
        if not times or times[-1] >= _LONGEST_DWELL:
            self._tell("dwell", number, f"G4 P stays below {_LONGEST_DWELL:g}")
        else:
            self._dwell += times[-1]
            self._waited = self._waited or times[-1] >= _LEAST_DWELL

    def _move(self, number: int, place: dict[str, float]) -> None:
        if self._motion is None:
            self._tell("no motion", number, "moves before G0 or G1")
            return
        if not self._unit or not self._said.issuperset(_FIRST):
            self._tell("beginning", number, "moves before units, plane, zero and modes are stated")
        scale = self._unit or 1.0
        x, y, z = (
            place[axis] * scale if axis in place else here for axis, here in zip("XYZ", self._here, strict=True)
        )
        feed = math.inf if self._motion == 0 else self._feed
        if self._motion == 1 and self._turning and not self._waited:
            self._tell("dwell", number, f"feeds before the spindle had {_LEAST_DWELL:g} s to reach its speed")
        if self._motion == 1 and not self._feed > 0:
            self._tell("no feed", number, "feeds without F")
        end = (x, y, z)
        self._moves.append(
            (number, self._motion == 0, self._here, end, feed, self._speed if self._turning else 0.0, self._stops > 0)
        )
        self._here = end

    def motions(self) -> Motions:
        """Give all that was read."""
        if not self._ended:
            self._tell("no end", self._moves[-1][0] if self._moves else 0, "ends without M30")
        lines, rapid, start, end, feed, spindle, stopped = (
            zip(*self._moves, strict=True) if self._moves else ((),) * 7
        )
        return Motions(
            lines=np.array(lines, dtype=np.int64),
            rapid=np.array(rapid, dtype=np.bool_),
            start=np.array(start, dtype=np.float64).reshape(-1, 3),
            end=np.array(end, dtype=np.float64).reshape(-1, 3),
            feed=np.array(feed, dtype=np.float64),
            spindle=np.array(spindle, dtype=np.float64),
            stopped=np.array(stopped, dtype=np.bool_),
            dwell=self._dwell,
            switched_off=self._off,
            findings=tuple(self._all()),
        )

    def _all(self) -> Iterator[Finding]:
        for found in self._found.values():
            yield from found


def minutes(motions: Motions, rapid: float) -> float:
    """Give how long a program runs, without the time that it takes to speed up and slow down.

    Parameters
    ----------
    motions
        What it moves.
    rapid
        Feed of travel [mm/min].

    Returns
    -------
    float
        Time [min].
    """
    way = np.linalg.norm(np.nan_to_num(motions.end - motions.start), axis=1)
    speed = np.where(motions.rapid, rapid, motions.feed)
    with np.errstate(divide="ignore", invalid="ignore"):
        return float(np.nansum(np.where(way > 0, way / speed, 0.0))) + motions.dwell / 60
