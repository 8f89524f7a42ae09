"""An icon on the desktop that opens the desk in one folder."""

from __future__ import annotations

import re
import shlex
from importlib.resources import files
from typing import TYPE_CHECKING

from slotwright import templates

if TYPE_CHECKING:
    from pathlib import Path

_NAME = "slotwright desk"


def icon_files(system: str, home: Path, folder: Path, python: str) -> dict[Path, str]:
    """Say what is to be written for an icon.

    Parameters
    ----------
    system
        As `sys.platform` has it.
    home
        The folder of whoever sits there.
    folder
        Where the desk is to be opened.
    python
        The program that runs it.

    Returns
    -------
    dict
        Path of each file to its text.
    """
    if system == "win32":
        lines = ("@echo off", f'cd /d "{_batch(str(folder))}"', f'"{_batch(python)}" -m slotwright.cli desk')
        return {home / "Desktop" / f"{_NAME}.cmd": "\r\n".join(lines) + "\r\n"}
    script = f"cd {shlex.quote(str(folder))} && exec {shlex.quote(python)} -m slotwright.cli desk\n"
    if system == "darwin":
        return {home / "Desktop" / f"{_NAME}.command": f"#!/bin/sh\n{script}"}
    picture = home / ".local" / "share" / "icons" / "slotwright-desk.svg"
    entry = "\n".join(
        (
            "[Desktop Entry]",
            "Type=Application",
            f"Name={_NAME}",
            f"Comment=Plans in {_entry(folder.name)}",
            f"Path={_entry(str(folder))}",
            f"Exec={_argument(python)} -m slotwright.cli desk",
            f"Icon={_entry(str(picture))}",
            "Terminal=true",  # closing its window ends the desk
            "Categories=Engineering;",
            "",
        )
    )
    shown = [home / ".local" / "share" / "applications" / "slotwright-desk.desktop"]
    desktop = _desktop(home)
    if desktop.is_dir():
        shown.append(desktop / "slotwright-desk.desktop")
    return {picture: (files(templates) / "icon.svg").read_text("utf-8"), **dict.fromkeys(shown, entry)}


def _desktop(home: Path) -> Path:
    """Give the folder that is shown on the desktop, by whatever name: XDG user directories."""
    try:
        told = (home / ".config" / "user-dirs.dirs").read_text("utf-8")
    except (OSError, UnicodeDecodeError):
        return home / "Desktop"
    found = re.search(r'^XDG_DESKTOP_DIR="(?:\$HOME/)?([^"]*)"', told, re.MULTILINE)
    return home / found[1] if found and found[1] else home / "Desktop"


def _entry(text: str) -> str:
    """Write a string of a desktop entry (freedesktop.org, Desktop Entry Specification 1.5)."""
    return text.replace("\\", "\\\\").replace("\n", "\\n").replace("\t", "\\t").replace("\r", "\\r")


def _argument(text: str) -> str:
    """Write an argument of its command: quoted, what a shell takes for itself escaped, % doubled."""
    escaped = re.sub(r'(["`$\\])', r"\\\1", text).replace("%", "%%")
    return _entry(f'"{escaped}"')


def _batch(text: str) -> str:
    return text.replace("%", "%%")
