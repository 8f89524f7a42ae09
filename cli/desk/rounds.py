"""Readings on the desk: a cell typed, a round begun, a recording heard, what they teach kept in the plan."""

from __future__ import annotations

import math
import re
import tempfile
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Final

from slotwright.cli.desk.state import Bench, Clash, Refused, learnt, stepped
from slotwright.layout.bench.diagnosis import intonate
from slotwright.layout.bench.dialogue import Question, understood
from slotwright.layout.errors import Fault, MeasuredError, SlotwrightError
from slotwright.layout.plan.writer import recalibrated, stiffened
from slotwright.layout.readings.kept import Kept
from slotwright.layout.readings.notes import FROM_FRET, MOST_PASSES, parse_readings, reach_of
from slotwright.layout.units import cents, parse_length

if TYPE_CHECKING:
    from slotwright.cli.desk.state import Desk, Outcome
    from slotwright.layout.bench.diagnosis import Intonation
    from slotwright.layout.plan.plan import Plan
    from slotwright.layout.readings.notes import Reading
    from slotwright.layout.sound.heard import Hearing

_CELL: Final = re.compile(r"([0-9]{1,3})/([0-9]{1,3}|moved|stands)")
_WAY: Final = re.compile(r"\s*(back|forward)s?\s*$", re.IGNORECASE)
_MOST_FRETS: Final = 12  # columns that may be asked for


def readings_of(desk: Desk) -> tuple[Reading, ...]:
    """Give what was read; raises MeasuredError where the table has faults."""
    return parse_readings(desk.bench.readings, desk.instrument.plan) if desk.bench.readings else ()


def judged(desk: Desk) -> Intonation | None:
    """Say what the readings ask for; None where nothing was read. Raises MeasuredError."""
    readings = readings_of(desk)
    return intonate(desk.instrument, readings) if readings else None


class Table:
    """The round that is read now, cell by cell: ``3/12`` is fret 12 of string 3 (fret 0 the open string).

    ``3/moved`` says how far the saddle of string 3 was moved before this round, ``3/stands`` where a ruler finds it.

    Parameters
    ----------
    desk
        The desk; raises MeasuredError where its table of readings has faults.
    """

    def __init__(self, desk: Desk) -> None:
        self._instrument, self._plan, self._bench = desk.instrument, desk.instrument.plan, desk.bench
        self.kept = Kept.of(desk.bench.readings, self._plan)
        self.readings = readings_of(desk)

    def cell(self, cell: str) -> str:
        """Give what stands there: cents, w behind them where the note warbles; a length; empty for nothing."""
        number, what = cell.split("/")
        string = int(number)
        if what.isdecimal():
            read, warbles = self.kept.note(string, int(what), self._bench.round, self._plan)
            return " ".join(filter(None, ("" if read is None else cents(read), "w" * warbles)))
        own = self.of_string(string)
        if what == "moved":
            move = own.moved if own else self._bench.moves.get(string, 0.0)
            return f"{self._instrument.length(abs(move))} {'back' if move > 0 else 'forward'}" if move else ""
        if own is None or own.saddle_offset is None:
            return ""
        return self._instrument.length(own.saddle_offset + self._behind(string))

    def of_string(self, string: int) -> Reading | None:
        """Give a reading of a string in this round; None where there is none."""
        return next((each for each in self.readings if (each.string, each.at) == (string, self._bench.round)), None)

    def put(self, string: int, what: str, given: str) -> Bench:
        """Type something into a cell; raises ValueError where it cannot be understood."""
        if what.isdecimal():
            return self._with_note(string, int(what), given)
        return self._with_place(string, what, given)

    def _with_note(self, string: int, fret: int, given: str) -> Bench:
        """Put a reading in; the first of a string in a round says how far its saddle was moved before."""
        at = self._bench.round
        if not given.strip():
            return replace(self._bench, readings=self.kept.with_note(string, fret, at, None).text())
        read, note = understood(given, self._plan, Question(string, fret, at, 0.0))
        if math.isnan(read) and fret == 0:
            raise ValueError("an open string is read in cents or hz")
        kept = self.kept.with_note(string, fret, at, read, note)
        move = self._bench.moves.get(string)
        if fret and move and self.of_string(string) is None:
            kept = kept.with_place(string, at, "moved", move, self._plan)
        return replace(self._bench, readings=kept.text())

    def _with_place(self, string: int, what: str, given: str) -> Bench:
        """Say of a saddle how far it was moved, or where a ruler finds it."""
        text, way = given.strip(), _WAY.search(given.strip())
        bare = text[: way.start()] if way and what == "moved" else text
        length = parse_length(bare, self._plan.units) if text else None
        if what == "moved":
            length = -length if length and way and way[1].lower() == "forward" else length
            most = reach_of(self._plan)[1]
            if abs(length or 0.0) > most:
                raise ValueError(f"no bridge reaches further than {self._plan.said(most)}")
            if self.of_string(string) is None:
                return replace(self._bench, moves={**self._bench.moves, string: length or 0.0})
        elif self.of_string(string) is None:
            raise ValueError("read a note of that string first")
        elif length == 0:
            raise ValueError("0 is no distance; leave it empty where nobody measured")
        ruled = f"from_fret_{FROM_FRET}" if self._plan.frets.count >= FROM_FRET else "saddle_offset"
        column = "moved" if what == "moved" else ruled
        kept = self.kept.with_place(string, self._bench.round, column, length or None, self._plan)
        return replace(self._bench, readings=kept.text())

    def _behind(self, string: int) -> float:
        """Give how far a string's nominal saddle lies behind the fret that rules measure from [mm]; 0 without it."""
        if self._plan.frets.count < FROM_FRET:
            return 0.0
        neck = self._instrument.neck
        return float(neck.scales[string - 1] - neck.from_nut[FROM_FRET][string - 1])


def put(desk: Desk, cell: str, given: str, seen: str) -> Outcome:
    """Type something into a cell of this round; nothing takes away what stands there.

    Parameters
    ----------
    desk
        The desk.
    cell
        Which, as `Table` has it.
    given
        What was typed.
    seen
        What stood there before the eyes of whoever typed it.

    Returns
    -------
    Desk, Refused or Clash
        With that reading; or why nothing was changed.
    """
    given = given.replace("\u2212", "-")
    try:
        string, what = _place(desk.instrument.plan, cell)
        table = Table(desk)
        now = table.cell(cell)
        if now.replace("\u2212", "-") == given.strip():
            return desk
        if now != seen:
            return Clash(given, now)
        bench = table.put(string, what, given)
        after = Table(replace(desk, bench=bench)).cell(cell)
    except MeasuredError as error:
        # Of one cell, line and column say nothing; rows that share it are told once.
        return Refused(tuple(dict.fromkeys(Fault("", fault.what, fault.mend) for fault in error.faults)))
    except ValueError as error:
        return _refused(str(error))
    place = "open" if what == "0" else f"fret {what}" if what.isdecimal() else what
    return stepped(desk, f"string {string}, {place}: {now or 'nothing'} \u2192 {after or 'nothing'}", bench=bench)


def with_fret(desk: Desk, fret: int) -> Outcome:
    """Read another fret, too: a column more."""
    most = desk.instrument.plan.frets.count
    if not 1 <= fret <= most:
        return _refused(f"the board has frets 1 to {most}")
    if len(desk.bench.frets) == _MOST_FRETS:
        return _refused(f"{_MOST_FRETS} frets besides the usual ones are enough")
    return replace(desk, bench=replace(desk.bench, frets=tuple(sorted({*desk.bench.frets, fret}))))


def next_round(desk: Desk) -> Outcome:
    """Begin another round: the saddles were moved as was asked."""
    try:
        found = judged(desk)
        read = Kept.of(desk.bench.readings, desk.instrument.plan).last
    except MeasuredError as error:
        return Refused(error.faults)
    if found is None or read < desk.bench.round:
        return _refused("nothing was read in this round yet")
    if read == MOST_PASSES:
        return _refused(f"{MOST_PASSES} rounds are the most a table of readings holds")
    now = {each.string for each in readings_of(desk) if each.at == desk.bench.round}
    waiting = {string: move for string, move in desk.bench.moves.items() if string not in now}
    asked = [each for each in found.advices if each.string in now and each.direction in ("back", "forward")]
    moves = {each.string: each.wanted for each in asked} | waiting
    return stepped(desk, f"round {read + 1} begun", bench=replace(desk.bench, round=read + 1, moves=moves))


def listen(desk: Desk, sound: bytes, suffix: str, played: str) -> Hearing | Refused:
    """Hear a recording, which may take a while.

    Parameters
    ----------
    desk
        The desk.
    sound
        The file.
    suffix
        What its name ended in; only of a compressed file it matters.
    played
        Which notes in which order; empty for the usual ones.
    """
    from slotwright.layout.sound.readings import hear  # noqa: PLC0415 - wanted only with a recording
    from slotwright.layout.sound.take import COMPRESSED  # noqa: PLC0415

    with tempfile.TemporaryDirectory() as folder:
        take = Path(folder) / f"recording{suffix if suffix in COMPRESSED else '.wav'}"
        take.write_bytes(sound)
        try:
            return hear(desk.instrument, take, played.strip() or None)
        except SlotwrightError as error:
            return _refused(str(error).replace(f"{take}: ", ""))


def with_recording(desk: Desk, found: Hearing, path: Path) -> Outcome:
    """Add the notes of a recording to this round; `path` names the table of readings in messages."""
    from slotwright.layout.sound.written import added_to  # noqa: PLC0415 - wanted only with a recording

    before, plan = desk.bench.readings, desk.instrument.plan
    try:
        moved = bool(before) and Kept.of(before, plan).last < desk.bench.round
        text, at = added_to(before or Kept().text(), path, found, plan, moved=moved)
    except MeasuredError as error:
        return Refused(error.faults)
    except SlotwrightError as error:
        return _refused(str(error).replace(f"{path}: ", ""))
    heard = "a note" if len(found.notes) == 1 else f"{len(found.notes)} notes"
    return stepped(desk, f"{heard} heard", bench=replace(desk.bench, readings=text, round=at, heard=found))


def keep(desk: Desk, what: str) -> Outcome:
    """Write into the plan what the readings teach: ``calibration``, or the ``stiffness`` that a recording told."""
    return _keep_stiffness(desk) if what == "stiffness" else _keep_calibration(desk)


def _keep_calibration(desk: Desk) -> Outcome:
    try:
        found = judged(desk)
    except MeasuredError as error:
        return Refused(error.faults)
    if found is None or found.calibrated is None:
        return _refused(found.wanting if found else "nothing was read yet")
    if found.calibrated.doubtful:
        return _refused(f"{found.calibrated.doubtful}; look at the findings")
    taught = found.calibrated
    text = recalibrated(desk.text, taught.stiffness, taught.stretch, taught.press_depth)
    return learnt(desk, text, "calibration kept")


def _keep_stiffness(desk: Desk) -> Outcome:
    told = desk.bench.heard.stiffnesses if desk.bench.heard else ()
    if not told:
        return _refused("no recording told yet how stiff the strings are")
    text = stiffened(desk.text, {each.string: each.inharmonicity for each in told})
    return learnt(desk, text, "stiffness of the strings kept")


def _place(plan: Plan, cell: str) -> tuple[int, str]:
    found = _CELL.fullmatch(cell)
    if found is None or not 1 <= int(found[1]) <= len(plan.strings):
        raise ValueError("there is no such string")
    if found[2].isdecimal() and int(found[2]) > plan.frets.count:
        raise ValueError(f"there is no fret {found[2]}")
    return int(found[1]), found[2]


def _refused(what: str) -> Refused:
    return Refused((Fault("", what),))
