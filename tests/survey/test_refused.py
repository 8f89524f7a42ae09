"""What a survey must not believe: other divisions, units and directions; and what it must not refuse."""

import numpy as np
import pytest
from helpers import few, slack

from slotwright.layout.errors import MeasuredError
from slotwright.layout.readings.crowns import Measured, read_measurements
from slotwright.layout.survey.findings import findings
from slotwright.layout.survey.scale import find_scale


def crowns(rng, step, *, scale=None, sigma=None, bad=True, frets=None):
    """Measure a neck whose frets stand so many cents apart: where its crowns stand on a ruler."""
    scale = scale or rng.uniform(300, 900)
    last = frets or int(rng.integers(12, 25))
    numbers = np.arange(1, last + 1)
    at = rng.uniform(0, 8) + scale * (1 - 2 ** (-step * numbers / 1200))
    at += rng.normal(0, sigma or rng.uniform(0.15, 0.5), last)
    for _ in range(int(rng.integers(0, 3)) if bad else 0):
        at[rng.integers(0, last)] += rng.choice([-1, 1]) * rng.uniform(0.6, 2)
    return numbers, at


def told(survey):
    return " ".join(map(str, findings(survey, {}, "mm")))


def test_other_divisions_are_named_and_make_no_plan():
    rng = np.random.default_rng(71)
    named = trials = 0
    for _ in range(few(60, 12)):
        true = int(rng.choice([16, 17, 18, 19, 20, 21, 22, 24, 31]))
        trials += 1
        frets = int(rng.integers(max(12, true), max(2 * true, 13) + 1))  # an octave or more
        survey = find_scale([Measured("distance", *crowns(rng, 1200 / true, frets=min(frets, 36)))])
        assert survey.rule == "none", true
        assert survey.lines == ()
        named += f"--divisions {true}" in told(survey)
    assert named / trials >= 0.95 - slack(0.95, trials)


def test_nineteen_read_as_twelve():
    """What release 0.1.0 called a scale of 571.21 mm, known to 0.36."""
    rng = np.random.default_rng(3)
    survey = find_scale([Measured("distance", *crowns(rng, 1200 / 19, scale=648, sigma=0.15, bad=False, frets=24))])
    assert (survey.rule, survey.explained[0]) == ("none", 19)
    again = find_scale(survey.measured, divisions=19)
    assert again.rule == "equal"
    assert again.lines[0].scale == pytest.approx(648, abs=1)


@pytest.mark.parametrize(
    ("unit", "factor", "says"),
    [("mm", 1 / 25.4, "inches? --unit in"), ("mm", 0.1, 'centimetres? write each with its unit, "3.6 cm"'),
     ("in", 1.0, "mm")],
)  # fmt: skip
def test_other_units_are_named_and_make_no_plan(unit, factor, says):
    rng = np.random.default_rng(72)
    named = trials = few(60, 10)
    for _ in range(trials):
        numbers, at = crowns(rng, 100)
        table = "fret,distance\n" + "".join(f"{n},{x * factor:.4f}\n" for n, x in zip(numbers, at, strict=True))
        with pytest.raises(MeasuredError) as refused:
            find_scale(read_measurements(table.encode(), unit))
        named -= says not in str(refused.value)
    assert named / trials >= 0.95 - slack(0.95, trials)


def test_another_direction_is_named_and_makes_no_plan():
    rng = np.random.default_rng(73)
    for _ in range(few(60, 10)):
        numbers, at = crowns(rng, 100)
        table = "fret,distance\n" + "".join(f"{n},{900 - x:.3f}\n" for n, x in zip(numbers, at, strict=True))
        with pytest.raises(MeasuredError, match="the distances fall: measured from the bridge"):
            read_measurements(table.encode(), "mm")
        with pytest.raises(MeasuredError, match="were they measured from the bridge"):
            find_scale([Measured("distance", numbers, 900 - at)])


def test_honest_half_millimetres_are_never_refused():
    rng = np.random.default_rng(74)
    for _ in range(few(500, 60)):
        step = rng.choice([100.0, 1200 * np.log2(18 / 17), 100 * rng.uniform(0.98, 1.02)])
        survey = find_scale([Measured("distance", *crowns(rng, step, sigma=0.5))])
        assert survey.rule != "none"


def test_no_doubt_is_smaller_than_the_misfit():
    """Readings worse than they are said to be widen every standard error: two of them hold what two should."""
    rng, off = np.random.default_rng(75), []
    for _ in range(few(200, 80)):
        numbers, at = crowns(rng, 100, scale=648, sigma=0.5, bad=False, frets=22)
        survey = find_scale([Measured("distance", numbers, at)], 0.15)
        if survey.rule == "equal":  # the scale of another rule is another length
            off.append((survey.lines[0].scale - 648) / survey.lines[0].scale_error)
    assert len(off) > few(200, 80) / 2
    # By a normal distribution 95.4 %; that the scatter is told from 22 crowns costs some of it.
    assert 0.88 < np.mean(np.abs(off) < 2) < 0.99
    assert np.mean(np.abs(off) < 2 * 0.15 / 0.5) < 0.6  # as narrow as they were, they would hold a third


@pytest.mark.parametrize("first", [2, 3, 4])
def test_crowns_off_together_at_the_nut_are_found(first):
    """Against the scale itself: what the first crowns share pulls at the zero and through it at the scale."""
    rng, found, far = np.random.default_rng(76), 0, []
    trials = few(100, 20)
    for _ in range(trials):
        numbers, at = crowns(rng, 100, scale=628, sigma=0.15, bad=False, frets=22)
        at[:first] += 0.8
        survey = find_scale([Measured("distance", numbers, at)])
        line = survey.lines[0]
        found += line.measured.frets[line.look_at].tolist() == list(range(1, first + 1))
        far.append((line.scale - 628) / line.scale_error)
        if survey.together[0]:
            assert f"frets 1 to {survey.together[0]} stand" in told(survey)
    assert found / trials > 0.8 - slack(0.8, trials)
    assert np.median(np.abs(far)) < 1.2  # 0.67 of a normal distribution


def test_what_crowns_alone_do_not_tell_is_said_to_be_possible():
    rng, said = np.random.default_rng(77), []
    for shift in (0.0, 0.35):
        hinted = 0
        trials = few(120, 40)
        for _ in range(trials):
            numbers, at = crowns(rng, 100, scale=628, sigma=0.15, bad=False, frets=22)
            at[:3] += shift
            survey = find_scale([Measured("distance", numbers, at)])
            hinted += "may be off together" in told(survey) or any(survey.together)
        said.append(hinted / trials)
    assert said[0] < 0.15
    assert said[1] > 3 * said[0]
