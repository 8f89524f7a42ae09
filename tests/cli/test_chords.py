"""``compensate --chords``: what the shapes of the aims sound like."""

import json

import pytest

PLAN = """title = "Heron"
strings = { set = "electric 10-46" }
[scale]
length = 628
[board]
nut_width = 42.5
[compensation]
aim = [{ chords = ["x32010", "x 10 12 12 12 10", "xxx5xx"] }]
"""


@pytest.fixture
def heron(tmp_path):
    (tmp_path / "heron.toml").write_text(PLAN)
    return "heron.toml"


def signed(text):
    return float(text.replace("\u2212", "-"))


def test_the_pairs_furthest_off_are_printed(run, heron):
    code, out, err = run("compensate", heron, "--chords")
    assert (code, err) == (0, "")
    head, *rows = out.splitlines()[1:]
    assert head.split("  ")[0].strip() == "chord"
    told = {each["chord"]: each for each in json.loads(run("compensate", heron, "--chords", "--json")[1])["chords"]}
    first = told["x32010"]["pairs"]
    assert len(first) == 10
    assert [abs(pair["after"]) for pair in first] == sorted((abs(pair["after"]) for pair in first), reverse=True)
    for row, pair in zip(rows, first[:3], strict=False):
        strings, rest = ", ".join(map(str, pair["strings"])), row.split()
        assert strings in row
        printed = [signed(text) for text in rest[-4:]]
        exact = [pair[key] for key in ("before", "after", "from_pure_before", "from_pure_after")]
        assert printed == pytest.approx(exact, abs=0.005)
    assert rows[3].startswith("x 10 12 12 12 10")
    assert rows[6].split() == ["xxx5xx", "3", "C4"]  # one note alone
    assert told["xxx5xx"]["pairs"] == []
    assert told["xxx5xx"]["notes"][0]["frequency"] == pytest.approx(261.6256, abs=1e-4)
    assert "pure: against the nearest pure interval" in out


def test_other_divisions_say_that_the_column_is_left_out(run, tmp_path, heron):
    (tmp_path / heron).write_text(PLAN.replace("[board]", "[frets]\ndivisions = 19\ncount = 30\n[board]"))
    code, out, _ = run("compensate", heron, "--chords")
    assert code == 0
    assert "not compared with pure intervals" in out
    assert "pure before" not in out
    pairs = json.loads(run("compensate", heron, "--chords", "--json")[1])["chords"][0]["pairs"]
    assert {pair["from_pure_after"] for pair in pairs} == {None}


def test_low_chords_are_warned_of(run, tmp_path, heron):
    (tmp_path / heron).write_text(PLAN.replace(', "x 10 12 12 12 10"', ""))
    said = "warning: no chord frets strings 2, 4, 5 further up than fret 1, 2, 3"
    for more in (["compensate", "--chords"], ["compensate"]):  # beside the table, before it says that all is well
        assert said in run(*more[:1], heron, *more[1:])[2]
    assert said in run("check", heron)[1]
    assert "low chords" in {f["kind"] for f in json.loads(run("compensate", heron, "--json")[1])["findings"]}
    assert "low chords" in {f["kind"] for f in json.loads(run("check", heron, "--json")[1])["findings"]}


def test_worst_with_chords(run, tmp_path, heron):
    (tmp_path / heron).write_text(PLAN.replace("aim", 'minimise = "worst"\naim'))
    assert run("compensate", heron, "--chords")[0] == 0


@pytest.mark.parametrize("more", [["--slip"], ["--explain", "1"]])
def test_what_does_not_go_with_it(run, heron, more):
    code, out, err = run("compensate", heron, "--chords", *more)
    assert (code, out) == (2, "")
    assert "--chords excludes" in err


def test_a_plan_without_chords_is_refused(run):
    run("new", "heron")
    code, out, err = run("compensate", "heron.toml", "--chords")
    assert (code, out) == (2, "")
    assert 'it has no target chords; write aim = [{ chords = ["x32010", "x 10 12 12 12 10"] }]' in err


def test_the_report_shows_them(run, tmp_path, heron):
    assert run("report", heron)[0] == 0
    page = (tmp_path / "heron.html").read_text("utf-8")
    assert '<section id="chords">' in page
    assert "x 10 12 12 12 10" in page
    assert "one note alone" in page
    assert "Helmholtz" in page
    run("new", "crane")
    run("report", "crane.toml")
    assert 'id="chords"' not in (tmp_path / "crane.html").read_text("utf-8")
