"""``slotwright survey`` as a user meets it."""

import io
import json
import os
import tomllib
import xml.etree.ElementTree as ET

import numpy as np
import pytest

FRETS = range(1, 23)
WIDTHS = ("--strings", 6, "--nut-width", 43, "--width", "52 mm")


def crowns(scale, *, seed=1, sigma=0.1, zero=1.2, frets=FRETS, eighteen=False, bad=()):
    rng, n = np.random.default_rng(seed), np.array(list(frets))
    left = (17 / 18) ** n if eighteen else 2.0 ** (-n / 12)
    read = zero + scale * (1 - left) + rng.normal(0, sigma, len(n))
    for fret, far in dict(bad).items():
        read[fret - 1] += far
    return dict(zip(n.tolist(), read.round(2).tolist(), strict=True))


def write(path, read, nut=None):
    rows = [f"{fret},{far}" for fret, far in read.items()]
    path.write_text("\n".join(["fret,distance", *([f"nut,{nut}"] if nut is not None else []), *rows]) + "\n")


def write_two(path, treble, bass):
    path.write_text("fret,treble,bass\n" + "".join(f"{n},{treble[n]},{bass[n]}\n" for n in treble))


def test_json_keeps_its_contract(run, tmp_path):
    write(tmp_path / "neck.csv", crowns(648, bad={7: 0.9}), nut=1.6)
    code, out, err = run("survey", "neck.csv", "--json")
    told = json.loads(out)
    assert (code, err) == (0, "")
    assert abs(told["scale"] - 648) < 4 * told["scale_error"]
    assert abs(told["nut_offset"] - 0.4) < 4 * told["nut_offset_error"]
    assert told["rule"] == "equal"
    assert told["saddle_from_fret_12"] == pytest.approx(told["scale"] / 2)
    assert [fret["fret"] for fret in told["frets"]] == list(FRETS)
    assert set(told["frets"][0]) == {"fret", "distance", "residual", "cents", "look_at"}
    assert [fret["fret"] for fret in told["frets"] if fret["look_at"]] == [7]
    assert told["frets"][6]["cents"] > 0
    assert "saddle" not in told


def test_without_a_nut_row_nothing_is_said_of_the_nut(run, tmp_path):
    write(tmp_path / "neck.csv", crowns(648))
    told = json.loads(run("survey", "neck.csv", "--json")[1])
    assert told["nut_offset"] is None
    assert told["nut_offset_error"] is None
    assert "nut face: not measured" in run("survey", "neck.csv")[1]


def test_findings_in_words(run, tmp_path):
    write(tmp_path / "neck.csv", crowns(648, sigma=0, bad={7: 0.9}), nut=1.6)
    code, out, _ = run("survey", "neck.csv")
    assert code == 0
    for words in (
        "scale: 648.00 \u00b1 0.1",
        "nut face: stands 0.40 \u00b1 0.17 toward fret 1 from where the frets put it",
        "look at fret 7: its crown stands 0.90 toward the bridge, 3.6 cents sharp",
        "fret spacing: 12 equal divisions explain the crowns best",
        "saddle line: 324.00 \u00b1 0.08 from fret 12 on both edges (at 649.20 on the ruler)",
        "before you cut",
    ):
        assert words in out
    write(tmp_path / "neck.csv", crowns(648, sigma=0, frets=range(1, 11)), nut=0.2)
    out = run("survey", "neck.csv")[1]
    assert "nut face: stands 1.00 \u00b1 0." in out
    assert "behind where the frets put it" in out
    assert "fret 12 was not measured; its place is 325.20 on the ruler" in out


def test_saddle_that_is_there(run, tmp_path):
    write(tmp_path / "neck.csv", crowns(648, sigma=0))
    told = json.loads(run("survey", "neck.csv", "--json", "--saddle", "326,12 1/2 in")[1])["saddle"]
    assert told["treble"]["behind"] == pytest.approx(2, abs=0.01)
    assert told["treble"]["move"] == pytest.approx(-2, abs=0.01)
    assert told["treble"]["cents_at_12"] == pytest.approx(1200 * np.log2((324 + 326) / 326 / 2), abs=0.05)
    assert told["bass"]["from_fret_12"] == pytest.approx(317.5)
    assert told["bass"]["cents_at_12"] > 0
    out = run("survey", "neck.csv", "--saddle", "326,322")[1]
    assert (
        "2.00 behind a true octave with this nut; lengths alone make fret 12 5.3 cents flat; 2.00 forward would"
        in out
    )
    assert (
        "2.00 before a true octave with this nut; lengths alone make fret 12 5.4 cents sharp; 2.00 back would" in out
    )
    assert "no fault yet" in out


@pytest.mark.parametrize("given", ["326", "326,1,2", "326;327", "a,b", "326,-1", "326,", "640,640", "320,100"])
def test_a_wrong_saddle_is_refused(run, tmp_path, given):
    write(tmp_path / "neck.csv", crowns(648))
    code, out, err = run("survey", "neck.csv", "--saddle", given)
    assert (code, out) == (2, "")
    assert "--saddle" in err


def test_two_edges(run, tmp_path):
    write_two(tmp_path / "fan.csv", crowns(635, seed=2), crowns(660, seed=3, zero=-4, bad={4: -1}))
    told = json.loads(run("survey", "fan.csv", "--json")[1])
    assert told["rule"] == "equal"
    assert told["treble"]["scale"] == pytest.approx(635, abs=1)
    assert told["bass"]["scale"] == pytest.approx(660, abs=1)
    assert [fret["fret"] for fret in told["bass"]["frets"] if fret["look_at"]] == [4]
    assert "frets" not in told
    out = run("survey", "fan.csv")[1]
    assert "bass look at fret 4: its crown stands" in out
    assert "on the treble edge" in out


def test_a_crown_may_be_measured_on_one_edge_only(run, tmp_path):
    (tmp_path / "fan.csv").write_text(
        "fret;treble;bass\nnut;0;\n1;36,4;37,1\n3;103,1;\n5;162,7;165,9\n12;324,0;330,2\n17;405,3;\n"
    )
    told = json.loads(run("survey", "fan.csv", "--json")[1])
    assert [fret["fret"] for fret in told["treble"]["frets"]] == [1, 3, 5, 12, 17]
    assert [fret["fret"] for fret in told["bass"]["frets"]] == [1, 5, 12]
    assert told["bass"]["nut_offset"] is None
    assert run("survey", "fan.csv")[0] == 0


def test_inches(run, tmp_path):
    write(tmp_path / "mm.csv", crowns(648))
    write(tmp_path / "in.csv", {n: round(x / 25.4, 4) for n, x in crowns(648).items()})
    mm, inches = (json.loads(run("survey", *args, "--json")[1]) for args in (("mm.csv",), ("in.csv", "--unit", "in")))
    assert inches["scale"] == pytest.approx(mm["scale"], abs=0.01)
    assert inches["frets"][3]["distance"] == pytest.approx(mm["frets"][3]["distance"], abs=0.01)
    assert "lengths in inches" in run("survey", "in.csv", "--unit", "in")[1]
    code, _, err = run("survey", "in.csv")
    assert (code, "--unit in" in err) == (2, True)


def test_the_sigma_that_is_stated_is_used(run, tmp_path):
    write(tmp_path / "neck.csv", crowns(648))
    usual, finer = (
        json.loads(run("survey", "neck.csv", "--json", *args)[1]) for args in ((), ("--sigma", "0.05 mm"))
    )
    assert usual["scale_error"] == pytest.approx(3 * finer["scale_error"], rel=0.05)
    assert run("survey", "neck.csv", "--sigma", "0")[0] == 2


@pytest.mark.parametrize("eighteen", [False, True])
@pytest.mark.parametrize("unit", ["mm", "in"])
def test_the_plan_draws_the_neck_that_is_there(run, tmp_path, eighteen, unit):
    size = 25.4 if unit == "in" else 1
    read = crowns(650, eighteen=eighteen, sigma=0.05)
    write(tmp_path / "neck.csv", {n: round(x / size, 5) for n, x in read.items()}, nut=1.2 / size)
    widths = ("--strings", 6, "--nut-width", 43 / size, "--width", "52 mm", "--spread-saddle", "50 mm")
    code, out, err = run(
        "survey",
        "neck.csv",
        "--unit",
        unit,
        "--sigma",
        "0.05 mm",
        "--plan",
        "found.toml",
        "--title",
        'Old "one"',
        *widths,
    )
    assert (code, err) == (0, "")
    assert "found.toml" in out
    assert run("check", "found.toml")[0] == 0
    drawn = json.loads(run("frets", "found.toml", "--json")[1])
    assert drawn["title"] == 'Old "one"'
    assert len(drawn["frets"]) == 23
    saddle, nut = drawn["strings"][2]["saddle"][0], drawn["strings"][2]["nut"][0]
    told = json.loads(run("survey", "neck.csv", "--unit", unit, "--sigma", "0.05 mm", "--json")[1])
    zero = 1.2 - told["nut_offset"]
    for fret in drawn["frets"][1:]:
        middle = float(np.mean([end[0] for end in fret["slot"]]))
        assert middle == pytest.approx(read[fret["fret"]] - zero, abs=0.25)  # five times the noise
    twelfth = float(np.mean([end[0] for end in drawn["frets"][12]["slot"]]))
    assert saddle - twelfth == pytest.approx(told["saddle_from_fret_12"], abs=0.002)
    assert saddle - nut == pytest.approx(2 * twelfth, abs=0.002)  # a true octave
    plan = tomllib.loads((tmp_path / "found.toml").read_text("utf-8"))
    assert plan["units"] == unit
    assert ("cents" in plan["frets"]) == eighteen
    assert (plan["board"]["string_spread_saddle"] * size) == pytest.approx(50, abs=1e-3)


def test_the_plan_of_two_edges(run, tmp_path):
    write_two(tmp_path / "fan.csv", crowns(635, seed=2), crowns(660, seed=3, zero=-4))
    assert run("survey", "fan.csv", "--plan", "fan.toml", *WIDTHS)[0] == 0
    scale = tomllib.loads((tmp_path / "fan.toml").read_text("utf-8"))["scale"]
    assert scale == {"treble": pytest.approx(635, abs=0.6), "bass": pytest.approx(660, abs=0.6), "square_fret": 7}
    assert run("check", "fan.toml")[0] == 0
    write_two(tmp_path / "par.csv", crowns(648.1, seed=2), crowns(648, seed=3))
    assert run("survey", "par.csv", "--plan", "par.toml", *WIDTHS)[0] == 0
    scale = tomllib.loads((tmp_path / "par.toml").read_text("utf-8"))["scale"]
    assert scale == {"length": pytest.approx(648, abs=0.6)}
    write_two(tmp_path / "odd.csv", crowns(660), crowns(635))
    code, out, err = run("survey", "odd.csv", "--plan", "odd.toml", *WIDTHS)
    assert (code, out) == (2, "")
    assert "swap the columns" in err
    assert not (tmp_path / "odd.toml").exists()


def test_what_the_plan_lacks_is_named(run, tmp_path, monkeypatch):
    write(tmp_path / "neck.csv", crowns(648))
    monkeypatch.setattr("sys.stdin", io.StringIO(""))
    code, out, err = run("survey", "neck.csv", "--plan", "found.toml", "--width", 52)
    assert (code, out) == (2, "")
    assert "--strings, --nut-width" in err
    assert "--width" not in err
    assert os.listdir() == ["neck.csv"]


class Terminal(io.StringIO):
    def isatty(self):
        return True


@pytest.mark.parametrize("spread", ["", "50"])
def test_what_the_plan_lacks_is_asked_for(run, tmp_path, monkeypatch, spread):
    write(tmp_path / "neck.csv", crowns(648))
    monkeypatch.setattr("sys.stdin", Terminal(f"0\n6\nwide\n43\n52\n{spread}\n"))
    code, out, err = run("survey", "neck.csv", "--plan", "found.toml", "--json")
    assert code == 0
    assert json.loads(out)["rule"] == "equal"
    assert "Width of the board at fret 12 [mm]" in err
    plan = tomllib.loads((tmp_path / "found.toml").read_text("utf-8"))
    assert plan["strings"] == 6
    assert plan["board"]["width_at"] == {"fret": 12, "width": 52}
    assert ("string_spread_saddle" in plan["board"]) == bool(spread)


def test_an_end_of_input_writes_nothing(run, tmp_path, monkeypatch):
    write(tmp_path / "neck.csv", crowns(648))
    monkeypatch.setattr("sys.stdin", Terminal("6\n"))
    code, out, err = run("survey", "neck.csv", "--plan", "found.toml", "--plot", "chart.svg")
    assert (code, out) == (2, "")
    assert "--nut-width, --width" in err
    assert os.listdir() == ["neck.csv"]


def test_widths_that_make_no_neck_are_refused(run, tmp_path):
    write(tmp_path / "neck.csv", crowns(648))
    code, _, err = run("survey", "neck.csv", "--plan", "found.toml", "--strings", 6, "--nut-width", 43, "--width", 20)
    assert code == 2
    assert "board.width_at" in err
    assert os.listdir() == ["neck.csv"]


def test_files_are_kept_unless_forced(run, tmp_path):
    write(tmp_path / "neck.csv", crowns(648))
    (tmp_path / "chart.svg").write_text("mine")
    asked = ("survey", "neck.csv", "--plan", "found.toml", "--plot", "chart.svg", *WIDTHS)
    code, out, err = run(*asked)
    assert (code, out) == (2, "")
    assert "--force" in err
    assert sorted(os.listdir()) == ["chart.svg", "neck.csv"]
    assert run(*asked, "--force")[0] == 0
    assert (tmp_path / "chart.svg").read_text("utf-8").startswith("<?xml")
    assert run("survey", "neck.csv", "--plot", "chart.pdf")[0] == 2
    assert run("survey", "neck.csv", "--plan", "plan.svg")[0] == 2


def test_chart_shows_every_crown_and_those_to_look_at(run, tmp_path):
    write_two(tmp_path / "fan.csv", crowns(635, bad={11: 1.0}), crowns(660, seed=3, zero=-4, bad={4: -30}))
    assert run("survey", "fan.csv", "--plot", "fan.svg")[0] == 0
    tree = ET.parse(tmp_path / "fan.svg").getroot()  # noqa: S314 - our own file
    circles = [e for e in tree.iter() if e.tag.endswith("circle")]
    filled = [e for e in circles if e.get("fill") != "#ffffff"]
    assert len(circles) == 43 + 2  # 44 crowns, one beyond the chart; two in the key
    assert len(filled) == 1 + 1
    height = float(tree.get("viewBox").split()[3])
    assert all(0 < float(e.get("cy")) < height for e in circles)
    # Toward the bridge is up.
    zero = next(float(e.get("y")) for e in tree.iter() if e.text == "0")
    assert float(filled[-1].get("cy")) < zero


BAD = {
    "empty": ("", ()),
    "header alone": ("fret,distance\n", ("distance",)),
    "no distances": ("fret\n1\n2\n3\n", ("distance",)),
    "one edge": ("fret,treble\n1,36\n2,70\n3,103\n", ("treble",)),
    "all three": ("fret,distance,treble,bass\n1,36,36,36\n", ("treble",)),
    "misspelt column": ("fret,distanse\n1,36\n2,70\n3,103\n", ("line 1", "distance")),
    "a word": ("fret,distance\n1,36\n2,far\n3,103\n", ("line 3", "distance", "far")),
    "no cell": ("fret,distance\n1,36\n2,\n3,103\n", ("line 3", "distance")),
    "fret 0": ("fret,distance\n0,0\n1,36\n2,70\n3,103\n", ("line 2", "fret", "nut")),
    "fret 61": ("fret,distance\n1,36\n2,70\n61,103\n", ("line 4", "fret", "60")),
    "half a fret": ("fret,distance\n1,36\n2.5,70\n3,103\n", ("line 3", "fret")),
    "twice": ("fret,distance\n1,36\n2,70\n3,103\n2,70.1\n", ("line 5", "fret", "line 3")),
    "nut twice": ("fret,distance\nnut,0\nnut,1\n1,36\n2,70\n3,103\n", ("line 3", "fret", "nut")),
    "swapped": ("fret,distance\n1,36\n2,103\n3,70\n4,133\n", ("line 4", "distance", "fret 3")),
    "swapped on one edge": ("fret,treble,bass\n1,36,37\n2,70,103\n3,103,70\n4,133,133\n", ("line 4", "column bass")),
    "nut beyond fret 1": ("fret,distance\n1,36\nnut,40\n2,70\n3,103\n", ("line 2", "distance", "the nut")),
    "two crowns": ("fret,distance\nnut,0\n1,36\n2,70\n", ("3 or more",)),
    "two on one edge": ("fret,treble,bass\n1,36,37\n2,70,\n3,103,104\n", ("bass", "3 or more")),
    "not a neck": ("fret,distance\n1,1\n2,2\n3,3\n4,4\n", ("scale", "--unit in")),
    "no frets": ("fret,distance\n1,1\n2,2\n3,3\n4,300\n5,1500\n", ("no fret spacing", "numbers")),
    "too far": ("fret,distance\n1,36\n2,70\n3,1e9\n", ("line 4", "distance")),
}  # fmt: skip


@pytest.mark.parametrize("name", BAD)
def test_bad_measurements_are_refused(run, tmp_path, name):
    text, words = BAD[name]
    (tmp_path / "neck.csv").write_text(text)
    code, out, err = run("survey", "neck.csv", "--plan", "found.toml", "--plot", "chart.svg", *WIDTHS)
    assert (code, out) == (2, "")
    assert err.startswith("slotwright: neck.csv: ")
    for word in words:
        assert word in err
    assert os.listdir() == ["neck.csv"]


def test_all_faults_at_once(run, tmp_path):
    (tmp_path / "neck.csv").write_text("fret,distance\n1,x\n2,70\n99,103\n4,133\n")
    err = run("survey", "neck.csv")[2]
    assert "2 errors" in err
    assert "line 2" in err
    assert "line 4" in err


def test_files_that_are_none(run, tmp_path):
    for path in ("gone.csv", "."):
        assert run("survey", path)[0] == 2
    (tmp_path / "large.csv").write_bytes(b"fret,distance\n" + b"1,36\n" * 300_000)
    assert run("survey", "large.csv")[0] == 2
    (tmp_path / "raw.csv").write_bytes(b"\xff\xfe\0\1")
    assert run("survey", "raw.csv")[0] == 2


def test_a_crown_beyond_the_saddle_has_no_pitch(run, tmp_path):
    write(tmp_path / "neck.csv", crowns(648, sigma=0, bad={22: 500}))
    told = json.loads(run("survey", "neck.csv", "--json")[1])
    assert told["frets"][-1]["cents"] is None
    assert told["frets"][-1]["look_at"]
    code, out, err = run("survey", "neck.csv")
    assert (code, err) == (0, "")
    assert "look at fret 22: its crown stands 500." in out


def test_the_name_of_a_file_that_is_no_text(run, tmp_path):
    name = b"neck-\xff.csv".decode("utf-8", "surrogateescape")
    crowns = "".join(f"{n},{648 - 648 / 2 ** (n / 12):.2f}\n" for n in range(1, 20))
    (tmp_path / name).write_text("fret,distance\n" + crowns)
    asked = ("--plan", "neck.toml", "--strings", "6", "--nut-width", "43", "--width", "52")
    assert run("survey", name, *asked)[0] == 0
    assert 'title = "neck-?"' in (tmp_path / "neck.toml").read_text("utf-8")


def test_no_rule_no_plan(run, tmp_path):
    crowns = "".join(f"{n},{2 + 648 * (1 - 2 ** (-n / 19)):.2f}\n" for n in range(1, 25))
    (tmp_path / "neck.csv").write_text(f"fret,distance\n{crowns}")
    code, out, err = run("survey", "neck.csv", "--plan", "neck.toml", "--plot", "neck.svg", "--strings", "6")
    assert (code, out) == (2, "")
    assert "no fret spacing explains these crowns" in err
    assert "--divisions 19" in err
    code, out, _ = run("survey", "neck.csv", "--json")
    told = json.loads(out)
    assert (code, told["rule"], told["scale"], told["explained_by"]) == (2, "none", None, [19])
    assert len(told["frets"]) == 24
    assert sorted(os.listdir()) == ["neck.csv"]
    assert json.loads(run("survey", "neck.csv", "--divisions", "19", "--json")[1])["rule"] == "equal"
