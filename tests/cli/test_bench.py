"""``bench`` as a user meets it: tables, dialogues, broken-off logs."""

import csv
import json
import os
import signal
import subprocess
import sys
import time

import click
import pytest
from helpers import TOP, few, starter

from slotwright.layout.export.files import add_to
from slotwright.layout.readings.notes import parse_readings
from slotwright.templates import starters

READINGS = "string,fret,cents\n1,12,5\n1,17,8\n2,12,-3\n2,17,-4\n3,12,-1\n3,17,1\n6,12,0.5\n"


@pytest.fixture(autouse=True)
def beside_a_plan(tmp_path):
    """Put a plan and readings into the folder."""
    (tmp_path / "heron.toml").write_text(starters()["electric-six"], "utf-8")
    (tmp_path / "read.csv").write_text(READINGS)


def test_readings_are_given_or_asked_for(run):
    assert "Give READINGS.csv or --ask, not both." in run("bench", "heron.toml", "read.csv", "--ask")[2]
    assert "Give READINGS.csv, or --ask" in run("bench", "heron.toml")[2]


def test_moves_in_words(run):
    code, out, err = run("bench", "heron.toml", "read.csv")
    assert (code, err) == (0, "")
    lines = {line.split()[0]: line for line in out.splitlines() if line[:1].isdigit()}
    assert "back 1.7" in lines["1"]
    assert "3 1/2 clockwise" in lines["1"]
    assert "forward 0.9" in lines["2"]
    assert "anticlockwise" in lines["2"]
    assert "leave it" in lines["3"]
    assert "leave it" in lines["6"]
    assert "back: away from the nut" in out
    assert "retune after each move" in out
    assert "keep your face out of their line" in out


def test_json_of_the_bench(run):
    told = json.loads(run("bench", "heron.toml", "read.csv", "--json")[1])
    assert set(told) == {"strings", "findings", "calibration"}
    first, second, third, sixth = told["strings"]
    assert {"string", "move", "move_error", "turns", "direction", "expected", "within_tolerance", "findings"} <= set(
        first
    )
    assert [s["direction"] for s in told["strings"]] == ["back", "forward", "leave", "leave"]
    assert first["move"] > 0 > second["move"]
    assert first["turns"] == 3.5
    assert third["turns"] == 0
    assert [each["fret"] for each in first["expected"]] == [12, 17]
    assert [each["cents"] for each in third["expected"]] == pytest.approx([-1, 1])
    assert all(s["within_tolerance"] for s in told["strings"])
    assert sixth["findings"] == []


def test_findings_are_printed(run, tmp_path):
    (tmp_path / "read.csv").write_text("string,fret,cents,note\n1,12,-6,\n1,17,5,\n2,12,4,warble\n")
    out = run("bench", "heron.toml", "read.csv")[1]
    assert "string 1: no position: no saddle position gets below" in out
    assert "string 2: magnets: notes warble at fret 12" in out
    assert "not within 2 cents even then: string 1" in out
    told = json.loads(run("bench", "heron.toml", "read.csv", "--json")[1])
    assert told["strings"][1]["move"] is None
    assert told["strings"][0]["findings"][0]["kind"] == "no position"


def test_a_saddle_that_is_filed_has_no_turns(run, tmp_path):
    (tmp_path / "nylon-six.toml").write_text(starters()["nylon-six"], "utf-8")
    out = run("bench", "nylon-six.toml", "read.csv")[1]
    assert "turns" not in out
    assert "travel left" not in out


@pytest.mark.parametrize(
    "args", [(), ("read.csv", "--ask"), ("--ask",), ("read.csv", "--log", "l.csv"), ("read.csv", "more.csv")]
)
def test_wrong_usage(run, args):
    code, out, err = run("bench", "heron.toml", *args)
    assert (code, out) == (2, "")
    assert "Usage" in err


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("string,fret,cents\n1,12,x\n", "read.csv: line 2, column cents"),
        ("string,fret,cents\n", "read.csv: nothing stands below its header"),
        ("", "read.csv: the file is empty"),
        ("string,fret,cents\n9,12,1\n1,99,1\n", "read.csv: 2 errors\n  line 2, column string"),
        ("\x00\x01", "read.csv"),
    ],
)
def test_bad_readings(run, tmp_path, text, says):
    (tmp_path / "read.csv").write_text(text)
    code, out, err = run("bench", "heron.toml", "read.csv")
    assert (code, out) == (2, "")
    assert says in err
    assert run("bench", "heron.toml", "none.csv")[0] == 2
    assert run("bench", "none.toml", "read.csv")[0] == 2


def test_a_dialogue_from_first_reading_to_summary(run, tmp_path):
    typed = "5\nb\n6\n\n9.5\n0.4\n-.3\nx\n" + "0\n" * 8
    code, out, err = run("bench", "heron.toml", "--ask", "--log", "log.csv", typed=typed)
    assert (code, err) == (0, "")
    assert "back, away from the nut: 2." in out
    assert 'x": type cents such as -2.5' in out
    assert out.count("tune again, then read") == 1
    assert "string 1: 1 move, back 2." in out
    assert "string 4: not moved; in tune" in out
    rows = list(csv.DictReader((tmp_path / "log.csv").open()))
    assert [row["cents"] for row in rows[:3]] == ["6.000", "9.500", "0.400"]
    assert [row["pass"] for row in rows[:3]] == ["1", "1", "2"]
    assert float(rows[2]["moved"]) > 2
    # The same readings, read as a table, ask for nothing more.
    assert "no saddle needs to be moved" in run("bench", "heron.toml", "log.csv")[1]


def test_a_dialogue_goes_on_where_it_broke_off(run, tmp_path):
    out = run("bench", "heron.toml", "--ask", "--log", "log.csv", typed="5\n8\nq\n")[1]
    assert "log.csv keeps 2 readings" in out
    out = run("bench", "heron.toml", "--ask", "--log", "log.csv", typed="s\ns\n0\n")[1]
    assert "going on after 2 readings" in out
    assert "string 1: back, away from the nut" in out
    assert "string 2 fret 12" in out
    assert (tmp_path / "log.csv").read_text().count("\n") == 4


def test_stepping_back_over_a_skip_keeps_the_reading(run, tmp_path):
    run("bench", "heron.toml", "--ask", "--log", "log.csv", typed="4.8\ns\nb\nq\n")
    assert "1,12,4.800" in (tmp_path / "log.csv").read_text()


def test_a_move_asked_for_before_is_said_to_be(run):
    out = run("bench", "heron.toml", "--ask", "--log", "log.csv", typed="5\n8\n\nx\nq\n")[1]
    assert out.count("string 1: back") == 2  # and not for what was not understood
    assert out.count("(as before) string 1: back") == 1
    assert "string 1: asked to be moved, not read since" in out
    assert "\u00b1" not in out  # no table that asks for the move once more
    out = run("bench", "heron.toml", "--ask", "--log", "log.csv", typed="q\n")[1]
    assert "may be done already" in out


def test_a_log_behind_a_link_and_one_that_another_hand_wrote(run, tmp_path):
    (tmp_path / "link.csv").symlink_to("real.csv")
    run("bench", "heron.toml", "--ask", "--log", "link.csv", typed="5\nq\n")
    assert (tmp_path / "link.csv").is_symlink()
    assert "1,12,5.000" in (tmp_path / "real.csv").read_text()


LOGS = {
    "ours": "string,fret,cents,open,pass,moved,note\n1,12,5.000,0.000,1,0.00000,\n",
    "semicolons, decimal commas": "\ufeffpass;note;string;fret;cents;moved\r\n1;new strings;1;12;5,0;\r\n",
    "told by a line": "sep=;\r\nnote;string;fret;cents;moved;pass\r\n;1;12;5.0;;1\r\n",
    "tabs, hz": "hz\tstring\tfret\tpass\tmoved\tnote\topen\n661.2\t1\t12\t1\t\t\t+0.1\n",
    "with places": 'string,fret,cents,hz,saddle_offset,pass,moved,note\r1,12,,661.2,2.4,1,,"odd, but true"\r',
    "no last line end": "string,fret,cents,note,pass,moved\n1,12,5.0,,,0",
}


@pytest.mark.parametrize("name", LOGS)
def test_a_log_is_only_added_to_in_its_own_way(run, tmp_path, name):
    log, before = tmp_path / "log.csv", LOGS[name].encode()
    log.write_bytes(before)
    log.chmod(0o600)
    code, out, err = run("bench", "heron.toml", "--ask", "--log", "log.csv", typed="7,5\nwarble\nb\n4 w\nq\n")
    assert (code, err) == (0, "")
    assert ("its last line had no line end" in out) == (name == "no last line end")
    after = log.read_bytes()
    assert after.startswith(before)
    assert log.stat().st_mode & 0o777 == 0o600
    end = next(end for end in ("\r\n", "\r", "\n") if end in LOGS[name])
    added = after[len(before) :].decode()
    assert added.endswith(end)
    rows = added.strip().split(end)
    assert len(rows) == 2
    delimiter = max(",;\t", key=LOGS[name].count)
    columns = next(line for line in LOGS[name].lstrip("\ufeff").split(end) if "sep=" not in line).split(delimiter)
    assert all(len(row.split(delimiter)) == len(columns) for row in rows)
    assert ("7,500" in added) == ("decimal commas" in name)
    read = parse_readings(after, starter("electric-six"))
    assert [(each.string, each.fret, each.at) for each in read] == [(1, 12, 1), (1, 17, 1), (1, 12, 2)]
    assert read[1].cents == pytest.approx(7.5, abs=1e-3)
    assert read[2].note == "warble"


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (
            "string,fret,cents\n1,12,5\n",
            'columns pass, moved, note missing, which a log needs; write ",pass,moved,note"',
        ),
        (
            "string;fret;cents;pass;moved\n1;12;5;1;\n",
            'column note missing, which a log needs; write ";note" at its end',
        ),
        ("string,fret,cents,pass,moved,note\n1,12,5,1,0,\n1,17,8.", "last line: has 3 of 6 cells and no line end"),
        ("string,fret,cents,pass,moved,who\n1,12,5,1,0,\n", 'unknown column "who"'),
    ],
)
def test_a_log_that_cannot_be_added_to_is_refused_before_anything_is_asked(run, tmp_path, text, says):
    (tmp_path / "log.csv").write_text(text)
    code, out, err = run("bench", "heron.toml", "--ask", "--log", "log.csv", typed="5\n")
    assert (code, out) == (2, "")
    assert says in err
    assert (tmp_path / "log.csv").read_text() == text


def test_a_protected_log_is_refused_before_anything_is_asked(run, tmp_path):
    log = tmp_path / "log.csv"
    log.write_text(LOGS["ours"])
    log.chmod(0o444)
    code, out, err = run("bench", "heron.toml", "--ask", "--log", "log.csv", typed="5\n")
    assert (code, out) == (1, "")
    assert err == "slotwright: log.csv: write-protected; name another log, or allow writing\n"
    assert log.read_text() == LOGS["ours"]


def between(monkeypatch, change, at=2):
    """Let somebody else change the log while a question waits for its answer."""
    prompt, asked = click.prompt, []

    def answered(*args, **kwargs):
        asked.append(args[0])
        if len(asked) == at:
            change()
        return prompt(*args, **kwargs)

    monkeypatch.setattr("click.prompt", answered)
    return asked


def test_two_dialogues_keep_one_log(run, tmp_path, monkeypatch):
    log = tmp_path / "log.csv"
    other = "2,12,0.100,0.000,1,0.00000,\n2,17,0.200,0.000,1,0.00000,\n"

    def change():
        with log.open("a") as file:
            file.write(other)

    asked = between(monkeypatch, change)
    code, out, err = run("bench", "heron.toml", "--ask", "--log", "log.csv", typed="0.3\n-0.3\n1\nq\n")
    assert (code, err) == (0, "")
    assert "log.csv was changed by somebody else meanwhile; now it holds 4 readings" in out
    assert asked[2] == "string 3 fret 12"  # by what both read
    assert [row["cents"] for row in csv.DictReader(log.open())] == ["0.300", "0.100", "0.200", "-0.300", "1.000"]


def test_a_reading_of_a_pass_that_another_ended_is_put_where_it_belongs(run, tmp_path, monkeypatch):
    log = tmp_path / "log.csv"
    others = "1,17,8.000,0.000,1,0.00000,\n1,12,0.200,0.000,2,1.50000,\n1,17,0.200,0.000,2,1.50000,\n"

    def change():
        with log.open("a") as file:
            file.write(others)

    between(monkeypatch, change)
    code, _, err = run("bench", "heron.toml", "--ask", "--log", "log.csv", typed="5\n0.4\nq\n")
    assert (code, err) == (0, "")
    assert log.read_text().splitlines()[-1] == "1,17,0.400,0.000,2,1.50000,"
    assert others in log.read_text()


def test_a_log_that_is_taken_away_is_written_anew(run, tmp_path, monkeypatch):
    log = tmp_path / "log.csv"
    between(monkeypatch, log.unlink)
    code, out, _ = run("bench", "heron.toml", "--ask", "--log", "log.csv", typed="5\n8\nq\n")
    assert code == 0
    assert "log.csv was taken away meanwhile; it is written anew" in out
    assert [row["cents"] for row in csv.DictReader(log.open())] == ["5.000", "8.000"]


def test_a_log_spoilt_meanwhile_keeps_what_it_is_and_the_reading_is_told(run, tmp_path, monkeypatch):
    log = tmp_path / "log.csv"
    between(monkeypatch, lambda: log.write_text("shopping\n"))
    code, _, err = run("bench", "heron.toml", "--ask", "--log", "log.csv", typed="5\n8\nq\n")
    assert code == 2
    assert "log.csv: line 1: names no column that is known" in err
    assert "not written, because that stands there since: 1,17,8.000" in err
    assert log.read_text() == "shopping\n"


def test_the_dialogue_in_the_readme(run):
    text = (TOP / "README.md").read_text("utf-8")
    shown = [line.strip() for line in text.splitlines() if line.startswith("    string 1")]
    typed = [line.partition(" > ")[2] for line in shown if " > " in line]
    out = run("bench", "heron.toml", "--ask", "--log", "log.csv", typed="\n".join([*typed, "q\n"]))[1]
    assert [line for line in shown if " > " not in line] == [
        "string 1: back, away from the nut: 1.67 mm, 3 1/4 turns clockwise"
    ]
    assert f"string 1 fret 12 > string 1 fret 17 > {shown[2]}\nstring 1 fret 12 > " in out


def test_nothing_older_is_taken_back(run, tmp_path, monkeypatch):
    log = tmp_path / "log.csv"
    log.write_text(LOGS["ours"])
    out = run("bench", "heron.toml", "--ask", "--log", "log.csv", typed="b\n8\nb\nb\nq\n")[1]
    assert out.count("nothing to take back here; what was there before is mended in log.csv itself") == 2
    assert log.read_text() == LOGS["ours"]

    def change():
        with log.open("a") as file:
            file.write("2,12,0.100,0.000,1,0.00000,\n")

    between(monkeypatch, change)
    out = run("bench", "heron.toml", "--ask", "--log", "log.csv", typed="8\nb\nq\n")[1]
    assert "changed by somebody else meanwhile; take the row out there" in out
    assert [row["cents"] for row in csv.DictReader(log.open())] == ["5.000", "8.000", "0.100"]


def test_a_row_is_written_whole_or_not_at_all(tmp_path, monkeypatch):
    log = tmp_path / "log.csv"
    log.write_bytes(b"one\n")
    synced = []
    monkeypatch.setattr("os.fsync", synced.append)
    add_to(log, b"two\n")
    assert log.read_bytes() == b"one\ntwo\n"
    assert len(synced) == 1
    monkeypatch.setattr("os.fsync", lambda _: (_ for _ in ()).throw(OSError("full")))
    with pytest.raises(OSError, match="full"):
        add_to(log, b"three\n")
    assert log.read_bytes() == b"one\ntwo\n"
    with pytest.raises(FileNotFoundError):
        add_to(tmp_path / "none.csv", b"three\n")
    assert not (tmp_path / "none.csv").exists()


def test_a_turn_that_went_the_wrong_way_in_a_dialogue_and_in_its_log(run):
    out = run("bench", "heron.toml", "--ask", "--log", "log.csv", typed="5\n5\n12\n12\nq\n")[1]
    assert "string 1: the last turn went the wrong way: asked 1.25 mm back" in out
    assert 'screw_from = "rear"' in out
    out = run("bench", "heron.toml", "log.csv")[1]
    assert "string 1: wrong way: the last turn went the wrong way: asked 1.25 mm back" in out
    told = json.loads(run("bench", "heron.toml", "log.csv", "--json")[1])["strings"][0]
    assert [each["kind"] for each in told["findings"]][0] == "wrong way"
    assert (told["direction"], told["turns"]) == ("back", None)


def test_an_empty_log_is_begun(run, tmp_path):
    (tmp_path / "log.csv").touch()
    code, out, err = run("bench", "heron.toml", "--ask", "--log", "log.csv", typed="5\nq\n")
    assert (code, err) == (0, "")
    assert "log.csv keeps 1 reading;" in out
    assert "1,12,5.000" in (tmp_path / "log.csv").read_text()


@pytest.mark.parametrize("extra", [("--json",), ("--save-plan", "k.toml"), ("--restring", "heron.toml")])
def test_what_a_dialogue_does_not_do(run, extra):
    assert run("bench", "heron.toml", "--ask", "--log", "log.csv", *extra)[0] == 2


def test_a_calibrated_plan_is_written_to_a_plan_file_only(run, tmp_path):
    (tmp_path / "many.csv").write_text(MANY)
    code, _, err = run("bench", "heron.toml", "many.csv", "--save-plan", "many.csv", "--force")
    assert (code, "end its name in .toml" in err) == (2, True)
    assert (tmp_path / "many.csv").read_text() == MANY


def test_restringing_marks_what_was_not_read(run):
    out = run("bench", "heron.toml", "read.csv", "--restring", "heron.toml")[1]
    assert "* not read: from where it belongs" in out
    assert [line.split()[0] for line in out.splitlines() if " * " in line] == ["4", "5"]


def test_long_aims_fit_into_a_line(run, tmp_path):
    (tmp_path / "nylon-six.toml").write_text(starters()["nylon-six"], "utf-8")
    (tmp_path / "all.csv").write_text("string,fret,cents\n" + "".join(f"1,{n},{n / 2 - 3}\n" for n in range(1, 13)))
    out = run("bench", "nylon-six.toml", "all.csv")[1]
    assert "12 frets: \u22122.5 to +3.0" in out
    assert max(map(len, out.splitlines()[:2])) < 120


def test_nothing_typed_is_no_failure(run, tmp_path):
    assert run("bench", "heron.toml", "--ask", "--log", "log.csv", typed="")[0] == 0
    assert run("bench", "heron.toml", "--ask", "--log", "log.csv", typed="")[0] == 0
    (tmp_path / "log.csv").write_text("string,fret,cents\n1,12,x\n")
    assert run("bench", "heron.toml", "--ask", "--log", "log.csv", typed="")[0] == 2
    assert run("bench", "heron.toml", "--ask", "--log", "none/there/log.csv", typed="1\n")[0] == 0
    (tmp_path / "file").write_text("")
    assert run("bench", "heron.toml", "--ask", "--log", "file/log.csv", typed="")[0] in (1, 2)


def test_the_log_survives_being_killed_at_any_moment(tmp_path):
    """Killed thirty times while readings come in: the log is always whole, and holds all that was answered before."""
    (tmp_path / "heron.toml").write_text(starters()["electric-six"], "utf-8")
    log, plan = tmp_path / "log.csv", starter("electric-six")
    command = [sys.executable, "-u", "-m", "slotwright.cli", "bench", "heron.toml", "--ask", "--log", "log.csv"]
    kept = 0
    for attempt in range(few(30, 3)):
        talk = subprocess.Popen(command, cwd=tmp_path, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
        seen = ""
        while "fret" not in seen:  # the first question: it runs
            seen += talk.stdout.read(1)
        talk.stdin.write("b\n9\n" * 200)
        talk.stdin.flush()
        time.sleep(0.12 * attempt / few(30, 3))
        talk.send_signal(signal.SIGKILL)
        talk.communicate()
        text = log.read_bytes()
        assert text.startswith(b"string,fret,cents")
        assert text.endswith(b"\n")
        readings = parse_readings(text, plan)
        assert len(readings) >= kept - 1  # the last one may just have been taken back
        kept = len(readings)
    assert {name for name in os.listdir(tmp_path) if not name.startswith(".")} == {
        "heron.toml",
        "log.csv",
        "read.csv",
    }


MANY = "string,fret,cents\n" + "".join(
    f"{string},{fret},{0.1 * fret + string - 3.5:.1f}\n" for string in range(1, 7) for fret in (1, 3, 5, 7, 9, 12, 17)
)


def test_what_the_bench_teaches_is_kept_and_used(run, tmp_path):
    (tmp_path / "many.csv").write_text(MANY)
    code, out, err = run("bench", "heron.toml", "many.csv", "--save-plan", "kept.toml")
    assert (code, err) == (0, "")
    assert "calibration from string 1, 2, 3, 4, 5, 6: stiffness" in out
    learnt = json.loads(run("bench", "heron.toml", "many.csv", "--json")[1])["calibration"]
    assert {"stiffness", "stiffness_error", "stretch", "stretch_error", "correlation"} <= set(learnt)
    assert learnt["press_depth"] >= 0
    assert learnt["press_depth_error"] > 0
    told = run("bench", "heron.toml", "many.csv", "--explain")[1]
    assert f"the hand presses {learnt['press_depth']:.2f} mm ± {learnt['press_depth_error']:.2f} mm" in told
    assert "the hand presses" not in out
    upper = [line for line in MANY.splitlines() if line.split(",")[1] not in ("1", "3")]
    (tmp_path / "upper.csv").write_text("\n".join(upper))
    told = json.loads(run("bench", "heron.toml", "upper.csv", "--json")[1])["calibration"]
    assert told["press_depth"] is told["press_depth_error"] is None
    assert "taken from the plan" in run("bench", "heron.toml", "upper.csv", "--explain")[1]
    kept = (tmp_path / "kept.toml").read_text("utf-8")
    assert "# string 1 is on the treble side" in kept
    assert f"stretch = {round(learnt['stretch'], 4)}" in kept
    assert "Calibrated at the bench: stiffness" in run("compensate", "kept.toml")[1]
    offsets = [
        json.loads(run("compensate", f"{name}.toml", "--json")[1])["strings"][2]["saddle_offset"]
        for name in ("heron", "kept")
    ]
    assert abs(offsets[0] - offsets[1]) > 0.05
    assert run("draw", "kept.toml", "--sheet", "stick", "--sheet", "board", "--format", "svg")[0] == 0
    for sheet in ("stick", "board"):
        assert "Calibrated at the bench" in (tmp_path / f"kept-{sheet}.svg").read_text("utf-8")
    code, _, err = run("bench", "heron.toml", "many.csv", "--save-plan", "kept.toml")
    assert (code, "--force replaces it" in err) == (2, True)
    assert run("bench", "heron.toml", "many.csv", "--save-plan", "kept.toml", "--force")[0] == 0


def test_too_few_readings_teach_nothing(run, tmp_path):
    assert "not calibrated: it takes 5 frets or more on 4 strings" in run("bench", "heron.toml", "read.csv")[1]
    code, out, err = run("bench", "heron.toml", "read.csv", "--save-plan", "kept.toml")
    assert (code, out) == (2, "")
    assert "kept.toml is not written: it takes 5 frets" in err
    assert not (tmp_path / "kept.toml").exists()


def test_restringing(run, tmp_path):
    (tmp_path / "many.csv").write_text(MANY)
    heavier = starters()["electric-six"].replace('"0.010 in"', '"0.012 in"').replace('"0.046 in"', '"0.052 in"')
    (tmp_path / "heavy.toml").write_text(heavier, "utf-8")
    code, out, err = run("bench", "heron.toml", "many.csv", "--restring", "heavy.toml")
    assert (code, err) == (0, "")
    assert "for the strings of Electric six, instead of the moves above" in out
    line = next(line for line in out.splitlines() if "0.010 to 0.012 in" in line)
    assert "68.2 to 98.2 N" in line  # by hand: tension goes with the square of the gauge
    told = json.loads(run("bench", "heron.toml", "many.csv", "--restring", "heavy.toml", "--json")[1])["restring"]
    assert [each["string"] for each in told] == [1, 2, 3, 4, 5, 6]
    assert told[0]["tension_n"][1] / told[0]["tension_n"][0] == pytest.approx(1.44)
    assert all(each["move_error"] > 0 for each in told)
    (tmp_path / "nylon-six.toml").write_text(starters()["nylon-six"], "utf-8")
    code, out, err = run("bench", "heron.toml", "many.csv", "--restring", "nylon-six.toml")
    assert (code, out) == (2, "")
    assert "--restring: scale: " in err
