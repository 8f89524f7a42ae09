"""What surrounds every drawing: border, rules, cautions, notes, assumed values, title block."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from slotwright.layout.drawing.lettering import cleaned, fitted, text_width, wrapped
from slotwright.layout.drawing.marks import rule
from slotwright.layout.drawing.sheet import Contour, Dimension, Layer, Line, Sheet, Text, extents

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from slotwright.layout.drawing.sheet import Box, Entity
    from slotwright.layout.instrument import Instrument

CAUTIONS: Final = (
    "Measure both rules on this sheet before you cut; paper moves with damp and wet glue stretches it.",
    "Wear eye protection. Extract the dust and wear a mask: hardwood, bone and shell dust harm the lungs.",
    "Use the guards, and follow the instructions of the maker of your saw, cutter or laser.",
    "Local rules and licensed practice come before anything on this sheet.",
)

_LEAST: Final = 118.0  # mm, least height above the title block
_MARGIN: Final = 5.0  # mm of paper around the border
_GAP: Final = 8.0  # mm between the parts of a sheet
_SMALL: Final = 2.2  # mm, height of the capitals of running text
_LEADING: Final = 1.75  # line to line, in heights
_BLOCK: Final = 128.0  # mm, width of the title block
_COLUMN: Final = 78.0  # mm, least width of a column of text
_HEAD: Final = 11.0  # mm, height of the first row of the title block
_ROW: Final = 7.6  # mm, height of the others
_RULE: Final = 15.0  # mm, room that a rule takes across its length


@dataclass(frozen=True, slots=True)
class Content:
    """What a sheet shows, before it has its border.

    Parameters
    ----------
    entities
        The drawing itself, in the axes of the neck.
    notes
        What else must be said on this sheet.
    tables
        The tables of the plan that it depends on; their assumed values are listed.
    cautions
        What is to be minded besides the usual.
    check
        A distance to check once a print is put together.
    mirrors
        False for views that a mirror would turn upside down.
    """

    entities: Sequence[Entity]
    notes: Sequence[str] = ()
    tables: Sequence[str] = ("scale", "frets", "board")
    cautions: Sequence[str] = ()
    check: str = ""
    mirrors: bool = True


def framed(name: str, instrument: Instrument, content: Content, *, mirrored: bool = False) -> Sheet:
    """Put a drawing into its border.

    Parameters
    ----------
    name
        Name of the sheet.
    instrument
        What is drawn.
    content
        The drawing.
    mirrored
        Negate every y, for work from the back.

    Returns
    -------
    Sheet
        The drawing with border, rules, cautions and title block; letters are never mirrored.
    """
    mirrored = mirrored and content.mirrors
    drawn = [entity.mirrored() if mirrored else entity for entity in content.entities]
    left, bottom, right, top = extents(drawn)
    columns = _columns(instrument, content)
    width = max(right - left, 2 * _COLUMN + _BLOCK + 2 * _GAP)
    left -= (width - (right - left)) / 2  # a narrow drawing stands in the middle
    column = (width + _RULE - _BLOCK - len(columns) * _GAP) / len(columns)
    texts = [_paragraphs(heading, lines, column) for heading, lines in columns]
    block = _title_rows(name, instrument, mirrored)
    depth = max(_HEAD + _ROW * len(block), *(_depth(text) for text in texts))

    # The upright rule needs 100 mm and room for its numbers; a low drawing stands in their middle.
    spare = max(0.0, _LEAST - (top - bottom + 2 * _GAP + _RULE)) / 2
    foot = bottom - _GAP - _RULE - spare
    edge: Box = (
        left - _RULE - 2 * _GAP,
        foot - depth - _GAP,
        left + width + _GAP,
        top + spare + (2 * _GAP if mirrored else _GAP),
    )

    parts: list[Line | Contour | Text | Entity] = [_border(edge), *drawn]
    parts.append(Line(Layer.FRAME, (edge[0], foot), (edge[2], foot)))
    if mirrored:
        words = "MIRRORED: seen from the back"
        parts.append(Text(Layer.FRAME, (left, edge[3] - 3), words, 5.0, "left", "top"))
    parts += rule((left, foot + 5.5), width, upright=False)
    parts += rule((left - _GAP - 4.0, foot + _GAP), edge[3] - foot - 1.7 * _GAP, upright=True)
    x = edge[0] + _GAP
    for text in texts:
        parts += _set(text, x, foot - 3.5)
        x += column + _GAP
    parts += _title_block(instrument.plan.title, block, edge[2] - _BLOCK, edge[1], foot)
    flat = [p for part in parts for p in (part.parts() if isinstance(part, Dimension) else (part,))]
    paper = edge[0] - _MARGIN, edge[1] - _MARGIN, edge[2] + _MARGIN, edge[3] + _MARGIN
    return Sheet(
        name,
        cleaned(instrument.plan.title),
        tuple(flat),
        paper,
        revision=cleaned(instrument.plan.job.revision) if instrument.plan.job else "",
        check=content.check,
        cautions=(*CAUTIONS, *content.cautions),
    )


def _border(edge: Box) -> Contour:
    left, bottom, right, top = edge
    return Contour(Layer.FRAME, ((left, bottom), (right, bottom), (right, top), (left, top)))


def _columns(instrument: Instrument, content: Content) -> list[tuple[str, Sequence[str]]]:
    assumed = [
        f"{key}={value.text}"
        for key, value in instrument.assumed.items()
        # What is not there need not be listed on every sheet; the check command lists it all.
        if key.partition(".")[0] in content.tables and value.value not in (0, False, (0.0, 0.0))
    ]
    columns: list[tuple[str, Sequence[str]]] = [("Cautions", (*CAUTIONS, *content.cautions))]
    noted = [*(f"Warning: {warning}." for warning in instrument.warnings), *content.notes]
    if assumed:
        noted.append(f"Assumed, not stated in the plan: {', '.join(assumed)}.")
    columns.append(("Notes", noted or ["Everything drawn here is stated in the plan."]))
    return columns


def _paragraphs(heading: str, lines: Sequence[str], width: float) -> list[tuple[str, float]]:
    """Break paragraphs into lines, each with the step that leads to it, in line heights."""
    text = [(heading, 0.0)]
    for paragraph in lines:
        text += [(line, 1.0 if i else 1.5) for i, line in enumerate(wrapped(paragraph, width, _SMALL))]
    return text


def _depth(text: Sequence[tuple[str, float]]) -> float:
    return sum(step for _, step in text) * _SMALL * _LEADING + 3 * _SMALL


def _set(text: Sequence[tuple[str, float]], x: float, y: float) -> Iterator[Text]:
    for i, (line, step) in enumerate(text):
        y -= step * _SMALL * _LEADING
        height = _SMALL if i else 3.0
        yield Text(Layer.FRAME, (x, y), line, height, "left", "middle")


def _title_rows(name: str, instrument: Instrument, mirrored: bool) -> list[tuple[tuple[str, str], ...]]:
    """Give the rows of the title block (ISO 7200 fields), each a row of label and value."""
    plan = instrument.plan
    unit = plan.units
    scale = plan.scale
    if scale.treble is not None and scale.bass is not None:
        square = {0.0: "the nut", float("inf"): "the saddle"}.get(scale.square_fret, f"fret {scale.square_fret:g}")
        scales = f"{instrument.length(scale.treble)} to {instrument.length(scale.bass)}, square at {square}"
    else:
        scales = instrument.length(scale.length or 0.0)
    hand = "left-handed" if plan.board.left_handed else "right-handed"
    rows: list[tuple[tuple[str, str], ...]] = [
        (("sheet", name), ("drawn", "1:1"), ("lengths in", unit)),
        (("scale length", scales),),
        (("strings", str(len(plan.strings))), ("frets", str(plan.frets.count)), ("hand", hand)),
    ]
    if mirrored:
        rows.append((("view", "MIRRORED, for work from the back"),))
    job = plan.job
    stated = [
        (label, value)
        for label, value in (
            ("reference", job.reference if job else ""),
            ("drawn by", job.drawn_by if job else ""),
            ("revision", job.revision if job else ""),
            ("date", job.date if job else ""),
        )
        if value
    ]
    wide = any(text_width(value, _SMALL) > _BLOCK / 2 - 5 for _, value in stated)
    step = 1 if wide else 2
    rows += [tuple(stated[i : i + step]) for i in range(0, len(stated), step)]
    return rows


def _title_block(
    title: str, rows: Sequence[tuple[tuple[str, str], ...]], left: float, bottom: float, top: float
) -> Iterator[Line | Text]:
    """Draw the title block between the foot of the drawing and the border."""
    right = left + _BLOCK
    yield Line(Layer.FRAME, (left, bottom), (left, top))
    for line, height, down in _title_lines(title):
        yield Text(Layer.FRAME, (left + 3, top - down), line, height, up="middle")
    step = min((top - bottom - _HEAD) / len(rows), 1.3 * _ROW)
    for i, row in enumerate(rows):
        y = top - _HEAD - i * step
        yield Line(Layer.FRAME, (left, y), (right, y))
        cell = _BLOCK / len(row)
        for j, (label, value) in enumerate(row):
            x = left + j * cell
            if j:
                yield Line(Layer.FRAME, (x, y), (x, y - step))
            yield Text(Layer.FRAME, (x + 3, y - 1.1), label, 1.8, up="top")
            text, height = fitted(value, cell - 5, 2.5)
            yield Text(Layer.FRAME, (x + 3, y - step + 1.4), text, height)
    yield Line(Layer.FRAME, (left, top - _HEAD - len(rows) * step), (right, top - _HEAD - len(rows) * step))


def _title_lines(title: str) -> list[tuple[str, float, float]]:
    """Set a title in one line, or in two smaller ones: text, height and way down from the top."""
    room = _BLOCK - 6
    text, height = fitted(title, room, 4.0, 2.8)
    if text == cleaned(title):
        return [(text, height, _HEAD / 2)]
    first, *more = wrapped(title, room, _SMALL)
    second = [fitted(" ".join(more), room, _SMALL, _SMALL)[0]] if more else []
    return [(line, _SMALL, _HEAD * (1 + 1.2 * i) / 3.2) for i, line in enumerate([first, *second])]
