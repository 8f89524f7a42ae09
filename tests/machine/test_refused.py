"""What cannot be milled as a plan says is refused with both numbers and the mend, and nothing is written."""

import copy
import json
import os
import tomllib
from pathlib import Path

import pytest
import tomlkit
from boards import PLAIN, SHORT, SLOTS
from helpers import some

from slotwright.layout import cautions
from slotwright.layout.drawing.catalogue import draw_sheet
from slotwright.layout.drawing.sheet import Layer, Text
from slotwright.layout.errors import MillError, PlanError
from slotwright.layout.instrument.instrument import lay_out
from slotwright.layout.machine import jobs
from slotwright.layout.machine.jobs import plan_milling, told
from slotwright.layout.plan.milling import EXAMPLE
from slotwright.layout.plan.plan import Plan

WIDE = {"operations": ["slots"], "diameter": 0.57, "cutting_length": 6.0}
SHALLOW = {"operations": ["outline"], "diameter": 3.0, "cutting_length": 6.0}
BALL = {"operations": ["surface"], "shape": "ball", "diameter": 6.0, "cutting_length": 12.0}
MARKS = {"operations": ["marks"], "diameter": 6.0, "cutting_length": 12.0}
POCKETS = {"operations": ["pockets"], "diameter": 3.0, "cutting_length": 12.0}
GROOVE = {"slot": 3.2, "seat": 2.0, "thickness": 3.2}
HOLES = {"operations": ["holes"], "diameter": 3.0, "cutting_length": 12.0}


def contents(board=None, blank=None, nut=None, **machine):
    made = copy.deepcopy(PLAIN) | ({"nut": nut} if nut else {})
    made["board"] |= board or {}
    made["blank"] |= blank or {}
    made["machine"] |= machine
    return made


# fmt: off
REFUSED = {
    "a cutter wider than its slot": (contents(cutters=[WIDE]), r"cutters\[1\]\.diameter: .* 0\.590 mm wide; the slots are 0\.580 mm .*; take one of 0\.560 mm or less"),
    "a cutter too short for the outline": (contents(cutters=[SHALLOW]), r"cutters\[1\]\.cutting_length: 6\.00 mm; for outline it goes 6\.20 mm into the wood; take a longer one"),
    "a cutter too short for slots that are deepened by hand": (contents(cutters=[SLOTS | {"cutting_length": 3.0}]), r"cutting_length: 3\.00 mm; for slots it goes 3\.\d\d mm into the wood"),
    "a clamp in the way": (contents(keep_out=[[100, 20, 120, 60, 12]]), r"keep_out\[1\]: 0\.08 mm from the path of the slot of fret 3 \(slots\); the cutter needs 0\.28 mm; move it"),
    "a dowel in the way": (contents(dowels=[[130.0, 27.0, 4.0]], cutters=[SLOTS, HOLES]), r"dowels\[1\]: \d\.\d\d mm from the path of the slot of fret 4 \(slots\); the cutter needs 2\.28 mm"),
    "a dowel inside the board": (contents(dowels=[[130.0, 10.0, 4.0]], cutters=[SLOTS, HOLES]), r"dowels\[1\]: \d+\.\d\d mm inside the board; dowels stand in waste"),
    "a dowel beside the blank": (contents(dowels=[[130.0, 31.0, 4.0]], cutters=[SLOTS, HOLES]), r"dowels\[1\]: not inside the blank"),
    "dowels that nothing drills": (contents(dowels=[[-14.0, 0, 4.0]]), r"dowels: no cutter drills their holes"),
    "a blank too thin": (contents(blank={"thickness": 5.5}), r"blank\.thickness: 5\.50 mm; the finished board is 6\.00 mm; take a blank of 6\.00 mm"),
    "a blank too thin to be surfaced": (contents(cutters=[BALL]), r"6\.00 mm; the finished board is 6\.00 mm and 0\.10 mm to sand off; take a blank of 6\.10 mm"),
    "surfaced twice": (contents(state="surfaced", blank={"thickness": 7}, cutters=[BALL]), r'machine\.state: "surfaced"'),
    "no room for tabs": (contents(tabs={"length": 40.0}), r"machine\.tabs: 6 wanted; \d find room 4\.00 mm clear of the slots; .*tape"),
    "tabs as high as the board": (contents(tabs={"height": 4.0}), r"tabs\.height: 4\.00 mm; the board is 6\.00 mm"),
    "a mark that fits no cutter": (contents({"position_marks": [3]}, cutters=[MARKS]), r"6\.00 mm; the narrowest of the marks is 6\.05 mm wide; take one of 5\.50 mm or less"),
    "marks through the board": (contents({"position_marks": [3]}, mark_depth=6.5, cutters=[MARKS | {"diameter": 3.0}]), r"mark_depth: 6\.50 mm; at fret 3 the board ends 6\.00 mm below"),
    "a touched point that is cut": (contents(z_zero="top", touch=[-1.0, 0.0]), r"touch: \d\.\d\d mm from the path of the outline"),
    "a touched point beside the blank": (contents(z_zero="top", touch=[-40.0, 0.0]), r"touch: not on the blank"),
    "a groove that no cutter fits": (contents({"behind_nut": 8.0}, cutters=[POCKETS], nut=GROOVE | {"slot": 3.0}), r"diameter: with its run-out it cuts 3\.02 mm wide; the nut's groove is 3\.00 mm \(nut\.slot\); take a thinner"),
    "a groove through the board": (contents({"behind_nut": 8.0}, cutters=[POCKETS], nut=GROOVE | {"seat": 6.0}), r"nut\.seat: 6\.00 mm; the board is 6\.00 mm thick; state how deep the groove is"),
    "nothing to do": (contents(cutters=[MARKS]), r"cutters: nothing of what their operations name"),
}
CLASHES = {
    "feed above rapid": (contents(cutters=[SLOTS | {"feed": 4000}]), r"cutters\[1\]\.feed: 4000 mm/min, faster than machine\.rapid, 3000 mm/min"),
    "a step deeper than its edges": (contents(cutters=[SLOTS | {"step_down": 7}]), r"step_down: 7 mm, more than cutting_length, 6 mm"),
    "one operation twice": (contents(cutters=[SLOTS, SLOTS]), r"slots: another cutter does it"),
    "a ball in a slot": (contents(cutters=[SLOTS | {"shape": "ball"}]), r'"ball" cuts no flat floor for slots'),
    "a misspelt operation": (contents(cutters=[SLOTS | {"operations": ["slot"]}]), r'given "slot".*did you mean slots\?'),
    "no cutter": (contents(cutters=[]), r"0 of them; allowed 1 to 6"),
    "no length of its edges": (contents(cutters=[{"operations": ["slots"], "diameter": 0.5}]), r"cutting_length: missing"),
}
# fmt: on


@pytest.mark.parametrize("case", some(REFUSED, 9))
def test_refused_with_the_numbers_and_the_mend(case):
    made, says = REFUSED[case]
    instrument = lay_out(Plan.model_validate(made))
    with pytest.raises(MillError, match=says):
        plan_milling(instrument)
    assert all(finding.kind == "not milled" for finding in told(instrument))


def test_more_moves_than_a_controller_bears_are_refused(monkeypatch):
    monkeypatch.setattr(jobs, "MOST_MOVES", 1000)
    with pytest.raises(MillError, match=r"slots takes more than 1000 moves; raise step_down"):
        plan_milling(lay_out(Plan.model_validate(contents())))


@pytest.mark.parametrize("case", CLASHES)
def test_what_the_table_gets_wrong_by_itself_is_refused_with_the_plan(case):
    made, says = CLASHES[case]
    with pytest.raises(PlanError, match=says):
        Plan.model_validate(made)


@pytest.mark.parametrize("case", some(list(REFUSED)[::4]))
def test_then_nothing_is_written(run, case):
    Path("plan.toml").write_text(tomlkit.dumps(REFUSED[case][0]), "utf-8")
    code, out, err = run("mill", "plan.toml")
    assert (code, out) == (2, "")
    assert err.startswith("slotwright: plan.toml: ")
    assert os.listdir() == ["plan.toml"]
    assert "machine: not milled: " in run("check", "plan.toml")[1]
    assert run("draw", "plan.toml", "--sheet", "setup")[0] == 2


def test_without_a_machine_the_message_shows_the_table_to_copy(run):
    run("new", "uke", "--from", "ukulele")
    code, _, err = run("mill", "uke.toml")
    assert code == 2
    assert EXAMPLE in err
    assert err.endswith('# thickness = "6.6 mm"\n\n')
    assert os.listdir() == ["uke.toml"]
    path = Path("uke.toml")
    plan = tomllib.loads(path.read_text("utf-8"))
    plan |= tomllib.loads(EXAMPLE)
    path.write_text(tomlkit.dumps(plan), "utf-8")
    code, _, err = run("mill", "uke.toml")
    assert (code, "blank.thickness: missing; measure the blank" in err) == (2, True)
    plan["blank"]["thickness"] = plan["board"]["thickness"]
    plan["frets"]["slot_width"] = 0.58
    path.write_text(tomlkit.dumps(plan), "utf-8")
    code, out, err = run("mill", "uke.toml")
    assert (code, err) == (0, "")
    assert "uke-mill-1-slots.ngc" in out


def test_programs_are_written_and_told(run):
    Path("heron.toml").write_text(tomlkit.dumps(SHORT), "utf-8")
    code, out, err = run("mill", "heron.toml", "--out", "programs")
    assert (code, err) == (0, "")
    names = ["heron-mill-1-surface.ngc", "heron-mill-2-slots.ngc", "heron-mill-3-marks.ngc"]
    assert sorted(os.listdir("programs")) == names
    assert all(f"programs/{name}" in out for name in names)
    assert all(caution in out for caution in cautions.MILLING)
    texts = [Path("programs", name).read_text("ascii") for name in names]
    assert all("(plan: Plain)" in text and "G21" in text for text in texts)
    assert "cut a test slot" in texts[0]
    code, _, err = run("mill", "heron.toml", "--out", "programs")
    assert (code, "kept, because it exists already" in err, "--force" in err) == (2, True, True)
    told = json.loads(run("mill", "heron.toml", "--out", "programs", "--unit", "in", "--force", "--json")[1])
    assert [program["path"] for program in told["programs"]] == [f"programs/{name}" for name in names]
    assert "G20" in Path("programs", names[0]).read_text("ascii")
    for program in told["programs"]:
        assert {"path", "operations", "cutter", "minutes", "deepest", "shallowest", "closest_rapid"} <= program.keys()
        assert program["deepest"] > -0.01
        assert program["closest_rapid"] == pytest.approx(1.0, abs=1e-3)
    assert [program["operations"] for program in told["programs"]] == [["surface"], ["slots"], ["marks", "outline"]]
    assert told["programs"][1]["cutter"]["diameter"] == 0.56


def test_what_the_plan_leaves_unsaid_is_listed(run):
    run("new", "heron")
    out = run("check", "heron.toml")[1]
    assert "machine.cutters[2].feed " in out
    assert "machine.touch" not in out  # Z is touched on the spoil board here


def test_what_a_setup_sheet_shows_of_a_job_without_slots():
    """Only what is cut: no slots where no cutter saws any; the zero is drawn all the same."""
    plain, outlined = (
        draw_sheet(lay_out(Plan.model_validate(contents(**changes))), "setup").entities
        for changes in ({}, {"cutters": [SHALLOW | {"cutting_length": 12.0}]})
    )
    dashed = [[each for each in sheet if each.layer == Layer.REF_STRINGS] for sheet in (plain, outlined)]
    assert len(dashed[0]) - len(dashed[1]) == 22
    assert any(isinstance(each, Text) and each.text == "X 0 Y 0" for each in outlined)


def test_wire_is_held_against_the_slot_that_is_milled():
    """Slots of 0.58 mm suit a tang of 0.54; a cutter of 0.50 with its run-out leaves them too narrow for it."""
    wire = {"crown_width": 2.4, "tang_width": 0.54, "bead_width": 0.76}
    made = contents(cutters=[SLOTS | {"diameter": 0.50}])
    made["frets"] = {"count": 22, "wire": wire}
    found = [str(finding) for finding in told(lay_out(Plan.model_validate(made)))]
    assert any("as it is milled: " in words for words in found)
