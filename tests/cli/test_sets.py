"""A plan of one line: ``new --strings``, and every command on what it wrote."""

import json
import tomllib

import pytest
from helpers import FULL, STARTERS, some

from slotwright.layout.plan.plan import Plan
from slotwright.layout.plan.sets import SETS
from slotwright.templates import starters

FAMILIES = list({name.rpartition(" ")[0]: name for name in SETS}.values())


@pytest.mark.parametrize("name", SETS if FULL else FAMILIES)
def test_every_set_makes_a_plan_that_says_no_more_than_its_name(run, tmp_path, name):
    code, out, err = run("new", "mine", "--strings", name)
    assert (code, err) == (0, "")
    made = tomllib.loads((tmp_path / "mine.toml").read_text("utf-8"))
    assert made["strings"] == {"set": name}
    starter = out.split("from ")[1].split(";")[0]
    rest = {**tomllib.loads(starters()[starter]), "title": "mine", "strings": {"set": name}}
    assert made == rest
    assert [string.gauge for string in Plan.model_validate(made).strings] == [
        each.gauge for each in SETS[name].strings
    ]


@pytest.mark.parametrize("name", some(SETS, 3))
def test_check_frets_and_compensate_run_on_every_set(run, name):
    run("new", "mine", "--strings", name)
    code, out, err = run("check", "mine.toml")
    assert (code, err) == (0, "")
    assert "  strings.tuning " in out
    assert out.count("\n  strings[") == len(SETS[name].strings)
    assert run("frets", "mine.toml")[0] == 0
    told = json.loads(run("compensate", "mine.toml", "--json")[1])
    assert len(told["strings"]) == len(SETS[name].strings)
    assert json.loads(run("check", "mine.toml", "--json")[1])["assumed"]["strings.tuning"] == SETS[name].tuning


@pytest.mark.parametrize("name", some(FAMILIES, 1))
def test_draw_report_and_bench_run_on_every_family(run, tmp_path, name):
    run("new", "mine", "--strings", name)
    assert run("draw", "mine.toml", "--format", "svg")[0] == 0
    assert len(list(tmp_path.glob("mine-*.svg"))) >= 4
    assert run("report", "mine.toml")[0] == 0
    (tmp_path / "read.csv").write_text("string,fret,cents\n1,12,3.5\n2,12,-2.0\n")
    assert run("bench", "mine.toml", "read.csv")[0] == 0


def test_a_scale_of_its_own_takes_a_longer_blank(run, tmp_path):
    assert run("new", "a", "--strings", "acoustic 12-53", "--scale", "25 1/2 in")[0] == 0
    made = tomllib.loads((tmp_path / "a.toml").read_text("utf-8"))
    assert made["scale"] == {"length": "25 1/2 in"}
    assert made["blank"]["length"] == 19.75  # 1/8 longer than 19 1/2, to whole quarters
    assert run("new", "b", "--strings", "ukulele 28-41", "--scale", "432")[0] == 0
    made = tomllib.loads((tmp_path / "b.toml").read_text("utf-8"))
    assert (made["scale"], made["blank"]["length"]) == ({"length": 432}, 335)  # 52 longer than 280, to whole 5 mm
    assert run("new", "c", "--from", "bass-five-multiscale", "--scale", "34 in")[0] == 0
    made = tomllib.loads((tmp_path / "c.toml").read_text("utf-8"))
    assert made["scale"] == {"length": "34 in"}  # one scale in place of two
    assert made["blank"]["length"] == 720
    assert isinstance(made["strings"], list)
    # Of each unit, no longer of a bridge for all.
    assert not {"outline", "front", "holes"} & made["bridge"].keys()
    assert made["bridge"]["travel"] == 14
    assert json.loads(run("check", "c.toml", "--json")[1])["bridge"] == []
    assert all(run("check", f"{name}.toml")[0] == 0 for name in "abc")


@pytest.mark.parametrize("name", some(STARTERS, 3))
def test_a_set_and_a_scale_go_into_every_starter_and_nothing_else_changes(run, tmp_path, name):
    there = tomllib.loads(starters()[name])
    count = len(Plan.model_validate(there).strings)
    fitting = next(each for each, usual in SETS.items() if len(usual.strings) == count)
    length = there["scale"].get("length", "864 mm")
    said = f"{length} {there['units']}" if isinstance(length, float) else length
    code, _, err = run("new", "mine", "--from", name, "--strings", fitting, "--scale", said)
    if code:  # a set of another instrument may not hold at this pitch
        assert "of its breaking load" in err
        return
    made = tomllib.loads((tmp_path / "mine.toml").read_text("utf-8"))
    units = "length" not in there["scale"]  # of the bridge, which one scale has not
    kept = [key for key in there if key not in ("title", "strings", "scale", "blank", *["bridge"] * units)]
    assert {key: made[key] for key in kept} == {key: there[key] for key in kept}
    assert made["strings"] == {"set": fitting}
    text = (tmp_path / "mine.toml").read_text("utf-8")
    assert "Anderson" not in text  # what is remarked of other strings goes with them


def test_what_is_remarked_of_other_strings_goes_with_them(run, tmp_path):
    run("new", "mine", "--strings", "nylon hard")
    text = (tmp_path / "mine.toml").read_text("utf-8")
    assert "normal" in starters()["nylon-six"]
    assert "normal" not in text
    assert text.startswith('title = "mine"\nunits = "mm"\nstrings = { set = "nylon hard" }\n\n[job]\n')


@pytest.mark.parametrize(
    ("args", "says"),
    [
        (["--strings", "acustic 12-53"], 'no set of strings is called "acustic 12-53"; nearest: acoustic 12-53, '),
        (["--strings", ""], 'no set of strings is called ""; families: electric, acoustic, '),
        (
            ["--strings", "bass 45-105", "--from", "electric-six"],
            "electric-six has 6 strings, bass 45-105 has 4; take",
        ),
        (["--strings", "mandolin 10-34", "--from", "nowhere"], "no starter is called nowhere"),
        (
            ["--strings", "electric 10-46", "--scale", "45 in"],
            "strings.set: string 1: at this pitch and scale it bears",
        ),
        (["--scale", "long"], '--scale: given "long"'),
        (["--scale", "9999999"], '--scale: given "9999999"; allowed 100 to 2000 mm'),
        (["--scale", "25.5"], 'allowed 100 to 2000 mm; for inches write "25.5 in"'),
        (
            ["--scale", "648", "--from", "steel-six"],
            'allowed 3.937 to 78.74 in; for mm write "648 mm"',
        ),
        (["--scale", "-5"], '--scale: given "-5"; allowed'),
    ],
)
def test_what_new_refuses(run, tmp_path, args, says):
    code, out, err = run("new", "mine", *args)
    assert (code, out) == (2, "")
    assert says in err
    assert err.count("\n") == 1
    assert not list(tmp_path.iterdir())


def test_the_list_shows_every_set(run):
    out = run("new", "--list")[1]
    assert "tuning, lowest string first\n" in out
    for name, usual in SETS.items():
        line = next(line for line in out.splitlines() if line.startswith(name))
        assert line.endswith(usual.tuning)
    assert "electric 10-46              10 13 17 26w 36w 46w " in out


def test_restring_takes_a_plan_with_a_set(run, tmp_path):
    run("new", "now", "--strings", "electric 10-46")
    run("new", "then", "--strings", "electric 9-42")
    (tmp_path / "read.csv").write_text("string,fret,cents\n" + "".join(f"{n},12,1.5\n" for n in range(1, 7)))
    code, out, _ = run("bench", "now.toml", "read.csv", "--restring", "then.toml")
    assert code == 0
    assert "string" in out
    code, out, err = run("compensate", "then.toml", "--tuning", "D2 A2 D3 G3 A3 D4")
    assert (code, err) == (0, "")
    assert "D2 A2 D3 G3 A3 D4" in out
