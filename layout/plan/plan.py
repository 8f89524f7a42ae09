"""Plan: the checked contents of a plan file."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Annotated, Any, Self

from pydantic import Field, model_validator

from slotwright.layout.errors import Fault
from slotwright.layout.limits import MOST_STRINGS, MOST_TUNINGS
from slotwright.layout.physics.temperament import cents_at, octave_fret, steps_of_period
from slotwright.layout.plan import fields, rows
from slotwright.layout.plan.bridges import Adjustable, Bridge
from slotwright.layout.plan.chords import fingering
from slotwright.layout.plan.fields import OrTable, mm, one_of, words
from slotwright.layout.plan.machine import Machine
from slotwright.layout.plan.string_set import SetStrings, StringSet
from slotwright.layout.plan.table import Table
from slotwright.layout.plan.tables import (
    Blank,
    Board,
    Calibration,
    Compensation,
    Frets,
    FretWire,
    Jig,
    Job,
    Nut,
    Scale,
    Setup,
    String,
)
from slotwright.layout.plan.template import Template
from slotwright.layout.units import Unit, show

if TYPE_CHECKING:
    from collections.abc import Iterator

    import numpy as np
    from numpy.typing import NDArray
    from pydantic.functional_validators import ModelWrapValidatorHandler


class Plan(Table):
    """What the maker decided.

    Lengths are in mm. Values that follow from others unless stated are ``None`` in their tables;
    the attributes of the plan itself (`spread_nut`, `spacing`, `action_fret` ...) settle them.
    A tuning is written lowest string first, as players write it, and kept from string 1 on.

    Parameters
    ----------
    title
        Title of the drawings.
    units
        ``mm`` or ``in``: unit of bare lengths, of the drawings and of the tables.
    kerf
        Width of a laser's cut; gauges and the notched strip are drawn larger by half of it all round.
    strings
        How many strings, a list of tables, string 1 (treble) first, or a usual set: ``{ set = "electric 10-46" }``.
    tunings
        Other tunings to serve, such as ``["D2 A2 D3 G3 A3 D4"]``, lowest string first.
    scale, board, frets, job, blank, jig, setup, compensation, calibration, nut, bridge, machine, template
        The tables.
    """

    title: Annotated[str, words(120, empty=False)]
    units: Annotated[Unit, one_of(("mm", "in"))] = "mm"
    kerf: Annotated[float, mm(0, 1)] = 0.0
    strings: Annotated[tuple[String, ...], rows.table_list(MOST_STRINGS), OrTable(StringSet, SetStrings.of)]
    tunings: Annotated[tuple[tuple[str, ...], ...], rows.tunings(MOST_TUNINGS)] = ()
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
    machine: Machine | None = None
    template: Annotated[tuple[Template, ...], rows.tables()] = ()

    @model_validator(mode="wrap")
    @classmethod
    def _in_its_units(cls, given: object, check: ModelWrapValidatorHandler[Self]) -> Self:
        units = given.get("units") if isinstance(given, Mapping) else None
        with fields.reading_in("in" if units == "in" else "mm"):
            return check(given)

    def contents(self) -> dict[str, Any]:
        """Give the keys that were stated as a plan file may have them, whatever its units."""
        stated = super().contents()
        if "tunings" in stated:
            stated["tunings"] = [" ".join(reversed(tuning)) for tuning in self.tunings]
        if self.string_set is not None:
            stated["strings"] = self.string_set.contents()
        return stated

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
        if self.jig and self.kerf >= self.jig.pin + self.jig.play:
            yield Fault("kerf", "as wide as the notches of the jig, or wider", "check the unit")
        if self.nut and self.nut.seat_radius and self.nut.seat_radius < self.board.nut_width:
            yield Fault("nut.seat_radius", "less than board.nut_width", "check the unit; 0 is flat")

    def _check_numbers(self) -> Iterator[Fault]:
        last, strung = self.frets.count, len(self.strings)
        for place, aim in enumerate(self.compensation.aim, start=1):
            path = f"compensation.aim[{place}]"
            if aim.strings and max(aim.strings) > strung:
                yield Fault(f"{path}.strings", f"string {max(aim.strings)} of {strung}")
            if aim.frets and max(aim.frets) > last:
                yield Fault(f"{path}.frets", f"fret {max(aim.frets)} of {last}")
            for nth, chord in enumerate(aim.chords or (), start=1):
                yield from self._check_chord(f"{path}.chords[{nth}]", chord)
        for place, group in enumerate(self.shared_saddles, start=1):
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

    def _check_chord(self, path: str, chord: str) -> Iterator[Fault]:
        frets, courses = fingering(chord), len(self.courses)
        if len(frets) != courses:
            each = "string" if courses == len(self.strings) else "course"
            what = f"{len(frets)} places for {courses} {each}{'s' * (courses > 1)}"
            yield Fault(path, f"given {fields.quoted(chord)}; {what}", f"write one for each {each}")
        elif (highest := max(fret or 0 for fret in frets)) > self.frets.count:
            yield Fault(path, f"given {fields.quoted(chord)}; fret {highest} of {self.frets.count}")

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

    @property
    def chords(self) -> tuple[str, ...]:
        """Every chord that an aim is made of, as it was written; each once."""
        return tuple(dict.fromkeys(chord for aim in self.compensation.aim for chord in aim.chords or ()))

    def fingered(self, chord: str) -> tuple[int | None, ...]:
        """Give the fret of each string in a chord, string 1 first: all strings of a course take its fret."""
        frets = fingering(chord)
        by_string = {string: fret for course, fret in zip(self.courses, frets, strict=True) for string in course}
        return tuple(by_string[place] for place in range(len(self.strings)))

    @property
    def string_set(self) -> StringSet | None:
        """The set that the strings come from; None where the plan states them one by one."""
        return self.strings.stated if isinstance(self.strings, SetStrings) else None

    def string_key(self, place: int, key: str) -> str:
        """Say where a plan states something of a string, by its place from 0; of a set, what it concerns there."""
        return self.string_set.where(place, key) if self.string_set else f"strings[{place + 1}].{key}"

    @property
    def fret_wire(self) -> FretWire:
        """The wire of the frets; of one that is not stated only rods and overhang are known, as usual."""
        return self.frets.wire or FretWire()

    @property
    def shared_saddles(self) -> tuple[tuple[int, ...], ...]:
        """Strings that are moved on one saddle."""
        return self.bridge.groups if isinstance(self.bridge, Adjustable) else ()

    @property
    def shared_contacts(self) -> tuple[tuple[int, ...], ...]:
        """Places (from 0) of strings that touch the bridge as one: on one saddle, or as a course on a crest."""
        if self.bridge is None:
            return ()
        on_saddles = tuple(tuple(string - 1 for string in group) for group in self.shared_saddles)
        groups = on_saddles if isinstance(self.bridge, Adjustable) else self.courses
        return tuple(group for group in groups if len(group) > 1)

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
    def nut_behind(self) -> float:
        """From the nut line back to the front of the nut [mm]; behind a zero fret the nut only guides the strings."""
        if self.nut is None or not self.frets.zero_fret:
            return 0.0
        return max(self.behind_nut - (self.nut.slot + self.nut.ledge if self.nut.slot else 0.0), 0.0)

    @property
    def nut_seat(self) -> float | None:
        """Depth of the nut's seat below the board's surface [mm]; None where no plan or a locking nut decides it."""
        if self.nut is None:
            return None
        usual = None if self.nut.locking else self.board.thickness
        return usual if self.nut.seat is None else self.nut.seat

    @property
    def stock_thickness(self) -> float:
        """Thickness of the blank [mm]."""
        stated = self.blank.thickness if self.blank else None
        return self.board.thickness if stated is None else stated

    @property
    def nut_action(self) -> float:
        """String underside above the crown plane at the nut [mm]; a zero fret may be higher than the others."""
        return self.zero_fret_height - self.frets.height if self.frets.zero_fret else self.setup.nut_action

    @property
    def zero_fret_height(self) -> float:
        """Crown of the zero fret above the board [mm]."""
        stated = self.frets.zero_fret_height
        return self.frets.height if stated is None else stated

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
