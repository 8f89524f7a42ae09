"""What is to be said of a neck that was measured."""

from __future__ import annotations

import math
from functools import partial
from typing import TYPE_CHECKING, Final

from slotwright.layout.findings import Finding
from slotwright.layout.physics.temperament import OCTAVE
from slotwright.layout.survey.scale import FROM_CROWN, Line, Saddle, Survey, divisor
from slotwright.layout.units import Unit, show

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping

    _Writer = Callable[[float], str]

_HINT: Final = 6.0  # of chi-square: one sound neck in some twenty has it by chance


def findings(survey: Survey, saddles: Mapping[str, Saddle], units: Unit) -> Iterator[Finding]:
    """Say what was found, why, and what it means for the saddle.

    Parameters
    ----------
    survey
        What was found.
    saddles
        The saddle that is there, by the edge it was measured on; empty where it was not.
    units
        Unit of the lengths.

    Yields
    ------
    Finding
        One finding with its evidence.
    """
    said = partial(show, units=units)
    if survey.rule == "none":
        yield from _of_no_rule(survey, units)
        return
    for line in survey.lines:
        yield from _of_line(line, said)
    yield from _of_nut_end(survey, said)
    yield from _of_rule(survey, said)
    for line in survey.lines:
        yield from _of_saddle_line(line, said)
    for side, saddle in saddles.items():
        yield _of_saddle(side, saddle, said)
    behind = "strings want their contacts behind that: being stiff and pressed down makes them sharp"
    yield Finding("set back", "saddle", behind)
    if saddles:
        words = "so a saddle behind it is no fault yet; slotwright compensate says how far behind"
        yield Finding("set back", "saddle", words)


def _of_line(line: Line, said: _Writer) -> Iterator[Finding]:
    edge = "" if line.measured.name == "distance" else f"{line.measured.name} "
    yield Finding(
        "scale",
        f"{edge}scale",
        f"{edge}scale: {said(line.scale)} \u00b1 {said(line.scale_error)}",
        {"scale": line.scale, "scale_error": line.scale_error},
    )
    if line.nut_offset is None or line.nut_offset_error is None:
        yield Finding("nut face", f"{edge}nut", f"{edge}nut face: not measured; a row `nut` would place it")
    else:
        way = "toward fret 1 from" if line.nut_offset >= 0 else "behind"
        yield Finding(
            "nut face",
            f"{edge}nut",
            f"{edge}nut face: stands {said(abs(line.nut_offset))} \u00b1 {said(line.nut_offset_error)} "
            f"{way} where the frets put it{_weight(line.nut_offset, line.nut_offset_error)}",
            {"nut_offset": line.nut_offset, "nut_offset_error": line.nut_offset_error},
        )
    for i in line.look_at.nonzero()[0]:
        off, cents = float(line.residuals[i]), float(line.cents[i])
        way = "toward the bridge" if off > 0 else "toward the nut"
        heard = "" if math.isnan(cents) else f", {abs(cents):.1f} cents {'sharp' if cents > 0 else 'flat'}"
        fret = int(line.measured.frets[i])
        yield Finding(
            "look at",
            f"{edge}fret {fret}",
            f"{edge}look at fret {fret}: its crown stands {said(abs(off))} {way}{heard}; left out of the fit",
            {"residual": off, **({} if math.isnan(cents) else {"cents": cents})},
        )


def _of_no_rule(found: Survey, units: Unit) -> Iterator[Finding]:
    """Say that no rule explains the crowns, and what could be wrong."""
    words = (
        f"no fret spacing explains these crowns: by {found.divisions} equal divisions, the rule of eighteen or a "
        f"free divisor they scatter by {show(found.scatter, units)} {units} or more"
    )
    yield Finding("no rule", "crowns", words, {"scatter": found.scatter})
    for divisions in found.explained:
        words = f"{divisions} equal divisions of the octave explain them: --divisions {divisions}"
        yield Finding("other divisions", "crowns", words, {"divisions": divisions})
    if not found.explained:
        words = "look at the numbers of the frets and the unit, and whether the start of the ruler stayed in place"
        yield Finding("check", "crowns", words)


def _of_nut_end(found: Survey, said: _Writer) -> Iterator[Finding]:
    """Say that the first crowns are off together, or may be."""
    for line, many in zip(found.lines, found.together, strict=True):
        edge = "" if line.measured.name == "distance" else f"{line.measured.name} "
        if many:
            off = float(line.residuals[:many].mean())
            way = "toward the bridge" if off > 0 else "toward the nut"
            first, last = line.measured.frets[[0, many - 1]]
            words = (
                f"{edge}frets {first} to {last} stand {said(abs(off))} {way} together: was the nut's end of the "
                "board moved, or were these frets set anew?"
            )
            yield Finding("nut end", f"{edge}first frets", words, {"off": off, "frets": many})
    if not any(found.together) and found.hint > _HINT:
        words = "the first frets may be off together; crowns alone do not tell: measure them again"
        yield Finding("nut end", "first frets", words, {"chi_square": found.hint})


def _weight(value: float, error: float) -> str:
    return "" if abs(value) > 2 * error else ": within measurement error"


def _of_rule(found: Survey, said: _Writer) -> Iterator[Finding]:
    names = {
        "equal": f"{found.divisions} equal divisions explain",
        "eighteen": "the rule of eighteen explains",
        "other": f"a divisor of {divisor(found.step):.3f}, neither equal divisions' nor eighteen, explains",
    }
    yield Finding(
        "rule",
        "rule",
        f"fret spacing: {names[found.rule]} the crowns best",
        {f"chi_square_{rule}": squares for rule, squares in found.chi_square.items() if squares is not None},
    )
    if found.rule != "other" and not found.sure:
        alike = "equal divisions and the rule of eighteen can hardly be told apart"
        yield Finding("rule unsure", "rule", f"{alike}; measure more crowns, far ones first")
    if found.scattered:
        yield Finding(
            "scatter",
            "crowns",
            f"the crowns scatter by {said(found.scatter)}, a reading is taken to be true to {said(found.sigma)}: "
            "measure again, or state --sigma; crowns and every \u00b1 are judged by the scatter",
            {"scatter": found.scatter, "sigma": found.sigma},
        )
    if found.rule != "equal":
        frets = range(1, found.last_fret + 1)
        off = found.notes(frets) - [OCTAVE / found.divisions * fret for fret in frets]
        worst = int(abs(off).argmax())
        yield Finding(
            "rule off pitch",
            f"fret {worst + 1}",
            f"with fret {found.octave_fret} a true octave, this fret spacing leaves fret {worst + 1} "
            f"{abs(off[worst]):.1f} cents {'sharp' if off[worst] > 0 else 'flat'}, the most of all",
            {"cents": float(off[worst])},
        )


def _of_saddle_line(line: Line, said: _Writer) -> Iterator[Finding]:
    edge = "both edges" if line.measured.name == "distance" else f"the {line.measured.name} edge"
    yield Finding(
        "saddle line",
        edge,
        f"saddle line: {said(line.saddle_from_12)} \u00b1 {said(line.saddle_from_12_error)} from fret {FROM_CROWN} "
        f"on {edge} (at {said(line.crown_12 + line.saddle_from_12)} on the ruler)",
        {"from_fret_12": line.saddle_from_12, "error": line.saddle_from_12_error},
    )
    if line.nut_offset:
        nearer = line.saddle_from_12 - line.nut_offset
        words = f"with the nut face left where it is: {said(nearer)} from fret {FROM_CROWN}"
        yield Finding("saddle line", edge, words, {"from_fret_12": nearer})
    places, there = line.measured.frets.tolist(), {"place": line.crown_12}
    if FROM_CROWN not in places:
        words = f"fret {FROM_CROWN} was not measured; its place is {said(line.crown_12)} on the ruler"
        yield Finding("crown 12", edge, words, there)
    elif line.look_at[places.index(FROM_CROWN)]:
        words = f"fret {FROM_CROWN} is off itself: measure from its place, {said(line.crown_12)} on the ruler"
        yield Finding("crown 12", edge, words, there)


def _of_saddle(side: str, saddle: Saddle, said: _Writer) -> Finding:
    far = said(abs(saddle.behind))
    way, move = ("behind", "forward") if saddle.behind > 0 else ("before", "back")
    heard = f"{abs(saddle.cents):.1f} cents {'sharp' if saddle.cents > 0 else 'flat'}"
    return Finding(
        "saddle that is there",
        f"{side} edge",
        f"saddle on the {side} edge: {said(saddle.from_12)} from fret {FROM_CROWN}, {far} {way} a true "
        f"octave with this nut; lengths alone make fret {FROM_CROWN} {heard}; {far} {move} would bring it there",
        {"from_fret_12": saddle.from_12, "behind": saddle.behind, "cents": saddle.cents},
    )
