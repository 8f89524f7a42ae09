"""Fret and slot positions against 50-digit arithmetic (mpmath) and a published divisor."""

import mpmath as mp
import numpy as np
import pytest
from helpers import FANNED, STARTERS, contents, exact_neck, plan, plans, starter, tried
from hypothesis import assume, given

from slotwright.layout.errors import PlanError
from slotwright.layout.instrument.neck import lay_neck
from slotwright.layout.plan.plan import Plan

# A double carries 16 digits: at 2000 mm the last one is worth 2e-13 mm. A thousand of those is
# still far below anything wood can hold.
NEAR = 1e-9  # mm


def compare(checked):
    neck, exact = lay_neck(checked), exact_neck(checked)
    for ours, theirs in (
        (neck.from_nut, exact["from_nut"]),
        (neck.slots, exact["slots"]),
        (neck.scales, exact["scales"]),
        (neck.straightness, exact["straightness"]),
    ):
        difference = [abs(mp.mpf(float(a)) - b) for a, b in zip(ours.ravel(), _flat(theirs), strict=True)]
        assert max(difference) < NEAR


def _flat(values):
    if isinstance(values, (list, tuple)):
        return [one for value in values for one in _flat(value)]
    return [values]


@pytest.mark.parametrize("name", STARTERS)
def test_starters(name):
    compare(starter(name))


def test_multiscale():
    compare(Plan.model_validate(FANNED))


@given(contents=plans())
@tried(150)
def test_any_plan(contents):
    checked = Plan.model_validate(contents)
    try:
        lay_neck(checked)
    except PlanError:
        assume(False)
    compare(checked)


def test_dividing_factor():
    # G. Byers, "Classical guitar intonation", American Lutherie 47 (1996): 17.817, printed to
    # three decimals; each fret takes that part of what is left.
    neck = lay_neck(plan())
    left = 628.0 - neck.frets.middle
    assert left[:-1] / -np.diff(left) == pytest.approx(17.817, abs=0.0005)


def test_octave_halves_the_string():
    neck = lay_neck(plan(frets={"count": 36}))
    assert neck.frets.middle[[12, 24, 36]] == pytest.approx([314.0, 471.0, 549.5], abs=1e-12)


def test_multiscale_scales_are_measured_along_the_strings():
    # 628/628 is not one scale of 628 along the centre line.
    fanned = lay_neck(plan(scale={"length": None, "treble": 628, "bass": 628}))
    assert fanned.scales[[0, -1]] == pytest.approx([628, 628], abs=1e-12)
    single = lay_neck(plan())
    assert single.scales[0] > 628.04
    assert fanned.saddle.middle[0] < 627.97


@pytest.mark.parametrize("square", ["nut", 0, 5, 7.5, 12, "saddle"])
def test_the_square_fret_is_square(square):
    neck = lay_neck(
        Plan.model_validate(contents(scale={"length": None, "treble": 635, "bass": 660, "square_fret": square}))
    )
    skew = {"nut": neck.frets.skew[0], "saddle": neck.saddle.skew[0]}
    if square == 7.5:
        assert neck.frets.skew[7] > 0 > neck.frets.skew[8]
    else:
        assert skew.get(square, neck.frets.skew[square] if isinstance(square, int) else None) == pytest.approx(
            0, abs=1e-15
        )
    assert neck.frets.middle[0] == pytest.approx(0, abs=1e-12)
