"""Fret wire: lengths over the curve, nips, rods and fits, against solid geometry written out anew."""

import math

import mpmath as mp
import numpy as np
import pytest
from helpers import FANNED, contents, exact_neck, plan, prove
from hypothesis import strategies as st

from slotwright.layout.drawing.catalogue import draw_sheet
from slotwright.layout.errors import PlanError
from slotwright.layout.export.data.instrument import checked
from slotwright.layout.instrument.instrument import lay_out
from slotwright.layout.instrument.wire import fit, frets_named, packed
from slotwright.layout.plan.plan import Plan
from slotwright.layout.plan.tables import FretWire

WIRE = {"crown_width": 2.4, "tang_width": 0.52, "bead_width": 0.75}


def edges(plan):
    """Give where every fret line meets the edges of the finished board [mm], from points and cross products."""
    bare = plan.supposed(board=plan.board.supposed(binding=0.0), frets=plan.frets.supposed(slot_inset=0.0))
    return np.array(exact_neck(bare)["slots"], dtype=float)


def over_solid(plan, first, last, parts=4000):
    """Add up straight steps between points of a board whose sections across are circles."""
    at_nut, at_last = plan.board.radius
    (x0, y0), (x1, y1) = first, last
    share = np.linspace(0, 1, parts + 1)
    x, y = x0 + share * (x1 - x0), y0 + share * (y1 - y0)
    end = edges(plan)[-1]
    far = end[0, 0] - end[0, 1] * (end[1, 0] - end[0, 0]) / (end[1, 1] - end[0, 1])  # last fret, centre line
    z = np.zeros_like(x)
    if at_nut:
        radius = at_nut + (at_last - at_nut) * x / far
        z = -radius + np.sqrt(radius**2 - y**2)
    return float(np.sqrt(np.diff(x) ** 2 + np.diff(y) ** 2 + np.diff(z) ** 2).sum())


BOARDS = {
    "flat": contents(),
    "one radius": contents(board={"radius": 184.1}),
    "compound": contents(board={"radius": [184, 406]}),
    "steep compound": contents(board={"radius": [60, 500], "nut_width": 52, "thickness": 20}),
    "multiscale": FANNED,
    "wide fan": {**FANNED, "scale": {"treble": 780.0, "bass": 930.0, "square_fret": 12}},
    "left-handed": {**FANNED, "board": {**FANNED["board"], "left_handed": True}},
    "inches": contents(units="in", scale={"length": 25.5}, board={"nut_width": 1.6875, "radius": [9.5, 14]}),
    "zero fret": contents(frets={"zero_fret": True}, board={"radius": [254, 406]}),
}


@pytest.mark.parametrize("name", BOARDS)
def test_lengths_over_the_curve(name):
    made = Plan.model_validate(BOARDS[name])
    wires = lay_out(made).wires
    first = 0 if made.frets.zero_fret else 1
    assert wires.frets == tuple(range(first, made.frets.count + 1))
    solid = [over_solid(made, *line) for line in edges(made)[first:]]
    # 4000 steps over a circle fall short by less than 1e-6 mm; a wire is wanted within 0.05.
    assert wires.over_board == pytest.approx(solid, abs=1e-5)
    assert np.all(wires.cut == np.ceil(np.array(solid) + 6 - 1e-5))
    assert wires.cut == pytest.approx(wires.tang)
    assert not wires.nip.any()


def test_lengths_over_any_curve():
    """Whatever radius a board has, to where its edges nearly stand upright."""

    def holds(drawn):
        at_nut, at_last, fan, hand = drawn
        board = {"nut_width": 50, "radius": [at_nut, at_last], "thickness": 30, "left_handed": hand}
        scale = {"length": None, "treble": 600, "bass": 600 + fan}
        made = plan(strings=5, scale=scale, board=board, frets={"wire": WIRE})
        try:
            wires = lay_out(made).wires
        except PlanError:
            return  # a curve that ends inside the board is refused
        solid = [over_solid(made, *line, parts=20_000) for line in edges(made)[1:]]
        assert wires.over_board == pytest.approx(solid, abs=1e-3)

    prove(holds, st.tuples(st.floats(40, 5000), st.floats(40, 5000), st.floats(0, 60), st.booleans()), 40)


def test_a_circle_in_closed_form():
    made = plan(board={"radius": 254})
    widths = np.abs(np.ptp(edges(made)[1:, :, 1], axis=1))
    assert lay_out(made).wires.over_board == pytest.approx(2 * 254 * np.arcsin(widths / 508), abs=1e-9)
    assert lay_out(made).wires.bend == pytest.approx([0.8 * 254] * 22)
    compound = lay_out(plan(board={"radius": [200, 400]})).wires.bend
    assert compound[11] == pytest.approx(0.8 * (200 + 200 * 0.5 / (1 - 2 ** (-22 / 12))))  # fret 12 lies half way
    assert compound[-1] == pytest.approx(320)
    assert np.isinf(lay_out(plan()).wires.bend).all()


def test_a_whole_millimetre_is_not_rounded_up():
    board = {"nut_width": 50.0, "width_at": {"fret": 12, "width": 50.0}, "string_spread_nut": 40}
    wires = lay_out(plan(board={**board, "string_spread_saddle": 40})).wires
    assert set(wires.cut) == {56.0}
    wider = lay_out(plan(board={**board, "string_spread_saddle": 40}, frets={"wire": {"overhang": 2.01}})).wires
    assert set(wider.cut) == {55.0}


def on_edge(bound, line, side, inside):
    """Where a fret crosses an edge of the board that is moved inward, by two lines in plain geometry."""
    corners = lay_out(bound).neck.outline[[0, 1] if side == 0 else [3, 2]]
    corners = corners - [0.0, math.copysign(inside, corners[0, 1])]
    (x1, y1), (x2, y2), (x3, y3), (x4, y4) = *line, *corners
    share = ((x1 - x3) * (y3 - y4) - (y1 - y3) * (x3 - x4)) / ((x1 - x2) * (y3 - y4) - (y1 - y2) * (x3 - x4))
    return line[0] + share * (line[1] - line[0])


@pytest.mark.parametrize(
    ("board", "frets", "inside"),
    [
        ({"binding": 1.5}, {}, 1.5),
        ({}, {"slot_inset": 2.5}, 2.5),
        ({"binding": 1.8}, {"slot_inset": 1.0}, 2.8),
    ],
)
def test_nips_of_bound_boards_and_blind_slots(board, frets, inside):
    for made in (contents(board={"radius": [254, 406]}), FANNED):
        tables = {key: {**made.get(key, {}), **more} for key, more in (("board", board), ("frets", frets))}
        bound = Plan.model_validate({**made, **tables})
        wires = lay_out(bound).wires
        # The wire is as long as on a board without: it lies over the binding.
        assert wires.cut == pytest.approx(lay_out(Plan.model_validate(made)).wires.cut)
        for n, line in enumerate(edges(bound)[1:]):
            along = (line[1] - line[0]) / math.dist(*line)
            # The binding is as thick as it is square to the centre line; blind slots end so far along themselves.
            blind = tables["frets"].get("slot_inset", 0.0)
            ends = [on_edge(bound, line, side, board.get("binding", 0.0)) for side in (0, 1)]
            core = over_solid(bound, ends[0] + blind * along, ends[1] - blind * along)
            assert wires.tang[n] == pytest.approx(core - 1.0, abs=1e-5)
            assert wires.tang[n] + 2 * wires.nip[n] == pytest.approx(wires.cut[n])
            # Overhang and binding, half a millimetre short of the core, and what rounding added.
            assert 3 + inside + 0.5 - 1e-6 < wires.nip[n] < 3 + 1.1 * inside + 0.5 + 0.5 + 1e-6


def test_a_zero_fret_moved_with_the_nut():
    strings = [
        {"pitch": "E4", "gauge": 0.254, "kind": "plain steel"},
        {"pitch": "E3", "gauge": 0.6, "kind": "wound steel"},
    ]
    changes = {"strings": strings, "frets": {"zero_fret": True}, "compensation": {"nut": "common"}}
    instrument = lay_out(plan(**changes, board={"nut_width": 30, "edge_margin": 3, "radius": 200, "binding": 1.5}))
    moved = instrument.neck.nut_moved
    assert abs(moved) > 0.01
    lines = edges(instrument.plan)
    share = moved / lines[-1, 0, 0]
    width = np.ptp(lines[0, :, 1]) * (1 - share) + np.ptp(lines[-1, :, 1]) * share
    wires = instrument.wires
    assert wires.over_board[0] == pytest.approx(400 * math.asin(width / 400), abs=1e-9)
    core = 400 * math.asin((width - 3) / 400)
    assert wires.tang[0] == pytest.approx(core - 1, abs=1e-9)


def test_the_hand_changes_nothing():
    right, left = (
        lay_out(
            Plan.model_validate({**FANNED, "board": {**FANNED["board"], "binding": 2, "left_handed": hand}})
        ).wires
        for hand in (False, True)
    )
    for name in ("over_board", "cut", "tang", "nip", "bend"):
        assert getattr(right, name) == pytest.approx(getattr(left, name))
    assert right.rods == left.rods


def test_rods():
    assert packed({1: 6, 2: 5, 3: 4, 4: 3, 5: 2}, 10) == (((1, 3), (2, 4, 5)), ())
    assert packed({1: 6, 2: 12, 3: 4}, 10) == (((1, 3),), (2,))
    assert packed({7: 5.0, 8: 5.0}, 10.0) == (((8, 7),), ())  # the last saw needs no wire
    wires = lay_out(plan(frets={"wire": {"length": 250}})).wires
    cut = dict(zip(wires.frets, wires.cut, strict=True))
    assert sorted(fret for rod in wires.rods for fret in rod) == list(wires.frets)
    assert [250 - sum(cut[fret] for fret in rod) for rod in wires.rods] == list(wires.left)
    assert min(wires.left) >= 0
    # No rod holds a piece that would have gone into an earlier one.
    for place, rod in enumerate(wires.rods):
        assert all(cut[fret] > wires.left[before] for fret in rod for before in range(place))
    assert wires.total == sum(cut.values())


def test_rods_of_any_length():
    def holds(drawn):
        pieces, length = dict(enumerate(drawn[0])), drawn[1]
        rods, long = packed(pieces, length)
        assert sorted([fret for rod in rods for fret in rod] + list(long)) == list(pieces)
        assert all(sum(pieces[fret] for fret in rod) <= length + 1e-6 for rod in rods)
        assert all((pieces[fret] > length) == (fret in long) for fret in pieces)
        # First fit leaves no two rods half empty, so it needs no more than twice what the wire itself would.
        assert len(rods) <= 1 + 2 * sum(pieces[fret] for fret in pieces if fret not in long) / length

    prove(holds, st.tuples(st.lists(st.integers(1, 80), max_size=60), st.integers(30, 400)), 300)


LIMITS = [
    ("tang_width", 0.59, "wedges"), ("tang_width", 0.58, "tight"), ("tang_width", 0.55, "tight"),
    ("tang_width", 0.54, "press fit"), ("tang_width", 0.50, "press fit"), ("tang_width", 0.49, "easy"),
    ("tang_width", 0.48, "easy"), ("tang_width", 0.47, "loose"), ("bead_width", 0.57, "loose"),
    ("bead_width", 0.65, "loose"), ("bead_width", 0.66, "lightly"), ("bead_width", 0.67, "lightly"),
    ("bead_width", 0.68, "they grip."), ("bead_width", 0.78, "they grip."), ("bead_width", 0.79, "ebony"),
    ("bead_width", 0.83, "ebony"), ("bead_width", 0.84, "they chip"),
]  # fmt: skip


@pytest.mark.parametrize(("key", "width", "words"), LIMITS)
@pytest.mark.parametrize("units", ["mm", "in"])
def test_fits_at_their_limits(key, width, words, units):
    (found,) = fit(FretWire.model_validate({key: width}), {1: 0.58}, units)
    fits = found.words.partition(": ")[2] + "."
    assert words in fits
    assert sum(each in fits for each in {words for _, _, words in LIMITS}) == 1
    apart = found.numbers["play" if key == "tang_width" else "bite"]
    assert apart == pytest.approx(0.58 - width if key == "tang_width" else width - 0.58)
    assert found.numbers[key] == width
    told = f"{abs(apart):.2f} mm" if units == "mm" else f"{abs(apart) / 25.4:.4f} in"
    assert f"{told} narrower" in found.words or f"{told} wider" in found.words


def test_fits_in_inches_are_those_in_millimetres():
    inches = FretWire.model_validate({"tang_width": ".0205 in", "bead_width": ".030 in"})
    tang, bead = fit(inches, {1: 0.023 * 25.4}, "in")
    assert "a tang of 0.0205 in in slots of 0.0230 in, 0.0025 in narrower: a press fit" in tang.words
    assert "0.0070 in wider: they grip" in bead.words


def test_slots_that_fit_alike_are_told_together():
    wire = FretWire.model_validate({"tang_width": 0.52})
    easy, loose = fit(wire, {1: 0.61, 2: 0.64, 3: 0.62, 4: 0.66}, "mm")
    assert easy.words.startswith(
        "a tang of 0.52 mm in slots of 0.61 to 0.62 mm, frets 1, 3, 0.09 to 0.10 mm narrower: easy"
    )
    assert loose.words.startswith(
        "a tang of 0.52 mm in slots of 0.64 to 0.66 mm, frets 2, 4, 0.12 to 0.14 mm narrower: loose"
    )
    assert (easy.subject, loose.subject) == ("frets 1, 3", "frets 2, 4")


def test_what_is_not_stated_is_not_judged():
    assert lay_out(plan()).wire_findings == ()
    assert lay_out(plan(frets={"wire": {"crown_width": 2.4}})).wire_findings == ()
    found = lay_out(plan(frets={"wire": {"tang_width": 0.6, "length": 55}})).wire_findings
    assert [finding.kind for finding in found] == ["tang fit", "short wire"]
    assert found[1].words.startswith("rods of 55.00 mm are too short for frets ")
    assert found[1].numbers["needed"] > 55 == found[1].numbers["length"]


def test_findings_go_where_the_others_go():
    instrument = lay_out(plan(frets={"wire": WIRE}))
    tang, bead = instrument.wire_findings
    assert tang in instrument.findings
    assert bead in instrument.findings
    told = checked(instrument, ())
    assert told["fret_wire"] == [tang.words, bead.words]
    assert tang.data in told["findings"]
    drawn = " ".join(each.text for each in draw_sheet(instrument, "slots").entities if hasattr(each, "text"))
    assert "0.06 mm narrower: a press fit" in drawn.replace("  ", " ")


def test_names_of_frets():
    assert frets_named((3,)) == "fret 3"
    assert frets_named((1, 2, 5)) == "frets 1, 2, 5"
    assert frets_named((1, 14, 15, 16, 17, 20, 21)) == "frets 1, 14 to 17, 20, 21"


def test_the_solid_is_measured_right():
    """The yardstick itself: a cylinder cut aslant is an ellipse, whose arc mpmath knows."""
    made = plan(board={"radius": 100})
    first, last = (0.0, -25.0), (10.0, 25.0)
    slope, half = 10 / 50, math.asin(0.25)
    # Along the cut, y = R sin t, x = slope * y: the ellipse has half axes R sqrt(1 + slope^2) and R.
    arc = 2 * mp.quad(lambda t: 100 * mp.sqrt((1 + slope**2) * mp.cos(t) ** 2 + mp.sin(t) ** 2), [0, half])
    assert over_solid(made, first, last) == pytest.approx(float(arc), abs=1e-6)
