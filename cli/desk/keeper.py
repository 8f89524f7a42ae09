"""The files on the desk, a plan and its readings: read, watched for other hands, written whole or not at all."""

from __future__ import annotations

import os
import threading
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from slotwright.cli.desk import state
from slotwright.cli.desk.state import Desk
from slotwright.layout.errors import SlotwrightError
from slotwright.layout.export.files import write_whole
from slotwright.layout.plan.reader import MOST_BYTES
from slotwright.layout.readings.kept import Kept
from slotwright.layout.readings.table import MOST_BYTES as MOST_READINGS
from slotwright.layout.sources import read

try:
    import fcntl
except ImportError:  # Windows: two desks on one plan are not told there
    fcntl = None  # type: ignore[assignment]

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from slotwright.cli.desk.state import Outcome


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
    """The one that reads and writes the files; every answer follows a look at the disk.

    Parameters
    ----------
    path
        The plan file.
    readings
        The table of readings, which need not be there.
    desk
        What they give.
    asks
        The plan file is written only when `save` is called.
    job
        Which job the page is open for; empty for none.
    trouble
        What is the matter with the plan file; empty for nothing.
    version
        Counts how often anything changed.
    """

    path: Path
    readings: Path
    desk: Desk
    asks: bool = False
    job: str = ""
    trouble: str = ""
    version: int = 0
    _known: bytes = b""  # the plan file as it was last read or written
    _claim: Claim = field(default_factory=Claim)
    _lock: threading.RLock = field(default_factory=threading.RLock)

    @classmethod
    def of(cls, path: Path, readings: Path | None = None, *, asks: bool = False) -> Keeper:
        """Lay a plan file on the desk.

        Parameters
        ----------
        path
            The file; of a link, what it names.
        readings
            The table of readings; without it the one called after the plan.
        asks
            Edits are kept from the plan file until `save` is called.

        Raises
        ------
        PlanError, OSError
            It is no plan, or cannot be read.
        SlotwrightError
            Another desk has it.
        """
        readings = readings or path.with_name(f"{path.stem}-readings.csv")
        text = read(path, MOST_BYTES)
        keeper = cls(path, readings, state.begin(text, _there(readings)), asks, _known=text)
        if not keeper._claim.take(path):
            raise SlotwrightError(f"{path}: another desk has this plan open; close that one first")
        return keeper

    def look(self) -> bool:
        """Take in what another editor made of the file meanwhile; say whether there was anything."""
        with self._lock:
            text, was = self._known, self.trouble
            try:
                text, self.trouble = read(self.path, MOST_BYTES), ""
                self._claim.take(self.path)
            except FileNotFoundError:  # perhaps an editor is about to put it back
                self.trouble = "The plan file is gone; the next edit writes it anew."
            except OSError as error:
                self.trouble = f"The plan file cannot be read: {(error.strerror or str(error)).lower()}."
            desk = self.desk
            if text != self._known:
                merged, clashes = state.merged(self._known, desk.text, text)
                words = "changed in another editor"
                if merged != text:
                    words += "; what was not saved here stays"
                desk = state.taken_in(desk, merged, desk.bench.readings, "; ".join((words, *clashes)))
                self._known = text
            changed = self._now(state.taken_in(desk, desk.text, _there(self.readings)))
            if was != self.trouble and not changed:
                self.version += 1
            return changed or was != self.trouble

    @property
    def unsaved(self) -> bool:
        """Tell whether the plan file lacks edits."""
        return self.desk.text != self._known or bool(self.trouble)

    def change(self, change: Callable[[Desk], Outcome]) -> Outcome:
        """Change the desk, and with it the files; `change` says what comes of it."""
        with self._lock:
            self.look()
            made = change(self.desk)
            if isinstance(made, Desk) and made is not self.desk:
                made = self._written(made)
                self._now(made)
            return made

    def take_job(self, name: str) -> None:
        """Open the page for a job; for none where it is open for that one."""
        with self._lock:
            self.job = "" if name == self.job else name
            self.version += 1

    def save(self) -> None:
        """Write the edits that the plan file lacks."""
        with self._lock:
            self.look()
            self._save(self.desk.text)
            self.version += 1

    def go_to(self, step: int, version: int) -> bool:
        """Go to one of the steps, unless the plan is another than the one that was looked at by then."""
        with self._lock:
            self.look()
            if version != self.version:
                return False
            self.change(lambda desk: state.go_to(desk, step))
            return True

    def close(self) -> None:
        """Give up the file."""
        self._claim.end()

    def _written(self, made: Desk) -> Desk:
        if made.bench.readings != self.desk.bench.readings:
            # Where nothing was read an empty table stays: files are never taken away.
            made = replace(made, bench=replace(made.bench, readings=made.bench.readings or Kept().text()))
            write_whole({self.readings: made.bench.readings}, force=True)
        if not self.asks:
            self._save(made.text)
        return made

    def _save(self, text: bytes) -> None:
        if text != self._known or not self.path.exists():
            write_whole({self.path: text}, force=True)
            self._claim.take(self.path)
            self._known, self.trouble = text, ""

    def _now(self, desk: Desk) -> bool:
        if desk is self.desk:
            return False
        self.desk = desk
        self.version += 1
        return True


def _there(readings: Path) -> bytes:
    """Read the table of readings; nothing where there is none."""
    try:
        return read(readings, MOST_READINGS)
    except (FileNotFoundError, IsADirectoryError):
        return b""
