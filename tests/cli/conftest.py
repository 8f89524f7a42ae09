"""What the tests of the commands share: an empty folder, and a way to run a command in it."""

import io

import pytest

from slotwright.cli import main


@pytest.fixture
def run(capsys, tmp_path, monkeypatch):
    """Run a command in an empty folder, perhaps with something typed; give exit code, output and messages."""
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


@pytest.fixture
def heron(run, tmp_path):
    """Begin with the starter plan heron."""
    assert run("new", "heron")[0] == 0
    return tmp_path / "heron.toml"
