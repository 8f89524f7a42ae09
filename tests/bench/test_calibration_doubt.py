"""What calibrations doubt, held against instruments whose strings and heights are not what the plan says."""

from dataclasses import replace

import numpy as np
import pytest
from forward import World, flat_plan
from helpers import few, slack

from slotwright.layout.bench.calibration import calibrate
from slotwright.layout.bench.state import each_pass, setting_of
from slotwright.layout.instrument.instrument import lay_out
from slotwright.layout.readings.notes import Reading

FRETS = (1, 3, 5, 7, 9, 12, 15, 17)
PASSES = 3
TREBLE = np.linspace(1, 0, 6)


def of_each(rng, size):
    return size * rng.standard_normal(6)


def at_the_ends(rng, size):
    treble, bass = size * rng.standard_normal(2)
    return treble * TREBLE + bass * (1 - TREBLE)


def of_all(rng, size):
    return np.full(6, size * rng.standard_normal())


@pytest.fixture(scope="module")
def setting():
    return setting_of(lay_out(flat_plan()))


def built(rng, setting, heights, stretch, depth=0.0):
    """Build an instrument by a hand that slips: action by 0.10, first gap by 0.05 mm, stretch by 10 %."""
    factors = rng.normal(1, 0.3, 2)
    while factors.min() < 0.15:  # nobody strings wire without stretch; one draw in two hundred
        factors = rng.normal(1, 0.3, 2)
    return World(
        setting.saddle + rng.uniform(-2, 2, 6),
        stiffness=factors[0],
        stretch=factors[1] * (1 + stretch(rng, 0.10)),
        action_off=heights(rng, 0.10),
        first_gap_off=heights(rng, 0.05),
        press_depth=depth,
    )


def learnt(rng, setting, world, frets=FRETS):
    """Read it in several passes, saddles moved in between, with a meter and open strings off by half a cent."""
    raw = []
    for at in range(1, PASSES + 1):
        for string in range(1, 7):
            astray, place = rng.normal(0, 0.5), float(world.saddle[string - 1])
            raw += [
                Reading(string, fret, cents + astray + rng.normal(0, 0.5), saddle_offset=place, at=at)
                for fret, cents in zip(frets, world.errors(string, frets), strict=True)
            ]
        world = replace(world, saddle=world.saddle + rng.uniform(-1, 1, 6))
    return calibrate(setting, each_pass(setting, raw))


@pytest.mark.parametrize("depth", [0.0, 0.15, 0.3])
@pytest.mark.parametrize("stretch", [of_each, of_all])
@pytest.mark.parametrize("heights", [of_each, at_the_ends])
def test_two_standard_errors_hold_whatever_the_setup_is_off_by(setting, heights, stretch, depth):
    """200 instruments in each world; the true stretch is the mean of the strings', which is the common one if any."""
    rng, off, misfits = np.random.default_rng(31), [], []
    for _ in range(few(200)):
        world = built(rng, setting, heights, stretch, depth)
        found = learnt(rng, setting, world)
        off.append(
            [
                (found.stiffness - world.stiffness) / found.stiffness_error,
                (found.stretch - world.stretch.mean()) / found.stretch_error,
            ]
        )
        misfits.append(found.misfit)
    within = np.mean(np.abs(off) < 2, axis=0)
    chance = slack(0.9545, len(off))
    assert (within >= 0.91 - chance).all()
    assert (within <= 0.985 + chance).all()
    assert np.mean(misfits) == pytest.approx(1, abs=0.1)


def test_how_deep_a_hand_presses_is_told_with_its_doubt(setting):
    """Depths as they are expected, 0.15 ± 0.15 mm and never less than 0."""
    rng, off = np.random.default_rng(32), []
    for number in range(few(200)):
        depth = rng.normal(0.15, 0.15)
        while depth < 0:
            depth = rng.normal(0.15, 0.15)
        world = built(rng, setting, (of_each, at_the_ends)[number % 2], of_each, depth)
        found = learnt(rng, setting, world)
        assert found.press_depth >= 0
        off.append((found.press_depth - depth) / found.press_depth_error)
    assert np.mean(np.abs(off) < 2) > 0.91 - slack(0.9545, len(off))
    # A high nut sounds much like a deep hand: 0.05 mm of first gap alone leave more doubt than 400 readings do.
    assert found.press_depth_error > 0.02
    with_stretch, _ = found.correlations
    assert with_stretch < -0.5  # either makes all notes sharp
    assert (found.on(setting.fretting).press_depth == found.press_depth).all()


def test_upper_frets_tell_nothing_of_the_depth(setting):
    rng = np.random.default_rng(35)
    upper = learnt(rng, setting, World(setting.saddle), frets=(4, 5, 7, 9, 12, 17))
    assert (upper.press_depth, upper.press_depth_error, upper.correlations) == (None, None, None)
    assert upper.on(setting.fretting).press_depth == pytest.approx(setting.fretting.press_depth)
    assert learnt(rng, setting, World(setting.saddle), frets=(3, 5, 7, 9, 12, 17)).press_depth is not None


def test_more_passes_do_not_outweigh_what_is_the_same_in_all(setting):
    """The slips of heights stay, and sound like stretch: a hundred passes know hardly more of it than ten."""
    rng, raw = np.random.default_rng(36), []
    world = World(setting.saddle)
    for at in range(1, 101):
        for string in range(1, 7):
            place = float(world.saddle[string - 1])
            cents = world.errors(string, FRETS) + rng.normal(0, 0.5)
            raw += [
                Reading(string, fret, c + rng.normal(0, 0.5), saddle_offset=place, at=at)
                for fret, c in zip(FRETS, cents, strict=True)
            ]
    ten, hundred = (
        calibrate(setting, each_pass(setting, [reading for reading in raw if reading.at <= most]))
        for most in (10, 100)
    )
    assert hundred.stretch_error > 0.7 * ten.stretch_error  # 0.32 if every pass were new evidence
