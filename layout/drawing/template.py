"""The `template` sheet: templates that a router's guide bush follows."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely

from slotwright.layout.drawing.board import groove
from slotwright.layout.drawing.frame import Content
from slotwright.layout.drawing.marks import kerf_note, pocket, point
from slotwright.layout.drawing.sheet import Contour, Layer, Line, Text, extents
from slotwright.layout.findings import Finding
from slotwright.layout.plan.bridges import SaddleSlot
from slotwright.layout.units import ROUNDING

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from numpy.typing import NDArray

    from slotwright.layout.drawing.sheet import Entity
    from slotwright.layout.instrument.arcs import Point
    from slotwright.layout.instrument.instrument import Instrument
    from slotwright.layout.plan.template import Template

    Floats = NDArray[np.float64]

CAUTIONS: Final = (
    "Unplug the router before you change bush or cutter; let the bush rest on the template before it cuts.",
)
_AROUND: Final = 45.0  # mm of template around an opening, for the base of a router (from memory)
_APART: Final = 12.0  # mm between templates
_SPARE: Final = 1.0  # mm that a bush runs past an edge


def missing(instrument: Instrument) -> str | None:
    """Say why a template of the plan cannot be made."""
    return next((finding.words for finding in findings(instrument)), None)


def findings(instrument: Instrument) -> Iterator[Finding]:
    """Say which templates of the plan cannot be made, and why."""
    for number, each in enumerate(instrument.plan.template, start=1):
        if lacks := _lacking(instrument, each):
            yield Finding("no template", f"template[{number}]", f"template[{number}]: {lacks}")


def _lacking(instrument: Instrument, template: Template) -> str | None:
    """Say why one of them cannot be made."""
    if template.what == "outline":
        said, narrow = instrument.plan.said, float(np.ptp(instrument.neck.core[[0, 3], 1]))
        if 2 * template.aside < narrow:
            return None
        return f"nothing is left of a board {said(narrow)} wide, less {said(template.aside)} on either side"
    return _no_groove(instrument, template) if template.what == "nut groove" else _no_slot(instrument, template)


def _no_groove(instrument: Instrument, template: Template) -> str | None:
    nut = instrument.plan.nut
    if nut is None or not list(groove(instrument)):
        return "the board has no groove for the nut (nut.slot, board.behind_nut)"
    return _too_narrow(instrument, template, nut.slot, "nut.slot")


def _no_slot(instrument: Instrument, template: Template) -> str | None:
    bridge = instrument.plan.bridge
    if not isinstance(bridge, SaddleSlot):
        return "the bridge has no saddle slot"
    if instrument.bridge_lacks or bridge.slot_width is None:
        return instrument.bridge_lacks
    return _too_narrow(instrument, template, bridge.slot_width, "bridge.slot_width")


def _too_narrow(instrument: Instrument, template: Template, width: float, key: str) -> str | None:
    """Say that the cutter is wider than what it is to cut, so that the bush cannot enter the opening either."""
    said = instrument.plan.said
    if template.cutter <= width + ROUNDING:
        return None
    return (
        f"a cutter of {said(template.cutter)} is wider than {said(width)} ({key}), and a bush of "
        f"{said(template.bush)} does not enter an opening of {said(width + 2 * template.aside)}; take a cutter of "
        f"{said(width)} or less"
    )


def content(instrument: Instrument) -> Content:
    """Draw every template, each below the one before."""
    entities: list[Entity] = []
    start = bottom = 0.0
    for number, template in enumerate(instrument.plan.template, start=1):
        drawn = [*_template(instrument, template)]
        left, low, _, high = extents(drawn)
        words = f"{number}: {template.what}, bush {instrument.length(template.bush)}, cutter "
        words += f"{instrument.length(template.cutter)}, {instrument.length(template.thickness)} thick"
        drawn.append(Text(Layer.TEXT, (left, low - 4.0), words, 2.5, "left", "top"))
        # Each below the one before and as far to the left; all but the first leave their place on the neck.
        by = (start - left, bottom - _APART - high) if entities else (0.0, 0.0)
        start = left + by[0]
        entities += [_moved(each, by) for each in _thick(drawn, template.thickness)]
        bottom = low - 7.0 + by[1]
    notes = [*_notes(instrument), *kerf_note(instrument)]
    origin = "centre line on the nominal nut line, of template 1"
    first = instrument.plan.template[0]
    far = 0.0 if first.what != "saddle slot" else float(instrument.bridge.datum[0])
    if far:
        origin = f"centre line, {instrument.length(far)} {instrument.plan.units} before the symbol"
    return Content(entities, notes, ("board", "bridge", "nut"), CAUTIONS, origin=origin, datum=(far, 0.0))


def _thick(entities: Iterable[Entity], thickness: float) -> Iterator[Entity]:
    """Tell the parts how thick they are."""
    for each in entities:
        if isinstance(each, Contour) and each.layer == Layer.CUT_OUTLINE:
            yield replace(each, thickness=thickness)
        else:
            yield each


def _moved(entity: Entity, by: tuple[float, float]) -> Entity:
    """Move an entity over the sheet."""

    def moved(place: Point) -> Point:
        return place[0] + by[0], place[1] + by[1]

    match entity:
        case Contour():
            return replace(entity, corners=tuple(map(moved, entity.corners)))
        case Line():
            return replace(entity, start=moved(entity.start), end=moved(entity.end))
        case Text():
            return replace(entity, at=moved(entity.at))
        case _:
            return entity


def _template(instrument: Instrument, template: Template) -> Iterator[Entity]:
    """Draw one: the piece that the bush runs around, or the opening that it runs in."""
    half = instrument.plan.kerf / 2
    if template.what == "outline":
        core = instrument.neck.core
        yield Contour(Layer.REF_BLANK, tuple(map(point, core)))
        yield _moved_in(core, template.aside - half)
        yield from _centre_line(core)
        return
    out = template.aside - half
    if template.what == "saddle slot":
        slot = instrument.bridge.slot
        if slot is None:
            return
        shape = next(pocket(_widened(slot, out, out)))
        yield replace(shape, layer=Layer.CUT_OUTLINE)
        part = slot
    else:
        (each,) = groove(instrument)
        part = np.array(each.corners)
        corners = np.array([part[0], part[3], part[2], part[1]])
        wide = _widened(corners, out, _past_edge(corners, template.bush))
        yield Contour(Layer.CUT_OUTLINE, tuple(map(point, wide)))
    yield Contour(Layer.REF_BLANK, tuple(map(point, part)))
    (left, low), (right, high) = part.min(axis=0) - _AROUND, part.max(axis=0) + _AROUND
    plate = (
        (left - half, low - half),
        (right + half, low - half),
        (right + half, high + half),
        (left - half, high + half),
    )
    yield Contour(Layer.CUT_OUTLINE, tuple((float(x), float(y)) for x, y in plate))
    yield from _centre_line(part, _AROUND)


def _moved_in(corners: Floats, by: float) -> Contour:
    """Move the sides of a polygon inward."""
    shape = shapely.Polygon(corners).buffer(-by, join_style="mitre", mitre_limit=100.0)
    return Contour(Layer.CUT_OUTLINE, tuple(map(point, shapely.get_coordinates(shape)[:-1])))


def _past_edge(corners: Floats, bush: float) -> float:
    """Give how far a groove's opening runs past its ends, so that the bush, which no corner admits, passes them."""
    end, side = corners[1] - corners[0], corners[3] - corners[0]
    lean = abs(float(end @ side)) / float(np.hypot(*end) * np.hypot(*side))
    return bush / 2 * float(np.sqrt((1 + lean) / (1 - lean))) + _SPARE


def _widened(corners: Floats, across: float, along: float) -> Floats:
    """Move the long sides of a four-cornered pocket outward, and its ends; an end of it comes first."""
    one, other, far, near = corners
    away = (other - one) / np.hypot(*(other - one))
    ahead = (near - one) / np.hypot(*(near - one))
    square = np.array([-ahead[1], ahead[0]])
    square *= np.sign(square @ away)
    lean = away @ ahead  # an end that leans, as in a fan, stays as it leans
    step = across * (square + ahead * lean / (square @ away))
    return np.stack([one - step - along * ahead, other + step - along * ahead,
                     far + step + along * ahead, near - step + along * ahead])  # fmt: skip


def _centre_line(part: Floats, beyond: float = 4.0) -> Iterator[Line]:
    yield Line(
        Layer.REF_CENTRE, (float(part[:, 0].min()) - beyond - 4, 0.0), (float(part[:, 0].max()) + beyond + 4, 0.0)
    )


def _notes(instrument: Instrument) -> Iterator[str]:
    said = instrument.length
    for number, each in enumerate(instrument.plan.template, start=1):
        aside = said(each.aside)
        if each.what == "outline":
            yield (
                f"Template {number} is the board (dashed) less {aside} all round, for the bush outside it. Corners "
                f"come out rounded to a radius of {aside}; finish them by hand."
            )
        else:
            past = " It runs past both edges of the board." if each.what == "nut groove" else ""
            yield (
                f"Template {number}: the opening is the {each.what} (dashed) and {aside} more all round, for the "
                f"bush inside it.{past}"
            )
    yield "The bush must be shorter than the template is thick. Try a cut in scrap, and measure it, first."
