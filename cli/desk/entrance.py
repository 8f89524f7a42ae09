"""Where a plan is chosen or begun, when none was named."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from slotwright import templates
from slotwright.cli.desk.jobs import BY_NAME
from slotwright.cli.desk.keeper import Keeper
from slotwright.cli.desk.measured import plan_of
from slotwright.cli.desk.page import environment
from slotwright.cli.desk.values import named
from slotwright.cli.new import begun, refuse_odd
from slotwright.layout.errors import KeptError, PlanError, SlotwrightError
from slotwright.layout.export.files import write_whole
from slotwright.layout.plan.reader import MOST_BYTES, contents_of
from slotwright.layout.plan.sets import SETS
from slotwright.layout.sources import read

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

_MOST: Final = 40  # plans that are listed
_MOST_LOOKED_AT: Final = 400  # files
_NO_NAME: Final = '/\\:*?"<>|'  # letters that lead out of a folder, or that not every system can keep


@dataclass(frozen=True, slots=True)
class Entrance:
    """The plans of a folder.

    Parameters
    ----------
    folder
        The only one that is looked at and written to.
    asks
        Edits of a plan wait to be saved.
    """

    folder: Path
    asks: bool = False

    def plans(self) -> dict[str, str]:
        """List the plans of the folder, the last that was worked at first: name of the file to title."""
        files = sorted(self.folder.glob("*.toml"))[:_MOST_LOOKED_AT]
        dated = sorted(_dated(files), key=lambda each: -each[0])
        found: dict[str, str] = {}
        for _, path in dated:
            if len(found) < _MOST and (title := _title(path)):
                found[path.name] = title
        return found

    def page(self) -> bytes:
        """Write the page."""
        starters = {name: templates.about(text) for name, text in templates.starters().items()}
        content = {"plans": self.plans(), "starters": starters, "sets": list(SETS), "jobs": list(BY_NAME)}
        return environment().get_template("entrance.html").render(content).encode()

    def open(self, name: str, job: str) -> Keeper:
        """Lay a plan of the folder on the desk, for a job.

        Raises
        ------
        SlotwrightError
            It is none of those that are listed, has faults, or another desk has it.
        """
        if name not in self.plans():
            raise SlotwrightError("that plan is no longer in the folder; load the page again")
        return self._laid(self.folder / name, job)

    def begin(self, name: str, job: str, starter: str, strings: str, scale: str) -> Keeper:
        """Write a new plan, never over another file, and lay it on the desk.

        Parameters
        ----------
        name, job
            What it is called, and what it is for.
        starter
            The starter it is like; empty for the one that fits the strings.
        strings
            A usual set; empty for the strings of the starter.
        scale
            Its scale; empty for that of the starter.

        Raises
        ------
        SlotwrightError
            The name will not do, is taken, or there is no such starter.
        """
        stem = _stem(name)
        if (starter and starter not in templates.starters()) or (strings and strings not in SETS):
            raise SlotwrightError("there is no such starter or set of strings; load the page again")
        try:
            _, text = begun(stem, starter or None, strings or None, scale.strip() or None)
        except SlotwrightError as error:
            raise SlotwrightError(str(error).removeprefix("--")) from None
        return self._written(stem, text, job)

    def measure(self, name: str, job: str, **read: str) -> Keeper:
        """Write a plan of a neck that was measured, as `measured_neck` has it, and lay it on the desk."""
        stem = _stem(name)
        return self._written(stem, plan_of(stem, **read), job)

    def _written(self, stem: str, text: str, job: str) -> Keeper:
        path = self.folder / f"{stem}.toml"
        try:
            write_whole({path: text.encode()})
        except KeptError:
            raise SlotwrightError(f"{path.name} is there already; choose another name") from None
        return self._laid(path, job)

    def _laid(self, path: Path, job: str) -> Keeper:
        try:
            keeper = Keeper.of(path.resolve(), asks=self.asks)
        except PlanError as error:
            told = (f"{named(fault.where)}: {fault.what}" if fault.where else fault.what for fault in error.faults)
            raise SlotwrightError("\n".join(("Mend this in an editor first:", *told))) from None
        keeper.job = job if job in BY_NAME else ""
        return keeper


def _stem(name: str) -> str:
    """Take the name of a plan, without what leads out of a folder."""
    stem = name.strip().removesuffix(".toml")
    refuse_odd(stem, name)
    if stem.startswith(".") or any(letter in _NO_NAME for letter in stem):
        raise SlotwrightError(f"a plan is named without {' '.join(_NO_NAME)}")
    return stem


def _dated(files: list[Path]) -> Iterator[tuple[int, Path]]:
    for path in files:
        try:
            yield path.stat().st_mtime_ns, path
        except OSError:  # gone meanwhile
            continue


def _title(path: Path) -> str:
    """Give the title of a plan; nothing of a file that is none."""
    try:
        contents = contents_of(read(path, MOST_BYTES))
    except OSError:
        return ""
    except PlanError:
        return f"{path.stem} (cannot be read)"
    title = contents.get("title")
    if not {"strings", "scale", "board"} & contents.keys():
        return ""
    return title if isinstance(title, str) and title.strip() else path.stem
