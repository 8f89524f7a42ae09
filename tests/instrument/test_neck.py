"""Properties that any neck has, and the faults a neck can have."""

import numpy as np
import pytest
from helpers import FANNED, STARTERS, contents, exact_neck, plan, plans, starter
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from slotwright.layout.errors import PlanError
from slotwright.layout.instrument.neck import lay_neck, mark_centres, nearest_edge, side_dots, with_nut_moved
from slotwright.layout.instrument.spacing import string_places
from slotwright.layout.plan.plan import Plan

FAN = {"length": None, "treble": 628, "bass": 640}
some_neck = settings(max_examples=60, deadline=None)


def laid(made):
    checked = Plan.model_validate(made)
    try:
        return checked, lay_neck(checked)
    except PlanError:
        assume(False)


@given(plans())
@some_neck
def test_frets_ascend_and_stay_on_the_board(made):
    checked, neck = laid(made)
    assert (np.diff(neck.from_nut, axis=0) > 0).all()
    assert (np.diff(neck.along_edges, axis=0) > 0).all()
    low, high = neck.outline[:, 1].min(), neck.outline[:, 1].max()
    assert neck.slots[..., 1].min() >= low - 1e-9
    assert neck.slots[..., 1].max() <= high + 1e-9
    assert nearest_edge(neck)[0] > 0
    assert len(neck.slots) == checked.frets.count + 1


@given(plans())
@some_neck
def test_left_handed_is_the_same_with_y_negated(made):
    _, right = laid({**made, "board": {**made["board"], "left_handed": False}})
    _, left = laid({**made, "board": {**made["board"], "left_handed": True}})
    flip = np.array([1.0, -1.0])
    assert left.slots == pytest.approx(right.slots * flip, abs=1e-9)
    assert left.nut_ends == pytest.approx(right.nut_ends * flip, abs=1e-9)
    assert left.outline == pytest.approx(right.outline * flip, abs=1e-9)
    assert left.from_nut == pytest.approx(right.from_nut, abs=1e-9)


@given(plans(), st.sampled_from([0.5, 2.0]))
@some_neck
def test_everything_scales(made, factor):
    def scaled(value, key=""):
        if isinstance(value, dict):
            return {k: scaled(v, k) for k, v in value.items()}
        if isinstance(value, list):
            return [scaled(v, key) for v in value]
        kept = key in ("cents", "square_fret", "fret", "count", "divisions") or isinstance(value, (bool, str))
        return value if kept else value * factor

    if isinstance(made["strings"], int):
        big = {**scaled({**made, "strings": []}), "strings": made["strings"]}
    else:
        big = scaled(made)
    defaults = {"beyond_last_fret": 8.0, "behind_nut": 0.0}
    made["board"] |= defaults
    big["board"] |= {key: value * factor for key, value in defaults.items()}
    try:
        Plan.model_validate(big)
    except PlanError:
        assume(False)
    _, neck = laid(made)
    _, larger = laid(big)
    assert larger.slots == pytest.approx(factor * neck.slots, rel=1e-9, abs=1e-8)
    assert larger.outline == pytest.approx(factor * neck.outline, rel=1e-9, abs=1e-8)


def test_equal_scales_fan_nothing():
    neck = lay_neck(plan(scale={"length": None, "treble": 640, "bass": 640}))
    assert neck.frets.skew == pytest.approx(0, abs=1e-15)


def test_even_gaps_share_the_air():
    gauges = [0.25, 0.33, 0.43, 0.66, 0.91, 1.17]
    y = string_places(plan(strings=[{"gauge": g} for g in gauges]), 36.0, 0.0)
    air = -np.diff(y) - (np.array(gauges[:-1]) + gauges[1:]) / 2
    assert air == pytest.approx(air[0])
    assert y[[0, -1]] == pytest.approx([18, -18])


def test_even_centres_step_evenly():
    y = string_places(plan(board={"spacing": "even centres"}), 36.0, 0.0)
    assert -np.diff(y) == pytest.approx(36 / 5)


@pytest.mark.parametrize("spacing", ["even gaps", "even centres"])
def test_courses(spacing):
    strings = [{"gauge": 0.3, "course": c} for c in (1, 1, 2, 2, 3)]
    y = string_places(plan(strings=strings, board={"spacing": spacing}), 30.0, 2.2)
    assert y[[0, -1]] == pytest.approx([15, -15])
    assert -np.diff(y)[[0, 2]] == pytest.approx(2.2)
    middles = np.array([y[:2].mean(), y[2:4].mean(), y[4]])
    if spacing == "even centres":
        assert np.diff(np.diff(middles)) == pytest.approx(0)
    else:
        assert y[1] - y[2] == pytest.approx(y[3] - y[4])


def test_one_course_of_two_stands_course_spacing_apart():
    made = plan(strings=[{"course": 1}, {"course": 1}], board={"course_spacing": [2.0, 3.0]})
    assert lay_neck(made).nut_ends[:, 1] == pytest.approx([1, -1])
    assert lay_neck(made).saddle_ends[:, 1] == pytest.approx([1.5, -1.5])


def test_one_string_lies_on_the_centre_line():
    neck = lay_neck(plan(strings=1, board={"width_at": {"fret": 12, "width": 45}}))
    assert neck.nut_ends.tolist() == [[0, 0]]
    assert neck.saddle_ends.tolist() == [[628, 0]]
    assert not neck.frets.skew.any()


def test_the_edges_pass_the_stated_widths():
    neck = lay_neck(plan(board={"width_at": {"fret": 12, "width": 52.4}}))
    ends = neck.lines_in_board
    assert ends[0, 1, 1] - ends[0, 0, 1] == pytest.approx(42.5)
    assert ends[12, 1, 1] - ends[12, 0, 1] == pytest.approx(52.4)
    by_margin = lay_neck(plan(board={"edge_margin": 4.0}))
    outer = by_margin.strings.y_at(by_margin.frets.middle[-1])[0]
    assert by_margin.lines_in_board[-1, 1, 1] - outer == pytest.approx(4.0)


def test_blind_slots_and_binding_end_inside_the_edge():
    plain = lay_neck(plan()).slots
    short = lay_neck(plan(frets={"slot_inset": 2.0}, board={"binding": 1.5})).slots
    off = np.hypot(*np.moveaxis(short - plain, -1, 0))
    assert off == pytest.approx(3.5)


def test_the_board_reaches_past_nut_and_last_fret():
    neck = lay_neck(plan(board={"behind_nut": 5, "beyond_last_fret": 9}))
    assert neck.outline[:, 0].min() == pytest.approx(-5)
    assert neck.outline[:, 0].max() == pytest.approx(neck.frets.middle[-1] + 9)
    assert lay_neck(plan(frets={"zero_fret": True})).outline[:, 0].min() == pytest.approx(-8)


def test_crown_surface_of_a_compound_board():
    neck = lay_neck(plan(board={"radius": [254, 406]}, setup={"relief": 0.2}))
    last = neck.frets.middle[-1]
    assert neck.radius_at([0, last / 2, last, 628]) == pytest.approx([254, 330, 406, 254 + 152 * 628 / last])
    # By hand: a chord 40 mm wide on a radius of 254 mm stands 0.7887 mm off the arc.
    assert neck.crown_height(0.0, 20.0) == pytest.approx(-(254 - np.sqrt(254**2 - 20**2)))
    begin, end = neck.frets.middle[1], last
    assert neck.crown_height((begin + end) / 2, 0.0) == pytest.approx(-0.2)
    assert neck.crown_height([begin, end, 0.0, 628.0], 0.0) == pytest.approx(0.0, abs=1e-12)
    assert neck.crown_height(np.array([[100.0], [200.0]]), np.array([-5.0, 0.0, 5.0])).shape == (2, 3)


def test_a_flat_board_without_bow_is_level():
    neck = lay_neck(plan(setup={"relief": 0.3, "relief_between": [4, 5]}))
    assert neck.bow is None
    assert not neck.crown_height([0.0, 100.0, 600.0], [20.0, 0.0, -20.0]).any()
    # Three crowns are enough for a bow.
    bowed = lay_neck(plan(setup={"relief": 0.3, "relief_between": [4, 6]}))
    assert bowed.crown_height(bowed.frets.middle[[4, 6]].mean(), 20.0) == pytest.approx(-0.3)


def test_the_notes_of_the_frets():
    neck = lay_neck(plan(frets={"divisions": 19, "count": 38}))
    assert neck.cents == pytest.approx(np.arange(39) * 1200 / 19)
    assert neck.fractions[[0, 19, 38]] == pytest.approx([1, 0.5, 0.25])


@pytest.mark.parametrize(
    ("changes", "where", "says"),
    [
        ({"board": {"string_spread_nut": 44}}, "board.nut_width", "runs off the board at the nut, 0.75 mm past the edge"),
        ({"units": "in", "scale": {"length": 24.7}, "board": {"nut_width": "42.5 mm", "string_spread_nut": "44 mm"}}, "board.nut_width", "the nut, 0.030 in past the edge"),
        ({"board": {"string_spread_nut": 42.5}}, "board.nut_width", "treble string runs off the board at the nut, on the edge"),
        ({"board": {"width_at": {"fret": 22, "width": 30}}}, "board.width_at", "at the last fret"),
        ({"board": {"edge_margin": 0, "string_spread_nut": 38}}, "board.edge_margin", "the outer treble string runs off the board at the last fret, 0.04 mm past the edge"),
        ({"board": {"nut_width": 6}}, "board.nut_width", "nothing is left"),
        ({"strings": 2, "board": {"nut_width": 6.4}}, "board.nut_width", "nothing is left"),
        ({"strings": [{"gauge": 5}] * 6, "board": {"nut_width": 30}}, "board.string_spread_nut", "strings 1 and 2 touch"),
        ({"strings": [{"gauge": 1}] * 2, "board": {"string_spread_nut": 1.0}}, "board.string_spread_nut", "strings 1 and 2 touch"),
        ({"strings": [{"gauge": g} for g in (0.2, 2, 2, 0.2)], "board": {"spacing": "even centres", "string_spread_nut": 5.4}}, "board.string_spread_nut", "strings 2 and 3 touch"),
        ({"strings": [{"gauge": 0.25}] * 3, "board": {"string_spread_saddle": 0.5}}, "board.string_spread_saddle", "strings 1 and 2 touch"),
        ({"strings": [{"gauge": 2, "course": 1}] * 2, "board": {"course_spacing": [2.5, 1.5]}}, "board.course_spacing", "strings 1 and 2 touch"),
        ({"strings": [{"gauge": 2, "course": 1}] * 2, "board": {"string_spread_nut": 1.5}}, "board.string_spread_nut", "strings 1 and 2 touch"),
        ({"strings": [{"gauge": 2, "course": c} for c in (1, 2)], "board": {"nut_width": 8.2}}, "board.string_spread_nut", "strings 1 and 2 touch"),
        ({"board": {"radius": 20}}, "board.radius", "20.00 mm at the corner"),
        ({"board": {"radius": [400, 22]}}, "board.radius", "15.31 mm at the corner of the board, which lies 26.54 mm"),
        ({"frets": {"slot_inset": 20}, "board": {"nut_width": 41}}, "frets.slot_inset", "no slot at fret 0"),
        ({"frets": {"slot_inset": 12}, "board": {"binding": 8.75}}, "frets.slot_inset", "no slot at fret 0"),
        ({"frets": {"slot_inset": 10}, "board": {"binding": 9.4, "string_spread_saddle": 30, "width_at": {"fret": 22, "width": 38}}}, "frets.slot_inset", "no slot at fret 22"),
        ({"scale": {"length": None, "treble": 100, "bass": 2000}}, "scale", "the nut runs into fret 1 inside the board"),
        ({"scale": {"length": None, "treble": 100, "bass": 900, "square_fret": 12}}, "scale", "fret 5 runs into fret 6 inside"),
        ({"frets": {"cents": [4800], "count": 30}}, "frets.count", "fret 14 and fret 15 stand on one line"),
        ({"frets": {"cents": [4800], "count": 14}}, "frets.count", "fret 14 and the saddle stand on one line"),
        ({"scale": FAN, "board": {"string_spread_saddle": 700}}, "board.string_spread_saddle", "fan out too far"),
        ({"scale": FAN, "board": {"string_spread_nut": 36, "string_spread_saddle": 664}}, "board.string_spread_saddle", "fan out too far"),
    ],
)  # fmt: skip
def test_no_neck(changes, where, says):
    made = contents(**changes)
    with pytest.raises(PlanError) as caught:
        lay_neck(Plan.model_validate(made))
    (fault,) = caught.value.faults
    assert fault.where == where
    assert says in fault.what
    assert fault.mend


@pytest.mark.parametrize(
    ("changes", "line"),
    [
        ({"board": {"nut_width": 6}}, "board.nut_width: nothing is left between the edge margins; check both"),
        ({"strings": [{"gauge": 5}] * 6, "board": {"nut_width": 30}}, "board.string_spread_nut: too narrow: strings 1 and 2 touch; widen it"),
        ({"scale": FAN, "board": {"string_spread_saddle": 700}}, "board.string_spread_saddle: the strings fan out too far for their scale; check it"),
        ({"scale": {"length": None, "treble": 100, "bass": 2000}}, "scale: the nut runs into fret 1 inside the board; bring the scales closer"),
        ({"frets": {"cents": [4800], "count": 30}}, "frets.count: fret 14 and fret 15 stand on one line; fewer frets, or other cents"),
        ({"frets": {"slot_inset": 12}, "board": {"binding": 8.75}}, "frets.slot_inset: with the binding it leaves no slot at fret 0; reduce it"),
        ({"board": {"string_spread_nut": 44}}, "board.nut_width: the outer treble string runs off the board at the nut, 0.75 mm past the edge; widen the board or narrow the string spread"),
        ({"board": {"radius": [400, 22]}}, "board.radius: 15.31 mm at the corner of the board, which lies 26.54 mm from the centre line; check the unit"),
    ],
)  # fmt: skip
def test_what_is_no_neck_is_said_in_whole(changes, line):
    with pytest.raises(PlanError) as caught, np.errstate(all="raise"):
        lay_neck(Plan.model_validate(contents(**changes)))
    assert str(caught.value) == line


@pytest.mark.parametrize(
    "changes",
    [
        {"board": {"string_spread_nut": 41.5}},  # half a millimetre inside
        {"frets": {"slot_inset": 12}, "board": {"binding": 8.7}},  # 1.1 mm of slot at the nut
        {"strings": 2, "board": {"nut_width": 7}},  # 0.6 mm between the strings
        {"strings": 6, "board": {"string_spread_nut": 4.5}},
        {"scale": {"length": 300}, "frets": {"count": 60}},  # the last two frets 0.6 mm apart
        {"scale": FAN, "board": {"string_spread_nut": 36, "string_spread_saddle": 663.8}},
        {"board": {"radius": [22, 400]}},  # curved over 21.25 mm at the nut, over 26.5 mm at the far end
    ],
)
def test_just_a_neck(changes):
    assert nearest_edge(lay_neck(plan(**changes)))[0] > 0.4


@pytest.mark.parametrize("name", STARTERS)
def test_starters_make_necks(name):
    assert nearest_edge(lay_neck(starter(name)))[0] > 2


def test_a_compound_radius_may_close_before_the_saddle():
    # Only the board has to be curved; what the radius would be past its end does not matter.
    neck = lay_neck(plan(board={"radius": [400, 100]}))
    assert neck.radius_at(628.0) < 0
    assert np.isfinite(neck.crown_height(neck.outline[:, 0], neck.outline[:, 1])).all()


def test_straightness_of_even_spacing_is_nil_and_of_gaps_hundredths():
    even = Plan.model_validate({**FANNED, "strings": 5})
    assert lay_neck(even).straightness.max() < 1e-12
    assert 0.01 < lay_neck(Plan.model_validate(FANNED)).straightness.max() < 0.5


def test_straightness_is_that_of_the_worst_inner_string():
    # Even gaps beside one thick outer string throw its neighbour off the most: on the treble side, then on the bass.
    gauges = [3.0, 0.3, 0.3, 0.3]
    scale = {"length": None, "treble": 600, "bass": 680}
    for order in (gauges, gauges[::-1]):
        made = plan(strings=[{"gauge": gauge} for gauge in order], scale=scale)
        exact = np.array(exact_neck(made)["straightness"], dtype=np.float64)
        assert lay_neck(made).straightness == pytest.approx(exact, abs=1e-9)
        assert exact.max() > 0.05


def test_marks_lie_midway_between_two_frets():
    made = plan(board={"position_marks": [12, 3, 5], "double_marks": [12], "width_at": {"fret": 12, "width": 52.4}})
    marks = mark_centres(made, lay_neck(made))
    assert [fret for fret, _, _ in marks] == [3, 5, 12, 12]
    middles = [628 * (1 - (2 ** (-fret / 12) + 2 ** ((1 - fret) / 12)) / 2) for fret in (3, 5, 12, 12)]
    assert [x for _, x, _ in marks] == pytest.approx(middles)
    # The board widens by 9.9 mm on its way to the octave; the marks stand halfway from the middle to either edge.
    half = (42.5 + 9.9 * middles[-1] / 314) / 2
    assert [y for _, _, y in marks] == pytest.approx([0, 0, -half / 2, half / 2])


def test_marks_on_a_fanned_neck_lean_with_the_frets():
    made = plan(scale={"length": None, "treble": 600, "bass": 680}, board={"double_marks": [1, 17, 22]})
    neck = lay_neck(made)
    for fret, x, y in mark_centres(made, neck):
        before, after = neck.frets.x_at(y)[fret - 1 : fret + 1]
        assert x - before == pytest.approx(after - x)
        assert after - x > 2


def test_side_dots_stand_midway_along_the_bass_edge():
    made = plan(
        board={
            "position_marks": [3],
            "double_marks": [12],
            "side_dots": True,
            "width_at": {"fret": 12, "width": 52.4},
        }
    )
    slanted = np.hypot(1, (52.4 - 42.5) / 2 / 314)  # of the way along the edge for each mm along the middle
    third, twelfth = (slanted * 628 * (1 - (2 ** (-fret / 12) + 2 ** ((1 - fret) / 12)) / 2) for fret in (3, 12))
    found = side_dots(made, lay_neck(made))
    apart = 3 * made.board.side_dot_diameter
    assert [fret for fret, _ in found] == [3, 12, 12]
    assert [way for _, way in found] == pytest.approx([third, twelfth - apart / 2, twelfth + apart / 2])
    assert side_dots(plan(board={"position_marks": [3]}), lay_neck(made)) == []


def test_a_moved_nut_takes_slot_and_end_of_the_board_along():
    made = plan(
        frets={"slot_inset": 2.0}, board={"binding": 1.5, "behind_nut": 5, "width_at": {"fret": 12, "width": 52.4}}
    )
    neck = lay_neck(made)
    moved = with_nut_moved(made, neck, 0.6)
    assert moved.nut_moved == 0.6

    def half(x):  # the board widens by 9.9 mm on its way to the octave
        return (42.5 + 9.9 * x / 314) / 2

    assert moved.slots[0] == pytest.approx(np.array([[0.6, 3.5 - half(0.6)], [0.6, half(0.6) - 3.5]]))
    assert moved.outline[[0, 3]] == pytest.approx(np.array([[-4.4, -half(-4.4)], [-4.4, half(-4.4)]]))
    # What the binding goes round is 1.5 mm smaller on both sides, and ends where the board does.
    assert moved.core[[0, 3]] == pytest.approx(np.array([[-4.4, 1.5 - half(-4.4)], [-4.4, half(-4.4) - 1.5]]))
    for each in (neck, moved):
        assert each.core == pytest.approx(each.outline - 1.5 * np.array([[0, -1], [0, -1], [0, 1], [0, 1]]))
    # All else stays where it is.
    assert (moved.slots[1:] == neck.slots[1:]).all()
    assert (moved.outline[1:3] == neck.outline[1:3]).all()
    assert moved.from_nut is neck.from_nut


@pytest.mark.parametrize("left_handed", [False, True])
@pytest.mark.parametrize(
    ("square_fret", "width_at", "end", "side"),
    [
        ("saddle", None, "nut", "treble"),
        (0, None, "last fret", "bass"),
        (9, {"fret": 12, "width": 52}, "last fret", "bass"),
    ],
)
def test_the_nearest_edge_by_cross_products(square_fret, width_at, end, side, left_handed):
    scale = {"length": None, "treble": 600, "bass": 680, "square_fret": square_fret}
    neck = lay_neck(
        plan(scale=scale, board={"string_spread_saddle": 60, "width_at": width_at, "left_handed": left_handed})
    )
    corners = {("nut", "bass"): 0, ("last fret", "bass"): 1, ("last fret", "treble"): 2, ("nut", "treble"): 3}
    far = {}
    for (where, which), corner in corners.items():
        string = {"treble": 0, "bass": -1}[which]
        (ax, ay), (bx, by) = neck.outline[corner] - neck.nut_ends[string], neck.directions[string]
        far[where, which] = abs(ax * by - ay * bx)
    assert min(far, key=far.get) == (end, side)
    assert nearest_edge(neck) == (pytest.approx(far[end, side], rel=1e-9), end, side)
