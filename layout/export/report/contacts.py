"""Tables of the strings and of where they touch nut and saddle."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import numpy as np

from slotwright.layout.export.report.facts import both, pitch_name, pull
from slotwright.layout.export.report.inline import element, line
from slotwright.layout.physics.strings import HIGH_LOAD
from slotwright.layout.units import SHOWN, cents

if TYPE_CHECKING:
    from markupsafe import Markup

    from slotwright.layout.instrument.instrument import Instrument
    from slotwright.layout.plan.tables import String

_BAR: Final = 100.0  # length of the bar of a string that is about to break
_GAUGE: Final = (3, 4)  # decimals of a gauge in mm and in inches


def string_table(instrument: Instrument) -> dict[str, Any]:
    """Give what each string is, how hard it is strung and how far it is set back.

    Parameters
    ----------
    instrument
        The instrument; what its plan does not say is left empty.

    Returns
    -------
    dict
        A row for each string, and which columns hold anything.
    """
    plan, strung = instrument.plan, instrument.strung
    rows = []
    for place, string in enumerate(plan.strings):
        row: dict[str, Any] = {
            "string": place + 1,
            "pitch": pitch_name(instrument, place),
            "gauge": None if string.gauge is None else both(instrument, string.gauge, _GAUGE),
            "kind": _kind(string),
            "tension": None,
            "load": None,
            "bar": None,
            "back": None,
        }
        if strung is not None:
            body = strung.bodies[place]
            row["tension"] = pull(instrument, body.tension)
            row["back"] = both(instrument, float(strung.offsets.saddle[place]))
            if body.stress_ratio is not None:
                row["load"] = f"{100 * body.stress_ratio:.0f} %"
                row["bar"] = _bar(body.stress_ratio)
        rows.append(row)
    loaded = any(row["bar"] for row in rows)
    return {
        "rows": rows,
        "known": strung is not None,
        "told": any(row["gauge"] or row["pitch"] or row["kind"] for row in rows),
        "gauged": any(row["gauge"] for row in rows),
        "named": any(row["kind"] for row in rows),
        "loaded": loaded,
        "limit": f"{100 * HIGH_LOAD:.0f} %",
    }


def _kind(string: String) -> str:
    return ", ".join(filter(None, (string.kind, string.winding)))


def _bar(ratio: float) -> Markup:
    """Draw how much of its breaking load a string bears; the stroke is where it may break."""
    full = element("rect", x=0, y=4, width=_BAR, height=6, class_="strength")
    used = element("rect", x=0, y=4, width=_BAR * min(ratio, 1.0), height=6, class_="used")
    limit = line((_BAR * HIGH_LOAD, 1), (_BAR * HIGH_LOAD, 13), class_="limit")
    return element("svg", full, used, limit, viewBox=f"0 0 {_BAR:g} 14", class_="bar", aria_hidden="true")


def contact_table(instrument: Instrument) -> dict[str, Any] | None:
    """Give where each string touches nut and saddle, from the crown nearest the octave.

    Parameters
    ----------
    instrument
        The instrument.

    Returns
    -------
    dict or None
        A row for each string; None where the strings are not known.
    """
    plan, neck, strung = instrument.plan, instrument.neck, instrument.strung
    if strung is None:
        return None
    offsets, octave = strung.offsets, neck.from_nut[plan.action_fret]
    rows = []
    for place in range(len(strung.bodies)):
        back, forward = float(offsets.saddle[place]), float(offsets.nut[place])
        least, most = (float(end) for end in strung.uncertainty[place])
        doubt = None
        if not np.isnan(least):
            doubt = both(instrument, max(abs(least - back), abs(most - back)))
        rows.append(
            {
                "string": place + 1,
                "pitch": pitch_name(instrument, place),
                "to_saddle": both(instrument, float(neck.scales[place] + back - octave[place])),
                "back": both(instrument, back),
                "to_nut": both(instrument, float(octave[place] - forward)),
                "forward": both(instrument, forward),
                "doubt": doubt,
                "mates": ", ".join(str(other + 1) for other in strung.saddles.others(place)),
                "stays": cents(strung.worst_cents[place]),
                "fret": int(strung.worst_fret[place]),
            }
        )
    return {
        "rows": rows,
        "nut_moves": bool(np.any(offsets.nut)),
        "shared": bool(strung.saddles.shared.any()),
        "doubted": any(row["doubt"] for row in rows),
        "overhang": plan.compensation.nut == "per string" and float(offsets.nut.max()) > SHOWN,
        "zero_fret": plan.frets.zero_fret,
    }
