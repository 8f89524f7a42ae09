"""The offsets found, against scipy and against what must hold."""

from dataclasses import replace

import numpy as np
import pytest
from helpers import random_fretting, some, tried
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import linprog, minimize, minimize_scalar, root

from slotwright.layout.physics.offsets import NUT_REACH, Saddles, _Search, compensate, largest, rms, worst
from slotwright.layout.physics.pitch import errors, parts

seeds = st.integers(0, 2**32 - 1)
NEAR = 1e-6  # mm
PER_STRING = (
    "scale", "frets", "crowns", "nut_height", "action_at", "action_height", "press", "press_depth", "free_length",
    "tension", "axial", "bending",
)  # fmt: skip


def problem(seed, strings=3, frets=18):
    rng = np.random.default_rng(seed)
    fretting = random_fretting(rng, strings, frets)
    # A nut contact far from the crown plane can ask for more than a nut has: stay inside.
    weights = np.where(rng.random((strings, frets)) < 0.5, rng.uniform(0.5, 3, (strings, frets)), 0.0)
    weights[:, [2, 11]] = 1.0
    return fretting, weights


def one(fretting, i):
    """Take out one string."""
    return strings_of(fretting, slice(i, i + 1))


def strings_of(fretting, which):
    """Take out some strings."""
    return replace(fretting, **{name: getattr(fretting, name)[which] for name in PER_STRING})


def side_by_side(*many):
    """Stack instruments, all with one end clamped."""
    arrays = {name: np.stack([getattr(each, name) for each in many]) for name in PER_STRING}
    return replace(many[0], **arrays, clamped=1.0)


@given(seeds)
@tried(15)
def test_rms_against_scipy(seed):
    fretting, weights = problem(seed)
    alone, both = compensate(fretting, weights), compensate(fretting, weights, nut="per string")
    assert not alone.saddle_held.any()
    assert (alone.nut == 0).all()
    for i in range(3):
        string, weight = one(fretting, i), weights[i : i + 1]

        def gradient(x, string=string, weight=weight):
            off, slopes = errors(string, x[:1], x[1:] if len(x) > 1 else np.zeros(1))
            return (weight[..., None] * off[..., None] * slopes).sum(axis=(0, 1))[: len(x)]

        def cost(x, string=string, weight=weight):
            return float((weight * parts(string, x[:1], x[1:] if len(x) > 1 else np.zeros(1)).total ** 2).sum())

        found = [([alone.saddle[i]], [0.0])]
        if not both.nut_held[i]:
            found.append(([both.saddle[i], both.nut[i]], [0.0, 0.0]))
        for ours, start in found:
            # Where least squares stop falling in double precision is 1e-6 mm wide; their gradient's root is sharp.
            assert root(gradient, start, tol=1e-13).x == pytest.approx(ours, abs=NEAR)
            for step in np.vstack((np.eye(len(ours)), -np.eye(len(ours)))) * 1e-3:
                assert cost(np.array(ours) + step) > cost(np.array(ours))


@given(seeds)
@tried(8)
def test_common_nut_against_scipy(seed):
    fretting, weights = problem(seed)
    found = compensate(fretting, weights, nut="common")
    assert np.ptp(found.nut) == 0
    if found.nut_held.any():
        return

    def gradient(x):
        off, slopes = errors(fretting, x[:3], np.full(3, x[3]))
        each = (weights[..., None] * off[..., None] * slopes).sum(axis=1)
        return [*each[:, 0], each[:, 1].sum()]

    ours = np.array([*found.saddle, found.nut[0]])
    assert root(gradient, np.zeros(4), tol=1e-13).x == pytest.approx(ours, abs=NEAR)

    def cost(x):
        return float((weights * parts(fretting, x[:3], np.full(3, x[3])).total ** 2).sum())

    for step in np.vstack((np.eye(4), -np.eye(4))) * 1e-3:
        assert cost(ours + step) > cost(ours)


@given(seeds)
@tried(15)
def test_worst_against_scipy(seed):
    fretting, weights = problem(seed)
    found = compensate(fretting, weights, minimise="worst")
    for i in range(3):
        string, aimed = one(fretting, i), weights[i] > 0

        def largest(x, string=string, aimed=aimed):
            return np.abs(parts(string, np.array([x]), np.zeros(1)).total[0][aimed]).max()

        best = minimize_scalar(largest, bounds=(-10, 30), method="bounded", options={"xatol": 1e-9})
        assert best.x == pytest.approx(found.saddle[i], abs=NEAR)


@given(seeds)
@tried(10)
def test_worst_with_the_nut_against_scipy(seed):
    fretting, weights = problem(seed)
    found = compensate(fretting, weights, nut="per string", minimise="worst")
    for i in range(3):
        if found.nut_held[i]:
            continue
        string, aimed = one(fretting, i), weights[i] > 0

        def off(x, string=string, aimed=aimed):
            return errors(string, x[:1], x[1:2])[0][0][aimed]

        def slope(x, string=string, aimed=aimed):
            return errors(string, x[:1], x[1:2])[1][0][aimed]

        # The largest error as a third unknown, above every error of either sign.
        above = [
            {
                "type": "ineq",
                "fun": lambda x, sign=sign: x[2] - sign * off(x),
                "jac": lambda x, sign=sign: np.insert(-sign * slope(x), 2, 1.0, axis=1),
            }
            for sign in (1, -1)
        ]
        # Now and then it stops short of the corner; the best of a few starts is where it means to go.
        tries = [
            minimize(lambda x: x[2], [found.saddle[i] + ds, found.nut[i] + dn, 5.0], jac=lambda _: np.array([0, 0, 1.0]),
                     constraints=above, method="SLSQP", options={"ftol": 1e-15, "maxiter": 500})
            for ds, dn in some(((0.002, 0.001), (-0.01, -0.03), (0.05, 0.02), (-0.2, 0.1), (0.3, -0.05)), 3)
        ]  # fmt: skip
        best = min(tries, key=lambda one: np.abs(off(one.x)).max())
        assert np.abs(off(best.x)).max() >= np.abs(off(np.array([found.saddle[i], found.nut[i]]))).max() - 1e-9
        assert best.x[:2] == pytest.approx([found.saddle[i], found.nut[i]], abs=NEAR)


@given(seeds)
@tried(30)
def test_sharp_means_back(seed):
    fretting, _ = problem(seed)
    zero = np.zeros(3)
    sharp = parts(fretting, zero, zero).total
    for fret in (4, 11, 16):
        weights = np.zeros_like(sharp)
        weights[:, fret] = 1
        found = compensate(fretting, weights)
        assert (np.sign(found.saddle) == np.sign(sharp[:, fret])).all()


def test_an_aim_at_one_fret_brings_it_to_zero_and_leaves_the_nut():
    fretting, _ = problem(5)
    weights = np.zeros((3, 18))
    weights[:, 11] = 1
    for nut in ("none", "per string", "common"):
        for minimise in ("rms", "worst"):
            found = compensate(fretting, weights, nut=nut, minimise=minimise)
            assert (found.nut == 0).all()
            assert parts(fretting, found.saddle, found.nut).total[:, 11] == pytest.approx(0, abs=1e-7)


def test_average_and_largest_by_hand():
    """Two instruments of two strings with two frets; what has no weight counts in neither."""
    off = np.array([[[3.0, -4.0], [0.25, -0.5]], [[1.0, 1.0], [9.0, 0.5]]])
    weights = np.array([[[1.0, 1.0], [3.0, 1.0]], [[2.0, 5.0], [0.0, 1.0]]])
    assert rms(off, weights) == pytest.approx(np.sqrt([[12.5, (3 * 0.0625 + 0.25) / 4], [1.0, 0.25]]))
    assert largest(off, weights).tolist() == [[4.0, 0.5], [1.0, 0.5]]
    assert worst(off, weights).tolist() == [[1, 1], [0, 1]]


def test_two_frets_and_two_offsets_leave_nothing():
    fretting, _ = problem(6)
    weights = np.zeros((3, 18))
    weights[:, [4, 11]] = 1
    for minimise in ("rms", "worst"):
        found = compensate(fretting, weights, nut="per string", minimise=minimise)
        assert not found.nut_held.any()
        assert parts(fretting, found.saddle, found.nut).total[:, [4, 11]] == pytest.approx(0, abs=1e-6)


def test_no_stiffness_no_stretch_no_heights_no_offset():
    fretting, weights = problem(7)
    nothing = np.zeros(3)
    ideal = replace(fretting, axial=nothing, bending=nothing, nut_height=nothing, action_height=nothing,
                    crowns=np.zeros_like(fretting.crowns), press_depth=nothing)  # fmt: skip
    for minimise in ("rms", "worst"):
        found = compensate(ideal, weights, nut="per string", minimise=minimise)
        assert found.saddle == pytest.approx(0, abs=1e-8)
        assert found.nut == pytest.approx(0, abs=1e-8)


@given(seeds)
@tried(20)
def test_offsets_grow_with_action_and_core(seed):
    fretting, weights = problem(seed)
    plain = compensate(fretting, weights).saddle
    assert (compensate(replace(fretting, action_height=fretting.action_height + 0.5), weights).saddle > plain).all()
    thicker = replace(fretting, axial=fretting.axial * 1.1**2, bending=fretting.bending * 1.1**4)
    assert (compensate(thicker, weights).saddle > plain).all()


def test_batches_of_instruments():
    fretting, weights = problem(8)
    both = replace(fretting, tension=np.stack((fretting.tension, fretting.tension * 1.1)),
                   scale=np.stack((fretting.scale, fretting.scale)))  # fmt: skip
    for nut in ("none", "per string", "common"):
        for minimise in ("rms", "worst"):
            together = compensate(both, weights, nut=nut, minimise=minimise)
            for i, factor in enumerate((1.0, 1.1)):
                alone = compensate(
                    replace(fretting, tension=factor * fretting.tension), weights, nut=nut, minimise=minimise
                )
                assert together.saddle[i] == pytest.approx(alone.saddle, abs=1e-8)
                assert together.nut[i] == pytest.approx(alone.nut, abs=1e-8)


@pytest.mark.parametrize("seed", range(9, 15))
def test_rounding_for_the_shop(seed):
    fretting, weights = problem(seed)
    beyond = np.random.default_rng(seed).uniform(-5, 5, weights.shape)
    found = compensate(fretting, weights, nut="per string", rounding=0.25, beyond=beyond)
    assert found.saddle / 0.25 == pytest.approx(np.round(found.saddle / 0.25))
    assert found.nut / 0.25 == pytest.approx(np.round(found.nut / 0.25))
    # The saddle was found for the rounded nut, so no other step of it serves better.
    for step in (-0.25, 0.25):
        left = rms(parts(fretting, found.saddle + step, found.nut).total + beyond, weights)
        assert (left >= rms(parts(fretting, found.saddle, found.nut).total + beyond, weights) - 1e-9).all()


def test_what_is_out_of_reach_is_held_and_said():
    fretting, weights = problem(10)
    high = replace(fretting, action_height=fretting.action_height + 30)
    found = compensate(high, weights)
    assert found.saddle_held.all()
    assert found.saddle == pytest.approx(0.04 * fretting.scale)
    # Notes that sound far flatter than the model has it ask for a saddle far forward.
    flat = compensate(fretting, weights, beyond=-90.0)
    assert flat.saddle_held.all()
    assert flat.saddle == pytest.approx(-0.02 * fretting.scale)
    lofty = compensate(replace(fretting, nut_height=fretting.nut_height + 6), weights, nut="per string")
    assert lofty.nut_held.any()
    assert np.abs(lofty.nut).max() == NUT_REACH
    assert not compensate(fretting, weights).saddle_held.any()


def test_worst_is_over_the_aim_alone():
    off, weights = np.array([[1.0, -5.0, 3.0, 9.0]]), np.array([[1.0, 1.0, 1.0, 0.0]])
    assert worst(off, weights).tolist() == [1]
    assert rms(off, weights) == pytest.approx(np.sqrt(35 / 3))
    # Errors below a cent are no less than what no aim is at; many instruments are judged side by side.
    many = np.stack((off, off[:, [2, 0, 1, 3]])) / 10
    assert worst(many, weights).tolist() == [[1], [2]]
    assert rms(many, weights) == pytest.approx(np.sqrt(35 / 3) / 10 * np.ones((2, 1)))


@pytest.mark.parametrize("minimise", ["rms", "worst"])
@pytest.mark.parametrize("nut", ["per string", "common"])
def test_a_nut_far_too_high_does_not_lead_astray(nut, minimise):
    # With the string 3 mm above the crowns at the nut errors are far from linear in its offset, and plain
    # steps end on the wrong side, worse than an unmoved nut.
    fretting, _ = problem(4)
    weights = np.where(np.arange(18) < 12, 1.0, 0.0) * np.ones((3, 1))
    lift = 3.0 if minimise == "rms" else 1.2  # much higher, and the worst note asks for more saddle than there is
    lofty = replace(fretting, nut_height=fretting.nut_height + lift, action_height=fretting.action_height + lift / 2)
    found = compensate(lofty, weights, nut=nut, minimise=minimise)

    def cost(saddle, at_nut):
        off = np.where(weights > 0, parts(lofty, saddle, at_nut).total, 0)
        each = (off**2).sum(axis=1) if minimise == "rms" else np.abs(off).max(axis=1)
        return each if nut == "per string" else np.full(3, each.sum() if minimise == "rms" else each.max())

    ours = cost(found.saddle, found.nut)
    for place in np.linspace(-NUT_REACH, NUT_REACH, 31):
        at_nut = np.full(3, place)
        saddle = _Search(lofty, weights, "none", minimise).saddle_at(at_nut)
        assert (ours <= cost(saddle, at_nut) * (1 + 1e-3)).all()
    assert not found.saddle_held.any()
    assert found.nut_held.any()


def test_no_negative_zero():
    fretting, weights = problem(3)
    flat = np.linspace(-9, 0, 18) * np.ones((3, 1))  # flat near the nut: it asks for a longer open string
    plain = compensate(fretting, weights, nut="common", beyond=flat)
    assert (plain.nut < 0).all()
    found = compensate(fretting, weights, nut="common", beyond=flat, rounding=5)
    assert (found.nut == 0).all()
    assert not np.signbit(found.nut).any()
    assert not np.signbit(found.saddle[found.saddle == 0]).any()


@pytest.mark.parametrize("seed", [1, 2])
def test_worst_with_a_common_nut_against_scipy(seed):
    fretting, weights = problem(seed)
    found = compensate(fretting, weights, nut="common", minimise="worst")
    assert np.ptp(found.nut) == 0
    assert not found.nut_held.any()

    def largest(saddle, at_nut):
        off = parts(fretting, saddle, np.full(3, at_nut)).total
        return np.where(weights > 0, np.abs(off), 0.0).max(axis=1)

    def least(i, at_nut):
        def of(x):
            return largest(np.full(3, x), at_nut)[i]

        return minimize_scalar(of, bounds=(-10, 30), method="bounded", options={"xatol": 1e-9}).fun

    # One search inside the other: the best saddle of each string for a nut, and the nut whose worst string is best.
    best = minimize_scalar(
        lambda x: max(least(i, x) for i in range(3)), bounds=(-NUT_REACH, NUT_REACH), method="bounded"
    )
    ours = largest(found.saddle, found.nut[0])
    assert ours.max() <= best.fun + NEAR
    # No saddle is left worse than this nut makes it, not even where another string has the worst note.
    assert ours == pytest.approx([least(i, found.nut[0]) for i in range(3)], abs=NEAR)


@pytest.mark.parametrize("minimise", ["rms", "worst"])
def test_a_string_aimed_at_one_fret_has_no_say_in_the_nut(minimise):
    fretting, weights = problem(2)
    weights[0] = np.arange(18) == 11
    for nut in ("per string", "common"):
        found = compensate(fretting, weights, nut=nut, minimise=minimise)
        without = compensate(strings_of(fretting, slice(1, None)), weights[1:], nut=nut, minimise=minimise)
        assert not found.nut_held.any()
        assert found.nut[1:] == pytest.approx(without.nut, abs=1e-8)
        assert found.saddle[1:] == pytest.approx(without.saddle, abs=1e-8)
        assert found.nut[0] == (0 if nut == "per string" else found.nut[1])
        assert parts(fretting, found.saddle, found.nut).total[0, 11] == pytest.approx(0, abs=1e-7)


@pytest.mark.parametrize("minimise", ["rms", "worst"])
@pytest.mark.parametrize("nut", ["none", "per string", "common"])
def test_four_steps_are_home(nut, minimise):
    # Each step solves the problem made linear, so that the way left is squared, not shortened.
    fretting, weights = side_by_side(problem(1)[0], problem(5)[0]), problem(2)[1]
    search = _Search(fretting, weights, nut, minimise)
    there = np.array(search.steps(np.zeros((2, 3))))
    assert search.steps(np.zeros((2, 3)), most=4) == pytest.approx(there, abs=NEAR)


@pytest.mark.parametrize("minimise", ["rms", "worst"])
@pytest.mark.parametrize("nut", ["per string", "common"])
def test_one_with_a_nut_far_too_high_leaves_its_neighbours_alone(nut, minimise):
    (low, weights), (other, _) = problem(2), problem(4)
    lofty = replace(other, nut_height=other.nut_height + 1.2, action_height=other.action_height + 0.6)
    together = compensate(side_by_side(low, lofty), weights, nut=nut, minimise=minimise)
    assert together.nut_held.any(axis=-1).tolist() == [False, True]
    for i, fretting in enumerate((low, lofty)):
        alone = compensate(replace(fretting, clamped=1.0), weights, nut=nut, minimise=minimise)
        assert together.saddle[i] == pytest.approx(alone.saddle, abs=1e-7)
        assert together.nut[i] == pytest.approx(alone.nut, abs=1e-7)


def test_weights_count_in_proportion():
    fretting, weights = problem(2)
    for nut in ("none", "per string", "common"):
        plain, light = (compensate(fretting, factor * weights, nut=nut) for factor in (1.0, 1e-6))
        assert light.saddle == pytest.approx(plain.saddle, abs=1e-8)
        assert light.nut == pytest.approx(plain.nut, abs=1e-8)


@given(seeds)
@tried(15)
def test_what_was_measured_beyond_the_model_counts(seed):
    fretting, weights = problem(seed)
    beyond = np.random.default_rng(seed).uniform(-3, 3, weights.shape)
    found = compensate(fretting, weights, beyond=beyond)
    off, slopes = errors(fretting, found.saddle, found.nut)
    # Where the sum of squares is least its slope is nought.
    each = weights * (off + beyond) * slopes[..., 0]
    assert each.sum(axis=1) == pytest.approx(0, abs=1e-6)
    assert (np.abs(each).sum(axis=1) > 1).all()
    # The worst is least where the sharpest and the flattest note are alike.
    found = compensate(fretting, weights, beyond=beyond, minimise="worst")
    off = np.where(weights > 0, parts(fretting, found.saddle, found.nut).total + beyond, 0)
    assert off.max(axis=1) == pytest.approx(-off.min(axis=1), abs=1e-6)


def test_a_nut_that_stands_elsewhere_is_left_there():
    fretting, weights = problem(2)
    stands = np.array([0.4, 0.0, -0.7])
    found = compensate(fretting, weights, nut_stands=stands)
    assert found.nut == pytest.approx(stands, abs=0)
    off, slopes = errors(fretting, found.saddle, stands)
    assert (weights * off * slopes[..., 0]).sum(axis=1) == pytest.approx(0, abs=1e-6)
    # Where it may move, it does not matter where it stood.
    free, moved = (compensate(fretting, weights, nut="per string", nut_stands=at) for at in (0.0, stands))
    assert moved.nut == pytest.approx(free.nut, abs=1e-8)
    assert moved.saddle == pytest.approx(free.saddle, abs=1e-8)


@pytest.mark.parametrize("measured", [False, True])
@pytest.mark.parametrize("nut", ["per string", "common"])
def test_a_nut_far_too_high_may_have_its_best_place_within_reach(nut, measured):
    fretting, _ = problem(2)
    weights = np.where(np.arange(18) < 12, 1.0, 0.0) * np.ones((3, 1))
    beyond = np.random.default_rng(2).uniform(-20, 0, weights.shape) if measured else 0.0
    lofty = replace(fretting, nut_height=fretting.nut_height + 2.5, action_height=fretting.action_height + 1.25)
    found = compensate(lofty, weights, nut=nut, beyond=beyond)

    def cost(saddle, at_nut):
        each = (weights * (parts(lofty, saddle, at_nut).total + beyond) ** 2).sum(axis=1)
        return each if nut == "per string" else np.full(3, each.sum())

    def at_best(at_nut):
        return cost(_Search(lofty, weights, nut, "rms", beyond).saddle_at(at_nut), at_nut)

    ours = cost(found.saddle, found.nut)
    assert ours == pytest.approx(at_best(found.nut), rel=1e-9)
    # Where the steps find no way down, the place is one of a quarter millimetre: good to a thousandth of the squares.
    for place in np.linspace(-NUT_REACH, NUT_REACH, 31):
        assert (ours <= at_best(np.full(3, place)) * (1 + 1e-3)).all()
    assert (np.abs(found.nut) < NUT_REACH).any()
    assert not found.saddle_held.any()
    # The steps alone fare worse, also where they end within reach.
    alone = _Search(lofty, weights, nut, "rms", beyond).steps(np.zeros(3))
    assert (cost(*alone) > ours * (1 + 1e-3)).any()


def test_a_nut_is_held_at_either_end():
    fretting, _ = problem(2)
    weights = np.where(np.arange(18) < 12, 1.0, 0.0) * np.ones((3, 1))
    lofty = replace(fretting, nut_height=fretting.nut_height + 3.0, action_height=fretting.action_height + 1.5)
    found = compensate(lofty, weights, nut="per string")
    assert found.nut[1:].tolist() == [-NUT_REACH, NUT_REACH]
    assert found.nut_held.tolist() == [False, True, True]


@pytest.mark.parametrize("nut", ["none", "per string"])
def test_tunings_share_the_offsets(nut):
    fretting, weights = problem(2)
    tuned = [replace(fretting, tension=factor * fretting.tension) for factor in (1.0, 0.8, 1.1)]
    together = replace(fretting, tension=np.stack([each.tension for each in tuned]))
    found = compensate(together, weights, nut=nut)
    assert not found.nut_held.any()
    slope, size = 0.0, 0.0
    for each in tuned:
        off, slopes = errors(each, found.saddle, found.nut)
        part = weights[..., None] * off[..., None] * slopes
        slope, size = slope + part.sum(axis=1), size + np.abs(part).sum(axis=1)
    # The squares of all tunings together are least.
    assert slope[:, : 1 if nut == "none" else 2] == pytest.approx(0, abs=1e-6)
    assert (size > 1).all()
    worst_of_all = compensate(together, weights, minimise="worst")
    off = [np.where(weights > 0, parts(each, worst_of_all.saddle, worst_of_all.nut).total, 0) for each in tuned]
    assert np.max(off, axis=(0, 2)) == pytest.approx(-np.min(off, axis=(0, 2)), abs=1e-6)


# Strings 1 and 3 on one saddle, 2 and 4 on another whose line leans, 5 by itself.
TIED = Saddles(np.array([0, 1, 0, 1, 4]), np.array([0, 0, 0, -0.7, 0]), np.array([1, 1, 1.02, 0.97, 1]))
FIRSTS = {0: (0, 2), 1: (1, 3), 4: (4,)}


def on_saddles(places):
    """Write out where the strings of `TIED` stand, by the places of its three saddles."""
    first, second, third = places
    return np.array([first, second, 1.02 * first, 0.97 * second - 0.7, third])


def neighbours(cost, ours, step=1e-3):
    """Say whether every step away from a place costs more."""
    steps = np.vstack((np.eye(len(ours)), -np.eye(len(ours)))) * step
    return all(cost(ours + each) > cost(ours) for each in steps)


@pytest.mark.parametrize("minimise", ["rms", "worst"])
def test_strings_of_one_saddle_aimed_at_one_fret_each_leave_their_nuts(minimise):
    """Two aims on one saddle are more than it can serve, but each string has one alone: its nut stays."""
    fretting, _ = problem(5, strings=5)
    weights = np.zeros((5, 18))
    weights[:, 11] = 1
    found = compensate(fretting, weights, nut="per string", minimise=minimise, saddles=TIED)
    assert (found.nut == 0).all()


def test_what_strings_of_one_saddle_are_called():
    assert TIED.groups == [[0, 2], [1, 3]]
    assert TIED.others(3) == [1]
    assert TIED.others(4) == []
    assert TIED.shared.tolist() == [True, True, True, True, False]
    assert TIED.sum(np.arange(5.0)).tolist() == [2, 4, 2, 4, 4]
    assert TIED.most(np.arange(5.0)).tolist() == [2, 3, 2, 3, 4]


@pytest.mark.parametrize("nut", ["none", "per string", "common"])
@given(seeds)
@tried(8)
def test_shared_saddles_against_scipy(nut, seed):
    fretting, weights = problem(seed, strings=5)
    found = compensate(fretting, weights, nut=nut, saddles=TIED)
    ours = found.saddle[[0, 1, 4]]
    assert found.saddle == pytest.approx(on_saddles(ours), abs=1e-12)
    many = {"none": 0, "per string": 5, "common": 1}[nut]

    def nuts(x):
        return np.zeros(5) if nut == "none" else np.broadcast_to(x[3:], (5,))

    def cost(x):
        return float((weights * parts(fretting, on_saddles(x[:3]), nuts(x)).total ** 2).sum())

    def gradient(x):
        off, slopes = errors(fretting, on_saddles(x[:3]), nuts(x))
        s, n = np.moveaxis((weights[..., None] * off[..., None] * slopes).sum(axis=1), -1, 0)
        by_nut = {"none": [], "per string": [*n], "common": [n.sum()]}[nut]
        return [s[0] + 1.02 * s[2], s[1] + 0.97 * s[3], s[4], *by_nut]

    ours = np.concatenate((ours, found.nut[:many]))
    if found.nut_held.any():  # at the end of its reach: no root, but nothing within reach is better
        within = [(None, None)] * 3 + [(-NUT_REACH, NUT_REACH)] * many
        best = minimize(cost, np.zeros(3 + many), method="L-BFGS-B", jac=lambda x: 2 * np.array(gradient(x)),
                        bounds=within, options={"maxiter": 1000, "ftol": 1e-14, "gtol": 1e-9})  # fmt: skip
        assert cost(ours) <= best.fun * (1 + 1e-6)
        return
    assert root(gradient, np.zeros(3 + many), tol=1e-13).x == pytest.approx(ours, abs=NEAR)
    assert neighbours(cost, ours)


@pytest.mark.parametrize("nut", ["none", "per string", "common"])
@given(seeds)
@tried(8)
def test_the_worst_of_shared_saddles_against_a_linear_programme(nut, seed):
    """Least of all: made linear there, no programme finds anything better, and each saddle has its own least."""
    fretting, weights = problem(seed, strings=5)
    found = compensate(fretting, weights, nut=nut, minimise="worst", saddles=TIED)
    assert found.saddle == pytest.approx(on_saddles(found.saddle[[0, 1, 4]]), abs=1e-12)
    off, slopes = errors(fretting, found.saddle, found.nut)
    # With a nut for all the saddle that fares worst decides; without, each saddle is a problem of its own.
    for group in [(0, 1, 2, 3, 4)] if nut == "common" else FIRSTS.values():
        rows = []
        for i in group:
            for fret in np.flatnonzero(weights[i] > 0):
                saddles = [0.0, 0.0, 0.0]
                saddles[{0: 0, 2: 0, 1: 1, 3: 1, 4: 2}[i]] = TIED.rate[i] * slopes[i, fret, 0]
                nuts = np.eye(5)[i] * slopes[i, fret, 1] if nut == "per string" else np.zeros(5)
                if nut == "common":
                    nuts[0] = slopes[i, fret, 1]
                rows.append([*saddles, *nuts, off[i, fret]])
        rows = np.array(rows)
        a = np.vstack((rows[:, :-1], -rows[:, :-1]))
        a = np.column_stack((a, -np.ones(len(a))))
        b = np.concatenate((-rows[:, -1], rows[:, -1]))
        reach = [(-NUT_REACH - nut, NUT_REACH - nut) for nut in found.nut]
        bounds = [(-20, 20)] * 3 + reach + [(0, None)]
        best = linprog(np.eye(9)[8], A_ub=a, b_ub=b, bounds=bounds).fun
        assert np.abs(rows[:, -1]).max() == pytest.approx(best, abs=1e-5)


def test_shared_saddles_serve_tunings_together():
    fretting, weights = problem(2, strings=5)
    together = replace(fretting, tension=np.outer([1.0, 0.8], fretting.tension))
    found = compensate(together, weights, saddles=TIED)

    def cost(x):
        tuned = (replace(fretting, tension=each) for each in together.tension)
        return sum(float((weights * parts(each, on_saddles(x), np.zeros(5)).total ** 2).sum()) for each in tuned)

    assert neighbours(cost, found.saddle[[0, 1, 4]])
    most = compensate(together, weights, minimise="worst", saddles=TIED)
    off = parts(together, most.saddle, np.zeros(5)).total * (weights > 0)
    for group in FIRSTS.values():
        of_saddle = off[:, list(group)]
        assert of_saddle.max() == pytest.approx(-of_saddle.min(), abs=1e-6)


def test_a_shared_saddle_is_held_and_rounded_as_one():
    fretting, weights = problem(2, strings=5)
    fine, coarse = (compensate(fretting, weights, rounding=step, saddles=TIED) for step in (0.0, 0.5))
    assert (np.abs(coarse.saddle - fine.saddle) <= 0.25 * 1.02 + 1e-9).all()
    assert coarse.saddle == pytest.approx(on_saddles(np.round(fine.saddle[[0, 1, 4]] / 0.5) * 0.5), abs=1e-12)
    # One string that asks for more than any bridge has: both stop where the first of them meets the limit.
    sharp = np.zeros((5, 18))
    sharp[2] = 500.0
    held = compensate(fretting, weights, beyond=sharp, saddles=TIED)
    assert held.saddle_held.tolist() == [True, False, True, False, False]
    assert held.saddle == pytest.approx(on_saddles(held.saddle[[0, 1, 4]]))
    assert (held.saddle[[0, 2]] <= 0.04 * fretting.scale[[0, 2]] + 1e-9).all()
    assert (held.saddle[[0, 2]] / fretting.scale[[0, 2]]).max() == pytest.approx(0.04)
    # The same where strings stand aside from the first of their saddle, at either end.
    for cents, limit in ((500.0, 0.04), (-500.0, -0.02)):
        sharp = np.zeros((5, 18))
        sharp[3] = cents
        held = compensate(fretting, weights, beyond=sharp, saddles=TIED)
        assert held.saddle_held.tolist() == [False, True, False, True, False]
        share = held.saddle[[1, 3]] / fretting.scale[[1, 3]] / limit
        assert share.max() == pytest.approx(1.0)
        assert held.saddle == pytest.approx(on_saddles(held.saddle[[0, 1, 4]]))


@pytest.mark.parametrize("minimise", ["rms", "worst"])
@pytest.mark.parametrize("nut", ["none", "per string", "common"])
def test_batches_of_instruments_with_shared_saddles(nut, minimise):
    fretting, weights = problem(8, strings=5)
    tensions = [factor * fretting.tension for factor in (1.0, 1.1, 0.9)]
    many = replace(fretting, tension=np.stack(tensions), scale=np.stack([fretting.scale] * 3))
    together = compensate(many, weights, nut=nut, minimise=minimise, saddles=TIED)
    for i, tension in enumerate(tensions):
        alone = compensate(replace(fretting, tension=tension), weights, nut=nut, minimise=minimise, saddles=TIED)
        assert together.saddle[i] == pytest.approx(alone.saddle, abs=1e-7)
        assert together.nut[i] == pytest.approx(alone.nut, abs=1e-7)


@pytest.mark.parametrize("seed", [2, 5, 8])
def test_nuts_over_a_shared_saddle_are_held_at_either_end(seed):
    fretting, weights = problem(seed, strings=5)
    for end in (-1, 1):  # as many cents at every fret are what a nut mends; its neighbour follows the saddle
        measured = np.zeros((5, 18))
        measured[1] = 40.0 * end
        found = compensate(fretting, weights, nut="per string", beyond=measured, saddles=TIED)
        assert found.nut_held.tolist() == [False, True, False, True, False]
        assert found.nut[[1, 3]].tolist() == [end * NUT_REACH, -end * NUT_REACH]
        search = _Search(fretting, weights, "per string", "rms", measured, TIED)
        assert found.saddle == pytest.approx(search.saddle_at(found.nut), abs=1e-7)


def test_what_is_least_is_told_instrument_by_instrument():
    fretting, weights = problem(8, strings=5)
    many = replace(
        fretting, tension=np.stack((fretting.tension, 0.5 * fretting.tension)), scale=np.stack([fretting.scale] * 2)
    )
    for minimise in ("rms", "worst"):
        for nut in ("per string", "common"):
            together = _Search(many, weights, nut, minimise, 0.0, TIED).cost(np.ones((2, 5)), np.zeros((2, 5)))
            for one, factor in zip(together, (1.0, 0.5), strict=True):
                search = _Search(
                    replace(fretting, tension=factor * fretting.tension), weights, nut, minimise, 0.0, TIED
                )
                assert one == pytest.approx(search.cost(np.ones(5), np.zeros(5)), rel=1e-12)
