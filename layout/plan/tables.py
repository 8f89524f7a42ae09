"""Plan: the checked contents of a plan file. Everything in mm, every key within its limits."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Annotated, Any, ClassVar, Final, Literal, Self, get_args

from pydantic import BaseModel, ConfigDict, Field, ModelWrapValidatorHandler, ValidationError, model_validator

from slotwright.layout.errors import Fault, PlanError
from slotwright.layout.limits import FACTORS, MOST_FRETS, MOST_HOLES, MOST_STRINGS, MOST_TUNINGS, SCALES
from slotwright.layout.names import BRIDGE_KINDS, BridgeKind
from slotwright.layout.physics import strings, wire
from slotwright.layout.physics.offsets import Criterion, NutRule
from slotwright.layout.physics.temperament import cents_at, octave_fret, steps_of_period
from slotwright.layout.plan import fields
from slotwright.layout.plan.fields import WrongTableError, mm, mm_row, number, one_of, whole, wholes, words
from slotwright.layout.plan.refusal import faults_of
from slotwright.layout.units import Unit, show

if TYPE_CHECKING:
    from collections.abc import Iterator

    import numpy as np
    from numpy.typing import NDArray

BRIDGE_KEYS: Final = {  # which kinds of bridge a key belongs to; keys not named here belong to all
    "travel": ("individual saddles", "two posts"),
    "front_stop": ("individual saddles", "two posts"),
    "thread_pitch": ("individual saddles", "two posts"),
    "screw_from": ("individual saddles", "two posts"),
    "crest_offset": ("individual saddles", "two posts"),
    "groups": ("individual saddles", "two posts"),
    "angle": ("individual saddles",),
    "slot_width": ("saddle slot",),
    "slot_length": ("saddle slot",),
    "slot_depth": ("saddle slot",),
    "crown_radius": ("saddle slot",),
    "pin_distance": ("saddle slot",),
    "pin_diameter": ("saddle slot",),
    "tie_distance": ("saddle slot",),
    "tie_diameter": ("saddle slot",),
    "post_spread": ("two posts",),
    "bushing_diameter": ("two posts",),
    "foot": ("floating",),
}


class Table(BaseModel):
    """A table of the plan; unknown keys are refused."""

    model_config = ConfigDict(frozen=True, extra="forbid", defer_build=True)

    either: ClassVar[tuple[tuple[str, str], ...]] = ()
    """Pairs of keys that state the same thing."""

    def clashes(self) -> Iterator[Fault]:
        """Yield what the keys of this table, each right by itself, get wrong together."""
        yield from ()

    @model_validator(mode="before")
    @classmethod
    def _say_once(cls, given: object) -> object:
        if isinstance(given, Mapping):
            both = [(kept, other) for kept, other in cls.either if kept in given and other in given]
            if both:
                raise WrongTableError(
                    tuple(Fault(other, f"stated besides {kept}", "keep one of them") for kept, other in both)
                )
        return given

    @model_validator(mode="after")
    def _check_together(self) -> Self:
        if faults := tuple(self.clashes()):
            raise WrongTableError(faults)
        return self


class String(Table):
    """One string; string 1 is on the treble side."""

    either = (("bending", "inharmonicity"),)

    pitch: Annotated[str | None, fields.pitch()] = None
    frequency: Annotated[float | None, number(10, 5000)] = None
    gauge: Annotated[float | None, fields.gauge()] = None
    kind: Annotated[str | None, one_of(strings.KINDS)] = None
    core: Annotated[float | None, fields.gauge()] = None
    core_shape: Annotated[str | None, one_of(wire.CORE_SHAPES)] = None
    winding: Annotated[str | None, one_of(tuple(wire.WINDINGS))] = None
    mass: Annotated[float | None, number(0.01, 100)] = None
    string_constant: Annotated[float | None, number(1, 10_000)] = None
    bending: Annotated[float | None, number(0, 1e6)] = None
    inharmonicity: Annotated[float | None, fields.inharmonicity()] = None
    course: Annotated[int | None, whole(1, MOST_STRINGS)] = None

    def clashes(self) -> Iterator[Fault]:
        """Check that the parts of the string fit each other."""
        if self.pitch and self.frequency:
            yield Fault("frequency", "stated besides pitch", "keep one of them")
        if self.kind and self.kind != "wound steel":
            for key in ("core", "core_shape", "winding"):
                if getattr(self, key) is not None:
                    yield Fault(key, f'given for a "{self.kind}" string; only "wound steel" has it')
        if self.core and self.gauge and self.core >= self.gauge:
            yield Fault("core", "as thick as the whole string or thicker", "check the unit")


class Job(Table):
    """What the title block says about the job."""

    reference: Annotated[str, words(60)] = ""
    drawn_by: Annotated[str, words(60)] = ""
    revision: Annotated[str, words(20)] = ""
    date: Annotated[str, words(30)] = ""


class Scale(Table):
    """One scale, or a treble and a bass one."""

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


class Frets(Table):
    """The frets and their slots."""

    either = (("divisions", "cents"),)

    count: Annotated[int, whole(1, MOST_FRETS)] = 22
    divisions: Annotated[int, whole(1, 1200)] = 12
    cents: Annotated[tuple[float, ...] | None, fields.ascending_cents()] = None
    zero_fret: Annotated[bool, fields.yes_no()] = False
    height: Annotated[float, mm(0.2, 3)] = 1.0
    slot_width: Annotated[float, mm(0.1, 2)] = 0.58
    tang_depth: Annotated[float, mm(0.3, 5)] = 1.6
    slot_clearance: Annotated[float, mm(0, 3)] = 0.5
    slot_inset: Annotated[float, mm(0, 20)] = 0.0


class WidthAt(Table):
    """The width of the board at one fret."""

    fret: Annotated[int, whole(1, MOST_FRETS)]
    width: Annotated[float, mm(5, 500)]


class Board(Table):
    """The fretboard."""

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
    binding: Annotated[float, mm(0, 10)] = 0.0
    position_marks: Annotated[tuple[int, ...], wholes(1, MOST_FRETS, empty=True)] = ()
    double_marks: Annotated[tuple[int, ...], wholes(1, MOST_FRETS, empty=True)] = ()
    mark_diameter: Annotated[float, mm(0.5, 30)] = 6.0
    left_handed: Annotated[bool, fields.yes_no()] = False

    @property
    def hand(self) -> float:
        """Sign of every y toward the treble side: 1, or -1 on a left-handed instrument."""
        return -1.0 if self.left_handed else 1.0

    def clashes(self) -> Iterator[Fault]:
        """Check the two radii of a compound board."""
        if (self.radius[0] == 0) != (self.radius[1] == 0):
            yield Fault("radius", "one of the two is 0", "state two radii, or 0 for a flat board")


class Blank(Table):
    """The square blank before tapering."""

    length: Annotated[float, mm(50, 3000)]
    width: Annotated[float, mm(10, 600)]
    nut_at: Annotated[float, mm(0, 500)] = 10.0
    run_out: Annotated[float, mm(0, 50)] = 2.0


class Jig(Table):
    """The notched strip that a pin in a saw sled steps along."""

    pin: Annotated[float, mm(0.5, 20)] = 3.0
    play: Annotated[float, mm(0, 2)] = 0.05
    notch_depth: Annotated[float, mm(1, 50)] = 5.0
    blade_to_pin: Annotated[float, mm(-1000, 1000)] = 0.0


class Setup(Table):
    """How the strings lie and how they are pressed."""

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
    """Frets that some strings are intonated at."""

    strings: Annotated[tuple[int, ...], wholes(1, MOST_STRINGS)]
    frets: Annotated[tuple[int, ...], wholes(1, MOST_FRETS)]
    weights: Annotated[tuple[float, ...] | None, fields.weights()] = None

    def clashes(self) -> Iterator[Fault]:
        """Check that each fret has its weight."""
        if self.weights is not None and len(self.weights) != len(self.frets):
            yield Fault("weights", f"{len(self.weights)} for {len(self.frets)} frets", "give each its own")


class Compensation(Table):
    """What the offsets are to serve."""

    nut: Annotated[NutRule, one_of(get_args(NutRule))] = "none"
    minimise: Annotated[Criterion, one_of(get_args(Criterion))] = "rms"
    tolerance: Annotated[float, number(0.01, 50)] = 2.0
    rounding: Annotated[float, mm(0, 5)] = 0.0
    aim: Annotated[tuple[Aim, ...], fields.tables()] = ()

    def clashes(self) -> Iterator[Fault]:
        """Check that no string is aimed twice and weights are used."""
        seen: set[int] = set()
        for place, aim in enumerate(self.aim, start=1):
            for string in aim.strings:
                if string in seen:
                    yield Fault(f"aim[{place}].strings", f"string {string} has an aim already")
            seen.update(aim.strings)
            if aim.weights is not None and self.minimise == "worst":
                yield Fault(f"aim[{place}].weights", 'have no meaning with minimise = "worst"', "drop them")


class Calibration(Table):
    """Factors found at the bench."""

    stiffness: Annotated[float, number(*FACTORS)] = 1.0
    stretch: Annotated[float, number(*FACTORS)] = 1.0


class Nut(Table):
    """The blank of the nut and its groove."""

    thickness: Annotated[float, mm(1, 20)] = 5.0
    height: Annotated[float, mm(1, 30)] = 8.0
    slot: Annotated[float, mm(0, 20)] = 0.0
    ledge: Annotated[float, mm(0, 100)] = 0.0


class Bridge(Table):
    """The bridge."""

    kind: Annotated[BridgeKind, one_of(BRIDGE_KINDS)]
    reserve: Annotated[float, mm(0, 20)] = 1.0
    outline: Annotated[tuple[float, float] | None, mm_row(("across", "along"), 1, 500)] = None
    front: Annotated[float | None, mm(-200, 200)] = None
    holes: Annotated[tuple[tuple[float, float, float], ...], fields.holes(MOST_HOLES)] = ()
    existing_holes: Annotated[tuple[tuple[float, float, float], ...], fields.holes(MOST_HOLES)] = ()
    travel: Annotated[float | None, mm(0.5, 100)] = None
    front_stop: Annotated[float, mm(-100, 100)] = 0.0
    thread_pitch: Annotated[float | None, mm(0.1, 5)] = None
    screw_from: Annotated[str, one_of(("rear", "front"))] = "rear"
    crest_offset: Annotated[float, mm(-20, 20)] = 0.0
    groups: Annotated[tuple[tuple[int, ...], ...], fields.groups(MOST_STRINGS)] = ()
    angle: Annotated[float, number(-60, 60)] = 0.0
    slot_width: Annotated[float | None, mm(0.5, 20)] = None
    slot_length: Annotated[float | None, mm(5, 400)] = None
    slot_depth: Annotated[float | None, mm(0.5, 50)] = None
    crown_radius: Annotated[float, mm(0, 20)] = 0.0
    pin_distance: Annotated[float | None, mm(0, 100)] = None
    pin_diameter: Annotated[float | None, mm(0.5, 20)] = None
    tie_distance: Annotated[float | None, mm(0, 100)] = None
    tie_diameter: Annotated[float | None, mm(0.5, 20)] = None
    post_spread: Annotated[float | None, mm(10, 500)] = None
    bushing_diameter: Annotated[float | None, mm(0.5, 50)] = None
    foot: Annotated[tuple[float, float] | None, mm_row(("across", "along"), 1, 500)] = None
    plane_height: Annotated[float | None, mm(-50, 200)] = None
    base_height: Annotated[float | None, mm(0, 200)] = None

    @property
    def to_front(self) -> float | None:
        """From the foremost contact line to the front edge [mm]; None without an outline."""
        if self.outline is None or self.front is not None:
            return self.front
        return self.outline[1] / 3  # unless stated

    @property
    def per_turn(self) -> float | None:
        """How far a clockwise turn moves a saddle, back positive [mm]; None without a thread.

        A right-hand screw draws the saddle toward its own head (common practice, no source).
        """
        if self.thread_pitch is None:
            return None
        return self.thread_pitch if self.screw_from == "rear" else -self.thread_pitch

    def clashes(self) -> Iterator[Fault]:
        """Refuse keys of another kind of bridge."""
        for key, kinds in BRIDGE_KEYS.items():
            if key in self.model_fields_set and self.kind not in kinds:
                yield Fault(key, f'belongs to {fields.listed(kinds)}, not to "{self.kind}"')


class Plan(Table):
    """What the maker decided.

    Lengths are in mm. Values that follow from others unless stated are ``None`` in their tables;
    the attributes of the plan itself (`spread_nut`, `spacing`, `action_fret` ...) settle them.
    A tuning is written lowest string first, as players write it, and kept from string 1 on.
    """

    title: Annotated[str, words(120, empty=False)]
    units: Annotated[Unit, one_of(("mm", "in"))] = "mm"
    strings: Annotated[tuple[String, ...], fields.table_list(MOST_STRINGS)]
    tunings: Annotated[tuple[tuple[str, ...], ...], fields.tunings(MOST_TUNINGS)] = ()
    scale: Scale
    board: Board
    frets: Frets = Field(default_factory=Frets)
    job: Job | None = None
    blank: Blank | None = None
    jig: Jig | None = None
    setup: Setup = Field(default_factory=Setup)
    compensation: Compensation = Field(default_factory=Compensation)
    calibration: Calibration = Field(default_factory=Calibration)
    nut: Nut | None = None
    bridge: Bridge | None = None

    @classmethod
    def model_validate(cls, obj: object, **options: Any) -> Plan:  # noqa: ANN401 - pydantic's own
        """Check the contents of a plan.

        Parameters
        ----------
        obj
            Tables and keys as TOML gives them; lengths are in the `units` they state.
        **options
            As of pydantic.

        Returns
        -------
        Plan
            The plan, every length in mm.

        Raises
        ------
        PlanError
            With all faults that were found.
        """

        def validate(given: object) -> Plan:
            return super(Plan, cls).model_validate(given, **options)

        try:
            return validate(obj)
        except ValidationError as error:
            raise PlanError(faults_of(cls, validate, error, obj)) from None

    @model_validator(mode="wrap")
    @classmethod
    def _in_its_units(cls, given: object, check: ModelWrapValidatorHandler[Self]) -> Self:
        units = given.get("units") if isinstance(given, Mapping) else None
        with fields.reading_in("in" if units == "in" else "mm"):
            return check(given)

    def clashes(self) -> Iterator[Fault]:
        """Check tables against each other."""
        yield from self._check_numbers()
        yield from self._check_courses()
        yield from self._check_zero_fret()
        if self.scale.length is None and len(self.strings) < 2:
            yield Fault("scale", "a multiscale needs two strings or more", "state one scale: length")
        if self.board.spacing == "even gaps" and not all(string.gauge for string in self.strings):
            yield Fault("board.spacing", '"even gaps" needs the gauge of every string')
        if self.setup.first_gap is not None and self.action_fret == 1:
            yield Fault("setup.first_gap", "measured at fret 1, as the action is here", "state nut_action instead")
        if self.press_depth > self.frets.height:
            yield Fault(
                "setup.press_depth", "deeper than frets.height, where the string is on the board", 'state "wood"'
            )

    def _check_numbers(self) -> Iterator[Fault]:
        last, strung = self.frets.count, len(self.strings)
        for place, aim in enumerate(self.compensation.aim, start=1):
            path = f"compensation.aim[{place}]"
            if max(aim.strings) > strung:
                yield Fault(f"{path}.strings", f"string {max(aim.strings)} of {strung}")
            if max(aim.frets) > last:
                yield Fault(f"{path}.frets", f"fret {max(aim.frets)} of {last}")
        for place, group in enumerate(self.bridge.groups if self.bridge else (), start=1):
            if max(group) > strung:
                yield Fault(f"bridge.groups[{place}]", f"string {max(group)} of {strung}")
        board, setup = self.board, self.setup
        named = {
            "board.joint_fret": board.joint_fret,
            "board.position_marks": max(board.position_marks, default=0),
            "board.double_marks": max(board.double_marks, default=0),
            "board.width_at.fret": board.width_at.fret if board.width_at else 0,
            "setup.action_fret": setup.action_fret or 0,
            "setup.relief_between": max(setup.relief_between or (0,)),
        }
        for path, fret in named.items():
            if fret > last:
                yield Fault(path, f"fret {fret} of {last}", "name a fret the board has")

    def _check_courses(self) -> Iterator[Fault]:
        ended: set[int] = set()
        before: int | None = None
        for place, string in enumerate(self.strings, start=1):
            if string.course != before and before is not None:
                ended.add(before)
            if string.course in ended:
                yield Fault(f"strings[{place}].course", "the strings of a course stand side by side")
            before = string.course
        if len(self.strings) > 1:
            for key in ("string_spread_nut", "string_spread_saddle"):
                if getattr(self.board, key) == 0:
                    yield Fault(f"board.{key}", "0 puts every string on one line")

    def _check_zero_fret(self) -> Iterator[Fault]:
        if not self.frets.zero_fret:
            return
        setup = self.setup
        if "nut_action" in setup.model_fields_set and setup.nut_action > 0:
            yield Fault("setup.nut_action", "the string lies on the zero fret", "state 0 or leave it out")
        if setup.first_gap is not None:
            yield Fault("setup.first_gap", "the string lies on the zero fret", "leave it out")
        if self.compensation.nut == "per string":
            yield Fault("compensation.nut", '"per string" needs a nut, not a zero fret', 'use "common"')

    def said(self, length: float) -> str:
        """Write a length [mm] with the unit of the plan."""
        return f"{show(float(length), self.units)} {self.units}"

    @property
    def courses(self) -> tuple[tuple[int, ...], ...]:
        """Places (from 0) of the strings of each course, treble side first."""
        groups: list[list[int]] = []
        for place, string in enumerate(self.strings):
            joins = place and string.course is not None and string.course == self.strings[place - 1].course
            groups[-1].append(place) if joins else groups.append([place])
        return tuple(map(tuple, groups))

    @property
    def spread_nut(self) -> float:
        """Outer string to outer string at the nut [mm]; 0 for a single string."""
        board = self.board
        if len(self.courses) == 1 and (board.string_spread_nut is None or len(self.strings) == 1):
            return (len(self.strings) - 1) * board.course_spacing[0]
        stated = board.string_spread_nut
        return board.nut_width - 2 * board.edge_margin if stated is None else stated

    @property
    def spread_saddle(self) -> float:
        """Outer string to outer string at the saddle [mm]; 0 for a single string."""
        board = self.board
        if len(self.courses) == 1 and (board.string_spread_saddle is None or len(self.strings) == 1):
            return (len(self.strings) - 1) * board.course_spacing[1]
        stated = board.string_spread_saddle
        return 1.4 * self.spread_nut if stated is None else stated

    @property
    def spacing(self) -> str:
        """How the strings share the spread."""
        gauged = all(string.gauge for string in self.strings)
        return self.board.spacing or ("even gaps" if gauged else "even centres")

    @property
    def behind_nut(self) -> float:
        """Board behind the nut line [mm]."""
        usual = 8.0 if self.frets.zero_fret else 0.0
        return usual if self.board.behind_nut is None else self.board.behind_nut

    @property
    def nut_action(self) -> float:
        """String underside above the crown plane at the nut [mm]."""
        return 0.0 if self.frets.zero_fret else self.setup.nut_action

    @property
    def press_depth(self) -> float:
        """How far a pressed point lies below the line from saddle to crown [mm]; on the wood, the crowns' height."""
        stated = self.setup.press_depth
        return self.frets.height if stated == "wood" else stated

    @property
    def period(self) -> NDArray[np.float64]:
        """Notes of one period of the fretting [cents]."""
        return steps_of_period(self.frets.divisions, self.frets.cents)

    @property
    def cents(self) -> NDArray[np.float64]:
        """Intervals of frets 0 to the last [cents], shape (frets + 1,)."""
        return cents_at(range(self.frets.count + 1), self.period)

    @property
    def action_fret(self) -> int:
        """The fret whose action is stated."""
        return self.setup.action_fret or octave_fret(self.cents)

    @property
    def relief_between(self) -> tuple[int, int]:
        """Frets where the bow of the neck begins and ends."""
        return self.setup.relief_between or (1, self.frets.count)
