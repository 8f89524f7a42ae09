"""Readings become moves: against instruments that sound by a model of their own."""

import numpy as np
import pytest
from forward import World, flat_plan, healthy, table
from helpers import few, plan, slack, starter

from slotwright.layout.bench.advice import advise, move_of, turns_of
from slotwright.layout.bench.diagnosis import intonate
from slotwright.layout.bench.state import gather, setting_of
from slotwright.layout.errors import MeasuredError
from slotwright.layout.instrument.instrument import lay_out
from slotwright.layout.physics.pitch import parts
from slotwright.layout.readings.notes import as_log, parse_readings

AIMS = {string: [12, 17] if string < 4 else [12] for string in range(1, 7)}


def read(world, rng=None, aims=AIMS):
    """Read an instrument with a meter and a hand that err; the open string's own error is in all its readings."""
    rows = []
    for string, frets in aims.items():
        astray = rng.normal(0, 0.5) if rng else 0.0
        for fret, cents in zip(frets, world.errors(string, frets), strict=True):
            rows.append((string, fret, cents + astray + (rng.normal(0, 0.5) if rng else 0.0)))
    return rows


def advices(instrument, rows):
    setting = setting_of(instrument)
    return advise(instrument.plan, setting, gather(setting, parse_readings(table(rows), instrument.plan)))


def test_the_other_model_agrees_with_the_model():
    instrument = lay_out(flat_plan())
    world = World(instrument.strung.offsets.saddle)
    for string in range(1, 7):
        assert world.errors(string) == pytest.approx(instrument.strung.after.total[string - 1], abs=1e-6)


def test_it_agrees_too_where_heights_and_hand_are_otherwise():
    """Action and first gap stated as they are, and how deep the hand presses."""
    nominal = 0.35 + (1.7 - 0.35) * 2 * (1 - 2 ** (-1 / 12))  # of the open string above crown 1
    made = flat_plan(setup={"press_depth": 0.2, "action": 1.83})
    setup = {**made.contents()["setup"], "nut_action": None, "first_gap": nominal + 0.04}
    instrument = lay_out(made.model_copy(update={"setup": {k: v for k, v in setup.items() if v is not None}}))
    saddle = instrument.strung.offsets.saddle
    world = World(saddle, action_off=0.13, first_gap_off=0.04, press_depth=0.2)
    for string in range(1, 7):
        assert world.errors(string) == pytest.approx(
            parts(instrument.strung.fretting, saddle, np.zeros(6)).total[string - 1], abs=1e-6
        )


@pytest.mark.parametrize(("minimise", "instruments"), [("rms", 700), ("worst", 200)])
def test_the_true_move_lies_within_two_standard_errors(minimise, instruments):
    instrument = lay_out(flat_plan(minimise=minimise))
    rng = np.random.default_rng(7)
    off = []
    for _ in range(few(instruments)):  # of six strings each: 4200 and 1200 trials
        world = World(rng.uniform(-2, 6, 6))
        for advice in advices(instrument, read(world, rng)):
            true = world.best_move(advice.string, AIMS[advice.string], minimise=minimise)
            off.append((advice.move - true) / advice.error)
    within = np.mean(np.abs(off) < 2)
    chance = slack(0.9545, len(off))
    assert (
        0.935 - chance < within < 0.97 + chance
    )  # 95.4 % of a normal distribution; 4200 trials leave 0.3 % of doubt, 1200 0.6 %
    assert abs(np.mean(off)) < 3 / np.sqrt(len(off))


def test_a_perfect_meter_gives_the_exact_move_and_what_is_read_afterwards():
    instrument, world = lay_out(flat_plan()), World(np.array([-2.0, 5.0, 0.5, 7.0, 6.4, 0.0]))
    for advice in advices(instrument, read(world)):
        frets = AIMS[advice.string]
        true = world.best_move(advice.string, frets)
        # Where the saddle stands is not stated but found from the readings: good to some thousandths of a mm.
        assert advice.move == pytest.approx(true, abs=0.005)
        assert advice.direction == ("back" if true > 0 else "forward")
        after = world.moved(advice.string, true).errors(advice.string, frets)
        assert advice.expected == pytest.approx(after, abs=0.01)
        assert advice.within


def test_repeats_are_averaged_and_narrow_the_doubt():
    instrument = lay_out(flat_plan())
    once = advices(instrument, [(6, 12, 5.0)])[0]
    often = advices(instrument, [(6, 12, 5.0 + d) for d in (-1.5, 0.0, 0.3, 1.2)])[0]
    assert often.move == pytest.approx(once.move)
    # sqrt(0.5^2 + 0.5^2) against sqrt(0.5^2 / 4 + 0.5^2), by hand
    assert often.error / once.error == pytest.approx(np.sqrt(0.3125 / 0.5))


def test_open_strings_hertz_and_the_last_pass():
    instrument = lay_out(flat_plan())
    rows = (
        "string,fret,cents,hz,open,pass\n"
        "6,12,9,,,1\n6,12,,165.4,0.5,2\n"  # E2 is 82.4069 Hz (ISO 16, twelve equal divisions), fret 12 twice that
        "5,12,4,,4,\n"
    )
    found = gather(setting_of(instrument), parse_readings(rows.encode(), instrument.plan))
    assert found.cents[5, 11] == pytest.approx(1200 * np.log2(165.4 / 164.8138) - 0.5, abs=0.001)
    assert found.cents[4, 11] == 0
    assert found.read.sum() == 2


def test_frets_outside_the_aim_count_only_where_none_of_it_was_read():
    instrument = lay_out(flat_plan())
    first, sixth = advices(instrument, [(1, 12, 3.0), (1, 5, 9.0), (6, 5, 4.0), (6, 7, 4.0)])
    assert first.frets[first.aimed].tolist() == [12]
    assert sixth.frets[sixth.aimed].tolist() == [5, 7]
    assert first.move == pytest.approx(advices(instrument, [(1, 12, 3.0)])[0].move)


def test_a_stated_saddle_offset_decides_the_travel():
    instrument = lay_out(flat_plan())
    there = instrument.strung.offsets.saddle[5]
    text = f"string,fret,cents,saddle_offset\n6,12,5,{there + 1:.6f}\n"
    (stated,) = advise(
        instrument.plan, setting_of(instrument),
        gather(setting_of(instrument), parse_readings(text.encode(), instrument.plan)),
    )  # fmt: skip
    (nominal,) = advices(instrument, [(6, 12, 5.0)])
    room = instrument.bridge.reserve[5] / (instrument.neck.directions[5, 0])  # single base: rear is +x
    assert nominal.travel is None  # where it stands nobody read
    assert nominal.move == pytest.approx(stated.move, abs=0.05)
    assert stated.travel == pytest.approx((room[0] + 1 + stated.move, room[1] - 1 - stated.move), abs=1e-5)


def test_turns_follow_thread_and_head():
    rear, front = flat_plan(), flat_plan(bridge={"screw_from": "front", "thread_pitch": 0.7})
    assert turns_of(rear, 1.3) == 2.5  # 2.6 turns: the nearest quarter; clockwise draws it to a head at the rear
    assert turns_of(rear, -1.3) == -2.5
    assert turns_of(front, 1.3) == -1.75
    assert move_of(rear, 1.3) == 1.25
    assert move_of(front, 1.3) == pytest.approx(1.225)
    assert turns_of(starter("nylon-six"), 1.0) is None
    assert move_of(starter("nylon-six"), 1.3) == 1.3


def test_strings_that_share_a_saddle_move_together():
    apart = lay_out(flat_plan())
    together = lay_out(flat_plan(bridge={"groups": [[1, 2], [3, 4]]}))
    rows = [(1, 12, 6.0), (2, 12, 2.5), (6, 12, 3.0)]
    one, two, six = advices(apart, rows)
    both = advices(together, rows)
    assert (
        both[0].move == both[1].move == pytest.approx((one.move + two.move) / 2, rel=0.02)
    )  # slopes differ a little
    assert both[0].direction == both[1].direction
    assert both[0].error < one.error
    assert both[2].move == pytest.approx(six.move, abs=1e-3)


def test_a_shared_saddle_tames_the_worst_of_its_notes():
    instrument = lay_out(flat_plan(minimise="worst", bridge={"groups": [[3, 4]]}))
    rows = [(3, 12, 6.0), (3, 17, 10.0), (4, 12, -4.0)]
    both = advices(instrument, rows)
    assert both[0].move == both[1].move

    def largest(move):
        return max(abs(e + s * move) for a in both for e, s in zip(a.now[a.aimed], a.slopes[a.aimed], strict=True))

    brute = min((largest(move), move) for move in np.linspace(-3, 5, 8001))
    assert both[0].move == pytest.approx(brute[1], abs=0.03)  # slopes are those where each string alone would stand


def test_a_plan_with_more_tunings_is_left_where_they_agreed():
    """Read what the model says of the compromise at the strings' own pitches: nothing is to be moved."""
    made = flat_plan(tolerance=0.3).model_copy(update={"tunings": ["C2 G2 C3 F3 A3 D4"]})
    instrument = lay_out(made)
    off = instrument.strung.after.total
    assert np.abs(off[5, 11]) > 1
    rows = [(s, f, off[s - 1, f - 1]) for s, frets in AIMS.items() for f in frets]
    for advice in advices(instrument, rows):
        assert abs(advice.move) < 1e-3
        assert advice.direction == "leave"


def test_a_reading_no_bridge_can_follow_is_held_and_said():
    instrument = lay_out(flat_plan())
    found = intonate(instrument, parse_readings(b"string,fret,cents,saddle_offset\n6,12,-20,-10\n", instrument.plan))
    (advice,) = found.advices
    assert advice.held
    assert (advice.direction, advice.turns) == ("beyond", 0)
    assert "where no bridge reaches" in found.strings[0].findings[0].words


def test_strings_that_nothing_is_known_of():
    instrument = lay_out(plan(strings=6, compensation={"aim": [{"strings": [1], "frets": [12]}]}))
    (advice,) = advices(instrument, [(1, 12, 5.0)])
    # By hand: the fretted note answers with 1200/ln 2 (1/L12 - 1/L0) cents per mm.
    assert advice.move == pytest.approx(5 / (1200 / np.log(2) / 628), rel=0.01)
    assert (advice.turns, advice.travel) == (None, None)


@pytest.mark.parametrize(
    "name",
    [
        "electric-six",
        "bass-five-multiscale",
        "nylon-six",
        "steel-six",
        "travel-six-zero-fret",
        "mandolin",
        "nineteen-divisions",
        "ukulele",
    ],
)
def test_every_starter_left_alone_where_its_own_model_is_read(name):
    """What the plan says every note will be is what is read: nothing to move, whatever the bridge."""
    instrument = lay_out(starter(name))
    setting = setting_of(instrument)
    off = instrument.strung.after.total
    rows = [(s + 1, f + 1, off[s, f]) for s, f in np.argwhere(setting.weights > 0)]
    for advice in advices(instrument, rows):
        assert abs(advice.move) < 1e-3


def test_a_long_way_off_is_still_found():
    instrument, world = lay_out(flat_plan()), World(np.full(6, -6.0))
    for advice in advices(instrument, read(world)):
        assert advice.move == pytest.approx(world.best_move(advice.string, AIMS[advice.string]), abs=0.02)


def test_moved_nut_contacts_are_where_they_are():
    """A nut contact of its own for each string: the move still serves what was read."""
    instrument = lay_out(flat_plan(nut="per string"))
    off = instrument.strung.after.total
    assert instrument.strung.offsets.nut[:3].all()
    rows = [(s, fret, off[s - 1, fret - 1] + 3.0) for s in (1, 2, 3) for fret in (12, 17)]
    for advice in advices(instrument, rows):
        assert advice.move == pytest.approx(3.0 / -advice.slopes.mean(), rel=0.15)
        assert np.abs(advice.expected).max() < 1


BAD = [
    ("", "the file is empty; its first line names the columns: string,fret,cents"),
    ("string,fret\n1,12\n", "line 1: column cents is missing; the first line names the columns: string,fret,cents"),
    ("1,12,3\n1,17,4\n", "line 1: names no column that is known; the first line names the columns: string,fret,cents"),
    ("string,fret,cents\n1,12,1_0\n", 'given "1_0"'),
    ("sep=;\nstring;fret;cents\n1;12;x\n", 'line 3, column cents: given "x"'),
    ('sep="\nstring,fret,cents\n', "line 1: names no column"),
    ("sep=\r\nstring,fret,cents\n", "line 1: names no column"),
    ("sep=;\n", "column cents is missing"),
    ("string,fret,cents\n1,12,\uff13\n", "allowed a number"),
    ("string,cents\n1,12\n", "line 1: column fret is missing"),
    ("string,fret,cents,cents\n1,12,3,3\n", "line 1: column cents stands there twice"),
    ("string,fret,cent\n1,12,3\n", 'line 1: unknown column "cent"; did you mean cents?'),
    ("string,fret,cents\n1,12,x\n", 'line 2, column cents: given "x"; allowed a number from -300 to 300'),
    ("string,fret,cents\n1,12,\n", "line 2, column cents: nothing given"),
    ("string,fret,cents\n\n7,12,1\n", 'line 3, column string: given "7"; allowed a whole number from 1 to 6'),
    ("string,fret,cents\n1,23,1\n", 'line 2, column fret: given "23"; allowed a whole number from 1 to 22'),
    ("string,fret,cents,open\n1,0,1,2\n", "line 2, column open: given besides fret 0"),
    ("string,fret,cents,open\n1,0,1,\n1,12,1,2\n", "line 3, column open: given besides a row of fret 0; state one of them"),
    ("string,fret,cents\n1,0,x\n1,12,1\n", 'line 2, column cents: given "x"'),
    ("string,fret,cents,source\n1,12,1,ear\n", 'line 2, column source: given "ear"; allowed meter and recording'),
    ("string,fret,cents\n1,12,nan\n", 'line 2, column cents: given "nan"'),
    ("string,fret,cents\n1,12,1,5\n", "line 2: 4 cells for 3 columns; write a decimal point, not a comma"),
    ("string,fret,cents,hz\n1,12,1,660\n", "line 2, column cents: given besides hz"),
    ("string,fret,hz\n1,12,440\n", "fret 12 of string 1 sounds near 659.3"),
    ("string,fret,cents,pass\n1,12,1,0\n", "line 2, column pass"),
    ("string,fret,cents,saddle_offset\n1,12,1,2 feet\n", 'line 2, column saddle_offset: given "2 feet"'),
    ("string,fret,cents,saddle_offset\n1,12,1,2\n1,17,1,3\n", "line 3, column saddle_offset: another one stands above"),
    ('string,fret,cents\n1,12,1\n1,"12', "not a table"),
    ("string,fret,cents,saddle_offset\n1,12,1,60\n", 'line 2, column saddle_offset: given "60"; allowed -12.80 to 25.60 mm'),
    ("string,fret,cents,pass,moved\n1,12,1,1,20\n1,12,1,2,20\n", "moved adds up to 40.00 mm for string 1"),
    ("string,fret,hz\n1,12,nan\n", 'line 2, column hz: given "nan"'),
    ("string,fret,cents\n1,12,\x00\n", "line 2"),
    ("string,fret,cents\n1,1\u00b2,1\n", "line 2, column fret"),
]  # fmt: skip


@pytest.mark.parametrize(("text", "says"), BAD)
def test_bad_tables_name_line_and_column(text, says):
    with pytest.raises(MeasuredError) as refused:
        parse_readings(text.encode(), flat_plan())
    assert says in str(refused.value)


@pytest.mark.parametrize(
    "text",
    [
        "sep=;\r\nstring;fret;cents\r\n1;12;-2,5\r\n",
        "string,fret,cents\n1,12,\u20132.5\n",
        "string,fret,cents\n1,12,\u2212.25e1\n",
    ],
)
def test_what_spreadsheets_write(text):
    (reading,) = parse_readings(text.encode(), flat_plan())
    assert (reading.string, reading.fret, reading.cents) == (1, 12, -2.5)


def test_hertz_need_a_pitch():
    with pytest.raises(
        MeasuredError, match=r"the plan states no pitch for string 1; state cents, or strings\[...\].pitch"
    ):
        parse_readings(b"string,fret,hz\n1,12,660\n", plan())


def test_all_faults_of_a_table_at_once_but_no_screens_of_them():
    with pytest.raises(MeasuredError) as refused:
        parse_readings(b"string,fret,cents\n1,x,1\n9,12,1\n1,12,\n", flat_plan())
    assert [fault.where for fault in refused.value.faults] == [
        "line 2, column fret", "line 3, column string", "line 4, column cents",
    ]  # fmt: skip
    with pytest.raises(MeasuredError, match="and 960 more") as refused:
        parse_readings(b"string,fret,cents\n" + b"1,x,1\n" * 1000, flat_plan())
    assert len(refused.value.faults) == 1000


@pytest.mark.parametrize("text", ["String;Fret;Cents\r\n1;12;-2,5\r\n", "\ufeffstring\tfret\tcents\n\n1\t12\t-2.5\n"])
def test_tables_of_spreadsheets(text):
    (reading,) = parse_readings(text.encode(), flat_plan())
    assert (reading.string, reading.fret, reading.cents) == (1, 12, -2.5)


def test_a_typographic_minus_empty_columns_and_an_offset_said_once():
    text = "string,fret,cents,saddle_offset,,\n1,12,\u22122.5,1.5,,\n1,17,3,,,\n"
    first, second = parse_readings(text.encode(), flat_plan())
    assert first.cents == -2.5
    assert first.saddle_offset == second.saddle_offset == 1.5


def test_too_large_a_table_is_refused_unread():
    with pytest.raises(MeasuredError, match="at most 1000000"):
        parse_readings(b"x" * 1_000_001, flat_plan())


def test_lengths_of_a_table_follow_the_plan():
    inches = plan(units="in", strings=6, scale={"length": 25.0}, board={"nut_width": 1.7})
    (reading,) = parse_readings(b"string,fret,cents,saddle_offset\n1,12,1,0.1\n", inches)
    assert reading.saddle_offset == pytest.approx(2.54)
    assert parse_readings(as_log([reading], inches), inches) == (reading,)


def test_a_log_keeps_what_a_recording_told():
    text = """string,fret,cents,doubt,glide,inharmonicity,source,note,pass
3,0,1.25,0.11,2.5,6.1e-05,recording,,1
3,12,-2.5,0.125,1.75,0.000244,recording,warble,1
3,17,3,0.5,,,recording,,1
2,12,4,0.25,0,,recording,,1
3,0,2,,,,,,2
3,12,0.5,,,,,,2
3,17,,,,,,"it warbles, badly",2
"""
    read = parse_readings(text.encode(), flat_plan())
    assert [(each.open, each.open_doubt) for each in read] == [(1.25, 0.11)] * 2 + [(0.0, 20.0)] + [(2.0, None)] * 2
    again = parse_readings(as_log(read, flat_plan()), flat_plan())
    assert [repr(each) for each in again] == [repr(each) for each in read]  # as one of them is not a number
    # A table of a meter is as it was.
    assert as_log(read[3:4], flat_plan()).splitlines()[1] == b"3,12,0.500,2.000,2,0.00000,"


def test_a_healthy_instrument_and_its_numbers_in_words():
    instrument = lay_out(flat_plan())
    found = intonate(instrument, parse_readings(table(read(healthy())), instrument.plan))
    assert not found.findings
    assert all(verdict.advice.direction == "leave" and not verdict.findings for verdict in found.strings)
