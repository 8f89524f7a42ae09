"""The commands are run here as in the tests of the commands."""

import io

import pytest

from slotwright.cli import main


@pytest.fixture
def run(capsys, tmp_path, monkeypatch):
    """Run a command in an empty folder; give exit code, output and messages."""
    monkeypatch.chdir(tmp_path)

    def once(*args):
        monkeypatch.setattr("sys.stdin", io.StringIO(""))
        try:
            main([str(arg) for arg in args])
            code = 0
        except SystemExit as end:
            code = end.code
        told = capsys.readouterr()
        assert "Traceback" not in told.err
        return code, told.out, told.err

    return once
