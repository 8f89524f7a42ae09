"""The table of a three-axis router, and those of its cutters."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Final, Literal, get_args

from pydantic import Field

from slotwright.layout.errors import Fault
from slotwright.layout.limits import MOST_CLAMPS, MOST_CUTTERS
from slotwright.layout.names import OPERATIONS
from slotwright.layout.plan import fields, rows
from slotwright.layout.plan.fields import mm, number, one_of, whole
from slotwright.layout.plan.rows import mm_row, words_of
from slotwright.layout.plan.table import Table

if TYPE_CHECKING:
    from collections.abc import Iterator

Shape = Literal["flat", "ball"]
ZZero = Literal["spoil board", "top"]
State = Literal["flat", "surfaced"]
Hold = Literal["clamps", "tape"]
Wood = Literal["maple", "rosewood", "ebony"]

# Chip of one tooth [mm] with a slot cutter of 0.6 mm and with one of 1/8 in, by wood; common practice, no source.
_CHIPS: Final[dict[Wood, tuple[float, float]]] = {
    "maple": (0.015, 0.05), "rosewood": (0.012, 0.04), "ebony": (0.010, 0.03),
}  # fmt: skip
_CHIP_AT: Final = (0.6, 3.175)  # mm, the diameters of these two
_SPOIL: Final[dict[ZZero, float]] = {"spoil board": 0.2, "top": 0.4}  # mm; on top the thickness is in doubt too


class Cutter(Table):
    """One cutter of a router, and what it is to do.

    Parameters
    ----------
    operations
        What it does: ``surface``, ``slots``, ``marks``, ``pockets``, ``holes``, ``outline``.
    shape
        ``flat`` or ``ball``.
    diameter
        Its diameter.
    flutes
        How many edges it has.
    cutting_length
        How far its edges reach up from its tip.
    spindle
        Its speed [rev/min].
    feed
        Feed [mm/min]; from wood, diameter, flutes and spindle unless stated.
    plunge
        Largest feed downward [mm/min].
    step_down
        Largest depth of one pass; half the diameter unless stated.
    step_over
        Step between passes side by side as a part of the diameter; on a curve ``scallop`` decides.
    """

    operations: Annotated[tuple[str, ...], words_of(OPERATIONS)]
    shape: Annotated[Shape, one_of(get_args(Shape))] = "flat"
    diameter: Annotated[float, mm(0.2, 30)]
    flutes: Annotated[int, whole(1, 8)] = 2
    cutting_length: Annotated[float, mm(0.5, 80)]
    spindle: Annotated[int, whole(1000, 60_000)] = 18_000
    feed: Annotated[float | None, number(10, 20_000)] = None
    plunge: Annotated[float, number(5, 5000)] = 200.0
    step_down: Annotated[float | None, mm(0.05, 20)] = None
    step_over: Annotated[float, number(0.05, 0.9)] = 0.4

    def clashes(self) -> Iterator[Fault]:
        """Check what one pass takes against what the edges reach, and the shape against what it is to cut."""
        if self.step_down is not None and self.step_down > self.cutting_length:
            what = f"{self.step_down:g} mm, more than cutting_length, {self.cutting_length:g} mm"
            yield Fault("step_down", what, "reduce it")
        if self.shape == "ball" and (others := [each for each in self.operations if each != "surface"]):
            yield Fault("shape", f'"ball" cuts no flat floor for {", ".join(others)}', "take a flat one")


class Tabs(Table):
    """What holds the board in its blank until it is cut loose by hand.

    Parameters
    ----------
    count
        How many, half of them on each long side.
    length
        Length of each.
    height
        Height of each above the underside.
    """

    count: Annotated[int, whole(2, 40)] = 6
    length: Annotated[float, mm(1, 50)] = 6.0
    height: Annotated[float, mm(0.3, 10)] = 1.5


class Machine(Table):
    """A three-axis router that mills the board.

    Parameters
    ----------
    zero
        Where X and Y are 0: ``nut``, on the centre line at the nominal nut line, or ``corner``, the corner of
        the blank of least x and y.
    z_zero
        Where Z is 0: ``spoil board`` or ``top``, the top of the blank at ``touch``.
    touch
        Where Z is touched on top, ``[x, y]``, a point that nothing cuts.
    dowels
        Holes through waste into the spoil board, ``[x, y, diameter]``, drilled first.
    state
        ``flat``, or ``surfaced`` where the blank has its radius already.
    safe_height
        Height of travel above the blank.
    spoil
        How far a cutter may go below the blank; 0.2 mm with Z on the spoil board, 0.4 mm on top, unless stated.
    runout
        How much wider a cutter cuts than it is.
    scallop
        Ridges that surfacing may leave.
    sanding
        What surfacing leaves to be sanded off.
    wood
        ``maple``, ``rosewood`` or ``ebony``, for the feeds.
    hold
        ``clamps``, or ``tape``, which needs no tabs.
    spindle_by_hand
        The router is switched on and off by hand.
    rapid
        Feed of travel [mm/min].
    tolerance
        How far chords and depths may be off.
    mark_depth
        Depth of the holes for position marks below the finished surface.
    tabs
        What holds the board in its blank: ``{ count = 6, length = 6.0, height = 1.5 }``.
    keep_out
        Clamps, ``[x1, y1, x2, y2, height above the blank]``.
    cutters
        The cutters, ``[[machine.cutters]]``.
    """

    zero: Annotated[Literal["nut", "corner"], one_of(("nut", "corner"))] = "nut"
    z_zero: Annotated[ZZero, one_of(get_args(ZZero))] = "spoil board"
    touch: Annotated[tuple[float, float], mm_row(("x", "y"), -1000, 3000)] = (-12.0, 0.0)
    dowels: Annotated[tuple[tuple[float, float, float], ...], rows.holes(4)] = ()
    state: Annotated[State, one_of(get_args(State))] = "flat"
    safe_height: Annotated[float, mm(1.5, 100)] = 5.0
    spoil: Annotated[float | None, mm(0.05, 3)] = None
    runout: Annotated[float, mm(0, 0.2)] = 0.02
    scallop: Annotated[float, mm(0.005, 0.5)] = 0.03
    sanding: Annotated[float, mm(0, 1)] = 0.1
    wood: Annotated[Wood, one_of(get_args(Wood))] = "rosewood"
    hold: Annotated[Hold, one_of(get_args(Hold))] = "clamps"
    spindle_by_hand: Annotated[bool, fields.yes_no()] = False
    rapid: Annotated[float, number(100, 50_000)] = 3000.0
    tolerance: Annotated[float, mm(0.002, 0.05)] = 0.005
    mark_depth: Annotated[float, mm(0.2, 10)] = 2.0
    tabs: Tabs = Field(default_factory=Tabs)
    keep_out: Annotated[tuple[tuple[float, float, float, float, float], ...], rows.boxes(MOST_CLAMPS)] = ()
    cutters: Annotated[tuple[Cutter, ...], rows.tables()]

    @property
    def spoil_depth(self) -> float:
        """How far a cutter may go below the blank [mm]."""
        return _SPOIL[self.z_zero] if self.spoil is None else self.spoil

    @property
    def settled(self) -> tuple[Cutter, ...]:
        """The cutters with feed and step-down, stated or not."""
        return tuple(
            cutter.supposed(
                feed=self._feed(cutter) if cutter.feed is None else cutter.feed,
                step_down=_step_down(cutter) if cutter.step_down is None else cutter.step_down,
            )
            for cutter in self.cutters
        )

    def _feed(self, cutter: Cutter) -> float:
        """Give the usual feed [mm/min], by the chip of one tooth."""
        (thin, thick), (low, high) = _CHIPS[self.wood], _CHIP_AT
        share = min(max((cutter.diameter - low) / (high - low), 0.0), 1.0)
        chip = thin + share * (thick - thin)
        return min(max(10.0 * round(chip * cutter.flutes * cutter.spindle / 10), 10.0), self.rapid)

    def clashes(self) -> Iterator[Fault]:
        """Check the cutters against the machine and against each other."""
        if not 1 <= len(self.cutters) <= MOST_CUTTERS:
            yield Fault("cutters", f"{len(self.cutters)} of them; allowed 1 to {MOST_CUTTERS}", "[[machine.cutters]]")
        seen: set[str] = set()
        for place, cutter in enumerate(self.cutters, start=1):
            path = f"cutters[{place}]"
            if cutter.feed is not None and cutter.feed > self.rapid:
                what = f"{cutter.feed:g} mm/min, faster than machine.rapid, {self.rapid:g} mm/min"
                yield Fault(f"{path}.feed", what, "reduce it or raise rapid")
            if twice := seen.intersection(cutter.operations):
                yield Fault(
                    f"{path}.operations", f"{', '.join(sorted(twice))}: another cutter does it", "name it once"
                )
            seen.update(cutter.operations)


def _step_down(cutter: Cutter) -> float:
    """Half the diameter, but no more than the edges reach [mm]; common practice, no source."""
    return min(cutter.diameter / 2, cutter.cutting_length)
