"""Where the notes lie."""

import numpy as np
import pytest

from slotwright.layout.physics.temperament import cents_at, octave_fret, speaking_fraction, steps_of_period


def test_cents_repeat_after_the_period():
    just = [203.91, 386.31, 498.04, 701.96, 884.36, 1088.27, 1200.0]
    period = steps_of_period(12, just)
    assert cents_at([0, 1, 7, 8, 14, 15], period) == pytest.approx([0, 203.91, 1200, 1403.91, 2400, 2603.91])


def test_between_frets_linear_in_cents():
    assert cents_at(7.5, steps_of_period(12)) == pytest.approx(750)
    assert speaking_fraction(cents_at(np.inf, steps_of_period(12))) == 0


@pytest.mark.parametrize(("divisions", "octave"), [(12, 12), (19, 19), (31, 31)])
def test_octave_fret(divisions, octave):
    assert octave_fret(cents_at(range(40), steps_of_period(divisions))) == octave


def test_octave_fret_of_a_short_board_is_its_last():
    assert octave_fret(cents_at(range(6), steps_of_period(12))) == 5
