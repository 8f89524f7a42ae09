"""Aims from chords, and what chords sound like: against weights by hand, brute search and a second model."""

from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest
from forward import AT_SADDLE, SPREAD, STRINGS, World, flat_plan, frequency
from helpers import MINIMAL
from scipy.optimize import minimize_scalar

from slotwright.layout.errors import PlanError
from slotwright.layout.instrument.chords import sounded
from slotwright.layout.instrument.instrument import lay_out
from slotwright.layout.instrument.stringing import aim_weights
from slotwright.layout.plan.chords import fingering
from slotwright.layout.plan.plan import Plan

THREE = ["x32010", "320003", "x 10 12 12 12 10"]
BY_HAND = {  # string: fret to weight
    1: {3: 1 / 2, 10: 1 / 2},
    2: {1: 1 / 2, 12: 1 / 2},
    3: {12: 1},
    4: {2: 1 / 2, 12: 1 / 2},
    5: {3: 1 / 3, 2: 1 / 3, 10: 1 / 3},
    6: {3: 1},
}
UKULELE = (  # re-entrant; invented, as STRINGS of the six
    ("A4", 0.000380, 1900.0, 10.0, 0.52),
    ("E4", 0.000610, 2000.0, 20.0, 0.66),
    ("C4", 0.000920, 2100.0, 40.0, 0.81),
    ("G4", 0.000450, 1950.0, 14.0, 0.57),
)
MANDOLIN = tuple(  # four courses in unison, an octave below a mandolin
    each for each in (("E4", 0.000300, 8000.0, 20.0, 0.25), ("A3", 0.000600, 15000.0, 90.0, 0.36),
                      ("D3", 0.0014, 15000.0, 80.0, 0.6), ("G2", 0.0030, 19000.0, 130.0, 0.9)) for _ in range(2)
)  # fmt: skip
OCTAVES = (  # four courses, the thinner string of each on the bass side
    ("G3", 0.00114, 29254.0, 340.0, 0.430), ("G4", 0.000325, 8350.0, 27.0, 0.229),
    ("D3", 0.00184, 19000.0, 135.0, 0.660), ("D4", 0.000574, 14600.0, 85.0, 0.305),
    ("A2", 0.00343, 24000.0, 210.0, 0.914), ("A3", 0.00103, 26400.0, 273.0, 0.406),
    ("E2", 0.00567, 29500.0, 330.0, 1.168), ("E3", 0.00240, 22000.0, 180.0, 0.660),
)  # fmt: skip
APART = (2.0, 3.0)  # mm inside a course, at nut and saddle


def plan_of(strings=6, *aims, **more):
    return Plan.model_validate({**MINIMAL, "strings": strings, "compensation": {"aim": list(aims)}, **more})


def weights(plan):
    return [{int(n) + 1: row[n] for n in np.flatnonzero(row)} for row in aim_weights(plan)]


def test_weights_of_three_chords_by_hand():
    found = weights(plan_of(6, {"chords": THREE}))
    assert dict(enumerate(found, start=1)) == {string: pytest.approx(each) for string, each in BY_HAND.items()}


def test_a_string_that_is_never_fretted_keeps_the_usual_aim():
    usual = {fret: pytest.approx(1 / 12) for fret in range(1, 13)}
    found = weights(plan_of(6, {"chords": ["022100", "xx0x00"]}))
    assert found == [usual, usual, {1: 1}, {2: 1}, {2: 1}, usual]
    assert weights(plan_of(6, {"chords": ["000000"]})) == [usual] * 6


def test_a_chord_that_is_written_twice_counts_twice():
    found = weights(plan_of(6, {"chords": ["x32010", "x32010", "x35553"]}))
    assert found[2] == {5: 1.0}
    assert found[1] == {1: pytest.approx(2 / 3), 5: pytest.approx(1 / 3)}


def test_chords_may_be_for_some_strings_and_frets_for_others():
    found = weights(plan_of(6, {"chords": THREE, "strings": [2, 5]}, {"strings": [6], "frets": [12, 17]}))
    assert found[1] == pytest.approx(BY_HAND[2])
    assert found[4] == pytest.approx(BY_HAND[5])
    assert found[5] == {12: 0.5, 17: 0.5}
    assert len(found[0]) == len(found[2]) == len(found[3]) == 12


def test_a_plan_without_chords_has_the_weights_it_had():
    plan = plan_of(6, {"strings": [1], "frets": [5, 12], "weights": [2, 3]}, {"strings": [2], "frets": [12, 17]})
    assert weights(plan)[:3] == [{5: 2, 12: 3}, {12: 1, 17: 1}, dict.fromkeys(range(1, 13), 1)]


@pytest.mark.parametrize(("of", "chord"), [("mandolin 10-34", "2x03"), ("twelve-string 10-47", "x32014")])
def test_a_chord_has_one_place_for_each_course(of, chord):
    plan = plan_of({"set": of}, {"chords": [chord]}, scale={"length": 350 if "mandolin" in of else 640},
                   board={"nut_width": 60})  # fmt: skip
    frets = [None if place == "x" else int(place) for place in reversed(chord) for _ in range(2)]
    assert plan.fingered(chord) == tuple(frets)
    assert [
        list(each) == [fret] if fret else len(each) == 12 for each, fret in zip(weights(plan), frets, strict=True)
    ]
    with pytest.raises(PlanError, match=r"chords\[1\]: .* 5 places for \d courses; write one for each course"):
        plan_of({"set": of}, {"chords": ["x0000"]})


@pytest.mark.parametrize(
    ("chord", "frets"),
    [
        ("x32010", (0, 1, 0, 2, 3, None)),
        ("X32010", (0, 1, 0, 2, 3, None)),
        (" x32010 ", (0, 1, 0, 2, 3, None)),
        ("x-3-2-0-1-0", (0, 1, 0, 2, 3, None)),
        ("x 10 12 12 12 10", (10, 12, 12, 12, 10, None)),
        ("x, 10, 12,12,12,10", (10, 12, 12, 12, 10, None)),
        ("7", (7,)),
        ("12,", (12,)),
        ("12", (2, 1)),
    ],
)
def test_chords_as_players_write_them(chord, frets):
    assert fingering(chord) == frets


@pytest.mark.parametrize(
    ("aim", "says"),
    [
        ({"chords": ["x3201"]}, r'chords\[1\]: given "x3201"; 5 places for 6 strings'),
        ({"chords": ["x320100"]}, r"chords\[1\]: .* 7 places for 6 strings"),
        ({"chords": ["x32010", "x 3 2 0 1 23"]}, r"chords\[2\]: .* fret 23 of 22"),
        ({"chords": ["x 3 2 0 1 99999999999999999999"]}, r"chords\[1\]: .* a chord is written"),
        ({"chords": ["9" * 5000]}, r"chords\[1\]: .* 5000 places"),
        ({"chords": [""]}, r'chords\[1\]: given ""; a chord is written "x32010"'),
        ({"chords": ["   "]}, r"chords\[1\]: .* a chord is written"),
        ({"chords": ["x3201o"]}, r"chords\[1\]: .* a chord is written"),
        ({"chords": ["x3201\u0663"]}, r"chords\[1\]: .* a chord is written"),
        ({"chords": ["xxxxxx"]}, r'chords\[1\]: given "xxxxxx"; no string is played'),
        ({"chords": [32010]}, r"chords\[1\]: given 32010; a chord is text"),
        ({"chords": []}, r"chords: given \[\]; allowed a list of 1 to 100 chords"),
        ({"chords": ["000000"] * 101}, r"chords: given 101 of them; allowed"),
        ({"chords": "x32010"}, r'chords: given "x32010"; allowed a list'),
        ({"chords": THREE, "frets": [12]}, r"frets: stated besides chords; keep one"),
        ({"chords": THREE, "frets": [12], "strings": [1]}, r"frets: stated besides chords; keep one"),
        ({"chords": THREE, "weights": [1]}, r"weights: .* write a chord twice to count it twice"),
        ({"chords": THREE, "strings": [7]}, r"strings: string 7 of 6"),
        ({"chords": THREE, "strings": []}, r"strings: given \[\]"),
        ({"strings": [1]}, r'frets: missing; state strings and frets, or chords = \["x32010", "x 10 12 12 12 10"\]'),
        ({"frets": [1]}, r"strings: missing; state strings and frets, or chords"),
    ],
)  # fmt: skip
def test_what_is_refused(aim, says):
    with pytest.raises(PlanError, match=r"compensation\.aim\[1\]\." + says) as refused:
        plan_of(6, aim)
    assert len(refused.value.faults) == 1


def test_a_string_has_one_aim():
    for aims in ([{"chords": THREE}] * 2, [{"chords": THREE}, {"strings": [6], "frets": [12]}],
                 [{"strings": [6], "frets": [12]}, {"chords": THREE}]):  # fmt: skip
        with pytest.raises(
            PlanError, match=r"aim\[2\]\.\w+: string \d has an aim already; chords without strings are"
        ):
            plan_of(6, *aims)


CHORDS = ["x 10 12 12 12 10", "355433", "x 7 9 9 8 7", "577655", "x32010", "8 10 10 9 8 8"]


def given(string):
    """Count anew how often the chords fret a string."""
    frets = [chord.split()[6 - string] if " " in chord else chord[6 - string] for chord in CHORDS]
    return [int(fret) for fret in frets if fret not in "x0"]


@pytest.mark.parametrize("minimise", ["rms", "worst"])
def test_offsets_from_chords_against_brute_search(minimise):
    """The weighted mean is the plain mean over all chords; for the largest error it only counts whether they play it."""
    strung = lay_out(flat_plan(aim=[{"chords": CHORDS}], minimise=minimise)).strung
    world = World(np.zeros(6))
    for string in range(1, 7):
        found = strung.offsets.saddle[string - 1]
        assert found == pytest.approx(world.best_move(string, given(string), minimise=minimise), abs=1e-4)
        # Somewhere else it would be worse: no flat bottom that any place satisfies.
        off = [np.sum(world.moved(string, found + by).errors(string, given(string)) ** 2) for by in (-0.05, 0, 0.05)]
        assert minimise == "worst" or off[1] < min(off[0], off[2])


def test_strings_on_one_saddle_count_alike_however_often_chords_play_them():
    played = ["x 12 x x x x", "x 12 x x x x", "x 7 x x x x", "5 x x x x x"]
    strung = lay_out(flat_plan(aim=[{"chords": played}], bridge={"groups": [[5, 6]]})).strung
    world = World(np.zeros(6))

    def cost(back):
        """Sum weighted squares where one saddle sets both strings back alike."""
        at = replace(world, saddle=np.full(6, back))
        (often, once), (low,) = at.errors(5, [12, 7]), at.errors(6, [5])
        return 2 / 3 * often**2 + 1 / 3 * once**2 + low**2

    back = minimize_scalar(cost, bounds=(-5, 12), method="bounded", options={"xatol": 1e-8}).x
    assert strung.offsets.saddle[4:] == pytest.approx(back, abs=1e-4)
    assert abs(strung.alone.saddle[4] - strung.alone.saddle[5]) > 0.1  # they want different places


def sideways(plan):
    """Say anew how far each string goes to the side."""
    count = len(plan.strings)
    if len(plan.courses) == count:
        return tuple((n / (count - 1) - 0.5) * (SPREAD - AT_SADDLE) * -1 for n in range(count))

    def across(spread, apart):
        middles = np.linspace((spread - apart) / 2, (apart - spread) / 2, count // 2)
        return np.stack((middles + apart / 2, middles - apart / 2), axis=-1).ravel()

    return tuple(across(AT_SADDLE, APART[1]) - across(SPREAD, APART[0]))


@pytest.mark.parametrize(
    ("made_of", "chords"),
    [
        (STRINGS, CHORDS),
        (UKULELE, ["0003", "2010", "x 12 12 10"]),
        (MANDOLIN, ["0023", "0 12 x 12"]),
        (OCTAVES, ["3200", "12 x 10 12"]),
    ],
    ids=["six", "ukulele", "mandolin", "octaves"],
)
def test_every_pair_against_frequencies_of_a_second_model(made_of, chords):
    plan, aim = flat_plan(made_of, aim=[]), {"aim": [{"chords": chords}]}
    if made_of in (MANDOLIN, OCTAVES):
        courses = [string.model_copy(update={"course": n // 2 + 1}) for n, string in enumerate(plan.strings)]
        board = plan.board.model_copy(update={"course_spacing": list(APART)})
        plan = plan.model_copy(update={"strings": courses, "board": board})
    plan = plan.model_copy(update={"compensation": aim})
    chords = [chord.split() if " " in chord else list(chord) for chord in chords]
    if made_of in (MANDOLIN, OCTAVES):
        chords = [[place for place in chord for _ in range(2)] for chord in chords]
    strung = lay_out(plan).strung
    before = World(np.zeros(len(made_of)), strings=made_of, sideways=sideways(plan))
    after = replace(before, saddle=strung.offsets.saddle)
    told = sounded(plan, strung)
    assert len(told) == len(chords)
    for chord, frets in zip(told, chords, strict=True):
        played = {len(frets) - n: int(fret) for n, fret in enumerate(frets) if fret != "x"}
        assert {note.string: note.fret for note in chord.notes} == played
        assert len(chord.pairs) == len(played) * (len(played) - 1) // 2

        def hertz(world, string, played=played):
            fret = played[string]
            open_string = frequency(made_of[string - 1][0])
            off = world.errors(string, [fret])[0] if fret else 0.0
            return open_string * 2 ** (fret / 12) * 2 ** (off / 1200)

        def meant(string, played=played):
            return frequency(made_of[string - 1][0]) * 2 ** (played[string] / 12)

        seen = set()
        for pair in chord.pairs:
            low, high = pair.low.string, pair.high.string
            assert meant(low) <= meant(high) * (1 + 1e-9)
            interval = 1200 * np.log2(meant(high) / meant(low))
            for world, off in ((before, pair.before), (after, pair.after)):
                assert off == pytest.approx(
                    1200 * np.log2(hertz(world, high) / hertz(world, low)) - interval, abs=1e-6
                )
            seen.add(frozenset((low, high)))
        assert seen == set(map(frozenset, combinations(played, 2)))
        off = [abs(pair.after) for pair in chord.pairs]
        assert off == sorted(off, reverse=True)


def test_the_lower_note_of_a_re_entrant_tuning_is_told_by_its_pitch():
    plan = plan_of({"set": "ukulele fluorocarbon 21-32"}, {"chords": ["0000"]}, scale={"length": 380})
    (chord,) = sounded(plan, lay_out(plan).strung)
    named = {(pair.low.string, pair.high.string): (pair.low.name, pair.high.name, pair.name) for pair in chord.pairs}
    assert named == {
        (3, 4): ("C4", "G4", "fifth"), (3, 2): ("C4", "E4", "major third"), (3, 1): ("C4", "A4", "major sixth"),
        (2, 4): ("E4", "G4", "minor third"), (2, 1): ("E4", "A4", "fourth"), (4, 1): ("G4", "A4", "major second"),
    }  # fmt: skip
    assert all(pair.before == pair.after == 0 for pair in chord.pairs)


# Cents of just intervals, 1200 log2 of the ratio: printed in any table of Helmholtz's just scale (from memory).
JUST = {0: 0.0, 1: 111.731, 2: 203.910, 3: 315.641, 4: 386.314, 5: 498.045, 6: 590.224, 7: 701.955, 8: 813.686,
        9: 884.359, 10: 1017.596, 11: 1088.269, 12: 1200.0, 16: 1586.314, 19: 1901.955, 24: 2400.0}  # fmt: skip


@pytest.mark.parametrize("steps", JUST)
def test_pure_intervals(steps):
    frets = [f"{fret} {max(fret - steps, 0)}" for fret in (steps,)]
    strings = [{"pitch": "A3", "gauge": "0.4 mm", "kind": "plain steel"}] * 2
    plan = plan_of(strings, {"chords": frets}, frets={"count": 24}, scale={"length": 640})
    (chord,) = sounded(plan, lay_out(plan).strung)
    (pair,) = chord.pairs
    assert pair.interval == pytest.approx(100 * steps)
    assert pair.from_pure == pytest.approx(
        (100 * steps - JUST[steps] + pair.before, 100 * steps - JUST[steps] + pair.after), abs=6e-4
    )


def test_other_divisions_are_not_compared_with_pure_intervals():
    of = {"set": "electric 10-46"}
    plan = plan_of(of, {"chords": ["x 5 3 0 2 19"]}, frets={"divisions": 19, "count": 35})
    strung = lay_out(plan).strung
    (chord,) = sounded(plan, strung)
    assert all(pair.pure is None and pair.from_pure is None for pair in chord.pairs)
    octave = next(pair for pair in chord.pairs if {pair.low.string, pair.high.string} == {3, 1})
    # G3 open and E5, fret 19 of the first string.
    assert octave.interval == pytest.approx(2100)
    assert octave.after == pytest.approx(strung.after.total[0, 18])


def test_chords_on_low_frets_alone_are_warned_of():
    of = {"set": "electric 10-46"}
    found = [f for f in lay_out(plan_of(of, {"chords": ["022100"]})).findings if f.kind == "low chords"]
    assert [f.subject for f in found] == ["strings 3, 4, 5"]
    assert "further up than fret 1, 2, 2" in found[0].words
    one = lay_out(plan_of(of, {"chords": ["022100"], "strings": [3]}))
    assert [f.subject for f in one.findings if f.kind == "low chords"] == ["string 3"]
    low, high = (lay_out(plan_of(of, {"chords": [fret * 6]})).findings for fret in "45")
    assert [f.subject for f in low if f.kind == "low chords"] == ["strings 1, 2, 3, 4, 5, 6"]
    assert not [f for f in high if f.kind == "low chords"]
    assert not [f for f in lay_out(plan_of(of, {"chords": ["577555"]})).findings if f.kind == "low chords"]
    assert not [f for f in lay_out(plan_of(of, {"strings": [1], "frets": [1]})).findings if f.kind == "low chords"]
