"""Texts of plans: for a neck that was measured, and with what the bench taught."""

from __future__ import annotations

import json
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from slotwright.layout.errors import Fault, MeasuredError
from slotwright.layout.instrument.instrument import lay_out
from slotwright.layout.plan.reader import parse_plan
from slotwright.layout.survey.scale import divisor
from slotwright.layout.units import Unit, show

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from slotwright.layout.survey.scale import Survey

    _Writer = Callable[[float], str]

_ONE_SCALE = 3.0  # standard errors; two scales no further apart are one


@dataclass(frozen=True, slots=True)
class Asked:
    """What crowns do not tell of a neck.

    Parameters
    ----------
    strings
        How many it has.
    nut_width
        Width of the board at the nut [mm].
    width
        Width of the board at the fret `width_fret` gives [mm].
    spread_saddle
        Outer string to outer string at the saddle [mm]; None where it is not known.
    """

    strings: int
    nut_width: float
    width: float
    spread_saddle: float | None


def width_fret(survey: Survey) -> int:
    """Give the fret where the width of the board is asked for: the octave's, or the last before it."""
    return min(survey.octave_fret, survey.last_fret)


def plan_text(survey: Survey, title: str, units: Unit, asked: Asked) -> str:
    """Write a plan that draws the frets of a measured neck where they are.

    Parameters
    ----------
    survey
        What was found.
    title
        Title of the plan.
    units
        Unit of its lengths.
    asked
        What crowns do not tell.

    Returns
    -------
    str
        Text of a plan file that can be drawn.

    Raises
    ------
    MeasuredError
        Treble and bass scale do not make a neck.
    PlanError
        What was asked does not make one.
    """

    def exact(length: float) -> str:
        return show(length, units, 3 if units == "mm" else 5)

    def doubt(length: float) -> str:
        return f"\u00b1 {show(length, units)}"

    crowns = sum(len(line.measured.frets) for line in survey.lines)
    lines = [
        f"# Found from {crowns} measured crowns; \u00b1 is one standard error.",
        f"title = {json.dumps(title, ensure_ascii=False)}",
        f'units = "{units}"',
        f"strings = {asked.strings}",
        "",
        "[scale]",
        *_scale(survey, exact, doubt),
        "",
        "[frets]",
        f"count = {survey.last_fret}  # the last one measured",
        *_frets(survey),
        "",
        "[board]",
        *_nut(survey, exact, doubt),
        f"nut_width = {exact(asked.nut_width)}",
        f"width_at = {{ fret = {width_fret(survey)}, width = {exact(asked.width)} }}",
    ]
    if asked.spread_saddle is not None:
        lines.append(f"string_spread_saddle = {exact(asked.spread_saddle)}")
    text = "\n".join(lines) + "\n"
    lay_out(parse_plan(text.encode()))
    return text


def _scale(survey: Survey, exact: _Writer, doubt: _Writer) -> Iterator[str]:
    lines = survey.lines
    if survey.rule != "equal":
        rule = "The rule of eighteen" if survey.rule == "eighteen" else f"The rule of {divisor(survey.step):.3f}"
        scales = " and ".join(f"{exact(line.scale)} {doubt(line.scale_error)}" for line in lines)
        yield f"# {rule} over a scale of {scales}"
        yield f"# explains the frets. Stated is the length that gives fret {survey.octave_fret} a true octave."
    lengths = [line.open_length for line in lines]
    errors = [line.open_length_error for line in lines]
    if len(lines) == 2 and abs(lengths[1] - lengths[0]) > _ONE_SCALE * math.hypot(*errors):
        if lengths[0] > lengths[1]:
            raise MeasuredError(
                [
                    Fault(
                        "", f"treble scale {exact(lengths[0])}, bass {exact(lengths[1])}: no plan", "swap the columns"
                    )
                ]
            )
        yield f"treble = {exact(lengths[0])}  # {doubt(errors[0])}"
        yield f"bass = {exact(lengths[1])}  # {doubt(errors[1])}; both count along the outer strings"
        yield "square_fret = 7  # assumed: put in the fret that stands square to the centre line"
        return
    weights = 1 / np.square(errors)
    length, error = float(np.average(lengths, weights=weights)), float(weights.sum() ** -0.5)
    both = "; treble and bass are one scale within their doubt" if len(lines) == 2 else ""
    yield f"length = {exact(length)}  # {doubt(error)}{both}"


def _frets(survey: Survey) -> Iterator[str]:
    if survey.rule == "equal":
        yield f"divisions = {survey.divisions}"
        return
    yield "# What the frets that are there sound with the saddle on its line; equal divisions would not draw them."
    notes = ", ".join(f"{cents:.4f}" for cents in survey.notes(range(1, survey.last_fret + 1)))
    yield f"cents = [{notes}]"


def _nut(survey: Survey, exact: _Writer, doubt: _Writer) -> Iterator[str]:
    for line in survey.lines:
        if line.nut_offset is not None and line.nut_offset_error is not None:
            edge = "" if line.measured.name == "distance" else f" ({line.measured.name})"
            way = "toward fret 1 from" if line.nut_offset >= 0 else "behind"
            yield (
                f"# The nut face that is there stands {exact(abs(line.nut_offset))} {doubt(line.nut_offset_error)} "
                f"{way} the nut line drawn here{edge}."
            )
