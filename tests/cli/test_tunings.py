"""Several tunings as a user meets them."""

import json
import os

import pytest

TUNING = "D2 A2 D3 G3 A3 D4"


def planned(heron, *tunings):
    text = heron.read_text("utf-8")
    heron.write_text(text.replace('units = "mm"\n', f'units = "mm"\ntunings = {json.dumps(tunings)}\n'), "utf-8")


def test_option_and_plan_say_the_same(run, heron):
    plain = json.loads(run("compensate", heron, "--json")[1])
    assert "tunings" not in plain
    code, given, err = run("compensate", heron, "--tuning", TUNING, "--json")
    assert (code, err) == (0, "")
    planned(heron, TUNING)
    assert run("compensate", heron, "--json")[1] == given
    told = json.loads(given)
    assert [each["tuning"] for each in told["tunings"]] == ["E2 A2 D3 G3 B3 E4", TUNING]
    for each in told["tunings"]:
        assert [string["string"] for string in each["strings"]] == [1, 2, 3, 4, 5, 6]
        for string in each["strings"]:
            assert set(string) == {"string", "rms_cents", "worst_cents", "own_best_rms", "own_best_worst"}
            assert 0 <= string["own_best_rms"] <= string["rms_cents"] + 1e-9
    own = told["tunings"][0]["strings"]
    assert [each["rms_cents"] for each in own] == pytest.approx([s["rms_cents"] for s in told["strings"]])
    assert told["strings"][5]["saddle_offset"] > plain["strings"][5]["saddle_offset"] + 0.1
    assert told["strings"][3]["saddle_offset"] == pytest.approx(plain["strings"][3]["saddle_offset"], abs=1e-9)


def test_given_tunings_replace_those_of_the_plan(run, heron):
    planned(heron, TUNING)
    told = json.loads(run("compensate", heron, "--json", "--tuning", "D2 G2 D3 G3 B3 D4")[1])
    assert [each["tuning"] for each in told["tunings"]] == ["E2 A2 D3 G3 B3 E4", "D2 G2 D3 G3 B3 D4"]


def test_table(run, heron):
    code, out, err = run("compensate", heron, "--tuning", TUNING, "--tuning", "D2 G2 D3 G3 B3 D4")
    assert (code, err) == (0, "")
    assert "what each tuning loses" in out
    for tuning in ("E2 A2 D3 G3 B3 E4", TUNING, "D2 G2 D3 G3 B3 D4"):
        assert sum(line.startswith(tuning) for line in out.splitlines()) == 1
    assert "at its own pitch" in out
    assert "tuning" not in run("compensate", heron)[1]


def test_what_the_other_tunings_cost(run, heron):
    heron.write_text(heron.read_text("utf-8").replace("tolerance = 2.0", "tolerance = 1.0"), "utf-8")
    assert (
        "string 6: \u22121.26 cents remain at fret 12; without the other tunings it could have 0.00"
        in run("compensate", heron, "--tuning", TUNING)[1]
    )


@pytest.mark.parametrize(
    ("tuning", "says"),
    [
        ("D2 A2", '--tuning "D2 A2": 2 pitches for 6 strings'),
        ("D2 A2 D3 G3 A3 H4", 'given "H4"; a pitch is written like'),
        ("E2 A2 D3 G3 B3 C5", '--tuning "E2 A2 D3 G3 B3 C5": string 1: at this pitch'),
        ("E2 A2 D3 G3 B3 C5", "lower its pitch"),
        ("E4 B3 G3 D3 A2 E2", "a tuning is written lowest string first, and the other way round this one holds"),
    ],
)
def test_refused(run, heron, tuning, says):
    code, out, err = run("compensate", heron, "--tuning", tuning, "--plot", "p.svg")
    assert (code, out) == (2, "")
    assert err.startswith("slotwright: --tuning")
    assert says in err
    assert os.listdir() == ["heron.toml"]


def test_the_drawings_of_a_plan_with_tunings(run, heron):
    def board():
        assert run("draw", heron, "--sheet", "board", "--format", "svg", "--force")[0] == 0
        return (heron.parent / "heron-board.svg").read_text("utf-8")

    plain = board()
    planned(heron, TUNING)
    back = json.loads(run("compensate", heron, "--json")[1])["strings"][5]["saddle_offset"]
    assert f">{back:.2f}</text>" in board()
    assert f"set back {back:.2f}" not in plain
