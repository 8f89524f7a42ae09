"""Files on disk: whole or not at all, and never over another by accident."""

from __future__ import annotations

import contextlib
import errno
import os
from pathlib import Path
from typing import TYPE_CHECKING

from slotwright.layout.errors import KeptError

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping


def refuse_existing(paths: Iterable[Path], *, force: bool = False) -> None:
    """Refuse to go on when a file would be replaced.

    Parameters
    ----------
    paths
        Files about to be written.
    force
        Files may be replaced; folders never are.

    Raises
    ------
    IsADirectoryError, KeptError
        A folder or a file is there; all that are there are named.
    """
    there = [path for path in paths if os.path.lexists(path)]
    if folders := [str(path) for path in there if path.is_dir()]:
        raise IsADirectoryError(f"a folder is in the way: {', '.join(folders)}; choose another name")
    if there and not force:
        raise KeptError(f"kept, because it exists already: {', '.join(map(str, there))}")


def write_whole(files: Mapping[Path, bytes], *, force: bool = False) -> None:
    """Write files, each whole or not at all.

    Parameters
    ----------
    files
        Path to contents.
    force
        Replace what exists.

    Raises
    ------
    IsADirectoryError, KeptError
        A folder is there, or a file and `force` is off; nothing was written.
    OSError
        The disk or its owner refused.
    """
    refuse_existing(files, force=force)
    written: list[Path] = []
    try:
        for path, contents in files.items():
            _write(path, contents, force=force)
            written.append(path)
    except BaseException:
        if not force:  # what was there before is gone with force; otherwise leave nothing behind
            for path in written:
                path.unlink(missing_ok=True)
        raise


def add_to(path: Path, row: bytes) -> None:
    """Add to a file: all of it or nothing, and on disk before this returns; what is there is not touched.

    Parameters
    ----------
    path
        The file.
    row
        What is added at its end, wherever that is by then.

    Raises
    ------
    OSError
        The disk or its owner refused, or the file is gone.
    """
    written = 0
    with open(path, "ab", buffering=0, opener=lambda name, flags: os.open(name, flags & ~os.O_CREAT)) as file:
        try:
            written = file.write(row)
            _refuse_part(path, written, len(row))
            os.fsync(file.fileno())
        except BaseException as error:
            if isinstance(error, OSError) and error.errno:
                error.filename = str(path)  # which a refused write does not tell
            end = file.tell()
            if written and file.seek(0, os.SEEK_END) == end:  # nobody else wrote behind it
                file.truncate(end - written)
            raise


def _refuse_part(path: Path, written: int, whole: int) -> None:
    if written != whole:  # what a full disk does without an error
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC), str(path))


def take_off(path: Path, row: bytes) -> bool:
    """Take what was added last off a file again, unless something else stands behind it by now.

    Parameters
    ----------
    path
        The file.
    row
        What was added.

    Returns
    -------
    bool
        It was there and is gone.
    """
    with path.open("r+b", buffering=0) as file:
        size = file.seek(0, os.SEEK_END)
        file.seek(max(size - len(row), 0))
        if file.read() != row:
            return False
        file.truncate(size - len(row))
        os.fsync(file.fileno())
    return True


def _write(path: Path, contents: bytes, *, force: bool) -> None:
    named = path
    if force:  # what a link names is replaced, not the link
        path = Path(os.path.realpath(path))
    # A name that no draft of a killed run has, nor one of a run on another machine.
    draft = path.with_name(f".slotwright-{os.urandom(6).hex()}.part")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with draft.open("xb") as file:
            file.write(contents)
            file.flush()
            os.fsync(file.fileno())
        _put(draft, path, force=force)
    except BaseException as error:
        with contextlib.suppress(OSError):
            draft.unlink()
        if isinstance(error, OSError) and not isinstance(error, KeptError):
            error.filename = str(named)  # the draft's name means nothing to a user
        raise


def _put(draft: Path, path: Path, *, force: bool) -> None:
    """Give the finished draft its name in one step."""
    if force:
        draft.replace(path)
        return
    try:
        # Unlike a rename, a link never replaces a file that appeared in the meantime.
        path.hardlink_to(draft)
    except FileExistsError:
        raise KeptError(f"kept, because it exists already: {path}") from None
    except OSError:
        draft.replace(path)  # a file system without links
    else:
        draft.unlink()
