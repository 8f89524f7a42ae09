"""What surrounds every drawing: border, rules, cautions, notes, assumed values, title block."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from slotwright.layout import cautions
from slotwright.layout.drawing.lettering import cleaned, fitted, text_width, wrapped
from slotwright.layout.drawing.marks import datum_symbol
from slotwright.layout.drawing.scale_bar import scale_bar
from slotwright.layout.drawing.sheet import Contour, Dimension, Layer, Line, Passage, Sheet, Text, extents

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from slotwright.layout.drawing.sheet import Box, Entity
    from slotwright.layout.instrument.arcs import Point
    from slotwright.layout.instrument.instrument import Instrument

    _Line = tuple[str, float, float]  # text, step that leads to it in line heights, height [mm]

_LEAST: Final = 118.0  # mm, least height above the title block
_MARGIN: Final = 5.0  # mm of paper around the border
_GAP: Final = 8.0  # mm between the parts of a sheet
_SMALL: Final = 2.2  # mm, height of the capitals of running text
_LARGE: Final = 3.0  # mm, of headings
_LEADING: Final = 1.75  # line to line, in heights
_BLOCK: Final = 128.0  # mm, width of the title block where it stands beside the texts
_CELL: Final = 32.0  # mm, least width of a field in it
_COLUMN: Final = 70.0  # mm, least width of a column of text; two of them and a rule go on A4 with its margins
_NARROW: Final = 150.0  # mm, the widest drawing whose title block goes below the texts, not beside them
_HEAD: Final = 9.0  # mm, height of the first row of the title block
_ROW: Final = 6.9  # mm, height of the others
_CUT: Final = (Layer.DRILL, Layer.POCKET, Layer.CUT_SLOTS, Layer.CUT_OUTLINE)  # in the order of work
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
    origin
        What lies at x = 0, y = 0.
    datum
        Where the symbol for it stands: there, or at a place on the sheet whose distance `origin` tells [mm].
    """

    entities: Sequence[Entity]
    notes: Sequence[str] = ()
    tables: Sequence[str] = ("scale", "frets", "board")
    cautions: Sequence[str] = ()
    check: str = ""
    mirrors: bool = True
    origin: str = "centre line on the nominal nut line"
    datum: Point = (0.0, 0.0)


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
    entities = [*content.entities, *datum_symbol(content.datum)]
    drawn = [entity.mirrored() if mirrored else entity for entity in entities]
    left, bottom, right, top = extents(drawn)
    beside = _BLOCK + 2 * _GAP if right - left > _NARROW else 0.0
    width = max(right - left, 2 * _COLUMN + beside - _RULE)
    left -= (width - (right - left)) / 2  # a narrow drawing stands in the middle
    column = (width + _RULE - beside) / 2
    columns = _columns(_texts(instrument, content), column)
    block = _title_rows(
        _title_fields(name, instrument, content, mirrored), _BLOCK if beside else width + _RULE + 3 * _GAP
    )
    high, deep = _HEAD + _ROW * len(block), max(map(_depth, columns))
    depth = max(high, deep) + _GAP if beside else high + deep

    # The upright rule needs 100 mm and room for its numbers; a low drawing stands in their middle.
    spare = max(0.0, _LEAST - (top - bottom + 2 * _GAP + _RULE)) / 2
    foot = bottom - _GAP - _RULE - spare
    edge: Box = (
        left - _RULE - 2 * _GAP,
        foot - depth,
        left + width + _GAP,
        top + spare + (2 * _GAP if mirrored else _GAP),
    )

    parts: list[Line | Contour | Text] = [_border(edge), Line(Layer.FRAME, (edge[0], foot), (edge[2], foot))]
    if mirrored:
        words = "MIRRORED: seen from the back"
        parts.append(Text(Layer.FRAME, (left, edge[3] - 3), words, 5.0, "left", "top"))
    parts += _below(instrument.plan.title, columns, column, block, edge, foot, beside=bool(beside))
    units = instrument.plan.units
    level = scale_bar((left, foot + 5.5), width, upright=False, units=units)
    upright = scale_bar((left - _GAP - 4.0, foot + _GAP), edge[3] - foot - 1.7 * _GAP, upright=True, units=units)
    flat = [p for part in drawn for p in (part.parts() if isinstance(part, Dimension) else (part,))]
    paper = edge[0] - _MARGIN, edge[1] - _MARGIN, edge[2] + _MARGIN, edge[3] + _MARGIN
    return Sheet(
        name,
        cleaned(instrument.plan.title),
        tuple(sorted(flat, key=_cut_first)),
        paper,
        frame=tuple(parts),
        bars=(*level, *upright),
        revision=cleaned(instrument.plan.job.revision) if instrument.plan.job else "",
        check=content.check,
        texts=tuple(Passage(heading, tuple(said)) for heading, said in _texts(instrument, content)),
        fields=tuple(_title_fields(name, instrument, content, mirrored)),
        units=units,
        mirrored=mirrored,
    )


def _cut_first(entity: Entity) -> tuple[int, float]:
    """Put what is cut before all else, inside work before the contours around it."""
    if entity.layer not in _CUT:
        return len(_CUT), 0.0
    left, low, right, high = entity.box()
    return _CUT.index(entity.layer), (right - left) * (high - low) if isinstance(entity, Contour) else 0.0


def _below(
    title: str,
    columns: tuple[list[_Line], list[_Line]],
    column: float,
    block: Sequence[Sequence[tuple[str, str]]],
    edge: Box,
    foot: float,
    *,
    beside: bool,
) -> Iterator[Line | Text]:
    """Set the texts below the drawing, and the title block beside or below them."""
    for place, lines in enumerate(columns):
        yield from _set(lines, edge[0] + _GAP + place * (column + _GAP), foot - 3.5)
    if beside:
        at: Box = edge[2] - _BLOCK, edge[1], edge[2], foot
        yield Line(Layer.FRAME, at[:2], (at[0], foot))
    else:
        at = edge[0], edge[1], edge[2], foot - max(map(_depth, columns))
        yield Line(Layer.FRAME, (edge[0], at[3]), (edge[2], at[3]))
    yield from _title_block(title, block, at)


def _border(edge: Box) -> Contour:
    left, bottom, right, top = edge
    return Contour(Layer.FRAME, ((left, bottom), (right, bottom), (right, top), (left, top)))


def _texts(instrument: Instrument, content: Content) -> Iterator[tuple[str, Sequence[str]]]:
    """Give the heading and the paragraphs of each text on a sheet."""
    yield "Cautions", (*cautions.SHEET, *content.cautions)
    noted = [*(f"Warning: {warning}." for warning in instrument.warnings), *content.notes]
    assumed = [
        f"{key}={value.text}"
        for key, value in instrument.assumed.items()
        # What is not there need not be listed on every sheet; the check command lists it all.
        if key.rpartition(".")[0] in content.tables and value.value not in (0, False, (0.0, 0.0))
    ]
    if noted or not assumed:
        yield "Notes", noted or ["Everything drawn here is stated in the plan."]
    if assumed:
        yield "Assumed, not stated in the plan", [f"{', '.join(assumed)}."]


def _columns(texts: Iterable[tuple[str, Sequence[str]]], width: float) -> tuple[list[_Line], list[_Line]]:
    """Set each text into the shorter one of two columns."""
    columns: tuple[list[_Line], list[_Line]] = [], []
    for heading, paragraphs in texts:
        column = min(columns, key=_depth)
        column.append((heading, 2.2 if column else 0.0, _LARGE))
        for paragraph in paragraphs:
            column += [(line, 1.0 if i else 1.5, _SMALL) for i, line in enumerate(wrapped(paragraph, width, _SMALL))]
    return columns


def _depth(column: Sequence[_Line]) -> float:
    return sum(step for _, step, _ in column) * _SMALL * _LEADING + 3 * _SMALL


def _set(column: Sequence[_Line], x: float, y: float) -> Iterator[Text]:
    for line, step, height in column:
        y -= step * _SMALL * _LEADING
        yield Text(Layer.FRAME, (x, y), line, height, "left", "middle")


def _title_fields(name: str, instrument: Instrument, content: Content, mirrored: bool) -> Iterator[tuple[str, str]]:
    """Give label and value of what the title block says (ISO 7200 fields)."""
    plan, scale = instrument.plan, instrument.plan.scale
    if scale.treble is not None and scale.bass is not None:
        square = {0.0: "the nut", float("inf"): "the saddle"}.get(scale.square_fret, f"fret {scale.square_fret:g}")
        scales = f"{instrument.length(scale.treble)} to {instrument.length(scale.bass)}, square at {square}"
    else:
        scales = instrument.length(scale.length or 0.0)
    yield from (("sheet", name), ("drawn", "1:1"), ("lengths in", plan.units), ("scale length", scales))
    yield from (("strings", str(len(plan.strings))), ("frets", str(plan.frets.count)))
    yield "hand", "left-handed" if plan.board.left_handed else "right-handed"
    yield "origin", content.origin
    if mirrored:
        yield "view", "MIRRORED, for work from the back"
    if job := plan.job:
        stated = {"reference": job.reference, "drawn by": job.drawn_by, "revision": job.revision, "date": job.date}
        yield from ((label, value) for label, value in stated.items() if value)


def _title_rows(fields: Iterable[tuple[str, str]], room: float) -> list[list[tuple[str, str]]]:
    """Put fields into rows, as many beside each other as can be read."""
    rows: list[list[tuple[str, str]]] = []
    for field in fields:
        longer = [*rows[-1], field] if rows else [field]
        cell = room / len(longer)
        if rows and cell >= _CELL and all(text_width(value, _SMALL) <= cell - 5 for _, value in longer):
            rows[-1] = longer
        else:
            rows.append([field])
    return rows


def _title_block(title: str, rows: Sequence[Sequence[tuple[str, str]]], place: Box) -> Iterator[Line | Text]:
    """Draw the title block into its place, whose sides are there."""
    left, bottom, right, top = place
    for line, height, down in _title_lines(title, right - left - 6):
        yield Text(Layer.FRAME, (left + 3, top - down), line, height, up="middle")
    step = min((top - bottom - _HEAD) / len(rows), 1.3 * _ROW)
    for i, row in enumerate(rows):
        y = top - _HEAD - i * step
        yield Line(Layer.FRAME, (left, y), (right, y))
        cell = (right - left) / len(row)
        for j, (label, value) in enumerate(row):
            x = left + j * cell
            if j:
                yield Line(Layer.FRAME, (x, y), (x, y - step))
            yield Text(Layer.FRAME, (x + 3, y - 0.8), label, 1.6, up="top")
            text, height = fitted(value, cell - 5, 2.5)
            yield Text(Layer.FRAME, (x + 3, y - step + 1.0), text, height)
    if (end := top - _HEAD - len(rows) * step) > bottom + 0.01:  # or else the border is there
        yield Line(Layer.FRAME, (left, end), (right, end))


def _title_lines(title: str, room: float) -> list[tuple[str, float, float]]:
    """Set a title in one line, or in two smaller ones: text, height and way down from the top."""
    text, height = fitted(title, room, 4.0, 2.8)
    if text == cleaned(title):
        return [(text, height, _HEAD / 2)]
    first, *more = wrapped(title, room, _SMALL)
    second = [fitted(" ".join(more), room, _SMALL, _SMALL)[0]] if more else []
    return [(line, _SMALL, _HEAD * (1 + 1.2 * i) / 3.2) for i, line in enumerate([first, *second])]
