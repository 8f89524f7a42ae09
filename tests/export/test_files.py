"""Files are whole or not there, and nothing is replaced by accident."""

import os
import stat
import subprocess
import sys

import pytest

from slotwright.layout.errors import KeptError, SlotwrightError
from slotwright.layout.export.files import write_whole


def test_written_whole_with_ordinary_permissions(tmp_path):
    path = tmp_path / "deep" / "er" / "a.dxf"
    write_whole({path: b"abc"})
    assert path.read_bytes() == b"abc"
    mask = os.umask(0)
    os.umask(mask)
    assert stat.S_IMODE(path.stat().st_mode) == 0o666 & ~mask
    assert os.listdir(path.parent) == ["a.dxf"]


def test_nothing_is_written_when_one_file_would_be_replaced(tmp_path):
    kept, other = tmp_path / "kept", tmp_path / "other"
    kept.write_bytes(b"old")
    with pytest.raises(KeptError, match="kept"):
        write_whole({other: b"new", kept: b"new"})
    assert kept.read_bytes() == b"old"
    assert not other.exists()
    assert issubclass(KeptError, SlotwrightError)
    write_whole({kept: b"new"}, force=True)
    assert kept.read_bytes() == b"new"


def test_a_file_that_appears_meanwhile_is_kept(tmp_path, monkeypatch):
    path = tmp_path / "a"
    monkeypatch.setattr(
        "slotwright.layout.export.files.refuse_existing", lambda *_, **_force: path.write_bytes(b"old")
    )
    with pytest.raises(KeptError):
        write_whole({path: b"new"})
    assert path.read_bytes() == b"old"
    assert os.listdir(tmp_path) == ["a"]


def test_the_first_of_two_files_goes_when_the_second_fails(tmp_path):
    (tmp_path / "b").write_bytes(b"a file where a folder is wanted")
    with pytest.raises(OSError, match="b"):
        write_whole({tmp_path / "a": b"abc", tmp_path / "b" / "c": b"def"})
    assert os.listdir(tmp_path) == ["b"]


def test_a_dangling_link_is_kept(tmp_path):
    path = tmp_path / "link"
    path.symlink_to(tmp_path / "nowhere")
    with pytest.raises(KeptError):
        write_whole({path: b"new"})


def test_a_file_system_without_links(tmp_path, monkeypatch):
    def refuse(*_):
        raise PermissionError

    monkeypatch.setattr("pathlib.Path.hardlink_to", refuse)
    write_whole({tmp_path / "a": b"abc"})
    assert (tmp_path / "a").read_bytes() == b"abc"
    assert os.listdir(tmp_path) == ["a"]


@pytest.mark.parametrize("force", [False, True])
def test_a_disk_that_fills_leaves_the_old_file_and_no_scraps(tmp_path, force):
    # A limit on the size of a file stands for a full disk.
    code = (
        "import resource, signal, sys; from pathlib import Path\n"
        "from slotwright.layout.export.files import write_whole\n"
        "signal.signal(signal.SIGXFSZ, signal.SIG_IGN)\n"
        "resource.setrlimit(resource.RLIMIT_FSIZE, (1000, 1000))\n"
        f"write_whole({{Path('a'): b'x' * 5000}}, force={force})"
    )
    if force:
        (tmp_path / "a").write_bytes(b"old")
    done = subprocess.run([sys.executable, "-c", code], cwd=tmp_path, capture_output=True, text=True, check=False)
    assert "OSError" in done.stderr
    assert os.listdir(tmp_path) == (["a"] if force else [])
    if force:
        assert (tmp_path / "a").read_bytes() == b"old"
