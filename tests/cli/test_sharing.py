"""Strings that share a saddle as a user meets them."""

import json

import pytest

PLAN = """\
title = "Pair"
strings = [
  { pitch = "G3", gauge = "0.020 in", kind = "plain steel" },
  { pitch = "D3", gauge = "0.024 in", kind = "wound steel", core = "0.010 in" },
  { pitch = "A2", gauge = "0.036 in", kind = "wound steel" },
]
[scale]
length = 648
[frets]
count = 21
[board]
nut_width = 30
[setup]
action = [1.6, 1.9]
[compensation]
tolerance = 2
[[compensation.aim]]
strings = [1, 2, 3]
frets = [5, 7, 12]
[bridge]
kind = "individual saddles"
travel = 14
"""
GROUPS = "groups = [[1, 2]]\n"
WITHIN = "every string is within 2 cents at its target frets"


@pytest.fixture
def pair(tmp_path):
    path = tmp_path / "pair.toml"
    path.write_text(PLAN + GROUPS, "utf-8")
    return path


def test_no_promise_that_a_shared_saddle_does_not_keep(run, tmp_path, pair):
    """Each alone is within the tolerance, together they are not: the common place, and no promise."""
    apart = tmp_path / "apart.toml"
    apart.write_text(PLAN, "utf-8")
    _, alone, _ = run("compensate", apart)
    assert WITHIN in alone
    assert "saddle with" not in alone
    _, shared, _ = run("compensate", pair)
    assert WITHIN not in shared
    assert "saddle with" in shared.splitlines()[1]
    told = json.loads(run("compensate", pair, "--json")[1])
    first, second, third = told["strings"]
    assert [each["shared_with"] for each in told["strings"]] == [[2], [1], []]
    assert first["saddle_offset"] == second["saddle_offset"]
    assert not told["within_tolerance"]
    wishes = [each["saddle_offset"] for each in json.loads(run("compensate", apart, "--json")[1])["strings"]]
    assert [each["saddle_offset_alone"] for each in told["strings"]] == pytest.approx(wishes)
    assert min(wishes[:2]) + 0.5 < first["saddle_offset"] < max(wishes[:2]) - 0.5
    assert third["saddle_offset"] == wishes[2]
    backs = [f"{first['saddle_offset']:.2f}", f"{third['saddle_offset']:.2f}"]
    rows = [line.split("%")[1].split()[:3] for line in shared.splitlines()[2:4]]
    assert [(back, mate) for back, _, mate in rows] == [(backs[0], "2"), (backs[0], "1")]
    assert backs[1] in shared.splitlines()[4].split()
    # One line says what each loses.
    (lost,) = [line for line in shared.splitlines() if line.startswith("shared contacts against")]
    assert lost.count("string ") == 2
    assert f"string 1 {abs(first['saddle_offset'] - wishes[0]):.2f} " in lost
    assert f"{first['sharing_rms_cents']:+.2f} ({first['sharing_worst_cents']:+.2f})" in lost
    assert "a saddle of its own for each string (bridge.groups)" in shared


def test_a_string_is_explained_in_its_company(run, pair):
    _, said, _ = run("compensate", pair, "--explain", "2")
    told = json.loads(run("compensate", pair, "--json")[1])["strings"][1]
    line = said.splitlines()[2]
    assert line.startswith("it shares a saddle with string 1; alone it would be set back ")
    assert f"{told['saddle_offset_alone']:.2f}; sharing adds {told['sharing_rms_cents']:+.2f} cents" in line
    assert "shares a saddle" not in run("compensate", pair, "--explain", "3")[1]


def test_slips_start_from_the_common_place(run, pair):
    told = json.loads(run("compensate", pair, "--slip", "--json")[1])
    for string, slip in zip(told["strings"], told["slip"]["strings"], strict=True):
        assert slip["mean_square"]["as_drawn"] == pytest.approx(string["rms_cents"] ** 2)
        # Half the instruments read what the plan says, but for what a slip squared does.
        assert slip["median"] == pytest.approx(string["cents"], abs=0.15)


def test_the_bench_leaves_a_shared_saddle_that_reads_as_planned(run, tmp_path, pair):
    wide = PLAN.replace("tolerance = 2", "tolerance = 0.8") + GROUPS
    pair.write_text(wide, "utf-8")
    strings = json.loads(run("compensate", pair, "--json")[1])["strings"]
    rows = [f"{s['string']},{fret},{s['cents'][fret - 1]:.4f}" for s in strings for fret in (5, 7, 12)]
    log = tmp_path / "readings.csv"
    log.write_text("\n".join(("string,fret,cents", *rows)), "utf-8")
    told = json.loads(run("bench", pair, log, "--json")[1])["strings"]
    assert [each["move"] for each in told] == pytest.approx([0, 0, 0], abs=0.02)
    # What is left is laid to the sharing, not to too few readings.
    kinds = [[finding["kind"] for finding in each["findings"]] for each in told]
    assert ["shared contact" in each for each in kinds] == [True, True, False]
    said = run("bench", pair, log)[1]
    assert "it shares a contact with string 2: no place of that gets all of them below" in said
    assert "read more frets" not in said
