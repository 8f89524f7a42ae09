"""A table of readings changed in one place: the rest stays, and it means what was typed."""

import math

import pytest
from helpers import contents

from slotwright.layout.instrument.instrument import lay_out
from slotwright.layout.plan.plan import Plan
from slotwright.layout.readings.kept import Kept
from slotwright.layout.readings.log import as_it_stands, form_of
from slotwright.layout.readings.notes import Reading, parse_readings

PLAN = Plan.model_validate(
    contents(strings=[{"pitch": pitch, "gauge": 0.4, "kind": "plain steel"} for pitch in ("E4", "B3")])
)
HEAD = b"string,fret,pass,moved,open,note,cents,saddle_offset\n"
TABLE = b"string,fret,cents,open,pass,note\n1,12,-2.5,1,1,first\n1,17,-3,1,1,\n2,12,4,0,1,\n2,12,5,0,1,again\n"


def means(kept):
    found = parse_readings(kept.text(), PLAN)
    return [(each.string, each.fret, each.at, each.cents, each.open, each.moved) for each in found]


def test_nothing_is_an_empty_table():
    kept = Kept.of(b"", PLAN)
    assert (kept.last, means(kept)) == (0, [])
    assert means(kept.with_note(2, 12, 1, -1.25)) == [(2, 12, 1, -1.25, 0.0, 0.0)]


def test_one_reading_changes_and_all_else_stays():
    kept = Kept.of(TABLE, PLAN)
    after = kept.with_note(1, 17, 1, 6.0)
    assert after.text().decode().splitlines()[:2] == TABLE.decode().splitlines()[:2]
    assert means(after) == [(1, 12, 1, -2.5, 1, 0), (1, 17, 1, 6, 1, 0), (2, 12, 1, 4, 0, 0), (2, 12, 1, 5, 0, 0)]
    assert after.with_note(1, 17, 1, -3.0).text() == TABLE


def test_a_reading_stands_for_all_that_were_averaged_and_can_be_taken_away():
    kept = Kept.of(TABLE, PLAN)
    assert kept.note(2, 12, 1, PLAN) == (4.5, False)
    assert means(kept.with_note(2, 12, 1, 7.0))[-1] == (2, 12, 1, 7, 0, 0)
    assert len(means(kept.with_note(2, 12, 1, 7.0))) == 3
    assert [each[:2] for each in means(kept.with_note(2, 12, 1, None))] == [(1, 12), (1, 17)]
    assert kept.with_note(2, 15, 1, None) is kept


def test_a_new_reading_keeps_the_tuning_and_the_move_that_its_string_has():
    kept = Kept.of(TABLE, PLAN).with_place(1, 1, "moved", 0.5, PLAN)
    assert means(kept.with_note(1, 5, 1, 2.0))[-1] == (1, 5, 1, 2, 1, 0.5)
    # The open string of a table with that column is changed there; of another, it is a row of fret 0.
    assert [each[4] for each in means(kept.with_note(1, 0, 1, -4.0))] == [-4, -4, 0, 0]
    other = Kept.of(b"", PLAN).with_note(1, 0, 1, 3.0).with_note(1, 12, 1, 5.0)
    assert means(other) == [(1, 12, 1, 5, 3, 0)]
    assert other.note(1, 0, 1, PLAN) == (3.0, False)


def test_hertz_are_read_and_given_way_to():
    kept = Kept.of(b"string;fret;hz;cents\n1;12;659,6;\n2;12;;-1,5\n", PLAN)
    octave = 2 * 329.6275569  # E4 at 440 Hz, from the equal temperament
    assert kept.note(1, 12, 1, PLAN)[0] == pytest.approx(1200 * math.log2(659.6 / octave), abs=1e-4)
    after = kept.with_note(1, 12, 2, 1.5).with_note(1, 12, 1, 2.5)
    assert after.text().decode().splitlines() == [
        "string;fret;hz;cents;pass",
        "1;12;;2,5;",
        "2;12;;-1,5;",
        "1;12;;1,5;2",
    ]
    assert after.last == 2


@pytest.mark.parametrize("column", ["moved", "from_fret_12", "saddle_offset"])
def test_a_place_is_told_once_for_a_string(column):
    kept = Kept.of(TABLE, PLAN)
    neck = lay_out(PLAN).neck
    length = 0.75 + (neck.scales[0] / 2 if column == "from_fret_12" else 0.0)  # fret 12 halves every string
    told = parse_readings(kept.with_place(1, 1, column, length, PLAN).text(), PLAN)
    found = [each.moved if column == "moved" else each.saddle_offset for each in told]
    assert found[:2] == [pytest.approx(0.75, abs=1e-5)] * 2
    assert found[2:] == [0.0 if column == "moved" else None] * 2
    gone = parse_readings(
        kept.with_place(1, 1, column, length, PLAN).with_place(1, 1, column, None, PLAN).text(), PLAN
    )
    assert [(each.moved, each.saddle_offset) for each in gone] == [(0.0, None)] * 4


@pytest.mark.parametrize(("units", "place"), [("mm", b"2.00000"), ("in", b"0.07874")])
def test_a_row_says_where_the_saddle_stood(units, place):
    plan = PLAN.model_copy(update={"units": units})
    row = form_of(HEAD, plan).row(Reading(1, 12, 3.0, saddle_offset=2.0), plan)
    assert row.strip().split(b",")[-1] == place
    (again,) = parse_readings(HEAD + row, plan)
    assert again.saddle_offset == pytest.approx(2.0, abs=1e-3)


def test_a_reading_keeps_its_pass_unless_others_were_written_meanwhile():
    before, now = Reading(1, 12, 3.0), Reading(1, 12, 1.0, at=2, moved=0.5)
    assert as_it_stands(now, (before,)) == now
    joined = as_it_stands(now, (before, Reading(1, 12, 2.0, at=3, moved=-0.25)))
    assert (joined.at, joined.moved) == (3, -0.25)
