"""The commands as a user meets them: what they print, where, and with which exit code."""

import csv
import io
import json
import math
import os
import re
import runpy
import shlex
import signal
import subprocess
import sys
import tomllib
from pathlib import Path

import numpy as np
import pytest
from helpers import GOLDEN, STARTERS, TOP, golden, some
from sound import takes

from slotwright.cli import COMMANDS
from slotwright.layout import names
from slotwright.layout.drawing.catalogue import SHEETS
from slotwright.templates import starters

VERSION = tomllib.loads((TOP / "pyproject.toml").read_text("utf-8"))["project"]["version"]


@pytest.mark.parametrize("command", ["", *COMMANDS])
def test_help(run, monkeypatch, command):
    monkeypatch.setenv("COLUMNS", "100")
    code, out, _ = run(*filter(None, [command]), "--help")
    assert code == 0
    assert "slotwright" in out
    assert golden(GOLDEN / "help" / f"{command or 'slotwright'}.txt", out.encode())


@pytest.mark.parametrize("command", list(COMMANDS))
def test_every_help_has_an_example(run, command):
    assert f"Example: slotwright {command}" in " ".join(run(command, "--help")[1].split())


def test_version(run):
    assert run("--version")[:2] == (0, f"slotwright {VERSION}\n")


def test_new_writes_a_titled_plan_and_keeps_what_is_there(run, tmp_path):
    code, out, _ = run("new", "kitchen table", "--from", "nylon-six")
    assert code == 0
    assert "kitchen table.toml" in out
    text = (tmp_path / "kitchen table.toml").read_text("utf-8")
    assert text.startswith('title = "kitchen table"\n')
    assert text.count("\n") == starters()["nylon-six"].count("\n")
    code, _, err = run("new", "kitchen table")
    assert code == 2
    assert "kept" in err
    assert (tmp_path / "kitchen table.toml").read_text("utf-8") == text


@pytest.mark.parametrize("name", ['a"b', "a\\b", "\u5b57", "x.toml"])
def test_new_with_an_odd_name(run, name):
    assert run("new", name)[0] == 0
    (file,) = os.listdir()
    assert run("check", file)[0] == 0
    assert json.loads(run("check", file, "--json")[1])["title"] == file.removesuffix(".toml")


def test_new_lists_starters_and_suggests_one(run):
    out = run("new", "--list")[1]
    assert all(name in out for name in STARTERS)
    code, _, err = run("new", "x", "--from", "electric-sixx")
    assert (code, "did you mean electric-six?" in err) == (2, True)
    assert run("new")[0] == 2


@pytest.mark.parametrize("name", some(STARTERS))
def test_every_starter_is_checked_and_drawn(run, tmp_path, name):
    run("new", name, "--from", name)
    code, out, err = run("check", f"{name}.toml")
    assert (code, err) == (0, "")
    assert "can be drawn" in out
    code, out, err = run("draw", f"{name}.toml", "--out", "files")
    assert (code, err) == (0, "")
    written = sorted(os.listdir("files"))
    assert written
    for file in written:
        assert file in out
        assert file.startswith(f"{name}-")
        assert (tmp_path / "files" / file).stat().st_size > 5000
    report = json.loads(run("draw", f"{name}.toml", "--out", "again", "--json")[1])
    assert sorted(Path(f["file"]).name for f in report["files"]) == written
    for file in written:
        assert (tmp_path / "files" / file).read_bytes() == (tmp_path / "again" / file).read_bytes()


def test_check_says_what_it_assumed(run, heron):
    heron.write_text(
        'title = "t"\nstrings = 6\n[scale]\nlength = "25.5 in"\n[board]\nnut_width = 42\nedge_margin = 1.8\n'
    )
    code, out, _ = run("check", heron)
    assert code == 0
    assert "frets.count" in out
    assert "assumed, not stated in the plan (lengths in mm):" in out
    assert re.search(r"^  compensation.tolerance +2 cents$", out, re.MULTILINE)
    assert "warning: the outer treble string stands 1.80 mm from the edge" in out
    told = json.loads(run("check", heron, "--json")[1])
    assert told["assumed"]["frets.count"] == 22
    assert len(told["warnings"]) == 1


def test_check_names_a_template_that_cannot_be_drawn(run, heron):
    groove = '\n[[template]]\nfor = "nut groove"\nbush = 10\ncutter = 3\n'
    heron.write_text(heron.read_text("utf-8") + groove, "utf-8")
    code, out, _ = run("check", heron)
    assert code == 0
    assert "sheet template is not drawn: template[1]: the board has no groove for the nut" in out
    told = json.loads(run("check", heron, "--json")[1])
    assert "template" not in told["sheets"]
    assert [f["subject"] for f in told["findings"] if f["kind"] == "no template"] == ["template[1]"]


@pytest.mark.parametrize("command", ["check", "frets", "compensate", "draw", "mill", "report"])
def test_a_plan_named_without_its_end(run, heron, command):
    code, _, err = run(command, heron.with_suffix(""))
    assert code == 2
    assert err.endswith(f"; did you mean {heron}?\n")
    assert run(command, "crane")[2].endswith("; a plan file is needed here\n")


@pytest.mark.parametrize(
    ("args", "says"),
    [
        (
            ["draw", "heron.toml", "--format", "svg", "--dxf-version", "R12"],
            "--dxf-version is for dxf; add --format dxf",
        ),
        (
            ["draw", "heron.toml", "--format", "pdf", "--text", "outline"],
            "--text is for dxf and svg; add --format dxf",
        ),
        (["compensate", "heron.toml", "--force"], "--force is for --plot"),
        (["new", "--list", "--from", "mandolin"], "--list goes alone"),
    ],
)
@pytest.mark.usefixtures("heron")
def test_options_that_nothing_would_heed_are_refused(run, args, says):
    code, out, err = run(*args)
    assert (code, out) == (2, "")
    assert says in err


@pytest.mark.usefixtures("tmp_path")
def test_what_comes_next_can_be_pasted(run):
    told = run("new", "my guitar")[1]
    assert told.endswith("next: slotwright draw 'my guitar.toml'\n")
    again = shlex.split(told.partition("next: slotwright ")[2])
    assert run(*again, "--sheet", "slots", "--format", "svg")[0] == 0


def test_frets_without_a_blank_and_with_a_zero_fret(run, tmp_path):
    plain = 'title = "t"\nstrings = 6\n[scale]\nlength = 628\n[board]\nnut_width = 42\n'
    (tmp_path / "p.toml").write_text(plain)
    assert run("frets", "p.toml")[1].splitlines()[0] == "t: lengths in mm, from the nut"
    run("new", "travel", "--from", "travel-six-zero-fret")
    out = run("frets", "travel.toml")[1]
    assert "row 0 is the zero fret that was moved for all strings" in out
    assert "blank edges from the blank's end" in out.splitlines()[0]
    assert re.search(r"p\.html  \d\d kB; open it", run("report", "p.toml")[1])


def test_frets_json(run, heron):
    code, out, err = run("frets", heron, "--json")
    told = json.loads(out)
    assert (code, err) == (0, "")
    assert told["title"] == "heron"
    assert [s["string"] for s in told["strings"]] == [1, 2, 3, 4, 5, 6]
    assert told["strings"][0]["nut"] == [0.0, 17.75]
    assert told["strings"][0]["saddle"] == [628.0, 26.0]
    assert told["strings"][0]["scale"] == pytest.approx((628**2 + 8.25**2) ** 0.5)
    assert [f["fret"] for f in told["frets"]] == list(range(23))
    assert told["frets"][0]["slot"] is None
    octave = told["frets"][12]
    assert octave["speaking_fraction"] == pytest.approx(0.5)
    assert octave["from_nut"][0] == pytest.approx(told["strings"][0]["scale"] / 2)
    (x0, y0), (x1, y1) = octave["slot"]
    assert (x0, x1) == pytest.approx((314, 314))
    assert y0 < 0 < y1
    assert octave["straightness"] == pytest.approx(0, abs=1e-12)


def test_frets_json_of_a_zero_fret(run):
    run("new", "travel-six-zero-fret", "--from", "travel-six-zero-fret")
    assert json.loads(run("frets", "travel-six-zero-fret.toml", "--json")[1])["frets"][0]["slot"] is not None


def test_frets_csv_and_table_agree(run, heron):
    rows = list(csv.DictReader(io.StringIO(run("frets", heron, "--csv")[1])))
    assert len(rows) == 23
    assert rows[12]["from nut [mm]"] == "314.0000"
    assert rows[12]["blank treble [mm]"] == "334.0000"
    assert rows[0]["step (check only) [mm]"] == ""
    assert float(rows[1]["step (check only) [mm]"]) == pytest.approx(35.2469, abs=1e-4)
    table = run("frets", heron)[1]
    assert "check only" in table
    assert "saw setting on a blank still flat" in table
    assert "eye protection" in table
    assert run("frets", heron, "--csv", "--json")[0] == 2


@pytest.mark.parametrize("left_handed", [False, True])
def test_the_angle_of_every_fret(run, tmp_path, left_handed):
    """By the law of cosines, from where the fret crosses the outer strings and the centre line."""
    path = tmp_path / "fan.toml"
    path.write_text(
        'title = "Fan"\nstrings = 5\n[scale]\ntreble = 838\nbass = 889\nsquare_fret = 9\n[frets]\ncount = 24\n'
        f"[board]\nnut_width = 46\nleft_handed = {str(left_handed).lower()}\n"
    )
    told = json.loads(run("frets", "fan.toml", "--json")[1])
    rows = list(csv.DictReader(io.StringIO(run("frets", "fan.toml", "--csv")[1])))
    shown = [line.split()[-1] for line in run("frets", "fan.toml")[1].splitlines() if line[:1].isdigit()]
    treble, bass = (
        [np.array(string["nut"]), np.array(string["saddle"])] for string in (told["strings"][0], told["strings"][-1])
    )
    for fret, row, last in zip(told["frets"], rows, shown, strict=True):
        left = fret["speaking_fraction"]
        high, low = (saddle + left * (nut - saddle) for nut, saddle in (treble, bass))
        ahead = high + np.array([100.0, 0.0])  # from the treble end toward the bridge, beside the centre line
        a, b, c = math.dist(low, high), 100.0, math.dist(low, ahead)
        angle = 180 - math.degrees(math.acos((a * a + b * b - c * c) / (2 * a * b)))
        assert fret["angle"] == pytest.approx(angle, abs=1e-5)
        assert float(row["angle [degrees]"]) == float(last) == pytest.approx(angle, abs=0.00501)
    assert told["frets"][9]["angle"] == pytest.approx(90)
    assert told["frets"][0]["angle"] < 75


def test_one_scale_has_square_frets_alone(run, heron):
    assert {fret["angle"] for fret in json.loads(run("frets", heron, "--json")[1])["frets"]} == {90}
    assert "angle" not in run("frets", heron)[1]
    assert "angle [degrees]" in run("frets", heron, "--csv")[1]


def test_frets_of_an_inch_plan_are_in_inches(run):
    run("new", "steel-six", "--from", "steel-six")
    rows = list(csv.DictReader(io.StringIO(run("frets", "steel-six.toml", "--csv")[1])))
    assert rows[12]["from nut [in]"] == "12.68750"
    assert json.loads(run("frets", "steel-six.toml", "--json")[1])["frets"][12]["slot"][0][0] == pytest.approx(
        322.2625
    )


def test_compensate_table(run, heron):
    code, out, err = run("compensate", heron)
    assert (code, err) == (0, "")
    assert "set back" in out
    assert "least average error (rms)" in out
    assert "every string is within 2 cents" in out
    heron.write_text(heron.read_text("utf-8").replace('minimise = "rms"', 'minimise = "worst"'), "utf-8")
    assert "least largest error" in run("compensate", heron)[1]


def test_compensate_json(run, heron):
    told = json.loads(run("compensate", heron, "--json")[1])
    assert set(told) == {"tolerance", "within_tolerance", "strings", "findings"}
    assert (told["tolerance"], told["within_tolerance"]) == (2.0, True)
    first = told["strings"][0]
    assert {
        "string", "pitch", "frequency", "scale", "mass_g_per_m", "tension_n", "string_constant", "stress_ratio",
        "saddle_offset", "nut_offset", "rms_cents", "worst_cents", "worst_fret", "cents", "uncompensated_cents", "parts",
    } <= set(first)  # fmt: skip
    assert (first["string"], first["pitch"], first["nut_offset"]) == (1, "E4", 0.0)
    assert first["frequency"] == pytest.approx(329.628, abs=1e-3)
    assert first["saddle_offset"] > 0
    assert len(first["cents"]) == len(first["uncompensated_cents"]) == 22
    total = [sum(first["parts"][part][n] for part in ("length", "mass", "stretch", "stiffness")) for n in range(22)]
    assert total == pytest.approx(first["cents"])
    assert first["worst_cents"] == first["cents"][first["worst_fret"] - 1]
    assert first["rms_cents"] == pytest.approx(((first["cents"][11] ** 2 + first["cents"][16] ** 2) / 2) ** 0.5)


def test_compensate_of_a_frequency_and_of_nylon(run):
    run("new", "nylon-six", "--from", "nylon-six")
    path = Path("nylon-six.toml")
    path.write_text(path.read_text("utf-8").replace('pitch = "E4"', "frequency = 329.0"), "utf-8")
    first = json.loads(run("compensate", "nylon-six.toml", "--json")[1])["strings"][0]
    assert (first["pitch"], first["frequency"], first["stress_ratio"]) == (None, 329.0, None)
    assert first["nut_offset"] != 0
    assert "329 Hz" in run("compensate", "nylon-six.toml")[1]


def test_compensate_marks_estimated_cores(run):
    run("new", "bass-five-multiscale", "--from", "bass-five-multiscale")
    out = run("compensate", "bass-five-multiscale.toml")[1]
    assert "\u00b1 stiffness" in out
    assert "cores estimated, not stated" in out
    assert "its core is an estimate" in run("compensate", "bass-five-multiscale.toml", "--explain", "5")[1]
    run("compensate", "bass-five-multiscale.toml", "--plot", "p.svg")
    run("draw", "bass-five-multiscale.toml", "--format", "svg")
    for file in (
        "p.svg",
        "bass-five-multiscale-board.svg",
        "bass-five-multiscale-stick.svg",
        "bass-five-multiscale-bridge.svg",
    ):
        assert "estimate" in Path(file).read_text("utf-8")
    string = json.loads(run("compensate", "bass-five-multiscale.toml", "--json")[1])["strings"][4]
    assert string["core_estimated"]
    for key in ("saddle_offset", "inharmonicity"):
        low, high = string[f"{key}_range"]
        assert low < string[key] < high


def test_compensate_marks_estimated_bending_of_wound_nylon(run):
    run("new", "nylon-six", "--from", "nylon-six")
    out = run("compensate", "nylon-six.toml")[1]
    assert "bending stiffness of wound nylon estimated, not stated; range of the set-back: string 4 " in out
    told = json.loads(run("compensate", "nylon-six.toml", "--json")[1])
    for place, string in enumerate(told["strings"]):
        for key in ("saddle_offset", "inharmonicity"):
            if place < 3:
                assert string[f"{key}_range"] is None
            else:
                low, high = string[f"{key}_range"]
                assert low < string[key] < high
        assert not string["core_estimated"]
    (found,) = [finding for finding in told["findings"] if finding["kind"] == "estimated stiffness"]
    assert found["subject"] == "strings 4, 5, 6"
    assert found["numbers"]["string_4_least"] == told["strings"][3]["saddle_offset_range"][0]
    # Once it is measured there is nothing to estimate.
    path = Path("nylon-six.toml")
    path.write_text(
        path.read_text("utf-8").replace('kind = "wound nylon"', 'kind = "wound nylon", inharmonicity = 2e-5')
    )
    told = json.loads(run("compensate", "nylon-six.toml", "--json")[1])
    assert told["strings"][3]["inharmonicity"] == pytest.approx(2e-5)
    assert told["strings"][3]["saddle_offset_range"] is None
    assert told["findings"] == []


@pytest.mark.parametrize(
    ("keys", "says"),
    [
        ('kind = "wound steel"', "its core is an estimate from 11 measured strings; set back "),
        ('kind = "wound steel"', " with one 15 % thinner or thicker"),
        (
            'kind = "wound steel", inharmonicity = 1.2e-4',
            "its stiffness is measured: inharmonicity 0.00012 is stated",
        ),
        ('kind = "wound steel", core = 0.42', "its stiffness is stated: core"),
        ('kind = "wound steel", core = 0.42, bending = 300', "its stiffness is stated: core and bending stiffness"),
        (
            'kind = "wound nylon", mass = 5.5',
            "its bending stiffness is an estimate from 4 measured strings, 55 ± 20 N mm2",
        ),
        ('kind = "plain nylon"', "its stiffness is calculated from gauge and tension"),
    ],
)
def test_compensate_explains_what_a_set_back_rests_on(run, keys, says):
    text = f'title = "T"\nstrings = [{{ pitch = "E2", gauge = 1.168, {keys} }}]\n[scale]\nlength = 648\n[board]\nnut_width = 20\n'
    Path("t.toml").write_text(text, "utf-8")
    code, out, _ = run("compensate", "t.toml", "--explain", "1")
    assert code == 0
    assert says in out.splitlines()[1]


def test_compensate_says_what_no_saddle_reaches(run):
    run("new", "mandolin", "--from", "mandolin")
    out = run("compensate", "mandolin.toml")[1]
    assert "no position of its saddle gets below" in out
    assert "a moved nut contact could help" in out
    assert not json.loads(run("compensate", "mandolin.toml", "--json")[1])["within_tolerance"]


def test_compensate_explains_a_string(run, heron):
    code, out, _ = run("compensate", heron, "--explain", "6")
    assert code == 0
    for words in (
        "geometry",
        "stiffness",
        "0.50 mm more action",
        "one gauge up, 0.048 in",
        "0.20 mm higher at the nut",
    ):
        assert words in out
    assert len([line for line in out.splitlines() if line[:2].strip().isdigit()]) == 22
    code, _, err = run("compensate", heron, "--explain", "7")
    assert (code, "string 7 of 6" in err) == (2, True)


def test_a_chart_keeps_the_number_of_a_string_apart_from_its_frequency(run, heron, tmp_path):
    text = Path(heron).read_text("utf-8").replace('pitch = "E4"', "frequency = 392", 1)
    Path("hertz.toml").write_text(text, "utf-8")
    assert run("compensate", "hertz.toml", "--plot", "hertz.svg")[0] == 0
    assert ">1: 392 Hz<" in (tmp_path / "hertz.svg").read_text("utf-8")  # and not 1392 Hz


def test_compensate_plots(run, heron, tmp_path):
    import xml.etree.ElementTree as ET

    assert run("compensate", heron, "--plot", "pitch.svg")[0] == 0
    text = (tmp_path / "pitch.svg").read_bytes()
    space = "{http://www.w3.org/2000/svg}"
    root = ET.fromstring(text)  # noqa: S314 - our own file
    assert len(list(root.iter(f"{space}polyline"))) == 12
    # Readable without colour: every ink is a grey.
    inks = {v for e in root.iter() for k, v in e.attrib.items() if k in ("fill", "stroke") and v.startswith("#")}
    assert all(
        max(parts) - min(parts) < 24 for parts in ([int(ink[i : i + 2], 16) for i in (1, 3, 5)] for ink in inks)
    )
    assert run("compensate", heron, "--plot", "pitch.svg")[0] == 2
    assert run("compensate", heron, "--plot", "pitch.svg", "--force")[0] == 0
    assert (tmp_path / "pitch.svg").read_bytes() == text
    assert run("compensate", heron, "--plot", "pitch.png")[0] == 2


def test_compensate_needs_to_know_the_strings(run, tmp_path):
    (tmp_path / "p.toml").write_text('title = "t"\nstrings = 6\n[scale]\nlength = 628\n[board]\nnut_width = 42\n')
    code, out, err = run("compensate", "p.toml")
    assert (code, out) == (2, "")
    assert err.count("\n") == 2
    assert "strings: only how many there are is stated; pitch cannot be calculated; write strings = { set = " in err


def test_draw_keeps_files_unless_forced(run, heron, tmp_path):
    wanted = ("draw", heron, "--sheet", "slots", "--format", "svg")
    assert run(*wanted)[0] == 0
    path = tmp_path / "heron-slots.svg"
    path.write_text("mine")
    code, out, err = run("draw", heron, "--sheet", "slots", "--sheet", "stick")
    assert (code, out) == (2, "")
    assert "heron-slots.svg" in err
    assert "--force" in err
    assert sorted(os.listdir()) == ["heron-slots.svg", "heron.toml"]
    assert run(*wanted, "--force")[0] == 0
    assert path.read_text("utf-8") != "mine"


def test_draw_options_reach_the_files(run, heron, tmp_path):
    assert run("draw", heron, "--sheet", "board", "--dxf-version", "R12", "--unit", "in", "--mirror")[0] == 0
    dxf = (tmp_path / "heron-board.dxf").read_text("latin-1")
    svg = (tmp_path / "heron-board.svg").read_text("utf-8")
    assert "AC1009" in dxf
    assert "MIRRORED" in dxf
    assert 'in" ' in svg
    assert "MIRRORED" in svg


def test_draw_pages(run, heron, tmp_path):
    code, out, err = run(
        "draw", heron, "--format", "pdf", "--sheet", "slots", "--paper", "letter", "--margin", "0.5 in"
    )
    assert (code, err) == (0, "")
    assert "tiles letter and a cover page" in out
    assert (tmp_path / "heron-slots.pdf").read_bytes().startswith(b"%PDF-1.6")
    assert (
        run("draw", heron, "--format", "pdf", "--sheet", "slots", "--paper", "A1", "--force")[1].count("1 page A1")
        == 1
    )


@pytest.mark.parametrize(
    "option", [("--paper", "A3"), ("--landscape",), ("--measured", "249/250"), ("--margin", "10 mm")]
)
def test_options_of_pages_want_pages(run, heron, tmp_path, option):
    code, out, err = run("draw", heron, "--sheet", "slots", *option)
    assert (code, out) == (2, "")
    assert f"{option[0]} is for pages; add --format pdf" in err
    assert os.listdir(tmp_path) == ["heron.toml"]


def test_a_plan_named_twice(run, heron):
    code, _, err = run("draw", heron, heron)
    assert code == 2
    assert "one plan twice would write" in err


def test_a_folder_in_the_way_stops_before_anything_is_replaced(run, heron, tmp_path):
    assert run("draw", heron, "--sheet", "slots")[0] == 0
    kept = (tmp_path / "heron-slots.dxf").read_bytes()
    (tmp_path / "heron-slots.svg").unlink()
    (tmp_path / "heron-slots.svg").mkdir()
    for force in ((), ("--force",)):
        code, _, err = run("draw", heron, "--sheet", "slots", "--mirror", *force)
        assert code == 1
        assert "a folder is in the way: heron-slots.svg; choose another name" in err
    assert (tmp_path / "heron-slots.dxf").read_bytes() == kept


def test_names_that_no_file_can_have(run, heron):
    for command in (
        ("check", "k" * 300),
        ("report", heron, "--out", "k" * 300 + ".html"),
        ("draw", heron, "--out", "/dev/null"),
    ):
        code, _, err = run(*command)
        assert code == 2
        assert err.startswith("slotwright: ")


def test_draw_tells_what_pages_cannot_show(run, heron, tmp_path):
    text = heron.read_text("utf-8").replace('"heron"', '"\u9db4 six \u9db4"')
    (tmp_path / "crane.toml").write_text(text, "utf-8")
    assert run("draw", tmp_path / "crane.toml", "--format", "svg")[2] == ""
    code, out, err = run("draw", tmp_path / "crane.toml", "--format", "pdf")
    assert (code, err) == (0, "warning: pages show ? for \u9db4\n")
    assert "crane-slots.pdf" in out


@pytest.mark.parametrize(
    ("option", "value", "says"),
    [
        ("--paper", "foolscap", "is not known"),
        ("--measured", "240/250", "more than 3 %"),
        ("--measured", "x", "is not understood"),
        ("--margin", "60", '--margin: given "60"; allowed 0 to 50 mm'),
        ("--margin", "1e400", "--margin: given"),
        ("--paper", "8.5x11", "is 8.5 x 11 mm"),
        ("--measured", "-1/-1", "is not understood"),
        ("--measured", "250/0", "is not understood"),
        ("--measured", "", "is not understood"),
        ("--overlap", "wide", "a length is written"),
        ("--paper", "110x140", "the scale bars alone need"),
        ("--paper", "500xfoo", '--paper: paper "500xfoo": given "foo"; a length is written'),
    ],
)
def test_wrong_paper(run, heron, option, value, says):
    code, out, err = run("draw", heron, "--format", "pdf", option, value)
    assert (code, out) == (2, "")
    assert says in err
    assert os.listdir() == ["heron.toml"]


def test_two_plans_of_one_name_are_not_mixed_up(run, heron, tmp_path):
    (tmp_path / "other").mkdir()
    (tmp_path / "other" / "heron.toml").write_text(heron.read_text("utf-8"), "utf-8")
    code, _, err = run("draw", heron, "other/heron.toml", "--out", "files")
    assert code == 2
    assert "two plans would write" in err
    assert not (tmp_path / "files").exists()


def test_a_sheet_the_plan_does_not_describe(run):
    run("new", "nylon-six", "--from", "nylon-six")
    code, out, err = run("draw", "nylon-six.toml", "--sheet", "board", "--sheet", "index")
    assert (code, out) == (2, "")
    assert "no [jig]" in err
    assert os.listdir() == ["nylon-six.toml"]


BAD = {
    "missing file": None,
    "empty": "",
    "not toml": "title = \n",
    "wrong": 'title = "x"\nstrings = 6\n[scale]\nlength = 25.5\n[board]\nnut_widht = 42\n',
    "off the board": 'title = "x"\nstrings = 6\n[scale]\nlength = 628\n[board]\nnut_width = 42\nstring_spread_nut = 50\n',
}


@pytest.mark.parametrize("case", BAD)
@pytest.mark.parametrize("command", ["check", "frets", "draw", "compensate"])
def test_bad_plans(run, tmp_path, case, command):
    if BAD[case] is not None:
        (tmp_path / "bad.toml").write_text(BAD[case])
    before = sorted(os.listdir())
    code, out, err = run(command, "bad.toml")
    assert (code, out) == (2, "")
    assert err.startswith("slotwright: bad.toml")
    assert sorted(os.listdir()) == before
    if case == "wrong":
        assert "3 errors" in err
        assert "scale.length" in err
        assert "nut_width?" in err


@pytest.mark.parametrize(
    "args", [["draw"], ["draw", "x.toml", "--sheet", "wings"], ["frobnicate"], ["check", "--wrong", "x"]]
)
def test_wrong_usage(run, args):
    code, out, err = run(*args)
    assert (code, out) == (2, "")
    assert "Usage" in err


def test_a_folder_is_no_plan(run, tmp_path):
    assert run("check", tmp_path)[0] == 2


def test_a_file_in_the_way_of_the_folder(run, heron, tmp_path):
    (tmp_path / "files").write_text("in the way")
    for out in ("files", "files/deeper"):
        code, _, err = run("draw", heron, "--out", out)
        assert code == 2
        assert "--out takes a folder" in err


def test_the_machine_fails(run, heron, monkeypatch):
    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.fsync", full)
    code, _, err = run("draw", heron, "--sheet", "slots")
    assert code == 1
    assert err == "slotwright: heron-slots.dxf: No space left on device\n"
    assert os.listdir() == ["heron.toml"]


@pytest.mark.parametrize("name", ["", "/", "...", "a\x7f", "   ", "x" * 121, "\udcff"])
def test_new_with_an_impossible_name(run, name):
    code, _, err = run("new", name)
    assert code == 2
    assert "named" in err
    assert os.listdir() == []


@pytest.mark.parametrize("name", ["con", "NUL", "lpt1.toml", "com3.old", "tail.", "blank .toml"])
def test_new_with_a_name_that_other_systems_reserve(run, name):
    code, _, err = run("new", name)
    assert code == 2
    assert "not every system can keep a file of that name" in err
    assert os.listdir() == []


def test_faults_are_counted_as_they_are(run, tmp_path):
    (tmp_path / "read.csv").write_text("string,fret,cents\n" + "1,x,1\n" * 180)
    assert run("new", "heron")[0] == 0
    code, _, err = run("bench", "heron.toml", "read.csv")
    assert code == 2
    assert "read.csv: 180 errors\n" in err
    assert err.count("\n") < 50
    assert "and 140 more" in err


def test_a_title_the_terminal_cannot_show(tmp_path):
    (tmp_path / "p.toml").write_text(
        'title = "\u05e9\u001b[31m"\nstrings = 6\n[scale]\nlength = 628\n[board]\nnut_width = 42\n'.replace(
            "\x1b", "\\u001b"
        ),
        "utf-8",
    )
    done = subprocess.run([sys.executable, "-m", "slotwright.cli", "frets", "p.toml"], cwd=tmp_path, check=False,
                          capture_output=True, env={**os.environ, "PYTHONIOENCODING": "cp1252"})  # fmt: skip
    assert done.returncode == 0
    assert b"\x1b" not in done.stdout
    assert b"Traceback" not in done.stderr


def test_a_misspelt_command(run):
    code, _, err = run("chek", "x")
    assert (code, "Did you mean 'check'?" in err) == (2, True)


def test_a_slot_that_leaves_through_the_end_of_the_blank_has_no_mark(run, tmp_path):
    (tmp_path / "p.toml").write_text(
        'title = "t"\nstrings = 6\n[scale]\ntreble = 648\nbass = 711\nsquare_fret = 12\n[board]\nnut_width = 52\n'
        "[blank]\nlength = 560\nwidth = 120\nnut_at = 22\n"
    )
    rows = list(csv.DictReader(io.StringIO(run("frets", "p.toml", "--csv")[1])))
    assert rows[0]["blank bass [mm]"] == ""
    assert float(rows[12]["blank bass [mm]"]) > 0


def test_warnings_go_beside_the_result(run, heron):
    heron.write_text(heron.read_text("utf-8").replace("thickness = 6.0", "thickness = 4.0"))
    code, out, err = run("frets", heron, "--json")
    assert code == 0
    assert json.loads(out)
    assert "warning: " in err


def test_the_sheets_by_name_are_those_that_are_drawn():
    assert tuple(SHEETS) == names.SHEETS


def test_help_imports_nothing_heavy():
    code = (
        "import sys\nfrom slotwright.cli import main\n"
        "try: main(['--help'])\nexcept SystemExit: pass\n"
        "print([m for m in ('numpy', 'pydantic', 'ezdxf', 'shapely', 'svgwrite') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.endswith("[]\n")


def test_signals_are_as_they_were_once_a_command_has_run(run):
    before = signal.getsignal(signal.SIGTERM)
    try:
        signal.signal(signal.SIGTERM, signal.SIG_DFL)
        assert run("new", "heron")[0] == 0
        assert run("check", "none.toml")[0] == 2
        assert signal.getsignal(signal.SIGTERM) == signal.SIG_DFL
    finally:
        signal.signal(signal.SIGTERM, before)


def test_as_a_program(tmp_path):
    for start in (
        [sys.executable, "-m", "slotwright.cli"],
        [str(Path(sys.executable).with_name("slotwright"))],
    ):
        done = subprocess.run([*start, "--version"], capture_output=True, text=True, check=True, cwd=tmp_path)
        assert done.stdout == f"slotwright {VERSION}\n"
        done = subprocess.run(
            [*start, "check", "none.toml"], capture_output=True, text=True, check=False, cwd=tmp_path
        )
        assert done.returncode == 2
        assert "Traceback" not in done.stderr


def test_every_example_of_the_readme(run, tmp_path):
    """From its first line to its last: files are written as it says, commands run, their output compared."""
    takes.clean(21).write(tmp_path / "take.wav", 24)  # the recording that it speaks of
    text, ran = (TOP / "README.md").read_text("utf-8"), 0
    for fence in re.finditer(r"```(\w+)\n(.*?)```", text, re.DOTALL):
        kind, block = fence.groups()
        before = " ".join(text[: fence.start()].split()[-20:])
        if kind == "console":
            first, *commands = re.split(r"^\$ slotwright ", block, flags=re.MULTILINE)
            assert first == ""
            for each in commands:
                command, _, shown = each.partition("\n")
                code, out, err = run(*shlex.split(command))
                assert (code, err) == (0, "")
                # An ellipsis line stands for lines left out; all others are the output, from first to last.
                told = "".join(f"{line.rstrip()}\n" for line in out.splitlines())
                lines = [r"(?:.*\n)+" if line == "..." else f"{re.escape(line)}\n" for line in shown.splitlines()]
                assert re.fullmatch("".join(lines), told), f"{command} gives\n{told}"
                ran += 1
        elif named := re.search(r"in place of `(.+)` in `(.+)`:$", before):
            path = tmp_path / named[2]
            whole = path.read_text("utf-8")
            assert whole.count(f"{named[1]}\n") == 1
            path.write_text(whole.replace(f"{named[1]}\n", block), "utf-8")
        else:
            path = tmp_path / re.search(r"`([\w.-]+)`:$", before)[1]
            path.write_text(block, "utf-8")
            if kind == "python":
                runpy.run_path(str(path))
    assert ran == text.count("$ slotwright ") > 12
    assert (tmp_path / "slots.pdf").exists()  # of the lines of Python


def test_all_keys_of_a_plan(run):
    code, out, err = run("check", "--keys")
    assert (code, err) == (0, "")
    assert re.search(r"^board.nut_width +Width of the board at the nut line. \[length\] required$", out, re.MULTILINE)
    told = json.loads(run("check", "--keys", "--json")[1])["keys"]
    assert {"path", "words", "unit", "default", "required", "allowed"} == set(told[0])
    assert [line.split()[0] for line in out.splitlines()[:-1]] == [key["path"] for key in told]
    assert run("check")[0] == run("check", "heron.toml", "--keys")[0] == 2


def test_keys_that_moved_are_read_and_named(run, tmp_path):
    run("new", "steel-six", "--from", "steel-six")
    path = tmp_path / "steel-six.toml"
    text = path.read_text("utf-8")
    old = re.sub(r"pins = \{.*\}", 'pin_distance = "7 mm"\nexisting_holes = [[26, 1, 0.2]]', text)
    path.write_text(old, "utf-8")
    code, out, _ = run("check", "steel-six.toml")
    assert code == 0
    assert "bridge.pin_distance is still read; it is now bridge.pins = { distance = ... }" in out
    assert 'bridge.existing_holes is still read; it is now bridge.existing = { from = "nut line"' in out
