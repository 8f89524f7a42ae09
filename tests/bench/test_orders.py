"""What is ordered at the bench, and what is not: rounds, warbling notes, moves that cannot be made."""

import json

import numpy as np
import pytest
from forward import SCALE, flat_plan, table
from helpers import few, plan

from slotwright.layout.bench.diagnosis import intonate
from slotwright.layout.bench.history import passes
from slotwright.layout.errors import MeasuredError
from slotwright.layout.export.data import bench
from slotwright.layout.instrument.instrument import lay_out
from slotwright.layout.readings.notes import Reading, parse_readings

ORDERS = ("back", "forward")


@pytest.fixture(scope="module")
def instrument():
    return lay_out(flat_plan())


def found(instrument, text):
    return intonate(instrument, parse_readings(text.encode(), instrument.plan))


def kinds(verdict):
    return [finding.kind for finding in verdict.findings]


def test_rounds_without_a_move_are_averaged(instrument):
    """Three rounds that read -2, 0 and +2 are one that reads 0; the last alone would ask for a move."""
    rounds = found(instrument, "string,fret,cents,pass\n6,12,-2,1\n6,12,0,2\n6,12,2,3\n")
    (advice,) = rounds.advices
    assert advice.now == pytest.approx([0.0])
    assert advice.direction == "leave"
    (said,) = rounds.findings
    assert str(said) == "rounds 1, 2 and 3 are averaged: no saddle was moved between them"
    last = found(instrument, "string,fret,cents\n6,12,-2\n6,12,0\n6,12,2\n").advices[0]
    assert (advice.move, advice.error) == pytest.approx((last.move, last.error))


def test_a_move_begins_a_round(instrument):
    moved = "string,fret,cents,pass\n6,12,6,1\n6,12,0.5,2\n5,12,1,1\n5,12,1,2\n"  # of one string is enough
    assert found(instrument, moved).findings == ()
    assert [advice.now[0] for advice in found(instrument, moved).advices] == pytest.approx([1.0, 0.5])
    logged = "string,fret,cents,pass,moved\n6,12,1,1,0\n6,12,0.5,2,0.4\n"
    assert found(instrument, logged).findings == ()
    other = "string,fret,cents,pass\n6,12,6,1\n5,12,1,2\n"  # another string: nothing to compare
    assert found(instrument, other).findings == ()


@pytest.mark.parametrize(("second", "joined"), [(2.5, True), (2.9, False)])
def test_stated_places_decide_where_they_stand(instrument, second, joined):
    text = f"string,fret,cents,pass,saddle_offset\n6,12,9,1,2.5\n6,12,1,2,{second}\n"
    rounds = found(instrument, text)
    assert [finding.kind for finding in rounds.findings] == ["rounds"] * joined
    assert rounds.advices[0].now == pytest.approx([5.0 if joined else 1.0])


def test_rounds_in_the_report_are_the_same(instrument):
    raw = parse_readings(b"string,fret,cents,pass\n6,12,-2,1\n6,12,0,2\n6,12,9,3\n", instrument.plan)
    assert list(passes(instrument, raw)) == [2, 3]


def test_a_round_is_told_from_a_move_as_often_as_readings_allow(instrument):
    """Two rounds of three notes with a meter that errs: taken as one when nothing moved, not when a turn was made."""
    rng = np.random.default_rng(5)
    together = apart = 0
    trials = few(400, 60)
    for _ in range(trials):
        for by in (0.0, -4.0):  # cents at fret 12 that half a turn and more makes
            rows = [
                (s, 12, at, cents + (by if at == 2 else 0) + rng.normal(0, 0.5) + rng.normal(0, 0.5))
                for s, cents in ((1, 5.0), (4, 3.0), (6, 7.0))
                for at in (1, 2)
            ]
            text = "string,fret,pass,cents\n" + "".join(f"{s},{n},{at},{c:.3f}\n" for s, n, at, c in rows)
            joined = any(finding.kind == "rounds" for finding in found(instrument, text).findings)
            together += joined and by == 0
            apart += not joined and by != 0
    assert together / trials > 0.8  # by hand: 0.954 to the third is 0.87
    assert apart == trials


def test_a_warbling_string_is_not_moved(instrument):
    text = "string,fret,cents,note\n1,12,9,warble\n1,17,12,\n2,12,9,\n2,17,12,\n"
    first, second = found(instrument, text).strings
    assert (first.advice.direction, first.advice.move, first.advice.turns) == ("leave", None, 0)
    assert kinds(first) == ["magnets"]
    assert second.advice.direction == "back"
    told = bench.intonation(found(instrument, text))["strings"][0]
    assert (told["move"], told["direction"]) == (None, "leave")
    assert told["read"] == [{"fret": 17, "cents": 12.0}]


def test_a_saddle_shared_with_a_warbling_string_is_not_moved():
    instrument = lay_out(flat_plan(bridge={"groups": [[1, 2]]}))
    text = "string,fret,cents,note\n1,12,9,warble\n1,17,12,\n2,12,9,\n2,17,12,\n"
    assert [advice.direction for advice in found(instrument, text).advices] == ["leave", "leave"]


def test_fret_1_alone_orders_nothing(instrument):
    (verdict,) = found(instrument, "string,fret,cents\n1,1,8\n").strings
    assert (verdict.advice.direction, verdict.advice.turns) == ("leave", 0)
    (finding,) = verdict.findings
    assert str(finding) == "fret 1 alone tells of the nut and of the hand, not of the saddle; read the octave"
    # A maker who aims at fret 3 alone is served.
    low = lay_out(flat_plan(aim=[{"strings": [1], "frets": [3]}]))
    assert found(low, "string,fret,cents\n1,3,4\n").advices[0].direction == "back"


def test_a_tone_off_orders_nothing_and_says_what_may_be_wrong(instrument):
    one = found(instrument, "string,fret,cents\n1,12,299\n2,12,3\n").strings[0]
    assert one.advice.direction == "beyond"
    assert kinds(one) == ["reading"]
    assert "another octave or target" in str(one.findings[0])
    assert "the open string out of tune" in str(one.findings[0])
    every = found(instrument, table([(string, 12, 299.0) for string in range(1, 7)]).decode())
    assert {advice.direction for advice in every.advices} == {"beyond"}
    assert [kinds(verdict) for verdict in every.strings] == [[]] * 6
    (finding,) = every.findings
    assert str(finding).startswith("all 6 strings read about +299 cents")


def test_where_no_place_was_read_the_travel_left_is_not_known(instrument):
    """The saddle may stand anywhere in its travel: what is left of it nobody can tell, and only all of it is too much."""
    whole = 14.0
    (advice,) = found(instrument, "string,fret,cents\n6,12,14\n").advices
    assert advice.direction == "back"
    assert advice.travel is None
    (far,) = found(instrument, "string,fret,cents\n6,12,42\n").strings
    assert far.advice.wanted > whole
    assert (far.advice.direction, far.advice.turns) == ("beyond", 0)
    assert far.advice.missing == pytest.approx(far.advice.wanted - whole, abs=0.005)
    assert "more than the whole travel of 14.00 mm" in str(far.findings[0])
    assert bench.intonation(found(instrument, "string,fret,cents\n6,12,14\n"))["strings"][0]["travel_left"] is None


def test_no_order_leads_beyond_a_travel_that_is_known(instrument):
    rng = np.random.default_rng(11)
    strung, room = instrument.strung, instrument.bridge.reserve
    seen = set()
    for _ in range(few(300, 40)):
        string = int(rng.integers(1, 7))
        stands = float(strung.offsets.saddle[string - 1] + rng.uniform(-room[string - 1, 0], room[string - 1, 1]))
        read = (Reading(string, 12, float(rng.uniform(-40, 40)), saddle_offset=stands),)
        (advice,) = intonate(instrument, read).advices
        gone = stands - strung.offsets.saddle[string - 1]
        before, behind = room[string - 1] + np.array([gone, -gone])
        done = advice.wanted if advice.direction in ORDERS else 0.0
        assert advice.travel == pytest.approx((before + done, behind - done), abs=0.005)  # along the string
        assert min(advice.travel) > -0.005
        if advice.direction == "beyond":
            assert not -before < advice.wanted < behind
            assert advice.missing == pytest.approx(max(-before - advice.wanted, advice.wanted - behind), abs=0.005)
        seen.add(advice.direction)
    assert seen == {"back", "forward", "leave", "beyond"}


def test_a_rule_reads_where_a_saddle_stands(instrument):
    neck = instrument.neck
    nominal = float(neck.scales[5] - neck.from_nut[12, 5])
    assert nominal == pytest.approx(SCALE / 2, abs=0.05)  # an outer string runs a little askew
    ruled = parse_readings(f"string,fret,cents,from_fret_12\n6,12,5,{nominal + 3.1:.4f}\n".encode(), instrument.plan)
    stated = parse_readings(b"string,fret,cents,saddle_offset\n6,12,5,3.1\n", instrument.plan)
    assert ruled[0].saddle_offset == pytest.approx(stated[0].saddle_offset, abs=1e-4)


def test_a_rule_on_a_fan_measures_along_each_string():
    fan = lay_out(plan(scale={"length": None, "treble": 628.0, "bass": 660.0}))
    text = b"string,fret,cents,from_fret_12\n1,12,5,316\n6,12,5,332\n"
    first, sixth = parse_readings(text, fan.plan)
    assert first.saddle_offset == pytest.approx(316 - 314, abs=1e-6)  # half of 628 mm
    assert sixth.saddle_offset == pytest.approx(332 - 330, abs=1e-6)  # half of 660 mm


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (
            "string,fret,cents,from_fret_12\n1,12,5,30\n",
            'column from_fret_12: given "30"; allowed 307.22 to 345.62 mm',
        ),
        ("string,fret,cents,from_fret_12,saddle_offset\n1,12,5,316,2\n", "given besides saddle_offset"),
    ],
)
def test_what_no_rule_reads_is_refused(instrument, text, says):
    with pytest.raises(MeasuredError, match=says.replace(".", r"\.")):
        found(instrument, text)


def test_a_short_board_has_no_fret_12():
    with pytest.raises(MeasuredError, match="on a board of 10 frets"):
        parse_readings(b"string,fret,cents,from_fret_12\n1,5,5,316\n", plan(frets={"count": 10}))


def test_low_frets_name_the_hand_beside_the_nut(instrument):
    """Sharp at frets 1 to 3 and true above: a high slot and a heavy hand look alike; how to tell them apart."""
    sharp = [(6, fret, 9.0 / fret) for fret in (1, 2, 3)] + [(6, fret, 0.0) for fret in (7, 9, 12)]
    verdict = intonate(instrument, parse_readings(table(sharp), instrument.plan)).strings[0]
    words = next(str(finding) for finding in verdict.findings if finding.kind == "nut")
    assert "too high, or the hand presses hard" in words
    assert "Press as lightly as the note speaks and read again" in words


def test_objects_of_all_these_are_whole(instrument):
    for text in ("1,1,8,", "1,12,299,", "1,12,4,warble", "6,12,42,"):
        json.dumps(bench.intonation(found(instrument, f"string,fret,cents,note\n{text}\n")), allow_nan=False)
