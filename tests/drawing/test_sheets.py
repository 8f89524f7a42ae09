"""Every sheet of every starter, and the awkward plans."""

import numpy as np
import pytest
import shapely
from boards import PLANS
from helpers import FANNED, GOLDEN, STARTERS, contents, crossed, golden, plan, plans, starter, tried
from hypothesis import assume, given
from hypothesis import strategies as st

from slotwright.layout.drawing.catalogue import SHEETS, described, draw_sheet
from slotwright.layout.drawing.index import pin_play_cents
from slotwright.layout.drawing.sheet import Circle, Contour, Layer, Line, Text
from slotwright.layout.errors import PlanError, SheetError
from slotwright.layout.instrument.instrument import lay_out
from slotwright.layout.plan.plan import Plan

EVERY = [(name, sheet) for name in STARTERS for sheet in described(lay_out(starter(name)))]
PLAIN = {"pitch": "E4", "gauge": "0.010 in", "kind": "plain steel"}
AWKWARD = {
    "one string": contents(strings=1, board={"width_at": {"fret": 12, "width": 50}}),
    "eighteen strings": contents(strings=18, board={"nut_width": 130}),
    "one fret": contents(frets={"count": 1}),
    "sixty frets": contents(frets={"count": 60, "divisions": 31}, board={"radius": 300}),
    "tiny": contents(scale={"length": 100}, board={"nut_width": 20}, strings=3, frets={"count": 60}),
    "huge": contents(scale={"length": 2000}, frets={"count": 36}, board={"joint_fret": 20}),
    "long title": contents(title="W" * 120),
    "odd title": contents(title="<b>&\u0000\n\r\t%%d ^J \\U+0041 \u5b57\U0001f3b8 \u202e"),
    "left fan": {**FANNED, "board": {**FANNED["board"], "left_handed": True}},
    "inches": {**contents(scale={"length": "25.5 in"}, board={"nut_width": "1 3/4 in"}), "units": "in"},
    "everything said": contents(
        job={"reference": "R" * 60, "drawn_by": "D" * 60, "revision": "9" * 20, "date": "2" * 30},
        board={"double_marks": [12], "position_marks": [1, 22], "binding": 2, "behind_nut": 12, "radius": [200, 500]},
        blank={"length": 520, "width": 64, "nut_at": 20},
        jig={"blade_to_pin": -35.5},
    ),
    "a crowded nut": contents(strings=[PLAIN] * 18, board={"nut_width": 60}, nut={}),
    "a nut that hardly stands out": contents(strings=[PLAIN] * 2, nut={"seat": 20, "height": 5}),
    "a nut for one string": contents(strings=[PLAIN], board={"nut_width": 6, "edge_margin": 2.5}, nut={"seat": 0}),
    "a router": PLANS["left-handed fan, bound and blind"],
    "a router that thinks in inches": {
        **PLANS["surfaced, in inches"],
        "machine": {
            **PLANS["surfaced, in inches"]["machine"],
            "keep_out": [[24.0, -1, 24.2, 1, 0.5], [24.1, -1, 24.3, 1, 0.5]],
        },
    },
    "locking nut": contents(
        strings=[PLAIN] * 6, nut={"thickness": 8, "locking": {"rise": 6.5, "bolts": [[14, 9, 4], [5, -9, 4]]}}
    ),
}


def laid(name):
    return lay_out(Plan.model_validate(AWKWARD[name]))


def overlaps(sheet):
    """List what a text covers, on the sheet's own wide estimate of letters: texts, lines, circles."""
    texts = [e for e in sheet.entities if isinstance(e, Text)]
    covered = shapely.polygons([t.corners() for t in texts])
    others = (
        {str(e): shapely.LineString([e.start, e.end]) for e in sheet.entities if isinstance(e, Line)}
        | {str(e): shapely.LinearRing(e.corners) for e in sheet.entities if isinstance(e, Contour)}
        | {str(e): shapely.Point(e.centre).buffer(e.radius) for e in sheet.entities if isinstance(e, Circle)}
    )
    tree = shapely.STRtree(covered)
    pairs = [(i, j) for i, j in tree.query(covered, "intersects").T if i < j and not covered[i].touches(covered[j])]
    found = [(texts[i].text, texts[j].text) for i, j in pairs]
    for name, shape in others.items():
        found += [(texts[i].text, name) for i in tree.query(shape, "intersects") if not covered[i].touches(shape)]
    return found


def check_sheet(sheet):
    left, bottom, right, top = sheet.box
    assert not overlaps(sheet)
    for entity in sheet.entities:
        box = entity.box()
        assert box[0] >= left - 1e-6
        assert box[1] >= bottom - 1e-6
        assert box[2] <= right + 1e-6
        assert box[3] <= top + 1e-6
        if isinstance(entity, Text):
            assert entity.layer in (Layer.TEXT, Layer.DIM, Layer.FRAME)
            assert entity.height >= 1.2
        if isinstance(entity, Contour):
            assert len(set(entity.corners)) == len(entity.corners)
        if entity.layer == Layer.CUT_OUTLINE:
            assert isinstance(entity, Contour)
        if entity.layer == Layer.DRILL:
            assert isinstance(entity, Circle)
    cuts = [e for e in sheet.entities if e.layer in (Layer.CUT_OUTLINE, Layer.CUT_SLOTS, Layer.DRILL)]
    assert len(set(cuts)) == len(cuts), "a line is cut twice"
    words = " ".join(e.text for e in sheet.entities if isinstance(e, Text))
    for said in ("Check the scale bars before you cut", "Wear eye protection", "licensed practice", "1:1"):
        assert said in words


@pytest.mark.parametrize(("each", "mirrored"), crossed(EVERY, [False, True]), ids=str)
def test_starters(each, mirrored):
    name, sheet = each
    check_sheet(draw_sheet(lay_out(starter(name)), sheet, mirrored=mirrored))


@pytest.mark.parametrize("name", AWKWARD)
@pytest.mark.parametrize("mirrored", [False, True])
def test_awkward_plans(name, mirrored):
    instrument = laid(name)
    for sheet in described(instrument):
        check_sheet(draw_sheet(instrument, sheet, mirrored=mirrored))


@given(plans(), st.booleans())
@tried(300)
def test_whatever_can_be_laid_out_can_be_drawn(made, mirrored):
    try:
        instrument = lay_out(Plan.model_validate(made))
    except PlanError:
        assume(False)
    for sheet in described(instrument):
        check_sheet(draw_sheet(instrument, sheet, mirrored=mirrored))


def lines(sheet, layer):
    return [(*e.start, *e.end) for e in sheet.entities if isinstance(e, Line) and e.layer == layer]


@pytest.mark.parametrize("sheet", ["board", "slots"])
def test_slots_are_drawn_where_they_are(sheet):
    instrument = lay_out(Plan.model_validate(FANNED))
    drawn = lines(draw_sheet(instrument, sheet), Layer.CUT_SLOTS)
    assert np.array(drawn) == pytest.approx(instrument.neck.slots[1:].reshape(-1, 4))


def test_a_zero_fret_has_a_slot():
    instrument = lay_out(plan(frets={"zero_fret": True}))
    assert len(lines(draw_sheet(instrument, "board"), Layer.CUT_SLOTS)) == 23


def test_marks_stand_midway_between_frets():
    instrument = lay_out(plan(board={"position_marks": [3, 12], "double_marks": [12], "mark_diameter": 5}))
    drawn = draw_sheet(instrument, "board").entities
    circles = [e for e in drawn if isinstance(e, Circle) and e.layer == Layer.POCKET]
    middle = instrument.neck.frets.middle
    assert [c.centre[0] for c in circles] == pytest.approx(
        [(middle[2] + middle[3]) / 2, *[(middle[11] + middle[12]) / 2] * 2]
    )
    assert circles[0].centre[1] == 0
    assert circles[1].centre[1] == -circles[2].centre[1] != 0
    assert {c.radius for c in circles} == {2.5}


@pytest.mark.parametrize("many", [20, 120])
def test_the_strips_of_a_fan_keep_their_names(many):
    """Which edge a strip belongs on matters more than the end of a long title."""
    fanned = lay_out(Plan.model_validate({**FANNED, "title": "Heron " * (many // 6)}))
    texts = [entity.text for entity in draw_sheet(fanned, "stick").entities if isinstance(entity, Text)]
    assert [sum(text.endswith(f", {edge} edge") for text in texts) for edge in ("treble", "bass")] == [1, 1]


def test_stick_ticks_run_along_the_centre_line_or_the_edges():
    single = lay_out(plan(board={"joint_fret": 14}))
    ticks = sorted({x for x, *_ in lines(draw_sheet(single, "stick"), Layer.MARK)})
    assert ticks == pytest.approx([*single.neck.frets.middle, 628.0])
    fanned = lay_out(Plan.model_validate(FANNED))
    drawn = lines(draw_sheet(fanned, "stick"), Layer.MARK)
    upper = [x for x, y, *_ in drawn if y > 0]
    assert len(drawn) == 2 * 26
    assert upper[:-1] == pytest.approx(fanned.neck.along_edges[:, 0])
    contour = [e for e in draw_sheet(fanned, "stick").entities if e.layer == Layer.CUT_OUTLINE]
    assert [e.box()[3] - e.box()[1] for e in contour] == pytest.approx([25, 25])


def test_index_notches_stand_under_the_frets():
    instrument = lay_out(plan(jig={"pin": 3.0, "play": 0.05, "blade_to_pin": 40.0, "notch_depth": 6.0}))
    (strip,) = [e for e in draw_sheet(instrument, "index").entities if e.layer == Layer.CUT_OUTLINE]
    bottoms = np.array([x for x, y in strip.corners if y == 6.0]).reshape(-1, 2)
    assert bottoms.mean(axis=1) == pytest.approx(instrument.neck.frets.middle + 40)
    assert np.ptp(bottoms, axis=1) == pytest.approx(3.05)


def test_pin_play_in_cents():
    # By hand: half of 0.05 mm at fret 12 of 628 mm is 1200 * log2(1 + 0.025 / 314) = 0.13783 cents.
    instrument = lay_out(plan(jig={}))
    assert pin_play_cents(instrument, 12) == pytest.approx(1200 * np.log2(1 + 0.025 / 314), rel=1e-4)
    words = " ".join(e.text for e in draw_sheet(instrument, "index").entities if isinstance(e, Text))
    assert "0.14 cents at fret 12" in words


def test_radius_gauges():
    instrument = lay_out(plan(board={"radius": [254, 406]}))
    gauges = [e for e in draw_sheet(instrument, "radius").entities if e.layer == Layer.CUT_OUTLINE]
    wanted = instrument.neck.radius_at([0, instrument.neck.frets.middle[12], instrument.neck.frets.middle[22], 628])
    found = []
    for gauge in gauges:
        (side,) = [side for side in gauge.sides() if side[2]]
        (x0, y0), (x1, y1), bulge = side
        chord = np.hypot(x1 - x0, y1 - y0)
        found.append(chord * (1 + bulge**2) / (4 * abs(bulge)))
    assert sorted(found) == pytest.approx(np.repeat(sorted(wanted), 2))
    single = lay_out(plan(board={"radius": 300}))
    assert sum(e.layer == Layer.CUT_OUTLINE for e in draw_sheet(single, "radius").entities) == 2


@pytest.mark.parametrize(
    ("sheet", "changes", "says"),
    [
        ("radius", {}, "flat board"),
        ("index", {}, "no \\[jig\\]"),
        ("index", {"jig": {}, "scale": {"length": None, "treble": 628, "bass": 640}}, "one scale"),
        ("index", {"jig": {"pin": 9.8}}, "a pin of 9.63 mm or less"),
    ],
)
def test_what_the_plan_does_not_describe_is_refused(sheet, changes, says):
    instrument = lay_out(plan(**changes))
    assert sheet not in described(instrument)
    with pytest.raises(SheetError, match=says):
        draw_sheet(instrument, sheet)


def canonical(sheet):
    """Write a drawing as sorted lines of text, six decimals."""

    def told(value):
        if isinstance(value, float):
            return f"{value + 0.0:.6f}"
        if isinstance(value, tuple):
            return "(" + " ".join(map(told, value)) + ")"
        return str(value)

    return (
        "\n".join(
            " ".join([type(e).__name__, *(told(getattr(e, field)) for field in e.__slots__)]) for e in sheet.entities
        )
        + "\n"
    )


def test_golden_slots():
    assert golden(GOLDEN / "slots.txt", canonical(draw_sheet(laid("everything said"), "slots")).encode())


def test_golden_file_catches_a_hair():
    made = AWKWARD["everything said"]
    moved = {**made, "scale": {"length": 628.0001}}
    assert (
        canonical(draw_sheet(lay_out(Plan.model_validate(moved)), "slots")).encode()
        != (GOLDEN / "slots.txt").read_bytes()
    )


def test_every_sheet_has_its_module():
    assert list(SHEETS) == [
        "board",
        "slots",
        "marks",
        "stick",
        "index",
        "radius",
        "nut",
        "saddle",
        "bridge",
        "template",
        "setup",
    ]


def test_a_fan_tells_its_angles_on_the_slots_sheet():
    fan = lay_out(starter("bass-five-multiscale"))
    texts = [each.text for each in draw_sheet(fan, "slots").entities if isinstance(each, Text)]
    assert {f"{fret}: {angle:.2f}\u00b0" for fret, angle in enumerate(fan.neck.angles) if fret} <= set(texts)
    assert f"nut: {fan.neck.angles[0]:.2f}\u00b0" in texts
    plain = draw_sheet(lay_out(starter("electric-six")), "slots").entities
    assert not [each for each in plain if isinstance(each, Text) and "\u00b0" in each.text]
