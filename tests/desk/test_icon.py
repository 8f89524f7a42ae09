"""The icon on the desktop: what it starts is this program, in that folder."""

import configparser
import shlex
import subprocess
import sys
from pathlib import Path

import pytest

from slotwright.cli.desk.icon import icon_files

ODD = 'a "strange" $HOME folder 100% ok'


def test_on_linux_it_starts_in_its_folder(tmp_path):
    folder = tmp_path / ODD
    (tmp_path / "Desktop").mkdir()
    found = icon_files("linux", tmp_path, folder, "/a b/python")
    assert {path.suffix for path in found} == {".svg", ".desktop"}
    entries = [text for path, text in found.items() if path.suffix == ".desktop"]
    assert len(entries) == 2
    entry = configparser.ConfigParser(interpolation=None)
    entry.optionxform = str
    entry.read_string(entries[0])
    told = entry["Desktop Entry"]
    assert told["Path"] == str(folder)
    assert shlex.split(told["Exec"].replace("\\\\", "\\")) == ["/a b/python", "-m", "slotwright.cli", "desk"]
    assert Path(told["Icon"]) in found
    assert "<svg" in found[Path(told["Icon"])]


def test_a_desktop_of_another_name(tmp_path):
    (tmp_path / ".config").mkdir()
    (tmp_path / ".config" / "user-dirs.dirs").write_text('XDG_DESKTOP_DIR="$HOME/Bureau"\n')
    (tmp_path / "Bureau").mkdir()
    assert tmp_path / "Bureau" / "slotwright-desk.desktop" in icon_files("linux", tmp_path, tmp_path, "python")


def test_elsewhere_it_is_a_script(tmp_path):
    folder = tmp_path / ODD
    folder.mkdir()
    ((path, text),) = icon_files("darwin", tmp_path, folder, sys.executable).items()
    assert path.suffix == ".command"
    said = subprocess.run(
        ["/bin/sh", "-c", text.partition("\n")[2].replace("exec ", "pwd; echo ")],
        capture_output=True,
        text=True,
        check=True,
    )
    assert said.stdout.splitlines() == [str(folder), f"{sys.executable} -m slotwright.cli desk"]
    ((path, text),) = icon_files("win32", tmp_path, Path("C:/Work 100%"), "C:/py/python.exe").items()
    assert path.suffix == ".cmd"
    assert text == '@echo off\r\ncd /d "C:/Work 100%%"\r\n"C:/py/python.exe" -m slotwright.cli desk\r\n'


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="of the other systems the text alone is tried")
def test_the_command_writes_it_and_again(run, tmp_path, monkeypatch):
    monkeypatch.setenv("HOME", str(tmp_path))
    for _ in range(2):
        code, out, err = run("desk", "--install-icon")
        assert (code, err) == (0, "")
        assert all(Path(line).exists() for line in out.splitlines())
