"""What stands on the page, as text: lengths in the plan's unit and beside it in the other."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from slotwright.layout.findings import sentence
from slotwright.layout.physics import strings
from slotwright.layout.physics.temperament import OCTAVE
from slotwright.layout.plan.assumed import with_unit
from slotwright.layout.units import parse_length, show

if TYPE_CHECKING:
    from collections.abc import Iterator

    from slotwright.layout.instrument.instrument import Instrument
    from slotwright.layout.instrument.stringing import Strung
    from slotwright.layout.plan.assumed import Assumed
    from slotwright.layout.units import Unit

_NUMBER: Final = re.compile(r"\d+(?:\.\d+)?")
_LENGTHS: Final = {
    unit: re.compile(rf"(?<![\d.#/])([+-]?\d+(?:\.\d+)?(?:(?:, | to | and | / )[+-]?\d+(?:\.\d+)?)*) {unit}\b(?! \()")
    for unit in ("mm", "in")
}
NEWTONS_PER_POUND: Final = 4.4482216152605  # exact: 0.45359237 kg by 9.80665 m/s2


@dataclass(frozen=True, slots=True)
class Both:
    """A quantity in two units.

    Parameters
    ----------
    main
        In the plan's unit.
    other
        In the other one.
    """

    main: str
    other: str


def other_unit(instrument: Instrument) -> Unit:
    """Name the unit that stands in brackets."""
    return "in" if instrument.plan.units == "mm" else "mm"


def both(instrument: Instrument, length: float, decimals: tuple[int, int] = (2, 3)) -> Both:
    """Write a length [mm] in both units, with so many decimals in mm and in inches."""
    said = {"mm": show(length, "mm", decimals[0]), "in": show(length, "in", decimals[1])}
    return Both(said[instrument.plan.units], said[other_unit(instrument)])


def measure(instrument: Instrument, length: float, decimals: tuple[int, int] = (2, 3)) -> Both:
    """Write a length [mm] in both units, each with its name."""
    plain = both(instrument, length, decimals)
    return Both(f"{plain.main} {instrument.plan.units}", f"{plain.other} {other_unit(instrument)}")


def pull(instrument: Instrument, force: float) -> Both:
    """Write a tension [N], in pounds first where the plan is in inches."""
    said = (f"{force:.1f} N", f"{force / NEWTONS_PER_POUND:.1f} lb")
    return Both(*said) if instrument.plan.units == "mm" else Both(*reversed(said))


def pitch_name(instrument: Instrument, place: int) -> str:
    """Name the pitch of a string, by its place from 0; empty where none is stated."""
    string = instrument.plan.strings[place]
    return string.pitch or (f"{string.frequency:g} Hz" if string.frequency else "")


def heading(instrument: Instrument) -> dict[str, Any]:
    """Say what instrument this is, and whose job."""
    plan, job = instrument.plan, instrument.plan.job
    pitches = [pitch_name(instrument, place) for place in range(len(plan.strings))]
    count = len(plan.strings)
    strings = f"{count} string{'s' * (count > 1)}"
    words = ("reference", "drawn by", "revision", "date")
    stated = (job.reference, job.drawn_by, job.revision, job.date) if job else ()
    return {
        "parts": [
            strings,
            f"{plan.frets.count} fret{'s' * (plan.frets.count > 1)}",
            "two scales" if plan.scale.length is None else "one scale",
            *(["zero fret"] if plan.frets.zero_fret else []),
            "left-handed" if plan.board.left_handed else "right-handed",
        ],
        "tuning": pitches if all(pitches) else [],
        "job": [(label, value) for label, value in zip(words, stated, strict=False) if value],
    }


def glance(instrument: Instrument) -> list[tuple[str, Both | str]]:
    """Give the handful of figures that tell one instrument from another."""
    plan, neck, strung = instrument.plan, instrument.neck, instrument.strung
    found: list[tuple[str, Both | str]] = []
    if plan.scale.length is None:
        found += [
            (f"scale of string {place % len(plan.strings) + 1}", measure(instrument, float(neck.scales[place])))
            for place in (0, -1)
        ]
    else:
        found.append(("scale length", measure(instrument, plan.scale.length)))
    found.append(("width at the nut", measure(instrument, plan.board.nut_width)))
    octave = float(np.ptp(neck.lines_in_board[plan.action_fret, :, 1]))
    found.append((f"width at fret {plan.action_fret}", measure(instrument, octave)))
    if strung is not None:
        back = strung.offsets.saddle
        found.append(("largest set back", measure(instrument, float(back[np.argmax(np.abs(back))]))))
        found.append(("tension of all strings", pull(instrument, sum(body.tension for body in strung.bodies))))
    return found


def fret_table(instrument: Instrument) -> dict[str, Any]:
    """Give the distances of every fret, one row each, as the maker's rule finds them."""
    plan, neck = instrument.plan, instrument.neck
    middle, from_nut = neck.frets.middle, neck.from_nut
    start = "zero fret" if plan.frets.zero_fret else "nut"
    from_start = middle - neck.nut_moved
    columns = {f"from the {start}": np.concatenate(([0.0], from_start[1:]))}
    if neck.nut_moved:
        columns["from the nominal nut line"] = np.concatenate(([neck.nut_moved], middle[1:]))
    if plan.scale.length is None:
        columns["along string 1"] = from_nut[:, 0]
        columns[f"along string {len(plan.strings)}"] = from_nut[:, -1]
    to_saddle = neck.saddle.middle[0] - middle
    to_saddle[0] -= neck.nut_moved
    columns["to the saddle line"] = to_saddle
    columns["from the fret before"] = np.diff(next(iter(columns.values())), prepend=np.nan)
    return {
        "head": list(columns),
        "rows": [
            {
                "fret": fret,
                "angle": f"{neck.angles[fret]:.2f}",
                "remark": ", ".join(_remarks(instrument, fret, start)),
                "cells": [
                    None if np.isnan(column[fret]) else both(instrument, float(column[fret]), (3, 4))
                    for column in columns.values()
                ],
            }
            for fret in range(plan.frets.count + 1)
        ],
        "moved": measure(instrument, abs(neck.nut_moved)) if neck.nut_moved else None,
        "start": start,
        "fan": plan.scale.length is None,
        "straightness": instrument.straightness_note,
        "depth": measure(instrument, instrument.sawing.depth),
    }


def widths(instrument: Instrument) -> dict[str, Any]:
    """Give the width of the board along every fret."""
    ends = instrument.neck.lines_in_board
    lengths = np.linalg.norm(ends[:, 1] - ends[:, 0], axis=-1)
    return {
        "rows": [both(instrument, float(length)) for length in lengths],
        "bound": bool(instrument.plan.board.binding),
    }


def _remarks(instrument: Instrument, fret: int, start: str) -> Iterator[str]:
    """Say what is special about a fret."""
    if fret == 0:
        yield start
    if abs(instrument.neck.cents[fret] - OCTAVE) < 0.5:
        yield "octave"
    if fret and fret == instrument.plan.board.joint_fret:
        yield "joint"


def unstated(instrument: Instrument) -> list[str]:
    """Say what the plan would have to tell for its pitch to be calculated."""
    lacking: dict[str, list[str]] = {}
    for place, string in enumerate(instrument.plan.strings, start=1):
        if key := strings.unstated(string):
            lacking.setdefault(key, []).append(str(place))
    every = len(instrument.plan.strings)
    return [
        f"{key} of any string"
        if len(places) == every
        else f"{key} of string{'s' * (len(places) > 1)} {', '.join(places)}"
        for key, places in lacking.items()
    ]


def findings(instrument: Instrument) -> list[str]:
    """Say what a maker should know before wood is cut."""
    placed = instrument.plan.bridge is None or not instrument.bridge_lacks
    said = [
        *instrument.grounds,
        *map(str, instrument.findings),
        *([] if placed else [f"the bridge is not placed: {instrument.bridge_lacks}"]),
        *([instrument.straightness_note] if instrument.straightness_note else []),
    ]
    return [in_both(sentence(words), instrument.plan.units) for words in said]


def in_both(words: str, unit: Unit) -> str:
    """Add to every length in a sentence what it is in the other unit.

    Parameters
    ----------
    words
        What is said; its lengths are in `unit`.
    unit
        The plan's unit.

    Returns
    -------
    str
        The sentence; inches are known by their decimal point, for "in" is a word too.
    """
    other: Unit = "in" if unit == "mm" else "mm"

    def told(found: re.Match[str]) -> str:
        if unit == "in" and "." not in found[1]:
            return found[0]
        said = _NUMBER.sub(lambda number: show(parse_length(float(number[0]), unit), other), found[1])
        return f"{found[0]} ({said} {other})"

    return _LENGTHS[unit].sub(told, words)


def worst_before(strung: Strung) -> tuple[float, int, int]:
    """Find the worst note of the aims before compensation: its error [cents], string and fret."""
    off = np.where(strung.weights > 0, strung.before.total, 0.0)
    string, fret = np.unravel_index(int(np.argmax(np.abs(off))), off.shape)
    return float(off[string, fret]), int(string) + 1, int(fret) + 1


def assumed(instrument: Instrument) -> list[tuple[str, Both | str]]:
    """List what the plan left unsaid and the values taken."""

    def written(key: str, value: Assumed) -> Both | str:
        lengths = value.value if isinstance(value.value, tuple) else (value.value,)
        if not value.is_length or not all(isinstance(length, float) for length in lengths):
            return with_unit(key, value)
        said = [measure(instrument, length) for length in dict.fromkeys(lengths)]
        return Both(" and ".join(each.main for each in said), " and ".join(each.other for each in said))

    return [(key, written(key, value)) for key, value in instrument.assumed.items()]
