"""A long run tells how far it got, on a terminal and nowhere else."""

import os
import pty
import subprocess
import sys

import pytest

from slotwright.templates import starters

MANY = 4
# Each plan takes longer here than it takes for a bar to come, so that the run is long on any machine.
SLOW = (
    "import sys, time\nfrom slotwright.cli import console, draw, main\nwhole = draw._draw\nconsole._PATIENCE = 0.05\n"
    "def slow(*args):\n    time.sleep(SECONDS)\n    return whole(*args)\n"
    "draw._draw = slow\nmain(sys.argv[1:])\n"
)


@pytest.fixture
def plans(tmp_path):
    for n in range(MANY):
        (tmp_path / f"p{n}.toml").write_text(starters()["travel-six-zero-fret"], "utf-8")
    return tmp_path


def on_a_terminal(plans, many, seconds):
    """Draw plans with standard error on a terminal; give what is shown there, and the output."""
    ours, theirs = pty.openpty()
    names = [f"p{n}.toml" for n in range(many)]
    done = subprocess.Popen(
        [sys.executable, "-c", SLOW.replace("SECONDS", str(seconds)), "draw", *names, "--sheet", "slots", "--force"],
        cwd=plans,
        stdout=subprocess.PIPE,
        stderr=theirs,
        text=True,
        env={**os.environ, "TERM": "xterm", "COLUMNS": "100"},
    )
    os.close(theirs)
    shown = b""
    while True:
        try:
            part = os.read(ours, 10_000)
        except OSError:  # the other end is closed
            break
        if not part:
            break
        shown += part
    out = done.stdout.read()
    done.stdout.close()
    assert done.wait() == 0
    os.close(ours)
    return shown.decode(), out


def test_a_bar_when_it_takes_long(plans):
    shown, out = on_a_terminal(plans, MANY, 0.06)
    assert "drawing" in shown
    assert f"/{MANY}" in shown
    assert "drawing" not in out
    assert "p3-slots.dxf" in out


def test_none_when_it_does_not(plans):
    shown, _ = on_a_terminal(plans, 1, 0.0)
    assert shown == ""


def test_none_where_nobody_watches(plans):
    code = SLOW.replace("SECONDS", "0.06")
    names = [f"p{n}.toml" for n in range(MANY)]
    done = subprocess.run(
        [sys.executable, "-c", code, "draw", *names, "--sheet", "slots"], cwd=plans, capture_output=True, check=True
    )
    assert done.stderr == b""
