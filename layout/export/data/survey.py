"""What a measured neck turned out to be, as an object that a script reads: lengths in mm."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from slotwright.layout.export.data.instrument import wire_list
from slotwright.layout.survey.findings import findings
from slotwright.layout.survey.scale import divisor

if TYPE_CHECKING:
    from collections.abc import Mapping

    from slotwright.layout.readings.crowns import Measured
    from slotwright.layout.survey.refret import Refret
    from slotwright.layout.survey.scale import Line, Saddle, Survey
    from slotwright.layout.units import Unit


def survey(found: Survey, saddles: Mapping[str, Saddle], units: Unit = "mm") -> dict[str, Any]:
    """Tell scale, rule and every crown.

    Parameters
    ----------
    found
        What was found.
    saddles
        The saddle that is there, by the edge it was measured on; empty where it was not.
    units
        Unit of the lengths in the words of findings.
    """
    whole: dict[str, Any] = {
        "rule": found.rule,
        "rule_sure": found.sure,
        "divisions": found.divisions,
        "explained_by": list(found.explained),
        "divisor": divisor(found.step) if found.lines else None,
        "octave_fret": found.octave_fret if found.lines else None,
        "chi_square": found.chi_square,
        "sigma": found.sigma,
        "scatter": found.scatter,
        "findings": [finding.data for finding in findings(found, saddles, units)],
    }
    lines = [_line(line) for line in found.lines] or [_unexplained(measured) for measured in found.measured]
    if len(lines) == 1:
        whole |= lines[0]
    else:
        whole |= {measured.name: line for measured, line in zip(found.measured, lines, strict=True)}
    if saddles:
        whole["saddle"] = {side: _saddle(saddle) for side, saddle in saddles.items()}
    return whole


def refret(found: Refret) -> dict[str, Any]:
    """Tell what new frets on an old board take.

    Parameters
    ----------
    found
        What was found.
    """
    return {
        **wire_list(found.wires, found.findings),
        "slots": [
            {"fret": fret, "depth": depth, "deepen": fret in found.shallow}
            for fret, depth in sorted(found.slots.items())
        ],
        "depth_needed": found.needed,
        "steps": [{"fret": fret, "step": step} for fret, step in found.steps.items()],
        "rise": None if found.rise is None else dict(zip(("nut", "saddle"), found.rise, strict=True)),
    }


def _saddle(saddle: Saddle) -> dict[str, float]:
    return {
        "from_fret_12": saddle.from_12,
        "behind": saddle.behind,
        "cents_at_12": saddle.cents,
        "move": -saddle.behind,
    }


def _line(line: Line) -> dict[str, Any]:
    columns = (line.measured.distances, line.residuals, line.cents, line.look_at)
    return {
        "scale": line.scale,
        "scale_error": line.scale_error,
        "nut_offset": line.nut_offset,
        "nut_offset_error": line.nut_offset_error,
        "saddle_from_fret_12": line.saddle_from_12,
        "saddle_from_fret_12_error": line.saddle_from_12_error,
        "frets": [
            {
                "fret": fret,
                "distance": distance,
                "residual": residual,
                "cents": None if math.isnan(cents) else cents,
                "look_at": bad,
            }
            for fret, distance, residual, cents, bad in zip(
                line.measured.frets.tolist(), *(column.tolist() for column in columns), strict=True
            )
        ],
    }


def _unexplained(measured: Measured) -> dict[str, Any]:
    """Give the keys of a line that no rule explains."""
    lengths = ("scale", "nut_offset", "saddle_from_fret_12")
    unknown = {"residual": None, "cents": None, "look_at": False}
    crowns = zip(measured.frets.tolist(), measured.distances.tolist(), strict=True)
    return {
        **dict.fromkeys(key for length in lengths for key in (length, f"{length}_error")),
        "frets": [{"fret": fret, "distance": distance, **unknown} for fret, distance in crowns],
    }
