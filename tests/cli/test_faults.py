"""What disks, owners and interruptions do to files: the old file or the new one, never a torn one."""

import contextlib
import os
import shutil
import signal
import subprocess
import sys
from pathlib import Path

import pytest
from helpers import FULL, few, some

from slotwright.templates import starters

START = (sys.executable, "-m", "slotwright.cli")
HERON = starters()["electric-six"]
CROWNS = "fret,distance\n" + "".join(f"{n},{628 - 628 / 2 ** (n / 12):.2f}\n" for n in range(1, 23))
# Enough of them, on enough strings, to calibrate by.
READINGS = "string,fret,cents\n" + "".join(
    f"{s},{f},{0.3 * s + 0.1 * f:.1f}\n" for s in range(1, 7) for f in (1, 3, 5, 9, 12, 15, 17)
)
SURVEY = ("survey", "neck.csv", "--strings", "6", "--nut-width", "43", "--width", "52")

# What is run, the first file it writes, and whether --force is known to it.
WRITERS = {
    "draw": (("draw", "heron.toml", "--sheet", "slots", "--out", "out"), "out/heron-slots.dxf", True),
    "report": (("report", "heron.toml", "--out", "out/page.html"), "out/page.html", True),
    "new": (("new", "out/kestrel"), "out/kestrel.toml", False),
    "compensate": (("compensate", "heron.toml", "--plot", "out/pitch.svg"), "out/pitch.svg", True),
    "survey plan": ((*SURVEY, "--plan", "out/neck.toml"), "out/neck.toml", True),
    "survey plot": ((*SURVEY, "--plot", "out/neck.svg"), "out/neck.svg", True),
    "bench plan": (("bench", "heron.toml", "read.csv", "--save-plan", "out/taught.toml"), "out/taught.toml", True),
    "bench log": (("bench", "heron.toml", "--ask", "--log", "out/log.csv"), "out/log.csv", False),
}
# A log that readings can be added to: one page of the disk to the last byte, so that a row more needs another.
OLD = b"string,fret,cents,pass,moved,note\n" + b"1,12,1,1,0,\n" * 330
OLD += b"1,12,1,1,0," + b"x" * (4096 - len(OLD) - 12) + b"\n"
NAMES = tuple(WRITERS) if FULL else ("draw",)  # a child process for each kind of fault


@pytest.fixture
def here(tmp_path):
    (tmp_path / "heron.toml").write_text(HERON, "utf-8")
    (tmp_path / "neck.csv").write_text(CROWNS)
    (tmp_path / "read.csv").write_text(READINGS)
    (tmp_path / "out").mkdir()
    return tmp_path


def run(here, *args, start=START, given=""):
    return subprocess.run([*start, *args], cwd=here, input=given, check=False, capture_output=True, text=True)


def failed(done, path):
    """Check that a run ended as the failure of a machine does: exit 1, one line, the file named."""
    assert done.returncode == 1, done.stderr
    told = [line for line in done.stderr.splitlines() if line and not line.startswith("warning: ")]
    assert len(told) == 1, done.stderr
    assert told[0].startswith("slotwright: ")
    assert Path(path).name in told[0]


@contextlib.contextmanager
def mounted(folder, *options):
    """Mount a small file system in memory; skip where that is not allowed."""
    if os.geteuid() != 0 or shutil.which("mount") is None:
        pytest.skip("only root may mount a file system")
    mount = ["mount", "-t", "tmpfs", *options, "tmpfs", folder]
    done = subprocess.run(mount, capture_output=True, text=True, check=False)
    if done.returncode:
        pytest.skip(f"no file system can be mounted here: {done.stderr.strip()}")
    try:
        yield
    finally:
        subprocess.run(["umount", folder], check=True)  # noqa: S607


@pytest.mark.parametrize("old", some([True, False]))
@pytest.mark.parametrize("name", NAMES)
def test_a_full_disk(here, name, old):
    args, path, forced = WRITERS[name]
    with mounted(here / "out", "-o", "size=8k"):
        if old:
            (here / path).write_bytes(OLD)
        (here / "out" / "filler").write_bytes(b"x" * (4096 if old else 8192))
        before = sorted(os.listdir(here / "out"))
        if old:  # room for the old file alone
            with contextlib.suppress(OSError), (here / "out" / "filler").open("ab") as file:
                file.write(b"x" * 8192)
        if old and not forced and name == "new":
            return  # it never replaces anything
        args = (*args, "--force") if old and forced else args
        failed(run(here, *args, given="1.5\n2\nq\n"), path)
        assert sorted(os.listdir(here / "out")) == before
        if old:
            assert (here / path).read_bytes() == OLD


@pytest.mark.parametrize("name", NAMES)
def test_a_file_system_to_be_read_only(here, name):
    args, path, _ = WRITERS[name]
    with mounted(here / "out", "-o", "ro"):
        failed(run(here, *args), path)
        assert os.listdir(here / "out") == []


@pytest.mark.parametrize("name", NAMES)
def test_a_folder_of_somebody_else(here, name):
    args, path, _ = WRITERS[name]
    # The first run is there to import everything: another user may not even read the program.
    code = (
        "import os, sys\nfrom slotwright.cli import main\n"
        "def once():\n    try: main(sys.argv[1:])\n    except SystemExit as end: return end.code\n"
        "once()\n"
        "for name in os.listdir('out'): os.unlink(f'out/{name}')\n"
        "os.chmod('out', 0o555)\n"
        "if os.geteuid() == 0:\n    os.setgid(65534)\n    os.setuid(65534)\n"
        "sys.stderr.write('\\n')\nsys.exit(once())"
    )
    here.chmod(0o755)
    done = run(here, *args, start=[sys.executable, "-c", code])
    done.stderr = done.stderr.rpartition("\n\n")[2] or done.stderr.lstrip("\n")
    failed(done, path)
    if "--out" in args:
        assert done.stderr.endswith("; choose another folder with --out\n")
    assert os.listdir(here / "out") == []
    (here / "out").chmod(0o755)


@pytest.mark.parametrize("name", NAMES)
def test_a_folder_in_the_place_of_the_file(here, name):
    args, path, forced = WRITERS[name]
    (here / path).mkdir()
    done = run(here, *args, *["--force"] * forced)
    failed(done, path)
    assert (here / path).is_dir()
    assert os.listdir(here / "out") == [Path(path).name]
    assert os.listdir(here / path) == []


@pytest.mark.parametrize("name", [name for name in NAMES if WRITERS[name][2]])
def test_a_link_leads_to_the_file(here, name):
    """With --force what the link names is replaced, and the link stays; without, both are kept."""
    args, path, _ = WRITERS[name]
    (here / "elsewhere").mkdir()
    target = here / "elsewhere" / "kept"
    target.write_bytes(b"old")
    (here / path).symlink_to(target)
    done = run(here, *args)
    assert (done.returncode, "kept" in done.stderr) == (2, True)
    assert target.read_bytes() == b"old"
    assert run(here, *args, "--force").returncode == 0
    assert (here / path).is_symlink()
    assert len(target.read_bytes()) > 100
    assert os.listdir(here / "elsewhere") == ["kept"]


def test_killed_at_any_moment(here):
    """Fifty kills while drawings are replaced: each file is one run's or the other's, whole."""
    args = ("draw", "heron.toml", "--sheet", "slots", *some(("--sheet", "stick"), 0), "--out", "out", "--force")
    (here / "heron.toml").write_text(HERON.replace("length = 628.0", "length = 627.0"), "utf-8")
    assert run(here, *args).returncode == 0
    names = sorted(os.listdir(here / "out"))
    old = {name: (here / "out" / name).read_bytes() for name in names}
    (here / "heron.toml").write_text(HERON, "utf-8")
    assert run(here, *args).returncode == 0
    new = {name: (here / "out" / name).read_bytes() for name in names}
    assert all(old[name] != new[name] for name in names)
    # One program that is started once, and forks whatever is to be killed: so that kills fall into the work.
    code = (
        "import os, random, signal, sys, time\nfrom slotwright.cli import main\n"
        "import slotwright.layout.drawing, slotwright.layout.export.dxf, slotwright.layout.export.svg\n"
        "chance = random.Random(7)\n"
        "for _ in range(2):\n    begun = time.monotonic()\n"
        "    try: main(sys.argv[1:])\n    except SystemExit: takes = time.monotonic() - begun\n"
        "for line in sys.stdin:\n"
        "    child = os.fork()\n"
        "    while child == 0:\n"
        "        try: main(sys.argv[1:])\n        except SystemExit: pass\n"
        "    time.sleep(chance.uniform(0.0, 2.5 * takes))\n"
        "    os.kill(child, signal.SIGKILL)\n    os.waitpid(child, 0)\n"
        "    sys.stderr.write('dead\\n')\n    sys.stderr.flush()\n"
    )
    torn, changed = [], 0
    with subprocess.Popen(
        [sys.executable, "-c", code, *args],
        cwd=here,
        stdin=subprocess.PIPE,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        text=True,
    ) as program:
        for turn in range(few(50, 3)):
            before = {name: (here / "out" / name).read_bytes() for name in names}
            made = HERON if turn % 2 else HERON.replace("length = 628.0", "length = 627.0")
            (here / "heron.toml").write_text(made, "utf-8")
            program.stdin.write("go\n")
            program.stdin.flush()
            while (line := program.stderr.readline()) != "dead\n":
                assert line, "the program itself died"
            after = {name: (here / "out" / name).read_bytes() for name in names}
            torn += [name for name in names if after[name] not in (old[name], new[name])]
            changed += before != after
            for name in set(os.listdir(here / "out")) - set(names):
                assert name.startswith(".slotwright-")
                (here / "out" / name).unlink()
        program.stdin.close()
    assert not torn
    assert changed > few(3, 0)  # or nothing was ever killed at work


@pytest.mark.parametrize("sent", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP] if FULL else [signal.SIGTERM])
def test_an_interrupted_run_leaves_no_draft(here, sent):
    args = ("draw", "heron.toml", "--sheet", "slots", "--sheet", "board", "--out", "out", "--force")
    assert run(here, *args).returncode == 0
    names = sorted(os.listdir(here / "out"))
    code = (
        # Who runs the tests may have these signals ignored, and what is ignored is handed down.
        "import signal\nfor name in ('SIGTERM', 'SIGHUP'): signal.signal(getattr(signal, name), signal.SIG_DFL)\n"
        "signal.signal(signal.SIGINT, signal.default_int_handler)\n"
        "import sys, time, os\nfrom slotwright.cli import main\nimport slotwright.layout.export.files\n"
        "whole = os.fsync\n"
        "def slow(n):\n    print('ready', flush=True)\n    time.sleep(600)\n"
        "os.fsync = slow\nmain(sys.argv[1:])\n"
    )
    with subprocess.Popen(
        [sys.executable, "-c", code, *args], cwd=here, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    ) as process:
        process.stdout.readline()
        process.send_signal(sent)
        _, err = process.communicate(timeout=300)  # it hangs, or it does not
    assert (process.returncode, err.split()) == (1, ["Aborted!"])
    assert sorted(os.listdir(here / "out")) == names


def test_two_runs_into_one_folder(here):
    """Without --force one of them wins each file; with it each file is whole."""
    sheets = () if FULL else ("--sheet", "slots")
    args = [*START, "draw", "heron.toml", "--out", "out", *sheets]
    for force in some(([], ["--force"])):
        both = [
            subprocess.Popen([*args, *force], cwd=here, stdout=subprocess.PIPE, stderr=subprocess.PIPE)
            for _ in range(2)
        ]
        told = [process.communicate()[1] for process in both]
        codes = sorted(process.returncode for process in both)
        assert codes[0] == 0
        assert codes[1] in ((0,) if force else (2,)), told
        names = os.listdir(here / "out")
        assert not [name for name in names if name.endswith(".part")]
        alone = run(here, "draw", "heron.toml", "--out", "alone", "--force", *sheets)
        assert alone.returncode == 0
        assert sorted(names) == sorted(os.listdir(here / "alone"))
        assert all((here / "out" / name).read_bytes() == (here / "alone" / name).read_bytes() for name in names)
