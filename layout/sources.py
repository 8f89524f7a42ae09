"""What somebody wrote, given as the path of a file, as text or as bytes."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from os import PathLike

    Source = str | bytes | PathLike[str]


def read(source: Source, most: int) -> bytes:
    """Read what was given.

    Parameters
    ----------
    source
        Bytes of a file, text if it holds a line break, or a path.
    most
        Bytes that whoever understands it accepts; of a file that is larger one more is read, enough to refuse it.

    Returns
    -------
    bytes
        The contents.

    Raises
    ------
    OSError
        There is no such file, or the machine refuses to read it.
    """
    if isinstance(source, bytes):
        return source
    if isinstance(source, str) and "\n" in source:
        return source.encode()
    with Path(source).open("rb") as file:
        return file.read(most + 1)
