"""What surrounds every drawing: border, scale bars, cautions, tables, notes, title block."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

from slotwright.layout import cautions
from slotwright.layout.drawing.lettering import cleaned, fitted, wrapped
from slotwright.layout.drawing.marks import datum_symbol
from slotwright.layout.drawing.scale_bar import scale_bar
from slotwright.layout.drawing.sheet import (
    FOLLOWED,
    Circle,
    Contour,
    Dimension,
    Layer,
    Line,
    Passage,
    Sheet,
    Text,
    extents,
)
from slotwright.layout.drawing.typesetting import SMALL, UNSET, in_rows, set_down, set_passage, title_cells
from slotwright.layout.plan.assumed import plain_name, plain_value

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from slotwright.layout.drawing.sheet import Box, Entity
    from slotwright.layout.drawing.typesetting import SetLine
    from slotwright.layout.instrument.arcs import Point
    from slotwright.layout.instrument.instrument import Instrument

_LEAST: Final = 118.0  # mm, least height above the texts
_MARGIN: Final = 5.0  # mm of paper around the border
_GAP: Final = 8.0  # mm between the parts of a sheet
_BLOCK: Final = 128.0  # mm, width of the title block where it stands beside the texts
_CELL: Final = 30.0  # mm, least width of a field in it
_COLUMN: Final = 70.0  # mm, least width of a column of text; two of them and a bar go on A4 with its margins
_WIDE: Final = 84.0  # mm, width of one where there is room
_NARROW: Final = 150.0  # mm, the widest drawing whose title block goes below the texts, not beside them
_HEAD: Final = 9.0  # mm, height of the first row of the title block
_ROW: Final = 6.4  # mm, height of the others
_RULE: Final = 15.0  # mm, room that a bar takes across its length


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
    figures
        Tables of what is drawn.
    """

    entities: Sequence[Entity]
    notes: Sequence[str] = ()
    tables: Sequence[str] = ("scale", "frets", "board")
    cautions: Sequence[str] = ()
    check: str = ""
    mirrors: bool = True
    origin: str = "centre line on the nominal nut line"
    datum: Point = (0.0, 0.0)
    figures: Sequence[Passage] = ()


def framed(
    name: str, instrument: Instrument, content: Content, *, of: tuple[int, int] = (1, 1), mirrored: bool = False
) -> Sheet:
    """Put a drawing into its border.

    Parameters
    ----------
    name
        Name of the sheet.
    instrument
        What is drawn.
    content
        The drawing.
    of
        Which of the plan's sheets this is, and how many these are.
    mirrored
        Negate every y, for work from the back.

    Returns
    -------
    Sheet
        The drawing with border, scale bars, cautions and title block; letters are never mirrored.
    """
    mirrored = mirrored and content.mirrors
    entities = [*content.entities, *datum_symbol(content.datum)]
    drawn = [entity.mirrored() if mirrored else entity for entity in entities]
    texts = [*_texts(instrument, content)]
    fields = [*_title_fields(name, instrument, content, of, mirrored=mirrored)]
    left, bottom, right, top = extents(drawn)
    beside = right - left > _NARROW
    width = max(right - left, 2 * _COLUMN + (_BLOCK + 2 * _GAP if beside else 0.0) - _RULE)
    left -= (width - (right - left)) / 2  # a narrow drawing stands in the middle
    block = in_rows(fields, _BLOCK if beside else width + _RULE + 3 * _GAP, _CELL)
    high = _HEAD + _ROW * len(block)
    columns = _columns(texts, width + _RULE, high if beside else 0.0)
    deep = max(column.depth for column in columns)
    depth = deep if beside else high + deep

    # The upright bar needs 100 mm and room for its numbers; a low drawing stands in their middle.
    spare = max(0.0, _LEAST - (top - bottom + 2 * _GAP + _RULE)) / 2
    foot = bottom - _GAP - _RULE - spare
    edge: Box = (
        left - _RULE - 2 * _GAP,
        foot - depth,
        left + width + _GAP,
        top + spare + (2 * _GAP if mirrored else _GAP),
    )
    at: Box = (edge[2] - _BLOCK if beside else edge[0], edge[1], edge[2], edge[1] + high)
    frame: list[Line | Contour | Text] = [_border(edge), Line(Layer.DIM, (edge[0], foot), (edge[2], foot))]
    if mirrored:
        words = "MIRRORED: seen from the back"
        frame.append(Text(Layer.FRAME, (left, edge[3] - 3), words, 5.0, "left", "top"))
    for column in columns:
        frame += set_down(column.lines, (edge[0] + _GAP + column.left, foot - 3.5))
    frame += _title_block(instrument.plan.title, block, at)
    units = instrument.plan.units
    level = scale_bar((left, foot + 5.5), width, upright=False, units=units)
    upright = scale_bar((left - _GAP - 4.0, foot + _GAP), edge[3] - foot - 1.7 * _GAP, upright=True, units=units)
    flat = [p for part in drawn for p in (part.parts() if isinstance(part, Dimension) else (part,))]
    return Sheet(
        name,
        cleaned(instrument.plan.title),
        tuple(sorted(flat, key=_cut_first)),
        (edge[0] - _MARGIN, edge[1] - _MARGIN, edge[2] + _MARGIN, edge[3] + _MARGIN),
        frame=tuple(frame),
        bars=(*level, *upright),
        revision=cleaned(instrument.plan.job.revision) if instrument.plan.job else "",
        check=content.check,
        texts=tuple(texts),
        fields=tuple(fields),
        units=units,
        mirrored=mirrored,
    )


def _cut_first(entity: Line | Contour | Circle | Text) -> tuple[int, float]:
    """Put what is cut before all else, inside work before the contours around it."""
    if entity.layer not in FOLLOWED:
        return len(FOLLOWED), 0.0
    left, low, right, high = entity.box()
    return FOLLOWED.index(entity.layer), (right - left) * (high - low) if isinstance(entity, Contour) else 0.0


def _border(edge: Box) -> Contour:
    left, bottom, right, top = edge
    return Contour(Layer.FRAME, ((left, bottom), (right, bottom), (right, top), (left, top)))


def _texts(instrument: Instrument, content: Content) -> Iterator[Passage]:
    """Give the texts of a sheet, each with its heading."""
    yield Passage("Cautions", (*cautions.SHEET, *content.cautions))
    yield from content.figures
    noted = [*(f"Warning: {warning}." for warning in instrument.warnings), *content.notes]
    assumed = [
        (plain_name(key), plain_value(key, value))
        for key, value in instrument.assumed.items()
        # What is not there need not be listed on every sheet; the check command lists it all.
        if key.rpartition(".")[0] in content.tables and value.value not in (0, False, (0.0, 0.0))
    ]
    if noted or not assumed:
        yield Passage("Notes", tuple(noted) or ("Everything drawn here is stated in the plan.",))
    if assumed:
        yield Passage("Assumed, not stated in the plan", (), (("what", "taken as"), *assumed))


@dataclass(slots=True)
class _Column:
    """A column of text: its left side and its width, how much below it is taken, and its lines [mm]."""

    left: float
    width: float
    taken: float = 0.0
    lines: list[SetLine] = field(default_factory=list)

    @property
    def depth(self) -> float:
        """How far down it reaches, with what is taken below it [mm]."""
        return sum(line.step for line in self.lines[1:]) + (3 * SMALL if self.lines else 0.0) + self.taken


def _columns(texts: Sequence[Passage], room: float, block: float) -> list[_Column]:
    """Set texts into columns, each whole into the shortest; the last one may stand on the title block."""
    beside = _BLOCK - _GAP if block else 0.0
    left = room - (beside + _GAP if block else 0.0)
    many = min(max(1 if block else 2, int((left + _GAP) // (_WIDE + _GAP))), len(texts))
    width = (left - (many - 1) * _GAP) / many
    columns = [_Column(place * (width + _GAP), width) for place in range(many)]
    if block:
        columns.append(_Column(room - beside + _GAP / 2, beside, block))
    for passage in texts:
        column = min(columns, key=lambda each: each.depth)
        column.lines += set_passage(passage, column.width)
    return columns


def _title_fields(
    name: str, instrument: Instrument, content: Content, of: tuple[int, int], *, mirrored: bool
) -> Iterator[tuple[str, str]]:
    """Give label and value of what the title block says (ISO 7200 fields); a dash where the plan is silent."""
    plan, scale = instrument.plan, instrument.plan.scale
    if scale.treble is not None and scale.bass is not None:
        square = {0.0: "the nut", float("inf"): "the saddle"}.get(scale.square_fret, f"fret {scale.square_fret:g}")
        scales = f"{instrument.length(scale.treble)} to {instrument.length(scale.bass)}, square at {square}"
    else:
        scales = instrument.length(scale.length or 0.0)
    job, silent = plan.job, UNSET
    yield from (("sheet", name), ("number", f"{of[0]} of {of[1]}"), ("drawn", "1:1"), ("lengths in", plan.units))
    yield from (("strings", str(len(plan.strings))), ("frets", str(plan.frets.count)))
    yield "hand", "left-handed" if plan.board.left_handed else "right-handed"
    yield "reference", (job and job.reference) or silent
    yield "revision", (job and job.revision) or silent
    yield "date", (job and job.date) or silent
    yield "scale length", scales
    yield "drawn by", (job and job.drawn_by) or silent
    yield "origin", content.origin
    if mirrored:
        yield "view", "MIRRORED, for work from the back"


def _title_block(title: str, rows: Sequence[Sequence[tuple[str, str]]], place: Box) -> Iterator[Line | Text]:
    """Draw the title block into the lower right corner of the border."""
    left, bottom, right, top = place
    yield Line(Layer.DIM, (left, top), (right, top))
    yield Line(Layer.DIM, (left, bottom), (left, top))
    for line, height, down in _title_lines(title, right - left - 6):
        yield Text(Layer.FRAME, (left + 3, top - down), line, height, up="middle")
    yield from title_cells(rows, (left, bottom, right, top - _HEAD))


def _title_lines(title: str, room: float) -> list[tuple[str, float, float]]:
    """Set a title in one line, or in two smaller ones: text, height and way down from the top."""
    text, height = fitted(title, room, 4.0, 2.8)
    if text == cleaned(title):
        return [(text, height, _HEAD / 2)]
    first, *more = wrapped(title, room, SMALL)
    second = [fitted(" ".join(more), room, SMALL, SMALL)[0]] if more else []
    return [(line, SMALL, _HEAD * (1 + 1.2 * i) / 3.2) for i, line in enumerate([first, *second])]
