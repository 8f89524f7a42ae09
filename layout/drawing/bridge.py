"""The `bridge` sheet: where it stands, what to drill, and how to find the place from the neck."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from slotwright.layout.drawing import contacts
from slotwright.layout.drawing.bridge_tables import aside, check_points, distances, hole_table, margin_table
from slotwright.layout.drawing.frame import Content
from slotwright.layout.drawing.lettering import text_width
from slotwright.layout.drawing.marks import cross, pocket, point, rounded, sides
from slotwright.layout.drawing.sheet import Circle, Contour, Layer, Line, Text
from slotwright.layout.errors import needed
from slotwright.layout.findings import sentence
from slotwright.layout.instrument.arcs import bulge_of
from slotwright.layout.instrument.bridge import TIE_HOLE, foot_hollow, single_units
from slotwright.layout.instrument.replacing import bare
from slotwright.layout.plan.bridges import SaddleSlot

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from slotwright.layout.drawing.sheet import Entity
    from slotwright.layout.instrument.instrument import Instrument

    Floats = NDArray[np.float64]

CAUTIONS: Final = (
    "Lay the sheet by its last fret and dry fit the bridge.",
    "Thread on both outer strings, compare both sides and both diagonals with their figures; only then drill.",
)
_HEIGHT: Final = 2.5
_SMALL: Final = 2.2
_PROUD: Final = 1.0  # mm of collar above the top while a tapered hole is reamed (common practice, no source)
_STUB: Final = 12.0  # mm of neck that stays on either side of a break
_BREAK: Final = 5.0  # mm between two break lines
_WORTH: Final = 30.0  # mm, the least piece that is left out
_HATCH: Final = 1.5  # mm between hatching lines
_BAND: Final = 1.0  # mm, half the width of a travel band
_WOODEN: Final = ("saddle slot", "floating")


def missing(instrument: Instrument) -> str | None:
    """Say what the plan lacks for this sheet."""
    return instrument.bridge_lacks


def content(instrument: Instrument) -> Content:
    """Draw the bridge in plan view, with as much of the neck as it is found from."""
    gap = _gap(instrument)
    entities = [*_neck(instrument, gap), *_bridge(instrument), *_strings(instrument, gap), *_checks(instrument, gap)]
    tables = ("scale", "frets", "board", "setup", "compensation", "bridge")
    near = instrument.plan.frets.count if gap.cut else instrument.plan.action_fret
    crown = float(instrument.neck.frets.middle[near])
    units, said = instrument.plan.units, instrument.length
    a, _, c, _ = check_points(instrument)
    if gap.cut:
        check = f"fret {near} to the bridge's datum, {said(float(instrument.bridge.datum[0]) - crown)} {units}"
    else:
        check = f"A to C, {said(float(np.hypot(*(a - c))))} {units}"
    origin = f"centre line, {said(crown)} {units} before fret {near} (symbol)"
    figures = [
        *contacts.table(instrument),
        *distances(instrument),
        *hole_table(instrument),
        *margin_table(instrument),
    ]
    return Content(
        entities,
        list(_notes(instrument, gap)),
        tables,
        CAUTIONS,
        check,
        origin=origin,
        datum=(crown, 0.0),
        figures=figures,
    )


@dataclass(frozen=True, slots=True)
class _Gap:
    """A piece of the neck that is left out between two break lines [mm]; the nut's side is drawn that much nearer."""

    left: float = 0.0
    right: float = 0.0

    @property
    def cut(self) -> float:
        return max(0.0, self.right - self.left - _BREAK)

    def drawn(self, place: Floats) -> Floats:
        """Give where a point on the nut's side of the gap is drawn."""
        return np.asarray(place + np.array([self.cut, 0.0]))


def _gap(instrument: Instrument) -> _Gap:
    """Leave out what lies between the octave fret and the last one, where that is worth a break."""
    neck, plan = instrument.neck, instrument.plan
    octave, last = neck.lines_in_board[plan.action_fret], neck.lines_in_board[-1]
    gap = _Gap(float(octave[:, 0].max()) + _STUB, float(last[:, 0].min()) - _STUB)
    return gap if gap.cut > _WORTH else _Gap()


def _neck(instrument: Instrument, gap: _Gap) -> Iterator[Entity]:
    """Draw the board from the octave fret on, broken where a piece is left out."""
    neck, plan = instrument.neck, instrument.plan
    first, last = gap.drawn(neck.lines_in_board[plan.action_fret]), neck.lines_in_board[-1]
    for end, corner in zip(neck.lines_in_board[plan.action_fret], (neck.outline[1], neck.outline[2]), strict=True):
        for start, stop in _pieces(end, corner, gap):
            yield Line(Layer.REF_BLANK, point(start), point(stop))
    yield Line(Layer.REF_BLANK, point(neck.outline[1]), point(neck.outline[2]))
    yield Line(Layer.REF_CENTRE, point(first[0]), point(first[1]))
    at = (float(first[:, 0].min()) - 8.0, 3.0)
    yield Text(Layer.TEXT, at, f"fret {plan.action_fret}", _HEIGHT, "right")
    if plan.frets.count > plan.action_fret:
        yield Line(Layer.REF_CENTRE, point(last[0]), point(last[1]))
        yield from _last_fret(instrument, last, gap)
    begin, rear = float(first[:, 0].min()) - 6, _rear(instrument) + 6
    if gap.cut:
        yield from _break_lines(instrument, gap)
        yield Line(Layer.REF_CENTRE, (begin, 0.0), (gap.right - _BREAK, 0.0))
        yield Line(Layer.REF_CENTRE, (gap.right, 0.0), (rear, 0.0))
    else:
        yield Line(Layer.REF_CENTRE, (begin, 0.0), (rear, 0.0))


def _pieces(start: Floats, end: Floats, gap: _Gap) -> Iterator[tuple[Floats, Floats]]:
    """Give what is drawn of a line along the neck that begins on the nut's side of the gap."""
    if not gap.cut:
        yield start, end
        return
    way = (end - start) / (end[0] - start[0])
    yield gap.drawn(start), gap.drawn(start + (gap.left - start[0]) * way)
    yield start + (gap.right - start[0]) * way, end


def _break_lines(instrument: Instrument, gap: _Gap) -> Iterator[Line]:
    """Draw both lines where the neck is broken, each with a notch in its middle."""
    reach = float(np.abs(instrument.neck.outline[1:3, 1]).max()) + 3.0
    for x in (gap.right - _BREAK, gap.right):
        corners = [(x, -reach), (x, -4.0), (x + 1.5, -1.3), (x - 1.5, 1.3), (x, 4.0), (x, reach)]
        for one, other in itertools.pairwise(corners):
            yield Line(Layer.DIM, one, other)


def _last_fret(instrument: Instrument, crown: Floats, gap: _Gap) -> Iterator[Entity]:
    """Name the last fret, beyond the line that runs past it to the bridge."""
    _, up = sides(instrument)
    a, b, c, d = check_points(instrument)
    near, far = (gap.drawn(a), c) if up.slot else (gap.drawn(b), d)
    end, text = crown[up.slot], f"fret {instrument.plan.frets.count}"
    half = text_width(text, _HEIGHT) / 2 + 1
    lean = float((far[1] - near[1]) / (far[0] - near[0]))
    past = float(near[1]) + lean * float(end[0] - near[0]) + abs(lean) * half + 3
    at = (float(end[0]), max(past, float(end[1]) + 3))
    if min(end[0] - near[0], far[0] - end[0]) < half + 10:
        return  # beside the letters it would only hide them; the notes name it
    yield Line(Layer.DIM, (at[0], float(end[1]) + 1), (at[0], at[1] - 0.8))
    yield Text(Layer.TEXT, at, text, _HEIGHT, "center")


def _rear(instrument: Instrument) -> float:
    """Give how far back the bridge and what belongs to it reach [mm]."""
    placed, neck = instrument.bridge, instrument.neck
    reach = [float(neck.saddle_ends[:, 0].max()), float(placed.contacts[:, 0].max())]
    reach += [hole.x + hole.diameter / 2 for hole in placed.holes]
    shapes = [*placed.outlines, *(shape for shape in (placed.slot, placed.bands) if shape is not None)]
    reach += [float(shape[..., 0].max()) for shape in shapes]
    return max(reach)


def _bridge(instrument: Instrument) -> Iterator[Entity]:
    placed, plan = instrument.bridge, instrument.plan
    bridge = needed(instrument.plan.bridge, instrument.bridge_lacks)
    # Wood is cut to this line; metal comes as it is.
    layer = Layer.CUT_OUTLINE if bridge.kind in _WOODEN else Layer.REF_BLANK
    for corners in placed.outlines:
        yield rounded(layer, corners, bridge.corner_radius if isinstance(bridge, SaddleSlot) else 0.0)
    if placed.slot is not None:
        yield from pocket(placed.slot)
    yield from _ties(instrument)
    if not single_units(plan):
        yield from cross(point(placed.datum), 2.0)
    for hole in placed.holes:
        if hole.top is not None:
            yield Circle(Layer.REF_BLANK, (hole.x, hole.y), hole.top / 2)
        yield Circle(Layer.DRILL, (hole.x, hole.y), hole.diameter / 2)
        if hole.seat is not None:
            yield Circle(Layer.POCKET, (hole.x, hole.y), hole.seat / 2)
        yield from cross((hole.x, hole.y), hole.diameter / 2 + 1.0)
    for x, y, diameter in placed.there.holes:
        yield Circle(Layer.REF_BLANK, (float(x), float(y)), float(diameter) / 2)
    yield from _there(instrument)


def _there(instrument: Instrument) -> Iterator[Entity]:
    """Draw the old footprint, hatched where it stays bare, and what lies under the top."""
    placed = instrument.bridge
    if len(placed.there.footprint):
        yield Contour(Layer.REF_BLANK, tuple(map(point, placed.there.footprint)))
    for piece in bare(placed):
        yield from _hatched(piece)
    for name, corners in placed.there.under:
        yield Contour(Layer.REF_BLANK, tuple(map(point, corners)))
        at = (float(corners[:, 0].mean()), float(corners[:, 1].min()) - 1.0)
        yield Text(Layer.TEXT, at, name, _HEIGHT, "center", "top")


def _hatched(corners: Floats) -> Iterator[Line]:
    """Hatch a convex polygon with lines at 45 degrees."""
    depth = corners @ np.array([-1.0, 1.0]) / np.sqrt(2)
    sides = list(zip(corners, np.roll(corners, -1, axis=0), depth, np.roll(depth, -1), strict=True))
    for level in np.arange(np.ceil(depth.min() / _HATCH) * _HATCH, depth.max(), _HATCH):
        ends = [
            here + (level - one) / (other - one) * (there - here)
            for here, there, one, other in sides
            if (one > level) != (other > level)
        ]
        if len(ends) == 2:
            yield Line(Layer.REF_BLANK, point(ends[0]), point(ends[1]))


def _ties(instrument: Instrument) -> Iterator[Entity]:
    """Draw the tie holes, which run along the strings: nothing to drill from above."""
    bridge, ties = instrument.plan.bridge, instrument.bridge.ties
    if ties is None or not isinstance(bridge, SaddleSlot):
        return
    half = (bridge.tie_diameter or TIE_HOLE) / 2
    for mouth, rear in ties:
        beside = half * np.array([mouth[1] - rear[1], rear[0] - mouth[0]]) / np.hypot(*(rear - mouth))
        yield Contour(
            Layer.REF_BLANK, tuple(map(point, (mouth - beside, rear - beside, rear + beside, mouth + beside)))
        )


def _strings(instrument: Instrument, gap: _Gap) -> Iterator[Entity]:
    """Draw the strings from the octave fret on, their contacts and how far these can be moved."""
    placed, neck, plan = instrument.bridge, instrument.neck, instrument.plan
    crowns = neck.on_strings(neck.from_nut[plan.action_fret])
    beside = np.stack((-neck.directions[:, 1], neck.directions[:, 0]), axis=-1)
    for i, contact in enumerate(placed.contacts):
        for start, stop in _pieces(crowns[i], contact, gap):
            yield Line(Layer.REF_STRINGS, point(start), point(stop))
        yield from contacts.contact_cross(contact, 1.8 * beside[i], 1.2 * neck.directions[i])
        if placed.bands is not None:
            front, rear = placed.bands[i]
            corners = (front - _BAND * beside[i], rear - _BAND * beside[i], rear + _BAND * beside[i])
            yield Contour(Layer.REF_SADDLE, tuple(map(point, (*corners, front + _BAND * beside[i]))))
    beside_all = _rear(instrument) + 2
    yield from contacts.numbers(placed.contacts, beside_all)
    yield from _from_behind(instrument, beside_all + 18)


def _from_behind(instrument: Instrument, x: float) -> Iterator[Entity]:
    """Draw the rear face with its tie holes, from `x` on: the top at its foot, the treble side as beside it."""
    bridge, placed = instrument.plan.bridge, instrument.bridge
    if not isinstance(bridge, SaddleSlot) or placed.ties is None or not placed.outlines:
        return
    if bridge.tie_height is None or bridge.base_height is None:
        return
    across = placed.outlines[0][:, 1]
    low, high = float(across.min()), float(across.max())
    corners = ((x, low), (x + bridge.base_height, low), (x + bridge.base_height, high), (x, high))
    # The last side is the foot, hollow where the top is domed: its middle stays at the base's height.
    deep = foot_hollow(bridge.top_radius, high - low)
    foot = ((x - deep, low), *corners[1:3], (x - deep, high))
    yield Contour(Layer.REF_BLANK, foot, (0.0, 0.0, 0.0, -bulge_of(deep, high - low)) if deep else ())
    yield Line(Layer.REF_CENTRE, (x - 2, 0.0), (x + bridge.base_height + 2, 0.0))
    for _, rear in placed.ties:
        centre = (x + bridge.tie_height, float(rear[1]))
        yield Circle(Layer.DIM, centre, (bridge.tie_diameter or TIE_HOLE) / 2)
    yield Text(Layer.TEXT, (x + bridge.base_height / 2, high + 4), "rear face", _HEIGHT, "center")
    yield Text(Layer.TEXT, (x, low - 1), "foot", _HEIGHT, "center", "top")


def _checks(instrument: Instrument, gap: _Gap) -> Iterator[Entity]:
    """Letter the points whose distances a rule can check, and write both sides along their lines."""
    names = dict(zip("ABCD", check_points(instrument), strict=True))
    drawn = {name: gap.drawn(place) if name in "AB" else place for name, place in names.items()}
    for one, other in ("AC", "BD", "AD", "BC"):
        yield Line(Layer.DIM, point(drawn[one]), point(drawn[other]))
    for (one, other), opposite in (("AC", "BD"), ("BD", "AC")):
        start, end = drawn[one], drawn[other]
        outward = 1.0 if float(start[1] + end[1]) > float(sum(drawn[name][1] for name in opposite)) else -1.0
        along = (end - start) / np.hypot(*(end - start))
        at = start + 0.7 * (end - start) + 1.2 * outward * np.array([-along[1], along[0]])
        far = instrument.length(float(np.hypot(*(names[one] - names[other]))))
        turn = math.degrees(math.atan2(float(along[1]), float(along[0])))
        if float(np.hypot(*(end - start))) > 90:
            text = f"{one}-{other} {far}"
            yield Text(Layer.DIM, point(at), text, _SMALL, "center", "bottom" if outward > 0 else "top", turn)
    posts = any(hole.what == "post" for hole in instrument.bridge.holes)
    for name, other in ("AB", "BA", "CD", "DC"):
        place, across = drawn[name], drawn[other]
        outward = 1.0 if (float(place[1]), other) > (float(across[1]), name) else -1.0
        clear = 9.0 if posts and name in "CD" else 3.0
        letter = (float(place[0]) + (-4.0 if name in "AB" else 0.0), float(place[1]) + outward * clear)
        yield Text(Layer.TEXT, letter, name, 3.5, "center", "bottom" if outward > 0 else "top")


def _of_ties(instrument: Instrument) -> Iterator[str]:
    bridge, ties, said = instrument.plan.bridge, instrument.bridge.ties, instrument.length
    if ties is None or not isinstance(bridge, SaddleSlot):
        return
    asides = "; ".join(aside(instrument, float(rear[1])) for _, rear in ties)
    high = "" if bridge.tie_height is None else f", their middles {said(bridge.tie_height)} above the top"
    yield (
        f"{len(ties)} tie holes, {said(bridge.tie_diameter or TIE_HOLE)} wide, run along the strings{high}: drill "
        f"them from the rear edge, there off the centre line: {asides}."
    )


def _notes(instrument: Instrument, gap: _Gap) -> Iterator[str]:
    placed, plan, said = instrument.bridge, instrument.plan, instrument.length
    bridge = needed(instrument.plan.bridge, instrument.bridge_lacks)
    yield f"The frets drawn are {plan.action_fret} and {plan.frets.count}; the end of the board is dashed."
    if gap.cut:
        yield (
            f"Between two break lines {said(gap.cut)} of the neck are left out: fret {plan.action_fret} is drawn so "
            "much nearer, all figures are true."
        )
    if single_units(plan):
        yield "Bridge: a single unit for each string, set along it with as much travel before the contact as behind."
    else:
        where = f"Bridge: {bridge.kind}, its datum {said(float(placed.datum[0]))} from the nominal nut line"
        rear = "bass" if (placed.angle > 0) != plan.board.left_handed else "treble"
        turned = f"turned {abs(placed.angle):.2f} degrees, the {rear} end to the rear"
        yield f"{where}, {turned if placed.angle else 'square to the centre line'}."
        if placed.slot is not None:
            back = "bass" if (placed.crest_angle > 0) != plan.board.left_handed else "treble"
            yield (
                f"The slot lies at {abs(placed.crest_angle):.2f} degrees, its {back} end to the rear. Round ends are "
                "what a cutter of its width leaves; chisel out the dashed corners."
            )
    for what in dict.fromkeys(hole.what for hole in placed.holes):
        same = [hole for hole in placed.holes if hole.what == what]
        if same[0].seat is not None and bridge.seat is not None:
            wide, deep = map(said, bridge.seat)
            yield f"String holes are opened to {wide} wide, {deep} deep, where the ball ends sit."
        if same[0].top is not None:
            yield (
                f"Pins are tapered: drill {said(same[0].diameter)}, ream to {said(same[0].top)} at the top, until "
                "the collar stands {instrument.plan.said(_PROUD)} proud; try in scrap first."
            )
    yield from _of_ties(instrument)
    yield from contacts.grounds(instrument)
    yield from map(sentence, instrument.bridge_findings)
