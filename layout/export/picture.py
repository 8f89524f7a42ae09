"""SVG in the making: elements, groups and the file. The one place that knows the library behind it."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING, Any

import svgwrite

if TYPE_CHECKING:
    from collections.abc import Sequence

    from slotwright.layout.instrument.arcs import Point

    # Coordinates as numbers, or as text where their digits are to be kept.
    Place = Point | tuple[str, str]
    Style = str | float


class Group:
    """Elements that share their style, drawn one over the other."""

    def __init__(self, maker: Any, element: Any) -> None:  # noqa: ANN401 - svgwrite is untyped
        self._maker, self._element = maker, element

    def group(self, name: str, dashes: str = "", **style: Style) -> Group:
        """Begin a group inside this one."""
        return Group(self._maker, self._add(self._maker.g(id=name, **style), dashes))

    def line(self, start: Place, end: Place, dashes: str = "", **style: Style) -> None:
        """Draw a straight line."""
        self._add(self._maker.line(start, end, **style), dashes)

    def circle(self, centre: Place, radius: Style, **style: Style) -> None:
        """Draw a circle."""
        self._add(self._maker.circle(centre, radius, **style))

    def rectangle(self, corner: Place, size: Place, **style: Style) -> None:
        """Draw a rectangle from its upper left corner."""
        self._add(self._maker.rect(corner, size, **style))

    def lines(self, points: Sequence[Point], dashes: str = "", **style: Style) -> None:
        """Draw straight lines from point to point."""
        self._add(self._maker.polyline(points, **style), dashes)

    def area(self, points: Sequence[Point], **style: Style) -> None:
        """Fill what lies inside some points."""
        self._add(self._maker.polygon(points, **style))

    def path(self, steps: str, **style: Style) -> None:
        """Draw a path in the language of SVG."""
        self._add(self._maker.path(steps, **style))

    def text(self, words: str, at: Place, turn: str = "", **style: Style) -> None:
        """Set a line of text."""
        element = self._add(self._maker.text(words, x=[at[0]], y=[at[1]], **style))
        if turn:
            element["transform"] = turn

    def _add(self, element: Any, dashes: str = "") -> Any:  # noqa: ANN401
        if dashes:
            element["stroke-dasharray"] = dashes
        return self._element.add(element)


class Picture(Group):
    """A whole SVG file.

    Parameters
    ----------
    size
        Width and height with their units.
    view
        Left, top, width and height of the user space.
    title
        What it is called.
    style
        Of everything in it that has no style of its own.
    """

    def __init__(self, size: tuple[str, str], view: str, title: str, **style: Style) -> None:
        # Paper for those who look at it; a cutter sees no shape in it.
        drawing = svgwrite.Drawing(size=size, viewBox=view, debug=False, style="background:#ffffff", **style)
        drawing.set_desc(title=title)
        super().__init__(drawing, drawing)

    def written(self) -> bytes:
        """Give the file in UTF-8."""
        text = io.StringIO()
        self._maker.write(text, pretty=True, indent=1)
        return text.getvalue().encode()
