"""The verdict on programs: read back as text, interpreted, simulated, and held against the board that is wanted."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely

from slotwright.layout.findings import Finding
from slotwright.layout.machine.heights import Moves, over, swept
from slotwright.layout.machine.jobs import depth_in_wood
from slotwright.layout.machine.outline import ALLOWANCE
from slotwright.layout.machine.reading import Motions, minutes, read_program
from slotwright.layout.machine.setting import APPROACH, DOWEL_DEPTH
from slotwright.layout.machine.wanted import Patch, Wanted

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence

    from numpy.typing import NDArray

    from slotwright.layout.instrument.instrument import Instrument
    from slotwright.layout.machine.jobs import Job, Milling
    from slotwright.layout.machine.setting import Setting

    Floats = NDArray[np.float64]
    Watch = Callable[[Sequence[Patch]], Iterable[Patch]]

_ROUNDED: Final = 0.001  # mm; a program in inches is written to 0.00025
_FELT: Final = 0.01  # mm of wood that a move must take to have met any
_FASTER: Final = 1.005  # times a stated feed: more is too fast
_BATCH: Final = 60_000  # places times moves at once
_LIGHT: Final = 1.5 * ALLOWANCE  # mm at the rim of a cutter that a light pass at full depth may take


@dataclass(frozen=True, slots=True, eq=False)
class Checked:
    """What the simulation of one program found.

    Parameters
    ----------
    minutes
        How long it runs [min].
    deepest, shallowest
        Largest errors of what it cuts to a height, below and above the wanted one [mm]; NaN where there is none.
    closest_rapid
        Least distance of travel from the blank [mm].
    clamps
        Least distance of travel from each clamp [mm].
    """

    minutes: float
    deepest: float
    shallowest: float
    closest_rapid: float
    clamps: tuple[float, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Verdict:
    """What is to be said of programs.

    Parameters
    ----------
    findings
        All that would spoil the board, a cutter or the machine; empty where they may be run.
    programs
        What each of them does.
    """

    findings: tuple[Finding, ...]
    programs: tuple[Checked, ...]


@dataclass(frozen=True, slots=True, eq=False)
class _All:
    """All programs, one after the other."""

    names: tuple[str, ...]
    jobs: tuple[Job, ...]
    read: tuple[Motions, ...]
    moves: Moves
    boxes: Floats
    of: NDArray[np.int64]  # which program each move belongs to
    lines: NDArray[np.int64]
    rapid: NDArray[np.bool_]
    feed: Floats
    spindle: Floats
    stopped: NDArray[np.bool_]

    def at(self, move: int) -> str:
        """Name the line of a move."""
        return f"{self.names[self.of[move]]} line {self.lines[move]}"


def judge(
    instrument: Instrument, milling: Milling, texts: Mapping[str, str], watch: Watch = lambda patches: patches
) -> Verdict:
    """Find out whether programs cut the board that a plan describes, and nothing else.

    Parameters
    ----------
    instrument, milling
        The instrument and how it is milled.
    texts
        Name of each program to its text, in the order in which they are run; one for each job.
    watch
        Goes through what is looked at, perhaps telling how far it got.

    Returns
    -------
    Verdict
        All that is wrong, and what each program does.
    """
    if len(texts) != len(milling.jobs):
        words = f"{len(texts)} programs for {len(milling.jobs)} jobs"
        return Verdict((Finding("missing program", "programs", words, {"programs": len(texts)}),), ())
    every = _read(milling, texts)
    found = [finding for motions in every.read for finding in motions.findings]
    if not np.isfinite(every.moves.end).all():
        return Verdict((*found, Finding("no place", "programs", "a program moves to a place that is none")), ())
    found += _of_words(milling, every)
    found += _of_travel(milling.setting, every)
    found += _of_moves(milling.setting, every)
    errors: dict[str, list[tuple[float, float]]] = {}
    found += _of_board(instrument, milling, every, errors, watch)
    return Verdict(tuple(found), tuple(_checked(milling.setting, every, errors)))


def _read(milling: Milling, texts: Mapping[str, str]) -> _All:
    """Read all programs, in the axes of the board."""
    read = tuple(read_program(text, name) for name, text in texts.items())
    known = [~np.isnan(each.start).any(axis=1) for each in read]
    origin = milling.setting.origin

    def joined(values: Iterable[NDArray[np.generic]]) -> NDArray[np.generic]:
        return np.concatenate([value[which] for value, which in zip(values, known, strict=True)])

    counts = [int(which.sum()) for which in known]
    radius = [job.cutter.diameter / 2 for job in milling.jobs]
    ball = [job.cutter.shape == "ball" for job in milling.jobs]
    moves = Moves(
        start=joined(each.start for each in read).astype(np.float64) + origin,
        end=joined(each.end for each in read).astype(np.float64) + origin,
        radius=np.repeat(radius, counts),
        ball=np.repeat(ball, counts),
    )
    return _All(
        tuple(texts),
        milling.jobs,
        read,
        moves,
        moves.boxes,
        np.repeat(np.arange(len(read)), counts),
        joined(each.lines for each in read).astype(np.int64),
        joined(each.rapid for each in read).astype(np.bool_),
        joined(each.feed for each in read).astype(np.float64),
        joined(each.spindle for each in read).astype(np.float64),
        joined(each.stopped for each in read).astype(np.bool_),
    )


def _of_words(milling: Milling, every: _All) -> Iterator[Finding]:
    """Find programs that begin or end unsafely."""
    setting = milling.setting
    safe = setting.thickness + setting.machine.safe_height - _ROUNDED
    for name, motions in zip(every.names, every.read, strict=True):
        if not len(motions.end):
            yield Finding("empty", name, f"{name} moves nothing")
            continue
        heights = motions.end[:, 2] + setting.origin[2]
        first = motions.end[0]
        if not (motions.rapid[0] and np.isnan(first[:2]).all() and heights[0] >= safe):
            words = f"{name} does not begin by going up to safe height"
            yield Finding("unsafe beginning", f"{name} line {motions.lines[0]}", words)
        if heights[-1] < safe:
            words = f"{name} does not end at safe height"
            yield Finding("unsafe end", f"{name} line {motions.lines[-1]}", words)
        if not motions.switched_off:
            yield Finding("spindle", name, f"{name} ends without M5")


def _first(every: _All, wrong: NDArray[np.bool_], kind: str, words: Callable[[int], str]) -> Iterator[Finding]:
    """Tell the first move of each program that something is wrong with, and of how many."""
    for number in range(len(every.names)):
        which = np.flatnonzero(wrong & (every.of == number))
        if len(which):
            move = int(which[0])
            more = f", and {len(which) - 1} more" if len(which) > 1 else ""
            yield Finding(kind, every.at(move), f"{every.at(move)}: {words(move)}{more}", {"moves": len(which)})


def _of_moves(setting: Setting, every: _All) -> Iterator[Finding]:
    """Find moves that are too fast, too deep, or feed with the spindle off."""
    moves, said = every.moves, setting.plan.said
    way = moves.end - moves.start
    length, down = np.linalg.norm(way, axis=1), -way[:, 2]
    feeds = ~every.rapid
    cutters = [job.cutter for job in every.jobs]

    def each(values: Iterable[float | None]) -> Floats:
        return np.array([math.nan if value is None else value for value in values], dtype=np.float64)[every.of]

    stated, plunge = each(cutter.feed for cutter in cutters), each(cutter.plunge for cutter in cutters)
    fast = feeds & (every.feed > np.maximum(stated, plunge) * _FASTER)
    yield from _first(every, fast, "feed", lambda m: f"feeds {every.feed[m]:.0f} mm/min; the cutter {stated[m]:.0f}")
    with np.errstate(divide="ignore", invalid="ignore"):
        rate = np.where(length > 0, every.feed * down / length, 0.0)
        least = 2.0 * down / np.where(length > 0, length, 1.0)  # what rounding of a feed makes
    steep = feeds & (down > 0) & (rate > plunge * _FASTER + least)
    yield from _first(
        every, steep, "plunge", lambda m: f"goes down at {rate[m]:.0f} mm/min; the cutter may at {plunge[m]:.0f}"
    )
    speed = each(cutter.spindle for cutter in cutters)
    low = np.minimum(moves.start[:, 2], moves.end[:, 2])
    still = feeds & (np.abs(every.spindle - speed) > 0.01 * speed)
    yield from _first(
        every, still, "spindle", lambda m: f"feeds at {every.spindle[m]:.0f} rev/min; stated {speed[m]:.0f}"
    )
    if setting.machine.spindle_by_hand:
        unasked = feeds & ~every.stopped
        yield from _first(every, unasked, "hand", lambda _: "feeds before it stopped for a hand to switch on")
    bottom = np.array(
        [-DOWEL_DEPTH if "holes" in job.operations else -setting.machine.spoil_depth for job in every.jobs]
    )
    below = low < bottom[every.of] - _ROUNDED
    yield from _first(
        every, below, "spoil board",
        lambda m: f"goes {said(-low[m])} below the blank; allowed {said(-bottom[every.of[m]])}",
    )  # fmt: skip
    yield from _of_length(setting, every)


def _of_length(setting: Setting, every: _All) -> Iterator[Finding]:
    """Find cutters that go deeper into the wood than their edges reach."""
    for number, job in enumerate(every.jobs):
        mine = np.flatnonzero((every.of == number) & ~every.rapid)
        if not len(mine):
            continue
        last = job.operations[-1]  # the outline is the deepest
        deep = np.maximum(
            depth_in_wood(setting, job.cutter, every.moves.start[mine], last),
            depth_in_wood(setting, job.cutter, every.moves.end[mine], last),
        )
        if deep.max() > job.cutter.cutting_length + _ROUNDED:
            move = int(mine[np.argmax(deep)])
            said = [setting.plan.said(length) for length in (float(deep.max()), job.cutter.cutting_length)]
            words = f"{every.at(move)}: {said[0]} in the wood; the edges reach {said[1]}"
            yield Finding("cutting length", every.at(move), words, {"deep": float(deep.max())})


def _of_travel(setting: Setting, every: _All) -> Iterator[Finding]:
    """Find travel through the blank or too low over it, and any move through a clamp."""
    said = setting.plan.said
    moves = every.moves
    low = np.minimum(moves.start[:, 2], moves.end[:, 2])
    above = _near_box(moves, shapely.box(*setting.stock)) <= 0
    room = low - setting.thickness
    through = every.rapid & above & (room < APPROACH - _ROUNDED)
    yield from _first(every, through, "rapid", lambda m: f"travels {said(room[m])} above the blank, if at all")
    sideways = np.hypot(*(moves.end - moves.start)[:, :2].T) > 0
    deep = every.rapid & sideways & (room < setting.machine.safe_height - _ROUNDED)
    yield from _first(every, deep, "low travel", lambda m: f"travels sideways {said(room[m])} above the blank")
    for number, (box, height) in enumerate(setting.clamps(), start=1):
        hit = (_near_box(moves, box) < -_ROUNDED) & (low < height - _ROUNDED)
        yield from _first(every, hit, "clamp", _met(number))


def _met(number: int) -> Callable[[int], str]:
    return lambda _: f"meets clamp {number}"


def _near_box(moves: Moves, box: shapely.Polygon) -> Floats:
    """Give how far the rim of the cutter stays off a box, seen from above [mm]; below 0 over it."""
    lines = shapely.linestrings(np.stack((moves.start[:, :2], moves.end[:, :2]), axis=1))
    off: Floats = shapely.distance(lines, box) - moves.radius
    return off


@dataclass(slots=True, eq=False)
class _Taken:
    """What each move takes."""

    anywhere: Floats  # most wood under it [mm]
    middle: Floats  # most wood under the middle of the tip [mm]
    inside: Floats  # most wood of the board [mm]
    through: int  # first move that brings a place of the outline right through


def _of_board(
    instrument: Instrument, milling: Milling, every: _All, errors: dict[str, list[tuple[float, float]]], watch: Watch
) -> Iterator[Finding]:
    """Simulate all of it; find what is cut that should stand, what stands that should be cut, and how it is cut."""
    many = len(every.moves.radius)
    taken = _Taken(np.zeros(many), np.zeros(many), np.zeros(many), many)
    worst: dict[tuple[str, str], tuple[float, Finding]] = {}
    bottom = -milling.setting.machine.spoil_depth / 2
    for patch in watch(Wanted(instrument, milling).patches()):
        ended, culprit = _cut(patch, every, taken, bottom)
        off = ended - patch.wanted
        if (known := np.isfinite(off)).any():
            errors.setdefault(patch.operation, []).append((float(off[known].min()), float(off[known].max())))
        for kind, miss in (("too deep", patch.low - ended), ("not cut", ended - patch.high)):
            place = int(np.argmax(np.where(np.isfinite(patch.before), miss, -np.inf)))
            size, key = float(miss[place]), (patch.operation, kind)
            if np.isfinite(patch.before[place]) and size > worst.get(key, (0.0,))[0]:
                by = every.at(culprit[place]) if kind == "too deep" and culprit[place] >= 0 else ""
                worst[key] = size, _spoilt(milling.setting, patch, place, float(ended[place]), kind, by)
    yield from (finding for _, finding in worst.values())
    yield from _of_steps(milling, every, taken)


def _spoilt(setting: Setting, patch: Patch, place: int, ended: float, kind: str, by: str) -> Finding:
    """Say what is wrong with a place, and which line made it so."""
    said = setting.plan.said
    x, y = (said(axis) for axis in patch.places[place])
    limit, side = (patch.low, "no lower") if kind == "too deep" else (patch.high, "no higher")
    words = (
        f"{f'{by}: ' if by else ''}{patch.words} at {x}, {y} ends {said(ended)} above the underside; {side} than "
        f"{said(limit[place])} is right"
    )
    return Finding(kind, by or patch.words, words, {"ended": ended, "limit": float(limit[place])})


def _cut(patch: Patch, every: _All, taken: _Taken, bottom: float) -> tuple[Floats, NDArray[np.int64]]:
    """Cut a patch by all moves that come over it; give how high it ends, and which move made it so."""
    which = over(every.boxes, patch.box)
    height, culprit = patch.before.copy(), np.full(len(patch.places), -1)
    batch = max(_BATCH // len(patch.places), 1)
    for begin in range(0, len(which), batch):
        some = which[begin : begin + batch]
        moves = every.moves[some]
        came = swept(moves, patch.places)
        after = np.minimum.accumulate(np.vstack((height, came.bottom)), axis=0)
        with np.errstate(invalid="ignore"):
            gone = np.where(np.isfinite(after[:-1]), after[:-1] - after[1:], 0.0)
        light = np.minimum(_LIGHT / moves.radius, 0.5)[:, None]
        rows = np.maximum.reduce(gone, axis=1)
        taken.anywhere[some] = np.maximum(taken.anywhere[some], rows)
        middle = np.where(came.aside <= 1 - light, gone, 0.0).max(axis=1)
        taken.middle[some] = np.maximum(taken.middle[some], middle)
        if patch.inside.any():
            taken.inside[some] = np.maximum(taken.inside[some], gone[:, patch.inside].max(axis=1))
        if (through := patch.through & np.isfinite(patch.before)).any():
            gone_through = (after[1:, through] < bottom).any(axis=1)
            if gone_through.any():
                taken.through = min(taken.through, int(some[np.argmax(gone_through)]))
        lower = came.bottom.min(axis=0) < height
        culprit[lower] = some[np.argmin(came.bottom, axis=0)][lower]
        height = after[-1]
    return height, culprit


def _of_steps(milling: Milling, every: _All, taken: _Taken) -> Iterator[Finding]:
    """Find passes that are too deep, descents that are no ramps, and work out of its order."""
    said, moves = milling.setting.plan.said, every.moves
    steps = np.array([float(job.cutter.step_down or 0.0) for job in every.jobs])[every.of]
    deep = taken.middle > steps + _FELT
    yield from _first(
        every, deep, "step-down", lambda m: f"takes {said(taken.middle[m])} at once; one pass is {said(steps[m])}"
    )
    way = moves.end - moves.start
    plunges = (np.hypot(way[:, 0], way[:, 1]) < 1e-9) & (way[:, 2] < 0) & (taken.anywhere > _FELT)
    yield from _first(every, plunges, "plunge", lambda m: f"goes {said(taken.anywhere[m])} straight down into wood")
    cuts = every.rapid & (taken.anywhere > _FELT)
    yield from _first(every, cuts, "rapid", lambda m: f"travels {said(taken.anywhere[m])} deep through wood")
    late = (np.arange(len(steps)) > taken.through) & (taken.inside > _FELT)
    yield from _first(every, late, "order", lambda _: "works inside the board after its outline is cut")


def _checked(setting: Setting, every: _All, errors: dict[str, list[tuple[float, float]]]) -> Iterator[Checked]:
    """Sum up each program."""
    moves = every.moves
    low = np.minimum(moves.start[:, 2], moves.end[:, 2])
    above = _near_box(moves, shapely.box(*setting.stock)) <= 0
    for number, (job, motions) in enumerate(zip(every.jobs, every.read, strict=True)):
        mine = [each for operation in job.operations for each in errors.get(operation, [])]
        travel = every.rapid & (every.of == number)
        near = [
            np.hypot(np.maximum(_near_box(moves, box)[travel], 0.0), np.maximum(low[travel] - top, 0.0)).min(
                initial=np.inf
            )
            for box, top in setting.clamps()
        ]
        yield Checked(
            minutes=minutes(motions, setting.machine.rapid),
            deepest=min((each[0] for each in mine), default=math.nan),
            shallowest=max((each[1] for each in mine), default=math.nan),
            closest_rapid=float((low - setting.thickness)[travel & above].min(initial=np.inf)),
            clamps=tuple(map(float, near)),
        )
