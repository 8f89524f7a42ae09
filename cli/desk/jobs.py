"""The jobs of the counter: the handful of values that each turns on, and what is printed in the end."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from slotwright.layout.drawing.catalogue import counted

if TYPE_CHECKING:
    from slotwright.layout.instrument.instrument import Instrument
    from slotwright.layout.names import Reader, SheetName


@dataclass(frozen=True, slots=True)
class Job:
    """One kind of job.

    Parameters
    ----------
    name
        What it is called at the counter.
    keys
        The values it turns on; those that a plan has no place for are left out.
    sheets
        What is printed at full size: the first that the plan describes.
    page
        What is printed where there is no such sheet.
    """

    name: str
    keys: tuple[str, ...]
    sheets: tuple[SheetName, ...] = ()
    page: Reader = "maker"


JOBS: Final = (
    Job(
        "New board",
        ("title", "job.reference", "scale.length", "scale.treble", "scale.bass", "board.nut_width", "board.radius",
         "frets.count", "board.joint_fret", "board.binding", "setup.action"),
        ("slots",),
    ),
    Job(
        "Replace a bridge",
        ("title", "job.reference", "scale.length", "scale.treble", "scale.bass", "setup.action", "bridge.kind",
         "bridge.outline", "bridge.front", "bridge.travel", "bridge.slot_width", "bridge.existing.pins",
         "bridge.existing.footprint"),
        ("bridge", "saddle"),
    ),
    Job(
        "Refret",
        ("title", "job.reference", "frets.count", "frets.height", "frets.tang_depth", "frets.slot_width",
         "frets.wire.tang_width", "frets.wire.bead_width", "frets.wire.length", "board.radius", "board.binding"),
    ),
    Job(
        "Intonate",
        ("title", "job.reference", "setup.action", "setup.nut_action", "setup.relief", "compensation.tolerance",
         "bridge.travel"),
        page="bench",
    ),
)  # fmt: skip
BY_NAME: Final = {job.name: job for job in JOBS}


def printed(job: Job, instrument: Instrument, stem: str, pages: dict[Reader, str]) -> str:
    """Name the file that the job is printed from: a sheet at full size, or a page."""
    there = counted(instrument)
    sheet = next((name for name in job.sheets if name in there), None)
    return f"{stem}-{sheet}.pdf" if sheet else pages.get(job.page, f"{stem}.html")
