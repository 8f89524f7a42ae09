"""``slotwright hear``: from a recording to a table that bench takes, and every way in which a recording is none."""

import csv
import io
import json
import shutil
import subprocess
import sys
import time
import tomllib

import numpy as np
import pytest
from forward import healthy
from helpers import FULL, some
from sound import takes

from slotwright.layout import lay_out, read_plan

SHORT = [(3, 0), (3, 12), (2, 0), (2, 12)]
PLAYED = "3 2: 0 12"


def recorded(order=SHORT, **more):
    return takes.record(takes.plucks(healthy(), order, seed=8), takes.Around(snr=50.0), seed=8, **more)


@pytest.fixture
def take(heron):
    tmp_path = heron.parent
    recorded().write(tmp_path / "take.wav", 24)
    return tmp_path / "take.wav"


def rows(path):
    return list(csv.DictReader(io.StringIO(path.read_text("utf-8"))))


@pytest.mark.usefixtures("take")
def test_from_a_take_to_moves(run, tmp_path):
    code, out, err = run("hear", "heron.toml", "take.wav", "--readings", "first.csv", "--played", PLAYED)
    assert (code, err) == (0, "")
    assert "first.csv  pass 1, 4 notes" in out
    text = (tmp_path / "first.csv").read_text("utf-8")
    assert text.splitlines()[0] == "string,fret,hz,cents,doubt,glide,inharmonicity,source,note"
    truth = recorded().readings()
    for row in rows(tmp_path / "first.csv"):
        assert row["source"] == "recording"
        assert abs(1200 * np.log2(float(row["hz"]) / truth[int(row["string"]), int(row["fret"])])) < 0.5
    found = json.loads(run("bench", "heron.toml", "first.csv", "--json")[1])
    heard = {(int(row["string"]), int(row["fret"])): float(row["cents"]) for row in rows(tmp_path / "first.csv")}
    for string in found["strings"]:
        own = string["string"]
        assert string["read"] == [{"fret": 12, "cents": pytest.approx(heard[own, 12] - heard[own, 0], abs=0.002)}]
        assert string["move_error"] < 0.15  # what two such notes doubt, and not a meter's half cent


@pytest.mark.usefixtures("take")
def test_a_pass_more(run, tmp_path):
    hear = ("hear", "heron.toml", "take.wav", "--readings", "first.csv", "--played", PLAYED)
    run(*hear)
    first = (tmp_path / "first.csv").read_text("utf-8").splitlines()
    code, _, err = run(*hear, typed="")  # nobody answered
    assert code == 2
    assert "give --moved or --not-moved" in err.lower()
    assert (tmp_path / "first.csv").read_text("utf-8").splitlines() == first
    code, out, err = run(*hear, typed="y\n")
    assert code == 0
    assert "Were saddles moved since?" in err
    assert "pass 2" in out
    now = rows(tmp_path / "first.csv")
    assert [row["pass"] for row in now] == [""] * 4 + ["2"] * 4
    assert [line.rpartition(",")[0] for line in (tmp_path / "first.csv").read_text("utf-8").splitlines()[:5]] == first
    assert "pass 2" in run(*hear, "--not-moved")[1]
    assert "pass 3" in run(*hear, "--moved")[1]
    assert run("bench", "heron.toml", "first.csv")[0] == 0


@pytest.mark.usefixtures("take")
def test_meter_and_recording_do_not_mix(run, tmp_path):
    run("hear", "heron.toml", "take.wav", "--readings", "first.csv", "--played", PLAYED)
    mixed = (tmp_path / "first.csv").read_text("utf-8") + "3,17,590,,,,,,\n"
    (tmp_path / "mixed.csv").write_text(mixed, "utf-8")
    code, _, err = run("bench", "heron.toml", "mixed.csv")
    assert code == 2
    assert "pass 1: read with a meter (line 6) and from a recording (line 2, 3, 4, 5)" in err


def test_notes_without_their_open_string_order_no_move(run, heron, tmp_path):
    (tmp_path / "a.csv").write_text("string,fret,hz,doubt,source\n3,12,393.5,0.1,recording\n")
    found = json.loads(run("bench", heron, "a.csv", "--json")[1])["strings"][0]
    assert found["direction"] == "leave"
    assert [finding["kind"] for finding in found["findings"]][0] == "open string"
    # With the open string as sharp as that the note is in tune, and known to a tenth of a cent.
    (tmp_path / "a.csv").write_text(
        "string,fret,hz,doubt,source\n3,0,196.7,0.1,recording\n3,12,393.5,0.1,recording\n"
    )
    found = json.loads(run("bench", heron, "a.csv", "--json")[1])["strings"][0]
    assert found["read"] == [{"fret": 12, "cents": pytest.approx(1200 * np.log2(393.5 / 2 / 196.7))}]
    assert found["move_error"] == pytest.approx(0.1 * 2**0.5 / 2.7, rel=0.1)  # 2.7 cents a millimetre at fret 12


@pytest.mark.usefixtures("take")
def test_the_plan_learns_how_stiff_its_strings_are(run, tmp_path):
    code, out, _ = run(
        "hear", "heron.toml", "take.wav", "--readings", "a.csv", "--played", PLAYED, "--save-plan", "learnt.toml"
    )
    assert code == 0
    assert "learnt.toml" in out
    strings = tomllib.loads((tmp_path / "learnt.toml").read_text("utf-8"))["strings"]
    truth = {(each.string, each.fret): each.inharmonicity for each in recorded().truths}
    for string in (2, 3):
        assert strings[string - 1]["inharmonicity"] == pytest.approx(truth[string, 0], rel=0.04)
    assert "inharmonicity" not in strings[0]


def test_measured_stiffness_sets_saddles_right():
    """A set has estimated cores; with B as heard a string of another core is set back as if that were stated."""
    plan = 'title = "q"\nstrings = { set = "electric 10-46" }\n[scale]\nlength = 640\n[board]\nnut_width = 43\n'
    plan += "[setup]\nnut_action = 0.4\naction = 1.7\n"
    core = "replace = [{ string = 6, gauge = '0.046 in', kind = 'wound steel', core = '0.0190 in' }]"
    true = lay_out(read_plan(plan.replace('10-46" }', f'10-46", {core} }}'))).strung
    known = true.bodies[5].inharmonicity * 1.04  # as far off as a recording may be
    own = f"replace = [{{ string = 6, inharmonicity = {known:.4g} }}]"
    heard = lay_out(read_plan(plan.replace('10-46" }', f'10-46", {own} }}'))).strung
    guessed = lay_out(read_plan(plan)).strung
    assert abs(heard.offsets.saddle[5] - true.offsets.saddle[5]) < 0.3
    assert abs(guessed.offsets.saddle[5] - true.offsets.saddle[5]) > 0.3


@pytest.mark.usefixtures("take")
def test_evidence_names_every_sound(run, tmp_path):
    code, _, _ = run(
        "hear", "heron.toml", "take.wav", "--readings", "a.csv", "--played", PLAYED, "--evidence", "seen.html"
    )
    assert code == 0
    page = (tmp_path / "seen.html").read_text("utf-8")
    for name in ("3 open", "3 at 12", "2 open", "2 at 12"):
        assert f">{name}<" in page
    assert "<script" not in page
    assert "http:" not in page
    assert "https:" not in page
    assert run("hear", "heron.toml", "take.wav", "--readings", "b.csv", "--evidence", "seen.html")[0] == 2
    assert not (tmp_path / "b.csv").exists()


@pytest.mark.usefixtures("take")
def test_the_report_shows_recorded_notes(run, tmp_path):
    run("hear", "heron.toml", "take.wav", "--readings", "first.csv", "--played", PLAYED)
    assert run("report", "heron.toml", "--readings", "first.csv")[0] == 0
    page = (tmp_path / "heron.html").read_text("utf-8")
    row = next(row for row in rows(tmp_path / "first.csv") if (row["string"], row["fret"]) == ("3", "12"))
    assert "Notes read from recordings" in page
    assert f"<td>{1e6 * float(row['inharmonicity']):.0f}e-6</td>" in page


def loud():
    sound = recorded().samples
    return np.clip(3 * sound / np.abs(sound).max(), -1, 1)


BAD = {
    "silence": (lambda: takes.wav(np.zeros(88200), 44100), "it is silent"),
    "header": (lambda: takes.wav(recorded(SHORT[:1]).samples, 44100, finished=False), "its header says so"),
    "clipped": (lambda: takes.wav(loud(), 44100), "too loud for the recorder"),
    "hiss": (lambda: takes.wav(takes.silence(seconds=3, snr=40.0).samples, 44100), "no pluck stands out"),
    "speech": (lambda: takes.wav(takes.speech(1, seconds=6).samples, 44100), "right plan|can be used|single plucked"),
    "chords": (lambda: takes.wav(takes.chords(1, seconds=3).samples, 44100), "right plan|can be used|single plucked"),
    "empty": (lambda: b"", "no recording that can be read"),
    "text": (lambda: b"string,fret\n" * 20, "no recording that can be read"),
    "short": (lambda: takes.wav(np.ones(4000), 44100), "s long; a note takes two seconds"),
    "long": (lambda: takes.wav(np.zeros(8_000_000), 8000, 8), "17 minutes; a take has at most 15"),
    "slow": (lambda: takes.wav(np.ones(8000), 4000), "at least 8000"),
}


@pytest.mark.usefixtures("heron")
@pytest.mark.parametrize("name", BAD)
def test_a_recording_that_is_none_says_one_sentence(run, tmp_path, name):
    contents, says = BAD[name]
    (tmp_path / "take.wav").write_bytes(contents())
    code, out, err = run("hear", "heron.toml", "take.wav", "--readings", "a.csv", "--played", PLAYED)
    assert (code, out) == (2, "")
    assert any(part in err for part in says.split("|"))
    assert err.count("\n") == 1
    assert not (tmp_path / "a.csv").exists()


@pytest.mark.usefixtures("heron")
def test_what_can_be_read_of_a_poor_one(run, tmp_path):
    sound = recorded().samples
    whole = takes.wav(sound, 44100)
    two = np.stack((0 * sound, sound), axis=1)
    for contents, says in (
        (whole[: len(whole) * 48 // 100], "the file is cut off"),
        (takes.wav(sound + 0.1, 44100, 8), "its middle lies at +10 % of full scale"),
        (takes.wav(two, 44100), "channel 2 of 2 is used, the louder one (the other one is silent)"),
    ):
        (tmp_path / "take.wav").write_bytes(contents)
        code, out, _ = run("hear", "heron.toml", "take.wav", "--readings", "a.csv", "--played", PLAYED, "--moved")
        assert code == 0
        assert says in out
        assert ("missing: all of string 2" in out) == ("cut off" in says)


def test_what_a_phone_saves(run, take, tmp_path, monkeypatch):
    take.rename(tmp_path / "take.m4a")
    hear = ("hear", "heron.toml", "take.m4a", "--readings", "a.csv", "--played", PLAYED)
    with monkeypatch.context() as without:
        without.setattr(shutil, "which", lambda _: None)
        code, _, err = run(*hear)
        assert code == 2
        assert "install ffmpeg, or save the recording as WAV" in err
    # A program that stands in for ffmpeg: what it writes is what is heard.
    copies = f"#!{sys.executable}\nimport shutil, sys\nshutil.copy(sys.argv[5], sys.argv[-1])\n"
    (tmp_path / "ffmpeg").write_text(copies)
    (tmp_path / "ffmpeg").chmod(0o755)
    monkeypatch.setattr(shutil, "which", lambda _: str(tmp_path / "ffmpeg"))
    assert run(*hear)[0] == 0


def test_what_a_phone_saves_is_read_as_it_was_recorded(run, ffmpeg, heron, tmp_path):
    """What AAC leaves out at 96 kbit/s moves a note by some thousandths of a cent, the worst of 18 by 0.16."""
    kept = takes.clean(77, order=takes.ORDER if FULL else SHORT).write(tmp_path / "take.wav")
    subprocess.run(
        [ffmpeg, "-v", "error", "-i", kept, "-c:a", "aac", "-b:a", "96k", tmp_path / "take.m4a"], check=True
    )
    for name in ("take.wav", "take.m4a"):
        order = () if FULL else ("--played", PLAYED)
        code, _, err = run("hear", heron, name, "--readings", f"{name[5:]}.csv", *order)
        assert (code, err) == (0, "")
    one, other = ([float(row["hz"]) for row in rows(tmp_path / f"{kind}.csv")] for kind in ("wav", "m4a"))
    apart = np.abs(1200 * np.log2(np.array(one) / other))
    assert len(apart) == (18 if FULL else 4)
    assert np.median(apart) < 0.03
    assert apart.max() < 0.25
    (tmp_path / "none.m4a").write_bytes(b"no sound" * 100)
    code, _, err = run("hear", heron, "none.m4a", "--readings", "none.csv")
    assert code == 2
    assert "ffmpeg finds no sound in it; save the recording as WAV" in err
    assert not (tmp_path / "none.csv").exists()


@pytest.mark.usefixtures("take")
@pytest.mark.parametrize(
    ("options", "says"),
    some(
        [
            (("--played", "7: 0"), "string 7; the plan has 1 to 6"),
            (("--played", "6 5"), "write it like"),
            (("--played", "6: x"), 'given "x" for a fret'),
            (("--played", ":"), "names no string"),
            (("--again", "3"), "write it like 3=take2.wav"),
            (("--again", "9=take.wav"), "--again: string 9, recorded again, is not among those played"),
            (("--evidence", "a.txt"), "end its name in .html"),
            (("--readings", "a.txt"), "end its name in .csv"),
        ],
        least=8,
    ),
)
def test_what_is_asked_wrongly(run, options, says):
    code, _, err = run("hear", "heron.toml", "take.wav", "--readings", "a.csv", "--played", PLAYED, *options)
    assert code == 2
    assert says in err


@pytest.mark.usefixtures("take")
def test_a_stranger_s_guitar_needs_no_plan_of_its_own(run, tmp_path):
    assert run("new", "electric-six", "--strings", "electric 10-46", "--scale", "25 1/2 in")[0] == 0
    code, _, err = run("hear", "electric-six.toml", "take.wav", "--readings", "first.csv", "--played", PLAYED)
    assert (code, err) == (0, "")
    truth = recorded().readings()
    assert len(rows(tmp_path / "first.csv")) == len(truth)
    for row in rows(tmp_path / "first.csv"):
        assert abs(1200 * np.log2(float(row["hz"]) / truth[int(row["string"]), int(row["fret"])])) < 0.5


def test_three_minutes_are_heard_within_half_a_minute(run, heron):
    """At most 30 s of one core; the same strings once more and once more are averaged."""
    once = takes.clean(seed=3)
    many = int(np.ceil(180 * once.rate / len(once.samples)))
    heron.with_name("long.wav").write_bytes(takes.wav(np.tile(once.samples, many), once.rate))
    begun = time.process_time()
    code, _, err = run("hear", "heron.toml", "long.wav", "--readings", "first.csv")
    assert time.process_time() - begun < 30
    assert code == 0, err
    assert len(rows(heron.with_name("first.csv"))) == 18
