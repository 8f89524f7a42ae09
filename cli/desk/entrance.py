"""Where a plan is chosen or begun, when none was named."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from slotwright import templates
from slotwright.cli.desk.keeper import Keeper
from slotwright.cli.desk.page import environment
from slotwright.cli.new import refuse_odd
from slotwright.layout.errors import PlanError, SlotwrightError
from slotwright.layout.export.files import write_whole
from slotwright.layout.plan.reader import MOST_BYTES, contents_of
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
    """

    folder: Path

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
        content = {"plans": self.plans(), "starters": starters, "usual": templates.USUAL}
        return environment().get_template("entrance.html").render(content).encode()

    def open(self, name: str) -> Keeper:
        """Lay a plan of the folder on the desk.

        Raises
        ------
        SlotwrightError
            It is none of those that are listed, has faults, or another desk has it.
        """
        if name not in self.plans():
            raise SlotwrightError("that plan is no longer in the folder; load the page again")
        return Keeper.of((self.folder / name).resolve())

    def begin(self, name: str, starter: str) -> Keeper:
        """Write a new plan from a starter, never over another file, and lay it on the desk.

        Raises
        ------
        SlotwrightError
            The name will not do, is taken, or there is no such starter.
        """
        stem = name.strip().removesuffix(".toml")
        refuse_odd(stem, name)
        if stem.startswith(".") or any(letter in _NO_NAME for letter in stem):
            raise SlotwrightError(f"a plan is named without {' '.join(_NO_NAME)}")
        starters = templates.starters()
        if starter not in starters:
            raise SlotwrightError("there is no such starter; load the page again")
        path = self.folder / f"{stem}.toml"
        write_whole({path: templates.titled(starters[starter], stem).encode()})
        return Keeper.of(path.resolve())


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
    except (PlanError, OSError):
        return ""
    title = contents.get("title")
    return title if isinstance(title, str) and "strings" in contents and "scale" in contents else ""
