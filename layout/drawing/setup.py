"""The `setup` sheet: the blank on the machine, clamps and zero, and the programs in their order."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from slotwright.layout import cautions
from slotwright.layout.drawing.frame import Content
from slotwright.layout.drawing.lettering import text_width
from slotwright.layout.drawing.marks import cross, point
from slotwright.layout.drawing.sheet import Circle, Contour, Layer, Line, Text, extents
from slotwright.layout.errors import MillError, SheetError
from slotwright.layout.findings import sentence
from slotwright.layout.instrument.blank import blank_outline
from slotwright.layout.machine.jobs import plan_milling
from slotwright.layout.machine.programs import texts_of
from slotwright.layout.machine.reading import minutes, read_program
from slotwright.layout.machine.slots import slot_ends
from slotwright.layout.units import MINUS

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from slotwright.layout.drawing.sheet import Entity
    from slotwright.layout.instrument.instrument import Instrument
    from slotwright.layout.machine.jobs import Milling

_HEIGHT: Final = 2.5  # mm, capitals of labels and table
_ROW: Final = 5.0  # mm from row to row of the table
_APART: Final = 5.0  # mm between its columns
_HEAD: Final = ("file", "operations", "cutter", "flutes", "edges", "rev/min", "feed", "plunge", "step", "minutes")


def content(instrument: Instrument) -> Content:
    """Draw the blank as it lies on the machine, and below it the programs in their order."""
    try:
        milling = plan_milling(instrument)
    except MillError as error:
        raise SheetError(str(error)) from None
    entities = [*_blank(instrument, milling), *_things(instrument, milling)]
    left, bottom, *_ = extents(entities)
    entities += _table(_rows(instrument, milling), left, bottom - 8.0)
    tables = ("blank", "machine", "machine.tabs")  # the cutters stand in a table of their own
    return Content(entities, list(_notes(instrument, milling)), tables, cautions.MILLING)


def _blank(instrument: Instrument, milling: Milling) -> Iterator[Entity]:
    """Draw the blank, what is cut out of it, and what holds it: references all, nothing here is cut."""
    setting = milling.setting
    yield Contour(Layer.REF_BLANK, tuple(map(point, blank_outline(instrument.plan))))
    yield Contour(Layer.REF_STRINGS, tuple(map(point, np.asarray(setting.part.exterior.coords)[:4])))
    if any("slots" in job.operations for job in milling.jobs):
        for start, end in slot_ends(instrument):
            yield Line(Layer.REF_STRINGS, point(start), point(end))
    for tab in milling.tabs:
        half = setting.machine.tabs.length / 2
        for end in (-half, half):
            foot = tab.middle + end * tab.along
            yield Line(Layer.MARK, point(foot), point(foot + 4.0 * tab.outward))
        ends = (tab.middle + end * tab.along + 4.0 * tab.outward for end in (-half, half))
        yield Line(Layer.MARK, *map(point, ends))


def _things(instrument: Instrument, milling: Milling) -> Iterator[Entity]:
    """Draw clamps, dowels, the zero and the touched point, each with its name beside the blank."""
    setting, said = milling.setting, instrument.length
    machine = setting.machine
    named: list[tuple[float, float, str]] = []
    for number, (box, top) in enumerate(setting.clamps(), start=1):
        corners = list(box.exterior.coords)[:4]
        yield Contour(Layer.REF_SADDLE, tuple((float(x), float(y)) for x, y in corners))
        left, low, right, high = box.bounds
        named.append(((left + right) / 2, (low + high) / 2, f"clamp {number}, {said(top - setting.thickness)} high"))
    for number, (x, y, across) in enumerate(machine.dowels, start=1):
        yield Circle(Layer.REF_BLANK, (x, y), across / 2)
        named.append((x, y, f"dowel {number}, {said(across)}"))
    zero_x, zero_y = float(setting.origin[0]), float(setting.origin[1])
    yield Circle(Layer.MARK, (zero_x, zero_y), 2.0)
    yield from cross((zero_x, zero_y), 4.0)
    named.append((zero_x, zero_y, "X 0 Y 0"))
    if machine.z_zero == "top":
        yield from cross(machine.touch, 2.5)
        named.append((*machine.touch, "Z 0 touched"))
    yield from _names(setting.stock, named, [box.bounds for box, _ in setting.clamps()])


def _names(
    stock: tuple[float, float, float, float],
    named: Sequence[tuple[float, float, str]],
    boxes: Sequence[tuple[float, float, float, float]],
) -> Iterator[Entity]:
    """Write names in rows above all, each with a line down to its thing."""
    top = max([stock[3], *(box[3] for box in boxes), *(y + 4.0 for _, y, _ in named)]) + 4.0
    placed: list[tuple[float, float, int]] = []  # begin, end and row of each name
    # From the right on: a name stands above those whose lines would run through it.
    for x, y, text in sorted(named, reverse=True):
        end = x + text_width(text, _HEIGHT) + 4.0
        row = max((other + 1 for begin, _, other in placed if begin <= end), default=0)
        placed.append((x, end, row))
        at = top + row * _ROW
        yield Line(Layer.DIM, (x, y), (x, at + _HEIGHT))
        yield Text(Layer.TEXT, (x + 1.0, at), text, _HEIGHT)


def _rows(instrument: Instrument, milling: Milling) -> list[tuple[str, ...]]:
    """Say file by file what is done with what, how fast and how long."""
    rows: list[tuple[str, ...]] = [_HEAD]
    rapid = milling.setting.machine.rapid
    for job, (name, text) in zip(milling.jobs, texts_of(instrument).items(), strict=True):
        cutter, said = job.cutter, instrument.length
        rows.append(
            (
                name.removeprefix("board-").removesuffix(".ngc"),
                ", ".join(job.operations),
                f"{cutter.shape} {said(cutter.diameter, 3)}",
                str(cutter.flutes),
                said(cutter.cutting_length),
                str(cutter.spindle),
                f"{cutter.feed:.0f}",
                f"{cutter.plunge:.0f}",
                said(cutter.step_down or 0.0),
                f"{minutes(read_program(text), rapid):.0f}",
            )
        )
    return rows


def _table(rows: Sequence[Sequence[str]], left: float, top: float) -> Iterator[Entity]:
    """Write a table, its heading over a line."""
    widths = [max(text_width(cell, _HEIGHT) for cell in column) for column in zip(*rows, strict=True)]
    for place, row in enumerate(rows):
        x, y = left, top - place * _ROW - (1.5 if place else 0.0)
        for cell, width in zip(row, widths, strict=True):
            if cell:
                yield Text(Layer.TEXT, (x, y), cell, _HEIGHT)
            x += width + _APART
    yield Line(Layer.DIM, (left, top - 1.6), (left + sum(widths) + _APART * (len(widths) - 1), top - 1.6))


def _notes(instrument: Instrument, milling: Milling) -> Iterator[str]:
    setting, said, plan = milling.setting, instrument.length, instrument.plan
    machine, unit = setting.machine, plan.units
    left, low, right, high = setting.stock
    yield (
        f"Blank {said(right - left)} by {said(high - low)}, {said(setting.thickness)} thick; the finished board is "
        f"{said(plan.board.thickness)}. {sentence(_zero(milling, instrument))} Lengths in {unit}, feeds in mm/min."
    )
    yield (
        f"Travel is {said(setting.travel - setting.thickness)} above the blank. A cutter goes "
        f"{said(machine.spoil_depth)} below it at most: put a spoil board under it."
    )
    yield (
        "Run the files in this order. Before each: fit its cutter, look that the spindle turns the right way, touch "
        "zero again, run it once above the blank with the spindle off. The first board at 60 % feed."
    )
    if machine.hold == "tape":
        yield "Tape holds blank and board: the board comes loose nowhere, and has no tabs."
    elif milling.tabs:
        tabs = machine.tabs
        yield (
            f"{len(milling.tabs)} tabs of {said(tabs.length)} by {said(tabs.height)} hold the board; cut them by "
            "hand and plane them flush."
        )
    if machine.dowels:
        yield "Drill the holes of the dowels first; every later set-up starts on them."
    yield from map(sentence, milling.findings)
    if machine.runout:
        wider = said(machine.runout, 3 if unit == "mm" else 4)
        yield f"A cutter cuts {wider} wider than it is, by its run-out: cut a test slot in an offcut first."


def _zero(milling: Milling, instrument: Instrument) -> str:
    """Say where the zero is."""
    machine, said = milling.setting.machine, instrument.length
    where = "the nut line on the centre line" if machine.zero == "nut" else "the corner of least x and y"
    if machine.z_zero == "spoil board":
        return f"X and Y are 0 at {where}, Z on the spoil board"
    x, y = (said(place).replace("-", MINUS) for place in machine.touch)
    return f"X and Y are 0 at {where}, Z on top of the blank at {x}, {y} from the nut, which nothing cuts"
