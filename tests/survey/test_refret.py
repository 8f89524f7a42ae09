"""New frets on an old board: against a board of known shape, and against sums worked by hand."""

import math

import numpy as np
import pytest
from helpers import exact_neck, plan

from slotwright.layout.errors import MeasuredError
from slotwright.layout.instrument.instrument import lay_out
from slotwright.layout.plan.tables import Frets
from slotwright.layout.readings.board import read_board
from slotwright.layout.survey.refret import refret

PLAIN = Frets.model_validate({})


def measured(made, at):
    """Measure a board as a caliper and a gauge do: width straight across, radius at the fret."""
    neck = exact_neck(made)
    ends = np.array(neck["slots"], dtype=float)
    at_nut, at_last = made.board.radius
    rows = [
        f"{fret},{math.dist(*ends[fret])},{at_nut + (at_last - at_nut) * ends[fret, 0, 0] / ends[-1, 0, 0]}"
        for fret in at
    ]
    return "\n".join(["fret,width,radius", *rows]).encode()


@pytest.mark.parametrize("radius", [[254, 254], [184, 406]])
def test_a_measured_board_takes_the_wire_of_its_plan(radius):
    made = plan(board={"radius": radius})
    found = refret(read_board(measured(made, (1, 12, 22)), "mm"), PLAIN)
    expected = lay_out(made).wires
    assert found.wires.over_board == pytest.approx(expected.over_board, abs=1e-6)
    assert found.wires.bend == pytest.approx(expected.bend, abs=1e-6)
    assert found.wires.rods == expected.rods
    two = refret(read_board(measured(made, (1, 22)), "mm"), PLAIN)
    assert two.wires.over_board == pytest.approx(expected.over_board, abs=1e-6)


def test_widths_are_carried_on_to_both_ends():
    made = plan(board={"radius": 254})
    inner = measured(made, (3, 15)) + b"\n22,,"
    found = refret(read_board(inner, "mm"), PLAIN).wires
    assert found.over_board == pytest.approx(lay_out(made).wires.over_board, abs=1e-6)


def test_a_bound_board_is_nipped_to_its_core():
    old = read_board(b"fret,width,radius\n1,44,250\n20,56,250\n", "mm")
    found = refret(old, PLAIN, binding=1.5)
    last = found.wires.tang[-1]
    assert last == pytest.approx(500 * math.asin(53 / 500) - 1)
    assert found.wires.cut[-1] == math.ceil(500 * math.asin(56 / 500) + 6)
    assert found.wires.nip[-1] == pytest.approx((found.wires.cut[-1] - last) / 2)
    assert not refret(old, PLAIN).wires.nip.any()


def test_other_divisions_stand_elsewhere():
    old = read_board(b"fret,width\nnut,40\n19,52\n", "mm")
    found = refret(old, PLAIN, divisions=19)
    left = 2 ** (-7 / 19)
    assert found.wires.over_board[6] == pytest.approx(40 + 12 * (1 - left) / 0.5)
    assert [finding.kind for finding in found.findings] == ["flat board"]


@pytest.mark.parametrize(("plane", "shallow"), [(0.0, ()), (0.2, (3,)), (0.21, (2, 3)), (0.3, (2, 3))])
def test_slots_to_deepen(plane, shallow):
    old = read_board(b"fret,width,slot_depth\n1,44,2.4\n2,45,2.0\n3,46,1.9\n4,47,\n", "mm")
    found = refret(old, Frets.model_validate({"tang_depth": 1.6}), plane=plane)
    assert found.needed == pytest.approx(1.8)
    assert found.shallow == shallow
    words = [finding.words for finding in found.findings if finding.kind == "shallow slots"]
    assert len(words) == bool(shallow)
    assert all(f"{1.9 - plane:.2f} mm deep" in each and "to 1.80 mm" in each for each in words)
    assert found.slots == pytest.approx({1: 2.4 - plane, 2: 2.0 - plane, 3: 1.9 - plane})
    assert refret(old, PLAIN, plane=1.0).shallow == ()
    assert refret(old, PLAIN, plane=2.2).slots == pytest.approx({1: 0.2, 2: 0, 3: 0})


def test_nut_and_saddle_follow_the_crowns():
    rows = "".join(f"{fret},,{0.8 - 0.3 * (1 - 2 ** (-fret / 12)):.6f}\n" for fret in (2, 5, 9, 12, 17))
    old = read_board(f"fret,width,crown_height\nnut,42,\n22,56,\n{rows}".encode(), "mm")
    found = refret(old, Frets.model_validate({"height": 1.2}), plane=0.1)
    # 1.2 less 0.1 planed stands 0.3 over 0.8; toward the saddle the old crowns are lower by up to 0.3.
    assert found.rise == pytest.approx((0.3, 0.6), abs=1e-5)
    by = {finding.kind: finding for finding in found.findings}
    assert "the nut slots 0.30 mm up and the saddle 0.60 mm up" in by["crowns"].words
    assert "0.30 mm too low" in by["old nut"].words
    lower = refret(old, Frets.model_validate({"height": 0.8}), plane=0.1)
    assert lower.rise == pytest.approx((-0.1, 0.2), abs=1e-5)
    by = {finding.kind: finding for finding in lower.findings}
    assert "the nut slots 0.10 mm down and the saddle 0.20 mm up" in by["crowns"].words
    assert by["old nut"].words.startswith("the old nut serves")
    one = read_board(b"fret,width,crown_height\n1,44,0.9\n22,56,\n", "mm")
    assert refret(one, Frets.model_validate({"height": 1.2})).rise == pytest.approx((0.3, 0.3))
    level = refret(one, Frets.model_validate({"height": 0.9}))
    assert [finding.words for finding in level.findings if finding.kind == "crowns"] == [
        "the new crowns stand where the old ones do"
    ]
    assert refret(one, PLAIN).rise is None


def test_a_partial_refret_is_levelled_highest_first():
    rows = b"fret,width,crown_height\n1,44,0.7\n2,45,0.75\n3,46,0.9\n4,47,1.0\n5,48,1.18\n8,50,1.0\n12,52,\n"
    old = read_board(rows, "mm")
    found = refret(old, Frets.model_validate({"height": 1.2, "tang_depth": 1.6}), only=(2, 3, 5, 12))
    assert found.wires.frets == (2, 3, 5, 12)
    # 2 and 3 stand between 1 and 4, of which 1 is lower; 5 between 4 and 8; beyond 8 nothing was measured.
    assert list(found.steps) == [2, 3, 5, 12]
    assert found.steps == pytest.approx({2: 0.5, 3: 0.5, 5: 0.2, 12: 0.2})
    assert found.rise is None
    (told,) = [finding for finding in found.findings if finding.kind == "high frets"]
    assert "in this order: 2 by 0.50 mm, 3 by 0.50 mm, 5 by 0.20 mm, 12 by 0.20 mm" in told.words
    low = refret(old, Frets.model_validate({"height": 0.9}), only=(5, 8))
    assert low.steps == pytest.approx({5: -0.1, 8: -0.1})
    assert [finding.kind for finding in low.findings if "frets" in finding.kind] == ["low frets"]
    level = refret(old, Frets.model_validate({"height": 1.03}), only=(8,))
    assert level.steps == pytest.approx({8: -0.15})
    assert "level frets" in [f.kind for f in refret(old, Frets.model_validate({"height": 0.74}), only=(2,)).findings]
    # The wire of a fret is that of the whole board.
    whole = refret(old, PLAIN).wires
    assert found.wires.cut == pytest.approx(whole.cut[[1, 2, 4, 11]])


@pytest.mark.parametrize(
    ("more", "words"),
    [({"only": (1, 30)}, "fret 30 of 22"), ({"only": (1,), "plane": 0.2}, "0.20 mm are to be planed off, and other")],
)
def test_a_partial_refret_that_cannot_be(more, words):
    with pytest.raises(MeasuredError, match=words):
        refret(read_board(b"fret,width\n1,44\n22,56\n", "mm"), PLAIN, **more)


def test_slots_that_fit_otherwise_are_named():
    old = read_board(b"fret,width,slot_width\n1,44,0.58\n12,50,0.56\n22,56,0.70\n", "mm")
    found = refret(old, Frets.model_validate({"wire": {"tang_width": 0.52}}))
    told = {finding.subject: finding.words for finding in found.findings if finding.kind == "tang fit"}
    assert "a press fit" in told["frets 1, 12"]
    assert "loose" in told["fret 22"]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (b"fret,width\n1,44\n", "less than two frets"),
        (b"fret,width\nnut,42\n", "no row of a fret"),
        (b"fret,radius\n1,200\n", "column width is missing"),
        (b"fret,width\n1,44\n1,45\n", "stands in line 2 already"),
        (b"fret,width,slot_depth\nnut,42,2\n22,56,2\n", "the nut has no slot and no crown"),
        (b"fret,width,radius\n1,44,20\n22,56,\n", "too small for the width at fret 1"),
        (b"fret,width\n1,44\n22,5000\n", "allowed 5.00 to 500.00 mm"),
        (b"fret,width\n1,6\n22,7\n", "with the binding it leaves no slot at fret 1"),
    ],
)
def test_refused(text, words):
    with pytest.raises(MeasuredError, match=words):
        refret(read_board(text, "mm"), PLAIN, binding=2.6)
