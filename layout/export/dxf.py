"""Sheet to DXF: R2000 unless asked, units in the header, closed contours, no splines."""

from __future__ import annotations

import io
import logging
import re
from functools import partial
from typing import TYPE_CHECKING, Final

from slotwright.layout.drawing.sheet import FOLLOWED, PENS, Circle, Contour, Line, Text
from slotwright.layout.export.letters import outlines
from slotwright.layout.export.outside import kept_out
from slotwright.layout.units import MM_PER_INCH

with kept_out():
    import ezdxf
    from ezdxf import units
    from ezdxf.enums import TextEntityAlignment

if TYPE_CHECKING:
    from collections.abc import Callable

    from ezdxf.document import Drawing
    from ezdxf.layouts import Modelspace

    from slotwright.layout.drawing.sheet import Sheet
    from slotwright.layout.instrument.arcs import Point
    from slotwright.layout.names import Lettering, Version
    from slotwright.layout.units import Unit

    Number = Callable[[float], float]

# Its warning that R12 knows no units is met by _with_units.
logging.getLogger("ezdxf").addHandler(logging.NullHandler())

_STYLE: Final = "PLAN"
_NARROW: Final = 0.85  # the standard stroke font runs wider than the letters the sheet counts on
_SIDES: Final = {
    "left": TextEntityAlignment.LEFT,
    "center": TextEntityAlignment.CENTER,
    "right": TextEntityAlignment.RIGHT,
}


def dxf(sheet: Sheet, *, unit: Unit = "mm", version: Version = "R2000", lettering: Lettering = "text") -> bytes:
    """Write a sheet as DXF.

    Parameters
    ----------
    sheet
        The drawing.
    unit
        Unit of the file, stated in ``$INSUNITS`` and ``$MEASUREMENT``.
    version
        The older the version, the older the machines that read it.
    lettering
        Texts as text, or as the outlines of their letters: closed polylines on the same layers.

    Returns
    -------
    bytes
        The file; the same sheet always gives the same bytes.
    """
    number = partial(_in_file, unit=unit)
    fixed = ezdxf.options.write_fixed_meta_data_for_testing
    ezdxf.options.write_fixed_meta_data_for_testing = True  # no clock, no random identifiers
    try:
        # Sets $INSUNITS and $MEASUREMENT; the default would be metres.
        document = ezdxf.new(version, units=units.MM if unit == "mm" else units.IN)
        _head(document, sheet, number)
        for entity in sheet.entities:
            if lettering == "outline" and isinstance(entity, Text):
                for ring in outlines(entity):
                    _add(document.modelspace(), Contour(entity.layer, tuple(ring)), number, document.output_encoding)
            else:
                _add(document.modelspace(), entity, number, document.output_encoding)
        text = io.StringIO()
        document.write(text)
    finally:
        ezdxf.options.write_fixed_meta_data_for_testing = fixed
    written = text.getvalue()
    if version == "R12":
        written = _with_units(written, unit)
    return document.encode(written)


def _head(document: Drawing, sheet: Sheet, number: Number) -> None:
    document.styles.add(_STYLE, font="txt", dxfattribs={"width": _NARROW})
    for layer, pen in PENS.items():
        weight = 0 if layer in FOLLOWED else round(100 * pen.width)
        added = document.layers.add(str(layer), color=pen.index, lineweight=weight)
        if pen.dashes:
            dashes = [number(dash) * (-1) ** i for i, dash in enumerate(pen.dashes)]
            document.linetypes.add(str(layer), [number(sum(pen.dashes)), *dashes])
            added.dxf.linetype = str(layer)
    left, bottom, right, top = map(number, sheet.box)
    space = document.modelspace()
    space.reset_extents((left, bottom, 0), (right, top, 0))
    space.reset_limits((left, bottom), (right, top))
    document.set_modelspace_vport(
        height=round(top - bottom, 6), center=(round((left + right) / 2, 6), round((bottom + top) / 2, 6))
    )


def _in_file(length: float, unit: Unit) -> float:
    """Give a length [mm] as it stands in the file, to a millionth of a mm: the last bits differ between machines."""
    return round(length, 6) + 0.0 if unit == "mm" else round(length / MM_PER_INCH, 8) + 0.0


def _add(space: Modelspace, entity: Line | Contour | Circle | Text, number: Number, encoding: str) -> None:
    def at(point: Point) -> Point:
        return number(point[0]), number(point[1])

    layer = {"layer": str(entity.layer)}
    match entity:
        case Line():
            space.add_line(at(entity.start), at(entity.end), dxfattribs=layer)
        case Circle():
            space.add_circle(at(entity.centre), number(entity.radius), dxfattribs=layer)
        case Contour():
            corners = [(*at(start), round(bulge, 10) + 0.0) for start, _, bulge in entity.sides()]
            if space.dxfversion == ezdxf.const.DXF12:
                space.add_polyline2d(corners, format="xyb", close=True, dxfattribs=layer)
            else:
                space.add_lwpolyline(corners, format="xyb", close=True, dxfattribs=layer)
        case Text():
            attributes = {**layer, "style": _STYLE, "width": _NARROW}
            text = space.add_text(
                _escaped(entity.text, encoding),
                height=number(entity.height),
                rotation=round(entity.turn, 8) + 0.0,
                dxfattribs=attributes,
            )
            text.set_placement(at(entity.baseline()), align=_SIDES[entity.across])


def _escaped(text: str, encoding: str) -> str:
    """Keep a reader from taking a title for a code: %%d is a degree sign, ^J a line break."""
    text = re.sub(r"%(?=%)", "% ", text).replace("^", "^ ")
    text = re.sub(r"\\(?=[UM]\+)", r"\\ ", text)
    return "".join(letter if _fits(letter, encoding) else _code(letter) for letter in text)


def _fits(letter: str, encoding: str) -> bool:
    try:
        letter.encode(encoding)
    except UnicodeEncodeError:
        return False
    return True


def _code(letter: str) -> str:
    # The codes of older versions have four digits: what lies beyond cannot be written.
    return f"\\U+{ord(letter):04X}" if ord(letter) < 0x10000 else "?"


def _with_units(text: str, unit: Unit) -> str:
    """State the unit in an R12 file too: unwritten, readers take its numbers for inches."""
    code, measurement = (units.MM, 1) if unit == "mm" else (units.IN, 0)
    variables = f"  9\n$INSUNITS\n 70\n{code:>6}\n  9\n$MEASUREMENT\n 70\n{measurement:>6}\n"
    return re.sub(r"(  9\n\$ACADVER\n  1\nAC1009\n)", rf"\g<1>{variables}", text, count=1)
