"""Everything a plan implies, computed once."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from slotwright.layout.errors import Fault, PlanError, needed
from slotwright.layout.instrument.blank import Sawing, faults, saw, slots_across
from slotwright.layout.instrument.board_findings import warnings as board_warnings
from slotwright.layout.instrument.bridge import Placement, lacking, place_bridge
from slotwright.layout.instrument.bridge_findings import findings as bridge_findings
from slotwright.layout.instrument.chords import chord_findings
from slotwright.layout.instrument.neck import Neck, lay_neck, with_nut_moved
from slotwright.layout.instrument.nut import FittedNut, fit_nut
from slotwright.layout.instrument.nut import findings as nut_findings
from slotwright.layout.instrument.pitch_findings import findings as pitch_findings
from slotwright.layout.instrument.sealed import sealed
from slotwright.layout.instrument.stringing import Strung, string_up, unstated
from slotwright.layout.instrument.stringing import warnings as string_warnings
from slotwright.layout.instrument.wire import Wires, cut_wire
from slotwright.layout.instrument.wire import findings as wire_findings
from slotwright.layout.plan.assumed import Assumed, assumed
from slotwright.layout.units import show

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from slotwright.layout.findings import Finding
    from slotwright.layout.plan.plan import Plan


@dataclass(frozen=True, slots=True, eq=False)
class Instrument:
    """A computed instrument.

    Parameters
    ----------
    plan
        What the maker decided.
    neck
        Where everything on the board lies.
    sawing
        How deep the slots go.
    wires
        The wire of its frets.
    across_blank
        Lines of the slots across the square blank with run-out, bass end first [mm], shape
        (frets + 1, 2, 2); None without a blank.
    strung
        The strings with their offsets; None where the plan says too little of them.
    placed
        The bridge in its place; None where the plan says too little of it or of the strings.
    fitted
        The nut; None where the plan has none or says too little of the strings.
    unstated
        What the plan would have to say of the strings.
    warnings
        What is possible but hardly meant about board, nut and strings.
    wire_findings
        How the fret wire fits, as far as the plan states it.
    bridge_findings
        What a maker should know of the bridge before drilling.
    pitch_findings
        Which strings the contacts do not bring within the tolerance, and why; what that rests on.
    assumed
        Key path to value, for all that the plan left unsaid.
    """

    plan: Plan
    neck: Neck
    sawing: Sawing
    wires: Wires
    across_blank: NDArray[np.float64] | None
    strung: Strung | None
    placed: Placement | None
    fitted: FittedNut | None
    unstated: tuple[Fault, ...]
    warnings: tuple[Finding, ...]
    wire_findings: tuple[Finding, ...]
    bridge_findings: tuple[Finding, ...]
    pitch_findings: tuple[Finding, ...]
    assumed: dict[str, Assumed]

    @property
    def title(self) -> str:
        """Title of the plan, fit to be printed on one line."""
        return "".join(letter if letter.isprintable() else " " for letter in self.plan.title).strip()

    @property
    def first_slot(self) -> int:
        """0 where a zero fret stands in a slot of its own, else 1."""
        return 0 if self.plan.frets.zero_fret else 1

    @property
    def cut_slots(self) -> NDArray[np.float64]:
        """Slots as they are cut, across the square blank where there is one and they are not blind [mm].

        Bass end first, shape (frets + 1 - `first_slot`, 2, 2).
        """
        whole = self.across_blank is None or bool(self.plan.frets.slot_inset)
        slots = self.neck.slots if whole or self.across_blank is None else self.across_blank
        return slots[self.first_slot :]

    @property
    def bridge_lacks(self) -> str | None:
        """Say what the plan would have to tell for its bridge to be placed; None when it can be."""
        return lacking(self.plan) or (str(self.unstated[0]) if self.unstated else None)

    @property
    def bridge(self) -> Placement:
        """The bridge in its place; raises SheetError where `bridge_lacks` names something."""
        return needed(self.placed, self.bridge_lacks)

    @property
    def stringing(self) -> Strung:
        """The strings with their offsets; raises SheetError where the plan says too little of them."""
        return needed(self.strung, str(self.unstated[0]) if self.unstated else None)

    @property
    def findings(self) -> tuple[Finding, ...]:
        """All that is to be said of it before wood is cut."""
        of_bridge = (finding for finding in self.bridge_findings if finding not in self.pitch_findings)
        return (*self.warnings, *self.wire_findings, *self.pitch_findings, *of_bridge)

    @property
    def grounds(self) -> tuple[str, ...]:
        """What the offsets rest on besides strings and setup: what a bench taught, other tunings."""
        taught, tunings = self.plan.calibration, self.plan.tunings
        said = []
        if (taught.stiffness, taught.stretch) != (1.0, 1.0):
            said.append(f"Calibrated at the bench: stiffness {taught.stiffness:g}, stretch {taught.stretch:g}")
        if tunings:
            others = ", ".join(" ".join(reversed(tuning)) for tuning in tunings)
            said.append(f"The contacts serve the strings' own pitches and {others} together")
        return tuple(said)

    @property
    def straightness_note(self) -> str:
        """Say how far straight frets miss the inner strings; nothing where they do not."""
        worst = int(np.argmax(self.neck.straightness))
        if self.neck.straightness[worst] < 0.0005:
            return ""
        miss = self.length(float(self.neck.straightness[worst]), 3 if self.plan.units == "mm" else 4)
        return (
            f"Straight frets pass the inner strings' exact points by {miss} {self.plan.units} at most, "
            f"{self.neck.straightness_cents[worst]:.2f} cents (fret {worst})"
        )

    def length(self, length: float, decimals: int | None = None) -> str:
        """Write a length [mm] in the units of the plan."""
        return show(length, self.plan.units, decimals)


def lay_out(plan: Plan) -> Instrument:
    """Calculate the instrument that a plan describes.

    Parameters
    ----------
    plan
        The plan, as `read_plan` gives it.

    Returns
    -------
    Instrument
        Everything calculated [mm], the bridge too; its arrays are read-only. Strings, nut and bridge are None where
        the plan says too little of them.

    Raises
    ------
    PlanError
        The parts of the plan do not make an instrument.
    """
    neck = lay_neck(plan)
    sawing = saw(plan, neck)
    if wrong := tuple(faults(plan, neck, sawing)):
        raise PlanError(wrong)
    unsaid = unstated(plan)
    strung = None if unsaid else string_up(plan, neck)
    if strung is not None and plan.compensation.nut == "common":
        neck = with_nut_moved(plan, neck, float(strung.offsets.nut[0]))
    wires = cut_wire(plan, neck, plan.fret_wire)
    placed = None if strung is None or lacking(plan) else place_bridge(plan, neck, strung)
    fitted = fit_nut(plan, neck, strung) if strung and plan.nut else None
    instrument = Instrument(
        plan=plan,
        neck=neck,
        sawing=sawing,
        wires=wires,
        across_blank=slots_across(plan, neck),
        strung=strung,
        placed=placed,
        fitted=fitted,
        unstated=unsaid,
        warnings=(
            *board_warnings(plan, neck, sawing),
            *(nut_findings(plan, fitted) if fitted else ()),
            *((*string_warnings(plan, strung), *chord_findings(plan, strung)) if strung else ()),
        ),
        wire_findings=tuple(wire_findings(plan, plan.frets.wire, wires)) if plan.frets.wire else (),
        bridge_findings=tuple(bridge_findings(plan, neck, strung, placed)) if strung and placed else (),
        pitch_findings=tuple(pitch_findings(plan, strung)) if strung else (),
        assumed=assumed(plan),
    )
    return sealed(instrument)
