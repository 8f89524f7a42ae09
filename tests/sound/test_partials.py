"""The fit of one note, part by part: courses written down as they would be heard, partials that keep a law exactly.

Everything is small and without a sound, so that a figure that is off by a hair shows.
"""

import numpy as np
import pytest
from scipy.optimize import brentq, minimize

from slotwright.layout.sound.partials import (
    DOUBT_FACTOR,
    LEAST_PULL,
    OWN_GLIDE,
    USUAL_PULL,
    Courses,
    Partials,
    _at_rest,
    _begin,
    _Course,
    _course,
    _pull,
    _together,
    _usable,
    fit,
    follow,
    glided,
    rest,
)
from slotwright.layout.sound.pitch import Series

CENT = np.log(2) / 1200  # of a frequency, as a part of it
N = np.arange(1, 21)


def stiff(n, f0, b):
    """Fletcher 1964: n f0 sqrt(1 + B n^2)."""
    return n * f0 * np.sqrt(1 + b * n**2)


def cents(one, other):
    return 1200 * np.log2(one / other)


# Courses.


def at(t, amplitude, centre, off, phase=0.3, glide=0.0, far=0.0):
    """Give a partial moved down by its centre [Hz]: its frequency is some cents off that, its glide dies as `far`."""
    return amplitude * np.exp(1j * (phase + 2 * np.pi * centre * CENT * (off * t + glide * far)))


TIMES = 0.05 + np.arange(40) / 32
DYING = np.exp(-1.5 * (TIMES - TIMES[0]))  # what neither dies nor glides cannot be told from what does


def courses(amplitudes, centres, off, *, glide=0.0, noise=1e-10, t=TIMES):
    """Give courses of partials 1, 2, ...; the glide of the first is half as large again."""
    waves = np.array([amplitude * np.ones(len(t)) for amplitude in amplitudes]).astype(complex)
    noise = np.broadcast_to(np.asarray(noise, float), len(waves)).copy()
    energy = (np.abs(waves) ** 2).sum(axis=0) - noise.sum()
    share = energy / energy[0]
    far = np.array([np.trapezoid(share[: k + 1], t[: k + 1]) for k in range(len(t))])
    own = glide * np.where(np.arange(len(waves)) == 0, 1.5, 1.0)
    for place, (centre, cent) in enumerate(zip(centres, off, strict=True)):
        waves[place] = at(t - t[0], np.abs(waves[place]), centre, cent, 0.3 + place, own[place], far)
    return Courses(t, waves, np.asarray(centres, float), noise, 16.0)


def by_hand(made, place, span, far):
    """Fit one course by least squares over rows: cents at rest and glide, with their covariance."""
    t, wave = made.times[:span] - made.times[0], made.waves[place, :span]
    turn = 2 * np.pi * made.centres[place] * CENT
    rows = np.column_stack((np.ones(span), turn * t, turn * far[:span]))
    # A phase of noise: its variance is half the noise over the power; 0.375 of the values are independent.
    heavy = np.sqrt(0.375 * 2 * np.abs(wave) ** 2 / made.noise[place])
    rows = np.vstack((rows * heavy[:, None], [0, 0, 1 / 25]))  # glides of 25 cents at the most are expected
    back = np.linalg.pinv(rows)
    phase = np.unwrap(np.angle(wave))
    return (back @ np.append(heavy * phase, 0.0))[1:], (back @ back.T)[1:, 1:]


def test_partials_that_do_not_glide_are_where_they_turn():
    made = courses([DYING, 0.5 * DYING, 0.1 * DYING], [110.0, 221.0, 330.0], [3.0, -7.0, 0.5])
    found = rest(made, np.array([1, 2, 3]))
    assert found.numbers.tolist() == [1, 2, 3]
    assert found.frequencies == pytest.approx(made.centres * (1 + CENT * np.array([3.0, -7.0, 0.5])), rel=1e-9)
    assert found.levels == pytest.approx([0.0, -6.0206, -20.0], abs=1e-4)
    assert abs(found.glide) < 1e-6


def test_the_glide_is_what_all_partials_have_in_common_and_their_rest_is_without_it():
    centres, off = np.array([110.0, 220.0, 330.0, 441.0]), np.array([3.0, -7.0, 0.5, 2.0])
    made = courses(
        [DYING, 0.5 * DYING, 0.3 * DYING, 0.1 * DYING], centres, off, glide=6.0, noise=[1e-9, 2e-9, 3e-9, 4e-9]
    )
    found = rest(made, N[:4])
    assert found.glide == pytest.approx(6.0, abs=0.01)
    assert cents(found.frequencies, centres * (1 + CENT * off)) == pytest.approx(np.zeros(4), abs=0.01)
    far = glided(made)
    room = (0.25 * 6.0 * np.array([1.5, 1, 1, 1])) ** 2 + (found.glide_error * np.array([1.5, 1, 1, 1])) ** 2 + 0.01
    for place in range(4):
        value, covariance = by_hand(made, place, 40, far)
        assert value[0] == pytest.approx(off[place], abs=0.01)
        # What is known of its glide from the others is one more reading of it.
        known = np.linalg.inv(covariance) + np.diag([0.0, 1 / room[place]])
        assert found.errors[place] == pytest.approx(np.sqrt(np.linalg.inv(known)[0, 0]), rel=1e-3)


def test_a_partial_that_says_little_is_held_near_the_common_glide():
    centres, off = np.array([110.0, 220.0, 330.0]), np.array([1.0, 2.0, 3.0])
    made = courses([DYING, DYING, 0.03 * DYING], centres, off, glide=6.0, noise=[1e-9, 1e-9, 2e-6])
    far = glided(made)
    # The weak one seems to glide by 16 cents: its rest is told with the glide that the others have, or nearly.
    made.waves[2] = at(TIMES - TIMES[0], np.abs(made.waves[2]), 330.0, 3.0, 0.1, 16.0, far)
    found = rest(made, N[:3])
    value, covariance = by_hand(made, 2, 40, far)
    room = (0.25 * found.glide) ** 2 + found.glide_error**2 + 0.01
    known = np.linalg.inv(covariance) + np.diag([0.0, 1 / room])
    expected = np.linalg.solve(known, np.linalg.inv(covariance) @ value + [0.0, found.glide / room])
    assert cents(found.frequencies[2], 330.0) == pytest.approx(expected[0], abs=0.01)
    assert expected[0] - 3.0 > 0.05  # it makes a difference


def test_what_a_partial_says_of_its_rest_is_joined_with_the_glide_of_all():
    """The first glides by half as much again; shares differ by a quarter, the glide of all is doubted, 0.1 besides."""
    each = [_Course(np.array([5.0, 7.0]), np.array([[0.3, -0.8], [-0.8, 9.0]])) for _ in range(3)]
    made = courses([DYING] * 4, [110.0, 220.0, 330.0, 440.0], np.zeros(4))
    for glide, error in ((3.0, 0.6), (0.05, 0.02)):
        frequencies, errors = _at_rest(made, [0, 1, 3], each, np.array([1, 2, 4]), glide, error)
        for place, centre, share in ((0, 110.0, 1.5), (1, 220.0, 1.0), (2, 440.0, 1.0)):
            alone = np.linalg.inv(each[0].covariance)
            room = (0.25 * share * glide) ** 2 + (share * error) ** 2 + 0.1**2
            together = np.linalg.inv(alone + np.diag([0.0, 1 / room]))
            value = together @ (alone @ each[0].value + [0.0, share * glide / room])
            assert frequencies[place] == pytest.approx(centre * (1 + CENT * value[0]), rel=1e-12)
            assert errors[place] == pytest.approx(np.sqrt(together[0, 0]), rel=1e-9)


def test_what_drowns_in_noise_is_left_out():
    loud = np.r_[np.ones(30), np.full(10, 1e-6)]
    short = np.r_[np.ones(4), np.full(36, 1e-6)]
    off = [1.0, 2.0, 3.0]
    found = rest(courses([loud, short, np.ones(40)], [100.0, 200.0, 300.0], off, noise=1e-8), np.array([2, 5, 7]))
    assert found.numbers.tolist() == [2, 7]
    assert found.frequencies == pytest.approx([100 * (1 + CENT), 300 * (1 + 3 * CENT)], rel=1e-9)
    assert rest(courses([short], [100.0], [0.0], noise=1e-8), np.array([1])) is None


@pytest.mark.parametrize(
    ("power", "values"),
    [
        ([100.0] * 10 + [1.0] * 10, 11),  # the mean of three falls below eight times the noise
        ([100.0] * 10, 10),
        ([8.001] * 10, 10),
        ([7.999] * 10, 0),
        ([9.0] * 9 + [6.5], 9),  # the last counts twice
        ([7.0, 11.0] + [9.0] * 8, 10),
    ],
)
def test_a_course_is_used_until_it_drowns(power, values):
    assert _usable(np.sqrt(np.array(power)).astype(complex), 1.0) == values


def test_a_course_is_used_from_six_values_on():
    for many, able in ((5, False), (6, True)):
        found = rest(courses([np.ones(many)], [100.0], [1.0], t=TIMES[:many]), np.array([1]))
        assert (found is not None) == able


def test_the_glide_goes_with_the_energy_that_is_left():
    t = TIMES - TIMES[0]
    amplitudes = np.array([np.exp(-1.0 * t), 0.5 * np.exp(-4.0 * t)])
    made = courses(amplitudes, [100.0, 200.0], [0.0, 0.0], noise=1e-12)
    share = (amplitudes**2).sum(axis=0) / 1.25
    exact = ((1 - np.exp(-2 * t)) / 2 + 0.25 * (1 - np.exp(-8 * t)) / 8) / 1.25
    assert glided(made) == pytest.approx([np.trapezoid(share[: k + 1], t[: k + 1]) for k in range(40)], abs=1e-9)
    assert glided(made) == pytest.approx(exact, abs=1e-3)
    # Noise is no energy of the note: what is left of 1.0 is 0.2, then as good as nothing, and nothing comes back.
    waves = np.sqrt(np.array([[1.3, 0.5, 0.3, 0.1, 1.3]])).astype(complex)
    few = Courses(np.array([0.0, 1.0, 2.0, 3.0, 5.0]), waves, np.array([9.0]), np.array([0.3]), 16.0)
    assert glided(few) == pytest.approx([0.0, 0.6, 0.700065, 0.700195, 0.700455], rel=1e-9)  # 1.3e-4 is nothing


def test_a_course_doubts_itself_by_what_its_phase_scatters():
    """White scatter as it is; a slow one more; a phase that is smoother than noise would be no less."""
    made = courses([DYING], [110.0], [4.0], noise=1e-4)
    far = glided(made)
    t = TIMES - TIMES[0]
    (value, covariance) = by_hand(made, 0, 40, far)
    smooth = _course(made, 0, 40, far)
    assert smooth.value == pytest.approx(value, abs=1e-6)
    assert value == pytest.approx([4.0, 0.0], abs=1e-6)
    assert smooth.covariance == pytest.approx(covariance, rel=1e-6)
    for scatter in (0.15 * np.random.default_rng(2).standard_normal(40), 0.15 * np.cos(2 * np.pi * t / t[-1])):
        rough = Courses(TIMES, made.waves * np.exp(1j * scatter), made.centres, made.noise, 16.0)
        found = _course(rough, 0, 40, far)
        value, covariance = by_hand(rough, 0, 40, far)
        assert found.value == pytest.approx(value, rel=1e-6, abs=1e-6)
        heavy = 2 * np.abs(rough.waves[0]) ** 2 / 1e-4
        rows, phase = np.column_stack((np.ones(40), t, far)), np.unwrap(np.angle(rough.waves[0]))
        root = np.sqrt(heavy)
        left = phase - rows @ np.linalg.lstsq(rows * root[:, None], phase * root, rcond=None)[0]
        square = (heavy * left**2).sum() / 37  # against values that are as good as independent
        near = max((heavy[1:] * left[1:] * left[:-1]).sum() / (heavy * left**2).sum(), 0.0)
        slow = max(1.0, (1 + near) / (1 - near) / 5)
        assert square > 5
        assert found.covariance == pytest.approx(covariance * square * slow, rel=0.02)
    assert slow > 1.5  # of the second, that wanders


def test_a_course_may_turn_more_than_half_round_between_its_values():
    made = courses([DYING], [300.0], [0.0])
    t = TIMES - TIMES[0]
    for hertz in (13.0, -13.0):
        turning = Courses(TIMES, made.waves * np.exp(2j * np.pi * hertz * t), made.centres, made.noise, 16.0)
        assert rest(turning, np.array([1])).frequencies == pytest.approx([300.0 + hertz], rel=1e-9)


def alike(glide, variance, many):
    return [_Course(np.array([0.0, glide]), np.diag([1.0, variance])) for _ in range(many)]


def test_the_common_glide_and_its_error():
    many = np.arange(2, 8)
    glide, error = _together(alike(3.0, 1e-4, 6), many)
    assert glide == pytest.approx(3.0, abs=0.01)
    # Shares differ by a quarter, and a tenth of a cent is doubted of each.
    assert error == pytest.approx((6 / (1e-4 + 0.75**2 + 0.01)) ** -0.5, rel=1e-3)
    # The first glides half as much again.
    first = [*alike(4.5, 1e-4, 1), *alike(3.0, 1e-4, 5)]
    assert _together(first, np.arange(1, 7))[0] == pytest.approx(glide, abs=1e-6)
    alone = _together(alike(4.5, 0.9, 1), np.array([OWN_GLIDE > 1]))
    known = 1 / (0.4 + (0.25 * alone[0]) ** 2 + 0.01)
    assert alone[1] == pytest.approx((known / (1 + (3 - alone[0]) ** 2 * known / 9) + 1 / 625) ** -0.5, rel=1e-3)
    # What strays has less to say, and what says nothing leaves what is expected.
    stray = _together([*alike(3.0, 1e-4, 6), *alike(12.0, 1e-4, 1)], np.arange(2, 9))[0]
    assert 3.0 < stray < 3.25
    below = _together([*alike(3.0, 1e-4, 6), *alike(-6.0, 1e-4, 1)], np.arange(2, 9))[0]
    assert 2.75 < below < 3.0
    nothing = _together(alike(3.0, 1e8, 3), many[:3])
    assert nothing == (pytest.approx(0.0, abs=1e-4), pytest.approx(25.0, rel=1e-4))
    # The surer of two counts: weights go with the variance.
    two = _together([*alike(2.0, 1.0, 1), *alike(3.0, 4.0, 1)], many[:2])[0]
    spread = (0.25 * two) ** 2 + 0.01
    weights = [1 / (v + spread) / (1 + (own - two) ** 2 / (v + spread) / 9) for own, v in ((2.0, 1.0), (3.0, 4.0))]
    assert two == pytest.approx((2 * weights[0] + 3 * weights[1]) / (sum(weights) + 1 / 625), rel=1e-3)


# From a sound to its courses.


def test_every_partial_is_moved_down_with_its_amplitude_and_phase():
    rate, t = 8000.0, np.arange(16_000) / 8000.0
    exact, size, phase = np.array([200.3, 401.7, 650.2]), np.array([0.5, 0.2, 0.01]), np.array([0.4, -1.0, 2.0])
    sound = size @ np.cos(2 * np.pi * exact[:, None] * t + phase[:, None])
    found = follow(sound, rate, Series(200.0, 0.0, N[:3], exact + 0.4, np.full(3, 1e-9)))
    assert found.centres == pytest.approx([200.5, 402.0, 650.5])  # of 2 s: halves of a hertz
    assert found.half_band == 16.0
    # 65 values in 2 s, without those that the filter spoils: 0.75 of 1/16 s at both ends.
    assert found.times == pytest.approx([k * 2 / 65 for k in range(65) if 0.75 / 16 < k * 2 / 65 < 2 - 0.75 / 16])
    turned = 2 * np.pi * (exact - found.centres)[:, None] * found.times + phase[:, None]
    middle = slice(8, -8)
    made = (size[:, None] * np.exp(1j * turned))[:, middle]
    assert np.abs(found.waves[:, middle] - made).max(axis=1) == pytest.approx(np.zeros(3), abs=5e-4)
    low = follow(sound, rate, Series(30.0, 0.0, N[:1], exact[:1], np.ones(1)))
    assert low.half_band == pytest.approx(12.6)
    assert low.times[0] > 0.75 / 12.6


def test_the_noise_of_a_course_is_what_white_noise_leaves_in_it():
    rng, rate = np.random.default_rng(5), 4000.0
    where = np.linspace(100.0, 1900.0, 50)
    found = follow(
        0.3 * rng.standard_normal(16_000), rate, Series(100.0, 0.0, np.arange(50), where, np.full(50, 0.3**2))
    )
    assert found.noise == pytest.approx(np.full(50, found.noise[0]))
    assert np.mean(np.abs(found.waves) ** 2) == pytest.approx(found.noise[0], rel=0.05)


def test_a_sound_too_short_to_be_followed_is_left():
    def made(count, pitch=200.0, rate=8000.0, where=200.0):
        return follow(np.cos(np.arange(count)), rate, Series(pitch, 0.0, N[:1], np.array([where]), np.ones(1)))

    assert made(1748) is None  # 3.5 half bands; 4 of them leave nine values, six of them unspoilt
    assert made(1760) is None or len(made(1760).times) >= 6
    lengths = [count for count in range(1500, 4000, 10) if made(count) is not None]
    shortest = made(lengths[0])
    assert lengths == list(range(lengths[0], 4000, 10))
    assert len(shortest.times) == 6
    # A partial near 0 Hz or near half the rate is followed from where its band still fits.
    assert made(16_000, where=3.0).centres == pytest.approx([16.0])
    assert made(16_000, where=3999.0).centres == pytest.approx([(8000 - 32) / 2])


# The law.


def partials(frequencies, *, numbers=N, errors=0.1, glide=0.0):
    numbers = numbers[: len(frequencies)]
    return Partials(numbers, np.asarray(frequencies), np.full(len(numbers), errors) * 1.0, glide, 0.1, 0.0 * numbers)


def covariance(found, made, usual, unknowns=2):
    """Give the covariance of pitch [cents] and B of a fit, by differences; with what of B is usual."""

    def series(cent, b):
        n = made.numbers
        return 1200 * np.log2(n * np.sqrt((1 + b * n**2) / (1 + b))) + cent

    b, step = found.stiffness, 1e-7
    rows = np.column_stack((np.ones(len(made.numbers)), (series(0, b + step) - series(0, b - step)) / (2 * step)))
    variance = made.errors**2 + (found.pull * (1 + 1 / made.numbers)) ** 2
    known = rows.T @ (rows * (found.weights / variance)[:, None]) + np.diag([0, usual**-2])
    few = max(len(made.numbers) - unknowns, 0.5)
    widened = DOUBT_FACTOR * np.sqrt(1 + 1.5 / few) * (1 + 0.3 * min(found.pull, 1.0))
    return np.sqrt(np.diag(np.linalg.inv(known))) * widened


def holds(found, made, expected=None):
    """Assert what makes a fit: the most likely law by its weights, weights and scatter by what is left."""
    n, prior, usual = made.numbers.astype(float), *(expected or (found.stiffness, 2e-3))
    variance = made.errors**2 + (found.pull * (1 + 1 / n)) ** 2

    def left(pitch, b):
        return cents(made.frequencies, n * pitch * np.sqrt((1 + b * n**2) / (1 + b)))

    off = left(found.pitch, found.stiffness)
    # Twelve steps are enough for a thousandth of a cent.
    assert found.off == pytest.approx(off, abs=1e-3)
    assert found.weights == pytest.approx(1 / (1 + off**2 / variance / 9) ** 2, abs=2e-3)

    def unlikely(x):
        pitch, b = found.pitch * (1 + CENT * x[0]), found.stiffness * (1 + x[1])
        return (found.weights * left(pitch, b) ** 2 / variance).sum() + ((b - prior) / usual) ** 2

    best = minimize(unlikely, [0.0, 0.0], method="Nelder-Mead", options={"xatol": 1e-7, "fatol": 1e-13})
    assert best.x == pytest.approx([0.0, 0.0], abs=5e-3)
    unknowns = 2 if expected is None else 1
    assert (found.doubt, found.stiffness_error) == pytest.approx(covariance(found, made, usual, unknowns), rel=5e-3)
    scatter = (found.weights * off**2 / variance).sum() + (USUAL_PULL / found.pull) ** 2
    if found.pull > LEAST_PULL:
        assert scatter == pytest.approx(max(found.weights.sum() - unknowns, 0.5) + 1, rel=5e-3)


@pytest.mark.parametrize("many", [3, 5, 20])
def test_partials_that_keep_the_law_give_it_back(many):
    made = partials(stiff(N[:many], 110.0, 1.2e-4))
    found = fit(made)
    assert cents(found.pitch, stiff(1, 110.0, 1.2e-4)) == pytest.approx(0.0, abs=1e-5)
    assert found.stiffness == pytest.approx(1.2e-4, rel=1e-4)
    assert found.off == pytest.approx(np.zeros(many), abs=1e-5)
    assert found.weights == pytest.approx(np.ones(many), abs=1e-6)
    near = fit(made, (1.2e-4, 1e-5))
    assert cents(near.pitch, found.pitch) == pytest.approx(0.0, abs=1e-5)
    assert (near.doubt < found.doubt, near.stiffness_error < found.stiffness_error) == (True, True)


def scattered(size, many=20, seed=4):
    rng = np.random.default_rng(seed)
    n = N[:many]
    return partials(stiff(n, 196.0, 8e-5) * np.exp(CENT * size * (1 + 1 / n) * rng.standard_normal(many)))


@pytest.mark.parametrize(("size", "many"), [(0.02, 20), (0.5, 2), (0.5, 3), (0.5, 12), (1.5, 20), (1.5, 6)])
def test_partials_that_are_pulled_are_weighed_by_their_scatter(size, many):
    made = scattered(size, many)
    holds(fit(made), made)
    # What is known of B from elsewhere is one more reading of it.
    holds(fit(made, (1e-4, 2e-5)), made, (1e-4, 2e-5))
    if many > 3:  # fewer do not tell their own scatter
        assert fit(made).pull == pytest.approx(max(size, LEAST_PULL), rel=0.6)


def test_one_that_strays_has_hardly_a_say():
    exact = stiff(N, 110.0, 1.2e-4)
    exact[6] *= 2 ** (40 / 1200)
    found = fit(partials(exact))
    assert found.weights[6] < 0.01
    assert np.delete(found.weights, 6).min() > 0.9
    assert cents(found.pitch, stiff(1, 110.0, 1.2e-4)) == pytest.approx(0.0, abs=0.05)
    assert found.off[6] == pytest.approx(40, abs=0.2)


def test_a_large_glide_is_doubted_by_a_tenth_of_what_is_beyond_four_cents():
    exact = stiff(N, 110.0, 1.2e-4)
    still = fit(partials(exact))
    assert fit(partials(exact, glide=4.0)).doubt == still.doubt
    assert fit(partials(exact, glide=4.5)).doubt == pytest.approx(np.hypot(still.doubt, 0.05), rel=1e-9)
    assert fit(partials(exact, glide=9.0)).doubt == pytest.approx(np.hypot(still.doubt, 0.5))
    assert fit(partials(exact, glide=9.0)).stiffness_error == still.stiffness_error


def test_stiffness_stays_between_none_and_what_strings_have():
    soft = fit(partials(N * 110.0 * np.sqrt(1 - 1e-4 * N**2)))
    assert soft.stiffness == 0.0
    hard = fit(partials(stiff(N[:8], 110.0, 2e-2)))
    assert hard.stiffness == 6e-3


def test_few_partials_begin_with_what_is_usual():
    one = fit(partials([200.5], numbers=np.array([2])))
    assert one.stiffness == pytest.approx(1e-5, rel=1e-3)
    assert one.pitch == pytest.approx(200.5 / 2 / np.sqrt((1 + 4e-5) / (1 + 1e-5)), rel=1e-8)
    assert _begin(partials([100.5, 202.0])) == (pytest.approx(100.5), 1e-5)
    # Harmonics that come out flat have no stiffness to begin with.
    assert _begin(partials(N * 110.0 * np.sqrt(1 - 1e-4 * N**2))) == (pytest.approx(110.0, rel=1e-4), 1e-6)
    assert _begin(partials([100.0, 300.0, 900.0, 2700.0]))[1] == 1e-6
    assert _begin(partials(stiff(N[:3], 110.0, 1e-3))) == pytest.approx((stiff(1, 110.0, 1e-3), 1e-3), rel=1e-9)
    # The surer ones count for more: a straight line, weighed by 1 / (1 + error).
    made = partials(stiff(N[:5], 110.0, 1e-4) * [1, 1, 1, 1, 1.002])
    made = Partials(made.numbers, made.frequencies, np.array([0.1, 0.2, 0.1, 0.1, 9.0]), 0.0, 0.1, made.levels)
    heavy = 1 / (1 + made.errors)
    rows = np.column_stack((np.ones(5), N[:5] ** 2)) * heavy[:, None]
    first, slope = np.linalg.lstsq(rows, heavy * (made.frequencies / N[:5]) ** 2, rcond=None)[0]
    assert _begin(made) == pytest.approx((np.sqrt(first + slope), slope / first), rel=1e-9)


def test_the_scatter_beyond_the_courses():
    rng = np.random.default_rng(8)
    n, errors = N[:12].astype(float), np.linspace(0.1, 0.6, 12)
    loose = np.linspace(0.3, 1.0, 12)
    off = 1.3 * rng.standard_normal(12)
    for unknowns, one in ((2, loose), (1, loose), (2, np.full(12, 0.05))):
        free = max(one.sum() - unknowns, 0.5) + 1

        def scatter(pull, one=one, free=free):
            return (one * off**2 / (errors**2 + (pull * (1 + 1 / n)) ** 2)).sum() + (USUAL_PULL / pull) ** 2 - free

        assert _pull(off, errors, n, one, unknowns) == pytest.approx(brentq(scatter, 0.05, 30), rel=1e-9)
    assert _pull(0 * off, errors, n, loose, 2) == pytest.approx(USUAL_PULL / np.sqrt(loose.sum() - 1), rel=1e-9)
    assert _pull(0 * off, errors, n, loose, -10) == LEAST_PULL
    assert _pull(1e4 * off, errors, n, loose, 2) == pytest.approx(30.0)
