"""The desk without a plan: those of the folder, or a new one."""

import os
import re

import pytest
from helpers import FULL
from starlette.testclient import TestClient

from slotwright.cli.desk.entrance import Entrance
from slotwright.cli.desk.server import guarded
from slotwright.templates import starters

SIX = starters()["electric-six"]


def begin(name, starter="", job="", strings="", scale=""):
    return {"name": name, "job": job, "starter": starter, "strings": strings, "scale": scale}


@pytest.fixture
def knock(tmp_path):
    app, desk = guarded(Entrance(tmp_path), 8080, "token")
    with TestClient(app, "http://127.0.0.1:8080/token/") as client:
        yield client
    desk.close()


def test_plans_of_the_folder_the_last_first(knock, tmp_path):
    for age, name in enumerate(("wren", "heron", "<b>")):
        (tmp_path / f"{name}.toml").write_text(SIX.replace("Electric six", f"The {name}"), "utf-8")
        os.utime(tmp_path / f"{name}.toml", (1000 - age, 1000 - age))
    (tmp_path / "pyproject.toml").write_text('title = "x"\n')
    (tmp_path / "spoilt.toml").write_text("title = ")
    shown = knock.get("").text
    listed = re.findall(r'data-name="([^"]+)"', shown)
    assert [name for name in listed if name != "spoilt.toml"] == ["wren.toml", "heron.toml", "&lt;b&gt;.toml"]
    assert "spoilt (cannot be read)" in shown
    answer = knock.post("open", json={"name": "spoilt.toml", "job": ""}).json()
    assert answer["outcome"] == "refused"
    assert "Mend this in an editor first" in answer["words"]
    assert "<b>.toml" not in shown
    assert knock.post("open", json={"name": "heron.toml", "job": ""}).json() == {"outcome": "done"}
    assert "<h1>The heron</h1>" in knock.get("").text
    # What is open stays, and another page that still shows the entrance is told so.
    for where, asked in (("open", {"name": "wren.toml", "job": ""}), ("new", begin("second job"))):
        answer = knock.post(where, json=asked).json()
        assert answer["outcome"] == "refused"
        assert "heron.toml is open already" in answer["words"]
    assert not (tmp_path / "second job.toml").exists()
    assert "<h1>The heron</h1>" in knock.get("").text
    # And back to the entrance, where the other can be opened.
    assert knock.post("leave", json={}).json() == {"outcome": "done"}
    assert "What is the job?" in knock.get("").text
    assert knock.post("open", json={"name": "wren.toml", "job": ""}).json() == {"outcome": "done"}
    assert "<h1>The wren</h1>" in knock.get("").text


def test_a_new_plan_never_over_another(knock, tmp_path):
    (tmp_path / "heron.toml").write_text(SIX, "utf-8")
    taken = knock.post("new", json=begin("heron", "bass-four")).json()
    assert taken["outcome"] == "refused"
    assert "is there already" in taken["words"]
    assert (tmp_path / "heron.toml").read_text("utf-8") == SIX
    assert knock.post("new", json=begin(" kitchen table ", "bass-four")).json() == {"outcome": "done"}
    assert (tmp_path / "kitchen table.toml").read_text("utf-8").startswith('title = "kitchen table"\n')
    assert "<h1>kitchen table</h1>" in knock.get("").text


def test_a_new_plan_with_strings_and_scale_for_a_job(knock, tmp_path):
    asked = begin("wren", job="Intonate", strings="acoustic 12-53", scale="25 1/2 in")
    assert knock.post("new", json=asked).json() == {"outcome": "done"}
    text = (tmp_path / "wren.toml").read_text("utf-8")
    assert 'set = "acoustic 12-53"' in text
    assert '"25 1/2 in"' in text
    assert re.search(r'data-job="Intonate" aria-pressed="true"', knock.get("").text)


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        (begin("x", strings="no set"), "no such"),
        (begin("x", scale="9 miles"), "9 miles"),
        (begin("x", starter="ukulele", strings="acoustic 12-53"), "4 strings"),
    ],
)
def test_what_does_not_fit_is_told_and_nothing_is_written(knock, tmp_path, asked, words):
    answer = knock.post("new", json=asked).json()
    assert answer["outcome"] == "refused"
    assert words in answer["words"]
    assert os.listdir(tmp_path) == []


# Invented: a neck of 628 mm, each crown within a tenth of a millimetre of the twelfth root of two.
CROWNS = "fret,distance\nnut,0\n" + "\n".join(f"{n},{628 * (1 - 2 ** (-n / 12)):.1f}" for n in range(1, 21))


def test_a_neck_is_measured_and_becomes_a_plan(knock, tmp_path):
    answer = knock.post("measure", json={"unit": "mm", "table": CROWNS}).json()
    assert (answer["outcome"], answer["fret"]) == ("found", 12)
    found = re.search(r"Scale: ([\d.]+) \u00b1 (\d+\.\d+)", " ".join(answer["lines"]))
    assert abs(float(found[1]) - 628) < 3 * float(found[2])
    asked = {"name": "old", "job": "Replace a bridge", "unit": "mm", "table": CROWNS, "strings": "6",
             "nut_width": "43", "width": "2 in", "spread": ""}  # fmt: skip
    for wrong in ({"strings": "many"}, {"nut_width": "wide"}, {"table": "1,2"}, {"unit": "ell"}, {"name": "../x"}):
        assert knock.post("neck", json={**asked, **wrong}).json()["outcome"] == "refused", wrong
    assert os.listdir(tmp_path) == []
    assert knock.post("neck", json=asked).json() == {"outcome": "done"}
    assert "width_at" in (tmp_path / "old.toml").read_text("utf-8")
    assert "<h1>old</h1>" in knock.get("").text
    assert knock.post("measure", json={"unit": "mm", "table": CROWNS}).status_code == 400


BOARD = "fret,width,radius,slot_width,slot_depth,crown_height\n1,44.1,184,0.60,1.9,0.80\n12,52.3,240,0.61,2.2,0.85\n22,56.8,,0.58,1.8,0.95\n"


def test_the_wire_for_a_measured_board_is_that_of_survey(knock, run, tmp_path):
    asked = {"unit": "mm", "table": BOARD, "binding": "1.5", "plane": "0.2", "tang_width": "0.52", "bead_width": "",
             "length": "", "tang_depth": "1.6", "height": "1.2"}  # fmt: skip
    found = knock.post("board", json=asked).json()
    (tmp_path / "old.csv").write_text(BOARD)
    wire = [word for name in ("tang_width", "tang_depth", "height") for word in ("--wire", f"{name}={asked[name]}")]
    code, out, _ = run("survey", "old.csv", "--refret", *wire, "--binding", "1.5", "--plane", "0.2")
    assert code == 0
    rows = [line.split() for line in out.splitlines()]
    assert all(row in rows for row in found["rows"])
    assert all(line in out for line in found["lines"])
    for wrong in (
        {"unit": "x"},
        {"table": ""},
        {"binding": "wide"},
        {"tang_width": "90"},
        {"table": "fret,width\n1,40"},
    ):
        assert knock.post("board", json={**asked, **wrong}).json()["outcome"] == "refused", wrong


def test_crowns_of_no_neck_are_told(knock):
    for table, words in (("", "empty"), ("fret,distance\n1,x", "line 2"), ("fret,distance\n1,10\n2,500\n3,501", "")):
        answer = knock.post("measure", json={"unit": "mm", "table": table}).json()
        assert answer["outcome"] == "refused"
        assert words in answer["words"]


def test_no_path_and_no_odd_name(knock, tmp_path):
    before = sorted(os.listdir(tmp_path.parent))
    for name in ("", " ", "..", "../x", "/etc/x", "a/b", "a\\b", "c:x", ".x", "con", "x" * 200, "a\x00b", "a."):
        assert knock.post("new", json=begin(name, "bass-four")).json()["outcome"] == "refused", name
        assert knock.post("open", json={"name": name, "job": ""}).json()["outcome"] == "refused", name
    assert os.listdir(tmp_path) == []
    assert sorted(os.listdir(tmp_path.parent)) == before


def test_nothing_else_answers_before_a_plan_is_chosen(knock, tmp_path):
    for where in ("parts", "files/x.toml"):
        assert knock.get(where).status_code == 404
    assert knock.post("edit", json={"key": "kerf", "given": "1", "seen": ""}).status_code == 404
    assert knock.post("new", json=begin("x", "../x")).json()["outcome"] == "refused"
    assert knock.post("new", json={"name": "x"}).status_code == 400
    assert os.listdir(tmp_path) == []


@pytest.mark.skipif(not FULL, reason="tried in the full profile")
def test_in_a_browser(serving, chromium, axe, tmp_path):
    context = chromium.new_context(viewport={"width": 390, "height": 844}, bypass_csp=True)
    tab = context.new_page()
    told = []
    tab.on("console", lambda message: told.append(message.text))
    tab.goto(serving(Entrance(tmp_path)))
    # A neck first: its crowns tell the scale, and widths are asked for.
    tab.get_by_label("Measure a neck").check()
    tab.fill("#table", CROWNS)
    tab.get_by_role("button", name="Find the scale").click()
    tab.locator("#found", has_text="Scale: 628").wait_for()
    assert tab.get_by_label("Width of the board at the nut").is_visible()
    tab.add_script_tag(path=axe)
    found = tab.evaluate(
        "async () => (await axe.run()).violations.map(v => [v.impact, v.id, v.nodes.map(n => n.html)])"
    )
    assert [fault for fault in found if fault[0] in ("serious", "critical")] == []
    assert tab.evaluate("document.documentElement.scrollWidth") <= 390
    tab.get_by_label("Refret").check()
    tab.fill("#board-table", BOARD)
    tab.get_by_role("button", name="List the wire").click()
    tab.locator("#wire td").first.wait_for()
    tab.get_by_label("New board").check()
    tab.locator("#name").fill("a/b")
    tab.get_by_label("Like").select_option("ukulele")
    tab.locator("#new button").click()
    tab.get_by_role("alert").get_by_text("without").wait_for()
    tab.locator("#name").fill("wren")
    tab.locator("#new button").click()
    tab.locator("h1", has_text="wren").wait_for()
    # From here on it is the desk: an edit on the drawing is in the file, another hand is told.
    tab.locator('.spot[data-key="board.nut_width"]').click()
    tab.fill("#box-value", "36")
    tab.keyboard.press("Enter")
    tab.locator(".did", has_text="nut width").wait_for()
    path = tmp_path / "wren.toml"
    assert "nut_width = 36" in path.read_text("utf-8")
    path.write_text(path.read_text("utf-8").replace('title = "wren"', 'title = "jenny"'), "utf-8")
    tab.locator("h1", has_text="jenny").wait_for()
    assert told == []
    context.close()
