"""A new bridge in the place of an old one: pins that stay, the old footprint, points by two rules, all by hand."""

import numpy as np
import pytest
import shapely
from helpers import few
from scipy.optimize import fsolve

from slotwright.layout import lay_out
from slotwright.layout.drawing.catalogue import draw_sheet
from slotwright.layout.drawing.sheet import Circle, Contour, Layer, Line
from slotwright.layout.errors import PlanError
from slotwright.layout.instrument.existing import two_rules
from slotwright.layout.instrument.polygons import area, beyond, clear_of, cut, holds
from slotwright.layout.plan.plan import Plan

STRINGS = [
    {"pitch": p, "gauge": g, "kind": k}
    for p, g, k in (("E4", 0.3, "plain steel"), ("B3", 0.4, "plain steel"), ("G3", 0.6, "wound steel"),
                    ("D3", 0.8, "wound steel"), ("A2", 1.05, "wound steel"), ("E2", 1.35, "wound steel"))
]  # fmt: skip
WHOLE = {"kind": "saddle slot", "slot_width": 3.2, "slot_length": 74, "outline": [152, 38], "front": 12}
PINS = [[334.0 + 0.3 * n, y, 5.0] for n, y in enumerate((27.5, 16.5, 5.5, -5.5, -16.5, -27.5))]


def made(left_handed=False, scale=None, units="mm", **bridge):
    board = {"nut_width": "43 mm", "width_at": {"fret": 12, "width": "54 mm"}, "string_spread_saddle": "55 mm"}
    return lay_out(
        Plan.model_validate(
            {
                "title": "t",
                "units": units,
                "strings": STRINGS if units == "mm" else [{**s, "gauge": f"{s['gauge']} mm"} for s in STRINGS],
                "scale": scale or {"length": "645 mm"},
                "board": {**board, "left_handed": left_handed},
                "bridge": {**(WHOLE if units == "mm" else in_inches(WHOLE)), **bridge},
            }
        )
    )


def in_inches(table):
    """Write lengths [mm] as a plan in inches may have them."""

    def written(value):
        if isinstance(value, list):
            return [written(each) for each in value]
        return f"{value} mm" if isinstance(value, int | float) else value

    return {key: written(value) for key, value in table.items()}


def said(instrument, kind):
    return [finding for finding in instrument.bridge_findings if finding.kind == kind]


def crown_ends(instrument):
    bass, treble = instrument.neck.lines_in_board[12]
    return treble, bass


@pytest.mark.parametrize("units", ["mm", "in"])
@pytest.mark.parametrize("left_handed", [False, True])
@pytest.mark.parametrize("scale", [None, {"treble": "640 mm", "bass": "655 mm"}])
def test_points_by_two_rules_are_where_both_rules_end(scale, left_handed, units):
    """Solved anew by a general solver: the place on the bridge's side with these distances from both crown ends."""
    instrument = made(left_handed, scale)
    treble, bass = crown_ends(instrument)
    rng = np.random.default_rng(3)
    wanted = np.column_stack((instrument.neck.frets.middle[12] + 334 + rng.uniform(0, 2, 6), [r[1] for r in PINS]))
    wanted[:, 1] *= -1 if left_handed else 1
    far = [(float(np.hypot(*(p - treble))), float(np.hypot(*(p - bass)))) for p in wanted]
    pins = [{"treble": f"{a!r} mm", "bass": f"{b!r} mm", "diameter": "5 mm"} for a, b in far]
    placed = made(left_handed, scale, units, existing={"pins": pins}).bridge
    drilled = np.array([(hole.x, hole.y) for hole in placed.holes])
    assert drilled == pytest.approx(wanted, abs=1e-6)
    for (a, b), place in zip(far, drilled, strict=True):
        found = fsolve(
            lambda p, a=a, b=b: [np.hypot(*(p - treble)) - a, np.hypot(*(p - bass)) - b], place + np.array([3.0, 1.0])
        )
        assert found == pytest.approx(place, abs=1e-6)


def test_two_rules_that_do_not_meet():
    assert two_rules(np.array([0.0, 25.0]), np.array([0.0, -25.0]), 20.0, 20.0) is None
    # A right triangle of 30, 40 and 50 mm on the line between the ends.
    assert two_rules(np.array([0.0, 15.0]), np.array([0.0, -15.0]), 40.0, 50.0) == pytest.approx((40.0, 15.0))
    with pytest.raises(PlanError, match=r"existing\.pins\[1\]: the two distances do not meet"):
        made(existing={"pins": [{"treble": 10, "bass": 10, "diameter": 5}, *PINS[1:]]})
    with pytest.raises(PlanError, match="5 pins for 6 strings"):
        made(existing={"pins": PINS[1:]})
    with pytest.raises(PlanError, match="pins 1 and 2 run into each other"):
        made(existing={"pins": [PINS[1], PINS[1], *PINS[2:]]})
    with pytest.raises(PlanError, match="2 corners make no outline"):
        made(existing={"footprint": [[310, 70], [340, -70]]})


@pytest.mark.parametrize("left_handed", [False, True])
def test_pins_that_stay_are_drilled_where_they_are(left_handed):
    instrument = made(left_handed, existing={"pins": PINS[::-1]})  # in whatever order they were measured
    placed, flip = instrument.bridge, -1 if left_handed else 1
    crown = instrument.neck.frets.middle[12]
    assert [(h.x - crown, flip * h.y, h.diameter) for h in placed.holes] == [pytest.approx(pin) for pin in PINS]
    (stay,) = said(instrument, "pins that stay")
    turn = np.radians(placed.crest_angle)
    for number, hole in enumerate(placed.holes, start=1):
        behind = (hole.x - placed.datum[0]) * np.cos(turn) + hole.y * np.sin(turn)
        assert stay.numbers[f"string_{number}"] == pytest.approx(behind - 1.6 - 2.5)
    assert not said(instrument, "pins in the way")
    # From the nut line it is the same place.
    nut = made(left_handed, existing={"from": "nut line", "pins": [[x + crown, y, d] for x, y, d in PINS]})
    assert [(h.x, h.y) for h in nut.bridge.holes] == [pytest.approx((h.x, h.y)) for h in placed.holes]


def test_pins_in_the_way_cost_what_they_cost():
    """Pins 5 mm too far forward: contacts move before them, and each loses its slope of cents times that."""
    near = [[x - 5.5, y, d] for x, y, d in PINS]
    free, held = made(existing={"pins": PINS}), made(existing={"pins": near})
    (way,) = said(held, "pins in the way")
    back = np.array([np.hypot(*(c - free.bridge.contacts[i])) for i, c in enumerate(held.bridge.contacts)])
    slopes = np.abs(held.stringing.sensitivity[:, 11])
    lost = np.array([abs(way.numbers.get(f"string_{n}", 0.0)) for n in range(1, 7)])
    assert lost == pytest.approx(back * slopes, abs=0.02)
    assert lost.max() > 1
    slot = shapely.Polygon(held.bridge.slot)
    for hole in held.bridge.holes:
        assert slot.distance(shapely.Point(hole.x, hole.y)) - 2.5 > 2 - 1e-6


@pytest.mark.parametrize("left_handed", [False, True])
def test_the_old_footprint_against_foreign_polygons(left_handed):
    rng, flip = np.random.default_rng(8), -1 if left_handed else 1
    for _ in range(few(40, 5)):
        front, rear, half = rng.uniform(305, 320), rng.uniform(335, 360), rng.uniform(60, 85)
        corners = np.array([[front, -half], [rear, -half], [rear, half], [front, half]]) + rng.uniform(-2, 2, (4, 2))
        instrument = made(left_handed, existing={"footprint": corners.tolist()})
        there = corners * [1, flip] + [instrument.neck.frets.middle[12], 0]
        left = shapely.Polygon(there).difference(shapely.Polygon(instrument.bridge.outlines[0])).area
        (found,) = said(instrument, "footprint bare") or said(instrument, "footprint covered")
        assert found.numbers["area"] == pytest.approx(left, abs=1e-6)
        assert (found.kind == "footprint bare") == (left > 1)
        drawn = draw_sheet(instrument, "bridge").entities
        outlines = [e.corners for e in drawn if isinstance(e, Contour) and e.layer == Layer.REF_BLANK]
        assert any(len(c) == 4 and np.allclose(c, there, atol=1e-6) for c in outlines)
        if left > 500:
            runs = [
                np.abs(np.subtract(e.end, e.start)) for e in drawn if isinstance(e, Line) and e.layer == "REF_BLANK"
            ]
            assert sum(run[0] > 0 and abs(run[0] - run[1]) < 1e-9 for run in runs) > 2  # hatched


def test_what_would_cover_it_covers_it():
    big = [[309, -82], [309, 82], [355, 82], [355, -82]]
    (found,) = said(made(existing={"footprint": big}), "footprint bare")
    across, along, front = numbers(found.words)
    covered = made(outline=[across, along], front=front, existing={"footprint": big})
    assert said(covered, "footprint covered")
    assert said(covered, "finish to scrape") == []


def numbers(words):
    found = [float(word.strip(",")) for word in words.split() if word.strip(",").replace(".", "").isdigit()]
    return found[-3] + 0.01, found[-2] + 0.01, found[-1] + 0.005  # what is printed is rounded


def test_plates_and_braces():
    pins = {"distance": 9, "head": 5}
    plate = {"name": "plate", "outline": [[315, -60], [350, -60], [350, 60], [315, 60]]}
    inside = made(pins=pins, under=[plate])
    assert not said(inside, "off the plate")
    short = {"name": "plate", "outline": [[315, -20], [350, -20], [350, 60], [315, 60]]}
    (off,) = said(made(pins=pins, under=[short]), "off the plate")
    assert off.words.startswith("hole 6 ")
    brace = {"name": "brace", "from": "nut line", "outline": [[600, 14], [700, 14], [700, 17], [600, 17]]}
    (over,) = said(made(pins=pins, under=[plate, brace]), "over a brace")
    assert over.words.startswith("hole 2 ")
    circles = [e for e in draw_sheet(inside, "bridge").entities if isinstance(e, Circle) and e.layer == Layer.DRILL]
    assert len(circles) == 6


def test_polygons_against_foreign_ones():
    rng = np.random.default_rng(4)
    for _ in range(few(300, 30)):
        around = np.sort(rng.uniform(0, 2 * np.pi, 7))
        shape = np.column_stack((np.cos(around), np.sin(around))) * rng.uniform(3, 9)
        turn, size = rng.uniform(0, 3), rng.uniform(1, 9, 2)
        box = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * size / 2
        box = box @ [[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]] + rng.uniform(-4, 4, 2)
        pieces = beyond(shape, box)
        bare = shapely.Polygon(shape).difference(shapely.Polygon(box))
        assert sum(map(area, pieces)) == pytest.approx(bare.area, abs=1e-9)
        place = rng.uniform(-9, 9, 2)
        assert holds(shape, place) == shapely.Polygon(shape).contains(shapely.Point(place))
        assert clear_of(shape, place) == pytest.approx(shapely.Polygon(shape).exterior.distance(shapely.Point(place)))
    assert len(cut(np.array([[0.0, 0], [1, 0], [1, 1]]), np.array([5.0, 0]), np.array([1.0, 0]))) == 0
