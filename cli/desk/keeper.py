"""The plan file on the desk: read, watched for other hands, written whole or not at all."""

from __future__ import annotations

import os
import threading
from contextlib import suppress
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from slotwright.cli.desk import state
from slotwright.cli.desk.state import Clash, Desk, Refused
from slotwright.layout.errors import SlotwrightError
from slotwright.layout.export.files import write_whole
from slotwright.layout.plan.reader import MOST_BYTES
from slotwright.layout.sources import read

try:
    import fcntl
except ImportError:  # Windows: two desks on one plan are not told there
    fcntl = None  # type: ignore[assignment]

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path


class Claim:
    """A hold on a plan file that ends with the process, however that ends, and leaves nothing behind."""

    def __init__(self) -> None:
        self._held: int | None = None

    def take(self, path: Path) -> bool:
        """Claim the file that now bears the name, in place of the one that was claimed before.

        Parameters
        ----------
        path
            The plan file.

        Returns
        -------
        bool
            It is claimed; False where another process has it.
        """
        if fcntl is None:
            return True
        new = os.open(path, os.O_RDONLY)
        if self._held is not None and os.path.sameopenfile(new, self._held):
            os.close(new)
            return True
        try:
            fcntl.flock(new, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            os.close(new)
            return False
        self.end()
        self._held = new
        return True

    def end(self) -> None:
        """Give it up."""
        if self._held is not None:
            os.close(self._held)
            self._held = None


@dataclass(slots=True)
class Keeper:
    """The one that reads and writes the plan file; every answer follows a look at the disk.

    Parameters
    ----------
    path
        The plan file.
    desk
        What it gives.
    version
        Counts how often that changed.
    """

    path: Path
    desk: Desk
    version: int = 0
    _claim: Claim = field(default_factory=Claim)
    _lock: threading.RLock = field(default_factory=threading.RLock)

    @classmethod
    def of(cls, path: Path) -> Keeper:
        """Lay a plan file on the desk.

        Parameters
        ----------
        path
            The file; of a link, what it names.

        Raises
        ------
        PlanError, OSError
            It is no plan, or cannot be read.
        SlotwrightError
            Another desk has it.
        """
        keeper = cls(path, state.begin(read(path, MOST_BYTES)))
        if not keeper._claim.take(path):
            raise SlotwrightError(f"{path}: another desk has this plan open; close that one first")
        return keeper

    def look(self) -> bool:
        """Take in what another editor made of the file meanwhile; say whether there was anything."""
        with self._lock:
            try:
                text = read(self.path, MOST_BYTES)
            except FileNotFoundError:
                return False  # an editor is about to put it back, or the next edit does
            with suppress(OSError):
                self._claim.take(self.path)
            return self._now(state.taken_in(self.desk, text))

    def edit(self, key: str, given: str, seen: str) -> Desk | Refused | Clash:
        """Set a value in the file; `state.edit` says what comes of it."""

        def change(desk: Desk) -> Desk | Refused | Clash:
            return state.edit(desk, key, given, seen)

        return self._change(change)

    def go_to(self, step: int, version: int) -> bool:
        """Go to one of the steps, unless the plan is another than the one that was looked at by then."""
        with self._lock:
            self.look()
            if version != self.version:
                return False
            self._change(lambda desk: state.go_to(desk, step))
            return True

    def close(self) -> None:
        """Give up the file."""
        self._claim.end()

    def _change(self, change: Callable[[Desk], Desk | Refused | Clash]) -> Desk | Refused | Clash:
        with self._lock:
            self.look()
            made = change(self.desk)
            if isinstance(made, Desk) and made is not self.desk:
                if made.text != self.desk.text or not self.path.exists():
                    write_whole({self.path: made.text}, force=True)
                    self._claim.take(self.path)
                self._now(made)
            return made

    def _now(self, desk: Desk) -> bool:
        if desk is self.desk:
            return False
        self.desk = desk
        self.version += 1
        return True
