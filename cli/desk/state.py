"""A plan on the desk: its text, what was read, what both give, and the steps there. No file is touched here."""

from __future__ import annotations

import re
from contextlib import suppress
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any, Final

from slotwright.cli.desk.facts import Change, changes
from slotwright.cli.desk.values import MOST_LETTERS, as_toml, named, shown, stated, written
from slotwright.layout.errors import Fault, MeasuredError, PlanError
from slotwright.layout.instrument.instrument import Instrument, lay_out
from slotwright.layout.plan.reader import contents_of, parse_plan
from slotwright.layout.plan.writer import restated
from slotwright.layout.readings.kept import Kept

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from slotwright.layout.sound.heard import Hearing

_PATH: Final = re.compile(r"[a-z_0-9]+(\[[1-9][0-9]{0,3}\])?(\.[a-z_0-9]+(\[[1-9][0-9]{0,3}\])?)*", re.ASCII)
_MOST_STEPS: Final = 200  # kept to go back to, each with the text of its plan


@dataclass(frozen=True, slots=True, eq=False)
class Bench:
    """What was read of the instrument.

    Parameters
    ----------
    readings
        The table of readings; empty where there is none.
    round
        Which round is read now: between two rounds saddles are moved.
    moves
        How far saddles were moved before it, by string, for those not read since [mm].
    frets
        Frets that were asked for besides the usual ones.
    heard
        The last recording.
    """

    readings: bytes = b""
    round: int = 1
    moves: Mapping[int, float] = field(default_factory=dict)
    frets: tuple[int, ...] = ()
    heard: Hearing | None = None


@dataclass(frozen=True, slots=True)
class Step:
    """A state that can be gone back to.

    Parameters
    ----------
    words
        What led there.
    text
        The plan file then.
    bench
        What was read by then.
    """

    words: str
    text: bytes
    bench: Bench


@dataclass(frozen=True, slots=True)
class Refused:
    """An edit that was not taken: the plan is as it was.

    Parameters
    ----------
    faults
        All that is wrong with it.
    """

    faults: tuple[Fault, ...]


@dataclass(frozen=True, slots=True)
class Clash:
    """An edit of a value that somebody else changed meanwhile: both are kept until a person chooses.

    Parameters
    ----------
    mine, theirs
        What was typed here, and what the file says now.
    """

    mine: str
    theirs: str


@dataclass(frozen=True, slots=True, eq=False)
class Desk:
    """A plan on the desk.

    Parameters
    ----------
    text
        The plan file.
    bench
        What was read.
    instrument
        What the last text without a fault gives.
    faults
        What is wrong with the text; nothing after an edit made here.
    before
        The instrument before the last step; None at the beginning.
    words
        What the last step did.
    changes
        The figures it moved.
    steps
        All states, oldest first.
    at
        Which of them this is.
    """

    text: bytes
    bench: Bench
    instrument: Instrument
    faults: tuple[Fault, ...]
    before: Instrument | None
    words: str
    changes: tuple[Change, ...]
    steps: tuple[Step, ...]
    at: int

    @property
    def appeared(self) -> tuple[str, ...]:
        """Findings that the last step brought."""
        known = set(map(str, self.before.findings)) if self.before else set()
        return tuple(str(each) for each in self.instrument.findings if self.before and str(each) not in known)

    @property
    def settled(self) -> tuple[str, ...]:
        """Findings that the last step did away with."""
        known = set(map(str, self.instrument.findings))
        return tuple(str(each) for each in self.before.findings if str(each) not in known) if self.before else ()


Outcome = Desk | Refused | Clash  # of what is done at the desk


def begin(text: bytes, readings: bytes = b"") -> Desk:
    """Lay a plan on the desk.

    Parameters
    ----------
    text
        A plan file.
    readings
        What was read of its instrument; nothing yet.

    Returns
    -------
    Desk
        With one step.

    Raises
    ------
    PlanError
        With all that is wrong with the plan.
    """
    instrument = lay_out(parse_plan(text))
    bench = _bench_of(readings, instrument)
    return Desk(text, bench, instrument, (), None, "", (), (Step("as it was opened", text, bench),), 0)


def _bench_of(readings: bytes, instrument: Instrument) -> Bench:
    try:
        return Bench(readings, max(Kept.of(readings, instrument.plan).last, 1))
    except MeasuredError:
        return Bench(readings)


def value_of(text: bytes, key: str) -> str:
    """Give what a plan file states at a key, as a person reads it; empty where it states nothing."""
    try:
        return shown(stated(contents_of(text), key))
    except PlanError:
        return ""


def edit(desk: Desk, key: str, given: str, seen: str) -> Desk | Refused | Clash:
    """Set a value of the plan.

    Parameters
    ----------
    desk
        The plan.
    key
        Path of a key, such as ``board.nut_width``.
    given
        What was typed, with any unit a plan takes; empty takes the key out, and its default holds.
    seen
        The value that whoever typed it had before their eyes, as `value_of` gives it.

    Returns
    -------
    Desk, Refused or Clash
        The plan with that value; or why it is as it was.
    """
    try:
        now = _now(desk.text, key)
    except PlanError as error:
        return Refused(error.faults)
    if now == given.strip() and not desk.faults:
        return desk
    if now != seen:
        return Clash(given, now)
    texts: tuple[str | None, ...] = written(given) if given.strip() else (None,)
    refused: tuple[Fault, ...] = ()
    for each in texts:
        try:
            text = restated(desk.text, key, each)
        except KeyError:
            break
        except ValueError as error:
            return Refused((Fault(key, f"the file cannot be changed here ({error})", "mend it in an editor"),))
        instrument, faults = _judged(text)
        if not faults or _mends(desk.faults, faults):
            return _judged_step(desk, _told(key, now, value_of(text, key)), text, instrument, faults)
        refused = refused or faults
    else:
        refused = refused or (Fault(key, f"allowed one line of ordinary letters, at most {MOST_LETTERS}"),)
    return Refused(refused or (Fault(key, "the plan has no such place any more"),))


def judged_edit(desk: Desk, text: bytes, words: str) -> Outcome:
    """Take another text of the plan, unless it brings faults."""
    instrument, faults = _judged(text)
    if faults and not _mends(desk.faults, faults):
        return Refused(faults)
    return _judged_step(desk, words, text, instrument, faults)


def learnt(desk: Desk, text: bytes, words: str) -> Desk:
    """Take a plan that the readings taught: it has no faults, and says in words what is new."""
    return desk if text == desk.text else _judged_step(desk, words, text, *_judged(text))


def _now(text: bytes, key: str) -> str:
    """Give what a plan file states at a key; raises PlanError where it cannot be read or no value stands there."""
    there = stated(contents_of(text), key)
    tables = isinstance(there, dict) or (isinstance(there, list) and any(isinstance(row, dict) for row in there))
    if tables or not _PATH.fullmatch(key):
        raise PlanError([Fault(key, "the plan has no such place")])
    return shown(there)


def taken_in(desk: Desk, text: bytes, readings: bytes, words: str = "changed in another editor") -> Desk:
    """Take in what another editor made of the files.

    Parameters
    ----------
    desk
        The plan as it was known here.
    text, readings
        The files as they are.
    words
        What is said of it.

    Returns
    -------
    Desk
        With that text as its last step; with its faults and the last good instrument where it has any.
    """
    if text != desk.text:
        desk = _judged_step(desk, words, text, *_judged(text))
    if readings != desk.bench.readings:
        # A round that was begun here stays begun, until somebody else begins a later one.
        there, bench = desk.bench, _bench_of(readings, desk.instrument)
        if bench.round <= there.round:
            bench = replace(there, readings=readings)
        desk = stepped(desk, "readings changed elsewhere", bench=bench)
    return desk


def merged(known: bytes, ours: bytes, theirs: bytes) -> tuple[bytes, tuple[str, ...]]:
    """Lay edits that were not saved over what another editor wrote meanwhile.

    Parameters
    ----------
    known
        The file that both began with.
    ours, theirs
        What became of it here, and there.

    Returns
    -------
    bytes
        Their text with our edits, but for values that both changed.
    tuple of str
        Those values, both as they are.
    """
    try:
        before, here, there = (dict(_values(contents_of(text))) for text in (known, ours, theirs))
    except PlanError:
        return theirs, ()
    clashes = []
    for key in [key for key in {**before, **here} if before.get(key) != here.get(key)]:
        mine, other = here.get(key), there.get(key)
        if other not in (mine, before.get(key)):
            clashes.append(f"{named(key)}: {shown(other) or 'nothing'} in the file, {shown(mine) or 'nothing'} here")
            continue
        with suppress(KeyError, ValueError):
            theirs = restated(theirs, key, None if mine is None else as_toml(mine))
    return theirs, tuple(clashes)


def _values(contents: Mapping[str, Any], path: str = "") -> Iterator[tuple[str, object]]:
    """Yield every value that a plan states, by its path."""
    for name, value in contents.items():
        if isinstance(value, dict):
            yield from _values(value, f"{path}{name}.")
        elif isinstance(value, list) and any(isinstance(row, dict) for row in value):
            for place, row in enumerate(value, start=1):
                yield from _values(row, f"{path}{name}[{place}].")
        else:
            yield f"{path}{name}", value


def go_to(desk: Desk, step: int) -> Desk:
    """Go back, or forward again, to one of the steps: the text is that of then, byte for byte."""
    if not 0 <= step < len(desk.steps) or step == desk.at:
        return desk
    there = desk.steps[step]
    words = f"{'back to' if step < desk.at else 'again'}: {there.words}"
    if there.text == desk.text:
        moved = stepped(desk, words)
    else:
        moved = _judged_step(desk, words, there.text, *_judged(there.text))
    return replace(moved, bench=there.bench, steps=desk.steps, at=step)


def _judged(text: bytes) -> tuple[Instrument | None, tuple[Fault, ...]]:
    try:
        return lay_out(parse_plan(text)), ()
    except PlanError as error:
        return None, error.faults


def _mends(old: Sequence[Fault], new: Sequence[Fault]) -> bool:
    """Tell whether of several faults some are gone and none has come."""
    return {fault.where for fault in new} < {fault.where for fault in old}


def _told(key: str, before: str, after: str) -> str:
    return f"{named(key)} {before or 'not stated'} \u2192 {after or 'not stated'}"


def stepped(desk: Desk, words: str, **changed: Any) -> Desk:  # noqa: ANN401 - fields of a desk
    """Go a step, with what it changes of the desk; what the step before brought is told no longer."""
    there = replace(desk, **{"before": None, "changes": (), "words": words, **changed})
    step = Step(words, there.text, there.bench)
    first, *others = (*desk.steps[: desk.at + 1], step)
    steps = (first, *others[1 - _MOST_STEPS :])
    return replace(there, steps=steps, at=len(steps) - 1)


def _judged_step(
    desk: Desk, words: str, text: bytes, instrument: Instrument | None, faults: tuple[Fault, ...]
) -> Desk:
    if instrument is None:
        return stepped(desk, words, text=text, faults=faults, before=desk.before)
    moved = changes(desk.instrument, instrument)
    return stepped(
        desk, words, text=text, faults=faults, instrument=instrument, before=desk.instrument, changes=moved
    )
