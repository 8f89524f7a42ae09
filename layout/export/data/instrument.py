"""What a plan implies, as objects that a script reads: lengths in mm, whatever the plan's unit is."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from slotwright.layout.instrument.tolerances import CAUSES, DRAWS
from slotwright.layout.instrument.tunings import losses
from slotwright.layout.machine.jobs import told

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from slotwright.layout.findings import Finding
    from slotwright.layout.instrument.chords import Chord
    from slotwright.layout.instrument.instrument import Instrument
    from slotwright.layout.instrument.stringing import Strung
    from slotwright.layout.instrument.tolerances import Outcome
    from slotwright.layout.instrument.wire import Wires


def checked(instrument: Instrument, sheets: Sequence[str]) -> dict[str, Any]:
    """Tell what can be drawn, what is odd about it and what was assumed.

    Parameters
    ----------
    instrument
        The instrument.
    sheets
        The sheets that it can be drawn on.
    """
    from slotwright.layout.drawing.template import findings as unmade  # noqa: PLC0415 - slow to import

    return {
        "title": instrument.plan.title,
        "sheets": list(sheets),
        "warnings": [finding.words for finding in instrument.warnings],
        "fret_wire": [finding.words for finding in instrument.wire_findings],
        "bridge": [finding.words for finding in instrument.bridge_findings],
        "machine": [finding.words for finding in told(instrument)],
        "findings": [finding.data for finding in (*instrument.findings, *unmade(instrument), *told(instrument))],
        "assumed": {key: assumed.value for key, assumed in instrument.assumed.items()},
    }


def frets(instrument: Instrument) -> dict[str, Any]:
    """Tell where strings and frets lie and how deep the slots are sawn.

    Parameters
    ----------
    instrument
        The instrument.
    """
    neck, sawing = instrument.neck, instrument.sawing
    return {
        "title": instrument.plan.title,
        "strings": [
            {"string": i + 1, "scale": scale, "nut": nut, "saddle": saddle}
            for i, (scale, nut, saddle) in enumerate(
                zip(neck.scales.tolist(), neck.nut_ends.tolist(), neck.saddle_ends.tolist(), strict=True)
            )
        ],
        "frets": [
            {
                "fret": fret,
                "speaking_fraction": float(neck.fractions[fret]),
                "from_nut": neck.from_nut[fret].tolist(),
                "slot": neck.slots[fret].tolist() if fret >= instrument.first_slot else None,
                "angle": float(neck.angles[fret]),
                "straightness": float(neck.straightness[fret]),
                "saw_setting": float(sawing.setting[fret]),
                "wood_left": float(sawing.wood_left[fret]),
            }
            for fret in range(len(neck.cents))
        ],
        "slot_depth": sawing.depth,
    }


def wire(instrument: Instrument) -> dict[str, Any]:
    """Tell what wire every fret takes, and how it fits.

    Parameters
    ----------
    instrument
        The instrument.
    """
    return {"title": instrument.plan.title, **wire_list(instrument.wires, instrument.wire_findings)}


def wire_list(wires: Wires, findings: Iterable[Finding]) -> dict[str, Any]:
    """Tell what is cut from which rod.

    Parameters
    ----------
    wires, findings
        The wire of all frets, and what was found about it.
    """
    columns = zip(wires.frets, wires.over_board, wires.cut, wires.tang, wires.nip, wires.bend, strict=True)
    return {
        "frets": [
            {
                "fret": fret,
                "over_board": float(over),
                "cut": float(cut),
                "tang": float(tang),
                "nip": float(nip),
                "bend_radius": float(bend) if np.isfinite(bend) else None,
            }
            for fret, over, cut, tang, nip, bend in columns
        ],
        "total": wires.total,
        "rod_length": wires.length,
        "rods": [{"frets": list(rod), "left": left} for rod, left in zip(wires.rods, wires.left, strict=True)],
        "too_long": list(wires.too_long),
        "findings": [finding.data for finding in findings],
    }


def offsets(
    instrument: Instrument, strung: Strung, slipped: Outcome | None = None, chords: Sequence[Chord] | None = None
) -> dict[str, Any]:
    """Tell how far each saddle is set back and the remaining error of every note.

    Parameters
    ----------
    instrument, strung
        The instrument, whose strings are known.
    slipped
        What workshop errors cost; None leaves that out.
    chords
        Chords with all pairs of their notes; None leaves them out.
    """
    plan = instrument.plan
    tolerance = plan.compensation.tolerance
    return {
        "tolerance": tolerance,
        "within_tolerance": bool((np.abs(strung.worst_cents) <= tolerance).all()),
        "strings": [_string(instrument, strung, i) for i in range(len(strung.bodies))],
        "findings": [
            finding.data
            for finding in (*instrument.pitch_findings, *(f for f in instrument.warnings if f.kind == "low chords"))
        ],
        **({"tunings": _losses(instrument, strung)} if plan.tunings else {}),
        **({"slip": _slips(strung, slipped)} if slipped is not None else {}),
        **({"chords": [_chord(chord) for chord in chords]} if chords is not None else {}),
    }


def _string(instrument: Instrument, strung: Strung, i: int) -> dict[str, Any]:
    body, after = strung.bodies[i], strung.after
    return {
        "string": i + 1,
        "pitch": instrument.plan.strings[i].pitch,
        "frequency": body.frequency,
        "scale": float(instrument.neck.scales[i]),
        "mass_g_per_m": 1e3 * body.mass,
        "tension_n": body.tension,
        "string_constant": body.constant,
        "load": body.stress_ratio,
        "stress_ratio": body.stress_ratio,  # its name before 0.2
        "inharmonicity": body.inharmonicity,
        "inharmonicity_range": strung.inharmonicity[i].tolist() if body.estimated else None,
        "core_estimated": body.core_estimated,
        "saddle_offset": float(strung.offsets.saddle[i]),
        "saddle_offset_range": None if np.isnan(strung.uncertainty[i]).any() else strung.uncertainty[i].tolist(),
        "shared_with": [other + 1 for other in strung.saddles.others(i)],
        "saddle_offset_alone": float(strung.alone.saddle[i]),
        "sharing_rms_cents": float(strung.sharing_rms[i]),
        "sharing_worst_cents": float(strung.sharing_worst[i]),
        "nut_offset": float(strung.offsets.nut[i]),
        "held_at_limit": bool(strung.offsets.saddle_held[i] or strung.offsets.nut_held[i]),
        "rms_cents": float(strung.rms[i]),
        "worst_cents": float(strung.worst_cents[i]),
        "worst_fret": int(strung.worst_fret[i]),
        "cents": after.total[i].tolist(),
        "uncompensated_cents": strung.before.total[i].tolist(),
        "parts": {name: getattr(after, name)[i].tolist() for name in ("length", "mass", "stretch", "stiffness")},
    }


def _chord(chord: Chord) -> dict[str, Any]:
    return {
        "chord": chord.written,
        "notes": [
            {"string": n.string, "fret": n.fret, "frequency": n.frequency, "before": n.before, "after": n.after}
            for n in chord.notes
        ],
        "pairs": [
            {
                "strings": [pair.low.string, pair.high.string],
                "frets": [pair.low.fret, pair.high.fret],
                "interval_cents": pair.interval,
                "before": pair.before,
                "after": pair.after,
                "pure": None if pair.pure is None else list(pair.pure),
                "from_pure_before": pair.from_pure and pair.from_pure[0],
                "from_pure_after": pair.from_pure and pair.from_pure[1],
            }
            for pair in chord.pairs
        ],
    }


def _losses(instrument: Instrument, strung: Strung) -> list[dict[str, Any]]:
    """Tell what each tuning loses, the strings' own pitches first."""
    return [
        {
            "tuning": loss.tuning,
            "strings": [
                {
                    "string": i + 1,
                    "rms_cents": float(loss.rms[i]),
                    "worst_cents": float(loss.worst[i]),
                    "own_best_rms": float(loss.own_best_rms[i]),
                    "own_best_worst": float(loss.own_best_worst[i]),
                }
                for i in range(len(strung.bodies))
            ],
        }
        for loss in losses(instrument.plan, strung.fretting, strung.weights, strung.offsets, strung.saddles)
    ]


def _slips(strung: Strung, slips: Outcome) -> dict[str, Any]:
    return {
        "instruments": DRAWS,
        "sizes": slips.sizes,
        "sources": {name: cause.source for name, cause in CAUSES.items()},
        "within_tolerance": slips.all_within,
        "shares": slips.overall,
        "strings": [
            {
                "string": i + 1,
                "within_tolerance": float(slips.within[i]),
                "rms_cents": float(slips.rms[i]),
                "mean_square": {
                    "as_drawn": float(slips.planned[i]),
                    **{name: float(each[i]) for name, each in slips.added.items()},
                },
                "shares": {name: float(each[i]) for name, each in slips.shares.items()},
                "median": slips.median[i].tolist(),
                "low": slips.low[i].tolist(),
                "high": slips.high[i].tolist(),
            }
            for i in range(len(strung.bodies))
        ],
    }
