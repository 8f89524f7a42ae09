"""The neutral drawing: texts, dimensions, mirroring."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from slotwright.layout.drawing.lettering import fitted, text_width, wrapped
from slotwright.layout.drawing.marks import label_row, number_row, spread
from slotwright.layout.drawing.scale_bar import scale_bar
from slotwright.layout.drawing.sheet import Contour, Dimension, Layer, Line, Text, extents


@given(st.lists(st.floats(0, 500), min_size=1, max_size=60).map(sorted), st.floats(0.5, 20))
def test_spread_keeps_labels_apart_and_in_order(places, apart):
    moved = spread(places, apart)
    assert all(b - a >= apart - 1e-6 for a, b in zip(moved, moved[1:], strict=False))
    assert sum(moved) == pytest.approx(sum(places), abs=1e-6)  # least squares keeps the mean
    if all(b - a >= apart for a, b in zip(places, places[1:], strict=False)):
        assert moved == pytest.approx(places)


@pytest.mark.parametrize("turn", [0, 30, 90, -60])
@pytest.mark.parametrize("across", ["left", "center", "right"])
@pytest.mark.parametrize("up", ["bottom", "middle", "top"])
def test_a_mirrored_text_covers_the_mirrored_box_and_stays_upright(turn, across, up):
    text = Text(Layer.TEXT, (3.0, 4.0), "12: 314.00", 2.5, across, up, turn)
    mirrored = text.mirrored()
    left, bottom, right, top = text.box()
    # Descenders hang on the other side of the mirrored box.
    assert mirrored.box() == pytest.approx((left, -top, right, -bottom), abs=0.3 * 2.5 + 1e-9)
    assert -90 < mirrored.turn <= 90


@given(st.text(max_size=40))
def test_what_no_file_can_hold_is_taken_out(text):
    clean = Text(Layer.TEXT, (0, 0), text).text
    assert clean.isprintable()
    assert "\n" not in clean


def test_fitted_shrinks_then_shortens():
    assert fitted("short", 100, 4) == ("short", 4)
    text, height = fitted("a longer title", 30, 4)
    assert text == "a longer title"
    assert 1.8 <= height < 4
    text, height = fitted("x" * 200, 30, 4)
    assert text.endswith("\u2026")
    assert text_width(text, height) <= 30


@given(st.text(min_size=1, max_size=300), st.floats(10, 100))
def test_wrapped_lines_fit(text, width):
    assert all(text_width(line, 1.8) <= width for line in wrapped(text, width, 1.8))


def test_dimension_reads_from_below_or_from_the_right():
    for start, end in (((0, 0), (10, 0)), ((10, 0), (0, 0))):
        *_, text = Dimension(start, end, "10", (start, end)).parts()
        assert text.turn == pytest.approx(0)
        assert text.at == pytest.approx((5, 1))
    for start, end in (((0, 0), (0, 10)), ((0, 10), (0, 0))):
        *_, text = Dimension(start, end, "10", (start, end)).parts()
        assert text.turn == pytest.approx(90)
        assert text.at == pytest.approx((-1, 5))


def test_an_arc_rises_by_its_sagitta():
    # By hand: bulge = 2 * rise / chord; the side runs left to right and turns clockwise, so it rises.
    contour = Contour(Layer.CUT_OUTLINE, ((0, 0), (60, 0), (60, -20), (0, -20)), (-2 * 3 / 60, 0, 0, 0))
    assert contour.box() == pytest.approx((0, -20, 60, 3))
    assert contour.mirrored().box() == pytest.approx((0, -3, 60, 20))


@pytest.mark.parametrize(("room", "length"), [(30, 100), (149, 100), (150, 150), (700, 700), (748, 700)])
def test_rule_is_the_longest_round_number(room, length):
    lines = [part for part in scale_bar((0, 0), room, upright=False) if isinstance(part, Line)]
    assert extents(lines)[:3:2] == pytest.approx((0, length))
    words = [part.text for part in scale_bar((0, 0), room, upright=True) if isinstance(part, Text)]
    assert f"{length} mm" in words
    assert "Check the scale bars before you cut" in words


def test_labels_in_a_row_do_not_touch():
    points = [(0.5 * i, 0.0) for i in range(60)]
    for row in (label_row, number_row):
        texts = [e for e in row(points, [str(i) for i in range(60)], 8.0, 2.0) if isinstance(e, Text)]
        boxes = [text.box() for text in texts]
        assert all(a[2] <= b[0] + 1e-6 for a, b in zip(boxes, boxes[1:], strict=False))
        assert len(texts) == 60 or row is number_row


def test_numbers_stand_straight_over_their_points():
    points = [(0.0, 0.0), (10.0, 1.0), (11.0, 1.0), (30.0, 2.0)]
    texts = [e for e in number_row(points, ["0", "1", "2", "3"], 8.0, 2.5) if isinstance(e, Text)]
    assert [(t.text, t.at[0]) for t in texts] == [("0", 0.0), ("1", 10.0), ("3", 30.0)]
