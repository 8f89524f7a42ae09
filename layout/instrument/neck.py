"""Neck: string lines, fret lines, board outline, crown surface.

Everything is built of two kinds of straight lines: those across the neck (nut, frets, saddle,
ends of the board) and those along it (strings, board edges). Axes: origin where the centre line
crosses the nominal nut line, +x from nut to bridge, +y to the treble side of a right-handed
instrument; a left-handed one has every y negated.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from slotwright.layout.errors import Fault, PlanError
from slotwright.layout.instrument.lines import Across, Along, distance, lengthened, meet
from slotwright.layout.instrument.spacing import string_places
from slotwright.layout.physics.temperament import CENTS_PER_NEPER, cents_at, speaking_fraction
from slotwright.layout.units import SHOWN, show

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import ArrayLike, NDArray

    from slotwright.layout.plan.plan import Plan

    Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Neck:
    """The computed neck; string 1 and the treble edge come first.

    Parameters
    ----------
    nut_ends, saddle_ends
        Ends of the strings on the nominal lines [mm], shape (strings, 2).
    strings
        The string lines.
    scales
        Scale length of each string [mm], shape (strings,).
    cents, fractions
        Interval of frets 0, 1, ... above the open string [cents] and the fraction of the string
        that speaks, shape (frets + 1,).
    frets
        Lines of frets 0 (the nut) to the last.
    saddle
        The nominal saddle line.
    from_nut
        Distance along each string from its nominal nut end to each fret [mm], shape
        (frets + 1, strings).
    straightness
        Largest distance of an inner string's exact point from the straight fret [mm], shape
        (frets + 1,).
    edges
        Treble and bass edge of the board.
    along_edges
        Distance along each edge from the nut line [mm], shape (frets + 1, 2).
    outline
        Corners of the board [mm]: bass nut end, bass far end, treble far end, treble nut end.
    core
        The same of the wood between the bindings, which run along both edges but not across the ends.
    nut_moved
        How far the end of the board, or the zero fret, was moved toward the first fret [mm].
    lines_in_board
        Where each fret line enters and leaves the board, bass end first [mm], shape
        (frets + 1, 2, 2).
    slots
        The same from edge to edge of the core, less the inset of blind ones along the slot.
    radius
        Radius of the crowns across the board at the nut and at the last fret [mm]; 0, 0 is flat.
    relief
        Depth of the bow [mm].
    bow
        Where on the centre line the bow begins and ends [mm]; None with fewer than three crowns.
    """

    nut_ends: Floats
    saddle_ends: Floats
    strings: Along
    scales: Floats
    cents: Floats
    fractions: Floats
    frets: Across
    saddle: Across
    from_nut: Floats
    straightness: Floats
    edges: Along
    along_edges: Floats
    outline: Floats
    core: Floats
    nut_moved: float
    lines_in_board: Floats
    slots: Floats
    radius: tuple[float, float]
    relief: float
    bow: tuple[float, float] | None

    def on_strings(self, along: Floats) -> Floats:
        """Give the points at a distance from the nominal nut ends, one on each string.

        Parameters
        ----------
        along
            Distances along the strings [mm], shape (strings,).

        Returns
        -------
        ndarray, shape (strings, 2)
            Points [mm].
        """
        return self.nut_ends + (along / self.scales)[:, None] * (self.saddle_ends - self.nut_ends)

    @property
    def directions(self) -> Floats:
        """Unit vectors along the strings, from nut to saddle, shape (strings, 2)."""
        return (self.saddle_ends - self.nut_ends) / self.scales[:, None]

    @property
    def angles(self) -> Floats:
        """Angle between the centre line toward the bridge and each fret's treble end [degrees], shape (frets + 1,).

        90 is square; below it the treble end leans toward the bridge, on either hand.
        """
        ends = self.lines_in_board[:, 1] - self.lines_in_board[:, 0]
        angles: Floats = np.degrees(np.arctan2(np.abs(ends[:, 1]), ends[:, 0]))
        return angles

    @property
    def straightness_cents(self) -> Floats:
        """What `straightness` costs in pitch [cents], shape (frets + 1,)."""
        return CENTS_PER_NEPER * self.straightness / (float(self.scales.min()) * self.fractions)

    def radius_at(self, x: ArrayLike) -> Floats:
        """Give the radius across the board.

        Parameters
        ----------
        x
            Place on the centre line [mm], shape (...).

        Returns
        -------
        ndarray, shape (...)
            Radius [mm], linear between nut and last fret and beyond them; ``inf`` for a flat board.
        """
        place = np.asarray(x, dtype=np.float64)
        at_nut, at_last = self.radius
        if at_nut == 0:
            return np.full_like(place, np.inf)
        return at_nut + (at_last - at_nut) * place / float(self.frets.middle[-1])

    def drop(self, x: ArrayLike, y: ArrayLike) -> Floats:
        """Give how far the curve across the board falls away from its middle.

        Parameters
        ----------
        x, y
            Place [mm], shapes that broadcast together.

        Returns
        -------
        ndarray
            Fall below the centre line [mm], ``R - sqrt(R**2 - y**2)``; NaN where the curve ends
            before y.
        """
        half, radius = np.asarray(y, dtype=np.float64), self.radius_at(x)
        with np.errstate(invalid="ignore"):
            # The same without the cancellation of two large numbers.
            return half * half / (radius + np.sqrt(np.where(radius > 0, radius * radius - half * half, np.nan)))

    def crown_height(self, x: ArrayLike, y: ArrayLike) -> Floats:
        """Give the height of the surface that the crowns lie on.

        Parameters
        ----------
        x, y
            Place [mm], shapes that broadcast together.

        Returns
        -------
        ndarray
            Height above the unbowed crown at the centre line [mm], never positive:
            ``-(R - sqrt(R**2 - y**2)) - relief(x)``, the relief a parabola between the ends of the bow.
        """
        place = np.asarray(x, dtype=np.float64)
        height = -self.drop(place, y)
        if self.bow is None:
            return height
        begin, end = self.bow
        parabola = 4 * self.relief * (place - begin) * (end - place) / (end - begin) ** 2
        return height - np.maximum(parabola, 0.0)


def lay_neck(plan: Plan) -> Neck:
    """Compute the neck that a plan describes.

    Parameters
    ----------
    plan
        A checked plan.

    Returns
    -------
    Neck
        Everything about the board and the strings over it.

    Raises
    ------
    PlanError
        The parts of the plan, each possible by itself, do not make a neck.
    """
    board = plan.board
    hand = board.hand
    y_nut = hand * string_places(plan, plan.spread_nut, board.course_spacing[0])
    y_saddle = hand * string_places(plan, plan.spread_saddle, board.course_spacing[1])
    _refuse(_faults_across(plan, y_nut, y_saddle))

    cents = plan.cents
    fractions = speaking_fraction(cents)
    # The outermost strings carry the scales; all that lies across is drawn through their points.
    first, last = _outer_strings(plan, y_nut[[0, -1]], y_saddle[[0, -1]])
    across = _lines_through(
        *((end[0] + (1 - np.append(fractions, 0.0))[:, None] * (end[1] - end[0])) for end in (first, last))
    )
    frets, saddle = across[:-1], across[-1:]
    nut_ends = np.stack((frets[0].x_at(y_nut), y_nut), axis=-1)
    saddle_ends = np.stack((saddle.x_at(y_saddle), y_saddle), axis=-1)
    strings = Along.through(nut_ends, saddle_ends)
    on_frets = meet(frets, strings)

    edges = _edges(plan, hand, frets, strings)
    _refuse(_faults_along(plan, frets, saddle, strings, edges))
    on_edges = meet(frets, edges)
    lines_in_board = on_edges[:, ::-1]
    core = _within(edges, board.binding)
    begin, end = plan.relief_between

    neck = Neck(
        nut_ends=nut_ends,
        saddle_ends=saddle_ends,
        strings=strings,
        scales=distance(nut_ends, saddle_ends),
        cents=cents,
        fractions=fractions,
        frets=frets,
        saddle=saddle,
        from_nut=distance(on_frets, nut_ends),
        straightness=_straightness(frets, fractions, nut_ends, saddle_ends),
        edges=edges,
        along_edges=distance(on_edges, on_edges[0]),
        outline=_outline(plan, frets[0], frets[-1], edges),
        core=_outline(plan, frets[0], frets[-1], core),
        nut_moved=0.0,
        lines_in_board=lines_in_board,
        slots=lengthened(meet(frets, core)[:, ::-1], -plan.frets.slot_inset),
        radius=board.radius,
        relief=plan.setup.relief,
        bow=(float(frets.middle[begin]), float(frets.middle[end])) if end - begin >= 2 else None,
    )
    _refuse(_faults_of(plan, neck))
    return neck


def mark_centres(plan: Plan, neck: Neck) -> list[tuple[int, float, float]]:
    """Place the position marks, midway between a fret and the one before.

    Parameters
    ----------
    plan, neck
        The plan and its neck.

    Returns
    -------
    list of tuple
        Fret, x and y [mm]; a double mark stands a quarter of the width on either side of the
        centre line (common practice, no source) and takes the place of a single one.
    """
    double = set(plan.board.double_marks)
    found = []
    for fret in plan.board.marked:
        aside = 0.0
        if fret in double:
            aside = float(np.abs(neck.lines_in_board[fret - 1 : fret + 1, :, 1]).mean() / 2)
        between = neck.frets[fret - 1 : fret + 1]
        found += [(fret, float(between.x_at(y).mean()), y) for y in sorted({-aside, aside})]
    return found


def side_dots(plan: Plan, neck: Neck) -> list[tuple[int, float]]:
    """Place the side dots in the edge that the player looks at, the bass one, midway between frets.

    Parameters
    ----------
    plan, neck
        The plan and its neck.

    Returns
    -------
    list of tuple
        Fret, and the way along the bass edge from the nut line [mm]. Two dots stand three diameters apart, centre
        to centre (common practice, no source).
    """
    if not plan.board.side_dots:
        return []
    along = neck.along_edges[:, 1]
    aside = 1.5 * plan.board.side_dot_diameter
    return [
        (fret, float(along[fret - 1 : fret + 1].mean()) + by)
        for fret in plan.board.marked
        for by in ((-aside, aside) if fret in plan.board.double_marks else (0.0,))
    ]


def with_nut_moved(plan: Plan, neck: Neck, offset: float) -> Neck:
    """Move the end of the board, or the zero fret, to the nut offset that all strings share.

    Parameters
    ----------
    plan
        The plan.
    neck
        Its neck.
    offset
        Way toward the first fret [mm].

    Returns
    -------
    Neck
        The neck with outline and slot 0 moved; everything else stays where it is.
    """
    moved = neck.frets[0].moved(offset)
    core = _within(neck.edges, plan.board.binding)
    slot = lengthened(meet(moved, core)[:, ::-1], -plan.frets.slot_inset)
    return replace(
        neck,
        outline=_outline(plan, moved, neck.frets[-1], neck.edges),
        core=_outline(plan, moved, neck.frets[-1], core),
        slots=np.concatenate((slot, neck.slots[1:])),
        nut_moved=offset,
    )


def _outline(plan: Plan, nut: Across, last: Across, edges: Along) -> Floats:
    near = meet(nut.moved(-plan.behind_nut), edges)[0]
    far = meet(last.moved(plan.board.beyond_last_fret), edges)[0]
    return np.stack((near[1], far[1], far[0], near[0]))


def _within(edges: Along, inside: float) -> Along:
    """Move both edges toward the centre line [mm], square to it as all widths are told."""
    return Along(edges.start - np.sign(edges.start) * inside, edges.taper)


def _outer_strings(plan: Plan, y_nut: Floats, y_saddle: Floats) -> Floats:
    """Give nut end and saddle end of the first and the last string, shape (2, 2, 2)."""
    scale = plan.scale
    if scale.treble is None or scale.bass is None:
        x_nut, x_saddle = np.zeros(2), np.full(2, scale.length)
    else:
        # The scales are measured along the strings, so their reach along x is a little less.
        reach = np.sqrt(np.array([scale.treble, scale.bass]) ** 2 - (y_saddle - y_nut) ** 2)
        square = float(speaking_fraction(cents_at(scale.square_fret, plan.period)))
        # Moved so that both strings have the square fret at one x and the nut line meets the origin.
        shift = (1 - square) * (reach[1] - reach[0]) / 2
        x_nut = np.array([shift, -shift])
        x_saddle = x_nut + reach
    return np.stack((np.stack((x_nut, y_nut), axis=-1), np.stack((x_saddle, y_saddle), axis=-1)), axis=1)


def _lines_through(first: Floats, last: Floats) -> Across:
    """Draw lines across through points on the first and the last string, each (n, 2)."""
    rise = first - last
    if not rise[:, 1].any():  # one string: square to the centre line
        return Across(first[:, 0], np.zeros(len(first)))
    skew = rise[:, 0] / rise[:, 1]
    return Across(first[:, 0] - skew * first[:, 1], skew)


def _edges(plan: Plan, hand: float, frets: Across, strings: Along) -> Along:
    """Lay the treble and the bass edge of the board."""
    board, side = plan.board, hand * np.array([1.0, -1.0])
    at_nut = side * board.nut_width / 2
    if board.width_at is None:
        outer = strings[[0, -1]]
        there, y = frets[-1], meet(frets[-1], outer)[0, :, 1] + side * board.edge_margin
    else:
        there, y = frets[board.width_at.fret], side * board.width_at.width / 2
    return Along.through(np.stack((frets[0].x_at(at_nut), at_nut), axis=-1), np.stack((there.x_at(y), y), axis=-1))


def _straightness(frets: Across, fractions: Floats, nut_ends: Floats, saddle_ends: Floats) -> Floats:
    """Measure how far the exact points of the inner strings lie off the straight frets."""
    exact = saddle_ends + fractions[:, None, None] * (nut_ends - saddle_ends)
    off = exact[..., 0] - (frets.middle[:, None] + frets.skew[:, None] * exact[..., 1])
    largest: Floats = np.abs(off / np.hypot(1, frets.skew)[:, None])[:, 1:-1].max(axis=1, initial=0.0)
    return largest


def _refuse(faults: Iterator[Fault]) -> None:
    if found := tuple(faults):
        raise PlanError(found)


def _faults_across(plan: Plan, y_nut: Floats, y_saddle: Floats) -> Iterator[Fault]:
    if len(plan.strings) > 1 and plan.spread_nut <= 0:
        yield Fault("board.nut_width", "nothing is left between the edge margins", "check both")
        return
    for key, y in (("string_spread_nut", y_nut), ("string_spread_saddle", y_saddle)):
        gauges = np.array([string.gauge or 0.0 for string in plan.strings])
        air = np.abs(np.diff(y)) - (gauges[:-1] + gauges[1:]) / 2
        right_order = np.diff(y) * plan.board.hand < 0
        for place in np.flatnonzero((air <= 0) | ~right_order)[:1]:
            blamed = key if getattr(plan.board, key) is not None or len(plan.courses) > 1 else "course_spacing"
            yield Fault(f"board.{blamed}", f"too narrow: strings {place + 1} and {place + 2} touch", "widen it")
    if plan.scale.treble is not None and abs(y_saddle[0] - y_nut[0]) >= plan.scale.treble / 2:
        yield Fault("board.string_spread_saddle", "the strings fan out too far for their scale", "check it")


def _faults_along(plan: Plan, frets: Across, saddle: Across, strings: Along, edges: Along) -> Iterator[Fault]:
    """Refuse frets that cross each other or the saddle between the outermost lines along the neck."""
    lines = Across(np.append(frets.middle, saddle.middle), np.append(frets.skew, saddle.skew))
    sides = Along(np.append(strings.start, edges.start), np.append(strings.taper, edges.taper))
    with np.errstate(divide="ignore", invalid="ignore"):
        steps = np.diff(meet(lines, sides)[..., 0], axis=0)
    for fret in np.flatnonzero(~(steps > 0).all(axis=1))[:1]:
        here = f"fret {fret}" if fret else "the nut"
        beyond = f"fret {fret + 1}" if fret < plan.frets.count else "the saddle"
        if plan.scale.length is None:
            yield Fault("scale", f"{here} runs into {beyond} inside the board", "bring the scales closer")
        else:
            yield Fault("frets.count", f"{here} and {beyond} stand on one line", "fewer frets, or other cents")


def _faults_of(plan: Plan, neck: Neck) -> Iterator[Fault]:
    length = distance(neck.lines_in_board[:, 0], neck.lines_in_board[:, 1])
    shortest = int(np.argmin(length))
    if length[shortest] <= 2 * (plan.frets.slot_inset + plan.board.binding) + 1:
        yield Fault("frets.slot_inset", f"with the binding it leaves no slot at fret {shortest}", "reduce it")
    margin, end, side = nearest_edge(neck)
    if margin <= 0:
        taper = "board.edge_margin" if plan.board.width_at is None else "board.width_at"
        past = f"{plan.said(-margin)} past" if margin < -SHOWN else "on"
        yield Fault(
            "board.nut_width" if end == "nut" else taper,
            f"the outer {side} string runs off the board at the {end}, {past} the edge",
            "widen the board or narrow the string spread",
        )
    for x, y in neck.outline[np.isnan(neck.drop(neck.outline[:, 0], neck.outline[:, 1]))][:1]:
        radius, half = (show(abs(float(v)), plan.units) for v in (neck.radius_at(x), y))
        yield Fault(
            "board.radius",
            f"{radius} {plan.units} at the corner of the board, which lies {half} {plan.units} from the centre line",
            "check the unit",
        )


def nearest_edge(neck: Neck) -> tuple[float, str, str]:
    """Find where an outer string comes nearest to the edge of the board.

    Parameters
    ----------
    neck
        The computed neck.

    Returns
    -------
    tuple
        Distance from string centre to edge, negative off the board [mm]; ``"nut"`` or
        ``"last fret"``; ``"treble"`` or ``"bass"``.
    """
    outer = neck.strings[[0, -1]]
    ends = neck.outline[[[3, 0], [2, 1]]]  # nut and far end, treble first
    side = np.sign(neck.edges.start)
    inside = side * (ends[..., 1] - outer.y_at(ends[..., 0])) / np.hypot(1, outer.taper)
    end, edge = np.unravel_index(np.argmin(inside), inside.shape)
    return float(inside[end, edge]), ("nut", "last fret")[end], ("treble", "bass")[edge]
