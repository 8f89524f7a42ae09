"""Two pages that fit on one sheet of paper: a card for the bench, and before and after for the customer."""

from __future__ import annotations

from collections import defaultdict
from importlib.metadata import version
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from slotwright.layout import cautions
from slotwright.layout.bench.advice import turns_of
from slotwright.layout.bench.diagnosis import intonate
from slotwright.layout.bench.history import passes
from slotwright.layout.bench.moves import said_turns
from slotwright.layout.errors import SheetError
from slotwright.layout.export.report.facts import both, heading, measure, other_unit, pitch_name
from slotwright.layout.export.report.inline import dot, element, line, words
from slotwright.layout.units import cents

if TYPE_CHECKING:
    from collections.abc import Sequence

    from markupsafe import Markup
    from numpy.typing import NDArray

    from slotwright.layout.bench.diagnosis import Verdict
    from slotwright.layout.instrument.instrument import Instrument
    from slotwright.layout.physics.pitch import Fretting
    from slotwright.layout.readings.notes import Reading

    Floats = NDArray[np.float64]

_WIDE: Final = 300.0  # of a customer's picture, in its own units
_HIGH: Final = 30.0
_MANY: Final = 8  # strings; more have smaller figures
_SIDE: Final = 16.0  # left and right of its scale


def bench_card(instrument: Instrument, readings: Sequence[Reading]) -> dict[str, Any]:
    """Give what is wanted beside the instrument, in figures to be read from where one stands.

    Parameters
    ----------
    instrument
        The instrument.
    readings
        What was read of it; with any, the moves they ask for stand first.

    Returns
    -------
    dict
        A row for each string, and which columns hold anything.

    Raises
    ------
    SheetError
        The plan does not say enough of its strings.
    """
    plan, strung, neck = instrument.plan, instrument.strung, instrument.neck
    if strung is None:
        raise SheetError("a card for the bench needs the pitch and gauge of every string")
    moves = {each.string: each for each in intonate(instrument, readings).strings} if readings else {}
    octave, back, high = neck.from_nut[plan.action_fret], strung.offsets.saddle, _above_crowns(strung.fretting)
    rows: list[dict[str, Any]] = []
    for place in range(len(strung.bodies)):
        far = float(back[place])
        found = moves.get(place + 1)
        rows.append(
            {
                "string": place + 1,
                "pitch": pitch_name(instrument, place),
                "move": found and _move(instrument, found),
                "turns": _turned(turns_of(plan, far)) if not readings else "",
                "to_saddle": both(instrument, float(neck.scales[place]) + far - float(octave[place])),
                "back": both(instrument, far),
                "height": both(instrument, float(high[place, plan.action_fret - 1])),
                "first": both(instrument, float(high[place, 0])),
            }
        )
    return {
        **_common(instrument),
        "rows": rows,
        "moved": bool(readings),
        "turned": any(row["turns"] or (row["move"] and row["move"]["turns"]) for row in rows),
        "assumed": "action" not in plan.setup.model_fields_set,
        "nut": "zero fret" if plan.frets.zero_fret else "nut",
    }


def _above_crowns(fretting: Fretting) -> Floats:
    """Give the height of every open string above every crown [mm], shape (strings, frets)."""
    rise = (fretting.action_height - fretting.nut_height) / fretting.action_at
    return fretting.nut_height[:, None] + rise[:, None] * fretting.frets - fretting.crowns


def _move(instrument: Instrument, found: Verdict) -> dict[str, Any]:
    """Tell a move: how far, which way, and by how much of a turn."""
    advice = found.advice
    if advice is None:
        return {"far": None, "way": "warbles", "turns": ""}
    if advice.direction not in ("back", "forward"):
        return {"far": None, "way": "beyond its travel" if advice.direction == "beyond" else "leave", "turns": ""}
    return {
        "far": both(instrument, abs(advice.wanted)),
        "way": advice.direction,
        "turns": _turned(advice.turns),
    }


def _turned(turns: float | None) -> str:
    return "" if turns is None else said_turns(turns)


def customer_page(instrument: Instrument, readings: Sequence[Reading]) -> dict[str, Any]:
    """Give how far every string was out of tune along the neck, before the work and after it.

    Parameters
    ----------
    instrument
        The instrument.
    readings
        What was read of it before and after; without any it is calculated from the plan.

    Returns
    -------
    dict
        A row with a picture for each string, and what it is about.

    Raises
    ------
    SheetError
        Neither read nor known.
    """
    if readings:
        found = _read(instrument, readings)
    elif instrument.strung is not None:
        found = _calculated(instrument)
    else:
        raise SheetError("before and after need readings, or the pitch and gauge of every string")
    missing = {
        string: "warbles" if any(each.string == string and each.fret for each in readings) else "not read"
        for string in range(1, len(instrument.plan.strings) + 1)
        if string not in found
    }
    reach = max(abs(value) for _, was, now in found.values() for value in (was, now) if value is not None)
    wide = 2 * _WIDE if len(instrument.plan.strings) > _MANY else _WIDE  # and so half as high
    reach = max(5.0 * np.ceil(reach / 5.0), 5.0)
    rows = [
        {
            "string": string,
            "pitch": pitch_name(instrument, string - 1),
            "fret": fret,
            "was": cents(was, 0),
            "now": "" if now is None else cents(now, 0),
            "drawn": _picture(string, was, now, float(reach), wide),
        }
        for string, (fret, was, now) in sorted(found.items())
    ]
    frets = {row["fret"] for row in rows}
    without = [
        {"string": string, "pitch": pitch_name(instrument, string - 1), "why": why} for string, why in missing.items()
    ]
    return {
        **_common(instrument),
        "rows": sorted((*rows, *without), key=lambda row: int(row["string"])),
        "read": bool(readings),
        "again": any(now is not None for _, _, now in found.values()),
        "at": frets.pop() if len(frets) == 1 else None,
        "heights": [measure(instrument, float(height)) for height in _heights(instrument)],
        "octave": instrument.plan.action_fret,
    }


def _heights(instrument: Instrument) -> tuple[float, ...]:
    """Give the stated action, treble and bass."""
    setup = instrument.plan.setup
    return setup.action if "action" in setup.model_fields_set else ()


def _read(instrument: Instrument, readings: Sequence[Reading]) -> dict[int, tuple[int, float, float | None]]:
    """Give for every string a fret that was read first and last, and what it was then: its worst at first."""
    errors: dict[int, dict[int, dict[int, float]]] = defaultdict(dict)
    for at, visits in passes(instrument, readings).items():
        for visit in visits:
            if (advice := visit.advice) is not None:
                errors[visit.string][at] = {
                    int(fret): float(off) for fret, off in zip(advice.frets, advice.now, strict=True)
                }
    if not errors:
        raise SheetError("every note that was read warbles: there is nothing to compare")
    found = {}
    for string, by_pass in errors.items():
        first, last = by_pass[min(by_pass)], by_pass[max(by_pass)]
        again = len(by_pass) > 1 and first.keys() & last.keys()
        fret = max(again or first, key=lambda each: abs(first[each]))
        found[string] = (fret, first[fret], last[fret] if again else None)
    return found


def _calculated(instrument: Instrument) -> dict[int, tuple[int, float, float | None]]:
    """Give every string at the octave with its saddle on the line, and set back."""
    strung, fret = instrument.strung, instrument.plan.action_fret
    assert strung is not None  # noqa: S101 - asked before
    before, after = (each.total[:, fret - 1] for each in (strung.before, strung.after))
    return {
        place + 1: (fret, float(was), float(now)) for place, (was, now) in enumerate(zip(before, after, strict=True))
    }


def _picture(string: int, was: float, now: float | None, reach: float, wide: float) -> Markup:
    """Draw where a note stood and stands between flat and sharp; the stroke in the middle is in tune."""

    def x(value: float) -> float:
        return wide / 2 + value / reach * (wide / 2 - _SIDE)

    middle = _HIGH / 2
    parts = [
        line((_SIDE, middle), (wide - _SIDE, middle), class_="rest"),
        line((x(0), 4), (x(0), _HIGH - 4), class_="true"),
    ]
    if now is not None:
        parts.append(line((x(was), middle), (x(now), middle), class_="way"))
    parts.append(dot((x(was), middle), 5.5, class_="was"))
    if now is not None:
        parts.append(dot((x(now), middle), 5.5, class_="now"))
    name = f"string {string}: before {cents(was, 0)} cents" + ("" if now is None else f", after {cents(now, 0)}")
    ends = [words((2, middle + 5), "\u266d"), words((wide - 2, middle + 5), "\u266f")]
    return element("svg", *parts, *ends, viewBox=f"0 0 {wide:g} {_HIGH:g}", role="img", aria_label=name)


def _common(instrument: Instrument) -> dict[str, Any]:
    return {
        "title": instrument.title,
        "version": version("slotwright"),
        "crowded": len(instrument.plan.strings) > _MANY,
        "other": other_unit(instrument),
        "heading": heading(instrument),
        "unit": instrument.plan.units,
        "octave": instrument.plan.action_fret,
        "strings": cautions.STRINGS,
    }
