"""The `board` sheet: the whole fretboard with strings, marks and dimensions."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from slotwright.layout.drawing import contacts
from slotwright.layout.drawing.frame import Content
from slotwright.layout.drawing.lettering import text_width
from slotwright.layout.drawing.marks import (
    cross,
    label_row,
    number_row,
    octave_check,
    outline,
    place_along,
    point,
    side_names,
    sides,
)
from slotwright.layout.drawing.sheet import Circle, Contour, Dimension, Layer, Line, Text, extents
from slotwright.layout.instrument.lines import Along, meet
from slotwright.layout.instrument.neck import mark_centres

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from slotwright.layout.drawing.sheet import Box, Entity
    from slotwright.layout.instrument.arcs import Point
    from slotwright.layout.instrument.instrument import Instrument

_HEIGHT = 2.2  # mm, capitals of the labels at the frets


def content(instrument: Instrument) -> Content:
    """Draw outline, slots, strings, marks and dimensions."""
    labels = _labels(instrument)
    widths = list(_widths(instrument, extents(labels)))
    entities = [
        *_board(instrument),
        *_references(instrument),
        *_marks(instrument),
        *labels,
        *widths,
        *_lengths(instrument, extents(labels), extents([*labels, *widths])[1]),
    ]
    tables = ("scale", "frets", "board", *(("setup", "compensation") if instrument.strung else ()))
    figures = [*contacts.table(instrument)]
    return Content(entities, list(_notes(instrument)), tables, check=octave_check(instrument), figures=figures)


def _board(instrument: Instrument) -> Iterator[Entity]:
    neck = instrument.neck
    yield from outline(instrument)
    for slot in neck.slots[instrument.first_slot :]:
        yield Line(Layer.CUT_SLOTS, point(slot[0]), point(slot[1]))
    if (instrument.plan.behind_nut and instrument.first_slot) or neck.nut_moved:
        yield Line(Layer.REF_CENTRE, point(neck.lines_in_board[0, 0]), point(neck.lines_in_board[0, 1]))
    yield from groove(instrument)


def groove(instrument: Instrument) -> Iterator[Contour]:
    """Draw the groove for the nut from edge to edge, where the board is long enough for one."""
    plan, neck = instrument.plan, instrument.neck
    if not plan.nut or not 0 < plan.nut.slot <= plan.behind_nut:
        return
    front = plan.nut_behind  # but behind a zero fret it begins at the nut line, which is drawn
    sides = [meet(neck.frets[0].moved(neck.nut_moved - at), neck.edges)[0] for at in (front, front + plan.nut.slot)]
    yield Contour(Layer.POCKET, tuple(map(point, (*sides[0], *sides[1][::-1]))))


def _references(instrument: Instrument) -> Iterator[Entity]:
    plan, neck = instrument.plan, instrument.neck
    for nut, saddle in zip(neck.nut_ends, neck.saddle_ends, strict=True):
        yield Line(Layer.REF_STRINGS, point(nut), point(saddle))
    bridge = float(neck.saddle.middle[0])
    yield Line(Layer.REF_CENTRE, (-6.0 - plan.behind_nut, 0.0), (bridge + 6.0, 0.0))
    yield Line(Layer.REF_SADDLE, *_saddle_line(instrument))
    yield from contacts.crosses(instrument)
    if plan.board.joint_fret:
        joint = neck.lines_in_board[plan.board.joint_fret]
        along = 4.0 * (joint[1] - joint[0]) / np.hypot(*(joint[1] - joint[0]))
        yield Line(Layer.REF_CENTRE, point(joint[0] - along), point(joint[1] + along))


def _marks(instrument: Instrument) -> Iterator[Entity]:
    radius = instrument.plan.board.mark_diameter / 2
    for _, x, y in mark_centres(instrument.plan, instrument.neck):
        yield Circle(Layer.POCKET, (x, y), radius)
        yield from cross((x, y), radius + 1.0)


def _labels(instrument: Instrument) -> list[Entity]:
    """Label every fret: distances from the nut below, and above on a multiscale."""
    plan, neck = instrument.plan, instrument.neck
    down, up = sides(instrument)
    half = float(max(np.abs(neck.outline[:, 1]).max(), np.abs(neck.nut_ends[:, 1]).max()))
    ends = neck.lines_in_board.copy()
    ends[0] = meet(neck.frets[0].moved(neck.nut_moved), neck.edges)[0, ::-1]  # where the strings do end
    lower, upper = ([point(end) for end in ends[:, side.slot]] for side in (down, up))
    if plan.scale.length is not None:
        numbers = [str(fret) for fret in range(plan.frets.count + 1)]
        return [
            *label_row(lower, _fret_labels(instrument, Along(np.zeros(1), np.zeros(1))), -half - 7, _HEIGHT),
            *number_row(upper, numbers, half + 7, _HEIGHT),
        ]
    return [
        *label_row(lower, _fret_labels(instrument, neck.edges[1 - down.slot]), -half - 7, _HEIGHT),
        *label_row(upper, _fret_labels(instrument, neck.edges[1 - up.slot]), half + 7, _HEIGHT),
    ]


def _fret_labels(instrument: Instrument, edge: Along) -> list[str]:
    """Write number and distance of each fret along a line: from the nut, in brackets from the nominal nut line."""
    plan, neck, said = instrument.plan, instrument.neck, instrument.length
    nominal, nut = neck.frets[0], neck.frets[0].moved(neck.nut_moved)
    lines = [nut, *(neck.frets[fret] for fret in range(1, plan.frets.count + 1))]
    return [
        f"{fret}: {said(place_along(line, edge, nut))}"
        f"{f' ({said(place_along(line, edge, nominal))})' if neck.nut_moved else ''}"
        f"{', joint' if fret == plan.board.joint_fret and fret else ''}"
        for fret, line in enumerate(lines)
    ]


def _lengths(instrument: Instrument, labels: Box, bottom: float) -> Iterator[Dimension]:
    """Dimension the scale above the labels and the board below them."""
    plan, neck, said = instrument.plan, instrument.neck, instrument.length
    _, _, right, top = labels
    down, up = sides(instrument)
    if plan.scale.length is None:
        for side, row, away in ((up, top + 4, 1), (down, bottom - 4, -1)):
            nut, saddle = neck.nut_ends[side.string], neck.saddle_ends[side.string]
            along = (saddle - nut) / np.hypot(*(saddle - nut))
            # Beside a slanted string, clear of the labels at both ends.
            off = away * np.array([-along[1], along[0]]) * max(abs(row - nut[1]), abs(row - saddle[1]))
            text = f"scale of string {side.number}: {said(float(neck.scales[side.string]))}"
            short = off - 3 * off / np.hypot(*off)  # an extension line that stays clear of the labels
            foot = saddle + short if right > saddle[0] - 3 else saddle
            scale = Dimension(point(nut + off), point(saddle + off), text, (point(nut + short), point(foot)))
            bottom = min(bottom, scale.box()[1])
            yield scale
    else:
        saddle, octave = float(neck.saddle.middle[0]), float(neck.frets.middle[plan.action_fret])
        half = float(np.abs(neck.saddle_ends[:, 1]).max())
        low = max(top, half + 6) + 5
        high = low + 7
        nut = neck.nut_moved  # the scale is measured from the nominal nut line, frets from where the strings end
        to_octave = f"nut to fret {plan.action_fret}: {said(octave - nut)}"
        to_saddle = f"fret {plan.action_fret} to saddle line: {said(saddle - octave)}"
        # A board of a fret or two has no room for them.
        if text_width(to_octave, 2.5) < octave - 4 and text_width(to_saddle, 2.5) < saddle - octave - 4:
            yield Dimension((nut, low), (octave, low), to_octave, ((nut, top), (octave, top)))
            yield Dimension(
                (octave, low),
                (saddle, low),
                to_saddle,
                ((octave, top), (saddle, top if right > saddle - 2 else half + 6)),
            )
        yield Dimension((0.0, high), (saddle, high), f"scale length: {said(saddle)}", ((0.0, low), (saddle, low)))
    left, right = (float(edge) for edge in (neck.outline[:, 0].min(), neck.outline[:, 0].max()))
    row = bottom - 6
    yield Dimension((left, row), (right, row), f"board: {said(right - left)}", ((left, row + 3), (right, row + 3)))


def _widths(instrument: Instrument, rows: Box) -> Iterator[Entity]:
    """Dimension across the neck, outside the labels, and name the saddle line."""
    plan, neck, said = instrument.plan, instrument.neck, instrument.length
    left, _, right, _ = rows
    down, up = sides(instrument)

    def upright(text: str, foot: NDArray[np.float64], head: NDArray[np.float64], x: float) -> Dimension:
        start, end = point(foot), point(head)
        width = said(abs(end[1] - start[1]))
        # A level extension line from each point, whatever the lean of the line between them.
        return Dimension((x, start[1]), (x, end[1]), f"{text}: {width}", (start, end), beyond=True)

    left = min(left, float(neck.outline[:, 0].min())) - 5
    right = max(right, float(neck.outline[:, 0].max())) + 5
    at_saddle = [x for x, _ in _saddle_line(instrument)]
    if right > min(at_saddle) - 4:  # frets all the way up to the saddle
        right = max(right, *at_saddle) + 6
    at_contacts = list(contacts.saddle_numbers(instrument, max(*at_saddle, right) + 4))
    yield from at_contacts
    at_nut, corners = neck.lines_in_board[0], neck.outline[[1, 2]]
    if plan.behind_nut:
        yield upright("end", neck.outline[[0, 3]][down.slot], neck.outline[[0, 3]][up.slot], left)
        left -= 6
    yield upright("nut width", at_nut[down.slot], at_nut[up.slot], left)
    # Downward: above it the lengths are dimensioned.
    yield upright("end", corners[up.slot], corners[down.slot], right)
    if len(plan.strings) > 1:
        nut, saddle = neck.nut_ends, neck.saddle_ends
        yield upright("outer strings", nut[down.string], nut[up.string], left - 6)
        left -= 6
        feet = saddle[[down.string, up.string]]
        beyond = max(*at_saddle, right) + 9
        if at_contacts:
            # The labels stand where the extension lines would run.
            feet[:, 0] = max(label.box()[2] for label in at_contacts)
            beyond = float(feet[0, 0]) + 5
        yield upright("outer strings", feet[0], feet[1], beyond)

    yield from side_names(instrument, left - 4, float(np.abs(at_nut[:, 1]).max()) + 8)

    end, _ = _saddle_line(instrument)
    at = (max(end[0], float(neck.saddle_ends[down.string, 0]), right + 1) + 2, end[1] - 1.5)
    yield Text(Layer.TEXT, at, "nominal saddle line", _HEIGHT, "left", "top")


def _saddle_line(instrument: Instrument) -> tuple[Point, Point]:
    neck = instrument.neck
    reach = float(np.abs(neck.saddle_ends[:, 1]).max()) + 5.0
    low, high = ((float(neck.saddle.x_at(y)[0]), y) for y in (-reach, reach))
    return low, high


def _notes(instrument: Instrument) -> Iterator[str]:
    plan, neck, said = instrument.plan, instrument.neck, instrument.length
    across = [said(float(np.ptp(neck.lines_in_board[fret, :, 1]))) for fret in (plan.action_fret, -1)]
    along = "along the board's edges" if plan.scale.length is None else "along the centre line"
    yield (
        f"Frets are dimensioned from the nut {along}; mark them from the nut, never from fret to fret. "
        f"Widths are square to the centre line: {across[0]} at fret {plan.action_fret}, {across[1]} at fret "
        f"{plan.frets.count}. Thickness {said(plan.board.thickness)}."
    )
    curve = " to ".join(dict.fromkeys(said(radius) for radius in plan.board.radius))
    yield (
        f"Radius across the board {curve}{' from nut to last fret' if ' to ' in curve else ''}."
        if any(plan.board.radius)
        else "The board is flat across."
    )
    if plan.board.position_marks or plan.board.double_marks:
        yield f"Position marks are {said(plan.board.mark_diameter)} wide, midway between frets."
        if plan.board.side_dots:
            yield "Side dots are on the sheet called marks."
    if plan.behind_nut:
        nut = "zero fret" if plan.frets.zero_fret else "nut"
        yield f"The board reaches {said(plan.behind_nut)} behind the {nut}."
    if plan.nut and plan.nut.slot:
        ends = f"{said(plan.nut_behind)} behind the zero fret" if plan.frets.zero_fret else "at the nut line"
        wide, deep = said(plan.nut.slot), said(plan.nut_seat or 0.0)
        yield f"The groove for the nut, {wide} wide and {deep} deep, begins {ends}."
    yield "The saddle line is nominal: a string that is to play in tune is set back from it."
    yield from contacts.notes(instrument)
    yield from contacts.moved_nut(instrument)
    if neck.nut_moved:
        yield "At the frets, figures in brackets are measured from the nominal nut line, the others from there."
    if instrument.straightness_note:
        yield f"{instrument.straightness_note}."
    inset, binding = plan.frets.slot_inset, plan.board.binding
    if inset:
        parts = f" (binding {said(binding)} and {said(inset)})" if binding else ""
        yield f"Blind slots end {said(inset + binding)} inside the edge{parts}."
    elif binding:
        yield f"Binding {said(binding)}: what is cut is the core, where the slots end; dashes are the finished board."
