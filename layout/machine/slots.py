"""Fret slots: straight, as deep as the floor that is parallel to the crowns."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import numpy as np

from slotwright.layout.errors import needed
from slotwright.layout.instrument.lines import Across, Along, lengthened, meet
from slotwright.layout.machine.passes import Path, in_turn, levels, to_and_fro
from slotwright.layout.machine.setting import floor_under

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from slotwright.layout.instrument.instrument import Instrument
    from slotwright.layout.machine.passes import Run
    from slotwright.layout.machine.setting import Setting
    from slotwright.layout.plan.machine import Cutter

    Floats = NDArray[np.float64]


PAST: Final = 0.5  # mm that a slot runs past the board where the blank is surfaced no further than that


def slot_ends(instrument: Instrument) -> Floats:
    """Give the ends of the slots as they are milled: blind ones as finished, others across the blank.

    Where a cutter surfaces the blank, it does so a little past the board; slots go no further, for beyond
    the wood is as high as before.

    Parameters
    ----------
    instrument
        An instrument whose plan has a blank and a machine.

    Returns
    -------
    ndarray, shape (n, 2, 2)
        Bass end and treble end of every slot [mm].
    """
    finished, plan = instrument.neck.slots, instrument.plan
    if plan.frets.slot_inset:
        ends = finished
    elif plan.machine and any("surface" in cutter.operations for cutter in plan.machine.cutters):
        ends = lengthened(finished, PAST)
    else:
        ends = needed(instrument.across_blank, "the plan has no [blank]")
    return ends[instrument.first_slot :]


def runs(instrument: Instrument, setting: Setting, cutter: Cutter) -> Iterator[Run]:
    """Cut every slot, from the nut on.

    Parameters
    ----------
    instrument, setting, cutter
        The instrument, its blank on the machine, and what cuts.

    Yields
    ------
    Run
        Every slot, down in passes to and fro; a blind one begins and ends a cutter's radius inside.
    """
    ends = slot_ends(instrument)
    if instrument.plan.frets.slot_inset:
        ends = lengthened(ends, -cutter.diameter / 2)
    numbers = range(instrument.first_slot, instrument.plan.frets.count + 1)
    for number, line in zip(numbers, ends, strict=True):
        path = slot_path(instrument, setting, cutter, line)
        x, y, floor = path.points.T
        wood = setting.in_stock(x, y) | np.isin(np.arange(len(x)), (0, len(x) - 1))
        deep = float((setting.top(x, y, surfaced=True) - floor)[wood].max()) + setting.scallop
        yield to_and_fro(path, levels(deep, cutter, path.length), f"slot of fret {number}")


def slot_path(instrument: Instrument, setting: Setting, cutter: Cutter, line: Floats) -> Path:
    """Give the deepest pass of a slot, in chords within half the tolerance.

    Parameters
    ----------
    instrument, setting, cutter
        The instrument, its blank on the machine, and what cuts.
    line
        Ends of the pass [mm], shape (2, 2).
    """
    least = float(np.min(setting.neck.radius_at(line[:, 0])))
    length = math.hypot(*(line[1] - line[0]))
    chord = math.sqrt(4 * least * setting.machine.tolerance) if math.isfinite(least) else math.inf
    count = max(math.ceil(length / chord), 1)
    places = np.linspace(0.0, 1.0, count + 1)
    # Past the board it goes on level: what lies there is waste.
    edges = Along(
        instrument.neck.edges.start + np.copysign(cutter.diameter, instrument.neck.edges.start),
        instrument.neck.edges.taper,
    )
    rise = line[1, 1] - line[0, 1]
    skew = (line[1, 0] - line[0, 0]) / rise
    ends = meet(Across(np.array([line[0, 0] - skew * line[0, 1]]), np.array([skew])), edges)[0, :, 1]
    # There a chord ends, and where the tip leaves the flat of the crown on either side of the middle.
    knees = (np.array([-cutter.diameter / 2, cutter.diameter / 2, *ends]) - line[0, 1]) / rise
    places = in_turn(places, knees[(knees > 0) & (knees < 1)])
    x, y = (line[0, axis] + places * (line[1, axis] - line[0, axis]) for axis in (0, 1))
    floor = floor_under(setting, cutter, x, np.clip(y, ends.min(), ends.max()), instrument.sawing.depth)
    return Path(np.column_stack((x, y, np.maximum(floor, setting.machine.tolerance))))
