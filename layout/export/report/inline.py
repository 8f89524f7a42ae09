"""Elements of SVG that stand in the page itself."""

from __future__ import annotations

from typing import TYPE_CHECKING

from markupsafe import Markup

if TYPE_CHECKING:
    from collections.abc import Iterable

    from numpy.typing import NDArray

Place = tuple[float, float]


def element(tag: str, *inside: str | Markup, **attributes: str | float) -> Markup:
    """Write an element.

    Parameters
    ----------
    tag
        Its name.
    inside
        What it holds; plain text is escaped.
    attributes
        Its attributes, an underscore for a hyphen and one at the end for a word of Python's own;
        numbers are rounded to hundredths.

    Returns
    -------
    Markup
        The element.
    """
    written = Markup("").join(
        Markup(' {}="{}"').format(name.rstrip("_").replace("_", "-"), number(value))
        for name, value in attributes.items()
    )
    return Markup("<{0}{1}>{2}</{0}>").format(tag, written, Markup("").join(inside))


def number(value: str | float) -> str:
    """Write a number as short as it reads in hundredths; words stay as they are."""
    if isinstance(value, str):
        return value
    return f"{round(value, 2) + 0.0:.2f}".rstrip("0").rstrip(".")


def group(name: str, parts: Iterable[Markup]) -> Markup:
    """Put parts into a group of the class `name`, which a switch or a rule of style can find."""
    return element("g", *parts, class_=name)


def line(start: Place, end: Place, **attributes: str | float) -> Markup:
    """Draw a line."""
    return element("line", x1=start[0], y1=start[1], x2=end[0], y2=end[1], **attributes)


def shape(corners: Iterable[Place] | NDArray, **attributes: str | float) -> Markup:  # type: ignore[type-arg]
    """Draw a closed shape."""
    return element("polygon", points=" ".join(f"{number(x)},{number(y)}" for x, y in corners), **attributes)


def dot(centre: Place, radius: float, **attributes: str | float) -> Markup:
    """Draw a circle."""
    return element("circle", cx=centre[0], cy=centre[1], r=radius, **attributes)


def words(at: Place, text: str, **attributes: str | float) -> Markup:
    """Write a text."""
    return element("text", text, x=at[0], y=at[1], **attributes)
