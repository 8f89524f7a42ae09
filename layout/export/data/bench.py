"""What readings say, as an object that a script reads: lengths in mm, errors in cents."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Iterable

    from slotwright.layout.bench.advice import Advice
    from slotwright.layout.bench.calibration import Calibrated
    from slotwright.layout.bench.diagnosis import Intonation, Verdict
    from slotwright.layout.bench.restring import Restrung
    from slotwright.layout.findings import Finding


def intonation(found: Intonation, restrung: Restrung | None = None) -> dict[str, Any]:
    """Tell moves, findings and what the readings teach.

    Parameters
    ----------
    found
        What the readings say.
    restrung
        Moves for other strings; None leaves that out.
    """
    return {
        "strings": [_string(verdict) for verdict in found.strings],
        "findings": _findings(found.findings),
        "calibration": None if found.calibrated is None else _calibration(found.calibrated),
        **({} if restrung is None else {"restring": _restrung(restrung)}),
    }


def _string(verdict: Verdict) -> dict[str, Any]:
    advice = verdict.advice
    return {
        "string": verdict.string,
        "move": advice.move if advice else None,
        "move_error": advice.error if advice else None,
        "turns": advice.turns if advice else None,
        "direction": advice.direction if advice else "leave",
        "read": _cents(advice, advice.now) if advice else [],
        "expected": _cents(advice, advice.expected) if advice else [],
        "within_tolerance": advice.within if advice else False,
        "travel_left": list(advice.travel) if advice and advice.travel else None,
        "findings": _findings(verdict.findings),
    }


def _calibration(learnt: Calibrated) -> dict[str, Any]:
    return {
        "stiffness": learnt.stiffness,
        "stiffness_error": learnt.stiffness_error,
        "stretch": learnt.stretch,
        "stretch_error": learnt.stretch_error,
        "correlation": learnt.correlation,
        "press_depth": learnt.press_depth,
        "press_depth_error": learnt.press_depth_error,
        "depth_and_stretch": learnt.correlations[0] if learnt.correlations else None,
        "depth_and_nut": learnt.correlations[1] if learnt.correlations else None,
        "rms_before": learnt.rms_before,
        "rms_after": learnt.rms_after,
        "strings": list(learnt.strings),
    }


def _restrung(restrung: Restrung) -> list[dict[str, Any]]:
    return [
        {
            "string": i + 1,
            "move": float(restrung.move[i]),
            "move_error": float(restrung.error[i]),
            "read": bool(restrung.read[i]),
            "travel_left": _left(restrung, i),
            "tension_n": restrung.tension[i].tolist(),
            "load": (load := [None if np.isnan(part) else float(part) for part in restrung.stress[i]]),
            "stress_ratio": load,  # its name before 0.2
        }
        for i in range(len(restrung.move))
    ]


def _left(restrung: Restrung, i: int) -> list[float] | None:
    """Give the travel left before and behind one saddle; None where it is not known."""
    if restrung.travel is None or np.isnan(restrung.travel[i]).any():
        return None
    left: list[float] = restrung.travel[i].tolist()
    return left


def _cents(advice: Advice, cents: Iterable[float]) -> list[dict[str, Any]]:
    return [{"fret": int(fret), "cents": float(off)} for fret, off in zip(advice.frets, cents, strict=True)]


def _findings(findings: Iterable[Finding]) -> list[dict[str, Any]]:
    return [{**finding.data, "evidence": finding.words} for finding in findings]  # its name before 0.2
