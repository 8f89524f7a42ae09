"""Sheet to SVG: sizes in mm or inches, one group a layer."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING, Any

import svgwrite

from slotwright.layout.drawing.sheet import PENS, Circle, Contour, Line, Text
from slotwright.layout.instrument.arcs import Arc
from slotwright.layout.units import MM_PER_INCH

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from slotwright.layout.drawing.sheet import Sheet
    from slotwright.layout.instrument.arcs import Point
    from slotwright.layout.units import Unit

    Number = Callable[[float], str]

_CAPITALS = 0.72  # height of capitals over font size, common to sans-serif faces


def svg(sheet: Sheet, *, unit: Unit = "mm") -> bytes:
    """Write a sheet as SVG.

    Parameters
    ----------
    sheet
        The drawing.
    unit
        Unit of the file: of its size and of its user space.

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
    drawing = svgwrite.Drawing(
        size=(width + unit, height + unit),
        viewBox=f"{number(left)} {number(-top)} {width} {height}",
        debug=False,
        # Paper for those who look at it; a cutter sees no shape in it.
        style="background:#ffffff",
    )
    drawing.set_desc(title=f"{sheet.title} - {sheet.name}")
    groups = {}
    for layer, pen in PENS.items():
        group = drawing.g(id=str(layer), fill="none", stroke=pen.colour, stroke_width=number(pen.width))
        if pen.dashes:
            group["stroke-dasharray"] = " ".join(number(dash) for dash in pen.dashes)
        groups[layer] = drawing.add(group)
    for entity in sheet.entities:
        groups[entity.layer].add(_element(drawing, entity, number))
    text = io.StringIO()
    drawing.write(text, pretty=True, indent=1)
    return text.getvalue().encode()


def _element(drawing: Any, entity: Line | Contour | Circle | Text, number: Number) -> Any:  # noqa: ANN401 - svgwrite is untyped
    def at(point: Point) -> tuple[str, str]:
        return number(point[0]), number(-point[1])

    match entity:
        case Line():
            return drawing.line(at(entity.start), at(entity.end))
        case Circle():
            return drawing.circle(at(entity.centre), number(entity.radius))
        case Contour():
            return drawing.path(" ".join(_path(entity, at, number)))
        case Text():
            x, y = at(entity.baseline())
            text = drawing.text(
                entity.text,
                x=[x],
                y=[y],
                fill=PENS[entity.layer].colour,
                stroke="none",
                font_family="sans-serif",
                font_size=number(entity.height / _CAPITALS),
                text_anchor={"left": "start", "center": "middle", "right": "end"}[entity.across],
            )
            if entity.turn:
                text["transform"] = f"rotate({-entity.turn:.4f} {x} {y})"
            return text


def _path(contour: Contour, at: Callable[[Point], tuple[str, str]], number: Number) -> Iterator[str]:
    yield "M {} {}".format(*at(contour.corners[0]))
    for start, end, bulge in contour.sides():
        x, y = at(end)
        if bulge:
            radius = number(Arc.between(start, end, bulge).radius)
            yield f"A {radius} {radius} 0 {int(abs(bulge) > 1)} {int(bulge < 0)} {x} {y}"
        elif end != contour.corners[0]:
            yield f"L {x} {y}"
    yield "Z"
