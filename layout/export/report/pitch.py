"""The errors of every note, string by string: a small chart for each, and the figures."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from slotwright.layout.export.charts.pitch import round_step
from slotwright.layout.export.report.facts import pitch_name, worst_before
from slotwright.layout.export.report.inline import dot, element, group, line, words
from slotwright.layout.units import cents

if TYPE_CHECKING:
    from collections.abc import Iterator

    from markupsafe import Markup
    from numpy.typing import NDArray

    from slotwright.layout.instrument.instrument import Instrument
    from slotwright.layout.instrument.stringing import Strung

    Floats = NDArray[np.float64]

# In the chart's own units, which come out as about a pixel each.
_WIDTH: Final = 420.0
_HEIGHT: Final = 168.0
_LEFT: Final = 34.0
_RIGHT: Final = 8.0
_TOP: Final = 8.0
_BOTTOM: Final = 22.0
_ROOM: Final = 17.0  # between two numbers of frets
_ACROSS: Final = 96  # letters that the figures of a row may have: what fits across a page


def pitch_section(instrument: Instrument) -> dict[str, Any] | None:
    """Draw and tell how far every note is off; None where that is not known.

    Parameters
    ----------
    instrument
        The instrument.

    Returns
    -------
    dict
        A chart and a caption for every string, the table of remaining errors, and the verdict.
    """
    strung, rule = instrument.strung, instrument.plan.compensation
    if strung is None:
        return None
    scale = _Scale.over(strung, rule.tolerance)
    charts = []
    for place in range(len(strung.bodies)):
        aimed, before, after = strung.weights[place] > 0, strung.before.total[place], strung.after.total[place]
        fret = int(strung.worst_fret[place])
        was, now = cents(before[fret - 1]), cents(strung.worst_cents[place])
        name = (
            f"string {place + 1}: largest error at its target frets {now} cents, at fret {fret}; before {was} there"
        )
        charts.append(
            {
                "string": place + 1,
                "pitch": pitch_name(instrument, place),
                "fret": fret,
                "was": was,
                "now": now,
                "drawn": _chart(before, after, aimed, rule.tolerance, scale, name),
            }
        )
    worst, string, fret = worst_before(strung)
    return {
        "charts": charts,
        "tolerance": f"{rule.tolerance:g}",
        "within": bool((np.abs(strung.worst_cents) <= rule.tolerance).all()),
        "worst": {"cents": cents(worst), "string": string, "fret": fret},
        "moves": {"none": "saddle", "common": "saddle and nut", "per string": "saddle and nut"}[rule.nut],
        "blocks": list(_blocks(instrument, strung)),
    }


def _blocks(instrument: Instrument, strung: Strung) -> Iterator[dict[str, Any]]:
    """Share the figures out over tables that are no wider than a page."""
    frets = np.arange(instrument.plan.frets.count)
    widest = max(len(cents(error, 1)) for error in strung.after.total.flat)
    for some in np.array_split(frets, math.ceil(len(frets) / (_ACROSS // widest))):
        rows = [
            {
                "string": place + 1,
                "pitch": pitch_name(instrument, place),
                "cells": [(cents(error, 1), bool(weight)) for error, weight in zip(row, weights, strict=True)],
            }
            for place, (row, weights) in enumerate(
                zip(strung.after.total[:, some], strung.weights[:, some], strict=True)
            )
        ]
        yield {"frets": [int(fret) + 1 for fret in some], "rows": rows}


@dataclass(frozen=True, slots=True)
class _Scale:
    """The one scale of all charts, so that strings can be compared: its ends and its step [cents]."""

    low: float
    high: float
    step: float

    @classmethod
    def over(cls, strung: Strung, tolerance: float) -> _Scale:
        reach = np.concatenate((strung.before.total.ravel(), strung.after.total.ravel(), [-tolerance, tolerance]))
        step = round_step(float(np.ptp(reach)))
        return cls(step * math.floor(float(reach.min()) / step), step * math.ceil(float(reach.max()) / step), step)


def _chart(
    before: Floats, after: Floats, aimed: NDArray[np.bool_], tolerance: float, scale: _Scale, name: str
) -> Markup:
    """Draw one string."""
    low, high, step = scale.low, scale.high, scale.step
    end = _HEIGHT - _BOTTOM
    x = np.linspace(_LEFT + 12, _WIDTH - _RIGHT - 8, max(len(before), 2))[: len(before)]

    def y(error: float) -> float:
        return end - (error - low) / (high - low) * (end - _TOP)

    wide, top = _WIDTH - _RIGHT - _LEFT, y(tolerance)
    band = element("rect", x=_LEFT, y=top, width=wide, height=y(-tolerance) - top, class_="band")
    levels = [low + step * level for level in range(round((high - low) / step) + 1)]
    parts = [
        band,
        group("levels", _levels([(y(level), level) for level in levels])),
        group("before", _curve(x, [y(error) for error in before], aimed)),
        group("after", _curve(x, [y(error) for error in after], aimed)),
        group("numbers", _numbers(x)),
        *_told(x, before, after, end),
    ]
    return element("svg", *parts, viewBox=f"0 0 {_WIDTH:g} {_HEIGHT:g}", role="img", aria_label=name)


def _levels(levels: list[tuple[float, float]]) -> Iterator[Markup]:
    for y, error in levels:
        yield line((_LEFT, y), (_WIDTH - _RIGHT, y), class_="rest" if error else "zero")
        yield words((_LEFT - 6, y + 4), cents(error, 0))


def _curve(x: Floats, y: list[float], aimed: NDArray[np.bool_]) -> Iterator[Markup]:
    """Draw the notes of a string; those of its aim have larger marks."""
    points = list(zip(map(float, x), y, strict=True))
    yield element("polyline", points=" ".join(f"{across:.2f},{down:.2f}" for across, down in points))
    for point, counts in zip(points, aimed, strict=True):
        yield dot(point, 3.6 if counts else 1.9)


def _numbers(x: Floats) -> Iterator[Markup]:
    apart = float(x[1] - x[0]) if len(x) > 1 else _ROOM
    every = next(every for every in (1, 2, 5, 10) if every * apart >= _ROOM - 2 or every == 10)
    for fret, at in enumerate(x, start=1):
        if fret % every == 0 or every == 1:
            yield words((float(at), _HEIGHT - 5), str(fret))


def _told(x: Floats, before: Floats, after: Floats, end: float) -> Iterator[Markup]:
    """Lay a strip over each fret that tells its figures where the pointer rests."""
    wide = float(x[1] - x[0]) if len(x) > 1 else _WIDTH / 2
    for fret, (at, was, stays) in enumerate(zip(x, before, after, strict=True), start=1):
        name = element("title", f"fret {fret}: before {cents(was)}, after {cents(stays)} cents")
        strip = {"x": float(at) - wide / 2, "y": _TOP, "width": wide, "height": end - _TOP}
        yield element("rect", name, class_="room", **strip)
