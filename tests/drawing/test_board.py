"""The board as a machine would cut it: from the DXF alone, with polygons that the project did not draw."""

import ezdxf
import numpy as np
import pytest
import shapely
from ezdxf.path import make_path
from helpers import FANNED, FULL, STARTERS, contents, exact_neck, parts, plan, prove, starter
from plan_space import contents as any_plan

from slotwright.layout.drawing.catalogue import SHEETS, described, draw_sheet
from slotwright.layout.drawing.sheet import Circle, Layer, Line, Text
from slotwright.layout.errors import PlanError
from slotwright.layout.export.dxf import dxf
from slotwright.layout.instrument.instrument import lay_out
from slotwright.layout.plan.plan import Plan

CUT = ("DRILL", "POCKET", "CUT_SLOTS", "CUT_OUTLINE")
NEAR = 2e-6  # mm: numbers of a file are rounded to 1e-6


def read(instrument, tmp_path, sheet, unit="mm"):
    """Read layer and shape of every line, circle and contour, in the order of the file [mm]."""
    path = tmp_path / "sheet.dxf"
    path.write_bytes(dxf(draw_sheet(instrument, sheet), unit=unit))
    per = 25.4 if unit == "in" else 1.0
    found = []
    for entity in ezdxf.readfile(path).modelspace():
        if entity.dxftype() == "LINE":
            ends = [(entity.dxf.start.x, entity.dxf.start.y), (entity.dxf.end.x, entity.dxf.end.y)]
            found.append((entity.dxf.layer, shapely.LineString(per * np.array(ends))))
        elif entity.dxftype() in ("LWPOLYLINE", "CIRCLE"):
            corners = [(p.x, p.y) for p in make_path(entity).flattening(1e-4)]
            found.append((entity.dxf.layer, shapely.Polygon(per * np.array(corners))))
    return found


def check_order(found):
    """What is cut comes first, what lies inside a contour before that contour."""
    layers = [layer for layer, _ in found]
    cut = [layer in CUT for layer in layers]
    assert cut == sorted(cut, reverse=True)
    for place, (layer, contour) in enumerate(found):
        if layer == "CUT_OUTLINE":
            later = [shape for kind, shape in found[place + 1 :] if kind in CUT]
            assert not any(contour.contains(shape) and not contour.equals(shape) for shape in later)


def check_core(instrument, found):
    """The contour to cut is the board less its bindings; slots lie in it unless a blank carries them on."""
    plan = instrument.plan
    (core,) = [shape for layer, shape in found if layer == "CUT_OUTLINE"]
    exact = exact_neck(plan)
    edges = [np.array(edge, dtype=float) for edge in exact["edges"]]  # two points of each
    low, _, high, _ = core.bounds
    for x in np.linspace(low, high, 7)[1:-1]:
        across = core.intersection(shapely.LineString([(x, -1000), (x, 1000)]))
        ys = shapely.get_coordinates(across)[:, 1]
        at = [a[1] + (x - a[0]) * (b[1] - a[1]) / (b[0] - a[0]) for a, b in edges]
        if all(core.contains(shapely.Point(x, y * 0.9)) for y in at):  # not where a slanted end cuts a corner off
            assert np.ptp(ys) == pytest.approx(abs(at[0] - at[1]) - 2 * plan.board.binding, abs=1e-5)
    slots = [shape for layer, shape in found if layer == "CUT_SLOTS"]
    if plan.blank is None or plan.frets.slot_inset:
        assert all(shapely.covers(core.buffer(NEAR), slot) for slot in slots)
    else:
        assert not any(shapely.covers(core, slot) for slot in slots)
    finished = [shape for layer, shape in found if layer == "REF_BLANK" and shape.geom_type == "Polygon"]
    whole = shapely.Polygon(instrument.neck.outline).area
    assert sum(shape.area == pytest.approx(whole, abs=1e-2) for shape in finished) == bool(plan.board.binding)


@pytest.mark.parametrize("left_handed", [False, True])
@pytest.mark.parametrize("name", STARTERS)
def test_every_starter(tmp_path, name, left_handed):
    given = starter(name)
    unit = ("mm", "in")[(STARTERS.index(name) + left_handed) % 2]
    made = given.model_copy(update={"board": given.board.model_copy(update={"left_handed": left_handed})})
    for each in (made, made.model_copy(update={"board": made.board.model_copy(update={"binding": 1.6})})):
        instrument = lay_out(each)
        check_core(instrument, read(instrument, tmp_path, "slots", unit))
        for sheet in described(instrument):
            check_order(read(instrument, tmp_path, sheet, unit))


@pytest.mark.parametrize("part", parts(2))
def test_any_board(tmp_path, part):
    drawn = []

    def holds(given):
        try:
            instrument = lay_out(Plan.model_validate(given))
        except PlanError:
            return
        found = read(instrument, tmp_path, "slots")
        check_core(instrument, found)
        check_order(found)
        drawn.append(given)

    prove(holds, any_plan(), 100, part)
    if FULL:
        assert len(drawn) > 50


FAN = {**FANNED, "board": {**FANNED["board"], "binding": 2.0}}


@pytest.mark.parametrize("made", [contents(board={"binding": 2.0}), FAN], ids=["one scale", "fan"])
@pytest.mark.parametrize("left_handed", [False, True])
def test_slots_end_where_the_core_does(made, left_handed):
    made = {**made, "board": {**made["board"], "left_handed": left_handed}}
    neck = lay_out(Plan.model_validate(made)).neck
    core = shapely.Polygon(neck.core)
    ends = shapely.points(neck.slots[1:].reshape(-1, 2))
    assert all(shapely.covers(core.buffer(1e-9), ends))
    assert shapely.distance(core.exterior, ends).max() < 1e-9


def test_blind_slots_stay_blind_in_a_blank():
    blank = {"length": 520, "width": 64, "nut_at": 20}
    instrument = lay_out(plan(blank=blank, jig={}, frets={"slot_inset": 2.5}))
    sheet = draw_sheet(instrument, "slots")
    drawn = [(*e.start, *e.end) for e in sheet.entities if isinstance(e, Line) and e.layer == Layer.CUT_SLOTS]
    assert np.array(drawn) == pytest.approx(instrument.neck.slots[1:].reshape(-1, 4))
    words = " ".join(e.text for e in sheet.entities if isinstance(e, Text))
    assert "A saw sled, which cuts from edge to edge, cannot make them" in words
    assert "across it and past it" not in words
    assert [finding.kind for finding in instrument.warnings] == ["blind slots"]
    through = lay_out(plan(blank=blank, jig={}))
    assert not through.warnings
    assert len(through.cut_slots) == 22
    assert np.abs(through.cut_slots[..., 1]) == pytest.approx(34.0)  # half of 64 and the run-out of 2


def test_position_marks_and_the_groove_are_pockets(tmp_path):
    made = plan(
        board={"position_marks": [3, 5], "double_marks": [12], "behind_nut": 12, "binding": 1.5},
        nut={"slot": 5, "ledge": 4},
    )
    found = read(lay_out(made), tmp_path, "board")
    pockets = [shape for layer, shape in found if layer == "POCKET"]
    assert sorted(round(shape.area) for shape in pockets) == [28, 28, 28, 28, round(5 * (42.5 - 0.13))]
    groove = max(pockets, key=lambda shape: shape.area)
    assert groove.bounds[0] == pytest.approx(-5)
    assert groove.bounds[2] == pytest.approx(0)
    assert not [shape for layer, shape in found if layer == "DRILL"]


@pytest.mark.parametrize("left_handed", [False, True])
@pytest.mark.parametrize("fan", [False, True])
def test_side_dots_stand_in_the_edge_that_the_player_sees(tmp_path, fan, left_handed):
    board = {"position_marks": [3, 7], "double_marks": [12], "side_dots": True, "left_handed": left_handed}
    curved = {**board, "radius": 0 if fan else 254}
    made = {**FANNED, "board": {**FANNED["board"], **curved}} if fan else contents(board=curved)
    plan = Plan.model_validate(made)
    exact = exact_neck(plan)
    bass = np.array(exact["slots"], dtype=float)[:, 0]  # where each fret leaves the board on the bass side
    found = read(lay_out(plan), tmp_path, "marks")
    dots = sorted(
        (shape.centroid.x, shape.centroid.y) for layer, shape in found if layer == "POCKET" and shape.area < 4
    )
    along = np.hypot(*(bass - bass[0]).T)
    wanted = [along[2:4].mean(), along[6:8].mean(), along[11:13].mean() - 3.0, along[11:13].mean() + 3.0]
    assert [x - bass[0][0] for x, _ in dots] == pytest.approx(wanted, abs=1e-5)
    # In the middle of what the curve leaves of the edge.
    foot = min(shape.bounds[1] for layer, shape in found if layer == "REF_BLANK")
    half = abs(bass[0][1] + (bass[12][1] - bass[0][1]) * wanted[0] / along[12])
    fall = 0.0 if fan else 254 - np.sqrt(254**2 - half**2)
    assert dots[0][1] - foot == pytest.approx((plan.board.thickness - fall) / 2, abs=1e-3)


@pytest.mark.parametrize(
    ("board", "says"),
    [
        ({"side_dots": True}, "there are none"),
        ({"side_dots": True, "position_marks": [3], "thickness": 3.2, "side_dot_diameter": 3.3}, "is 3.20 mm high"),
        ({"side_dots": True, "double_marks": [21], "thickness": 9, "side_dot_diameter": 5}, "fits between the slots"),
    ],
)
def test_side_dots_that_cannot_be(board, says):
    warned = lay_out(plan(board=board)).warnings
    assert any(says in finding.words for finding in warned)


def test_a_kerf_moves_gauges_and_notches_outward_and_nothing_else():
    changes = {"board": {"radius": [254, 406]}, "jig": {}, "nut": {}}
    plain, wide = (lay_out(plan(**changes, **more)) for more in ({}, {"kerf": 0.2}))
    for sheet in described(wide):
        one, other = (
            [e for e in draw_sheet(each, sheet).entities if e.layer == Layer.CUT_OUTLINE] for each in (plain, wide)
        )
        if sheet not in ("radius", "index"):
            assert one == other
            continue
        # Matched by place: a foreign offset of the finished part, mitred, is the contour that a beam follows.
        for part, cut in zip(*(sorted(group, key=lambda e: e.box()) for group in (one, other)), strict=True):
            grown = shapely.Polygon(part.points()).buffer(0.1, join_style="mitre", mitre_limit=10)
            assert shapely.Polygon(cut.points()).symmetric_difference(grown).area < 0.1
            assert shapely.Polygon(cut.points()).area > shapely.Polygon(part.points()).area
    words = " ".join(e.text for e in draw_sheet(wide, "index").entities if isinstance(e, Text))
    assert "0.100 outside the finished part" in words


def test_every_sheet_marks_and_names_its_origin():
    for name in STARTERS:
        instrument = lay_out(starter(name))
        for sheet in SHEETS:
            if SHEETS[sheet].missing(instrument) is not None:
                continue
            drawn = draw_sheet(instrument, sheet).entities
            (symbol,) = [e for e in drawn if isinstance(e, Circle) and e.layer == Layer.DIM and e.radius == 1.0]
            far = symbol.centre[0] if sheet == "bridge" else 0.0
            assert symbol.centre == pytest.approx((far, 0.0))
            assert not far or min(abs(instrument.neck.frets.middle - far)) < 1e-9
            texts = [e.text for e in drawn if isinstance(e, Text)]
            origin = texts[texts.index("origin") + 1]
            assert instrument.length(far) in origin if far else len(origin) > 10


def test_a_zero_fret_has_a_height_of_its_own():
    """A fret that is higher by 0.2 mm leaves every open string that much higher at the nut line, as a nut would."""
    strings = [{"pitch": "E4", "gauge": 0.254, "kind": "plain steel"}] * 2
    high = lay_out(plan(strings=strings, frets={"zero_fret": True, "zero_fret_height": 1.2}))
    nut = lay_out(plan(strings=strings, setup={"nut_action": 0.2}))
    assert high.strung.fretting.nut_height == pytest.approx(nut.strung.fretting.nut_height)
    assert high.strung.offsets.saddle == pytest.approx(nut.strung.offsets.saddle, abs=1e-9)
    assert "frets.zero_fret_height" not in high.assumed
    assert lay_out(plan(frets={"zero_fret": True})).assumed["frets.zero_fret_height"].value == 1.0
    for frets, says in (
        ({"zero_fret_height": 1.2}, "there is no zero fret"),
        ({"zero_fret": True, "zero_fret_height": 0.9}, "open strings would lie on fret 1"),
    ):
        with pytest.raises(PlanError, match=says):
            plan(frets=frets)


@pytest.mark.parametrize(
    ("board", "says"),
    [
        ({"double_marks": [12], "mark_diameter": 5}, None),
        ({"double_marks": [3], "mark_diameter": 25}, "the mark at fret 3 reaches over the edge of the board"),
        ({"position_marks": [21], "mark_diameter": 11}, "the mark at fret 21 reaches into a slot; a diameter below"),
    ],
)
def test_marks_that_are_too_large(board, says):
    found = [finding for finding in lay_out(plan(board=board)).findings if finding.kind == "crowded mark"]
    assert [says in finding.words for finding in found] == ([] if says is None else [True])
