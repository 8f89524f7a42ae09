"""Properties of the pitch model."""

import warnings
from dataclasses import fields, replace

import numpy as np
import pytest
from helpers import random_fretting
from hypothesis import given, settings
from hypothesis import strategies as st

from slotwright.layout.physics.pitch import clearance, errors, parts, saddle_height

seeds = st.integers(0, 2**32 - 1)
some = settings(max_examples=50, deadline=None)


def off(fretting, saddle=0.0, nut=0.0):
    shape = fretting.scale.shape
    return parts(fretting, np.full(shape, saddle), np.full(shape, nut)).total


@given(seeds)
@some
def test_jacobian_against_finite_differences(seed):
    rng = np.random.default_rng(seed)
    fretting = random_fretting(rng, strings=4, frets=20)
    saddle, nut = rng.uniform(-2, 6, 4), rng.uniform(-1, 1, 4)
    found, jacobian = errors(fretting, saddle, nut)
    h = 1e-3  # rounding leaves 1e-13 / h of the cents, the curvature h squared: both far below 1e-5
    for which, (ds, dn) in enumerate(((h, 0), (0, h))):
        slope = (errors(fretting, saddle + ds, nut + dn)[0] - errors(fretting, saddle - ds, nut - dn)[0]) / (2 * h)
        assert jacobian[..., which] == pytest.approx(slope, rel=1e-5, abs=1e-5)
    assert found == pytest.approx(parts(fretting, saddle, nut).total)


@given(seeds)
@some
def test_jacobian_where_no_length_is_nearly_straight(seed):
    # Steep strings, pressed hard and close behind the crown, that stretch a lot: nothing is too small to count.
    rng = np.random.default_rng(seed)
    plain = random_fretting(rng, strings=4, frets=20)
    fretting = replace(
        plain,
        nut_height=plain.nut_height + 40,
        action_height=plain.action_height + 90,
        press=plain.press / 20,
        press_depth=plain.press_depth + 0.3,
        axial=plain.axial / 100,
        stretch=20.0,
    )
    saddle, nut = rng.uniform(-2, 6, 4), rng.uniform(-1, 1, 4)
    _, jacobian = errors(fretting, saddle, nut)
    assert (np.expm1(parts(fretting, saddle, nut).mass * np.log(2) / 600) > 0.1).all()  # stretched by a tenth
    h = 1e-3
    for which, (ds, dn) in enumerate(((h, 0), (0, h))):
        slope = (errors(fretting, saddle + ds, nut + dn)[0] - errors(fretting, saddle - ds, nut - dn)[0]) / (2 * h)
        assert jacobian[..., which] == pytest.approx(slope, rel=1e-5, abs=1e-5)


@given(seeds)
@some
def test_a_saddle_moved_back_flattens_every_note(seed):
    rng = np.random.default_rng(seed)
    fretting = random_fretting(rng, strings=4, frets=20)
    _, jacobian = errors(fretting, rng.uniform(-2, 6, 4), np.zeros(4))
    assert (jacobian[..., 0] < 0).all()
    # The nearer the saddle, the more.
    assert (np.diff(jacobian[..., 0], axis=1) < 0).all()


@given(seeds)
@some
def test_a_nut_moved_forward_flattens_every_note_alike(seed):
    # Without heights and stretch the nut offset only shortens the open string.
    fretting = random_fretting(np.random.default_rng(seed), strings=3, frets=20)
    _, jacobian = errors(limp(fretting), np.zeros(3), np.zeros(3))
    assert (jacobian[..., 1] < 0).all()
    assert np.ptp(jacobian[..., 1], axis=1) == pytest.approx(0, abs=1e-9)


def limp(fretting):
    """Take away stretch, stiffness and heights."""
    nothing = np.zeros_like(fretting.scale)
    return replace(
        fretting,
        axial=nothing,
        bending=nothing,
        nut_height=nothing,
        action_height=nothing,
        crowns=np.zeros_like(fretting.crowns),
        press_depth=nothing,
    )


@given(seeds)
@some
def test_an_ideal_string_is_in_tune(seed):
    fretting = limp(random_fretting(np.random.default_rng(seed), strings=3, frets=20))
    assert off(fretting) == pytest.approx(0, abs=1e-9)


@given(seeds)
@some
def test_batches_are_instruments_side_by_side(seed):
    rng = np.random.default_rng(seed)
    many = [replace(random_fretting(rng, strings=3, frets=12), clamped=1.0) for _ in range(4)]
    arrays = [
        f.name for f in fields(many[0]) if isinstance(getattr(many[0], f.name), np.ndarray) and f.name != "fractions"
    ]
    together = replace(many[0], **{name: np.stack([getattr(one, name) for one in many]) for name in arrays})
    saddle, nut = rng.uniform(0, 5, (4, 3)), rng.uniform(-0.5, 0.5, (4, 3))
    found, jacobian = errors(together, saddle, nut)
    for i, one in enumerate(many):
        alone, slope = errors(one, saddle[i], nut[i])
        assert found[i] == pytest.approx(alone, abs=1e-12)
        assert jacobian[i] == pytest.approx(slope, abs=1e-12)
    assert clearance(together, saddle, nut).shape == (4, 3, 13, 12)


@given(seeds, st.sampled_from([0.5, 2.0]))
@some
def test_everything_scales(seed, factor):
    # Twice the size in all lengths, EA and T as before, EI four times: the same cents.
    fretting = random_fretting(np.random.default_rng(seed), strings=3, frets=15)
    lengths = (
        "scale",
        "frets",
        "crowns",
        "nut_height",
        "action_at",
        "action_height",
        "press",
        "press_depth",
        "free_length",
    )
    larger = replace(
        fretting,
        bending=fretting.bending * factor**2,
        **{name: getattr(fretting, name) * factor for name in lengths},
    )
    assert off(larger, 2.0 * factor, 0.3 * factor) == pytest.approx(off(fretting, 2.0, 0.3), abs=1e-9)


@given(seeds)
@some
def test_heights_and_stiffness_sharpen(seed):
    fretting = random_fretting(np.random.default_rng(seed), strings=3, frets=15)
    plain = off(fretting)
    assert (off(replace(fretting, action_height=fretting.action_height + 0.5))[:, 4:] > plain[:, 4:]).all()
    assert (off(replace(fretting, nut_height=fretting.nut_height + 0.2))[:, :3] > plain[:, :3]).all()
    assert (off(replace(fretting, bending=fretting.bending * 1.3)) > plain).all()
    assert (off(replace(fretting, axial=fretting.axial * 1.3)) > plain).all()
    assert (off(replace(fretting, press_depth=fretting.press_depth + 0.3)) > plain).all()
    # String behind nut and saddle shares the stretch.
    assert (off(replace(fretting, free_length=fretting.free_length + 200)) < plain).all()


def test_calibration_scales_its_part():
    fretting = random_fretting(np.random.default_rng(1), strings=2, frets=12)
    zero = np.zeros(2)
    plain = parts(fretting, zero, zero)
    stiffer = parts(replace(fretting, stiffness=1.3), zero, zero)
    assert stiffer.stiffness == pytest.approx(1.3 * plain.stiffness)
    assert stiffer.stretch == pytest.approx(plain.stretch)
    longer = parts(replace(fretting, stretch=2.0), zero, zero)
    assert (longer.stretch > 1.5 * plain.stretch).all()


def test_one_note_by_hand():
    """Fret 12 of a flat board: every length worked out on paper.

    X = 650, b = 1, saddle 4 above the nut, no press distance: L0 = sqrt(650^2 + 4^2) = 650.012308;
    L12 = sqrt(325^2 + 5^2) = 325.038459; L'12 = sqrt(325^2 + 1^2) = 325.001538; the string is
    0.027690 longer, Q = 4.26e-5; with k = 50 the stretch is 600 log2(1 + 50 Q) = 1.842 cents.
    """
    fretting = replace(
        random_fretting(np.random.default_rng(0), strings=1, frets=12),
        scale=np.array([650.0]),
        frets=650 * (1 - 2.0 ** (-np.arange(1, 13) / 12))[None],
        fractions=2.0 ** (-np.arange(1, 13) / 12),
        crowns=np.zeros((1, 12)),
        nut_height=np.array([1.0]),
        action_at=np.array([325.0]),
        action_height=np.array([3.0]),
        press=np.zeros((1, 12)),
        press_depth=np.zeros(1),
        free_length=np.zeros(1),
        tension=np.array([60.0]),
        axial=np.array([3000.0]),
        bending=np.zeros(1),
    )
    zero = np.zeros(1)
    found = parts(fretting, zero, zero)
    l0, l12, behind = np.sqrt(650**2 + 16), np.sqrt(325**2 + 25), np.sqrt(325**2 + 1)
    q = (l12 + behind - l0) / l0
    assert q == pytest.approx(4.26e-5, rel=0.002)
    assert found.stretch[0, 11] == pytest.approx(600 * np.log2(1 + 50 * q), rel=1e-12)
    assert found.stretch[0, 11] == pytest.approx(1.842, abs=0.002)
    assert found.length[0, 11] == pytest.approx(1200 * np.log2(l0 / 2 / l12), rel=1e-12)
    assert found.mass[0, 11] == pytest.approx(600 * np.log2(1 + q), rel=1e-9)
    assert found.stiffness[0, 11] == 0


@given(seeds)
@some
def test_the_open_string_stands_at_its_action(seed):
    rng = np.random.default_rng(seed)
    fretting = random_fretting(rng, strings=3, frets=15)
    saddle, nut = rng.uniform(0, 6, 3), rng.uniform(-0.5, 0.5, 3)
    height = saddle_height(fretting, saddle, nut)
    along = (fretting.action_at - nut) / (fretting.scale + saddle - nut)
    assert fretting.nut_height + along * (height - fretting.nut_height) == pytest.approx(fretting.action_height)


def test_clearance_sees_a_high_crown():
    fretting = random_fretting(np.random.default_rng(3), strings=1, frets=12)
    zero = np.zeros(1)
    assert clearance(fretting, zero, zero).min() > 0
    crowns = fretting.crowns.copy()
    crowns[0, 7] += 0.4  # fret 8 stands proud
    gaps = clearance(replace(fretting, crowns=crowns), zero, zero)[0]
    assert np.unravel_index(np.argmin(gaps), gaps.shape) == (7, 7)  # fretted at 7, lying on 8
    assert gaps[7, 7] < 0
    assert np.isinf(gaps[8, 7])


@given(seeds)
@some
def test_clearance_is_the_gap_under_a_straight_string(seed):
    rng = np.random.default_rng(seed)
    fretting = random_fretting(rng, strings=3, frets=12)
    saddle, nut = rng.uniform(-2, 6, 3), rng.uniform(-1, 1, 3)
    gaps, heights = clearance(fretting, saddle, nut), saddle_height(fretting, saddle, nut)
    for i in range(3):
        held_at = [nut[i], *fretting.frets[i]], [fretting.nut_height[i], *fretting.crowns[i]]
        for fret, (x, z) in enumerate(zip(*held_at, strict=True)):
            ends = [x, fretting.scale[i] + saddle[i]], [z, heights[i]]
            under = np.interp(fretting.frets[i, fret:], *ends) - fretting.crowns[i, fret:]
            assert gaps[i, fret, fret:] == pytest.approx(under, abs=1e-12)
            assert np.isposinf(gaps[i, fret, :fret]).all()


@given(seeds)
@some
def test_a_finger_on_the_crown_itself_is_one_that_hardly_leaves_it(seed):
    rng = np.random.default_rng(seed)
    plain = random_fretting(rng, strings=3, frets=12)
    saddle, nut = rng.uniform(-2, 6, 3), rng.uniform(-1, 1, 3)
    near, there = (
        replace(plain, press=0 * plain.press + at, press_depth=0 * plain.press_depth) for at in (1e-7, 0.0)
    )
    with warnings.catch_warnings(action="error"):
        found, slopes = errors(there, saddle, nut)
    for ours, close in zip((found, slopes), errors(near, saddle, nut), strict=True):
        assert ours == pytest.approx(close, rel=1e-6, abs=1e-6)
