"""What is cut to a depth or through inside the outline: position marks, the groove of the nut, holes of dowels."""

from __future__ import annotations

import itertools
import math
from typing import TYPE_CHECKING, Final

import numpy as np

from slotwright.layout.instrument.lines import meet
from slotwright.layout.instrument.neck import mark_centres
from slotwright.layout.machine.passes import Path, Trace, circle, helix, levels, step_of, to_and_fro
from slotwright.layout.machine.setting import DOWEL_DEPTH
from slotwright.layout.units import ROUNDING

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from slotwright.layout.machine.passes import Run
    from slotwright.layout.machine.setting import Setting
    from slotwright.layout.plan.machine import Cutter

    Floats = NDArray[np.float64]

MARK_PLAY: Final = 0.05  # mm that the hole of a position mark is wider than the mark
ROOM: Final = 1.1  # diameters of the cutter that a hole is wide at least: less leaves no way to wind down
PAST: Final = 0.5  # mm that a groove runs past the outline, besides the cutter's radius


def marks(setting: Setting, cutter: Cutter) -> Iterator[Run]:
    """Cut the holes for the position marks, their floors level.

    Parameters
    ----------
    setting, cutter
        The blank on the machine, and what cuts.
    """
    across = setting.plan.board.mark_diameter + MARK_PLAY
    for fret, x, y in mark_centres(setting.plan, setting.neck):
        floor = mark_floor(setting, x, y)
        # The highest wood over the hole is what it enters first.
        top = float(setting.top(x, max(abs(y) - across / 2, 0.0), surfaced=True)) + setting.scallop
        yield _round_hole(setting, cutter, (x, y), across, (top, floor), f"mark at fret {fret}")


def mark_floor(setting: Setting, x: float, y: float) -> float:
    """Give the height of the floor of a position mark [mm]."""
    return float(setting.finished(x, y)) - setting.machine.mark_depth


def holes(setting: Setting, cutter: Cutter) -> Iterator[Run]:
    """Drill the holes of the dowels through the blank into the spoil board, winding down.

    Parameters
    ----------
    setting, cutter
        The blank on the machine, and what cuts.
    """
    for number, (x, y, across) in enumerate(setting.machine.dowels, start=1):
        depths = (setting.thickness, -DOWEL_DEPTH)
        yield _round_hole(setting, cutter, (x, y), across, depths, f"dowel {number}")


def _round_hole(
    setting: Setting,
    cutter: Cutter,
    centre: tuple[float, float],
    across: float,
    depths: tuple[float, float],
    words: str,
) -> Run:
    """Wind down a round hole; of a wide one every layer is cleared from its middle out."""
    (top, bottom), reach = depths, (across - cutter.diameter) / 2
    near, trace = setting.machine.tolerance / 2, Trace()
    if reach <= cutter.diameter / 2:
        trace.add(helix(circle(centre, reach, near), top, bottom, step_of(cutter)), slow=True)
        return trace.run(words)
    inner = 0.45 * cutter.diameter
    rings = np.linspace(inner, reach, math.ceil((reach - inner) / (cutter.step_over * cutter.diameter)) + 1)
    layers = max(math.ceil((top - bottom) / step_of(cutter) - 1e-6), 1)
    heights = np.linspace(top, bottom, layers + 1)
    for above, here in itertools.pairwise(heights):
        trace.add(helix(circle(centre, inner, near), float(above), float(here), step_of(cutter)), slow=True)
        for ring in rings[1:]:
            line = circle(centre, float(ring), near)
            trace.add(np.column_stack((line, np.full(len(line), here))))
        trace.add(np.array([[centre[0] + inner, centre[1], here]]))
    return trace.run(words)


def groove(setting: Setting) -> Floats | None:
    """Give the corners of the groove for the nut [mm], shape (4, 2); None where the board has none.

    Parameters
    ----------
    setting
        The blank on the machine.

    Returns
    -------
    ndarray or None
        Bass end of its front, its treble end, treble end of its rear, its bass end.
    """
    plan, neck = setting.plan, setting.neck
    if not plan.nut or not 0 < plan.nut.slot <= plan.behind_nut + ROUNDING:
        return None
    walls = [
        meet(neck.frets[0].moved(neck.nut_moved - behind), neck.edges)[0, ::-1]
        for behind in (plan.nut_behind, plan.nut_behind + plan.nut.slot)
    ]
    return np.concatenate((walls[0], walls[1][::-1]))


def pockets(setting: Setting, cutter: Cutter) -> Iterator[Run]:
    """Cut the groove for the nut across the board, its floor level, past both edges.

    Parameters
    ----------
    setting, cutter
        The blank on the machine, and what cuts.
    """
    corners = groove(setting)
    if corners is None:
        return
    bass, treble, _, rear = corners
    along = (treble - bass) / np.hypot(*(treble - bass))
    back = np.array([along[1], -along[0]])
    wide = float((rear - bass) @ back)
    if wide < 0:
        back, wide = -back, -wide
    over = cutter.diameter / 2 + PAST
    places = corners @ along
    low, high = float(places.min()) - over, float(places.max()) + over
    offsets = np.linspace(
        cutter.diameter / 2,
        wide - cutter.diameter / 2,
        max(math.ceil((wide - cutter.diameter) / (cutter.step_over * cutter.diameter) - 1e-6), 0) + 1,
    )
    start = bass - (bass @ along) * along
    rows = np.array([[start + offset * back + place * along for place in (low, high)] for offset in offsets])
    rows[1::2] = rows[1::2, ::-1]
    floor = groove_floor(setting)
    flat = rows.reshape(-1, 2)
    path = Path(np.column_stack((flat, np.full(len(flat), floor))))
    yield to_and_fro(path, levels(setting.thickness - floor, cutter, path.length), "groove of the nut")


def groove_floor(setting: Setting) -> float:
    """Give the height of the floor of the nut's groove [mm]."""
    return setting.plan.board.thickness - (setting.plan.nut_seat or 0.0)
