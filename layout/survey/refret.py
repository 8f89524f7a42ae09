"""New frets for an old board: the wire, how it fits, slots to deepen, what nut and saddle have to follow."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from slotwright.layout.errors import Fault, MeasuredError
from slotwright.layout.findings import Finding
from slotwright.layout.instrument.wire import Wires, fit, frets_named, too_short, wires_for
from slotwright.layout.physics.temperament import cents_at, speaking_fraction, steps_of_period
from slotwright.layout.plan.tables import FretWire
from slotwright.layout.units import SHOWN, show

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping

    from numpy.typing import NDArray

    from slotwright.layout.plan.tables import Frets
    from slotwright.layout.readings.board import OldBoard
    from slotwright.layout.units import Unit

    Floats = NDArray[np.float64]

# Common practice, no source.
BELOW_TANG: Final = 0.2  # mm a slot is deeper than the tang at least
STEP: Final = 0.05  # mm from crown to crown that a short straight edge rocks on, and a string buzzes


@dataclass(frozen=True, slots=True, eq=False)
class Refret:
    """What new frets take.

    Parameters
    ----------
    old
        The board as it was measured.
    wires
        The wire of every fret.
    slots
        Depth that planing leaves of the slots that were measured [mm], by fret.
    needed
        Depth that the tang needs [mm]; None where the wire does not say.
    rise
        How much higher the crowns will stand than now at nut and saddle, on the line of least squares through
        the crowns that were measured [mm]; None where that is not known.
    steps
        Where other frets stay: how far each new crown stands above the lower one of the nearest that do and were
        measured [mm], the highest first; that is the order they are levelled in.
    findings
        What is to be said of it.
    """

    old: OldBoard
    wires: Wires
    slots: Mapping[int, float]
    needed: float | None
    rise: tuple[float, float] | None
    steps: Mapping[int, float]
    findings: tuple[Finding, ...]

    @property
    def shallow(self) -> tuple[int, ...]:
        """Frets whose slots are to be deepened."""
        if self.needed is None:
            return ()
        return tuple(fret for fret, depth in sorted(self.slots.items()) if depth < self.needed - SHOWN)


def refret(
    old: OldBoard,
    new: Frets,
    *,
    binding: float = 0.0,
    plane: float = 0.0,
    only: tuple[int, ...] = (),
    divisions: int = 12,
    units: Unit = "mm",
) -> Refret:
    """Say what new frets on an old board take.

    Between the frets where it was measured the width changes evenly along the board, beyond them as between the
    nearest two; so does the radius, which stays as it is beyond them.

    Parameters
    ----------
    old
        The board as it was measured.
    new
        The new frets; tang and crown are judged where they are stated.
    binding
        Thickness of the binding [mm].
    plane
        How much of the board is planed or sanded off [mm].
    only
        The frets that are replaced, ascending; all of them where it is empty.
    divisions
        Equal divisions of the octave.
    units
        Unit of the lengths in the words of findings.

    Returns
    -------
    Refret
        The wire and what was found.

    Raises
    ------
    MeasuredError
        The curve of the board ends before its edges, the binding leaves no slot, or there is no such fret.
    """
    wire = new.wire or FretWire()
    frets = only or tuple(range(1, old.last + 1))
    along = 1 - speaking_fraction(cents_at(range(old.last + 1), steps_of_period(divisions, None)))
    width = _between(along, old.width, reach=True)[1:]
    radius = _between(along, old.radius)[1:] if old.radius else np.full(old.last, np.inf)
    if wrong := (*_faults(width, radius, binding), *_of_frets(frets, old.last, plane if only else 0.0, units)):
        raise MeasuredError(wrong)
    here = np.array(frets) - 1
    width, radius = width[here], radius[here]
    wires = wires_for(
        wire, frets, _arc(width, radius), _arc(width - 2 * binding, radius) if binding else None, radius
    )
    slots = {fret: max(depth - plane, 0.0) for fret, depth in old.slot_depth.items() if fret in frets}
    needed = new.tang_depth + BELOW_TANG if "tang_depth" in new.model_fields_set else None
    known = bool(old.crown_height) and "height" in new.model_fields_set
    rise = _rise(along, old, new.height - plane) if known and not only else None
    steps = _steps(frets, old.crown_height, new.height) if known and only else {}
    found = Refret(old, wires, slots, needed, rise, steps, ())
    return replace(found, findings=tuple(_findings(found, wire, plane, units)))


def _between(along: Floats, measured: Mapping[int, float], *, reach: bool = False) -> Floats:
    """Give every fret what was measured at some, evenly between them; beyond them the same, or as between two."""
    at = sorted(measured)
    x, y = along[at], np.array([measured[fret] for fret in at])
    values: Floats = np.interp(along, x, y)
    if reach:
        for beyond, (i, j) in ((along < x[0], (0, 1)), (along > x[-1], (-1, -2))):
            values[beyond] = y[i] + (along[beyond] - x[i]) * (y[j] - y[i]) / (x[j] - x[i])
    return values


def _arc(chord: Floats, radius: Floats) -> Floats:
    """Measure over the curve what a caliper measures straight."""
    with np.errstate(invalid="ignore"):
        arc: Floats = np.where(np.isinf(radius), chord, 2 * radius * np.arcsin(chord / (2 * radius)))
    return arc


def _faults(width: Floats, radius: Floats, binding: float) -> Iterator[Fault]:
    for place in np.flatnonzero(width / 2 >= radius)[:1]:
        yield Fault("column radius", f"too small for the width at fret {place + 1}", "check both, and their unit")
    for place in np.flatnonzero(width <= 2 * binding + 1)[:1]:
        yield Fault("column width", f"with the binding it leaves no slot at fret {place + 1}", "check both")


def _of_frets(frets: tuple[int, ...], last: int, plane: float, units: Unit) -> Iterator[Fault]:
    if frets[-1] > last:
        yield Fault("", f"fret {frets[-1]} of {last} is to be replaced", "name frets the board has")
    if plane:
        given = f"{show(plane, units)} {units} are to be planed off, and other frets stay"
        yield Fault("", given, "replace all frets, or plane nothing")


def _steps(frets: tuple[int, ...], crowns: Mapping[int, float], height: float) -> dict[int, float]:
    """Say how far new crowns stand above the nearest old ones that stay, the highest first [mm]."""
    stay = {fret: crown for fret, crown in crowns.items() if fret not in frets}
    found = {}
    for fret in frets:
        before, behind = (f for f in stay if f < fret), (f for f in stay if f > fret)
        beside = [side for side in (max(before, default=None), min(behind, default=None)) if side is not None]
        if beside:
            found[fret] = height - min(stay[side] for side in beside)
    return dict(sorted(found.items(), key=lambda item: (-item[1], item[0])))


def _rise(along: Floats, old: OldBoard, height: float) -> tuple[float, float]:
    """Say how much higher crowns of this height stand than the old ones, carried on to nut and saddle [mm]."""
    at = sorted(old.crown_height)
    higher = height - np.array([old.crown_height[fret] for fret in at])
    if len(at) < 2:
        return float(higher[0]), float(higher[0])
    slope, start = np.polyfit(along[at], higher, 1)
    return float(start), float(start + slope)


def _findings(found: Refret, wire: FretWire, plane: float, units: Unit) -> Iterator[Finding]:
    def said(length: float) -> str:
        return f"{show(length, units)} {units}"

    if not found.old.radius:
        yield Finding("flat board", "board", "no radius was measured: the board is taken as flat")
    yield from fit(wire, found.old.slot_width, units)
    yield from too_short(found.wires, units)
    if found.shallow and found.needed is not None:
        least = min(found.slots[fret] for fret in found.shallow)
        yield Finding(
            "shallow slots",
            frets_named(found.shallow),
            f"deepen the slots of {frets_named(found.shallow)} to {said(found.needed)}, the tang and "
            f"{said(BELOW_TANG)}; {'planed, they are' if plane else 'they are'} down to {said(least)} deep",
            {"needed": found.needed, "least": least},
        )
    if found.steps:
        yield from _of_steps(found.steps, said)
    if found.rise is not None:
        yield from _of_nut_and_saddle(*found.rise, said)


def _of_steps(steps: Mapping[int, float], said: Callable[[float], str]) -> Iterator[Finding]:
    """Say which new frets are to be levelled to the old ones, and which are too low for them."""
    numbers = {str(fret): step for fret, step in steps.items()}
    high = {fret: step for fret, step in steps.items() if step > STEP + SHOWN}
    if high:
        order = ", ".join(f"{fret} by {said(step)}" for fret, step in high.items())
        yield Finding(
            "high frets",
            frets_named(sorted(high)),
            f"level these new frets down to their old neighbours, in this order: {order}; steps of more than "
            f"{said(STEP)} buzz",
            numbers,
        )
    if low := sorted(fret for fret, step in steps.items() if step < -STEP - SHOWN):
        deepest = min(steps.values())
        yield Finding(
            "low frets",
            frets_named(low),
            f"{frets_named(low)} would stand up to {said(-deepest)} lower than their old neighbours and buzz on "
            "them: take a higher wire, or level the old ones",
            numbers,
        )
    if not high and not low:
        yield Finding("level frets", "crowns", f"the new crowns lie within {said(STEP)} of their neighbours", numbers)


def _of_nut_and_saddle(nut: float, saddle: float, said: Callable[[float], str]) -> Iterator[Finding]:
    """Say how far nut slots and saddle follow the crowns."""
    numbers = {"nut": nut, "saddle": saddle}
    if max(abs(nut), abs(saddle)) < SHOWN:
        yield Finding("crowns", "nut and saddle", "the new crowns stand where the old ones do", numbers)
        return
    ways = {"nut slots": nut, "saddle": saddle}
    told = (
        f"the {name} {said(abs(by))} {'up' if by > 0 else 'down'}" for name, by in ways.items() if abs(by) >= SHOWN
    )
    yield Finding(
        "crowns",
        "nut and saddle",
        f"to keep the action over the new crowns: {' and '.join(told)}; then the set-back stays, too",
        numbers,
    )
    if nut >= SHOWN:
        words = f"the slots of the old nut are {said(nut)} too low: shim it, fill its slots or make a new one"
    else:
        words = "the old nut serves: its slots need no filling"
    yield Finding("old nut", "nut", words, {"rise": nut})
