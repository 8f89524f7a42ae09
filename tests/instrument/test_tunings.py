"""Contacts for several tunings, against scipy over models strung for each tuning by itself."""

from dataclasses import replace

import numpy as np
import pytest
from helpers import contents, some, starter
from scipy.optimize import minimize, minimize_scalar, root

from slotwright.layout.drawing.catalogue import draw_sheet
from slotwright.layout.errors import PlanError
from slotwright.layout.instrument.instrument import lay_out
from slotwright.layout.instrument.tunings import in_all_tunings, losses
from slotwright.layout.instrument.what_if import what_if
from slotwright.layout.physics.pitch import errors, parts
from slotwright.layout.plan.plan import Plan
from slotwright.layout.plan.reader import parse_plan
from slotwright.templates import starters

NEAR = 1e-6  # mm
OPEN = "D2 A2 D3 G3 A3 D4"
LOW = "D2 G2 C3 F3 A3 D4"
SIX = [
    {"pitch": p, "gauge": g} | ({"kind": "plain steel"} if i < 3 else {"kind": "wound steel", "core": 0.38})
    for i, (p, g) in enumerate(
        zip(("E4", "B3", "G3", "D3", "A2", "E2"), (0.254, 0.33, 0.432, 0.66, 0.914, 1.168), strict=True)
    )
]


def planned(tunings, **rule):
    return Plan.model_validate(contents(strings=SIX, tunings=tunings, compensation=rule))


def alone(pitches, **rule):
    """String the same instrument at other pitches: for steel nothing but tension changes."""
    strings = [{**string, "pitch": pitch} for string, pitch in zip(SIX, reversed(pitches.split()), strict=True)]
    return lay_out(Plan.model_validate(contents(strings=strings, compensation=rule))).strung


def frettings(*tunings, **rule):
    return [alone(pitches, **rule).fretting for pitches in ("E2 A2 D3 G3 B3 E4", *tunings)]


def string_of(fretting, i):
    names = ("scale", "frets", "crowns", "nut_height", "action_at", "action_height", "press", "press_depth",
             "free_length", "tension", "axial", "bending")  # fmt: skip
    return replace(fretting, **{name: getattr(fretting, name)[i : i + 1] for name in names})


AIM = [{"strings": [1, 2, 3, 4, 5, 6], "frets": [3, 5, 7, 12, 15], "weights": [1, 1, 2, 3, 1]}]


def test_rms_with_the_saddle_against_scipy():
    found = lay_out(planned([OPEN, LOW], aim=AIM)).strung
    each = frettings(OPEN, LOW, aim=AIM)
    for i in range(6):
        strings, weights, still = [string_of(f, i) for f in each], found.weights[i], np.zeros(1)

        def gradient(x, strings=strings, weights=weights, still=still):
            total = 0.0
            for string in strings:
                off, slopes = errors(string, x, still)
                total += (weights * off[0] * slopes[0, :, 0]).sum()
            return [total]

        assert root(gradient, [1.0], tol=1e-13).x[0] == pytest.approx(found.offsets.saddle[i], abs=NEAR)

        def cost(x, strings=strings, weights=weights, still=still):
            return sum(float((weights * parts(s, np.array([x]), still).total[0] ** 2).sum()) for s in strings)

        # The same without the model's slopes, as near as a least square can be told.
        assert minimize_scalar(cost, bounds=(-5, 15), method="bounded", options={"xatol": 1e-10}).x == pytest.approx(
            found.offsets.saddle[i], abs=1e-5
        )


def test_rms_with_a_nut_for_each_string_against_scipy():
    found = lay_out(planned([OPEN, LOW], aim=AIM, nut="per string")).strung
    each = frettings(OPEN, LOW, aim=AIM)
    assert not found.offsets.nut_held.any()
    for i in range(6):
        strings, weights = [string_of(f, i) for f in each], found.weights[i]

        def gradient(x, strings=strings, weights=weights):
            total = np.zeros(2)
            for string in strings:
                off, slopes = errors(string, x[:1], x[1:])
                total += (weights[:, None] * off[0][:, None] * slopes[0]).sum(axis=0)
            return total

        ours = [found.offsets.saddle[i], found.offsets.nut[i]]
        assert root(gradient, [1.0, 0.0], tol=1e-13).x == pytest.approx(ours, abs=NEAR)


def test_rms_with_one_nut_for_all_against_scipy():
    found = lay_out(planned([OPEN, LOW], aim=AIM, nut="common")).strung
    each = frettings(OPEN, LOW, aim=AIM)
    assert not found.offsets.nut_held.any()
    assert np.ptp(found.offsets.nut) == 0

    def gradient(x):
        total = np.zeros((6, 2))
        for fretting in each:
            off, slopes = errors(fretting, x[:6], np.full(6, x[6]))
            total += (found.weights[..., None] * off[..., None] * slopes).sum(axis=1)
        return [*total[:, 0], total[:, 1].sum()]

    ours = [*found.offsets.saddle, found.offsets.nut[0]]
    assert root(gradient, [1.0] * 6 + [0.0], tol=1e-13).x == pytest.approx(ours, abs=NEAR)


def test_worst_with_the_saddle_against_scipy():
    found = lay_out(planned([OPEN, LOW], minimise="worst")).strung
    each = frettings(OPEN, LOW)
    for i in range(6):
        strings, aimed = [string_of(f, i) for f in each], found.weights[i] > 0

        def largest(x, strings=strings, aimed=aimed):
            return max(np.abs(parts(s, np.array([x]), np.zeros(1)).total[0][aimed]).max() for s in strings)

        best = minimize_scalar(largest, bounds=(-5, 15), method="bounded", options={"xatol": 1e-10})
        assert best.x == pytest.approx(found.offsets.saddle[i], abs=NEAR)


@pytest.mark.parametrize("nut", some(["per string", "common"]))
def test_worst_with_the_nut_against_scipy(nut):
    found = lay_out(planned([OPEN, LOW], minimise="worst", nut=nut)).strung
    each = frettings(OPEN, LOW)
    assert not found.offsets.nut_held.any()
    groups = [[i] for i in some(range(6), 2)] if nut == "per string" else [list(range(6))]
    for group in groups:
        strings = [[string_of(f, i) for f in each] for i in group]
        aimed, many = found.weights[0] > 0, len(group)

        def rows(x, strings=strings, aimed=aimed, many=many):
            off, slopes = [], []
            for place, tuned in enumerate(strings):
                for string in tuned:
                    e, j = errors(string, x[place : place + 1], x[many : many + 1])
                    wide = np.zeros((aimed.sum(), many + 2))
                    wide[:, place], wide[:, many] = j[0, aimed, 0], j[0, aimed, 1]
                    off.append(e[0, aimed])
                    slopes.append(wide)
            return np.concatenate(off), np.concatenate(slopes)

        lift = np.zeros(many + 2)
        lift[-1] = 1.0
        above = [
            {"type": "ineq", "fun": lambda x, s=sign, r=rows: x[-1] - s * r(x)[0], "jac": lambda x, s=sign, r=rows, up=lift: up - s * r(x)[1]}
            for sign in (1, -1)
        ]  # fmt: skip
        ours = np.array([*found.offsets.saddle[group], found.offsets.nut[group[0]]])
        largest = np.abs(rows(np.append(ours, 0))[0]).max()
        tries = [
            minimize(lambda x: x[-1], [*(ours + step), 5.0], jac=lambda _, up=lift: up, constraints=above, method="SLSQP",
                     options={"ftol": 1e-15, "maxiter": 500}).x
            for step in some((0.3, -0.2, 0.05, -0.01, 0.002), 2)
        ]  # fmt: skip
        best = min(tries, key=lambda x: np.abs(rows(x)[0]).max())
        assert np.abs(rows(best)[0]).max() == pytest.approx(largest, abs=1e-7)
        if nut == "per string":  # with one nut for all, only the strings that set the bound are settled by it
            assert best[:-1] == pytest.approx(ours, abs=NEAR)
        else:
            assert best[many] == pytest.approx(ours[many], abs=NEAR)


def test_the_first_pitch_is_that_of_the_lowest_string():
    plan = planned([OPEN])
    assert plan.tunings == (("D4", "A3", "G3", "D3", "A2", "D2"),)
    assert planned(["D2,A2, D3,G3 ,A3,D4"]).tunings == plan.tunings
    own = lay_out(plan).strung.fretting
    both = in_all_tunings(plan, own).tension
    assert both[0] == pytest.approx(own.tension)
    assert both[1] == pytest.approx(alone(OPEN).fretting.tension)
    # Strings 3, 4 and 5 keep their pitch; a tone less is a tension less by the square of its ratio.
    assert both[1] / both[0] == pytest.approx([2 ** (-1 / 3), 2 ** (-1 / 3), 1, 1, 1, 2 ** (-1 / 3)])


def test_a_frequency_is_a_pitch_of_its_own():
    strings = [{"gauge": 0.254, "kind": "plain steel", "frequency": 330.0}, *SIX[1:]]
    plan = Plan.model_validate(contents(strings=strings, tunings=[OPEN]))
    found = lay_out(plan).strung
    assert in_all_tunings(plan, found.fretting).tension[1, 0] == pytest.approx(alone(OPEN).fretting.tension[0])
    assert losses(plan, found.fretting, found.weights, found.offsets)[0].tuning == "E2 A2 D3 G3 B3 330 Hz"


def test_a_retuned_nylon_string_keeps_its_stiffness():
    made = starter("nylon-six")
    tuned = made.model_copy(update={"tunings": ["D2 A2 D3 G3 A3 D4"]})
    own = lay_out(made).strung
    both = in_all_tunings(tuned, own.fretting)
    assert (both.axial == own.fretting.axial).all()
    # A string a tone lower stretches as far for the same pull, so its constant is larger by what its tension lost.
    assert (both.axial / both.tension)[1, 0] == pytest.approx(own.bodies[0].constant * 2 ** (1 / 3))
    # Estimated anew at D4 it would bend more easily, for it is under less tension.
    kept = {"string_constant": own.bodies[0].constant * 2 ** (1 / 3), "bending": own.bodies[0].bending}
    first = made.strings[0].model_copy(update={"pitch": "D4", **kept})
    lower = lay_out(made.model_copy(update={"strings": [first, *made.strings[1:]]})).strung
    loss = losses(tuned, own.fretting, own.weights, own.offsets)[1]
    # With a nut for each string every string stands by itself.
    assert made.compensation.nut == "per string"
    assert loss.own_best_rms[0] == pytest.approx(lower.rms[0], abs=1e-9)


def test_what_each_tuning_loses():
    plan = planned([OPEN])
    found = lay_out(plan).strung
    own, opened = losses(plan, found.fretting, found.weights, found.offsets)
    assert (own.tuning, opened.tuning) == ("E2 A2 D3 G3 B3 E4", OPEN)
    assert own.rms == pytest.approx(found.rms)
    assert own.worst == pytest.approx(np.abs(found.worst_cents))
    for loss, strung in ((own, alone("E2 A2 D3 G3 B3 E4")), (opened, alone(OPEN))):
        assert loss.own_best_rms == pytest.approx(strung.rms, abs=1e-9)
        assert (loss.own_best_rms <= loss.rms + 1e-9).all()
        assert (loss.own_best_worst <= loss.worst + 1e-9).all()
        # Whoever keeps the pitch in both loses nothing.
        assert loss.rms[2:5] == pytest.approx(loss.own_best_rms[2:5], abs=1e-9)
        assert (loss.rms[[0, 1, 5]] > loss.own_best_rms[[0, 1, 5]] + 0.01).all()
    least = planned([OPEN], minimise="worst")
    least_strung = lay_out(least).strung
    for loss, pitches in zip(
        losses(least, least_strung.fretting, least_strung.weights, least_strung.offsets),
        ("E2 A2 D3 G3 B3 E4", OPEN),
        strict=True,
    ):
        assert loss.own_best_worst == pytest.approx(np.abs(alone(pitches, minimise="worst").worst_cents), abs=1e-7)


@pytest.mark.parametrize("minimise", ["rms", "worst"])
@pytest.mark.parametrize("nut", ["none", "per string", "common"])
def test_a_tuning_that_changes_nothing_changes_nothing(minimise, nut):
    plain = lay_out(planned([], minimise=minimise, nut=nut)).strung
    same = lay_out(planned(["E2 A2 D3 G3 B3 E4"], minimise=minimise, nut=nut)).strung
    assert same.offsets.saddle == pytest.approx(plain.offsets.saddle, abs=1e-7)
    assert same.offsets.nut == pytest.approx(plain.offsets.nut, abs=1e-7)


def test_an_aim_at_one_fret_leaves_the_nut():
    aim = [{"strings": [1, 2, 3, 4, 5, 6], "frets": [12]}]
    for minimise in ("rms", "worst"):
        for nut in ("per string", "common"):
            found = lay_out(planned([OPEN], aim=aim, minimise=minimise, nut=nut)).strung
            assert (found.offsets.nut == 0).all()


def test_drawings_and_what_ifs_take_the_compromise():
    plan = planned([OPEN])
    instrument = lay_out(plan)
    neck, found = instrument.neck, instrument.strung
    plain = lay_out(planned([])).strung
    assert found.offsets.saddle[5] > plain.offsets.saddle[5] + 0.1
    far = neck.scales[5] - neck.from_nut[12, 5] + found.offsets.saddle[5]
    (contacts,) = [text for text in draw_sheet(instrument, "board").texts if text.heading.startswith("Contacts")]
    assert contacts.rows[6][:2] == ("6", f"{far:.2f}")
    action, _, _ = what_if(plan, neck, found, 6)
    higher = lay_out(Plan.model_validate(contents(strings=SIX, tunings=[OPEN], setup={"action": [2.0, 2.4]}))).strung
    assert action.saddle == pytest.approx(higher.offsets.saddle[5])


@pytest.mark.parametrize(
    ("tunings", "says"),
    [
        (["D2 A2 D3"], r"tunings\[1\]: 3 pitches for 6 strings"),
        (["D2 A2 D3 G3 A3 D4", "D2 A2 D3 G3 A3 H4"], r'tunings\[2\]: given "H4"'),
        ("D2 A2 D3 G3 A3 D4", "tunings: given .*lowest string first"),
        ([["D2", "A2"]], "tunings: given .*lowest string first"),
        (["D2 A2 D3 G3 A3 D4"] * 13, "up to 12"),
        ([""], "0 pitches for 6 strings"),
        (["E4 B3 G3 D3 A2 E2"], r"tunings\[1\]: string 6: .*; a tuning is written lowest string first"),
        (["E2 A2 D3 G3 B3 C5"], r"tunings\[1\]: string 1: at this pitch .*lower its pitch"),
    ],
)
def test_refused(tunings, says):
    with pytest.raises(PlanError, match=says):
        lay_out(planned(tunings))


def test_loaded_and_slack_in_one_tuning_alone():
    warnings = lay_out(planned(["E1 A2 D3 G3 B3 G#4"])).warnings
    assert any(str(w).startswith("string 1 in tuning 1 bears") for w in warnings)
    slack = lay_out(planned(["A0 A2 D3 G3 B3 E4"])).warnings
    assert any(str(w).startswith("string 6 in tuning 1 has") for w in slack)
    assert not any("in tuning" in str(w) for w in lay_out(planned([])).warnings)


def test_given_tunings_stand_in_for_those_of_the_file():
    text = (
        starters()["electric-six"].replace('units = "mm"', 'units = "mm"\ntunings = ["D2 A2 D3 G3 A3 D4"]').encode()
    )
    assert parse_plan(text).tunings == (("D4", "A3", "G3", "D3", "A2", "D2"),)
    assert parse_plan(text, ["D2 G2 D3 G3 B3 D4"]).tunings == (("D4", "B3", "G3", "D3", "G2", "D2"),)
