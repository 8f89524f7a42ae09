"""The desk as a server: what it answers, writes and refuses."""

import errno
import json
import os
import re
import resource
import signal
import socket
import time
import urllib.request
from pathlib import Path

import pytest
from forward import healthy
from helpers import FULL, few, some
from sound import takes

from slotwright.cli.desk import server, state
from slotwright.cli.desk.guard import MOST_BODY
from slotwright.cli.desk.jobs import JOBS
from slotwright.cli.desk.keeper import Keeper
from slotwright.cli.desk.server import MOST_CONNECTIONS
from slotwright.layout.errors import SlotwrightError
from slotwright.layout.plan.keys import keys
from slotwright.layout.plan.reader import parse_plan
from slotwright.templates import starters

SIX = starters()["electric-six"].encode()


def look_up(address, timeout=20):
    return urllib.request.urlopen(address, timeout=timeout)  # noqa: S310 - an address of this machine


def edit(client, key, given, seen):
    return client.post("edit", json={"key": key, "given": given, "seen": seen}).json()


def step(client, to, version):
    return client.post("step", json={"step": to, "version": version}).json()


def test_an_edit_is_in_the_file_at_once_and_undo_gives_its_bytes_back(lay):
    client, path = lay()
    told = edit(client, "board.nut_width", "1.7 in", "42.5")
    assert told["outcome"] == "done"
    assert path.read_bytes() == SIX.replace(b"nut_width = 42.5", b'nut_width = "1.7 in"')
    assert "nut width 42.5 \u2192 1.7 in" in told["parts"]["answer"]
    assert "3.50 mm \u2192 3.84 mm" in told["parts"]["answer"]  # (43.18 - 35.5) / 2
    assert step(client, 0, told["version"])["outcome"] == "done"
    assert path.read_bytes() == SIX
    assert [each.name for each in path.parent.iterdir()] == [path.name]  # no draft, no lock beside it


def test_what_is_refused_leaves_the_file_as_it_was(lay):
    client, path = lay()
    before = path.stat()
    told = edit(client, "board.nut_width", "42 5", "42.5")
    assert told["outcome"] == "refused"
    assert [fault["key"] for fault in told["faults"]] == ["board.nut_width"]
    assert "42 5" in told["faults"][0]["words"]
    for question in ({"key": "kerf"}, {"key": "kerf", "given": 1, "seen": ""}, [], "x", {"key": "a", "given": "", "seen": "", "path": "/etc"}):  # fmt: skip
        assert client.post("edit", json=question).status_code == 400
    assert client.post("edit", content=b'{"key": "kerf", "given": "0.1", "seen": ""}').status_code == 400
    assert client.post("edit", content=b"[" * 5000, headers={"content-type": "application/json"}).status_code == 400
    assert client.get("edit").status_code == 405
    assert (path.stat().st_mtime_ns, path.read_bytes()) == (before.st_mtime_ns, SIX)


def test_a_disk_that_refuses_is_told_and_the_plan_stays(lay, monkeypatch):
    client, path = lay()
    told = edit(client, "kerf", "0.1", "")

    def full(*_, **__):
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr("slotwright.cli.desk.keeper.write_whole", full)
    written = path.read_bytes()
    for answer in (edit(client, "kerf", "0.2", "0.1"), step(client, 0, told["version"])):
        assert answer["outcome"] == "failed"
        assert "no space" in answer["words"]
    assert path.read_bytes() == written
    monkeypatch.undo()
    assert step(client, 0, told["version"])["outcome"] == "done"
    assert path.read_bytes() == SIX


def test_another_editor_is_taken_in_and_a_clash_shows_both(lay):
    client, path = lay()
    theirs = SIX.replace(b"nut_width = 42.5", b"nut_width = 43.0 # mine").replace(b"relief = 0.20", b"relief = 0.25")
    path.write_bytes(theirs)
    told = edit(client, "board.nut_width", "44", "42.5")
    assert (told["outcome"], told["mine"], told["theirs"]) == ("clash", "44", "43.0")
    assert path.read_bytes() == theirs
    assert 'data-value="43.0"' in told["parts"]["keys"]
    assert edit(client, "board.nut_width", "44", "43.0")["outcome"] == "done"
    assert path.read_bytes() == theirs.replace(b"43.0 # mine", b"44 # mine")
    # A step back that was asked for before the page knew of the other hand is not taken.
    path.write_bytes(SIX)
    version = client.get("parts").json()["version"]
    path.write_bytes(theirs)
    assert step(client, 0, version)["outcome"] == "changed"
    assert path.read_bytes() == theirs


def test_faults_from_another_hand_stand_at_their_keys(lay):
    client, path = lay()
    path.write_bytes(SIX.replace(b"nut_width = 42.5", b"nut_width = 900").replace(b"count = 22", b"count = 0"))
    shown = client.get("").text
    assert "2 errors" in shown
    assert 'class="drawn stale"' in shown
    assert re.findall(r'class="(?:spot|key)[^"]* wrong" data-key="([^"]+)"', shown).count("board.nut_width") == 2
    assert client.get("files/electric-six-board.svg").status_code == 404
    assert client.get("files/electric-six.toml").content == path.read_bytes()
    path.write_bytes(b"title = ")
    assert "an error" in client.get("").text
    assert edit(client, "kerf", "0.1", "")["outcome"] == "refused"
    assert path.read_bytes() == b"title = "


@pytest.mark.parametrize("name", some(["ukulele", "electric-six"]))
def test_files_are_those_of_the_command_line(lay, run, name):
    client, path = lay(name)
    sheet = [] if FULL else ["--sheet", "nut"]
    formats = [word for kind in ("dxf", "svg", "pdf", *(["3mf"] if FULL else [])) for word in ("--format", kind)]
    assert run("draw", path, *sheet, "--out", "drawn", *formats)[0] == 0
    for reader in ("maker", "bench", "customer"):
        kept = f"drawn/{name}.html" if reader == "maker" else f"drawn/{name}-{reader}.html"
        assert run("report", path, "--for", reader, "--out", kept)[0] == 0
    links = re.findall(r'href="(files/[^"]+)"', client.get("").text)
    written = {each.name: each for each in Path("drawn").iterdir()} | {path.name: path}
    assert set(written) <= {link.removeprefix("files/") for link in links}
    for link in links if FULL else [f"files/{name}" for name in written]:
        answer = client.get(link)
        assert answer.content == written[link.removeprefix("files/")].read_bytes()
        assert answer.headers["content-disposition"] == "attachment"


def cell(client, place, given, seen=""):
    return client.post("cell", json={"cell": place, "given": given, "seen": seen}).json()


def test_readings_are_in_their_file_at_once_and_what_they_ask_for_is_what_bench_prints(lay, run):
    client, path = lay()
    table = path.with_name("electric-six-readings.csv")
    for place, given in (("3/12", "6.5"), ("3/17", "7"), ("6/12", "-4"), ("1/12", "0.5")):
        assert cell(client, place, given)["outcome"] == "done"
    told = re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", client.get("").text))
    code, out, _ = run("bench", path, table)
    assert code == 0
    for line in out.splitlines():
        if found := re.match(r"(\d) .* (back|forward) (\d\.\d\d)", line):
            assert f"{found[2]} {found[3]} (" in told, line
    assert run("report", path, "--readings", table, "--for", "bench", "--out", "card.html")[0] == 0
    assert client.get("files/electric-six-bench.html").content == Path("card.html").read_bytes()
    # Another hand at the table is taken in, and what was typed against the old reading is not taken for granted.
    table.write_bytes(table.read_bytes().replace(b"6,12,-4", b"6,12,-5"))
    answer = cell(client, "6/12", "-3", "\u22124.00")
    assert (answer["outcome"], answer["theirs"]) == ("clash", "\u22125.00")
    assert cell(client, "6/12", "far", "\u22125.00")["outcome"] == "refused"
    assert client.post("round", json={}).json()["outcome"] == "done"
    assert "Round 2" in client.get("").text
    assert client.post("fret", json={"fret": 5}).json()["outcome"] == "done"
    assert "fret 5" in client.get("").text
    assert client.post("keep", json={"what": "calibration"}).json()["outcome"] == "refused"
    # Back to the beginning: nothing was read, and no file is taken away.
    assert step(client, 0, client.get("parts").json()["version"])["outcome"] == "done"
    assert table.read_bytes().count(b"\n") == 1
    version = client.get("parts").json()["version"]
    assert client.get("parts").json()["version"] == version
    assert path.read_bytes() == SIX


def test_a_table_of_readings_with_faults_is_told_on_the_page(lay):
    client, path = lay()
    table = path.with_name("electric-six-readings.csv")
    for text in (b"string,fret,cents\n1,12,abc\n", b"\xff\xfe", b"1,2,3"):
        table.write_bytes(text)
        answer = client.get("")
        assert (answer.status_code, answer.text.count("cannot be read")) == (200, 1)
        assert client.get("parts").status_code == 200
    assert edit(client, "board.nut_width", "43", "42.5")["outcome"] == "done"
    assert table.read_bytes() == b"1,2,3"


def test_a_recording_is_sound_and_nothing_else(lay):
    client, path = lay()
    kind = {"content-type": "application/octet-stream"}
    for sound, words in ((b"", "no recording"), (b"RIFF", "no recording"), (b"\0" * 100, "no recording")):
        answer = client.post("recording?suffix=/../x&played=", content=sound, headers=kind).json()
        assert answer["outcome"] == "refused"
        assert words in answer["faults"][0]["words"]
        assert "tmp" not in answer["faults"][0]["words"]
    assert client.post("recording", content=b"x").status_code == 400
    assert client.post("recording", content=b"x", headers={**kind, "content-length": "999999999"}).status_code == 413
    assert client.post("recordings", content=b"x" * (MOST_BODY + 1), headers=kind).status_code == 413
    assert sorted(each.name for each in path.parent.iterdir()) == [path.name]


def test_what_was_heard_is_a_page_of_evidence(lay):
    client, path = lay()
    take = takes.record(takes.plucks(healthy(), [(3, 0), (3, 12)], seed=8), takes.Around(snr=50.0), seed=8)
    answer = client.post(
        "recording?suffix=.wav&played=3: 0 12",
        content=takes.wav(take.samples, take.rate),
        headers={"content-type": "application/octet-stream"},
    ).json()
    assert answer["outcome"] == "done", answer
    (link,) = set(re.findall(r'href="(files/[^"]+heard.html\?show)"', answer["parts"]["bench"]))
    page = client.get(link)
    assert (page.status_code, page.headers["content-disposition"]) == (200, "inline")
    assert "<svg" in page.text
    assert "connect-src 'none'" in page.headers["content-security-policy"]
    # How stiff the strings are goes into the plan.
    kept = client.post("keep", json={"what": "stiffness"}).json()
    assert kept["outcome"] == "done"
    assert b"inharmonicity" in path.read_bytes()


def test_programs_are_proved_and_those_of_mill(lay, run):
    client, path = lay()
    assert "list the router" in client.get("").text
    html = client.get("programs").json()["html"]
    assert "A router maims" in html
    links = re.findall(r'href="(files/[^"]+\.ngc)"', html)
    assert run("mill", path, "--out", "milled")[0] == 0
    written = {each.name: each.read_bytes() for each in Path("milled").iterdir()}
    assert {link.removeprefix("files/"): client.get(link).content for link in links} == written
    path.write_bytes(SIX.replace(b"cutting_length = 12.0", b"cutting_length = 1.0"))
    assert client.get("programs").json()["outcome"] == "refused"
    assert client.get(f"{links[0]}").status_code == 409
    other, _ = lay("ukulele")
    assert other.get("programs").status_code == 404


def test_paper_is_that_of_the_command_line(lay, run):
    client, path = lay("ukulele")
    assert run("draw", path, "--sheet", "nut", "--format", "pdf", "--paper", "letter", "--out", "drawn")[0] == 0
    answer = client.get("files/ukulele-nut.pdf?show&paper=letter")
    assert answer.content == Path("drawn/ukulele-nut.pdf").read_bytes()
    assert answer.headers["content-disposition"] == "inline"
    assert client.get("files/ukulele-nut.pdf?paper=2x2").status_code == 409
    more = ("--paper", "legal", "--measured", "249.4/250", "--out", "again")
    assert run("draw", path, "--sheet", "nut", "--format", "pdf", *more)[0] == 0
    answer = client.get("files/ukulele-nut.pdf?paper=legal&measured=249.4/250")
    assert answer.content == Path("again/ukulele-nut.pdf").read_bytes()
    assert client.get("files/ukulele-nut.pdf?measured=9/250").status_code == 409
    assert client.get("files/ukulele-nut.svg?show").headers["content-disposition"] == "attachment"


def test_edits_that_wait_to_be_saved(tmp_path):
    path = tmp_path / "heron.toml"
    path.write_bytes(SIX)
    keeper = Keeper.of(path, asks=True)
    keeper.change(lambda desk: state.edit(desk, "board.nut_width", "43", "42.5"))
    assert path.read_bytes() == SIX
    assert keeper.unsaved
    keeper.look()
    assert keeper.desk.instrument.plan.board.nut_width == 43
    # Another editor saves meanwhile: that is taken in, and what was not saved here stays.
    theirs = SIX.replace(b"relief = 0.20", b"relief = 0.25")
    path.write_bytes(theirs)
    keeper.look()
    assert keeper.desk.instrument.plan.setup.relief == 0.25
    assert (keeper.desk.instrument.plan.board.nut_width, path.read_bytes()) == (43, theirs)
    assert "what was not saved here stays" in keeper.desk.words
    keeper.save()
    assert path.read_bytes() == keeper.desk.text == theirs.replace(b"nut_width = 42.5", b"nut_width = 43")
    assert not keeper.unsaved
    # A file that is gone, or that may not be read, is told; saving puts it back.
    path.unlink()
    assert keeper.look()
    assert "gone" in keeper.trouble
    assert keeper.unsaved
    keeper.save()
    assert path.read_bytes() == keeper.desk.text
    assert not keeper.look()
    assert keeper.trouble == ""
    keeper.close()


def test_values_of_jobs_are_keys_of_plans():
    known = {key.path for key in keys()}
    assert all(key in known for job in JOBS for key in job.keys)


def test_jobs_show_their_values_and_what_is_printed(lay):
    client, _ = lay()
    for job, printed in (("New board", "electric-six-slots.pdf"), ("Replace a bridge", "electric-six-bridge.pdf"),
                         ("Refret", "electric-six.html"), ("Intonate", "electric-six-bench.html")):  # fmt: skip
        part = client.post("job", json={"name": job}).json()["parts"]["job"]
        assert f"files/{printed}?show" in part
        assert client.get(f"files/{printed}").status_code == 200
        assert part.count("data-key") >= 5
    assert "data-key" not in client.post("job", json={"name": "Intonate"}).json()["parts"]["job"]


def test_a_title_with_markup_shows_as_text(lay):
    nasty = "<script>alert(1)</script>"
    client, _ = lay(text=SIX.replace(b'title = "Electric six"', f'title = "{nasty}"'.encode()))
    answer = client.get("")
    assert nasty not in answer.text
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in answer.text
    assert nasty not in client.get("parts").json()["parts"]["keys"]


def test_every_answer_forbids_what_the_page_does_not_need(lay):
    client, _ = lay()
    for answer in (client.get(""), client.get("desk.js"), client.get("no"), client.get("/"), client.post("edit")):
        policy = dict(part.split(" ", 1) for part in answer.headers["content-security-policy"].split("; "))
        assert policy["default-src"] == "'none'"
        assert policy["script-src"] == policy["style-src"] == "'self'"
        assert policy["frame-ancestors"] == "'none'"
        assert answer.headers["x-content-type-options"] == "nosniff"
        assert answer.headers["referrer-policy"] == "no-referrer"


ASKED = {"key": "kerf", "given": "0.1", "seen": ""}


STRANGERS = [
    ("edit", {"host": "example.org"}),
    ("edit", {"host": "127.0.0.1:9"}),
    ("edit", {"host": "127.0.0.1"}),
    ("edit", {"host": ""}),
    ("edit", {"origin": "http://example.org"}),
    ("edit", {"origin": "null"}),
    ("edit", {"origin": "http://127.0.0.1:9"}),
    ("edit", {"origin": "https://{host}"}),
    ("/edit", {}),
    ("/{token}x/edit", {}),
    ("/{token}", {}),
    ("//{token}/edit", {}),
    ("/x/%2e%2e/{token}/edit", {}),
    ("/%00/edit", {}),
    ("/\u00e9/edit", {}),
]


def test_strangers_are_told_in_one_line_and_write_nothing(lay):
    client, path = lay()
    host, token = client.base_url.netloc.decode(), client.base_url.path.strip("/")
    for where, headers in STRANGERS:
        url = where.replace("{token}", token)
        url = f"http://{host}{url}" if url.startswith("/") else url
        named = {name: value.replace("{host}", host) for name, value in headers.items()}
        answer = client.post(url, json=ASKED, headers=named)
        assert (answer.status_code, answer.text.count("\n")) == (403, 1), (where, headers)
        assert token not in answer.text
        assert path.read_bytes() == SIX
    # The same with its own address is taken.
    assert edit(client, **ASKED)["outcome"] == "done"
    assert client.post("edit", json=ASKED, headers={"origin": f"http://{host}"}).status_code == 200


def test_no_path_comes_from_the_page(lay):
    client, path = lay()
    odd = ("", ".", "board", "strings", "strings[0].gauge", "strings[1", "title]", "board.\u0661", "a.b[0]")
    for key in odd:
        for seen in ("", "x"):
            answer = edit(client, key, "1", seen)
            assert answer["outcome"] == "refused", key
    half = b'{"key": "title", "given": "\\ud800", "seen": ""}'
    assert client.post("edit", content=half, headers={"content-type": "application/json"}).status_code == 400
    assert path.read_bytes() == SIX
    for name in ("..%2felectric-six.toml", "%2fetc%2fpasswd", "x", "", "electric-six.toml%00", "%2e%2e%2f%2e%2e%2fx"):
        assert client.get(f"files/{name}").status_code == 404, name


def test_bodies_are_limited_told_or_not(lay):
    client, path = lay()
    large = b'{"key": "' + b"x" * MOST_BODY + b'"}'
    kind = {"content-type": "application/json"}
    assert client.post("edit", content=large, headers=kind).status_code == 413
    assert client.post("edit", content=iter([large[:1000], large[1000:]]), headers=kind).status_code == 413
    assert path.read_bytes() == SIX


def test_two_desks_on_one_plan_are_told(tmp_path):
    path = tmp_path / "heron.toml"
    path.write_bytes(SIX)
    first = Keeper.of(path)
    for change in (lambda: None, lambda: first.change(lambda desk: state.edit(desk, "kerf", "0.1", "")), lambda: (path.rename(tmp_path / "b"), path.write_bytes(SIX), first.look())):  # fmt: skip
        change()
        with pytest.raises(SlotwrightError, match="another desk"):
            Keeper.of(path)
    first.close()
    Keeper.of(path).close()


def test_killed_at_any_moment_the_plan_is_whole(tmp_path):
    path = tmp_path / "heron.toml"
    path.write_bytes(SIX)
    keeper = Keeper.of(path)
    after = keeper.change(lambda desk: state.edit(desk, "board.nut_width", "43", "42.5")).text
    moments = few(50, 5)
    seen = set()
    for moment in range(moments):
        child = os.fork()
        if child == 0:
            while True:
                keeper.go_to(1 - keeper.desk.at, keeper.version)
        time.sleep(0.02 + 0.06 * moment / moments)
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        text = path.read_bytes()
        assert text in (SIX, after)
        seen.add(text)
        assert parse_plan(text)
        keeper.look()
    keeper.close()
    assert seen


def test_the_address_that_is_printed(opened, tmp_path):
    """The first line is the address alone; it answers with the page, and only on this machine's own address."""
    path = tmp_path / "heron.toml"
    path.write_bytes(SIX)
    process, line = opened("heron.toml")
    assert re.fullmatch(r"http://127\.0\.0\.1:\d+/[\w-]{20,}/\n", line)
    address = line.strip()
    with look_up(address) as answer:
        assert (answer.status, answer.url) == (200, address)
        assert b"<h1>Electric six</h1>" in answer.read()
    with pytest.raises(urllib.error.HTTPError, match="403"):
        look_up(address.rsplit("/", 2)[0] + "/")
    port = int(address.split(":")[2].split("/")[0])
    with pytest.raises(ConnectionRefusedError):
        socket.create_connection(("127.0.0.2", port), timeout=5)
    # A page that waits is told of another hand.
    with look_up(f"{address}events") as news:
        assert news.readline() == b"data: 0\n"
        path.write_bytes(SIX.replace(b"relief = 0.20", b"relief = 0.25"))
        news.readline()
        assert news.readline() == b"data: 1\n"
        again, nothing = opened("heron.toml")
        told = again.communicate(timeout=30)[1]
        assert (nothing, again.returncode) == ("", 2)
        assert told.count("\n") == 1
        assert "another desk" in told
        process.send_signal(signal.SIGINT)
        out, err = process.communicate(timeout=20)
    assert (process.returncode, out, err) == (0, "", "Ctrl-C closes the desk.\n")


@pytest.mark.parametrize("wait", some([0.0, 0.02, 0.1, 0.3]))
def test_ended_before_anybody_knocked(opened, tmp_path, wait):
    (tmp_path / "heron.toml").write_bytes(SIX)
    process, _ = opened("heron.toml")
    time.sleep(wait)
    process.send_signal(signal.SIGINT)
    out, err = process.communicate(timeout=20)
    assert (process.returncode, out, err.replace("Ctrl-C closes the desk.\n", "")) == (0, "", "")
    assert os.listdir(tmp_path) == ["heron.toml"]


@pytest.mark.skipif(not FULL, reason="tried in the full profile")
def test_it_ends_by_itself_and_stands_a_crowd(opened, tmp_path):
    (tmp_path / "heron.toml").write_bytes(SIX)
    process, line = opened("heron.toml", "--for", "3s")
    address = line.strip()
    port = int(address.split(":")[2].split("/")[0])
    many = 1000
    _, most = resource.getrlimit(resource.RLIMIT_NOFILE)
    resource.setrlimit(resource.RLIMIT_NOFILE, (min(4096, most) if most > 0 else 4096, most))
    crowd = [socket.create_connection(("127.0.0.1", port), timeout=5) for _ in range(many)]
    sent_off = 0
    for each in crowd[MOST_CONNECTIONS:]:
        try:
            sent_off += each.recv(1) == b""
        except ConnectionResetError:
            sent_off += 1
    assert sent_off == many - MOST_CONNECTIONS
    for each in crowd:
        each.close()
    for _ in range(50):
        try:
            with look_up(address, timeout=5) as answer:
                assert answer.status == 200
                break
        except (ConnectionResetError, urllib.error.URLError):
            time.sleep(0.02)
    else:
        pytest.fail("the desk no longer answers")
    assert process.wait(timeout=20) == 0
    assert process.communicate() == ("", "Ctrl-C closes the desk.\n")


def test_whoever_asks_for_nothing_is_sent_off(serving, tmp_path, monkeypatch):
    monkeypatch.setattr(server, "_SILENT", 0.2)
    (tmp_path / "heron.toml").write_bytes(SIX)
    address = serving(Keeper.of(tmp_path / "heron.toml"))
    port = int(address.split(":")[2].split("/")[0])
    crowd = [socket.create_connection(("127.0.0.1", port), timeout=5) for _ in range(MOST_CONNECTIONS)]
    assert all(each.recv(1) == b"" for each in crowd)
    with look_up(address) as answer:
        assert answer.status == 200
    for each in crowd:
        each.close()


@pytest.mark.parametrize(
    ("args", "words"),
    [
        (["none.toml"], "a plan file is needed"),
        (["spoilt.toml"], "nut_width"),
        (["heron.toml", "--for", "2d"], "2h, 30m or 90s"),
        (["heron.toml", "--for", "0s"], "2h, 30m or 90s"),
        (["heron.toml", "--for", "999h"], "at most"),
    ],
)
def test_what_cannot_begin_is_told(run, tmp_path, args, words):
    (tmp_path / "heron.toml").write_bytes(SIX)
    (tmp_path / "spoilt.toml").write_bytes(SIX.replace(b"nut_width = 42.5", b"nut_width = 900"))
    code, out, err = run("desk", *args, "--no-browser")
    assert (code, out) == (2, "")
    assert words in err


def test_a_port_that_is_taken_is_told(run, tmp_path):
    (tmp_path / "heron.toml").write_bytes(SIX)
    with socket.create_server(("127.0.0.1", 0)) as taken:
        code, out, err = run("desk", "heron.toml", "--no-browser", "--port", taken.getsockname()[1])
    assert (code, out, err.count("\n")) == (2, "", 1)
    assert "--port" in err


def test_json_of_the_parts_is_plain(lay):
    client, _ = lay()
    assert set(json.loads(client.get("parts").content)["parts"]) == {
        "head", "picture", "answer", "job", "bench", "keys", "edits", "findings", "files",
    }  # fmt: skip
