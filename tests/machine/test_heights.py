"""How low a tip comes over places: heights that a pencil gives."""

import numpy as np
import pytest

from slotwright.layout.machine.heights import Moves, over, swept

FAR = np.inf


def moves(*each, radius=1.0, ball=False):
    start, end = np.array(each, float).swapaxes(0, 1)
    return Moves(start, end, np.full(len(start), radius), np.full(len(start), ball))


def bottom(move, *places, **tip):
    return swept(moves(move, **tip), np.array(places)).bottom[0].tolist()


def aside(move, *places, **tip):
    return swept(moves(move, **tip), np.array(places)).aside[0].tolist()


def about(values):
    return pytest.approx(values, rel=1e-12, abs=1e-12)


LEVEL = ((0, 0, 1), (10, 0, 1))
RISING, FALLING = ((0, 0, 2), (10, 0, 12)), ((0, 0, 12), (10, 0, 2))
SLANTED = ((1, 2, 0), (7, 10, 0))  # along (0.6, 0.8), 10 long


def test_a_level_move_reaches_as_far_as_its_rim():
    at = [(5, 0), (5, 1), (5, -1), (5, 1.001), (5, -1.001), (-1, 0), (-1.001, 0), (11, 0), (11.001, 0)]
    assert bottom(LEVEL, *at) == [1, 1, 1, FAR, FAR, 1, FAR, 1, FAR]
    # At its ends it is round.
    assert bottom(LEVEL, (-0.7, 0.7), (-0.8, 0.7), (10.7, -0.7), (10.8, -0.7)) == [1, FAR, 1, FAR]
    assert bottom(LEVEL[::-1], (-0.7, 0.7), (-0.8, 0.7), (5, 0.99), (5, 1.01)) == [1, FAR, 1, FAR]


def test_directions_are_no_matter():
    ahead, left = np.array([0.6, 0.8]), np.array([-0.8, 0.6])
    begin = np.array([1.0, 2.0])
    at = [begin + 5 * ahead, begin + 5 * ahead + 0.99 * left, begin + 5 * ahead - 0.99 * left]
    beside = [
        begin + 5 * ahead + 1.01 * left,
        begin + 5 * ahead - 1.01 * left,
        begin - 1.01 * ahead,
        begin + 11.01 * ahead,
    ]
    assert bottom(SLANTED, *at, *beside) == [0, 0, 0, FAR, FAR, FAR, FAR]
    assert aside(SLANTED, *at, *beside) == about([0, 0.99, 0.99, FAR, FAR, FAR, FAR])
    up = ((1, 2, 0), (7, 10, 20))
    assert bottom(up, at[0], begin + 5 * ahead + 0.8 * left, begin, begin + 10.5 * ahead) == about(
        [8, 2 * 4.4, 0, 19]
    )


def test_a_flat_tip_on_a_slope_is_lowest_where_it_comes_or_where_it_goes():
    at = [(5, 0), (5, 0.6), (5, -0.6), (0.5, 0), (-0.5, 0), (9.5, 0), (10.5, 0)]
    assert bottom(RISING, *at) == about([6, 6.2, 6.2, 2, 2, 10.5, 11.5])
    assert bottom(FALLING, *at) == about([6, 6.2, 6.2, 10.5, 11.5, 2, 2])


def test_a_ball_hollows():
    tip = {"radius": 2.0, "ball": True}
    assert bottom(LEVEL, (5, 0), (5, 1.2), (5, -1.6), (5, 2), (5, 2.01), **tip) == about([1, 1.4, 1.8, 3, FAR])
    assert bottom(LEVEL, (-1.2, 0), (11.6, 0), (-2.01, 0), (-1.5, -1.5), **tip) == about([1.4, 1.8, FAR, FAR])
    # Up a slope of 3 in 4 the hollow lies r sqrt(1 + (3/4)^2) = 1.25 r straight below the middle of the ball.
    slope = ((0, 0, 0), (8, 0, 6))
    assert bottom(slope, (4, 0), (4, 1.2), **tip) == about([3 + 2 - 2.5, 3 + 2 - 1.25 * 1.6])
    assert bottom(slope[::-1], (4, 0), (4, -1.2), **tip) == about([3 + 2 - 2.5, 3 + 2 - 1.25 * 1.6])
    # Where that would be before its beginning or past its end, the ball itself is there.
    assert bottom(slope, (-1.2, 0), (0.8, 0), (9.6, 0), **tip) == about(
        [2 - 1.6, 2 - np.sqrt(4 - 0.64), 6 + 2 - np.sqrt(4 - 1.6**2)]
    )
    assert bottom(slope, (9.4, 0), **tip) == about([6 + 2 - np.sqrt(4 - 1.4**2)])
    assert bottom(slope, (9.0, 0), **tip) == about([6.75 + 2 - 2.5])  # 1.2 back from it is still on the way


def test_straight_up_or_down_only_the_lower_end_counts():
    down = ((3, 4, 9), (3, 4, 5))
    at = [(3, 4), (4, 4), (3, 3), (4.01, 4), (3, 2.99), (3.8, 4.7)]
    assert bottom(down, *at) == bottom(down[::-1], *at) == [5, 5, 5, FAR, FAR, FAR]
    assert bottom(down, (3, 4), (4.2, 4), (3, 5.6), radius=2.0, ball=True) == about([5, 5.4, 5.8])
    assert aside(down, (3, 4), (3.5, 4), (3, 3.25)) == [0, 0.5, 0.75]
    still = ((3, 4, 5), (3, 4, 5))
    assert bottom(still, *at) == [5, 5, 5, FAR, FAR, FAR]


def test_how_far_the_axis_stays_off():
    at = [(5, 0), (5, 0.5), (5, -0.5), (-0.4, 0), (-0.6, 0.8), (10.3, -0.4), (5, 1.01)]
    assert aside(LEVEL, *at) == about([0, 0.5, 0.5, 0.4, 1.0, 0.5, FAR])
    assert aside(LEVEL, (5, 0.5), (10.3, -0.4), radius=2.0) == about([0.25, 0.25])


def test_every_move_has_its_own_cutter():
    both = Moves(
        np.array([[0.0, 0, 1], [0, 5, 2]]),
        np.array([[10.0, 0, 1], [10, 5, 2]]),
        np.array([1.0, 2.0]),
        np.array([False, True]),
    )
    found = swept(both, np.array([(5.0, 0.6), (5.0, 3.8)]))
    assert found.bottom == about(np.array([[1, FAR], [FAR, 2.4]]))
    assert found.aside == about(np.array([[0.6, FAR], [FAR, 0.6]]))
    assert both.boxes.tolist() == [[-1, -1, 11, 1], [-2, 3, 12, 7]]
    assert moves(SLANTED[::-1], radius=0.5).boxes.tolist() == [[0.5, 1.5, 7.5, 10.5]]
    one = both[np.array([1])]
    assert (one.start.tolist(), one.end.tolist(), one.radius.tolist(), one.ball.tolist()) == ([[0, 5, 2]], [[10, 5, 2]], [2], [True])  # fmt: skip


def test_boxes_that_touch_are_over_each_other():
    boxes = np.array([[0.0, 0, 2, 2], [2, 2, 3, 3], [2.1, 0, 3, 1], [0, 2.1, 1, 3], [-1, -1, 9, 9], [1, 1, 1, 1]])
    assert over(boxes, (1.0, 1.0, 2.0, 2.0)).tolist() == [0, 1, 4, 5]
    assert over(boxes, (-3.0, -3.0, -1.0, -1.0)).tolist() == [4]
    assert over(boxes, (9.01, 0.0, 10.0, 1.0)).tolist() == over(boxes, (0.0, 9.01, 1.0, 10.0)).tolist() == []
