"""Properties that any neck has, and the faults a neck can have."""

import numpy as np
import pytest
from helpers import FANNED, STARTERS, contents, plan, plans, starter
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from slotwright.layout.errors import PlanError
from slotwright.layout.neck import lay_neck, nearest_edge
from slotwright.layout.planfile import check_plan
from slotwright.layout.spacing import string_places

some_neck = settings(max_examples=60, deadline=None)


def laid(made):
    checked = check_plan(made)
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
        check_plan(big)
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


@pytest.mark.parametrize(
    ("changes", "where", "says"),
    [
        ({"board": {"string_spread_nut": 44}}, "board.nut_width", "runs off the board at the nut"),
        ({"board": {"width_at": {"fret": 22, "width": 30}}}, "board.width_at", "at the last fret"),
        ({"board": {"nut_width": 6}}, "board.nut_width", "nothing is left"),
        ({"strings": [{"gauge": 5}] * 6, "board": {"nut_width": 30}}, "board.string_spread_nut", "strings 1 and 2 touch"),
        ({"board": {"radius": 20}}, "board.radius", "20.00 mm at the corner"),
        ({"frets": {"slot_inset": 20}, "board": {"nut_width": 41}}, "frets.slot_inset", "no slot"),
        ({"scale": {"length": None, "treble": 100, "bass": 2000}}, "scale", "runs into"),
        ({"board": {"string_spread_saddle": 700}}, "board.string_spread_saddle", "fan out too far"),
    ],
)  # fmt: skip
def test_no_neck(changes, where, says):
    made = contents(**changes)
    if "fan out" in says:
        made["scale"] = {"treble": 628, "bass": 640}
    with pytest.raises(PlanError) as caught:
        lay_neck(check_plan(made))
    assert [fault.where for fault in caught.value.faults][0] == where
    assert says in str(caught.value)


@pytest.mark.parametrize("name", STARTERS)
def test_starters_make_necks(name):
    assert nearest_edge(lay_neck(starter(name)))[0] > 2


def test_a_compound_radius_may_close_before_the_saddle():
    # Only the board has to be curved; what the radius would be past its end does not matter.
    neck = lay_neck(plan(board={"radius": [400, 100]}))
    assert neck.radius_at(628.0) < 0
    assert np.isfinite(neck.crown_height(neck.outline[:, 0], neck.outline[:, 1])).all()


def test_straightness_of_even_spacing_is_nil_and_of_gaps_hundredths():
    even = check_plan({**FANNED, "strings": 5})
    assert lay_neck(even).straightness.max() < 1e-12
    assert 0.01 < lay_neck(check_plan(FANNED)).straightness.max() < 0.5
