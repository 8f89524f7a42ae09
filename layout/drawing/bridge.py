"""The `bridge` sheet: where it stands, what to drill, and how to find the place from the neck."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from slotwright.layout.drawing import contacts
from slotwright.layout.drawing.frame import Content
from slotwright.layout.drawing.lettering import text_width
from slotwright.layout.drawing.marks import cross, pocket, point, rounded, sides
from slotwright.layout.drawing.sheet import Circle, Contour, Layer, Line, Text
from slotwright.layout.errors import needed
from slotwright.layout.findings import sentence
from slotwright.layout.instrument.arcs import bulge_of
from slotwright.layout.instrument.bridge import TIE_HOLE, foot_hollow, margins, single_units
from slotwright.layout.instrument.replacing import bare
from slotwright.layout.plan.bridges import SaddleSlot
from slotwright.layout.units import SHOWN

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from slotwright.layout.drawing.sheet import Entity
    from slotwright.layout.instrument.instrument import Instrument

    Floats = NDArray[np.float64]

CAUTIONS: Final = (
    "Lay the strip on the crowns and dry fit the bridge.",
    "Thread on both outer strings, compare both sides and both diagonals with their figures; only then drill.",
)
_HEIGHT: Final = 2.5
_HATCH: Final = 1.5  # mm between hatching lines
_BAND: Final = 1.0  # mm, half the width of a travel band
_WOODEN: Final = ("saddle slot", "floating")


def missing(instrument: Instrument) -> str | None:
    """Say what the plan lacks for this sheet."""
    return instrument.bridge_lacks


def content(instrument: Instrument) -> Content:
    """Draw the bridge in plan view, with a strip that reaches to the crowns it is found from."""
    entities = [*_strip(instrument), *_bridge(instrument), *_strings(instrument), *_checks(instrument)]
    tables = ("scale", "frets", "board", "setup", "compensation", "bridge")
    a, _, c, _ = check_points(instrument)
    far = instrument.length(float(np.hypot(*(a - c))))
    check = f"A to C, {far} {instrument.plan.units}"
    crown = float(instrument.neck.frets.middle[instrument.plan.action_fret])
    far = f"{instrument.length(crown)} {instrument.plan.units}"
    origin = f"centre line, {far} before fret {instrument.plan.action_fret} (symbol)"
    return Content(entities, list(_notes(instrument)), tables, CAUTIONS, check, origin=origin, datum=(crown, 0.0))


def _strip(instrument: Instrument) -> Iterator[Entity]:
    """Draw the board from the octave fret on: what the paper is aligned by."""
    neck, plan = instrument.neck, instrument.plan
    first, last = neck.lines_in_board[plan.action_fret], neck.lines_in_board[-1]
    for corner, end in ((first[0], neck.outline[1]), (first[1], neck.outline[2])):
        yield Line(Layer.REF_BLANK, point(corner), point(end))
    yield Line(Layer.REF_BLANK, point(neck.outline[1]), point(neck.outline[2]))
    yield Line(Layer.REF_CENTRE, point(first[0]), point(first[1]))
    at = (float(first[:, 0].min()) - 8.0, 3.0)
    yield Text(Layer.TEXT, at, f"crown {plan.action_fret}", _HEIGHT, "right")
    if plan.frets.count > plan.action_fret:
        yield Line(Layer.REF_CENTRE, point(last[0]), point(last[1]))
        yield from _last_crown(instrument, last)
    start = float(first[:, 0].min()) - 6
    rear = _rear(instrument)
    yield Line(Layer.REF_CENTRE, (start, 0.0), (rear + 6, 0.0))


def _last_crown(instrument: Instrument, crown: Floats) -> Iterator[Entity]:
    """Name the last crown, beyond the line that runs past it to the bridge."""
    _, up = sides(instrument)
    a, b, c, d = check_points(instrument)
    near, far = (a, c) if up.slot else (b, d)
    end, text = crown[up.slot], f"crown {instrument.plan.frets.count}"
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


def _strings(instrument: Instrument) -> Iterator[Entity]:
    """Draw the strings from the octave fret on, their contacts and how far these can be moved."""
    placed, neck, plan = instrument.bridge, instrument.neck, instrument.plan
    crowns = neck.on_strings(neck.from_nut[plan.action_fret])
    beside = np.stack((-neck.directions[:, 1], neck.directions[:, 0]), axis=-1)
    for i, contact in enumerate(placed.contacts):
        yield Line(Layer.REF_STRINGS, point(crowns[i]), point(contact))
        yield from contacts.contact_cross(contact, 1.8 * beside[i], 1.2 * neck.directions[i])
        if placed.bands is not None:
            front, rear = placed.bands[i]
            corners = (front - _BAND * beside[i], rear - _BAND * beside[i], rear + _BAND * beside[i])
            yield Contour(Layer.REF_SADDLE, tuple(map(point, (*corners, front + _BAND * beside[i]))))
    distances = np.hypot(*(placed.contacts - crowns).T)
    words = [f"{i}: {instrument.length(float(far))}" for i, far in enumerate(distances, start=1)]
    beside_all = _rear(instrument) + 8
    yield from contacts.column(instrument, placed.contacts, words, beside_all)
    yield from _from_behind(instrument, beside_all + max(text_width(text, _HEIGHT) for text in words) + 14)


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


def _checks(instrument: Instrument) -> Iterator[Entity]:
    """Letter the points whose distances a rule can check."""
    names = dict(zip("ABCD", check_points(instrument), strict=True))
    for one, other in ("AC", "BD", "AD", "BC"):
        yield Line(Layer.DIM, point(names[one]), point(names[other]))
    posts = any(hole.what == "post" for hole in instrument.bridge.holes)
    for name, other in ("AB", "BA", "CD", "DC"):
        place, opposite = names[name], names[other]
        outward = 1.0 if (float(place[1]), other) > (float(opposite[1]), name) else -1.0
        clear = 9.0 if posts and name in "CD" else 3.0
        at = (float(place[0]) + (-4.0 if name in "AB" else 0.0), float(place[1]) + outward * clear)
        yield Text(Layer.TEXT, at, name, 3.5, "center", "bottom" if outward > 0 else "top")


def check_points(instrument: Instrument) -> tuple[Floats, Floats, Floats, Floats]:
    """Give crown ends A (treble) and B (bass), and C and D on the bridge, treble side first."""
    bass, treble = instrument.neck.lines_in_board[instrument.plan.action_fret]
    placed = instrument.bridge
    posts = [np.array([hole.x, hole.y]) for hole in placed.holes if hole.what == "post"]
    if posts:
        return treble, bass, posts[0], posts[1]
    corners = placed.outlines[0] if len(placed.outlines) == 1 else placed.slot
    if corners is not None:
        return treble, bass, corners[3], corners[0]
    return treble, bass, placed.contacts[0], placed.contacts[-1]


def checked_on(instrument: Instrument) -> str:
    """Say what of the bridge the points C and D are."""
    placed = instrument.bridge
    if any(hole.what == "post" for hole in placed.holes):
        return "posts"
    if len(placed.outlines) == 1:
        rounded_off = getattr(instrument.plan.bridge, "corner_radius", 0.0)
        return f"front corners of the bridge{' before they are rounded' if rounded_off else ''}"
    return "outer contacts" if placed.slot is None else "front corners of the saddle slot"


def _aside(instrument: Instrument, y: float) -> str:
    """Say how far off the centre line a hole stands, and to which side."""
    if abs(y) < SHOWN:
        return "on it"
    side = "treble" if (y > 0) != instrument.plan.board.left_handed else "bass"
    return f"{instrument.length(abs(y))} {side}"


def _of_ties(instrument: Instrument) -> Iterator[str]:
    bridge, ties, said = instrument.plan.bridge, instrument.bridge.ties, instrument.length
    if ties is None or not isinstance(bridge, SaddleSlot):
        return
    asides = "; ".join(_aside(instrument, float(rear[1])) for _, rear in ties)
    high = "" if bridge.tie_height is None else f", their middles {said(bridge.tie_height)} above the top"
    yield (
        f"{len(ties)} tie holes, {said(bridge.tie_diameter or TIE_HOLE)} wide, run along the strings{high}: drill "
        f"them from the rear edge, there off the centre line: {asides}."
    )


def _notes(instrument: Instrument) -> Iterator[str]:
    placed, plan, said = instrument.bridge, instrument.plan, instrument.length
    bridge = needed(instrument.plan.bridge, instrument.bridge_lacks)
    names = dict(zip("ABCD", check_points(instrument), strict=True))
    figures = [f"{a}-{b} {said(float(np.hypot(*(names[a] - names[b]))))}" for a, b in ("AC", "BD", "AD", "BC")]
    yield f"The frets drawn are {plan.action_fret} and {plan.frets.count}; the end of the board is dashed."
    yield (
        f"A and B are the ends of fret {plan.action_fret} at the board's edges, C and D the "
        f"{checked_on(instrument)}: {', '.join(figures)}."
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
        words = "hole" if what == "hole" else f"{what} hole"
        crown = float(instrument.neck.frets.middle[plan.action_fret])
        at = "; ".join(f"{said(hole.x - crown)}, {_aside(instrument, hole.y)}" for hole in same)
        yield f"{len(same)} {words}{'s' * (len(same) > 1)}, {said(same[0].diameter)} wide: {at}."
        if same[0].seat is not None and bridge.seat is not None:
            wide, deep = map(said, bridge.seat)
            yield f"They are opened to {wide} wide, {deep} deep, where the ball ends sit."
        if same[0].top is not None:
            yield (
                f"Pins are tapered: drill {said(same[0].diameter)}, ream to {said(same[0].top)} at the top, until "
                "the collar stands 1 mm proud; try in scrap first."
            )
    yield from _of_ties(instrument)
    if placed.holes:
        yield (f"Holes are measured from where fret {plan.action_fret} crosses the centre line: along it, and aside.")
    if placed.over_top is not None:
        over = ", ".join(said(float(height)) for height in placed.over_top)
        yield f"Strings over the top at their contacts, string 1 first: {over}."
    rows = [
        f"{name} {said(treble)} and {said(bass)} ({share:.2f})"
        for name, treble, bass, share in margins(plan, instrument.neck)
    ]
    yield (
        f"Outer strings to the edges, treble and bass: {'; '.join(rows)}. In brackets: change per 1.00 of "
        "bridge shift to the treble side, off the treble margin and onto the bass one."
    )
    yield from contacts.grounds(instrument)
    yield from map(sentence, instrument.bridge_findings)
