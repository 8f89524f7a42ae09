"""The `marks` sheet: where position marks and side dots go on a board that has its slots."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from slotwright.layout.drawing.frame import Content
from slotwright.layout.drawing.marks import cross, number_row, octave_check, outline, point, side_names, sides
from slotwright.layout.drawing.sheet import Circle, Contour, Layer, Line, Text, extents
from slotwright.layout.instrument.blank import edge_height
from slotwright.layout.instrument.neck import mark_centres, side_dots

if TYPE_CHECKING:
    from collections.abc import Iterator

    from slotwright.layout.drawing.sheet import Entity
    from slotwright.layout.instrument.instrument import Instrument

_APART: Final = 14.0  # mm between the board and the view of its edge
_HEIGHT: Final = 2.2


def missing(instrument: Instrument) -> str | None:
    """Say what the plan lacks for this sheet."""
    return None if instrument.plan.board.marked else "the plan has no board.position_marks"


def content(instrument: Instrument) -> Content:
    """Draw the marks from above, and below that the player's edge with its dots."""
    plan, neck = instrument.plan, instrument.neck
    entities: list[Entity] = [_reference(each) for each in outline(instrument)]
    entities += [Line(Layer.REF_CENTRE, point(a), point(b)) for a, b in neck.slots[instrument.first_slot :]]
    left, low, right, high = extents(entities)
    entities.append(Line(Layer.REF_CENTRE, (left - 4, 0.0), (right + 4, 0.0)))
    for _, x, y in mark_centres(plan, neck):
        entities.append(Circle(Layer.POCKET, (x, y), plan.board.mark_diameter / 2))
        entities += cross((x, y), plan.board.mark_diameter / 2 + 1.0)
    upper = [point(line[sides(instrument)[1].slot]) for line in neck.lines_in_board]
    entities += number_row(upper, ["nut", *map(str, range(1, plan.frets.count + 1))], high + 3, _HEIGHT)
    entities += side_names(instrument, left - 4, min(-low, high) / 2)
    entities += _edge(instrument, low - _APART)
    return Content(entities, list(_notes(instrument)), ("scale", "frets", "board"), check=octave_check(instrument))


def _reference(contour: Contour) -> Contour:
    return Contour(Layer.REF_BLANK, contour.corners, contour.bulges)


def _edge(instrument: Instrument, top: float) -> Iterator[Entity]:
    """Draw the edge the player looks at as a strip, its length true, the playing face up, from `top` down."""
    plan, neck = instrument.plan, instrument.neck
    dots = side_dots(plan, neck)
    if not dots:
        return
    nut = float(neck.lines_in_board[0, 0, 0])
    start, end = (float(np.sign(x - nut)) * float(np.hypot(x - nut, y - neck.lines_in_board[0, 0, 1]))
                  for x, y in neck.outline[:2])  # fmt: skip
    places = np.linspace(start, end, 25)
    face = [(nut + float(at), top - plan.board.thickness + edge_height(plan, neck, float(at))) for at in places]
    foot = top - plan.board.thickness
    yield Contour(Layer.REF_BLANK, ((nut + start, foot), (nut + end, foot), *reversed(face)))
    for at in neck.along_edges[instrument.first_slot :, 1]:
        high = foot + edge_height(plan, neck, float(at))
        yield Line(Layer.REF_CENTRE, (nut + float(at), high - plan.frets.tang_depth), (nut + float(at), high))
    radius = plan.board.side_dot_diameter / 2
    for _, along in dots:
        centre = (nut + along, foot + edge_height(plan, neck, along) / 2)
        yield Circle(Layer.POCKET, centre, radius)
        yield from cross(centre, radius + 0.6)
    yield Text(Layer.TEXT, (nut + start - 4, top - plan.board.thickness / 2), "bass edge", _HEIGHT, "right", "middle")


def _notes(instrument: Instrument) -> Iterator[str]:
    plan, neck, said = instrument.plan, instrument.neck, instrument.length
    yield (
        f"Position marks are {said(plan.board.mark_diameter)} wide, midway between frets. Frets and board are for "
        "reference: lay the sheet by fret 1 and the last fret, then prick the crosses through."
    )
    off = neck.nut_moved
    figures = "; ".join(f"{fret}: {said(x - off)}" for fret, x, _ in dict.fromkeys(
        (fret, x, 0) for fret, x, _ in mark_centres(plan, neck)))  # fmt: skip
    yield f"From the nut along the centre line, by fret: {figures}."
    if dots := side_dots(plan, neck):
        figures = "; ".join(f"{fret}: {said(along)}" for fret, along in dots)
        yield (
            f"Side dots are {said(plan.board.side_dot_diameter)} wide, in the middle of the bass edge, which the "
            f"player looks at. Along that edge from the nominal nut line, by fret: {figures}."
        )
