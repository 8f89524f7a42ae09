"""Readings on the desk: typed, in rounds, from a recording; what they ask for is what the bench says."""

from pathlib import Path

import numpy as np
import pytest
from forward import flat_plan, healthy
from helpers import STARTERS, some
from sound import takes

from slotwright.cli.desk.bench import bench
from slotwright.cli.desk.rounds import Table, keep, listen, next_round, put, with_fret, with_recording
from slotwright.cli.desk.state import Clash, Desk, Refused, begin, edit, go_to
from slotwright.layout.bench.diagnosis import intonate
from slotwright.layout.readings.notes import parse_readings
from slotwright.templates import starters

SIX = starters()["electric-six"].encode()
TABLE = Path("heron-readings.csv")


def typed(desk, cells):
    for cell, given in cells.items():
        desk = put(desk, cell, given, Table(desk).cell(cell))
        assert isinstance(desk, Desk), (cell, desk)
    return desk


def read(desk):
    return parse_readings(desk.bench.readings, desk.instrument.plan)


def test_moves_beside_the_table_are_those_of_the_bench():
    desk = typed(begin(SIX), {"3/0": "-1", "3/12": "6.5", "3/17": "7.25", "6/12": "\u22124 c", "1/12": "w"})
    rows = {row["string"]: row for row in bench(desk)["rows"]}
    found = {each.string: each.advice for each in intonate(desk.instrument, read(desk)).strings}
    assert rows[3]["order"]["way"] == "back"
    assert rows[3]["order"]["far"].main == f"{found[3].wanted:.2f}"
    assert rows[6]["order"]["way"] == "forward"
    assert found[1] is None
    assert (rows[1]["read"], rows[1]["order"]) == (True, None)
    assert [value for _, value in rows[3]["cells"]] == ["\u22121.00", "+6.50", "+7.25"]
    assert rows[1]["cells"][1] == (12, "w")
    assert "string 1: magnets" in " ".join(bench(desk)["found"])


@pytest.mark.parametrize("name", some(STARTERS))
def test_every_starter_has_a_bench(name):
    desk = begin(starters()[name].encode())
    told = bench(desk)
    assert len(told["rows"]) == len(desk.instrument.plan.strings)
    fret = told["frets"][0]
    told = bench(typed(desk, {f"1/{fret}": "5"}))
    assert told["rows"][0]["order"]["way"] in ("back", "forward", "leave it", "beyond its travel")


def test_hertz_are_taken_and_nonsense_is_not():
    desk = typed(begin(SIX), {"1/12": "660 hz"})
    assert read(desk)[0].cents == pytest.approx(1200 * np.log2(660 / (2 * 329.6275569)), abs=1e-3)
    for cell, given in (("1/12", "x"), ("1/12", "900"), ("7/12", "1"), ("1/23", "1"), ("1/moved", "1 mile"), ("1/0", "w"),
                        ("2/stands", "315"), ("1/stands", "12"), ("..", "1"), ("1/12/3", "1")):  # fmt: skip
        seen = Table(desk).cell(cell) if cell in ("1/12", "1/moved", "1/0", "2/stands", "1/stands") else ""
        assert isinstance(put(desk, cell, given, seen), Refused), (cell, given)
    assert put(desk, "1/12", "4", "9") == Clash("4", Table(desk).cell("1/12"))
    assert put(desk, "1/12", Table(desk).cell("1/12"), "whatever") is desk


def test_a_round_more_remembers_the_moves_that_were_asked_for():
    first = typed(begin(SIX), {"3/12": "6.5", "3/17": "7", "6/12": "-4", "2/12": "0.1"})
    asked = {each.string: each.wanted for each in intonate(first.instrument, read(first)).advices}
    desk = next_round(first)
    assert (desk.bench.round, sorted(desk.bench.moves)) == (2, [3, 6])
    assert Table(desk).cell("3/moved") == f"{asked[3]:.2f} back"
    assert Table(desk).cell("6/moved") == f"{-asked[6]:.2f} forward"
    assert isinstance(next_round(desk), Refused)
    # What was asked for is done: until it is read again nothing more is asked of that saddle.
    assert [row["awaited"] for row in bench(desk)["rows"]] == [False, False, True, False, False, True]
    assert not any(row["order"] and row["order"]["far"] for row in bench(desk)["rows"])
    third = next_round(typed(desk, {"6/12": "3"}))
    assert sorted(third.bench.moves) == [3, 6]
    assert third.bench.moves[3] == desk.bench.moves[3]
    # One was moved by hand another way, before it is read or after.
    desk = typed(desk, {"6/moved": "0.4 forward", "6/12": "0.5", "3/12": "0.3", "3/moved": "0.9"})
    moved = {(each.string, each.at): each.moved for each in read(desk)}
    assert (moved[6, 2], moved[3, 2], moved[3, 1]) == (-0.4, 0.9, 0.0)
    assert set(bench(desk)["before"]) == {1}
    # Back to before the round, and forward again.
    there = go_to(desk, first.at)
    assert (there.bench.round, there.bench.readings) == (1, first.bench.readings)
    assert go_to(there, desk.at).bench.readings == desk.bench.readings


def test_where_a_rule_finds_the_saddle_tells_what_travel_is_left():
    desk = typed(begin(SIX), {"3/12": "6.5", "3/stands": "316.2"})
    assert Table(desk).cell("3/stands") == "316.20"
    assert read(desk)[0].saddle_offset == pytest.approx(316.2 - 314.0, abs=0.05)
    assert 0 < float(bench(desk)["rows"][2]["order"]["left"]) < 9


def test_another_fret_is_a_column():
    desk = with_fret(begin(SIX), 5)
    assert bench(desk)["frets"] == [5, 12, 17]
    assert isinstance(with_fret(desk, 23), Refused)
    assert isinstance(with_fret(desk, 0), Refused)


def test_a_broken_table_is_told_and_the_plan_goes_on():
    desk = begin(SIX, b"string,fret,cents\n1,12,x\n")
    assert "line 2" in bench(desk)["faults"][0]
    assert isinstance(put(desk, "1/12", "1", ""), Refused)
    assert isinstance(next_round(desk), Refused)
    assert isinstance(keep(desk, "calibration"), Refused)
    assert edit(desk, "board.nut_width", "43", "42.5").instrument.plan.board.nut_width == 43


def test_what_readings_teach_is_kept_in_the_plan():
    world = healthy(stretch=1.3)
    text = f'title = "flat"\n{_toml(flat_plan())}'.encode()
    desk = begin(text)
    for string in range(3, 7):
        for fret, off in zip((1, 2, 3, 7, 12, 17), world.errors(string, (1, 2, 3, 7, 12, 17)), strict=True):
            desk = typed(desk, {f"{string}/{fret}": f"{off:.3f}"})
    taught = bench(desk)["taught"]
    assert taught
    kept = keep(desk, "calibration")
    assert kept.instrument.plan.calibration.stretch == pytest.approx(float(taught["stretch"][0]), abs=0.006)
    assert go_to(kept, desk.at).text == text
    assert isinstance(keep(begin(text), "calibration"), Refused)
    assert isinstance(keep(begin(text), "stiffness"), Refused)


def test_a_recording_is_read_into_the_round():
    order = [(3, 0), (3, 12), (2, 0), (2, 12)]
    take = takes.record(takes.plucks(healthy(), order, seed=8), takes.Around(snr=50.0), seed=8)
    sound = takes.wav(take.samples, take.rate, 24)
    heard = listen(begin(SIX), sound, ".wav", "3 2: 0 12")
    desk = with_recording(begin(SIX), heard, TABLE)
    told = {(each.string, each.fret): each.cents - each.open for each in read(desk)}
    for note, cents in take.cents().items():
        if note[1]:
            assert told[note] == pytest.approx(cents, abs=0.5)
    assert (bench(desk)["heard"]["notes"], bench(desk)["heard"]["missing"]) == (4, "")
    # A round of a meter and a recording do not go together; the next round does.
    mixed = typed(begin(SIX), {"3/12": "1"})
    assert isinstance(with_recording(mixed, heard, TABLE), Refused)
    after = with_recording(next_round(mixed), heard, TABLE)
    assert {each.at for each in read(after)} == {1, 2}
    for bad, played, words in ((b"", "", "no recording"), (sound[:5000], "", "0."), (sound, "9: 0", "9")):
        refused = listen(desk, bad, ".wav", played)
        assert words in str(refused.faults[0]), refused
        assert "/" not in str(refused.faults[0])


def _toml(plan):
    import tomlkit

    given = plan.contents()
    given.pop("title", None)
    return tomlkit.dumps(_without_none(given))


def _without_none(value):
    if isinstance(value, dict):
        return {key: _without_none(each) for key, each in value.items() if each is not None}
    if isinstance(value, list | tuple):
        return [_without_none(each) for each in value]
    return value
