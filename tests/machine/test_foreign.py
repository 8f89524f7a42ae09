"""Programs as an interpreter reads them that did not write them, and what a router of our own cuts by them.

``SLOTWRIGHT_DEEP=1 python -m pytest tests/machine`` looks at whole boards.
"""

import math
from functools import cache

import numpy as np
import pytest
import shapely
from boards import PLANS, boards
from helpers import DEEP, FULL, parts, prove, some
from router import Wood, along, interpreted
from scipy.spatial import cKDTree

from slotwright.layout.instrument.instrument import lay_out
from slotwright.layout.machine.jobs import plan_milling
from slotwright.layout.machine.programs import mill, texts_of
from slotwright.layout.machine.reading import read_program
from slotwright.layout.plan.plan import Plan

HOW_NEAR = {"mm": 0.0002, "in": 0.003}  # mm; the interpreter tells four decimals of its unit


@cache
def board(name):
    """Give the instrument of a plan, its blank on the machine and its programs."""
    instrument = lay_out(Plan.model_validate(PLANS[name]))
    return instrument, plan_milling(instrument).setting, mill(instrument)


@pytest.fixture(scope="module")
def read(rs274, tmp_path_factory):
    """Interpret programs of a board, each once; places in the axes of the drawings, heights from the underside."""
    scratch, kept = tmp_path_factory.mktemp("rs274"), {}

    def one(name, operation):
        instrument, _, programs = board(name)
        for program in programs:
            if operation in program.operations:
                if (key := (name, program.name)) not in kept:
                    made = interpreted(rs274, scratch, program.text)
                    kept[key] = moved(made, instrument.plan)
                return kept[key], program.cutter
        return None, None

    return one


def moved(program, plan):
    """Shift what was interpreted by the zero that the plan states, worked out anew."""
    machine, blank = plan.machine, plan.blank
    shift = np.zeros(3)
    if machine.zero == "corner":
        shift[:2] = -blank.nut_at, -blank.width / 2
    if machine.z_zero == "top":
        shift[2] = blank.thickness - (fall(plan, *machine.touch) if machine.state == "surfaced" else 0.0)
    return type(program)(program.travel, program.end + shift, program.feed, program.turning)


def fall(plan, x, y):
    """How far a compound radius falls: R - sqrt(R^2 - y^2)."""
    first, last = plan.board.radius
    if first == 0:
        return 0.0 * np.asarray(y)
    end = plan.scale.length * (1 - 2 ** (-plan.frets.count / 12)) if plan.scale.length else last_fret(plan)
    radius = first + (last - first) * np.asarray(x) / end
    return radius - np.sqrt(radius**2 - np.asarray(y) ** 2)


def last_fret(plan):
    return lay_out(plan).neck.frets.middle[-1]


def surface(plan, x, y):
    """The finished surface above the underside."""
    return plan.board.thickness - fall(plan, x, y)


def alike(text, program, near):
    own = read_program(text)
    assert own.findings == ()
    known = ~np.isnan(own.end).any(axis=1)
    assert len(own.end) == len(program.end)
    assert (own.rapid == program.travel).all()
    assert np.abs(own.end - program.end)[known].max() <= near
    feeds = ~own.rapid
    assert np.allclose(own.feed[feeds], program.feed[feeds], rtol=1e-3, atol=0.02)
    assert program.turning[feeds].all()


@pytest.mark.parametrize("unit", ["mm", "in"])
@pytest.mark.parametrize("name", some(PLANS))
def test_both_interpreters_make_the_same_moves(rs274, tmp_path, name, unit):
    for text in texts_of(board(name)[0], unit=unit).values():
        alike(text, interpreted(rs274, tmp_path, text), HOW_NEAR[unit])


@pytest.mark.parametrize("part", parts(2))
def test_so_they_do_for_any_board(rs274, tmp_path, part):
    def holds(made):
        unit = made.pop("programs")
        for program in mill(lay_out(Plan.model_validate(made)), unit=unit):
            alike(program.text, interpreted(rs274, tmp_path, program.text), HOW_NEAR[unit])

    prove(holds, boards(), 25, part)


def doing(operation):
    return [
        name
        for name, plan in PLANS.items()
        if any(operation in each["operations"] for each in plan["machine"]["cutters"])
    ]


def rule(read, name):
    """Give all programs of a board with their cutters."""
    _, _, programs = board(name)
    return [(*read(name, program.operations[0]), program.operations) for program in programs]


@pytest.mark.parametrize("name", some(PLANS))
def test_no_travel_comes_near_wood_or_clamp_and_no_feed_below_the_allowance(read, name):
    _, setting, _ = board(name)
    plan = setting.plan
    stock = shapely.box(-plan.blank.nut_at, -plan.blank.width / 2, plan.blank.length - plan.blank.nut_at, plan.blank.width / 2)  # fmt: skip
    for program, cutter, operations in rule(read, name):
        lines = shapely.linestrings(np.stack((program.start[:, :2], program.end[:, :2]), axis=1))
        low = np.minimum(program.start[:, 2], program.end[:, 2])
        over = shapely.distance(lines, stock) <= cutter.diameter / 2
        assert (low[program.travel & over] > plan.blank.thickness + 0.99).all()
        for x1, y1, x2, y2, height in plan.machine.keep_out:
            met = shapely.distance(lines, shapely.box(x1, y1, x2, y2)) < cutter.diameter / 2 - 1e-6
            assert (low[met] > plan.blank.thickness + height).all()
        if "holes" not in operations:
            assert low.min() >= -plan.machine.spoil_depth - 1e-4
        assert program.end[-1, 2] >= plan.blank.thickness + plan.machine.safe_height - 1e-3


@pytest.mark.parametrize("name", some(PLANS))
def test_every_descent_is_a_ramp_and_no_faster_than_a_plunge(read, name):
    _, setting, _ = board(name)
    for program, cutter, _ in rule(read, name):
        way = program.end - program.start
        flat, down = np.hypot(way[:, 0], way[:, 1]), -way[:, 2]
        feeds = ~program.travel & (down > 1e-9)
        rate = program.feed * down / np.maximum(np.linalg.norm(way, axis=1), 1e-9)
        assert (rate[feeds] <= cutter.plunge * 1.01 + 1).all()
        within = in_stock(setting.plan, *program.end[:, :2].T)
        for move in np.flatnonzero(feeds & (flat < 1e-9) & within):
            # Straight down in the air, or where the same cutter has been as deep before.
            if program.end[move, 2] >= setting.thickness - 1e-3:
                continue
            been = np.linalg.norm(program.end[:move] - program.end[move], axis=1).min()
            above = program.end[move, 2] - surface(setting.plan, *program.end[move, :2]) - setting.left_on
            assert been < 2e-3 or above > -1e-3


def in_stock(plan, x, y):
    blank = plan.blank
    return (-blank.nut_at <= x) & (x <= blank.length - blank.nut_at) & (np.abs(y) <= blank.width / 2)


def slots_looked_at(instrument):
    """Windows of three slots: the first, the middle and the last; one in the quick profile; all in a deep one."""
    first, last = instrument.first_slot, instrument.plan.frets.count
    if DEEP:
        return list(range(first, last + 1))
    return [first, (first + last) // 2, last] if FULL else [last]


@pytest.mark.parametrize("name", some(PLANS))
def test_slots_are_as_deep_as_wanted_and_no_step_is_deeper_than_stated(read, name):
    instrument, setting, _ = board(name)
    plan = instrument.plan
    program, cutter = read(name, "slots")
    radius = cutter.diameter / 2
    feeds = np.flatnonzero(~program.travel)
    for fret in slots_looked_at(instrument):
        bass, treble = instrument.neck.slots[fret]
        if plan.frets.slot_inset:  # a blind one is deep from a radius before where its axis ends
            unit = (treble - bass) / np.hypot(*(treble - bass))
            bass, treble = bass + 2 * radius * unit, treble - 2 * radius * unit
        middle = (program.start[feeds] + program.end[feeds])[:, :2] / 2
        mine = feeds[beside(middle, bass, treble)[1] < 0.1]
        places, moves = along(program, 0.02, mine)
        (left, low), (right, high) = np.minimum(bass, treble) - 0.5, np.maximum(bass, treble) + 0.5
        surfaced = setting.surfaces or plan.machine.state == "surfaced"

        def top(x, y, surfaced=surfaced):
            return surface(plan, x, y) + (setting.left_on if surfaced else setting.thickness - plan.board.thickness + fall(plan, x, y))  # fmt: skip

        wood = Wood(left, low, right, high, 0.07, top)
        last = places[:, 2] < surface(plan, *places[:, :2].T) - instrument.sawing.depth + cutter.step_down / 2
        wood.cut(places[last], radius)  # passes above the last cut nothing of the floor
        x, y = (grid.ravel() for grid in np.meshgrid(wood.x, wood.y, indexing="ij"))
        way, off = beside(np.column_stack((x, y)), bass, treble)
        length = np.hypot(*(treble - bass))
        floor = surface(plan, x, y) - plan.frets.tang_depth - plan.frets.slot_clearance
        error = wood.height.ravel() - floor
        inside = (way >= 0) & (way <= length)
        amid = inside & (off < radius / 2)
        assert amid.sum() > 200
        assert np.abs(error[amid]).max() < 0.01
        # Up to its walls a flat tip leaves the floor as high as its inner edge: the fall over its radius.
        least = plan.board.radius[0] and min(plan.board.radius)
        rise = radius * np.abs(y).max() / math.sqrt(least**2 - np.abs(y).max() ** 2) if least else 0.0
        walls = inside & (off < radius - 0.01)
        assert error[walls].min() > -0.01
        assert error[walls].max() < 0.01 + rise
        beyond = inside & (off > radius + 0.01) & (np.abs(y) < np.abs(instrument.neck.slots[fret][:, 1]).min())
        assert (wood.height.ravel() == top(x, y))[beyond].all()
        check_steps(places, moves, bass, treble, cutter, top, setting)


def beside(points, first, last):
    """How far points lie along a line and off it."""
    unit = (last - first) / np.hypot(*(last - first))
    off = points - first
    return off @ unit, np.abs(off[:, 1] * unit[0] - off[:, 0] * unit[1])


def check_steps(places, moves, bass, treble, cutter, top, setting):
    """Follow the tip's axis along a slot: what each move takes under it is no more than one pass."""
    way, _ = beside(places[:, :2], bass, treble)
    cell = np.round((way - way.min()) / 0.02).astype(int)
    x, y = (np.interp(np.arange(cell.max() + 1), *each) for each in ((cell[np.argsort(cell)], places[np.argsort(cell), axis]) for axis in (0, 1)))  # fmt: skip
    height = top(x, y) + (setting.scallop if setting.surfaces else 0.0)
    for begin, end in runs_of(moves):
        here, z = cell[begin:end], places[begin:end, 2]
        if in_stock(setting.plan, *places[begin, :2]):
            assert (height[here] - z).max() <= cutter.step_down + 0.01
        np.minimum.at(height, here, z)


def runs_of(values):
    cuts = np.flatnonzero(np.diff(values)) + 1
    return zip([0, *cuts], [*cuts, len(values)], strict=True)


@pytest.mark.parametrize("name", some(PLANS))
def test_the_outline_is_cut_where_it_is_and_tabs_stand(read, name):
    instrument, _, _ = board(name)
    plan = instrument.plan
    program, cutter = read(name, "outline")
    radius, machine = cutter.diameter / 2, plan.machine
    corners = instrument.neck.outline if not plan.board.binding else core(instrument)
    part, tabs = shapely.Polygon(corners), plan_milling(instrument).tabs
    assert len(tabs) == (0 if machine.hold == "tape" else machine.tabs.count)
    below = np.flatnonzero(~program.travel & (np.maximum(program.start[:, 2], program.end[:, 2]) < surface(plan, *program.end[:, :2].T) - 0.05))  # fmt: skip
    places, _ = along(program, 0.05, below)
    marks = [(x, y) for _, x, y in marked(instrument)]
    for x, y in marks:  # one cutter may do both
        places = places[np.hypot(places[:, 0] - x, places[:, 1] - y) > plan.board.mark_diameter]
    off = shapely.distance(shapely.points(places[:, :2]), part)
    assert off.min() > radius - 0.02
    deep = places[:, 2] < -machine.spoil_depth + 1e-3
    tree = cKDTree(places[deep & (off < radius + 0.02)][:, :2])
    all_places = cKDTree(places[:, :2])
    edge = shapely.LinearRing(corners)
    for far in np.arange(0, edge.length, 1.0):
        point = np.array(edge.interpolate(far).coords[0])
        at_tab = [abs((point - tab.middle) @ tab.along) for tab in tabs if np.hypot(*(point - tab.middle)) < 30]
        if all(away > machine.tabs.length / 2 + 2 * radius + 8 for away in at_tab):
            # Somewhere its rim reaches this point, at the bottom: round a corner it may pass it by.
            corner = np.hypot(*(corners - point).T).min()
            assert tree.query(point)[0] < (radius + 0.02 if corner > 0.5 else 1.5 * radius)
    for tab in tabs:
        for way in np.linspace(-machine.tabs.length / 2, machine.tabs.length / 2, 7):
            under = tab.middle + way * tab.along + radius * tab.outward
            near = all_places.query_ball_point(under, radius - 1e-6)
            assert places[near, 2].min() >= machine.tabs.height - 1e-3
            # Four millimetres clear of every slot, as the way along the edge to where it crosses.
        for bass, treble in instrument.neck.lines_in_board[instrument.first_slot :]:
            end = min((bass, treble), key=lambda end: np.hypot(*(end - tab.middle)))
            if np.hypot(*(end - tab.middle)) < 30 and not plan.board.binding:
                assert abs((end - tab.middle) @ tab.along) >= machine.tabs.length / 2 + 4


def marked(instrument):
    from slotwright.layout.instrument.neck import mark_centres

    return mark_centres(instrument.plan, instrument.neck)


def core(instrument):
    """The outline less the binding on its long sides, by half planes."""
    part = shapely.Polygon(instrument.neck.outline)
    outline, binding = instrument.neck.outline, instrument.plan.board.binding
    for start, end in ((outline[0], outline[1]), (outline[3], outline[2])):
        part = part.difference(shapely.LineString([3 * start - 2 * end, 3 * end - 2 * start]).buffer(binding, cap_style="flat"))  # fmt: skip
    kept = max(getattr(part, "geoms", [part]), key=lambda each: each.area)
    corners = np.array(kept.exterior.coords)[:-1]
    return np.array([corners[np.argmin(np.hypot(*(corners - corner).T))] for corner in outline])


@pytest.mark.parametrize("name", some(doing("surface")))
def test_the_surface_is_cut_within_its_scallop(read, name):
    instrument, _, _ = board(name)
    plan = instrument.plan
    program, cutter = read(name, "surface")
    radius, ball = cutter.diameter / 2, cutter.shape == "ball"
    places, _ = along(program, 0.1)
    tree = cKDTree(places[:, :2])
    part = shapely.Polygon(instrument.neck.outline)
    rng = np.random.default_rng(5)
    left, low, right, high = part.bounds
    points = rng.uniform((left, low), (right, high), (4000 if DEEP else 400 if FULL else 150, 2))
    points = points[shapely.contains_xy(part, *points.T)]
    for point, near in zip(points, tree.query_ball_point(points, radius), strict=True):
        off = np.hypot(*(places[near, :2] - point).T)
        bottom = places[near, 2] + (radius - np.sqrt(radius**2 - off**2) if ball else 0.0)
        error = bottom.min() - surface(plan, *point) - plan.machine.sanding
        assert -0.005 < error < plan.machine.scallop + 0.005


@pytest.mark.parametrize("name", some(doing("marks")))
def test_position_marks_fit_their_holes(read, name):
    instrument, setting, _ = board(name)
    plan = instrument.plan
    program, cutter = read(name, "marks")
    radius, across = cutter.diameter / 2, plan.board.mark_diameter + 0.05
    places, _ = along(program, 0.05)
    centres = marked(instrument)
    assert len(centres) > 1
    for _, x, y in centres[:2] if FULL else centres[:1]:
        mine = places[np.hypot(places[:, 0] - x, places[:, 1] - y) < across / 2]
        reach = np.hypot(mine[:, 0] - x, mine[:, 1] - y).max() + radius
        assert across / 2 - 0.005 < reach < across / 2 + 0.005
        wanted = surface(plan, x, y) - plan.machine.mark_depth
        assert mine[:, 2].min() == pytest.approx(wanted, abs=1e-3)
        wood = Wood(
            x - 4, y - 4, x + 4, y + 4, 0.1, lambda a, b: np.full(np.broadcast(a, b).shape, setting.thickness)
        )
        wood.cut(mine, radius)
        far = np.hypot(wood.x[:, None] - x, wood.y[None, :] - y)
        assert np.abs(wood.height[far < across / 2 - 0.08] - wanted).max() < 0.005
        assert (wood.height[far > across / 2 + 0.02] == setting.thickness).all()
