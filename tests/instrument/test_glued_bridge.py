"""Glued bridges from their files alone: polygons that the project did not draw, wood between them, drills, ties."""

import ezdxf
import numpy as np
import pytest
import shapely
from ezdxf.path import make_path
from helpers import STARTERS, few, prove, starter
from plan_space import contents
from scipy.optimize import minimize

from slotwright.layout import lay_out
from slotwright.layout.drawing.catalogue import draw_sheet
from slotwright.layout.errors import PlanError
from slotwright.layout.export.dxf import dxf
from slotwright.layout.instrument.saddle_slot import lay_slot
from slotwright.layout.plan.plan import Plan

NEAR = 0.012  # mm, the slack of 0.01 and the chords of arcs


def read(instrument, tmp_path, sheet="bridge", units="mm"):
    """Read a sheet with a foreign reader: polygons of closed contours and circles by layer [mm]."""
    path = tmp_path / "sheet.dxf"
    path.write_bytes(dxf(draw_sheet(instrument, sheet), unit=units))
    found, per = {}, 25.4 if units == "in" else 1.0
    for entity in ezdxf.readfile(path).modelspace().query("LWPOLYLINE CIRCLE"):
        corners = per * np.array([(p.x, p.y) for p in make_path(entity).flattening(0.002 / per)])
        found.setdefault(entity.dxf.layer, []).append(shapely.Polygon(corners))
    return found


def hold(instrument, tmp_path, units="mm"):
    """Hold that slot and holes lie in their bridge with the wood around that the plan asks for."""
    bridge, layers = instrument.plan.bridge, read(instrument, tmp_path, units=units)
    # The slot, and not the seat of a string hole: what is least like a circle.
    pocket = min(layers["POCKET"], key=lambda shape: shape.area / shape.length**2)
    drilled = layers.get("DRILL", [])
    assert pocket.area > 0
    wood = bridge.wood
    for hole in drilled:
        assert hole.distance(pocket) > wood.slot_to_pins - NEAR
    for i, one in enumerate(drilled):
        for other in drilled[:i]:
            assert one.distance(other) > wood.holes - NEAR
    if bridge.outline:
        (outline,) = layers["CUT_OUTLINE"]
        assert outline.buffer(-min(wood.slot_to_pins, wood.slot_end) + NEAR, join_style="mitre").contains(pocket)
        for hole in drilled:
            corner = 0.3 * bridge.corner_radius  # a rounded corner takes that much off at the most
            assert outline.buffer(NEAR - wood.holes + corner).contains(hole)
    return pocket, drilled


GLUED = [name for name in STARTERS if getattr(lay_out(starter(name)).plan.bridge, "kind", "") == "saddle slot"]


@pytest.mark.parametrize("units", ["mm", "in"])
@pytest.mark.parametrize("left_handed", [False, True])
@pytest.mark.parametrize("name", GLUED)
def test_starters_leave_wood_around(name, left_handed, units, tmp_path):
    plan = starter(name)
    made = lay_out(plan.model_copy(update={"board": plan.board.model_copy(update={"left_handed": left_handed})}))
    pocket, drilled = hold(made, tmp_path, units)
    ends = shapely.minimum_rotated_rectangle(pocket)
    sides = sorted(np.hypot(*np.diff(shapely.get_coordinates(ends)[:3], axis=0).T))
    assert sides == pytest.approx([plan.bridge.slot_width, plan.bridge.slot_length], abs=0.01)
    assert len(drilled) == (len(plan.strings) if plan.bridge.all_pins else 0)  # no tie hole is drilled from above


def test_whatever_glued_bridge_is_laid_out_has_its_wood(tmp_path_factory):
    folder, held = tmp_path_factory.mktemp("glued"), []

    def holds(made):
        if made.get("bridge", {}).get("kind") != "saddle slot":
            return
        try:
            instrument = lay_out(Plan.model_validate(made))
        except PlanError:
            return
        if not instrument.bridge_lacks:
            hold(instrument, folder)
            held.append(made)

    glued = {"kinds": ("saddle slot",)}
    prove(holds, contents(**glued) | contents(**glued, whole=True), 550)
    assert len(held) >= few(200, part=40)


STRINGS = [{"pitch": p, "gauge": g, "kind": "plain steel"} for p, g in (("E4", 0.3), ("B3", 0.4), ("G3", 0.5))]
WHOLE = {"kind": "saddle slot", "slot_width": 3, "slot_length": 60, "outline": [150, 34], "front": 11}


def made(strings=STRINGS, left_handed=False, **bridge):
    board = {"nut_width": 50, "string_spread_nut": 40, "string_spread_saddle": 40, "spacing": "even centres"}
    return lay_out(
        Plan.model_validate(
            {
                "title": "t",
                "strings": strings,
                "scale": {"length": 600},
                "board": {**board, "left_handed": left_handed},
                "bridge": {**WHOLE, **bridge},
            }
        )
    )


def test_a_tapered_pin_is_drilled_for_its_small_end(tmp_path):
    """Through 14 mm a pin of 3 degrees narrows by 2 x 14 x tan 1.5 = 0.733; 0.1 is left to the reamer."""
    layers = read(made(pins={"distance": 8, "head": 5.2, "taper": 3, "through": 14}), tmp_path)
    for hole in layers["DRILL"]:
        assert np.sqrt(4 * hole.area / np.pi) == pytest.approx(5.2 - 0.733 - 0.1, abs=0.01)
    straight = read(made(pins={"distance": 8, "head": 5.2}), tmp_path)["DRILL"]
    assert np.sqrt(4 * straight[0].area / np.pi) == pytest.approx(5.2, abs=0.01)


def twelve():
    """Six courses, the lower four in octaves; the thin string of a pair named first."""
    pairs = [("E4", "E4"), ("B3", "B3"), ("G4", "G3"), ("D4", "D3"), ("A3", "A2"), ("E3", "E2")]
    gauges = [(0.25, 0.25), (0.36, 0.36), (0.23, 0.58), (0.3, 0.8), (0.46, 1.0), (0.66, 1.2)]
    return [
        {"pitch": p, "gauge": g, "kind": "plain steel" if g < 0.5 else "wound steel", "course": course}
        for course, (pitches, sizes) in enumerate(zip(pairs, gauges, strict=True), start=1)
        for p, g in zip(pitches, sizes, strict=True)
    ]


@pytest.mark.parametrize("left_handed", [False, True])
@pytest.mark.parametrize("line", ["along the slot", "square"])
def test_courses_have_two_rows_of_pins(line, left_handed, tmp_path):
    pins = {"distance": 8, "head": 5, "taper": 3, "stagger": 9, "line": line, "spread": 62}
    board = {"nut_width": 50, "string_spread_nut": 42, "string_spread_saddle": 56, "course_spacing": [2, 2.4]}
    bridge = {**WHOLE, "outline": [170, 42], "slot_length": 80, "pins": pins}
    instrument = lay_out(Plan.model_validate({
        "title": "t", "strings": twelve(), "scale": {"length": 645}, "board": {**board, "left_handed": left_handed},
        "bridge": bridge,
    }))  # fmt: skip
    hold(instrument, tmp_path)
    places = np.array([(hole.x, hole.y) for hole in instrument.bridge.holes])
    turn = np.radians(instrument.bridge.crest_angle if line == "along the slot" else 0.0)
    behind = (places - instrument.bridge.datum) @ [np.cos(turn), np.sin(turn)]
    assert behind == pytest.approx(np.tile([17.0, 8.0], 6))  # the thinner string of each pair, of two alike the first
    across = (places - instrument.bridge.datum) @ [-np.sin(turn), np.cos(turn)]
    assert abs(across[0] - across[-1]) == pytest.approx(62)


def brute(points, width, crown, stay, wood):
    """Find the slot with the least largest miss by trying places and angles: written from the drawing board anew."""

    def miss(lie):
        middle, turn = lie
        away = np.array([np.cos(turn), np.sin(turn)])
        for x, y, wide in stay:
            if (np.array([x - middle, y]) @ away) - wide / 2 < width / 2 + wood - 1e-7:
                return 1e3 + max(wide / 2 + width / 2 + wood - np.array([x - middle, y]) @ away, 0)
        at = (points - [middle, 0]) @ away
        return max(float(at.max()) - (width / 2 - crown), -width / 2 - float(at.min()))

    best = min(
        ((miss((m, t)), m, t) for m in np.linspace(points[:, 0].min() - 12, points[:, 0].max() + 6, 61)
         for t in np.linspace(-0.3, 0.3, 61)),
    )  # fmt: skip
    for step in (0.3, 0.03, 0.003, 0.0003):
        found = minimize(miss, best[1:], method="Nelder-Mead", options={
            "initial_simplex": [best[1:], (best[1] + step, best[2]), (best[1], best[2] + step / 30)],
            "xatol": 1e-9, "fatol": 1e-9, "maxiter": 4000})  # fmt: skip
        best = min(best, (float(found.fun), *found.x))
    return best[0]


@pytest.mark.parametrize("rows", [1, 2])
def test_a_slot_before_pins_that_stay_against_brute_force(rows):
    """Pins askew, in one row or two, in the way of the slot or not: the largest miss to a hundredth."""
    rng, tried = np.random.default_rng(5), 0
    for _ in range(few(40, 4)):
        y = np.linspace(28, -28, 6) + rng.uniform(-1, 1, 6)
        points = np.column_stack((640 + rng.uniform(-1, 1, 6) + rng.uniform(-0.08, 0.02) * y, y))
        x = 640 + rng.uniform(4, 12) + rng.uniform(-0.06, 0.06) * y + rng.uniform(-0.4, 0.4, 6)
        x[::rows] += 0 if rows == 1 else 8
        stay = np.column_stack((x, y, np.full(6, 5.0)))
        slot = lay_slot(points, 3.0, 1.0, stay, 2.0)
        lost = float(np.abs(slot.missed).max())
        assert lost == pytest.approx(max(brute(points, 3.0, 1.0, stay, 2.0), 0.0), abs=0.01)
        room = (stay[:, :2] - slot.axes.datum) @ slot.axes.rear - 2.5 - 1.5
        assert room.min() > 2 - 1e-6
        tried += lost > 0.05
    assert tried


def test_tie_holes_are_placed_in_the_rear_face(tmp_path):
    """Seen from behind at their height over the foot, where the strings leave the bridge; none to drill from above."""
    instrument = lay_out(starter("nylon-six"))
    layers = read(instrument, tmp_path)
    assert "DRILL" not in layers
    circles = [shape for shape in layers["DIM"] if shape.bounds[0] > 500]  # not the symbol of the origin
    face = max(layers["REF_BLANK"], key=lambda shape: shape.bounds[0])
    bridge, crowns = instrument.plan.bridge, instrument.neck.on_strings(instrument.neck.from_nut[12])
    rear = max(x for x, _ in shapely.get_coordinates(layers["CUT_OUTLINE"][0]))
    assert len(circles) == 6
    for number, circle in enumerate(circles):
        contact, crown = instrument.bridge.contacts[number], crowns[number]
        aside = crown[1] + (contact[1] - crown[1]) / (contact[0] - crown[0]) * (rear - crown[0])
        middle = circle.centroid
        assert (middle.x - face.bounds[0], middle.y) == pytest.approx((bridge.tie_height, aside), abs=1e-3)


def test_seats_of_string_holes(tmp_path):
    instrument = made(holes=[[25, 0, 4]], seat=[7, 3], outline=[150, 50])
    (hole,), pockets = (layers := read(instrument, tmp_path))["DRILL"], layers["POCKET"]
    seat = max(pockets, key=lambda shape: -abs(shape.area - np.pi * 3.5**2))
    assert seat.contains(hole)
    assert seat.area == pytest.approx(np.pi * 3.5**2, rel=0.01)


@pytest.mark.parametrize("left_handed", [False, True])
def test_a_domed_top_hollows_the_foot(tmp_path, left_handed):
    """150 mm across a top of radius 5000: the sagitta, 0.5626 mm by hand, in words and on the rear face."""
    ties = {"pins": None, "tie_distance": 9, "tie_height": 4, "base_height": 9, "slot_depth": 5}
    instrument = made(left_handed=left_handed, outline=[150, 32], top_radius=5000, **ties)
    (found,) = [finding for finding in instrument.bridge_findings if finding.kind == "domed top"]
    assert found.numbers["hollow"] == pytest.approx(5000 - np.sqrt(5000**2 - 75**2))
    assert "by 0.56 mm" in found.words
    face = max(read(instrument, tmp_path)["REF_BLANK"], key=lambda shape: shape.bounds[0])
    # The foot's ends reach further down than its middle; the rest is the rectangle of the rear face.
    foot = min(x for x, _ in shapely.get_coordinates(face))
    level = shapely.LineString([(face.bounds[0], 0), (face.bounds[2], 0)]).intersection(face)
    assert level.bounds[0] - foot == pytest.approx(0.5625, abs=2e-3)
    assert level.length == pytest.approx(9, abs=2e-3)
    assert not [f for f in made(outline=[150, 32]).bridge_findings if f.kind == "domed top"]
    with pytest.raises(PlanError, match="less than the bridge is across"):
        made(outline=[150, 32], top_radius=140)
