"""Programs for a machine: written, read back, simulated; given only where nothing is wrong with them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from slotwright.layout.errors import Fault, MillError
from slotwright.layout.machine.jobs import plan_milling
from slotwright.layout.machine.text import program
from slotwright.layout.machine.verdict import judge

if TYPE_CHECKING:
    from slotwright.layout.instrument.instrument import Instrument
    from slotwright.layout.machine.verdict import Verdict, Watch
    from slotwright.layout.names import Operation
    from slotwright.layout.plan.machine import Cutter


@dataclass(frozen=True, slots=True, eq=False)
class Program:
    """One file for a machine.

    Parameters
    ----------
    name
        Its name, such as ``heron-mill-1-surface.ngc``.
    text
        Its contents: ASCII, lines of at most 70 characters.
    operations
        What it does, in turn.
    cutter
        With what, nothing of it unstated.
    minutes
        How long it runs, without the time to speed up and slow down [min].
    deepest, shallowest
        Largest errors of what it cuts to a height, below and above the wanted one [mm]; NaN where there is none.
    closest_rapid
        Least distance of travel from the blank [mm].
    clamps
        Least distance of travel from each clamp [mm].
    """

    name: str
    text: str
    operations: tuple[Operation, ...]
    cutter: Cutter
    minutes: float
    deepest: float
    shallowest: float
    closest_rapid: float
    clamps: tuple[float, ...]


def texts_of(instrument: Instrument, *, unit: Literal["mm", "in"] = "mm", stem: str = "board") -> dict[str, str]:
    """Write the programs of an instrument, not looked at yet.

    Parameters
    ----------
    instrument
        The instrument.
    unit
        Unit of the programs.
    stem
        What their names begin with.

    Returns
    -------
    dict
        Name to text, in the order in which they are run.

    Raises
    ------
    MillError
        The board cannot be milled as the plan says.
    """
    milling = plan_milling(instrument)
    names = names_of(instrument, stem)
    return {name: program(milling, job, unit) for name, job in zip(names, milling.jobs, strict=True)}


def names_of(instrument: Instrument, stem: str) -> list[str]:
    """Name the programs of an instrument in their order; raises MillError where it has none."""
    return [f"{stem}-mill-{job.number}-{job.operations[0]}.ngc" for job in plan_milling(instrument).jobs]


def verdict(instrument: Instrument, texts: dict[str, str], watch: Watch = lambda patches: patches) -> Verdict:
    """Find out whether programs, whoever wrote them, cut the board of an instrument and nothing else.

    Parameters
    ----------
    instrument
        The instrument.
    texts
        Name to text, in the order in which they are run.
    watch
        Goes through what is looked at, perhaps telling how far it got.

    Returns
    -------
    Verdict
        All that is wrong; nothing where they may be run.

    Raises
    ------
    MillError
        The board cannot be milled as the plan says.
    """
    return judge(instrument, plan_milling(instrument), texts, watch)


def mill(
    instrument: Instrument,
    *,
    unit: Literal["mm", "in"] = "mm",
    stem: str = "board",
    watch: Watch = lambda patches: patches,
) -> tuple[Program, ...]:
    """Write the programs that mill the board of an instrument; each is simulated before it is given.

    Parameters
    ----------
    instrument
        The instrument; its plan has a machine and cutters.
    unit
        Unit of the programs.
    stem
        What their names begin with.
    watch
        Given the places to be looked at, it hands them on one by one: so a caller can show how far the work is.

    Returns
    -------
    tuple of Program
        In the order in which they are run.

    Raises
    ------
    MillError
        The board cannot be milled as the plan says, or what was written would not cut it.
    """
    texts = texts_of(instrument, unit=unit, stem=stem)
    found = verdict(instrument, texts, watch)
    if found.findings:
        raise MillError([Fault("", finding.words) for finding in found.findings])
    return tuple(
        Program(
            name, text, job.operations, job.cutter, seen.minutes, seen.deepest, seen.shallowest, seen.closest_rapid,
            seen.clamps,
        )
        for (name, text), job, seen in zip(texts.items(), plan_milling(instrument).jobs, found.programs, strict=True)
    )  # fmt: skip
