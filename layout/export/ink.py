"""Entities and words on a page of a PDF."""

from __future__ import annotations

import io
import math
from functools import cache
from typing import TYPE_CHECKING, Any, Final

from slotwright.layout.drawing.sheet import PENS, Circle, Contour, Line, Text
from slotwright.layout.export.letters import CAPITALS, face, printable
from slotwright.layout.export.outside import kept_out
from slotwright.layout.instrument.arcs import Arc

with kept_out():
    from reportlab.lib.colors import HexColor
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFont

if TYPE_CHECKING:
    from collections.abc import Iterable

    from reportlab.pdfgen.canvas import Canvas

    from slotwright.layout.instrument.arcs import Point

BLACK: Final = HexColor("#101418")
WHITE: Final = HexColor("#ffffff")
GREY: Final = HexColor("#7a828a")  # of what helps to put a print together
THIN: Final = 0.13  # mm
THICK: Final = 0.25  # mm
_FONT: Final = "letters"


@cache
def learn_letters() -> None:
    """Make the face known that every file carries."""
    pdfmetrics.registerFont(TTFont(_FONT, io.BytesIO(face())))


def draw(canvas: Canvas, entities: Iterable[Line | Contour | Circle | Text]) -> None:
    """Draw entities with the pens of their layers."""
    for entity in entities:
        pen = PENS[entity.layer]
        canvas.setStrokeColor(HexColor(pen.colour))
        canvas.setFillColor(HexColor(pen.colour))
        canvas.setLineWidth(pen.width)
        canvas.setDash(list(pen.dashes))
        match entity:
            case Line():
                canvas.line(*entity.start, *entity.end)
            case Circle():
                canvas.circle(*entity.centre, entity.radius, fill=0)
            case Contour():
                canvas.setDash(entity.dashes())  # which leave no corner open
                canvas.drawPath(_path(canvas, entity), fill=0)
            case Text():
                write(canvas, entity.baseline(), entity.text, entity.height, entity.across, entity.turn)
    canvas.setDash([])
    canvas.setFillColor(BLACK)
    canvas.setStrokeColor(BLACK)


def _path(canvas: Canvas, contour: Contour) -> Any:  # noqa: ANN401 - reportlab is untyped
    path = canvas.beginPath()
    path.moveTo(*contour.corners[0])
    for start, end, bulge in contour.sides():
        if not bulge:
            path.lineTo(*end)
            continue
        arc = Arc.between(start, end, bulge)
        (x, y), radius = arc.centre, arc.radius
        box = x - radius, y - radius, x + radius, y + radius
        path.arcTo(*box, math.degrees(arc.begin), math.degrees(arc.turn))
    path.close()
    return path


def write(
    canvas: Canvas, at: Point, text: str, height: float, across: str = "left", turn: float = 0.0, *, lift: float = 0.0
) -> None:
    """Write a line whose baseline runs through a point, or `lift` above it [mm]."""
    canvas.saveState()
    canvas.translate(*at)
    canvas.rotate(turn)
    canvas.setFont(_FONT, height / CAPITALS)
    put = {"left": canvas.drawString, "center": canvas.drawCentredString, "right": canvas.drawRightString}[across]
    put(0, lift, printable(text))
    canvas.restoreState()


def width(text: str, height: float) -> float:
    """Give how wide a line comes out on a page [mm]."""
    return float(pdfmetrics.stringWidth(printable(text), _FONT, height / CAPITALS))
