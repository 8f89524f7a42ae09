"""The `index` sheet: the notched strip that a pin in a saw sled steps along."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from slotwright.layout.drawing import contacts
from slotwright.layout.drawing.frame import Content
from slotwright.layout.drawing.marks import kerf_note, octave_check
from slotwright.layout.drawing.sheet import Contour, Layer, Line, Text
from slotwright.layout.errors import needed
from slotwright.layout.instrument.board_findings import jig_fault
from slotwright.layout.physics.temperament import CENTS_PER_NEPER

if TYPE_CHECKING:
    from collections.abc import Iterator

    from slotwright.layout.drawing.sheet import Entity
    from slotwright.layout.instrument.arcs import Point
    from slotwright.layout.instrument.instrument import Instrument
    from slotwright.layout.plan.tables import Jig

_BODY: Final = 20.0  # mm of strip above the notches
_SPARE: Final = 20.0  # mm of strip beyond the outermost notches


def missing(instrument: Instrument) -> str | None:
    """Say what the plan lacks for this sheet."""
    plan = instrument.plan
    return "the plan has no [jig]" if plan.jig is None else jig_fault(plan, instrument.neck)


def content(instrument: Instrument) -> Content:
    """Draw the notched strip as one closed contour, with a notch for the nut line and every fret."""
    jig = needed(instrument.plan.jig, missing(instrument))
    pins = [float(x) + jig.blade_to_pin for x in instrument.neck.frets.middle]
    pins[0] += instrument.neck.nut_moved
    left, right = min(pins[0], 0.0) - _SPARE, max(pins[-1], 0.0) + _SPARE + (30.0 if pins[-1] < 0 else 0.0)
    top = jig.notch_depth + _BODY
    entities: list[Entity] = [
        Contour(Layer.CUT_OUTLINE, tuple(_strip(jig, pins, (left, right), top, instrument.plan.kerf / 2))),
        Line(Layer.MARK, (instrument.neck.nut_moved, top - 7), (instrument.neck.nut_moved, top)),
        Text(Layer.TEXT, (instrument.neck.nut_moved + 1.5, top - 5), _nut_line(instrument) + " of the blank", 2.5),
        *_numbers(instrument, pins, jig.notch_depth + 2),
    ]
    tables = ("scale", "frets", "jig")
    notes = [*_notes(instrument, jig), *kerf_note(instrument)]
    origin = "strip's notched edge on the nominal nut line"
    return Content(entities, notes, tables, check=octave_check(instrument), origin=origin)


def _strip(jig: Jig, pins: list[float], ends: tuple[float, float], top: float, beyond: float) -> Iterator[Point]:
    """Give the corners of the strip, its notched edge first, `beyond` outside the finished strip all round [mm]."""
    half, (left, right) = (jig.pin + jig.play) / 2 - beyond, ends
    yield left - beyond, -beyond
    for pin in pins:
        yield pin - half, -beyond
        yield pin - half, jig.notch_depth - beyond
        yield pin + half, jig.notch_depth - beyond
        yield pin + half, -beyond
    yield right + beyond, -beyond
    yield right + beyond, top + beyond
    yield left - beyond, top + beyond


def _nut_line(instrument: Instrument) -> str:
    return "zero fret" if instrument.plan.frets.zero_fret else "nut line"


def _numbers(instrument: Instrument, pins: list[float], y: float) -> Iterator[Text]:
    closest = float(np.diff(pins).min())
    nut = "0" if instrument.plan.frets.zero_fret else "nut"
    for fret, pin in enumerate(pins):
        yield Text(Layer.TEXT, (pin, y), str(fret) if fret else nut, min(2.5, closest / 2), "center")


def _notes(instrument: Instrument, jig: Jig) -> Iterator[str]:
    plan, said = instrument.plan, instrument.length
    way = "nearer the bridge" if jig.blade_to_pin > 0 else "nearer the nut end"
    moved = f"The notches lie {said(abs(jig.blade_to_pin))} {way} than the slots." if jig.blade_to_pin else ""
    yield (
        f"Fix the strip to the blank with its mark on the {_nut_line(instrument)}. With the pin in a notch the "
        f"blade stands over that slot. {moved}"
    )
    yield (
        "In the first notch the middle of the blade stands on the line: a board cut off there loses half its width, "
        "so cut on the waste side."
    )
    yield from contacts.moved_nut(instrument)
    frets = sorted({1, plan.action_fret, plan.frets.count})
    costs = ", ".join(f"{pin_play_cents(instrument, fret):.2f} cents at fret {fret}" for fret in frets)
    yield (
        f"Notches are {said(jig.pin + jig.play, 3)} wide for a pin of {said(jig.pin)}. Its play can shift a slot by "
        f"{said(jig.play / 2, 3)} either way: {costs}. "
        "Press the pin to the same side each time and the slots keep their distances."
    )


def pin_play_cents(instrument: Instrument, fret: int) -> float:
    """Give what half the pin's play costs in pitch.

    Parameters
    ----------
    instrument
        An instrument whose plan has a jig and one scale.
    fret
        Number of the fret.

    Returns
    -------
    float
        Error of the fretted note [cents], ``(1200 / ln 2) * shift / speaking length``.
    """
    neck, jig = instrument.neck, instrument.plan.jig
    shift = jig.play / 2 if jig else 0.0
    return float(CENTS_PER_NEPER * shift / (neck.saddle.middle[0] - neck.frets.middle[fret]))
