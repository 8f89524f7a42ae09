"""The handful of figures that a change of the plan is told by."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from slotwright.layout.units import cents

if TYPE_CHECKING:
    from collections.abc import Iterator

    from slotwright.layout.instrument.instrument import Instrument

_ALWAYS: Final = "largest error"  # told also where it stays


@dataclass(frozen=True, slots=True)
class Change:
    """One figure before and after.

    Parameters
    ----------
    what
        What it is of.
    before, after
        As text, with its unit; empty where there was or is none.
    """

    what: str
    before: str
    after: str

    def __str__(self) -> str:
        """Give it as one line."""
        if self.before == self.after:
            return f"{self.what} stays {self.after}"
        return f"{self.what} {self.before or 'none'} \u2192 {self.after or 'none'}"


def facts(instrument: Instrument) -> dict[str, str]:
    """Give the figures of an instrument that an edit may move.

    Parameters
    ----------
    instrument
        A computed instrument.

    Returns
    -------
    dict
        What each is of, and the figure as text, lengths in the plan's unit.
    """
    return dict(_facts(instrument))


def _facts(instrument: Instrument) -> Iterator[tuple[str, str]]:
    plan, neck = instrument.plan, instrument.neck

    def said(length: float) -> str:
        return f"{instrument.length(length)} {plan.units}"

    if plan.scale.length is None:
        for place in dict.fromkeys((0, len(plan.strings) - 1)):
            yield f"scale of string {place + 1}", said(float(neck.scales[place]))
    else:
        yield "scale", said(plan.scale.length)
    half = plan.board.nut_width / 2
    yield "string 1 to edge at the nut", said(half - abs(float(neck.nut_ends[0, 1])))
    yield "width at the last fret", said(float(np.ptp(neck.lines_in_board[-1, :, 1])))
    length, width = np.ptp(neck.outline, axis=0)
    yield "blank needed", f"{instrument.length(length)} x {instrument.length(width)} {plan.units}"
    if plan.frets.count > 0:
        yield "first fret from the nut", said(float(neck.frets.middle[1]) - neck.nut_moved)
    yield "least wood under a slot", said(float(instrument.sawing.wood_left[instrument.sawing.thinnest]))
    strung = instrument.strung
    if strung is not None:
        aimed = np.where(strung.weights > 0, strung.after.total, 0.0)
        string, fret = np.unravel_index(int(np.argmax(np.abs(aimed))), aimed.shape)
        yield _ALWAYS, f"{cents(float(aimed[string, fret]))} cents"
        back = strung.offsets.saddle
        yield "largest set back", said(float(back[np.argmax(np.abs(back))]))
        yield "tension of all strings", f"{sum(body.tension for body in strung.bodies):.1f} N"


def changes(before: Instrument, after: Instrument) -> tuple[Change, ...]:
    """Tell what a change of the plan moved.

    Parameters
    ----------
    before, after
        The instrument as it was and as it is.

    Returns
    -------
    tuple of Change
        Figures that are others now, and the largest error of pitch in any case.
    """
    old, new = facts(before), facts(after)
    return tuple(
        Change(what, old.get(what, ""), new.get(what, ""))
        for what in dict.fromkeys((*new, *old))
        if old.get(what) != new.get(what) or what == _ALWAYS
    )
