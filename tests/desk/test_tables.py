"""Whole tables put into a plan and taken out."""

import pytest
from helpers import STARTERS, some

from slotwright.cli.desk.state import Desk, Refused, begin, go_to
from slotwright.cli.desk.tables import add, additions, removable, take_out
from slotwright.layout.plan.reader import contents_of
from slotwright.templates import starters

SIX = starters()["electric-six"].encode()


@pytest.mark.parametrize("name", some(STARTERS, 2))
def test_what_is_offered_can_be_put_in_drawn_and_undone(name):
    text = starters()[name].encode()
    desk = begin(text)
    told = [line.partition("#")[2] for line in text.decode().splitlines() if "#" in line]
    for what in additions(desk.instrument):
        made = add(desk, what)
        if isinstance(made, Refused):  # a board or a bridge may have no room for one more
            assert what == "string", made
            continue
        if "scale" not in what and what != "width at a fret":  # there the remark goes with the key that is replaced
            assert all(words in made.text.decode() for words in told), what
        assert go_to(made, 0).text == text
        assert what not in additions(made.instrument) or what in ("aim", "template", "string")
        assert contents_of(made.text) != contents_of(text)


@pytest.mark.parametrize("name", some(STARTERS, 2))
def test_what_may_be_taken_out_is_gone_and_comes_back(name):
    text = starters()[name].encode()
    desk = begin(text)
    gone = 0
    for paths in removable(desk).values():
        for path, called in paths:
            assert "[" not in called
            made = take_out(desk, path)
            if isinstance(made, Desk):
                gone += 1
                assert len(made.text) < len(text)
                assert contents_of(made.text) != contents_of(text)
                assert go_to(made, 0).text == text
    assert gone


def test_one_scale_becomes_two_and_one_again():
    two = add(
        begin(b'title = "t"\nstrings = 6\nscale = { length = 648 }\nboard = { nut_width = 43 }\n'), "two scales"
    )
    assert (two.instrument.plan.scale.treble, two.instrument.plan.scale.bass) == (648.0, 648.0)
    assert add(two, "one scale").instrument.plan.scale.length == 648.0


def test_an_aim_is_divided():
    desk = add(begin(SIX), "aim")
    aims = desk.instrument.plan.compensation.aim
    assert sorted(string for aim in aims for string in aim.strings) == [1, 2, 3, 4, 5, 6]
    assert len(aims) == 1 + len(begin(SIX).instrument.plan.compensation.aim)


def test_nothing_else_is_touched():
    desk = begin(SIX)
    for what in ("", "blank", "machine", "../x"):  # the first two are there already
        assert isinstance(add(desk, what), Refused), what
    for path in (
        "",
        "title",
        "board",
        "scale",
        "strings",
        "x",
        "board.nut_width",
        "[1]",
        "machine.cutters[9]",
        "aim[0]",
    ):
        assert isinstance(take_out(desk, path), Refused), path
