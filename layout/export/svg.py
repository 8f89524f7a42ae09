"""Sheet to SVG: sizes in mm or inches, one group a layer."""

from __future__ import annotations

from typing import TYPE_CHECKING

from slotwright.layout.drawing.sheet import PENS, Circle, Contour, Line, Text
from slotwright.layout.export.letters import outlines
from slotwright.layout.export.picture import Picture
from slotwright.layout.instrument.arcs import Arc
from slotwright.layout.units import MM_PER_INCH

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from slotwright.layout.drawing.sheet import Sheet
    from slotwright.layout.export.picture import Group
    from slotwright.layout.instrument.arcs import Point
    from slotwright.layout.names import Lettering
    from slotwright.layout.units import Unit

    Number = Callable[[float], str]

_CAPITALS = 0.72  # height of capitals over font size, common to sans-serif faces
_HALF = 0.7  # bulge from which an arc is drawn as two


def svg(sheet: Sheet, *, unit: Unit = "mm", lettering: Lettering = "text") -> bytes:
    """Write a sheet as SVG.

    Parameters
    ----------
    sheet
        The drawing.
    unit
        Unit of the file: of its size and of its user space.
    lettering
        Texts as text, or as the outlines of their letters: one filled path for each text.

    Returns
    -------
    bytes
        UTF-8 text; a point of the sheet stands at ``x, -y``.
    """
    scale, decimals = (1.0, 4) if unit == "mm" else (1 / MM_PER_INCH, 6)

    def number(value: float) -> str:
        return f"{round(scale * value, decimals) + 0.0:.{decimals}f}"

    left, _, _, top = sheet.box
    width, height = map(number, sheet.size)
    view = f"{number(left)} {number(-top)} {width} {height}"
    picture = Picture((width + unit, height + unit), view, f"{sheet.title} - {sheet.name}")
    groups = {
        layer: picture.group(
            str(layer),
            " ".join(number(dash) for dash in pen.dashes),
            fill="none",
            stroke=pen.colour,
            stroke_width=number(pen.width),
        )
        for layer, pen in PENS.items()
    }
    for entity in sheet.entities:
        if lettering == "outline" and isinstance(entity, Text):
            _outline(groups[entity.layer], entity, number)
        else:
            _add(groups[entity.layer], entity, number)
    return picture.written()


def _add(group: Group, entity: Line | Contour | Circle | Text, number: Number) -> None:
    def at(point: Point) -> tuple[str, str]:
        return number(point[0]), number(-point[1])

    match entity:
        case Line():
            group.line(at(entity.start), at(entity.end))
        case Circle():
            group.circle(at(entity.centre), number(entity.radius))
        case Contour():
            dashes = " ".join(map(number, entity.dashes()))
            group.path(" ".join(_path(entity, at, number)), **({"stroke_dasharray": dashes} if dashes else {}))
        case Text():
            x, y = at(entity.baseline())
            group.text(
                entity.text,
                (x, y),
                f"rotate({-entity.turn:.4f} {x} {y})" if entity.turn else "",
                fill=PENS[entity.layer].colour,
                stroke="none",
                font_family="sans-serif",
                font_size=number(entity.height / _CAPITALS),
                text_anchor={"left": "start", "center": "middle", "right": "end"}[entity.across],
            )


def _outline(group: Group, text: Text, number: Number) -> None:
    rings = (" L ".join(f"{number(x)} {number(-y)}" for x, y in ring) for ring in outlines(text))
    if steps := " ".join(f"M {ring} Z" for ring in rings):
        group.path(steps, fill=PENS[text.layer].colour, stroke="none", fill_rule="evenodd")


def _path(contour: Contour, at: Callable[[Point], tuple[str, str]], number: Number) -> Iterator[str]:
    yield "M {} {}".format(*at(contour.corners[0]))
    for start, end, bulge in contour.sides():
        x, y = at(end)
        if bulge:
            arc = Arc.between(start, end, bulge)
            radius = number(arc.radius)
            # Of half a circle the last decimal of its ends shifts the middle by a hundredth of a mm: two quarters.
            for place in (at(arc.at(0.5)), (x, y)) if abs(bulge) > _HALF else ((x, y),):
                yield f"A {radius} {radius} 0 0 {int(bulge < 0)} {place[0]} {place[1]}"
        elif end != contour.corners[0]:
            yield f"L {x} {y}"
    yield "Z"
