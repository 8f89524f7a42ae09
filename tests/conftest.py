"""What all tests share: one thread each, one policy for what is drawn, and programs that may be missing."""

# ruff: noqa: E402 - numpy counts its threads when it is imported
import io
import os
import shutil
import subprocess
from collections import Counter
from pathlib import Path

# Two workers on two cores: threads of the linear algebra would only be in each other's way.
for _name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_name, "1")

import pytest
from helpers import FULL, browser
from hypothesis import HealthCheck, settings

# Always the same examples, so that a change and not chance decides.
settings.register_profile(
    "slotwright", derandomize=True, deadline=None, database=None, suppress_health_check=list(HealthCheck)
)
settings.load_profile("slotwright")


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(call):
    """Count what is skipped as failed where everything is to be tried."""
    report = yield
    if FULL and report.skipped and not hasattr(report, "wasxfail"):
        report.outcome = "failed"
        report.longrepr = f"skipped in the full profile: {call.excinfo.value}"
    return report


def pytest_terminal_summary(terminalreporter):
    """Say once what was left out for each thing that is missing here."""
    skipped = Counter(
        report.longrepr[-1].removeprefix("Skipped: ") for report in terminalreporter.stats.get("skipped", ())
    )
    for reason, many in skipped.items():
        terminalreporter.write_line(f"{many} tests skipped: {reason}")


@pytest.fixture(scope="session")
def chromium():
    """Start the browser that pages are opened in."""
    path = browser()
    if path is None:
        pytest.skip("no browser: install chromium (Debian: apt-get install chromium-headless-shell)")
    sync_playwright = pytest.importorskip("playwright.sync_api").sync_playwright
    with sync_playwright() as playwright:
        begun = playwright.chromium.launch(executable_path=path, args=["--no-sandbox", "--disable-gpu"])
        yield begun
        begun.close()


@pytest.fixture(scope="session")
def axe():
    """Give the path of what finds faults of accessibility."""
    path = Path(os.environ.get("SLOTWRIGHT_AXE", ""))
    if not path.is_file():
        pytest.skip("no axe-core: npm install axe-core, then set SLOTWRIGHT_AXE to its axe.min.js")
    return path


@pytest.fixture(scope="session")
def rs274():
    """Give the folder of an interpreter of machine programs."""
    folder = Path(os.environ.get("SLOTWRIGHT_RS274", "none"))
    if not (folder / "usr/bin/rs274").is_file():
        pytest.skip(
            "no rs274: unpack Debian's linuxcnc-uspace and its libraries as .ci/run does, then set SLOTWRIGHT_RS274"
        )
    return folder


@pytest.fixture(scope="session")
def sampled():
    """Give the path of a bank of sampled instruments."""
    path = Path(os.environ.get("SLOTWRIGHT_SF2", "/usr/share/sounds/sf2/FluidR3_GM.sf2"))
    if not path.is_file():
        pytest.skip("no sampled guitars: unpack Debian's fluid-soundfont-gm as .ci/run does, then set SLOTWRIGHT_SF2")
    return path


@pytest.fixture(scope="session")
def ffmpeg():
    """Give the program that packs sound as phones do."""
    program = shutil.which("ffmpeg")
    if program is None:
        pytest.skip("no ffmpeg: install it (Debian: apt-get install ffmpeg)")
    return program


@pytest.fixture(scope="session")
def pdftotext():
    """Read the words of a PDF with a program that did not write it."""
    program = shutil.which("pdftotext")
    if program is None:
        pytest.skip("no reader of PDF: install poppler (Debian: apt-get install poppler-utils)")

    def words(*args):
        return subprocess.run([program, *args, "-"], capture_output=True, text=True, check=True).stdout

    return words


@pytest.fixture
def run(capsys, tmp_path, monkeypatch):
    """Run a command in an empty folder, perhaps with something typed; give exit code, output and messages."""
    from slotwright.cli import main

    monkeypatch.chdir(tmp_path)

    def once(*args, typed=None):
        if typed is not None:
            monkeypatch.setattr("sys.stdin", io.StringIO(typed))
        try:
            main([str(arg) for arg in args])
            code = 0
        except SystemExit as end:
            code = end.code
        told = capsys.readouterr()
        assert "Traceback" not in told.err
        return code, told.out, told.err

    return once
