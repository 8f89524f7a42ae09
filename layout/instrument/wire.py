"""Fret wire: what is cut and nipped for every fret, the rods that takes, how tang and beads fit a slot."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from slotwright.layout.findings import Finding
from slotwright.layout.instrument.lines import distance, meet
from slotwright.layout.units import ROUNDING, show

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence

    from numpy.typing import NDArray

    from slotwright.layout.instrument.neck import Neck
    from slotwright.layout.plan.plan import Plan
    from slotwright.layout.plan.tables import FretWire
    from slotwright.layout.units import Unit

    Floats = NDArray[np.float64]
    Fits = tuple[tuple[float, str], ...]

# All of these are common practice, no source.
SHORT_OF_CORE: Final = 0.5  # mm from the end of a slot that does not reach the edge to the tang
OVERBEND: Final = 0.8  # times the radius of the board: a wire bent to that lies down at its ends first
# What the slot is wider than the tang, up to [mm], and what that means.
TANG_FITS: Final[Fits] = (
    (-0.01, "it wedges, and all frets together bow the neck back; widen the slots or take a thinner tang"),
    (0.03, "tight"),
    (0.08, "a press fit"),
    (0.10, "easy, only the beads hold it"),
    (np.inf, "loose, glue the frets in or take a wider tang"),
)
# What the beads are wider than the slot.
BEAD_FITS: Final[Fits] = (
    (0.07, "loose, glue the frets in or take wider beads"),
    (0.09, "they grip lightly"),
    (0.20, "they grip"),
    (0.25, "they grip hard, and chip the edges of slots in ebony"),
    (np.inf, "they chip the edges of the slots; widen the slots or take narrower beads"),
)

_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(24)


@dataclass(frozen=True, slots=True, eq=False)
class Wires:
    """The wire of all frets of a board.

    Parameters
    ----------
    frets
        Numbers of the frets, 0 for a zero fret.
    over_board
        Width of the finished board along each fret, over its curve [mm], shape (frets,).
    cut
        Length to cut, with the overhang at both ends, rounded up to a millimetre [mm], shape (frets,).
    tang
        Tang that stays, in the middle of the piece [mm], shape (frets,); all of it where slots reach the edges.
    nip
        Tang to take off at each end [mm], shape (frets,); 0 where slots reach the edges.
    bend
        Radius to bend the wire to [mm], shape (frets,); ``inf`` for a flat board.
    length
        Length of the rods [mm].
    rods
        The frets that are cut from each rod.
    too_long
        The frets that no rod is long enough for.
    """

    frets: tuple[int, ...]
    over_board: Floats
    cut: Floats
    tang: Floats
    nip: Floats
    bend: Floats
    length: float
    rods: tuple[tuple[int, ...], ...]
    too_long: tuple[int, ...]

    @property
    def total(self) -> float:
        """Wire of all frets together [mm]."""
        return float(self.cut.sum())

    @property
    def left(self) -> tuple[float, ...]:
        """What is left of each rod [mm]."""
        cut = dict(zip(self.frets, self.cut, strict=True))
        return tuple(self.length - float(sum(cut[fret] for fret in rod)) for rod in self.rods)


def cut_wire(plan: Plan, neck: Neck, wire: FretWire) -> Wires:
    """Say what wire each fret takes.

    Parameters
    ----------
    plan, neck
        The plan and its neck.
    wire
        The wire.

    Returns
    -------
    Wires
        Of every fret that has a slot.
    """
    first = 0 if plan.frets.zero_fret else 1
    lines = neck.lines_in_board.copy()
    lines[0] = meet(neck.frets[0].moved(neck.nut_moved), neck.edges)[0, ::-1]
    # The wire lies over the binding, or over the wood before a blind slot; its tang does not.
    held = bool(plan.frets.slot_inset or plan.board.binding)
    return wires_for(
        wire,
        tuple(range(first, plan.frets.count + 1)),
        over_curve(neck, lines)[first:],
        over_curve(neck, neck.slots)[first:] if held else None,
        neck.radius_at(neck.frets.middle[first:]),
    )


def wires_for(
    wire: FretWire, frets: tuple[int, ...], over_board: Floats, slots: Floats | None, radius: Floats
) -> Wires:
    """Say what wire frets take that are so long.

    Parameters
    ----------
    wire
        The wire.
    frets
        Their numbers.
    over_board
        Width of the finished board along each of them, over its curve [mm], shape (frets,).
    slots
        Lengths of the slots [mm], shape (frets,); None where they reach the edges.
    radius
        Radius of the board at each of them [mm], shape (frets,).

    Returns
    -------
    Wires
        What is cut, nipped and bent.
    """
    cut = rounded_up(over_board + 2 * wire.overhang)
    tang = cut if slots is None else np.maximum(slots - 2 * SHORT_OF_CORE, 0.0)
    rods, too_long = packed(dict(zip(frets, cut.tolist(), strict=True)), wire.length)
    return Wires(
        frets=frets,
        over_board=over_board,
        cut=cut,
        tang=tang,
        nip=(cut - tang) / 2,
        bend=OVERBEND * radius,
        length=wire.length,
        rods=rods,
        too_long=too_long,
    )


def over_curve(neck: Neck, lines: Floats) -> Floats:
    """Measure straight lines across the board over its curve.

    Crowns have the curve of the board under them, lifted by their height: this is their length, too.

    Parameters
    ----------
    neck
        The neck, whose radius may change along it.
    lines
        Ends of the lines in plan view [mm], shape (n, 2, 2).

    Returns
    -------
    ndarray, shape (n,)
        Lengths [mm].
    """
    if not neck.radius[0]:
        return distance(lines[:, 0], lines[:, 1])
    (x, y), other = lines[:, 0].T, lines[:, 1]
    skew = (other[:, 0] - x) / (other[:, 1] - y)
    middle = x - skew * y
    # Along a line the radius is a + b y. By the angle t from the top of the curve, y = (a + b y) sin t.
    a = neck.radius_at(middle)
    b = neck.radius_at(middle + skew) - a
    low, high = np.sort(np.arcsin(lines[..., 1] / (a[:, None] + b[:, None] * lines[..., 1])), axis=1).T
    half = ((high - low) / 2)[:, None]
    t = ((high + low) / 2)[:, None] + half * _NODES
    a, b, skew = a[:, None], b[:, None], skew[:, None]
    sine, cosine, share = np.sin(t), np.cos(t), 1 - b * np.sin(t)
    along_y = a * cosine / share**2
    along_z = b * along_y * (cosine - 1) - a / share * sine  # z = -R (1 - cos t), R = a / share
    length: Floats = (np.sqrt((1 + skew**2) * along_y**2 + along_z**2) @ _WEIGHTS) * half[:, 0]
    return length


def rounded_up(lengths: Floats) -> Floats:
    """Round lengths up to the millimetre."""
    return np.ceil(lengths - ROUNDING)


def packed(pieces: Mapping[int, float], length: float) -> tuple[tuple[tuple[int, ...], ...], tuple[int, ...]]:
    """Cut pieces from rods, the longest first, each from the first rod that still has it.

    Parameters
    ----------
    pieces
        Length of each piece [mm] by the number of its fret.
    length
        Length of a rod [mm].

    Returns
    -------
    tuple
        The frets of each rod, and those that are longer than a rod.
    """
    rods: list[tuple[float, list[int]]] = []
    too_long = []
    for fret, piece in sorted(pieces.items(), key=lambda each: (-each[1], -each[0])):
        if piece > length + ROUNDING:
            too_long.append(fret)
            continue
        for place, (left, frets) in enumerate(rods):
            if piece <= left + ROUNDING:
                rods[place] = (left - piece, [*frets, fret])
                break
        else:
            rods.append((length - piece, [fret]))
    return tuple(tuple(frets) for _, frets in rods), tuple(sorted(too_long))


def findings(plan: Plan, wire: FretWire, wires: Wires) -> Iterator[Finding]:
    """Say how the wire fits its slots, and which frets its rods are too short for.

    Parameters
    ----------
    plan, wire, wires
        The plan, the wire, and what is cut from it.
    """
    yield from fit(wire, dict.fromkeys(wires.frets, plan.frets.slot_width), plan.units)
    yield from too_short(wires, plan.units)


def too_short(wires: Wires, units: Unit) -> Iterator[Finding]:
    """Name the frets that the rods are too short for."""
    if wires.too_long:
        longest = float(wires.cut.max())
        yield Finding(
            "short wire",
            "fret wire",
            f"rods of {show(wires.length, units)} {units} are too short for {frets_named(wires.too_long)}, "
            f"up to {show(longest, units)} {units} long",
            {"length": wires.length, "needed": longest},
        )


def fit(wire: FretWire, slots: Mapping[int, float], units: Unit) -> Iterator[Finding]:
    """Say how tang and beads fit their slots, as far as their widths are stated.

    Parameters
    ----------
    wire
        The wire.
    slots
        Width of the slots [mm] by the numbers of their frets; where they do not all fit alike, frets are named.
    units
        Unit of the lengths in the words.
    """
    if wire.tang_width is not None:
        play = {fret: slot - wire.tang_width for fret, slot in slots.items()}
        yield from _fits("tang", wire.tang_width, slots, play, TANG_FITS, units)
    if wire.bead_width is not None:
        bite = {fret: wire.bead_width - slot for fret, slot in slots.items()}
        yield from _fits("bead", wire.bead_width, slots, bite, BEAD_FITS, units)


def _fits(
    part: str, width: float, slots: Mapping[int, float], apart: Mapping[int, float], fits: Fits, units: Unit
) -> Iterator[Finding]:
    """Say how a part of the wire fits, once for all slots that it fits alike."""
    alike: dict[str, list[int]] = {}
    for fret in sorted(apart, key=lambda fret: (apart[fret], fret)):
        # To a hundredth of a millimetre: nobody measures a slot finer.
        words = next(words for most, words in fits if round(apart[fret], 2) <= most)
        alike.setdefault(words, []).append(fret)

    def said(lengths: Iterable[float]) -> str:
        shown = (show(length, units, 2 if units == "mm" else 4) for length in sorted(lengths))
        return f"{' to '.join(dict.fromkeys(shown))} {units}"

    name, key, than = (
        ("a tang", "play", ("wider", "narrower")) if part == "tang" else ("beads", "bite", ("narrower", "wider"))
    )
    for words, frets in alike.items():
        theirs, off = ([of[fret] for fret in (frets[0], frets[-1])] for of in (slots, apart))
        of_frets = f", {frets_named(sorted(frets))}" if len(alike) > 1 else ""
        yield Finding(
            f"{part} fit",
            frets_named(sorted(frets)) if len(alike) > 1 else "fret wire",
            f"{name} of {said([width])} in slots of {said(theirs)}{of_frets}, {said(map(abs, off))} "
            f"{than[off[0] >= 0]}: {words}",
            {key: off[0], f"{part}_width": width, "slot_width": theirs[0]},
        )


def frets_named(frets: Sequence[int]) -> str:
    """Name frets by their numbers: ``fret 3``, ``frets 1, 2``, rows of them ``frets 14 to 22``."""
    rows: list[list[int]] = []
    for fret in frets:
        if rows and fret == rows[-1][-1] + 1:
            rows[-1].append(fret)
        else:
            rows.append([fret])
    told = [", ".join(map(str, row)) if len(row) < 3 else f"{row[0]} to {row[-1]}" for row in rows]
    return f"fret{'s' * (len(frets) > 1)} {', '.join(told)}"
