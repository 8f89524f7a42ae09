"""The `slots` sheet: what a saw or a cutter follows, and nothing else."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from slotwright.layout.drawing import contacts
from slotwright.layout.drawing.frame import Content
from slotwright.layout.drawing.marks import (
    label_row,
    number_row,
    octave_check,
    outline,
    point,
    side_names,
    sides,
)
from slotwright.layout.drawing.sheet import Contour, Layer, Line, extents
from slotwright.layout.findings import sentence
from slotwright.layout.instrument.blank import blank_outline
from slotwright.layout.instrument.lines import lengthened

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from slotwright.layout.drawing.sheet import Entity
    from slotwright.layout.instrument.instrument import Instrument


def content(instrument: Instrument) -> Content:
    """Draw slot middles and outline, across the square blank with edge marks where there is one."""
    slots = instrument.neck.slots if instrument.across_blank is None else instrument.across_blank
    entities: list[Entity] = [*outline(instrument)]
    entities += [Line(Layer.CUT_SLOTS, point(a), point(b)) for a, b in instrument.cut_slots]
    if instrument.across_blank is not None:
        entities.append(Contour(Layer.REF_BLANK, tuple(map(point, blank_outline(instrument.plan)))))
        entities += _edge_marks(instrument.across_blank)
    entities += _numbers(instrument, slots)
    left, low, right, high = extents(entities)
    entities.append(Line(Layer.REF_CENTRE, (left - 4, 0.0), (right + 4, 0.0)))
    entities += side_names(instrument, left - 4, min(-low, high) / 2)
    tables = ("scale", "frets", "board", "blank")
    return Content(entities, list(_notes(instrument)), tables, check=octave_check(instrument))


def _edge_marks(slots: NDArray[np.float64]) -> Iterator[Line]:
    """Tick every slot, and the nut line, clear of both edges of the blank."""
    for near, far in zip(lengthened(slots, 1.0), lengthened(slots, 4.0), strict=True):
        for side in (0, 1):
            yield Line(Layer.MARK, point(near[side]), point(far[side]))


def _numbers(instrument: Instrument, slots: NDArray[np.float64]) -> Iterator[Entity]:
    if instrument.across_blank is not None:
        slots = lengthened(slots, 4.0)  # past the edge marks
    half = float(max(np.abs(slots[..., 1]).max(), np.abs(instrument.neck.outline[:, 1]).max()))
    numbers = [str(fret) for fret in range(len(slots))]
    numbers[0] = "0" if instrument.plan.frets.zero_fret else "nut"
    for side, row in zip(sides(instrument), (-half - 5, half + 5), strict=True):
        ends = [point(end) for end in slots[:, side.slot]]
        if instrument.plan.scale.length is None and side.slot == 1:
            told = [
                f"{number}: {angle:.2f}\u00b0" for number, angle in zip(numbers, instrument.neck.angles, strict=True)
            ]
            yield from label_row(ends, told, row, 2.2)
        else:
            yield from number_row(ends, numbers, row, 2.5)


def _notes(instrument: Instrument) -> Iterator[str]:
    plan, sawing, said = instrument.plan, instrument.sawing, instrument.length
    nut = "zero fret" if plan.frets.zero_fret else "nut"
    yield (
        f"Lines are the middles of slots {said(plan.frets.slot_width)} wide; no allowance is made for the "
        f"width of a blade or cutter. Slots go {said(sawing.depth)} below the finished surface."
    )
    if plan.scale.length is None:
        yield (
            "Angles, to set a mitre fence by, lie between the centre line toward the bridge and the treble end of a "
            "slot: 90\u00b0 is square to the centre line."
        )
    if plan.board.radius[0]:
        yield (
            f"Saw a blank that is still flat {said(sawing.setting[0])} deep at the nut "
            f"and {said(sawing.setting[-1])} at the last fret, so that the ends stay deep enough once it is curved; "
            f"{said(sawing.wood_left[sawing.thinnest])} of wood is left."
        )
    blind = bool(plan.frets.slot_inset)
    if blind:
        of = "core" if plan.board.binding else "board"
        yield (
            f"The slots are blind and end {said(plan.frets.slot_inset)} inside the edge of the {of}: rout them, or "
            "stop the saw. A saw sled, which cuts from edge to edge, cannot make them."
        )
    if plan.blank is not None:
        line = "outline" if not plan.board.binding else "core and bind it out to the dashes"
        way = "The slots end inside it" if blind else "The slots run across it and past it"
        before = said(plan.blank.nut_at + instrument.neck.nut_moved)
        yield (
            f"Square blank {said(plan.blank.length)} by {said(plan.blank.width)}, its end {before} before the "
            f"{nut}, on the centre line. {way}; taper it to the {line} afterwards."
        )
    elif plan.board.binding:
        binding = said(plan.board.binding)
        yield f"What is cut is the core, between the slot ends; dashes are the board with its binding of {binding}."
    yield from map(sentence, instrument.wire_findings)
    yield from contacts.moved_nut(instrument)
    fret = plan.action_fret
    if plan.board.binding:
        cores = (float(np.ptp(instrument.neck.lines_in_board[n, :, 1])) - 2 * plan.board.binding for n in (0, -1))
        yield f"Core: {' wide at the nut line, '.join(map(said, cores))} at fret {plan.frets.count}."
    middle = instrument.neck.frets.middle - instrument.neck.nut_moved
    checks = [f"{nut} to fret {n}: {said(middle[n])}" for n in sorted({fret, plan.frets.count})]
    yield f"Check on the centre line before you saw: {', '.join(checks)}."
