"""Jobs: which cutter does what, in which order and file; what cannot be milled."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely

from slotwright.layout.errors import Fault, MillError
from slotwright.layout.findings import Finding
from slotwright.layout.instrument.neck import mark_centres
from slotwright.layout.instrument.wire import fit
from slotwright.layout.machine import outline, pockets, slots, surface
from slotwright.layout.machine.setting import DOWEL_DEPTH, Setting, setting_of
from slotwright.layout.plan.milling import lacking
from slotwright.layout.units import ROUNDING, SHOWN

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from slotwright.layout.instrument.instrument import Instrument
    from slotwright.layout.machine.passes import Run
    from slotwright.layout.names import Operation
    from slotwright.layout.plan.machine import Cutter
    from slotwright.layout.plan.plan import Plan

    Floats = NDArray[np.float64]

ORDER: Final[tuple[Operation, ...]] = ("holes", "surface", "slots", "marks", "pockets", "outline")
NARROWER: Final = 0.03  # mm that a cut may be narrower than its slot without a word
MOST_MOVES: Final = 100_000  # of one operation
_TOUCH_ROOM: Final = 1.0  # mm round a touched point that stays uncut


@dataclass(frozen=True, slots=True, eq=False)
class Work:
    """One operation of a job.

    Parameters
    ----------
    operation
        What is done.
    runs
        How.
    """

    operation: Operation
    runs: tuple[Run, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Job:
    """What one file does: one cutter, one unbroken run of operations.

    Parameters
    ----------
    number
        Number of its file; 0 drills the holes of the dowels.
    cutter
        The cutter, nothing of it unstated.
    works
        The operations.
    """

    number: int
    cutter: Cutter
    works: tuple[Work, ...]

    @property
    def operations(self) -> tuple[Operation, ...]:
        """What it does, in turn."""
        return tuple(work.operation for work in self.works)


@dataclass(frozen=True, slots=True, eq=False)
class Milling:
    """All that is to be milled.

    Parameters
    ----------
    setting
        The blank on the machine.
    jobs
        What is done, file by file.
    tabs
        What holds the board until the end.
    findings
        What a maker should know before it is cut.
    """

    setting: Setting
    jobs: tuple[Job, ...]
    tabs: tuple[outline.Tab, ...]
    findings: tuple[Finding, ...]


def refusal(instrument: Instrument) -> str | None:
    """Say why the board of a plan that lacks nothing cannot be milled; None where it can."""
    try:
        plan_milling(instrument)
    except MillError as error:
        return str(error.faults[0])
    return None


def told(instrument: Instrument) -> tuple[Finding, ...]:
    """Say what a maker should know before the board is milled, or why it cannot be.

    Parameters
    ----------
    instrument
        The instrument.

    Returns
    -------
    tuple of Finding
        Nothing where the plan has no machine.
    """
    if instrument.plan.machine is None:
        return ()
    try:
        return plan_milling(instrument).findings
    except MillError as error:
        return tuple(
            Finding("not milled", fault.where or "machine", f"not milled: {fault}") for fault in error.faults
        )


@lru_cache(maxsize=4)
def plan_milling(instrument: Instrument) -> Milling:
    """Decide how the board of an instrument is milled.

    Parameters
    ----------
    instrument
        The instrument.

    Returns
    -------
    Milling
        All jobs in their order.

    Raises
    ------
    MillError
        With all that keeps the board from being milled as the plan says.
    """
    if lacks := lacking(instrument.plan):
        raise MillError([Fault("", lacks)])
    setting = setting_of(instrument)
    if faults := tuple(_faults(setting)):
        raise MillError(faults)
    jobs = tuple(_jobs(instrument, setting))
    outlining = [job.cutter for job in jobs if "outline" in job.operations]
    tabs = outline.tabs(instrument, setting, outlining[0]) if outlining else ()
    if faults := tuple(dict.fromkeys((*_faults_of_tabs(setting, tabs, outlining), *_faults_of(setting, jobs)))):
        raise MillError(faults)
    return Milling(setting, jobs, tabs, tuple(_findings(instrument, setting, jobs)))


def _jobs(instrument: Instrument, setting: Setting) -> Iterator[Job]:
    """Share the operations out over files."""
    number, gathered, held, cutters = 0, list[Work](), None, setting.machine.settled
    for operation in ORDER:
        for cutter in cutters:
            if operation not in cutter.operations:
                continue
            runs = tuple(_counted(_runs(instrument, setting, cutter, operation), operation))
            if not runs:
                continue
            work = Work(operation, runs)
            if operation == "holes":  # every set-up starts on the dowels
                yield Job(0, cutter, (work,))
                continue
            if held is not None and held is not cutter:
                number += 1
                yield Job(number, held, tuple(gathered))
                gathered = []
            held = cutter
            gathered.append(work)
    if held is not None:
        yield Job(number + 1, held, tuple(gathered))


def _counted(runs: Iterator[Run], operation: Operation) -> Iterator[Run]:
    """Refuse an operation of more moves than a controller, or the proof of it, can be asked to bear."""
    moves = 0
    for run in runs:
        moves += len(run.points)
        if moves > MOST_MOVES:
            what = f"{operation} takes more than {MOST_MOVES} moves"
            mend = "raise step_down, step_over, scallop or tolerance, or take a thicker cutter"
            raise MillError([Fault("machine.cutters", what, mend)])
        yield run


def _runs(instrument: Instrument, setting: Setting, cutter: Cutter, operation: Operation) -> Iterator[Run]:
    """Give what an operation cuts; nothing where the plan has nothing for it."""
    match operation:
        case "surface":
            yield from surface.runs(setting, cutter)
        case "slots":
            yield from slots.runs(instrument, setting, cutter)
        case "marks":
            yield from pockets.marks(setting, cutter)
        case "pockets":
            yield from pockets.pockets(setting, cutter)
        case "holes":
            yield from pockets.holes(setting, cutter)
        case "outline":
            yield from outline.runs(instrument, setting, cutter)


def _faults(setting: Setting) -> Iterator[Fault]:
    """Find what keeps the board from being milled before any path is drawn."""
    plan, machine = setting.plan, setting.machine
    said = plan.said
    done = {operation for cutter in machine.cutters for operation in cutter.operations}
    needs = plan.board.thickness + setting.left_on
    if setting.thickness < needs - ROUNDING:
        with_sanding = f" and {said(setting.left_on)} to sand off" if setting.left_on else ""
        yield Fault(
            "blank.thickness",
            f"{said(setting.thickness)}; the finished board is {said(plan.board.thickness)}{with_sanding}",
            f"take a blank of {said(needs)} or more",
        )
    if setting.surfaces and machine.state == "surfaced":
        yield Fault(
            "machine.state", '"surfaced", and a cutter is to surface it', 'state "flat" or drop that operation'
        )
    if machine.dowels and "holes" not in done:
        yield Fault("machine.dowels", "no cutter drills their holes", 'name "holes" among the operations of one')
    yield from _faults_of_cutters(plan, setting)
    yield from _faults_of_heights(plan, setting, done)
    yield from _faults_of_dowels(setting)
    if machine.z_zero == "top" and not setting.in_stock(*machine.touch):
        yield Fault("machine.touch", "not on the blank", "name a point on it that nothing cuts")


def _faults_of_cutters(plan: Plan, setting: Setting) -> Iterator[Fault]:
    """Find cutters that are too wide for what they are to cut."""
    machine, said = setting.machine, plan.said
    for place, cutter in enumerate(machine.settled, start=1):
        path, cut = f"machine.cutters[{place}].diameter", cutter.diameter + machine.runout
        if "slots" in cutter.operations and cut > plan.frets.slot_width + ROUNDING:
            fine = [said_finely(plan, length) for length in (cut, plan.frets.slot_width)]
            yield Fault(
                path,
                f"with its run-out it cuts {fine[0]} wide; the slots are {fine[1]} (frets.slot_width)",
                f"take one of {said_finely(plan, plan.frets.slot_width - machine.runout)} or less",
            )
        across = {"marks": [plan.board.mark_diameter + pockets.MARK_PLAY] if plan.board.marked else []}
        across["holes"] = [hole[2] for hole in machine.dowels]
        corners = pockets.groove(setting)
        for operation, widths in across.items():
            if operation in cutter.operations and widths and cutter.diameter * pockets.ROOM > min(widths) + ROUNDING:
                yield Fault(
                    path,
                    f"{said(cutter.diameter)}; the narrowest of the {operation} is {said(min(widths))} wide",
                    f"take one of {said(min(widths) / pockets.ROOM)} or less",
                )
        if "pockets" in cutter.operations and corners is not None and plan.nut and cut > plan.nut.slot + ROUNDING:
            what = f"with its run-out it cuts {said(cut)} wide; the nut's groove is {said(plan.nut.slot)} (nut.slot)"
            yield Fault(path, what, "take a thinner one")


def _faults_of_heights(plan: Plan, setting: Setting, done: set[str]) -> Iterator[Fault]:
    """Find depths that the board does not hold."""
    machine, said = setting.machine, plan.said
    if "marks" in done:
        for fret, x, y in mark_centres(plan, setting.neck):
            if (left := pockets.mark_floor(setting, x, y)) <= 0:
                depth = plan.said(machine.mark_depth)
                what = f"{depth}; at fret {fret} the board ends {said(machine.mark_depth + left)} below its surface"
                yield Fault("machine.mark_depth", what, "reduce it")
                break
    if "pockets" in done and pockets.groove(setting) is not None and pockets.groove_floor(setting) <= 0:
        what = f"{said(plan.nut_seat or 0.0)}; the board is {said(plan.board.thickness)} thick"
        yield Fault("nut.seat", what, "state how deep the groove is")
    if "outline" in done and machine.hold == "clamps" and machine.tabs.height >= plan.board.thickness / 2:
        what = f"{said(machine.tabs.height)}; the board is {said(plan.board.thickness)} thick"
        yield Fault("machine.tabs.height", what, f"{said(plan.board.thickness / 3)} holds as well")


def _faults_of_dowels(setting: Setting) -> Iterator[Fault]:
    """Find dowels that do not stand in waste."""
    said = setting.plan.said
    for place, (x, y, across) in enumerate(setting.machine.dowels, start=1):
        hole = shapely.Point(x, y).buffer(across / 2)
        if not shapely.box(*setting.stock).contains(hole):
            yield Fault(f"machine.dowels[{place}]", "not inside the blank", "move it")
        elif (room := shapely.Point(x, y).distance(setting.part) - across / 2) <= 0:
            what = f"{said(-room)} inside the board" if room < -SHOWN else "on the edge of the board"
            yield Fault(f"machine.dowels[{place}]", what, "dowels stand in waste: move it")


def _faults_of_tabs(setting: Setting, tabs: tuple[outline.Tab, ...], outlining: list[Cutter]) -> Iterator[Fault]:
    """Find tabs that have no room between the slots."""
    wanted = setting.machine.tabs.count
    if outlining and setting.machine.hold == "clamps" and len(tabs) < wanted:
        yield Fault(
            "machine.tabs",
            f"{wanted} wanted; {len(tabs)} find room {setting.plan.said(outline.CLEAR_OF_SLOTS)} clear of the slots",
            'state shorter or fewer ones, or hold = "tape"',
        )


def _faults_of(setting: Setting, jobs: tuple[Job, ...]) -> Iterator[Fault]:
    """Find paths that lead into a clamp, a dowel or the touched point, and cutters that are too short for them."""
    if not jobs:
        yield Fault("machine.cutters", "nothing of what their operations name is on this board", "name others")
    plan, machine = setting.plan, setting.machine
    for job in jobs:
        radius = job.cutter.diameter / 2
        number = next(n for n, each in enumerate(machine.settled, start=1) if each == job.cutter)
        for work in job.works:
            # Deep ones first: of two faults of one operation the worse is told.
            yield from _faults_of_depth(setting, job.cutter, number, work)
            seen: set[str] = set()
            for run in work.runs:
                line = shapely.LineString(run.points[:, :2]) if len(run.points) > 1 else shapely.Point(run.points[0])
                for key, thing, room in _in_the_way(setting, work.operation):
                    near = line.distance(thing)
                    if near < radius + room - ROUNDING and key not in seen:
                        seen.add(key)
                        yield Fault(
                            key,
                            f"{plan.said(near)} from the path of the {run.words} ({work.operation}); the cutter "
                            f"needs {plan.said(radius + room)}",
                            "move it",
                        )


def _in_the_way(setting: Setting, operation: Operation) -> Iterator[tuple[str, shapely.Geometry, float]]:
    """Yield what a path must not meet, by its key, and the room [mm] that it needs besides the cutter's radius."""
    machine = setting.machine
    for place, (box, _) in enumerate(setting.clamps(), start=1):
        yield f"machine.keep_out[{place}]", box, 0.0
    if operation != "holes":
        for place, (x, y, across) in enumerate(machine.dowels, start=1):
            yield f"machine.dowels[{place}]", shapely.Point(x, y), across / 2
    if machine.z_zero == "top":
        yield "machine.touch", shapely.Point(machine.touch), _TOUCH_ROOM


def _faults_of_depth(setting: Setting, cutter: Cutter, number: int, work: Work) -> Iterator[Fault]:
    """Find a cutter that would be longer in the wood than its edges are."""
    said, deep = setting.plan.said, 0.0
    for run in work.runs:
        deep = max(deep, float(depth_in_wood(setting, cutter, run.points, work.operation).max()))
    if deep > cutter.cutting_length + ROUNDING:
        yield Fault(
            f"machine.cutters[{number}].cutting_length",
            f"{said(cutter.cutting_length)}; for {work.operation} it goes {said(deep)} into the wood",
            "take a longer one",
        )


def depth_in_wood(setting: Setting, cutter: Cutter, points: Floats, operation: Operation) -> Floats:
    """Give how deep a tip is in the wood beside it.

    Parameters
    ----------
    setting, cutter
        The blank on the machine, and what cuts.
    points
        Places of the tip [mm], shape (n, 3).
    operation
        What it does.

    Returns
    -------
    ndarray, shape (n,)
        Depths below the highest wood within its radius [mm]; below 0 above it.
    """
    x, y, z = points.T
    left, low, right, high = setting.stock
    radius = cutter.diameter / 2
    x = np.clip(x, left, right)
    inward = np.maximum(np.abs(np.clip(y, low, high)) - radius, 0.0)
    surfaced = operation in ("slots", "marks")  # the others have wood beside them that is as high as before
    depth: Floats = setting.top(x, inward, surfaced=surfaced) - z
    return depth


def _findings(instrument: Instrument, setting: Setting, jobs: tuple[Job, ...]) -> Iterator[Finding]:
    """Say what a maker should know before it is cut."""
    plan, machine = setting.plan, setting.machine
    for job in jobs:
        if "slots" in job.operations:
            yield from _findings_of_slots(instrument, job.cutter)
    if not setting.surfaces and machine.state == "flat":
        yield from _left_to_the_hand(setting)
    if plan.board.binding:
        yield Finding(
            "bound board",
            "outline",
            f"the core is cut, {plan.said(plan.board.binding)} inside the outline; bind it, level the binding to the "
            "radius, and touch Z again before anything else is milled",
            {"binding": plan.board.binding},
        )
    done = {operation for job in jobs for operation in job.operations}
    for operation in (each for cutter in machine.cutters for each in cutter.operations if each not in done):
        yield Finding("unused", operation, f"{operation}: this board has none")
    if "holes" in done:
        words = f"the holes of the dowels go {plan.said(DOWEL_DEPTH)} into the spoil board"
        yield Finding("dowels", "dowels", words, {"depth": DOWEL_DEPTH})


def _findings_of_slots(instrument: Instrument, cutter: Cutter) -> Iterator[Finding]:
    """Say how wide slots come out, and how the wire fits them."""
    plan = instrument.plan
    cut = cutter.diameter + (plan.machine.runout if plan.machine else 0.0)
    if (off := plan.frets.slot_width - cut) > NARROWER + ROUNDING:
        words = (
            f"the slots are cut {said_finely(plan, cut)} wide, {said_finely(plan, off)} narrower than stated; cut a "
            "test slot in an offcut and try the wire in it"
        )
        yield Finding("narrow cut", "slots", words, {"cut": cut, "slot_width": plan.frets.slot_width})
    if plan.frets.wire:
        for each in fit(plan.frets.wire, dict.fromkeys(instrument.wires.frets, cut), plan.units):
            yield Finding(each.kind, each.subject, f"as it is milled: {each.words}", each.numbers)


def _left_to_the_hand(setting: Setting) -> Iterator[Finding]:
    """Say what comes off a flat blank that no cutter surfaces."""
    said = setting.plan.said
    edges = float(np.max(setting.fall(*np.asarray(setting.part.exterior.coords).T)))
    above = setting.thickness - setting.plan.board.thickness
    parts = [f"{said(above)} off its top"] if above > SHOWN else []
    parts += [f"the radius, {said(edges)} at the edges"] if edges > SHOWN else []
    if parts:
        words = f"the slots are cut deep enough for what comes off the blank by hand afterwards: {', '.join(parts)}"
        yield Finding("by hand", "blank", words, {"top": above, "edges": edges})


def said_finely(plan: Plan, length: float) -> str:
    """Write a length [mm] with one digit more, with the unit of the plan."""
    digits = 3 if plan.units == "mm" else 4
    return f"{(length if plan.units == 'mm' else length / 25.4):.{digits}f} {plan.units}"
