"""What was milled, as objects that a script reads: lengths in mm, whatever the plan's unit is."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

    from slotwright.layout.findings import Finding
    from slotwright.layout.machine.programs import Program


def milled(programs: Iterable[Program], folder: Path, findings: Iterable[Finding]) -> dict[str, Any]:
    """Tell which programs were written, with what they cut, and what the simulation found.

    Parameters
    ----------
    programs, folder
        The programs, and where they were written.
    findings
        What a maker should know before they are run.
    """
    return {
        "programs": [
            {
                "path": str(folder / program.name),
                "operations": list(program.operations),
                "cutter": {key: value for key, value in program.cutter.model_dump().items() if key != "operations"},
                "minutes": program.minutes,
                "deepest": _known(program.deepest),
                "shallowest": _known(program.shallowest),
                "closest_rapid": _known(program.closest_rapid),
                "closest_to_clamps": [_known(each) for each in program.clamps],
            }
            for program in programs
        ],
        "findings": [finding.data for finding in findings],
    }


def _known(value: float) -> float | None:
    """Give a number that a file can hold; None where there is none."""
    return value if math.isfinite(value) else None
