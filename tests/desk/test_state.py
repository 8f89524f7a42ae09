"""A plan on the desk: edits, what they change, and the way back."""

import re
import tomllib

import pytest
from helpers import FULL, STARTERS, some

from slotwright.cli.desk.entries import entries
from slotwright.cli.desk.facts import changes, facts
from slotwright.cli.desk.state import Clash, Desk, Refused, begin, edit, go_to, merged, taken_in, value_of
from slotwright.cli.desk.values import named, shown, written
from slotwright.layout.instrument.instrument import lay_out
from slotwright.layout.plan.reader import parse_plan
from slotwright.layout.plan.writer import restated
from slotwright.templates import starters

SIX = starters()["electric-six"].encode()


def put(desk, key, given):
    return edit(desk, key, given, value_of(desk.text, key))


def one_of_each(desk):
    """Give the keys that a plan states; of those in a list of tables, the last row's."""
    return tuple({re.sub(r"\d+", "n", each.path): each for each in entries(desk) if each.value}.values())


def lines(text):
    return text.decode().splitlines()


@pytest.mark.parametrize(
    ("key", "given", "length"),
    [
        ("scale.length", "25 1/2 in", 647.7),
        ("scale.length", '25-1/2"', 647.7),
        ("scale.length", "64.8 cm", 648.0),
        ("scale.length", "650", 650.0),
        ("scale.length", "628,5", 628.5),
        ("scale.length", "25,5 in", 647.7),
        ("board.nut_width", "1.7 in", 43.18),
        ("strings[3].gauge", ".018 in", 0.4572),
        ("kerf", ".15", 0.15),
    ],
)
def test_any_unit_a_plan_takes(key, given, length):
    after = put(begin(SIX), key, given)
    found = parse_plan(after.text)
    *way, last = key.split(".")
    table = found.strings[2] if key.startswith("strings") else getattr(found, way[0]) if way else found
    assert getattr(table, last) == pytest.approx(length, abs=1e-9)


def test_one_line_changes_and_its_comment_stays():
    before, after = lines(SIX), lines(put(begin(SIX), "setup.action", "1.6, 2.0").text)
    (place,) = [n for n, pair in enumerate(zip(before, after, strict=True)) if pair[0] != pair[1]]
    assert before[place].startswith("action = [1.5, 1.9]")
    assert after[place].startswith("action = [1.6, 2.0]")
    assert after[place].endswith("# above fret 12")


@pytest.mark.parametrize("name", some(STARTERS))
def test_what_stands_there_sent_unchanged_is_no_edit(name):
    desk = begin(starters()[name].encode())
    assert all(put(desk, entry.path, entry.value) is desk for entry in entries(desk))


@pytest.mark.parametrize("name", some(STARTERS))
def test_what_a_key_is_given_and_taken_again(name):
    """Every key that a plan states, written as it is shown, means the same; taken out and back, too."""
    desk = begin(starters()[name].encode())
    whole = tomllib.loads(desk.text.decode())
    for entry in one_of_each(desk)[:: 1 if FULL else 5]:
        blank = restated(desk.text, entry.path, None)
        assert tomllib.loads(blank.decode()) != whole
        means = [tomllib.loads(restated(blank, entry.path, each).decode()) for each in written(entry.value)]
        assert whole in means, entry.path


@pytest.mark.parametrize("name", some(STARTERS))
def test_every_comment_outlives_every_edit(name):
    text = starters()[name].encode()
    desk = begin(text)
    told = [line.partition("#")[2] for line in lines(text) if "#" in line]
    for entry in one_of_each(desk):
        kept = restated(text, entry.path, '"x"').decode()
        assert all(words in kept for words in told), entry.path


def test_undo_and_redo_give_the_same_bytes():
    desk = begin(SIX)
    texts = [SIX]
    for key, given in (("board.nut_width", "43"), ("scale.length", "25.5 in"), ("kerf", "0.1"), ("kerf", "")):
        desk = put(desk, key, given)
        texts.append(desk.text)
    for at in (3, 2, 1, 0, 4, 2, 0, 1):
        desk = go_to(desk, at)
        assert (desk.text, desk.at, len(desk.steps)) == (texts[at], at, 5)
    # An edit from there leaves what came behind.
    desk = put(desk, "kerf", "0.2")
    assert [step.text for step in desk.steps[:2]] == texts[:2]
    assert (len(desk.steps), desk.at) == (3, 2)
    assert go_to(desk, 9) is desk


def test_an_empty_text_takes_a_key_out():
    desk = put(begin(SIX), "board.string_spread_nut", "")
    assert "string_spread_nut" not in desk.text.decode()
    assert desk.instrument.plan.spread_nut == pytest.approx(42.5 - 2 * 3.2)
    assert isinstance(put(desk, "board.nut_width", ""), Refused)


def test_faults_are_all_named_and_nothing_changes():
    desk = begin(SIX)
    refused = put(desk, "frets.count", "11")
    assert {fault.where for fault in refused.faults} >= {"board.joint_fret", "board.position_marks"}
    assert desk.text == SIX
    for given in ("broad", "42,5,1", "430", "[1", "\ud800", "a\nb", "x" * 3000, "[" * 900):
        assert isinstance(put(desk, "board.nut_width", given), Refused), given
    assert isinstance(put(desk, "no.such[1].place", "1"), Refused)


def test_no_path_and_no_text_does_harm():
    desk = begin(SIX)
    for path in ("", "a", "[1]", "strings[0].gauge", "strings[99].gauge", "strings", "title.x", "board[1]", "board", "aim[1]", "..", "board.", "machine.cutters[1]"):  # fmt: skip
        for given in ("1", "{a = 1, a = 2}"):
            assert isinstance(put(desk, path, given), Refused), path
    for given in (
        "{a.b = 1, a = 2}",
        "[[[",
        "2020-01-01",
        "nan",
        "0x1F",
        '"""',
        "{",
        "99999999999999999999999",
        "\u2028",
    ):
        assert isinstance(put(desk, "board.nut_width", given), Refused), given


def test_text_that_looks_like_something_else():
    for key, given in (
        ("job.reference", "7"),
        ("job.date", "2026-01-02"),
        ("title", "Heron, the first"),
        ("title", '"'),
    ):
        assert value_of(put(begin(SIX), key, given).text, key) == given


def test_what_changed_is_told_in_figures():
    desk = put(begin(SIX), "board.nut_width", "43")
    told = {change.what: (change.before, change.after) for change in desk.changes}
    assert told["string 1 to edge at the nut"] == ("3.50 mm", "3.75 mm")  # (42.5 - 35.5) / 2, (43 - 35.5) / 2
    assert told["largest error"][0] == told["largest error"][1]
    assert "scale" not in told
    assert desk.words == "nut width 42.5 \u2192 43"
    wide = put(desk, "scale.length", "25.5 in")
    assert {change.what: change.after for change in wide.changes}["scale"] == "647.70 mm"
    assert wide.before is desk.instrument
    # A finding that comes with an edit goes with the next.
    tight = put(begin(SIX), "board.edge_margin", "1.8")
    assert any("from the edge" in words for words in tight.appeared)
    assert put(tight, "board.edge_margin", "3.2").settled == tight.appeared


@pytest.mark.parametrize("name", some(STARTERS))
def test_the_facts_of_every_starter(name):
    instrument = lay_out(parse_plan(starters()[name].encode()))
    assert all(facts(instrument).values())
    assert {change.what for change in changes(instrument, instrument)} <= {"largest error"}


def test_another_editor_is_taken_in_and_a_clash_loses_neither():
    desk = begin(SIX)
    theirs = SIX.replace(b"nut_width = 42.5", b"nut_width = 43.0").replace(b"relief = 0.20", b"relief = 0.25")
    met = taken_in(desk, theirs, b"")
    assert (met.instrument.plan.board.nut_width, met.text, met.faults) == (43.0, theirs, ())
    # Whoever typed against 42.5 sees both; what was typed against the value that stands there is taken.
    assert edit(met, "board.nut_width", "44", "42.5") == Clash("44", "43.0")
    assert edit(met, "board.nut_width", "44", "43.0").instrument.plan.board.nut_width == 44.0
    both = edit(met, "scale.length", "640", "628.0")
    assert (both.instrument.plan.board.nut_width, both.instrument.plan.setup.relief) == (43.0, 0.25)
    assert go_to(both, 0).text == SIX
    assert taken_in(met, theirs, b"") is met


def test_a_file_with_faults_keeps_the_last_good_picture_and_can_be_mended():
    spoilt = taken_in(
        begin(SIX), SIX.replace(b"nut_width = 42.5", b"nut_width = 900").replace(b"count = 22", b"count = 0"), b""
    )
    assert {fault.where for fault in spoilt.faults} == {"board.nut_width", "frets.count"}
    assert spoilt.instrument.plan.board.nut_width == 42.5
    half = put(spoilt, "frets.count", "22")
    assert isinstance(half, Desk)
    assert {fault.where for fault in half.faults} == {"board.nut_width"}
    assert put(half, "board.nut_width", "42.5").faults == ()
    broken = taken_in(begin(SIX), b"title = ", b"")
    assert broken.faults
    assert entries(broken) == ()
    assert isinstance(put(broken, "board.nut_width", "43"), Refused)


def test_unsaved_edits_are_laid_over_what_another_editor_wrote():
    """What each changed alone stays; where both changed one value the file's stands and both are told."""
    ours = put(put(begin(SIX), "board.nut_width", "43"), "setup.relief", "0.25").text
    theirs = put(put(begin(SIX), "board.nut_width", "44"), "scale.length", "640").text
    text, clashes = merged(SIX, ours, theirs)
    plan = parse_plan(text)
    assert (plan.board.nut_width, plan.setup.relief, plan.scale.length) == (44.0, 0.25, 640.0)
    assert clashes == ("nut width: 44 in the file, 43 here",)
    assert merged(SIX, SIX, theirs) == (theirs, ())
    assert merged(SIX, ours, b"title = ") == (b"title = ", ())
    gone = put(begin(SIX), "board.string_spread_nut", "").text
    assert b"string_spread_nut" not in merged(SIX, gone, theirs)[0]


def test_what_may_be_meant():
    assert written("yes")[0] == "true"
    assert written("1,5")[0] == "1.5"
    assert written("254,406")[0] == "[254, 406]"
    assert written("\u22120.5")[0] == "-0.5"
    assert written("43") == ("43", "[43]", '"43"')
    assert written(".5") == ("0.5", "[0.5]", '"0.5"')
    assert written("1.5, 1.9") == ("[1.5, 1.9]", '["1.5", "1.9"]', '"1.5, 1.9"', '["1.5, 1.9"]')
    assert written("1.5 mm, 0.1 in") == ('["1.5 mm", "0.1 in"]', '"1.5 mm, 0.1 in"', '["1.5 mm, 0.1 in"]')
    assert '["x32010", "133211"]' in written("x32010, 133211")
    assert written("[1, 2]")[0] == "[1, 2]"
    assert written("5 # no") == ('"5 # no"', '["5 # no"]')
    assert written("even gaps") == ('"even gaps"', '["even gaps"]')
    assert shown([1.5, "2 mm"]) == "1.5, 2 mm"
    assert shown([[1, 2], [3, 4]]) == "[[1, 2], [3, 4]]"
    assert shown(True) == "true"
    assert named("strings[3].core_shape") == "string 3 core shape"
    assert named("compensation.aim[2].frets") == "aim 2 frets"
    assert named("board.nut_width") == "nut width"
