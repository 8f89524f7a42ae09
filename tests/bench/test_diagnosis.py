"""Findings: for each kind an instrument that has just that fault, and healthy ones that raise none."""

from collections import Counter
from dataclasses import replace

import numpy as np
import pytest
from forward import World, flat_plan, healthy, table
from helpers import few

from slotwright.layout.bench.diagnosis import intonate
from slotwright.layout.instrument.instrument import lay_out
from slotwright.layout.readings.notes import Reading, parse_readings

EVERY = tuple(range(1, 23))
SOME = (1, 2, 3, 5, 7, 9, 12, 15, 17, 19)
ALL = (1, 2, 3, 4, 5, 6)


@pytest.fixture(scope="module")
def instrument():
    return lay_out(flat_plan())


def kinds(instrument, frets, rng, *, trials, **fault):
    """Count which kinds of findings readings raise, the saddles astray as well."""
    world, counted, words = healthy(**fault), Counter(), []
    for _ in range(trials):
        there = world
        for string in ALL:
            there = there.moved(string, rng.uniform(-3, 3))
        rows = []
        for string in ALL:
            astray = rng.normal(0, 0.5)
            rows += [
                (string, fret, cents + astray + rng.normal(0, 0.5))
                for fret, cents in zip(frets, there.errors(string, frets), strict=True)
            ]
        found = intonate(instrument, parse_readings(table(rows), instrument.plan))
        each = [*found.findings, *(finding for verdict in found.strings for finding in verdict.findings)]
        counted[tuple(sorted({finding.kind for finding in each}))] += 1
        words += each
    return counted, words


@pytest.mark.parametrize("frets", [EVERY, SOME, (1, 3, 12, 17), (12, 17)], ids=len)
def test_a_healthy_instrument_raises_none(instrument, frets):
    counted, _ = kinds(instrument, frets, np.random.default_rng(3), trials=few(60, 8))
    # Three kinds of patterns at one in a hundred each, and readings that err: 60 instruments leave room for five.
    assert counted[()] >= few(60, 8) - few(5, 2)


@pytest.mark.parametrize("wrong", [{"stretch": 1.3}, {"stretch": 0.7, "stiffness": 1.2}])
def test_strings_stiffer_or_stretchier_than_thought_are_no_fault(instrument, wrong):
    counted, _ = kinds(instrument, SOME, np.random.default_rng(4), trials=few(40, 6), **wrong)
    assert counted[()] >= few(40, 6) - few(4, 2)


@pytest.mark.parametrize(
    ("kind", "frets", "fault", "says"),
    [
        ("nut", EVERY, {"slot_too_high": 0.4}, "height of the nut slot first"),
        ("nut", SOME, {"slot_too_high": 0.4}, "too high"),
        ("nut", (1, 3, 12, 17), {"slot_too_high": 0.4}, "too high"),
        ("nut", EVERY, {"nut_too_far": 0.9}, "too far from fret 1"),
        ("crown", EVERY, {"crown": ((9, 0.7, ALL),)}, "fret 9 is +"),
        ("crown", SOME, {"crown": ((9, -0.7, ALL),)}, "on all 6 strings"),
        ("worn crown", EVERY, {"crown": ((5, 1.2, (1, 2)),)}, "under string 1, 2 only"),
        ("worn crown", SOME, {"crown": ((2, 1.6, (2, 3, 4)),)}, "under string 2, 3, 4 only"),
        ("magnets", EVERY, {"pull": 8.0}, "lower the pickups"),
        ("magnets", SOME, {"pull": 8.0}, "bends up"),
    ],
)
def test_a_fault_is_found_and_no_other(instrument, kind, frets, fault, says):
    counted, words = kinds(instrument, frets, np.random.default_rng(5), trials=few(30, 5), **fault)
    found = sum(many for each, many in counted.items() if kind in each)
    alone = counted[(kind,)]
    assert found >= few(30, 5) - 1
    assert alone >= few(30, 5) - few(3, 2)  # noise may add another one: a handful in a hundred
    assert sum(says in finding.words for finding in words if finding.kind == kind) > len(counted)


def test_the_evidence_is_near_the_truth(instrument):
    """A crown 0.7 mm astray is said to stand about there; a flat of 2.4 mm moves its contact by 1.2."""
    _, words = kinds(instrument, EVERY, np.random.default_rng(6), trials=10, crown=((9, 0.7, ALL),))
    said = [float(w.words.split("stood ")[1].split()[0]) for w in words if w.kind == "crown"]
    assert np.mean(said) == pytest.approx(0.7, abs=0.08)
    _, words = kinds(instrument, EVERY, np.random.default_rng(6), trials=10, crown=((5, 1.2, (1, 2)),))
    said = [float(w.words.split("a flat ")[1].split()[0]) for w in words if w.kind == "worn crown"]
    assert np.mean(said) == pytest.approx(2.4, abs=0.3)


def judged(instrument, rows):
    return intonate(instrument, parse_readings(table(rows), instrument.plan))


def test_no_position_serves_both_frets(instrument):
    """By hand, with g = 1200/ln 2 (1/L_n - 1/L_0): |g17 e12 - g12 e17| / (g12 + g17) stays."""
    scale = 640.0
    g12, g17 = (1731.234 * (1 / (scale * 2 ** (-n / 12)) - 1 / scale) for n in (12, 17))
    stays = abs(g17 * -6.0 - g12 * 5.0) / (g12 + g17)
    (verdict,) = judged(instrument, [(1, 12, -6.0), (1, 17, 5.0)]).strings
    (finding,) = verdict.findings
    assert finding.kind == "no position"
    assert f"no saddle position gets below {stays:.1f} cents" in finding.words
    assert "which it favours" in finding.words
    assert "the nut contact" in finding.words
    assert not verdict.advice.within
    assert not judged(instrument, [(1, 12, -1.5), (1, 17, 1.5)]).strings[0].findings


def test_a_nut_offset_that_would_cure_it_does():
    (verdict,) = judged(lay_out(flat_plan(tolerance=0.5)), [(1, 12, 1.2), (1, 17, 0.0)]).strings
    said = verdict.findings[0].words
    # The nut moved toward fret 1 flattens both alike, the saddle does the rest: nothing stays.
    assert "would leave 0.0 at most" in said
    assert "toward fret 1" in said


def test_warbling_notes_are_not_used_and_lead_to_the_magnets(instrument):
    raw = (
        Reading(1, 12, 30.0, note="Warbles"),
        Reading(1, 17, 4.0),
        Reading(2, 12, 8.0, note="warble"),
    )
    found = intonate(instrument, raw)
    first, second = found.strings
    assert first.advice.frets.tolist() == [17]
    assert second.advice is None
    assert [f.kind for f in (*first.findings, *second.findings)] == ["magnets", "magnets"]
    assert "fret 12" in first.findings[0].words


@pytest.mark.parametrize(
    "raw",
    [(Reading(1, 12, 1.0, note="pings when tuned"),), (Reading(1, 12, 1.0), Reading(1, 12, -2.5))],
)
def test_a_string_that_sticks_in_the_nut(instrument, raw):
    (verdict,) = intonate(instrument, raw).strings
    assert [finding.kind for finding in verdict.findings] == ["sticking"]
    assert not intonate(instrument, (Reading(1, 12, 1.0), Reading(1, 12, -0.5))).strings[0].findings


def where_they_belong(instrument, rows):
    """Judge readings of saddles that stand where the plan has them, and were found there."""
    stands = instrument.strung.offsets.saddle
    read = [Reading(s, n, cents, saddle_offset=float(stands[s - 1])) for s, n, cents in rows]
    return intonate(instrument, read)


def test_the_end_of_the_travel_and_what_would_gain_way():
    instrument = lay_out(flat_plan(bridge={"travel": 4.0, "crest_offset": 0.8, "reserve": 0}))
    # 14 cents sharp ask for 5 mm back; what the cures gain is found by another way: the set-back they lessen.
    (verdict,) = where_they_belong(instrument, [(6, 12, 14.0)]).strings
    (finding,) = verdict.findings
    assert (finding.kind, verdict.advice.direction) == ("travel", "beyond")
    assert sum(verdict.advice.travel) == pytest.approx(4.0, abs=0.001)  # as it stands: nothing is to be moved
    short = verdict.advice.wanted - verdict.advice.travel[1]
    assert finding.numbers["missing"] == pytest.approx(short)
    assert f"by {short:.2f} mm at the rear end" in finding.words
    assert "turned round 1.60 mm" in finding.words
    lower = lay_out(flat_plan(setup={"action": 1.2}, bridge={"travel": 4.0}))
    gained = instrument.strung.offsets.saddle[5] - lower.strung.offsets.saddle[5]
    said = float(finding.words.split("less action ")[1].split()[0])
    assert said == pytest.approx(gained, abs=0.05)  # lower where it was read, not where it was calculated
    (forward,) = where_they_belong(instrument, [(1, 12, -20.0)]).strings[0].findings
    assert "at the front end" in forward.words
    # The screw comes from the rear, and its spring is squeezed there.
    assert "a shorter spring as much as it is shorter" in finding.words
    assert "spring" not in forward.words
    front = lay_out(flat_plan(bridge={"travel": 4.0, "screw_from": "front", "reserve": 0}))
    (there,), (back,) = (
        where_they_belong(front, [row]).strings[0].findings for row in ((1, 12, -20.0), (6, 12, 14.0))
    )
    assert "to gain range: a shorter spring" in there.words
    assert "spring" not in back.words


@pytest.mark.parametrize("height", [0.4, 0.8, 1.2])
def test_the_height_of_a_nut_slot_is_told_truly(instrument, height):
    """What it does grows with more than the height itself; a file must not be led through the board."""
    world = healthy(slot_too_high=height)
    rows = [(string, fret, cents) for string in ALL for fret, cents in zip(EVERY, world.errors(string), strict=True)]
    found = judged(instrument, rows)
    said = [f.words for v in found.strings for f in v.findings if f.kind == "nut"]
    assert len(said) >= 4
    for evidence in said:
        assert float(evidence.split("nut slot were ")[1].split()[0]) == pytest.approx(height, abs=0.01)
    # What a nut does is not to be learnt as stiffness.
    assert found.calibrated is None
    assert "tell of nut first" in found.wanting


def test_a_zero_fret_has_no_slot():
    made = flat_plan(setup={"nut_action": 0})
    made = made.model_copy(update={"frets": made.frets.model_copy(update={"zero_fret": True})})
    world = healthy(nut_too_far=0.9)
    rows = [(string, fret, cents) for string in ALL for fret, cents in zip(EVERY, world.errors(string), strict=True)]
    said = [f.words for v in judged(lay_out(made), rows).strings for f in v.findings if f.kind == "nut"]
    assert said
    assert all("height of the zero fret first" in evidence and "slot" not in evidence for evidence in said)


@pytest.mark.parametrize("know", [True, False])
def test_what_a_shared_saddle_cannot_do_is_laid_to_the_sharing(know):
    """Strings 1 and 4 on one saddle, read where it serves both best; the least of all by search over the model."""
    plan = flat_plan(tolerance=1.0, bridge={"groups": [[1, 4]]}, aim=[{"strings": list(ALL), "frets": [7, 12, 17]}])
    instrument, frets = lay_out(plan), [7, 12, 17]
    world = World(instrument.strung.offsets.saddle)
    rows = [(s, fret, c) for s in ALL for fret, c in zip(frets, world.errors(s, frets), strict=True)]
    readings = parse_readings(table(rows), instrument.plan)
    if know:
        readings = [replace(r, saddle_offset=float(world.saddle[r.string - 1])) for r in readings]
    found = {verdict.string: verdict for verdict in intonate(instrument, readings).strings}
    shared = {s: [f for f in v.findings if f.kind == "shared contact"] for s, v in found.items()}
    assert [s for s in ALL if shared[s]] == [1, 4]

    def most(by, *strings):
        return max(np.abs(world.moved(s, by).errors(s, frets)).max() for s in strings)

    least = min(most(by, 1, 4) for by in np.linspace(-2, 2, 2001))
    for string in (1, 4):
        (finding,) = shared[string]
        assert finding.numbers["least"] == pytest.approx(least, abs=0.03)
        alone = min(most(by, string) for by in np.linspace(-4, 4, 2001))
        assert finding.numbers["alone"] == pytest.approx(alone, abs=0.03)
    # Each on a saddle of its own, read at the same places, is moved, and nothing is said of sharing.
    apart = lay_out(plan.model_copy(update={"bridge": {"kind": "individual saddles", "travel": 14}}))
    verdicts = intonate(apart, parse_readings(table(rows), apart.plan)).strings
    assert not [f for v in verdicts for f in v.findings if f.kind == "shared contact"]
    assert verdicts[0].advice.direction != verdicts[3].advice.direction
