"""The least of the largest error, against scipy's linear programmes."""

import numpy as np
import pytest
from helpers import tried
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import linprog

from slotwright.layout.physics.minimax import least_largest, least_largest_of_two

NUMBERS = st.integers(-40, 40).map(lambda n: n / 4)  # ties and zeros are wanted


def by_linprog(off, slopes, reach=None):
    """Give the least that the largest of ``|off + slopes @ x|`` can be; the last x goes no further than `reach`."""
    bound = -np.ones((len(off), 1))
    answer = linprog(
        np.append(np.zeros(slopes.shape[1]), 1.0),
        A_ub=np.block([[slopes, bound], [-slopes, bound]]),
        b_ub=np.concatenate((-off, off)),
        bounds=[(None, None)] * (slopes.shape[1] - 1) + [(None if reach is None else -reach, reach), (0, None)],
        options={"primal_feasibility_tolerance": 1e-10, "dual_feasibility_tolerance": 1e-10},
    )
    assert answer.success
    return answer.fun


@given(st.lists(st.tuples(NUMBERS, NUMBERS), min_size=1, max_size=12))
@tried(300)
def test_one_move(rows):
    off, slopes = np.array(rows).T
    move = least_largest(off, slopes)
    assert np.abs(off + slopes * move).max() == pytest.approx(by_linprog(off, slopes[:, None]), abs=1e-9)


@given(st.lists(st.tuples(NUMBERS, NUMBERS, NUMBERS), min_size=1, max_size=12), st.sampled_from([0.5, 3.0, 20.0]))
@tried(300)
def test_two_moves(rows, reach):
    off, slopes, others = np.array(rows).T[:, None]
    free = np.array([True])
    for common in (False, True):
        move, other = least_largest_of_two(off, slopes, others, free, reach, common=common)
        assert abs(other[0]) <= reach
        least = by_linprog(off[0], np.stack((slopes[0], others[0]), axis=-1), reach)
        assert np.abs(off[0] + slopes[0] * move[0] + others[0] * other[0]).max() == pytest.approx(least, abs=1e-9)


@pytest.mark.parametrize("seed", range(20))
def test_many_strings_at_once(seed):
    """Slopes and errors like those of strings; some errors do not count, one string in four is not free."""
    chance = np.random.default_rng(seed)
    strings, frets = 6, 15
    counts = chance.random((2, strings, frets)) < 0.7
    off, slopes, others = (
        np.where(counts, each, 0.0)
        for each in (
            chance.normal(0, 8, (2, strings, frets)),
            -2.7 * chance.uniform(1, 2.5, (2, strings, frets)),
            -2.7 * chance.uniform(0, 2.5, (2, strings, frets)),
        )
    )
    free = chance.random((2, strings)) < 0.75
    move, other = least_largest_of_two(off, slopes, others, free, 20.0, common=False)
    left = np.abs(off + slopes * move[..., None] + others * other[..., None]).max(axis=-1)
    assert not other[~free].any()
    for place in np.ndindex(free.shape):
        both = np.stack((slopes[place], others[place]), axis=-1)
        least = by_linprog(off[place], both, 20.0) if free[place] else by_linprog(off[place], both[:, :1])
        assert left[place] == pytest.approx(least, abs=1e-9)


@pytest.mark.parametrize("seed", range(20))
def test_one_nut_for_all_strings(seed):
    chance = np.random.default_rng(seed)
    strings, frets = 5, 12
    off, slopes, others = (
        chance.normal(0, 8, (strings, frets)),
        -2.7 * chance.uniform(1, 2.5, (strings, frets)),
        -2.7 * chance.uniform(0, 2.5, (strings, frets)),
    )
    free = np.arange(strings) != seed % (strings + 1)
    move, other = least_largest_of_two(off, slopes, others, free, 20.0, common=True)
    assert np.ptp(other) == 0
    left = np.abs(off + slopes * move[:, None] + others * other[:, None]).max(axis=-1)
    # One unknown saddle for each string that is free, and the nut.
    many = int(free.sum())
    own = np.kron(np.eye(many), np.ones((frets, 1))) * slopes[free].reshape(-1, 1)
    least = by_linprog(off[free].ravel(), np.column_stack((own, others[free].ravel())), 20.0)
    assert left[free].max() == pytest.approx(least, abs=1e-9)
    for string in np.flatnonzero(~free):  # its saddle makes the best of that nut
        held = off[string] + others[string] * other[string]
        assert left[string] == pytest.approx(by_linprog(held, slopes[string][:, None]), abs=1e-9)


def test_who_keeps_to_its_nut_has_no_say_in_the_common_one():
    # The first is free and nearly right; the second is far off, but its nut stays.
    off = np.array([[0.2, -0.1, 0.3], [9.0, -8.0, 7.0]])
    slopes, others = np.full((2, 3), -2.0), np.array([[-1.0, -2.0, -3.0], [-3.0, -1.0, -2.0]])
    free = np.array([True, False])
    move, other = least_largest_of_two(off, slopes, others, free, 20.0, common=True)
    alone, its_other = least_largest_of_two(off[:1], slopes[:1], others[:1], free[:1], 20.0, common=True)
    assert (move[0], other[0]) == pytest.approx((alone[0], its_other[0]))
    # Of two instruments the one without a free nut keeps it, whatever the other does.
    both = (np.stack((each, each)) for each in (off, slopes, others))
    _, other = least_largest_of_two(*both, np.array([[True, False], [False, False]]), 20.0, common=True)
    assert other[0] == pytest.approx(its_other[0])
    assert (other[1] == 0).all()


def test_nothing_that_moves_is_left_alone():
    assert least_largest(np.array([[1.0, -3.0]]), np.zeros((1, 2))) == [0.0]
    move, other = least_largest_of_two(
        np.zeros((1, 2)), np.zeros((1, 2)), np.zeros((1, 2)), np.array([True]), 5.0, common=False
    )
    assert (move[0], abs(other[0])) == (0.0, 5.0)


@pytest.mark.parametrize(
    ("rows", "reach", "other", "least"),  # (error, its change by the first move, by the other), by hand
    [
        ([(5, 0, 0.5)], 4, -4, 3),  # best at the low end
        ([(-5, 0, 0.5)], 4, 4, 3),  # at the high one
        ([(0, 0, 0.5)], 4, 0, 0),  # between, all slopes below 1
        ([(3, 0, -0.5), (6, 0, 1), (0, 0, 2)], 10, -2, 4),  # a cut that meets a line of slope 1 is not the end
        ([(10, 0, 1), (1, 1, 0), (-1, 1, 0)], 20, None, 1),  # the largest is one that the first move does not alter
        ([(0, 1, 0), (10, 0, 0.25), (2, 0, 0)], 20, None, 5),
    ],
)
def test_by_hand(rows, reach, other, least):
    off, slopes, others = np.array(rows, dtype=float).T[:, None]
    for common in (False, True):
        move, found = least_largest_of_two(off, slopes, others, np.array([True]), reach, common=common)
        assert np.abs(off[0] + slopes[0] * move[0] + others[0] * found[0]).max() == pytest.approx(least, abs=1e-12)
        if other is not None:
            assert found[0] == pytest.approx(other, abs=1e-12)
