"""What a plan implies beyond its neck: depths, blank, warnings."""

import dataclasses

import numpy as np
import pytest
import shapely
from helpers import FANNED, STARTERS, contents, plan, starter

from slotwright.layout.errors import PlanError
from slotwright.layout.instrument.blank import blank_outline
from slotwright.layout.instrument.instrument import lay_out
from slotwright.layout.plan.plan import Plan

BLANK = {"length": 520, "width": 64, "nut_at": 20}


def test_saw_setting_of_a_flat_board_is_the_slot_depth():
    sawing = lay_out(plan(frets={"tang_depth": 1.7, "slot_clearance": 0.4})).sawing
    assert sawing.depth == pytest.approx(2.1)
    assert sawing.setting == pytest.approx(2.1)
    assert sawing.wood_left == pytest.approx(3.9)


def test_saw_setting_reaches_the_ends_of_a_curved_board():
    instrument = lay_out(plan(board={"radius": [254, 406]}))
    # By hand: the last slot ends at half the board's width there, on a radius of 406 mm.
    half = instrument.neck.slots[-1, 1, 1]
    assert instrument.sawing.setting[-1] == pytest.approx(2.1 + 406 - np.sqrt(406**2 - half**2))
    assert instrument.sawing.setting[0] == pytest.approx(2.1 + 254 - np.sqrt(254**2 - 21.25**2))


@pytest.mark.parametrize("left_handed", [False, True])
@pytest.mark.parametrize("fanned", [False, True])
def test_slots_run_across_the_blank_and_past_it(fanned, left_handed):
    made = {**FANNED, "blank": {"length": 740, "width": 80, "nut_at": 30}} if fanned else contents(blank=BLANK)
    made["board"] = {**made["board"], "left_handed": left_handed}
    made["frets"] = {**made.get("frets", {}), "slot_inset": 3}  # blind ones too
    instrument = lay_out(Plan.model_validate(made))
    ends, slots = instrument.across_blank, instrument.neck.slots
    half = made["blank"]["width"] / 2
    along = ends[:, 1] - ends[:, 0]
    along /= np.hypot(*along.T)[:, None]
    assert np.abs((ends[:, 0] + 2 * along)[:, 1]) == pytest.approx(half)
    assert np.abs((ends[:, 1] - 2 * along)[:, 1]) == pytest.approx(half)
    # The same way round as the finished slots, and on the same line.
    finished = slots[:, 1] - slots[:, 0]
    finished /= np.hypot(*finished.T)[:, None]
    assert finished == pytest.approx(along)
    off = slots[:, 0] - ends[:, 0]
    assert off[:, 0] * along[:, 1] - off[:, 1] * along[:, 0] == pytest.approx(0, abs=1e-9)


def test_blank_corners_run_as_the_outline_does():
    instrument = lay_out(plan(blank=BLANK))
    assert (np.sign(blank_outline(instrument.plan)[:, 1]) == np.sign(instrument.neck.outline[:, 1])).all()


@pytest.mark.parametrize(
    ("changes", "where"),
    [
        ({"blank": {**BLANK, "width": 50}}, "blank.width"),
        ({"blank": {**BLANK, "length": 450}}, "blank.length"),
        ({"blank": {**BLANK, "nut_at": 0}, "board": {"behind_nut": 4}}, "blank.nut_at"),
        ({"board": {"thickness": 2.0}}, "board.thickness"),
    ],
)
def test_refused(changes, where):
    with pytest.raises(PlanError) as caught:
        lay_out(plan(**changes))
    assert [fault.where for fault in caught.value.faults] == [where]


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"frets": {"count": 40}}, "stand 3.70 mm apart; below 4.00 mm"),
        ({"board": {"thickness": 4.0}}, "1.90 mm of wood left under the slot"),
        ({"board": {"edge_margin": 1.5, "string_spread_nut": 36}}, "from the edge at the last fret; below 2.00 mm"),
        ({"board": {"string_spread_nut": 39.5}}, "from the edge at the nut"),
        ({"strings": 1, "board": {"string_spread_nut": 10, "width_at": {"fret": 12, "width": 45}}}, "is not used"),
        ({"nut": {"slot": 3, "ledge": 2, "thickness": 3}}, "board.behind_nut of 5.00 mm"),
        ({"nut": {"slot": 3, "thickness": 3.5}, "board": {"behind_nut": 3}}, "does not fit its groove of 3.00 mm"),
        ({"board": {"position_marks": [3, 22], "mark_diameter": 11}}, "the mark at fret 22 reaches into a slot"),
        ({"board": {"double_marks": [2], "mark_diameter": 24}}, "reaches over the edge of the board"),
        (
            {
                "strings": 1,
                "board": {
                    "position_marks": [2],
                    "nut_width": 15,
                    "width_at": {"fret": 22, "width": 15.1},
                    "mark_diameter": 16,
                },
            },
            "over the edge",
        ),
        (
            {"board": {"width_at": {"fret": 22, "width": 42}, "string_spread_nut": 30, "string_spread_saddle": 32}},
            "narrows from 42.50 mm",
        ),
        ({"jig": {}, "frets": {"slot_inset": 2}}, "the slots are blind (frets.slot_inset): a saw sled"),
        ({"scale": {"length": None, "treble": 628, "bass": 640}, "jig": {}}, "[jig] is ignored"),
        ({"board": {"string_spread_saddle": 500}}, "board.string_spread_saddle of 500.00 mm is 13.9 times"),
        ({"board": {"width_at": {"fret": 12, "width": 300}}}, "board.width_at of 300.00 mm is 7.1 times"),
        (
            {"scale": {"length": None, "treble": 300, "bass": 900, "square_fret": "nut"}, "frets": {"count": 5}},
            "scale.bass of 900.00 mm is 3.0 times scale.treble",
        ),
        (
            {"scale": {"length": None, "treble": 628, "bass": 640, "square_fret": 30}},
            "scale.square_fret 30 lies beyond the last fret, 22",
        ),
    ],
)
def test_warned(changes, says):
    warnings = lay_out(plan(**changes)).warnings
    assert len(warnings) == 1
    assert says in str(warnings[0])


def test_warnings_stop_at_their_limits():
    assert not lay_out(plan(frets={"count": 38})).warnings
    assert not lay_out(plan(board={"thickness": 4.1})).warnings


@pytest.mark.parametrize("name", STARTERS)
def test_starters_give_no_warning(name):
    assert lay_out(starter(name)).warnings == ()


@pytest.mark.parametrize("left_handed", [False, True])
@pytest.mark.parametrize("square", ["nut", 7, "saddle"])
@pytest.mark.parametrize("margin", [0.5, 20.0])
def test_slots_across_the_blank_are_those_of_a_geometry_library(left_handed, square, margin):
    """Shapely clips the same lines by the same rectangle; a fan leaves some through the ends of a short blank."""
    made = dict(FANNED)
    made["scale"] = {"treble": 600, "bass": 700, "square_fret": square}
    made["board"] = {**FANNED["board"], "left_handed": left_handed}
    bare = lay_out(Plan.model_validate(made)).neck.outline
    low, high = bare.min(axis=0), bare.max(axis=0)
    made["blank"] = {
        "length": float(high[0] - low[0]) + 0.2,
        "width": float(2 * np.abs(bare[:, 1]).max()) + margin,
        "nut_at": float(-low[0]) + 0.1,
        "run_out": 0,
    }
    found = lay_out(Plan.model_validate(made))
    rectangle = shapely.Polygon(blank_outline(found.plan))
    for fret, (bass, treble) in enumerate(found.across_blank):
        line = found.neck.frets[fret]
        ray = [(float(line.x_at(y)[0]), y) for y in (-500.0, 500.0)]
        inside = np.array(shapely.LineString(ray).intersection(rectangle).coords)
        assert np.sort(inside, axis=0) == pytest.approx(np.sort([bass, treble], axis=0), abs=1e-9)
        assert (treble[1] > bass[1]) != left_handed


@pytest.mark.parametrize("name", STARTERS)
def test_nobody_alters_a_result_by_accident(name):
    instrument = lay_out(starter(name))
    seen = []

    def look(inside):
        if isinstance(inside, np.ndarray):
            seen.append(inside)
            with pytest.raises(ValueError, match="read-only"):
                inside[...] = 0
        elif isinstance(inside, tuple):
            for each in inside:
                look(each)
        elif dataclasses.is_dataclass(inside):
            for field in dataclasses.fields(inside):
                look(getattr(inside, field.name))

    look(instrument)
    assert len(seen) > 50
    again = lay_out(starter(name))
    assert instrument != again
    assert instrument.neck != again.neck
    assert instrument in [again, instrument]
