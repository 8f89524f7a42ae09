"""``slotwright survey --refret`` as a user meets it."""

import json

import pytest

ROWS = (
    "fret,width,radius,slot_width,slot_depth,crown_height\n"
    "1,44.1,184,0.60,1.9,0.8\n12,52.3,240,0.61,2.2,0.85\n22,56.8,,0.58,1.75,0.95\n"
)
WIRE = ("--wire", "tang_width=0.52", "--wire", "bead_width=0.78", "--wire", "tang_depth=1.6", "--wire", "height=1.2")


@pytest.fixture
def old(tmp_path):
    (tmp_path / "old.csv").write_text(ROWS)
    return "old.csv"


def test_text_and_json(run, old):
    asked = ("survey", old, "--refret", *WIRE, "--binding", "1.5", "--plane", "0.2")
    code, out, err = run(*asked)
    told = json.loads(run(*asked, "--json")[1])
    assert (code, err) == (0, "")
    assert [fret["fret"] for fret in told["frets"]] == list(range(1, 23))
    assert told["depth_needed"] == pytest.approx(1.8)
    assert [slot["fret"] for slot in told["slots"] if slot["deepen"]] == [1, 22]
    assert told["rise"]["nut"] == pytest.approx(1.2 - 0.2 - 0.8, abs=0.05)
    for finding in told["findings"]:
        assert finding["words"][1:] in out
    assert {finding["kind"] for finding in told["findings"]} == {
        "tang fit", "bead fit", "shallow slots", "crowns", "old nut"
    }  # fmt: skip
    assert "deepen" in out.lower()
    assert f"total: {told['total']:.0f} mm in 22 pieces" in out


def test_inches(run, tmp_path):
    inches = "fret,width\n1,1.74\n22,2.24\n"
    (tmp_path / "in.csv").write_text(inches)
    (tmp_path / "mm.csv").write_text("fret,width\n1,44.196\n22,56.896\n")
    one = json.loads(run("survey", "in.csv", "--refret", "--unit", "in", "--wire", "overhang=0.1", "--json")[1])
    other = json.loads(run("survey", "mm.csv", "--refret", "--wire", "overhang=0.1 in", "--json")[1])
    for a, b in zip(one["frets"], other["frets"], strict=True):
        assert a == pytest.approx(b)
    assert (
        f"total: {one['total'] / 25.4:.3f} in"
        in run("survey", "in.csv", "--refret", "--unit", "in", "--wire", "overhang=0.1")[1]
    )


def test_some_frets_and_csv(run, old):
    out = run("survey", old, "--refret", *WIRE, "--only", "1-3, 12")[1]
    assert "1 by 0.25 mm" in out
    assert "in 4 pieces" in out
    told = json.loads(run("survey", old, "--refret", *WIRE, "--only", "1-3,12", "--json")[1])
    assert [step["fret"] for step in told["steps"]] == [1, 2, 3, 12]
    code, table, _ = run("survey", old, "--refret", *WIRE, "--csv")
    assert code == 0
    assert table.splitlines()[0].startswith("fret,over the board [mm],cut [mm]")
    assert len(table.splitlines()) == 23


def test_what_is_lacking_is_asked_for(run, old):
    out = run("survey", old, "--refret")[1]
    for key in ("tang_width", "tang_depth", "height"):
        assert f"is not known without --wire {key}=LEN." in out


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--plane", "12"], "--plane: given"),
        (["--wire", "tang_width=3"], "--wire tang_width: given"),
        (["--wire", "tang_width=0.6", "--wire", "bead_width=0.5"], "--wire bead_width: less than tang_width"),
        (["--wire", "tang=0.5"], "allowed NAME=LEN, NAME one of tang_width"),
        (["--wire", "height=1", "--wire", "height=1.1"], "--wire: height is given twice"),
        (["--plan", "new.toml"], "--refret excludes --plan"),
        (["--strings", "6"], "--refret excludes --strings"),
        (["--binding", "x"], "--binding: given"),
        (["--only", "3-1"], "ends before it begins"),
        (["--only", "1,,3"], "write frets as 1-5,7"),
        (["--only", "0-3"], "write frets as 1-5,7"),
        (["--only", "9" * 5000], "write frets as 1-5,7"),
        (["--only", "23"], "fret 23 of 22"),
    ],
)
def test_refused(run, old, options, words):
    code, out, err = run("survey", old, "--refret", *options)
    assert (code, out) == (2, "")
    assert words in err


def test_its_options_belong_to_it(run, old):
    code, _, err = run("survey", old, "--plane", "0.2")
    assert code == 2
    assert "--plane belongs to --refret" in err
