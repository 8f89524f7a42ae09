"""The tables of a plan but for its bridge. Everything in mm, every key within its limits."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Literal, get_args

from slotwright.layout.errors import Fault
from slotwright.layout.limits import FACTORS, MOST_CHORDS, MOST_FRETS, MOST_HOLES, MOST_STRINGS, SCALES
from slotwright.layout.physics import strings, wire
from slotwright.layout.physics.offsets import Criterion, NutRule
from slotwright.layout.plan import fields, rows
from slotwright.layout.plan.chords import chord_list
from slotwright.layout.plan.fields import mm, number, one_of, whole, words
from slotwright.layout.plan.rows import mm_row, wholes
from slotwright.layout.plan.table import Table

if TYPE_CHECKING:
    from collections.abc import Iterator


class Make(Table):
    """How a string is made.

    Parameters
    ----------
    gauge
        Diameter of the whole string.
    kind
        ``plain steel``, ``wound steel``, ``plain nylon``, ``wound nylon`` or ``fluorocarbon``.
    core
        Diameter of the core of wound steel, across flats where it is hexagonal; estimated unless stated.
    core_shape
        ``round`` or ``hex``; ``hex`` unless stated.
    winding
        What a steel core is wound with: ``nickel-plated steel``, ``nickel``, ``stainless steel``,
        ``phosphor bronze``, ``bronze 80/20`` or ``silver-plated copper``; the first unless stated.
    mass
        Mass per length [g/m]; from gauge and kind unless stated.
    string_constant
        Axial stiffness EA over the tension; from the kind unless stated.
    bending
        Bending stiffness EI [N mm2]; from the kind unless stated.
    inharmonicity
        B of the partials n f sqrt(1 + B n^2) of the open string at its own pitch, instead of bending.
    """

    either = (("bending", "inharmonicity"),)

    gauge: Annotated[float | None, fields.gauge()] = None
    kind: Annotated[str | None, one_of(strings.KINDS)] = None
    core: Annotated[float | None, fields.gauge()] = None
    core_shape: Annotated[str | None, one_of(wire.CORE_SHAPES)] = None
    winding: Annotated[str | None, one_of(tuple(wire.WINDINGS))] = None
    mass: Annotated[float | None, number(0.01, 100)] = None
    string_constant: Annotated[float | None, number(1, 10_000)] = None
    bending: Annotated[float | None, number(0, 1e6)] = None
    inharmonicity: Annotated[float | None, fields.inharmonicity()] = None

    def clashes(self) -> Iterator[Fault]:
        """Check that the parts of the string fit each other."""
        if self.kind and self.kind != "wound steel":
            for key in ("core", "core_shape", "winding"):
                if getattr(self, key) is not None:
                    yield Fault(key, f'given for a "{self.kind}" string; only "wound steel" has it')
        if self.core and self.gauge and self.core >= self.gauge:
            yield Fault("core", "as thick as the whole string or thicker", "check the unit")


class String(Make):
    """One string; string 1 is on the treble side.

    Parameters
    ----------
    pitch
        Pitch of the open string, such as ``E4``, A4 being 440 Hz.
    frequency
        The same in Hz, instead of a pitch.
    course
        Number that strings of one course share.
    """

    pitch: Annotated[str | None, fields.pitch()] = None
    frequency: Annotated[float | None, number(10, 5000)] = None
    course: Annotated[int | None, whole(1, MOST_STRINGS)] = None

    def clashes(self) -> Iterator[Fault]:
        """Check that the parts of the string fit each other."""
        if self.pitch and self.frequency:
            yield Fault("frequency", "stated besides pitch", "keep one of them")
        yield from super().clashes()


class Job(Table):
    """What the title block says about the job.

    Parameters
    ----------
    reference
        Number or name of the job.
    drawn_by
        Who drew it.
    revision
        Which revision this is.
    date
        The date to print; none is taken from the clock.
    """

    reference: Annotated[str, words(60)] = ""
    drawn_by: Annotated[str, words(60)] = ""
    revision: Annotated[str, words(20)] = ""
    date: Annotated[str, words(30)] = ""


class Scale(Table):
    """One scale, or a treble and a bass one.

    Parameters
    ----------
    length
        Scale length, along the centre line from the nominal nut line.
    treble
        Scale of string 1 of a multiscale, along that string.
    bass
        Scale of the last string of a multiscale, along that string.
    square_fret
        Fret of a multiscale that is square to the centre line; ``"nut"``, ``"saddle"`` and fractions too.
    """

    either = (("length", "treble"), ("length", "bass"))

    length: Annotated[float | None, mm(*SCALES)] = None
    treble: Annotated[float | None, mm(*SCALES)] = None
    bass: Annotated[float | None, mm(*SCALES)] = None
    square_fret: Annotated[float, fields.square_fret()] = 7.0

    def clashes(self) -> Iterator[Fault]:
        """Check that there is one scale, or two in the right order."""
        if self.length is None and self.treble is None and self.bass is None:
            yield Fault("length", "missing", 'state length = "648 mm", or treble and bass')
        elif self.length is None:
            if self.treble is None or self.bass is None:
                lost = "treble" if self.treble is None else "bass"
                yield Fault(lost, "missing; a multiscale needs treble and bass")
            elif self.treble > self.bass:
                yield Fault("treble", "longer than bass", "swap them")


class FretWire(Table):
    """The wire that frets are cut from.

    Parameters
    ----------
    crown_width
        Width of the crown.
    tang_width
        Width of the tang between its beads.
    bead_width
        Width of the tang over its beads.
    length
        Length of the rods that it comes in.
    overhang
        What a cut piece is longer than the board is wide, at each end.
    """

    crown_width: Annotated[float | None, mm(0.5, 6)] = None
    tang_width: Annotated[float | None, mm(0.1, 2)] = None
    bead_width: Annotated[float | None, mm(0.1, 3)] = None
    length: Annotated[float, mm(10, 10_000)] = 300.0
    overhang: Annotated[float, mm(0, 20)] = 3.0

    def clashes(self) -> Iterator[Fault]:
        """Check that the beads stand out from the tang and the crown over both."""
        if self.tang_width and self.bead_width and self.bead_width < self.tang_width:
            yield Fault("bead_width", "less than tang_width: beads stand out from the tang", "swap them")
        tang = max(self.tang_width or 0.0, self.bead_width or 0.0)
        if self.crown_width and self.crown_width <= tang:
            yield Fault("crown_width", "no more than the tang: the crown lies over the slot", "check the unit")


class Frets(Table):
    """The frets and their slots.

    Parameters
    ----------
    count
        How many frets.
    divisions
        Equal divisions of the octave.
    cents
        Notes of one period, ascending, the last the period [cents]; instead of divisions.
    zero_fret
        A fret on the nut line ends the open strings.
    zero_fret_height
        Crown of the zero fret above the board; that of the others unless stated.
    height
        Crown of a fret above the board.
    slot_width
        Width of a slot.
    tang_depth
        Depth of the tang below the board.
    slot_clearance
        What a slot is deeper than the tang.
    slot_inset
        From the edge of the board to the end of a blind slot; 0: slots run through.
    wire
        The wire: ``{ crown_width = 2.4, tang_width = 0.52, bead_width = 0.75 }``.
    """

    either = (("divisions", "cents"),)

    count: Annotated[int, whole(1, MOST_FRETS)] = 22
    divisions: Annotated[int, whole(1, 1200)] = 12
    cents: Annotated[tuple[float, ...] | None, rows.ascending_cents()] = None
    zero_fret: Annotated[bool, fields.yes_no()] = False
    zero_fret_height: Annotated[float | None, mm(0.2, 4)] = None
    height: Annotated[float, mm(0.2, 3)] = 1.0
    slot_width: Annotated[float, mm(0.1, 2)] = 0.58
    tang_depth: Annotated[float, mm(0.3, 5)] = 1.6
    slot_clearance: Annotated[float, mm(0, 3)] = 0.5
    slot_inset: Annotated[float, mm(0, 20)] = 0.0
    wire: FretWire | None = None

    def clashes(self) -> Iterator[Fault]:
        """Check that a zero fret is there, and no lower than the frets behind it."""
        if self.zero_fret_height is None:
            return
        if not self.zero_fret:
            yield Fault("zero_fret_height", "there is no zero fret", "state zero_fret = true")
        elif self.zero_fret_height < self.height:
            yield Fault("zero_fret_height", "less than height: open strings would lie on fret 1", "raise it")


class WidthAt(Table):
    """The width of the board at one fret.

    Parameters
    ----------
    fret
        The fret.
    width
        Width of the board there, along the fret.
    """

    fret: Annotated[int, whole(1, MOST_FRETS)]
    width: Annotated[float, mm(5, 500)]


class Board(Table):
    """The fretboard.

    Parameters
    ----------
    nut_width
        Width of the board at the nut line.
    string_spread_nut
        Outer string to outer string at the nut, centre to centre; nut width less both edge margins unless stated.
    string_spread_saddle
        Outer string to outer string at the saddle, centre to centre; 1.4 times that at the nut unless stated.
    spacing
        ``even gaps`` between the strings or ``even centres``; gaps where every gauge is known, unless stated.
    course_spacing
        Between the strings of a course, centre to centre, at the nut and at the saddle.
    edge_margin
        From the centre of an outer string to the edge of the board at the last fret.
    width_at
        Width of the board at a fret, instead of the edge margin: ``{ fret = 12, width = 52.4 }``.
    beyond_last_fret
        From the last fret to the end of the board.
    behind_nut
        Board behind the nut line; 0 unless stated, 8 mm with a zero fret.
    thickness
        Thickness of the board at its middle.
    radius
        Radius across the board, or ``[at nut, at last fret]``; 0: flat.
    joint_fret
        Fret at the joint with the body, drawn for reference; 0: none.
    heel_depth
        Height of the heel below the board, for a change of the neck's angle; 0: not known.
    binding
        Thickness of a binding, where the slots stop.
    position_marks
        Frets with one mark before them.
    double_marks
        Frets with two marks before them.
    mark_diameter
        Diameter of a mark.
    side_dots
        Dots in the player's edge of the board, beside every mark.
    side_dot_diameter
        Diameter of a side dot.
    left_handed
        The treble side is on the other hand.
    """

    either = (("edge_margin", "width_at"),)

    nut_width: Annotated[float, mm(5, 500)]
    string_spread_nut: Annotated[float | None, mm(0, 500)] = None
    string_spread_saddle: Annotated[float | None, mm(0, 800)] = None
    spacing: Annotated[str | None, one_of(("even gaps", "even centres"))] = None
    course_spacing: Annotated[tuple[float, float], mm_row(("at nut", "at saddle"), 0.5, 20)] = (2.2, 3.0)
    edge_margin: Annotated[float, mm(0, 50)] = 3.2
    width_at: WidthAt | None = None
    beyond_last_fret: Annotated[float, mm(0, 300)] = 8.0
    behind_nut: Annotated[float | None, mm(0, 300)] = None
    thickness: Annotated[float, mm(1, 30)] = 6.0
    radius: Annotated[tuple[float, float], mm_row(("at nut", "at last fret"), 0, 5000, one_for_all=True)] = (
        0.0,
        0.0,
    )
    joint_fret: Annotated[int, whole(0, MOST_FRETS)] = 0
    heel_depth: Annotated[float, mm(0, 200)] = 0.0
    binding: Annotated[float, mm(0, 10)] = 0.0
    position_marks: Annotated[tuple[int, ...], wholes(1, MOST_FRETS, empty=True)] = ()
    double_marks: Annotated[tuple[int, ...], wholes(1, MOST_FRETS, empty=True)] = ()
    mark_diameter: Annotated[float, mm(0.5, 30)] = 6.0
    side_dots: Annotated[bool, fields.yes_no()] = False
    side_dot_diameter: Annotated[float, mm(0.5, 10)] = 2.0
    left_handed: Annotated[bool, fields.yes_no()] = False

    @property
    def hand(self) -> float:
        """Sign of every y toward the treble side: 1, or -1 on a left-handed instrument."""
        return -1.0 if self.left_handed else 1.0

    @property
    def marked(self) -> tuple[int, ...]:
        """Frets with a mark before them, or two, ascending."""
        return tuple(sorted({*self.position_marks, *self.double_marks}))

    def clashes(self) -> Iterator[Fault]:
        """Check the two radii of a compound board."""
        if (self.radius[0] == 0) != (self.radius[1] == 0):
            yield Fault("radius", "one of the two is 0", "state two radii, or 0 for a flat board")


class Blank(Table):
    """The square blank before tapering.

    Parameters
    ----------
    length
        Length of the blank.
    width
        Width of the blank.
    nut_at
        From the blank's end to the nut line.
    run_out
        How far the slots run past the edges of the blank.
    thickness
        Thickness of the blank; that of the board unless stated.
    """

    length: Annotated[float, mm(50, 3000)]
    width: Annotated[float, mm(10, 600)]
    nut_at: Annotated[float, mm(0, 500)] = 10.0
    run_out: Annotated[float, mm(0, 50)] = 2.0
    thickness: Annotated[float | None, mm(1, 60)] = None


class Jig(Table):
    """The notched strip that a pin in a saw sled steps along.

    Parameters
    ----------
    pin
        Diameter of the pin.
    play
        What a notch is wider than the pin.
    notch_depth
        Depth of the notches.
    blade_to_pin
        From the blade to the pin, along the board.
    """

    pin: Annotated[float, mm(0.5, 20)] = 3.0
    play: Annotated[float, mm(0, 2)] = 0.05
    notch_depth: Annotated[float, mm(1, 50)] = 5.0
    blade_to_pin: Annotated[float, mm(-1000, 1000)] = 0.0


class Setup(Table):
    """How the strings lie and how they are pressed.

    Parameters
    ----------
    nut_action
        Open string's underside above the crowns at the nut.
    first_gap
        Open string above the crown of fret 1, one or ``[treble, bass]``, instead of the action at the nut.
    action
        Open string above the crown of the action fret, one or ``[treble, bass]``.
    action_fret
        Fret where the action is measured; the one nearest the octave unless stated.
    relief
        Bow of the neck at its deepest.
    relief_between
        Frets where the bow begins and ends; the first and the last unless stated.
    press_distance
        From the crown back to where the finger presses.
    press_depth
        How far the finger presses the string below the crown; ``"wood"`` down to the board.
    free_length
        String behind nut and saddle that shares the stretch.
    clamped_ends
        How many ends of a string are held stiffly: 0, 1 or 2.
    """

    either = (("nut_action", "first_gap"),)

    nut_action: Annotated[float, mm(0, 5)] = 0.30
    first_gap: Annotated[tuple[float, float] | None, mm_row(("treble", "bass"), 0, 5, one_for_all=True)] = None
    action: Annotated[tuple[float, float], mm_row(("treble", "bass"), 0.1, 20, one_for_all=True)] = (1.5, 1.9)
    action_fret: Annotated[int | None, whole(1, MOST_FRETS)] = None
    relief: Annotated[float, mm(0, 3)] = 0.15
    relief_between: Annotated[tuple[int, int] | None, wholes(1, MOST_FRETS, exactly=2)] = None
    press_distance: Annotated[float, mm(0, 50)] = 8.0
    press_depth: Annotated[float | Literal["wood"], fields.mm_or("wood", 0, 3)] = 0.0
    free_length: Annotated[float, mm(0, 1000)] = 0.0
    clamped_ends: Annotated[int, whole(0, 2)] = 1

    def clashes(self) -> Iterator[Fault]:
        """Check that the bow begins before it ends."""
        if self.relief_between and self.relief_between[0] >= self.relief_between[1]:
            yield Fault("relief_between", f"given {list(self.relief_between)}; it ends before it begins", "swap them")


class Aim(Table):
    """Target frets of some strings.

    Parameters
    ----------
    strings
        Numbers of the strings; all of them for chords, unless stated.
    frets
        Their target frets, unless chords are stated.
    weights
        How much each fret counts; all alike unless stated.
    chords
        Chords instead of frets, such as ``["x32010", "x 10 12 12 12 10"]``: a fret for each course, from the
        highest-numbered one to course 1, 0 open, ``x`` not played. A fret counts on a string as often as chords play
        it there; a saddle cannot be placed by frets 1 to 4 alone, so add a chord high up.
    """

    either = (("chords", "frets"),)

    strings: Annotated[tuple[int, ...] | None, wholes(1, MOST_STRINGS)] = None
    frets: Annotated[tuple[int, ...] | None, wholes(1, MOST_FRETS)] = None
    weights: Annotated[tuple[float, ...] | None, rows.weights()] = None
    chords: Annotated[tuple[str, ...] | None, chord_list(MOST_CHORDS)] = None

    def clashes(self) -> Iterator[Fault]:
        """Check that there are frets or chords, and that each fret has its weight."""
        if self.chords is not None:
            if self.weights is not None:
                yield Fault("weights", "chords count frets by themselves", "write a chord twice to count it twice")
            return
        for key in ("strings", "frets"):
            if getattr(self, key) is None:
                yield Fault(key, "missing", 'state strings and frets, or chords = ["x32010", "x 10 12 12 12 10"]')
        if self.weights is not None and self.frets and len(self.weights) != len(self.frets):
            yield Fault("weights", f"{len(self.weights)} for {len(self.frets)} frets", "give each its own")


class Compensation(Table):
    """What the offsets are to serve.

    Parameters
    ----------
    nut
        ``none``, ``common`` for one nut offset, or ``per string``.
    minimise
        ``rms`` for the least average error, ``worst`` for the least largest error.
    tolerance
        Largest error that counts as in tune [cents].
    rounding
        Step to which offsets are rounded; 0: not rounded.
    aim
        Target frets: ``[{ strings = [1, 2], frets = [12, 17] }]``, or
        ``[{ chords = ["x32010", "x 10 12 12 12 10"] }]``; all to the action fret unless stated.
    """

    nut: Annotated[NutRule, one_of(get_args(NutRule))] = "none"
    minimise: Annotated[Criterion, one_of(get_args(Criterion))] = "rms"
    tolerance: Annotated[float, number(0.01, 50)] = 2.0
    rounding: Annotated[float, mm(0, 5)] = 0.0
    aim: Annotated[tuple[Aim, ...], rows.tables()] = ()

    def clashes(self) -> Iterator[Fault]:
        """Check that no string is aimed twice and weights are used."""
        seen: set[int] = set()
        for_all = False
        for place, aim in enumerate(self.aim, start=1):
            # Chords that name no strings are for all of them.
            named = aim.strings or tuple(range(1, MOST_STRINGS + 1))
            for_all = for_all or not aim.strings
            twice = [string for string in named if string in seen]
            for string in twice if aim.strings else twice[:1]:
                mend = "chords without strings are for all: state which strings they are for" if for_all else ""
                yield Fault(
                    f"aim[{place}].{'strings' if aim.strings else 'chords'}",
                    f"string {string} has an aim already",
                    mend,
                )
            seen.update(named)
            if aim.weights is not None and self.minimise == "worst":
                yield Fault(f"aim[{place}].weights", 'have no meaning with minimise = "worst"', "drop them")


class Calibration(Table):
    """Factors found at the bench.

    Parameters
    ----------
    stiffness
        Multiplies what stiffness does to the pitch.
    stretch
        Multiplies what the stretch of pressing does.
    """

    stiffness: Annotated[float, number(*FACTORS)] = 1.0
    stretch: Annotated[float, number(*FACTORS)] = 1.0


class Locking(Table):
    """A locking nut: a metal part bolted onto a shelf in the neck.

    Parameters
    ----------
    rise
        From the underside of the part to the undersides of the strings, at its middle.
    shim
        Thickness of the shim that the shelf leaves room for; follows from ``nut.seat`` where that is stated.
    bolts
        Holes through the neck, ``[x, y, diameter]``: x behind the front of the nut, y from the centre line.
    """

    rise: Annotated[float, mm(1, 30)]
    shim: Annotated[float, mm(0, 5)] = 0.0
    bolts: Annotated[tuple[tuple[float, float, float], ...], rows.holes(MOST_HOLES)] = ()


class Nut(Table):
    """The nut: its blank, what it stands on, its groove.

    Parameters
    ----------
    thickness
        Thickness of the nut, along the strings.
    height
        Height of the blank, its foot included.
    seat
        Depth of the seat below the board's surface at its middle, or of the groove; 0: the nut stands on the board.
        As deep as the board is thick unless stated; a locking nut has the one that its height needs.
    seat_radius
        Radius across the seat; 0: flat. Flat unless stated, but that of the board where the nut stands on it.
    slot
        Width of the groove across the board that holds the nut; 0: none.
    ledge
        Board left behind the groove.
    locking
        A locking nut: ``{ rise = 6.5, shim = 0.5, bolts = [[5, 10, 4], [5, -10, 4]] }``.
    """

    either = (("locking", "slot"), ("locking", "seat_radius"))

    thickness: Annotated[float, mm(1, 20)] = 5.0
    height: Annotated[float, mm(1, 30)] = 10.0
    seat: Annotated[float | None, mm(0, 30)] = None
    seat_radius: Annotated[float | None, mm(0, 5000)] = None
    slot: Annotated[float, mm(0, 20)] = 0.0
    ledge: Annotated[float, mm(0, 100)] = 0.0
    locking: Locking | None = None

    def clashes(self) -> Iterator[Fault]:
        """Check that the height of a locking nut is stated once."""
        if self.locking and self.seat is not None and "shim" in self.locking.model_fields_set:
            yield Fault("locking.shim", "stated besides seat", "keep one of them")
