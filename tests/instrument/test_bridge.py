"""Bridges in their place: right triangles by hand, linear programmes, holes, heights, errors."""

import re

import ezdxf
import numpy as np
import pytest
import shapely
from helpers import FANNED, STARTERS, contents, starter, tried
from hypothesis import given
from hypothesis import strategies as st

from slotwright.layout.drawing import nut, saddle
from slotwright.layout.drawing.catalogue import draw_sheet
from slotwright.layout.drawing.sheet import Circle, Contour, Layer, Line, Text
from slotwright.layout.errors import PlanError
from slotwright.layout.export.dxf import dxf
from slotwright.layout.instrument.bridge import margins
from slotwright.layout.instrument.instrument import lay_out
from slotwright.layout.instrument.lines import straight_fit
from slotwright.layout.plan.plan import Plan
from slotwright.layout.units import cents

PLAIN = [{"pitch": p, "gauge": g, "kind": "plain steel"} for p, g in (("E4", 0.254), ("B3", 0.33), ("G3", 0.432))]
# Parallel strings 20 mm apart, a flat board, so that every triangle below is a right one.
STRAIGHT = {
    "strings": PLAIN,
    "scale": {"length": 600},
    "board": {"nut_width": 50, "string_spread_nut": 40, "string_spread_saddle": 40, "spacing": "even centres"},
    "compensation": {"aim": [{"strings": [1, 2, 3], "frets": [12]}]},
}
DXF_STEP = 0.6e-6  # mm: the numbers of a DXF are rounded to a millionth of a mm


def made(**changes):
    tables = {key: dict(value) if isinstance(value, dict) else value for key, value in STRAIGHT.items()}
    for key, value in changes.items():
        tables[key] = {**tables.get(key, {}), **value} if isinstance(value, dict) and key != "bridge" else value
    return lay_out(Plan.model_validate(contents(**tables)))


def back(instrument):
    return instrument.strung.offsets.saddle


def test_individual_saddles_by_hand():
    """Parallel strings: contacts at 600 + d1, d2, d3 on y = 20, 0, -20.

    Travel 9, front stop 2: the middle of the travel stands 6.5 behind the datum, and it belongs
    midway between the foremost (d1) and the rearmost (d3) contact: datum = 600 + (d1 + d3)/2 - 6.5.
    What is left at both ends is (9 - (d3 - d1)) / 2.
    """
    instrument = made(bridge={"kind": "individual saddles", "travel": 9, "front_stop": 2})
    d1, d2, d3 = back(instrument)
    placed = instrument.bridge
    assert placed.datum == pytest.approx([600 + (d1 + d3) / 2 - 6.5, 0])
    assert placed.angle == 0
    assert placed.reserve.min() == pytest.approx((9 - (d3 - d1)) / 2)
    assert placed.reserve[1] == pytest.approx([d2 - d1 + (9 - d3 + d1) / 2, 9 - (d2 - d1) - (9 - d3 + d1) / 2])
    assert placed.bands[0, :, 0] == pytest.approx([placed.datum[0] + 2, placed.datum[0] + 11])


def test_a_base_at_an_angle_by_hand():
    """A base turned by 3 degrees anticlockwise: its own x of a contact is x cos 3 + y sin 3.

    The right triangle at the treble contact has the legs 600 + d1 and 20.
    """
    instrument = made(bridge={"kind": "individual saddles", "travel": 9, "angle": 3})
    turn = np.radians(3)
    own = (600 + back(instrument)) * np.cos(turn) + np.array([20, 0, -20]) * np.sin(turn)
    placed = instrument.bridge
    assert placed.datum[0] == pytest.approx(((own.min() + own.max()) / 2 - 4.5) / np.cos(turn))
    assert placed.along == pytest.approx(own - placed.datum[0] * np.cos(turn))
    assert placed.reserve.min() == pytest.approx((9 - np.ptp(own)) / 2)


def test_saddle_slot_by_hand():
    """Three contacts at y = 20, 0, -20: the best line leans by (d1 - d3) / 40 and misses by half of what the
    middle one lies off the chord, e = d2 - (d1 + d3)/2, so it crosses the middle at 600 + (d1 + d3)/2 + e/2.

    Across the slot that is e/2 times the cosine of the angle, whose tangent is the lean.
    """
    instrument = made(bridge={"kind": "saddle slot", "slot_width": 3, "slot_length": 60, "crown_radius": 1})
    d1, d2, d3 = back(instrument)
    off, lean = (d2 - (d1 + d3) / 2) / 2, (d1 - d3) / 40
    placed = instrument.bridge
    # The crown wants 1 mm of saddle behind the rearmost contact, so the slot's middle lies half of that further back.
    cos = np.cos(np.arctan(lean))
    assert placed.datum == pytest.approx([600 + (d1 + d3) / 2 + off + 0.5 / cos, 0])
    assert placed.crest_angle == pytest.approx(-np.degrees(np.arctan(lean)))
    assert placed.angle == 0
    assert placed.along == pytest.approx(np.array([-off, off, -off]) * cos - 0.5, abs=1e-9)
    assert placed.thickness == pytest.approx(2 * abs(off) * cos + 1)
    assert placed.missed == pytest.approx(0)
    # The slot is a rectangle 3 by 60 about its middle.
    slot = shapely.Polygon(placed.slot)
    assert slot.area == pytest.approx(180)
    assert np.array(slot.centroid.coords[0]) == pytest.approx(placed.datum)


def test_two_posts_by_hand():
    """The same line as for a slot; the posts stand half the travel before it, on a line 37 either way.

    Turned by the angle a, whose tangent is minus the lean, the treble post is at (x - 37 sin a, 37 cos a).
    """
    instrument = made(bridge={"kind": "two posts", "post_spread": 74, "travel": 8, "bushing_diameter": 11})
    d1, d2, d3 = back(instrument)
    off, angle = (d2 - (d1 + d3) / 2) / 2, -np.arctan((d1 - d3) / 40)
    x = 600 + (d1 + d3) / 2 + off - 4 / np.cos(angle)
    treble, bass = instrument.bridge.holes
    assert (treble.x, treble.y) == pytest.approx((x - 37 * np.sin(angle), 37 * np.cos(angle)))
    assert (bass.x, bass.y) == pytest.approx((x + 37 * np.sin(angle), -37 * np.cos(angle)))
    assert {treble.diameter, bass.diameter} == {11}
    assert instrument.bridge.reserve.min() == pytest.approx(4 - abs(off) * np.cos(angle))


def test_floating_by_hand():
    """A foot 100 across and 12 along lies about the same line; its corners are 50 and 6 from its middle."""
    instrument = made(bridge={"kind": "floating", "foot": [100, 12]})
    d1, d2, d3 = back(instrument)
    off, angle = (d2 - (d1 + d3) / 2) / 2, -np.arctan((d1 - d3) / 40)
    placed = instrument.bridge
    x = 600 + (d1 + d3) / 2 + off
    front_treble = (x - 6 * np.cos(angle) - 50 * np.sin(angle), -6 * np.sin(angle) + 50 * np.cos(angle))
    assert placed.outlines[0][3] == pytest.approx(front_treble)
    assert np.hypot(*(placed.outlines[0][3] - placed.datum)) == pytest.approx(np.hypot(50, 6))


def test_pins_stand_behind_the_slot_on_their_strings():
    instrument = made(
        board={"string_spread_saddle": 50},
        bridge={"kind": "saddle slot", "slot_width": 3, "slot_length": 70, "pin_distance": 7, "pin_diameter": 5},
    )
    placed, neck = instrument.bridge, instrument.neck
    turn = np.radians(placed.crest_angle)
    pins = np.array([(hole.x, hole.y) for hole in placed.holes])
    assert len(pins) == 3
    assert (pins - placed.datum) @ [np.cos(turn), np.sin(turn)] == pytest.approx(7)
    assert pins[:, 1] == pytest.approx(neck.strings.y_at(pins[:, 0]))


def test_holes_turn_with_the_bridge_and_mirror_with_the_hand():
    bridge = {"kind": "individual saddles", "travel": 9, "angle": 10, "holes": [[5, 12, 3.2]]}
    right, left = made(bridge=bridge), made(bridge=bridge, board={"left_handed": True})
    (hole,), (other,) = right.bridge.holes, left.bridge.holes
    turn = np.radians(10)
    own = np.array([5 * np.cos(turn) - 12 * np.sin(turn), 5 * np.sin(turn) + 12 * np.cos(turn)])
    wanted = right.bridge.datum + own
    assert (hole.x, hole.y, hole.diameter) == pytest.approx((*wanted, 3.2))
    assert (other.x, other.y) == pytest.approx((hole.x, -hole.y))
    assert left.bridge.angle == pytest.approx(-right.bridge.angle)
    assert left.bridge.contacts * [1, -1] == pytest.approx(right.bridge.contacts)


@given(st.lists(st.floats(-3, 6), min_size=2, max_size=10), st.floats(10, 80))
@tried(60)
def test_straight_fit_against_brute_force(offsets, spread):
    y, x = np.linspace(spread / 2, -spread / 2, len(offsets)), np.array(offsets)
    start, lean, most = straight_fit(y, x)
    assert np.abs(x - start - lean * y).max() == pytest.approx(most, abs=1e-8)
    # The best line touches three points, two on one side and one between them on the other: try all of them.
    best = np.inf
    for i in range(len(x)):
        for j in range(i + 1, len(x)):
            slope = (x[i] - x[j]) / (y[i] - y[j])
            rest = x - slope * y
            best = min(best, (rest.max() - rest.min()) / 2)
    assert most == pytest.approx(best, abs=1e-8)


@given(st.lists(st.floats(0, 8), min_size=3, max_size=3), st.floats(-5, 5), st.floats(4, 20))
@tried(30)
def test_the_datum_leaves_most_reserve(setbacks, front_stop, travel):
    instrument = made(
        bridge={"kind": "individual saddles", "travel": travel, "front_stop": front_stop, "reserve": 0.1}
    )
    del setbacks
    placed = instrument.bridge
    x = placed.contacts[:, 0]
    for datum in placed.datum[0] + np.linspace(-4, 4, 161):
        ahead = x - (datum + front_stop)
        assert min(ahead.min(), (travel - ahead).min()) <= placed.reserve.min() + 1e-9


def test_single_units_on_a_multiscale():
    fan = {**FANNED, "strings": [{**s, "pitch": p, "kind": "wound steel"} for s, p in
           zip(FANNED["strings"], ("G2", "D2", "A1", "E1", "B0"), strict=True)]}  # fmt: skip
    instrument = lay_out(Plan.model_validate({**fan, "bridge": {"kind": "individual saddles", "travel": 14}}))
    assert instrument.bridge.reserve == pytest.approx(7)
    front, rear = instrument.bridge.bands[0]
    assert np.hypot(*(rear - front)) == pytest.approx(14, rel=1e-3)
    assert np.hypot(*(instrument.bridge.contacts[0] - front)) == pytest.approx(7)
    units = lay_out(Plan.model_validate({**fan, "bridge": {"kind": "individual saddles", "travel": 14, "front_stop": 3, "outline": [12, 40],
                                                  "front": 8, "holes": [[20, 0, 3.2]]}})).bridge  # fmt: skip
    assert len(units.outlines) == len(units.holes) == 5
    # By hand: the datum lies 3 + 7 before the contact on the string, the hole 20 behind that.
    way = (units.bands[2, 1] - units.bands[2, 0]) / 14
    assert (units.holes[2].x, units.holes[2].y) == pytest.approx(units.contacts[2] + 10 * way)
    assert np.hypot(*(units.outlines[2][1] - units.outlines[2][0])) == pytest.approx(40)
    # A base stated to stand square cannot hold such a fan.
    square = lay_out(Plan.model_validate({**fan, "bridge": {"kind": "individual saddles", "travel": 14, "angle": 0}}))
    assert square.bridge.reserve.min() < 0
    assert any("runs out of range" in finding.words for finding in square.bridge_findings)


def test_shared_saddles_serve_both_strings():
    instrument = made(bridge={"kind": "individual saddles", "travel": 9, "groups": [[1, 3]]})
    placed, strung = instrument.bridge, instrument.strung
    assert placed.contacts[0, 0] == pytest.approx(placed.contacts[2, 0])
    shared = strung.offsets.saddle - strung.alone.saddle
    worth = strung.sensitivity[:, 11] * shared
    assert shared[0] > 0 > shared[2]
    assert worth[0] < 0 < worth[2]
    assert shared[1] == 0
    # By hand: at fret 12 of 600 mm a millimetre is worth 1731.23 * (1/300 - 1/600) = 2.885 cents.
    assert worth[2] == pytest.approx(-2.885 * shared[2], rel=0.05)
    (said,) = [finding for finding in instrument.bridge_findings if finding.kind == "shared contact"]
    for place, way in ((0, "behind"), (2, "before")):
        # One target fret: alone each is in tune there. What a millimetre is worth changes by 0.5 % with each.
        lost = float(instrument.strung.sharing_rms[place])
        assert lost == pytest.approx(abs(worth[place]), rel=0.01)
        words = f"string {place + 1} {abs(shared[place]):.2f} {way}, {cents(lost)} ({cents(lost)})"
        assert words in said.words


def test_a_course_shares_one_crest():
    placed = lay_out(starter("mandolin")).bridge
    assert placed.contacts[::2, 0] == pytest.approx(placed.contacts[1::2, 0])


def test_too_little_travel_is_said_with_its_cures():
    instrument = made(bridge={"kind": "individual saddles", "travel": 3, "reserve": 0.8, "crest_offset": 1.2})
    text = " | ".join(map(str, instrument.bridge_findings))
    assert "string 1 runs out of range by 0.44 mm at the front end" in text
    assert "string 3 runs out of range by 0.44 mm at the rear end" in text
    near = made(bridge={"kind": "individual saddles", "travel": 4.5, "reserve": 0.8}).bridge_findings
    assert any(
        "string 3 keeps 0.31 mm of travel at the rear end; 0.80 mm is wanted" in finding.words for finding in near
    )
    assert "the rearmost saddle turned round by 2.40 mm" in text
    assert "0.50 mm less action" in text
    assert "a nut contact for each string" not in text  # with the aim at one fret it gains nothing
    wide = made(bridge={"kind": "individual saddles", "travel": 9, "reserve": 0.8})
    assert wide.bridge_findings == ()


def test_what_a_cure_gains_is_what_it_gains():
    bridge = {"kind": "individual saddles", "travel": 3, "reserve": 0.8}
    short, lower = made(bridge=bridge), made(bridge=bridge, setup={"action": [1.0, 1.4]})
    (cures,) = [finding for finding in short.bridge_findings if "0.50 mm less action" in finding.words]
    gained = np.ptp(back(short)) - np.ptp(back(lower))
    assert f"0.50 mm less action by {gained:.2f} mm" in cures.words


@pytest.mark.parametrize(
    ("moved", "diameter", "says"),
    [
        ((0, 0), 5.0, "serve as they are"),
        ((0.1, -0.1), 5.1, "serve as they are"),
        ((1.5, 0.4), 5.0, "the bridge 1.50 mm further back and 0.40 mm to the treble side"),
        ((-0.8, 0), 5.0, "0.80 mm further forward"),
        ((0, 0), 6.0, "plug them all"),
    ],
)
@pytest.mark.parametrize("left_handed", [False, True])
def test_existing_holes(moved, diameter, says, left_handed):
    bridge = {"kind": "saddle slot", "slot_width": 3, "slot_length": 60, "pin_distance": 7, "pin_diameter": 5.0}
    plain = made(bridge=bridge)
    there = [[h.x + moved[0], h.y + moved[1], diameter] for h in plain.bridge.holes]
    again = made(bridge={**bridge, "existing_holes": there}, board={"left_handed": left_handed})
    assert any(says in finding.words for finding in again.bridge_findings)


def test_existing_holes_that_no_shift_meets():
    bridge = {"kind": "saddle slot", "slot_width": 3, "slot_length": 60, "pin_distance": 7, "pin_diameter": 5.0}
    there = [[h.x, h.y * 1.3, 5.0] for h in made(bridge=bridge).bridge.holes]
    again = made(bridge={**bridge, "existing_holes": there})
    assert any("wherever the bridge is shifted" in finding.words for finding in again.bridge_findings)


def test_a_shift_costs_reserve_or_cents():
    posts = {"kind": "two posts", "post_spread": 74, "travel": 8}
    there = [[h.x + 1, h.y, h.diameter] for h in made(bridge=posts).bridge.holes]
    moved = made(bridge={**posts, "existing_holes": there})
    left = (moved.bridge.reserve + np.array([-1, 1])).min()
    assert any(f"{left:.2f} mm of travel stay" in finding.words for finding in moved.bridge_findings)
    slot = {"kind": "saddle slot", "slot_width": 3, "slot_length": 60, "pin_distance": 7}
    there = [[h.x + 1, h.y, h.diameter] for h in made(bridge=slot).bridge.holes]
    # By hand, as above: 2.885 cents for the millimetre at fret 12.
    assert any(
        "up to 2.9 cents at fret 12" in finding.words
        for finding in made(bridge={**slot, "existing_holes": there}).bridge_findings
    )


def test_heights_at_the_bridge():
    instrument = made(bridge={"kind": "saddle slot", "slot_width": 3, "slot_length": 60, "slot_depth": 3,
                              "plane_height": 7.5, "base_height": 5.5})  # fmt: skip
    placed, f = instrument.bridge, instrument.strung.fretting
    # By hand: from the nut at 0.30 through 1.50 over fret 12 at 300 mm, on to 600 + d.
    rise = (f.action_height - 0.30) / 300
    assert placed.over_top == pytest.approx(7.5 + 0.30 + rise * (600 + back(instrument)))
    assert placed.exposure == pytest.approx(placed.over_top - 5.5)
    text = " | ".join(map(str, instrument.bridge_findings))
    assert "out of its base; 2.00 mm to 5.00 mm is usual: a bridge" in text
    assert "only 3.00 mm in: it may tip" in text


def test_margins_and_their_change():
    rows = {name: (treble, bass, share) for name, treble, bass, share in margins(made().plan, made().neck)}
    # By hand: half of 50 less 20 at the nut; a bridge shifted by 1 moves a string at the octave by half of it.
    assert rows["nut"] == pytest.approx((5, 5, 0))
    assert rows["fret 12"][2] == pytest.approx(0.5)
    assert rows["fret 22"][:2] == pytest.approx((3.2, 3.2))


def test_margins_are_those_on_the_slanted_line():
    fanned = lay_out(starter("bass-five-multiscale"))
    board = fanned.plan.board
    rows = {name: (treble, bass) for name, treble, bass, _ in margins(fanned.plan, fanned.neck)}
    # By hand: the spread is centred on the line of the nut itself, and the edge keeps its margin at the last fret.
    nut_margin = (board.nut_width - board.string_spread_nut) / 2
    assert rows["nut"] == pytest.approx((nut_margin, nut_margin))
    assert rows[f"fret {fanned.plan.frets.count}"] == pytest.approx((board.edge_margin, board.edge_margin))


@pytest.mark.parametrize(
    ("bridge", "where"),
    [
        ({"kind": "individual saddles", "travel": 2, "reserve": 1}, "bridge.reserve"),
        ({"kind": "two posts", "travel": 8, "post_spread": 38}, "bridge.post_spread"),
        ({"kind": "saddle slot", "slot_width": 3, "slot_length": 39}, "bridge.slot_length"),
    ],
)
def test_a_bridge_that_cannot_be(bridge, where):
    with pytest.raises(PlanError) as caught:
        made(bridge=bridge)
    assert [fault.where for fault in caught.value.faults] == [where]


@pytest.mark.parametrize(
    ("bridge", "says"),
    [
        (None, "no [bridge]"),
        ({"kind": "individual saddles"}, "bridge.travel is missing"),
        ({"kind": "saddle slot", "slot_width": 3}, "bridge.slot_length is missing"),
        ({"kind": "floating"}, "bridge.foot is missing"),
    ],
)
def test_what_a_bridge_lacks(bridge, says):
    assert says in made(**({} if bridge is None else {"bridge": bridge})).bridge_lacks


@pytest.mark.parametrize("name", STARTERS)
def test_holes_and_contacts_are_re_read_from_the_file(tmp_path, name):
    instrument = lay_out(starter(name))
    path = tmp_path / "bridge.dxf"
    path.write_bytes(dxf(draw_sheet(instrument, "bridge")))
    document = ezdxf.readfile(path)
    drilled = [(*c.dxf.center.vec2, 2 * c.dxf.radius) for c in document.modelspace().query('CIRCLE[layer=="DRILL"]')]
    wanted = [(hole.x, hole.y, hole.diameter) for hole in instrument.bridge.holes]
    assert np.array(drilled).reshape(-1, 3) == pytest.approx(np.array(wanted).reshape(-1, 3), abs=DXF_STEP)
    arms = [line.dxf for line in document.modelspace().query('LINE[layer=="CONTACT"]')]
    middles = np.array([(arm.start + arm.end) / 2 for arm in arms])[:, :2]
    assert middles == pytest.approx(np.repeat(instrument.bridge.contacts, 2, axis=0), abs=DXF_STEP)
    # The plain tag pairs say the same, read without ezdxf.
    import pyogrio

    meta, _, geometry, fields = pyogrio.raw.read(path)
    layers = fields[list(meta["fields"]).index("Layer")]
    outlines = [shapely.get_coordinates(shape) for shape in shapely.from_wkb(geometry[layers == "DRILL"])]
    for ring, (x, y, diameter) in zip(outlines, wanted, strict=True):
        assert np.hypot(*(ring - [x, y]).T) == pytest.approx(diameter / 2, abs=1e-6)


@pytest.mark.parametrize("name", ["nylon-six", "steel-six", "ukulele", "mandolin"])
@pytest.mark.parametrize("left_handed", [False, True])
def test_a_straight_string_over_the_drawn_nut_and_saddle_has_the_stated_action(name, left_handed):
    """Lay a string from the drawn slot of the nut to the drawn crest of the saddle; measure at fret 12."""
    made_plan = starter(name)
    made_plan = made_plan.model_copy(
        update={"board": made_plan.board.model_copy(update={"left_handed": left_handed})}
    )
    instrument = lay_out(made_plan)
    plan, neck = instrument.plan, instrument.neck
    octave = plan.action_fret

    # Nut: the lower corners of each slot in the view from the bridge, above the board's surface.
    drawn = draw_sheet(instrument, "nut").entities
    (level,) = {e.at[1] for e in drawn if isinstance(e, Text) and e.text == "board's surface"}
    profile = min(
        (e for e in drawn if isinstance(e, Contour) and e.layer == Layer.CUT_OUTLINE), key=lambda e: e.box()[1]
    )
    nut_y, over_wood = neck.nut_ends[:, 1], []
    for y in nut_y:
        near = sorted(profile.corners, key=lambda corner, y=y: (abs(corner[0] - y), corner[1]))[:4]
        over_wood.append(min(z for _, z in near) - level)
    nut_height = np.array(over_wood) - plan.frets.height  # above the crowns at the middle

    # Saddle: the crest's corners, above the base or the crowns' straight edge.
    drawn = draw_sheet(instrument, "saddle").entities
    words = "base" if plan.bridge.base_height is not None else "crowns"
    (level,) = {e.at[1] for e in drawn if isinstance(e, Text) and e.text == words}
    profile = min((e for e in drawn if isinstance(e, Contour) and e.layer != Layer.FRAME), key=lambda e: e.box()[1])
    assert (profile.layer == Layer.CUT_OUTLINE) == (name in ("nylon-six", "steel-six"))
    crest = np.array(profile.corners[2:])[1:-1]
    along = saddle.places(instrument)
    heights = np.array([crest[np.argmin(np.abs(crest[:, 0] - y)), 1] for y in along]) - level
    if words == "base":
        heights = heights + plan.bridge.base_height - plan.bridge.plane_height

    start = neck.on_strings(instrument.strung.offsets.nut)
    end = neck.on_strings(neck.scales + instrument.strung.offsets.saddle)
    crown = neck.on_strings(neck.from_nut[octave])
    share = np.hypot(*(crown - start).T) / np.hypot(*(end - start).T)
    string = nut_height + share * (heights - nut_height)
    action = string - neck.crown_height(crown[:, 0], crown[:, 1])
    treble, bass = plan.setup.action
    y = crown[:, 1]
    wanted = bass + (y - y[-1]) / (y[0] - y[-1]) * (treble - bass)
    assert action == pytest.approx(wanted, abs=1e-6)
    assert nut.places(instrument) == pytest.approx(nut_y)


def test_the_nut_from_above_has_a_shelf_for_each_string():
    instrument = lay_out(starter("nylon-six"))
    drawn = draw_sheet(instrument, "nut").entities
    (contour,) = (e for e in drawn if isinstance(e, Contour) and e.layer == Layer.REF_BLANK)
    # Down the sheet is toward fret 1, and the treble end lies to the right: the view from above.
    fronts = sorted({-y for _, y in contour.corners if y < 1})
    assert fronts == pytest.approx(sorted(instrument.strung.offsets.nut), rel=1e-3)
    arms = [e for e in drawn if isinstance(e, Line) and e.layer == Layer.CONTACT and e.start[1] == e.end[1]]
    right = max(arms, key=lambda arm: arm.start[0])
    assert -right.start[1] == pytest.approx(instrument.strung.offsets.nut[0], rel=1e-3)


def test_a_leaning_nut_is_measured_along_itself():
    """The nut line of the fan leans by the angle whose tangent is its skew: lengths along it are longer by the secant."""
    instrument = lay_out(starter("bass-five-multiscale"))
    skew = instrument.neck.frets.skew[0]
    along = np.hypot(*instrument.neck.nut_ends.T) * np.sign(instrument.neck.nut_ends[:, 1])
    assert nut.places(instrument) == pytest.approx(along)
    drawn = [e for e in draw_sheet(instrument, "nut").entities if isinstance(e, Contour)]
    (contour,) = (e for e in drawn if e.layer == Layer.CUT_OUTLINE)
    assert contour.box()[2] - contour.box()[0] == pytest.approx(46 * np.sqrt(1 + skew**2))


def test_the_saddle_from_above_has_its_rear_down_and_treble_right():
    instrument = lay_out(starter("steel-six"))
    arms = [e for e in draw_sheet(instrument, "saddle").entities if e.layer == Layer.CONTACT]
    level = sorted((arm for arm in arms if arm.start[1] == arm.end[1]), key=lambda arm: arm.start[0])
    assert [-arm.start[1] for arm in level] == pytest.approx(instrument.bridge.along[::-1])


@pytest.mark.parametrize("sheet", ["nut", "saddle"])
def test_views_are_not_turned_upside_down(sheet):
    instrument = lay_out(starter("nylon-six"))
    assert draw_sheet(instrument, sheet, mirrored=True) == draw_sheet(instrument, sheet)


@pytest.mark.parametrize(
    ("bridge", "says"),
    [
        ({"pin_distance": 2, "pin_diameter": 5}, "no wood between the slot and a pin; 2.00 mm is to stay; pins 6.0"),
        ({"pin_distance": 30, "outline": [100, 24]}, "no wood between a pin hole and the rear edge"),
        ({"outline": [50, 24]}, "no wood between an end of the slot and the side"),
        ({"outline": [100, 8]}, "no wood between the slot and the front edge"),
        (
            {"pins": {"distance": 8, "head": 5, "spread": 12}},
            "of wood between two holes (pin); 3.00 mm is to stay; pins spread 16.00 mm",
        ),
        ({"slot_depth": 6, "base_height": 8, "plane_height": 9}, "leaves 2.00 mm of wood under the slot"),
        ({"outline": [100, 24], "corner_radius": 13}, "more than half a side"),
    ],
)
def test_parts_that_run_into_each_other(bridge, says):
    whole = {"kind": "saddle slot", "slot_width": 3, "slot_length": 60, **bridge}
    with pytest.raises(PlanError) as refused:
        made(bridge=whole)
    assert says in str(refused.value)


def test_a_base_above_the_strings():
    with pytest.raises(PlanError, match="above a string"):
        made(bridge={"kind": "floating", "foot": [100, 12], "plane_height": 5, "base_height": 30})


@pytest.mark.parametrize("name", ["electric-six", "steel-six", "bass-five-multiscale"])
@pytest.mark.parametrize("left_handed", [False, True])
def test_a_broken_neck_leaves_what_is_true_where_it_is(name, left_handed):
    """What lies behind the break stands in the axes of the neck; what lies before it is as far away as the note says."""
    given = starter(name)
    instrument = lay_out(
        given.model_copy(update={"board": given.board.model_copy(update={"left_handed": left_handed})})
    )
    neck = instrument.neck
    sheet = draw_sheet(instrument, "bridge")
    strings = [e for e in sheet.entities if isinstance(e, Line) and e.layer == Layer.REF_STRINGS]
    assert len(strings) == 2 * len(given.strings)
    words = " ".join(e.text for e in sheet.entities if isinstance(e, Text))
    per = 25.4 if given.units == "in" else 1.0
    cut = per * float(re.search(r"break lines ([0-9.]+) of the neck", words)[1])
    crowns = neck.on_strings(neck.from_nut[12])
    for before, behind, crown, contact in zip(
        strings[::2], strings[1::2], crowns, instrument.bridge.contacts, strict=True
    ):
        assert before.start == pytest.approx(crown + np.array([cut, 0.0]), abs=0.006 * per)
        assert behind.end == pytest.approx(contact)
        # One straight line once the piece that is left out is put back.
        for place in (np.array(before.end) - [cut, 0], np.array(behind.start)):
            off = np.subtract(place, crown), np.subtract(contact, crown)
            assert abs(off[0][0] * off[1][1] - off[0][1] * off[1][0]) / np.hypot(*off[1]) < 1e-3 * per
        assert behind.start[0] < neck.lines_in_board[-1, :, 0].min()


def test_diagonals_and_sides_are_said_and_true():
    instrument = lay_out(starter("electric-six"))
    words = " ".join(e.text for e in draw_sheet(instrument, "bridge").entities if isinstance(e, Text))
    (bx, by), (ax, ay) = instrument.neck.lines_in_board[12]
    dx, dy = instrument.bridge.outlines[0][0]
    cx, cy = instrument.bridge.outlines[0][3]
    for name, far in (("A-C", np.hypot(ax - cx, ay - cy)), ("B-D", np.hypot(bx - dx, by - dy)),
                      ("A-D", np.hypot(ax - dx, ay - dy)), ("B-C", np.hypot(bx - cx, by - cy))):  # fmt: skip
        assert name in words
        assert f"{far:.2f}" in words
    assert f"A-C {np.hypot(ax - cx, ay - cy):.2f}" in words  # along its line, too
    for said in ("dry fit the bridge", "both diagonals", "then drill"):
        assert said in words


def test_drill_circles_have_centre_marks():
    sheet = draw_sheet(lay_out(starter("steel-six")), "bridge")
    circles = [e for e in sheet.entities if isinstance(e, Circle) and e.layer == Layer.DRILL]
    marks = [e for e in sheet.entities if isinstance(e, Line) and e.layer == Layer.MARK]
    assert len(marks) - 2 == 2 * len(circles) == 12  # and the datum's


@pytest.mark.parametrize(
    ("sheet", "name", "says"),
    [
        ("saddle", "electric-six", "no saddle to shape"),
        ("nut", "travel-six-zero-fret", "no [nut]"),
    ],
)
def test_sheets_that_are_not_described(sheet, name, says):
    from slotwright.layout.drawing.catalogue import SHEETS

    assert says in SHEETS[sheet].missing(lay_out(starter(name)))


@pytest.mark.parametrize("left_handed", [False, True])
def test_bushings_keep_their_wood(left_handed):
    """By plane distances: 3 mm to the nearest hole and to the end of the board."""
    posts = {"kind": "two posts", "post_spread": 74, "travel": 8, "bushing_diameter": 11}
    board = {"left_handed": left_handed}
    # A hole of 4 mm, 10.6 behind a post of 11: 10.6 - 7.5 leaves 3.1; 0.2 nearer it leaves 2.9.
    made(bridge={**posts, "holes": [[10.6, 37, 4]]}, board=board)
    with pytest.raises(PlanError, match=r"2\.90 mm of wood between a bushing and a hole; 3\.00 mm is to stay"):
        made(bridge={**posts, "holes": [[10.4, 37, 4]]}, board=board)
    end = min(hole.x for hole in made(bridge=posts, board=board).bridge.holes) - 5.5
    long = end - float(made().neck.frets.middle[-1])
    made(bridge=posts, board={**board, "beyond_last_fret": long - 3.1})
    with pytest.raises(PlanError, match="mm of wood between a bushing and the end of the board"):
        made(bridge=posts, board={**board, "beyond_last_fret": long - 2.5})
