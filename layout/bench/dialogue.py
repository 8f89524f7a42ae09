"""The bench as a dialogue: from what was read so far to the next thing to read.

Nothing is remembered but the readings themselves: whoever keeps them can go on where it broke off.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np

from slotwright.layout import cautions
from slotwright.layout.bench.moves import (
    AGAIN,
    FINE_MOVES,
    MOST_LOOKS,
    is_sure,
    judge,
    of_moves,
    of_screws,
    said_turning,
    step_of,
)
from slotwright.layout.bench.rounds import joined
from slotwright.layout.bench.state import gather, setting_of
from slotwright.layout.plan.fields import quoted
from slotwright.layout.readings.notes import FURTHEST, Reading, cents_of, last_pass, reach_of

if TYPE_CHECKING:
    from collections.abc import Collection, Iterator, Sequence

    from slotwright.layout.bench.advice import Advice
    from slotwright.layout.bench.moves import Track
    from slotwright.layout.bench.state import Setting
    from slotwright.layout.instrument.instrument import Instrument
    from slotwright.layout.plan.plan import Plan

MOST_FRETS: Final = 3  # to read of one string in one pass
MOST_PASSES: Final = 8  # of one string; what is not settled by then is not the saddle's
_LONGEST: Final = 40  # letters of an answer
_ANSWER: Final = re.compile(
    r"(?:([+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+))\s*(hz|c|cents?)?)?\s*(w|warbl(?:e|es|ed|ing))?", re.IGNORECASE
)


class Question(NamedTuple):
    """The next note to read.

    Parameters
    ----------
    string, fret
        The note.
    at
        Number of the pass.
    moved
        What the saddle is moved by before it, back positive [mm].
    told
        What is to be done first.
    note
        What goes into the log with the reading.
    """

    string: int
    fret: int
    at: int
    moved: float
    told: tuple[str, ...] = ()
    note: str = ""

    def reading(self, cents: float, note: str) -> Reading:
        """Give the reading that answers the question."""
        noted = " ".join(filter(None, (self.note, note)))
        return Reading(self.string, self.fret, cents, at=self.at, moved=self.moved, note=noted)


class Dialogue:
    """Asks for one instrument.

    Parameters
    ----------
    instrument
        The instrument on the bench.
    """

    def __init__(self, instrument: Instrument) -> None:
        self.instrument, self.plan = instrument, instrument.plan
        self.setting: Setting = setting_of(instrument)
        self._known: dict[tuple[Reading, ...], tuple[tuple[Advice, ...], dict[int, Track]]] = {}

    @property
    def reminders(self) -> tuple[str, ...]:
        """What to mind at the bench, before anything is asked."""
        move = (
            "Loosen the string before you turn its screw" if self.threaded else "Loosen the string before you move it"
        )
        return (f"{move}; tune again, then read.", cautions.STRINGS)

    @property
    def threaded(self) -> bool:
        """Tell whether saddles are moved by screws."""
        return self.plan.bridge is not None and self.plan.bridge.per_turn is not None

    def units(self) -> Iterator[tuple[int, ...]]:
        """Yield the strings that are set together: one by one, unless they share a saddle."""
        shared = {string: group for group in self.setting.groups for string in group}
        seen: set[int] = set()
        for string in range(len(self.setting.saddle)):
            group = shared.get(string, (string,))
            if string not in seen:
                yield tuple(each + 1 for each in sorted(group))
            seen.update(group)

    def frets(self, string: int) -> list[int]:
        """Give the frets to read of a string: those of its aim, the octave first; three of a long aim."""
        aim = (np.flatnonzero(self.setting.weights[string - 1]) + 1).tolist()
        if len(aim) > MOST_FRETS:
            aim = [aim[len(aim) * third // MOST_FRETS - 1] for third in range(1, MOST_FRETS + 1)][::-1]
        return sorted(aim, key=lambda fret: fret != self.plan.action_fret)

    def ask(
        self, raw: Sequence[Reading], skipped: Collection[tuple[int, int]] = (), since: int = 0
    ) -> Question | None:
        """Give the next note to read.

        Parameters
        ----------
        raw
            All that was read so far.
        skipped
            Strings and frets that are not to be asked for.
        since
            How many of the readings were there when the dialogue began: what warbled then is asked for again.

        Returns
        -------
        Question or None
            None when everything is done.
        """
        raw = joined(raw)[0]
        closed: tuple[str, ...] = ()
        for unit in self.units():
            found = self._of_unit(unit, raw, skipped, since)
            if isinstance(found, Question):
                return found._replace(told=(*closed, *found.told, *self._of_screws(unit, raw, found)))
            closed = (f"{named(unit)}: {found}",) if found and raw[-1].string in unit else closed
        return None

    def closings(
        self, raw: Sequence[Reading], skipped: Collection[tuple[int, int]] = (), since: int = 0
    ) -> dict[tuple[int, ...], str]:
        """Say of every string that was read to the end how it ended.

        Parameters
        ----------
        raw, skipped, since
            As for `ask`.

        Returns
        -------
        dict
            The strings that are set together to words of them.
        """
        found = {unit: self._of_unit(unit, joined(raw)[0], skipped, since) for unit in self.units()}
        return {unit: words for unit, words in found.items() if isinstance(words, str) and words}

    def _of_unit(
        self, unit: tuple[int, ...], raw: Sequence[Reading], skipped: Collection[tuple[int, int]], since: int
    ) -> Question | str:
        """Give what to read of a string next, or how it ended; nothing where it was skipped unread."""
        own = tuple(reading for reading in raw if reading.string in unit)
        at = max(last_pass(own, string) for string in unit) or 1
        wanted = [(s, fret) for s in unit for fret in self.frets(s) if (s, fret) not in skipped]
        now = [(reading.string, reading.fret) for reading in own if reading.at == at]
        looks = min(max(map(now.count, wanted), default=1), MOST_LOOKS) or 1
        moved = next((reading.moved for reading in own if reading.at == at), 0.0)
        for string, fret in wanted:
            if now.count((string, fret)) < looks:
                return Question(string, fret, at, moved, note=AGAIN if looks > 1 else "")
        if not own:
            return ""
        if (warbling := _warbling(own, at)) and wanted and not any(each.string in unit for each in raw[since:]):
            told = f"{named(unit)}: {_frets(warbling)} warbled; with the pickups lowered, read again"
            return Question(*wanted[0], at + 1, 0.0, (told,))
        found = self._after_look(unit, own, Question(*(wanted or now)[0], at, moved), looks)
        if isinstance(found, str):
            return found
        if not wanted:
            return f"skipped; {'; '.join(found.told)}"
        return found._replace(told=tuple(f"{named(unit)}: {line}" for line in found.told))

    def _of_screws(self, unit: tuple[int, ...], raw: Sequence[Reading], found: Question) -> Iterator[str]:
        """Say once that the plan may have the screws at the wrong end: when the second saddle went wrong."""
        tracks: dict[int, Track] = {}
        for each in self.units() if found.told else ():
            if own := tuple(reading for reading in raw if reading.string in each):
                tracks |= self._judged(own)[1]
        mine = tracks.get(unit[0])
        others = {string: track for string, track in tracks.items() if string not in unit}
        if mine and mine.reverse and mine.reversals == 1 and not any(of_screws(self.plan, self.setting, others)):
            yield from map(str, of_screws(self.plan, self.setting, tracks))

    def _after_look(
        self, unit: tuple[int, ...], own: tuple[Reading, ...], again: Question, looks: int
    ) -> Question | str:
        """Decide what was read of a whole string asks for: another look, a move, or nothing and why."""
        if warbling := _warbling(own, again.at):
            verb = "warble" if len(warbling) > 1 else "warbles"
            return f"{_frets(warbling)} {verb}; lower the pickups and read again"
        judged, tracks = self._judged(own)
        advices = [advice for advice in judged if advice.string in unit]
        sure = looks >= MOST_LOOKS or all(is_sure(self.plan, each, looks) for each in advices)
        if advices[0].direction == "beyond":
            return f"not in tune ({_read(advices)}); {self._out_of_reach(advices)}"
        if advices[0].direction != "leave":
            return self._to_move(own, advices[0], tracks[advices[0].string], again, sure=sure)
        if not all(each.within for each in advices):
            return f"not in tune ({_read(advices)}), but no place of the saddle is better"
        told = "inside the tolerance, but close to its end: leave the saddle, tune again, read once more"
        return "in tune" if sure else again._replace(told=(told,), note=AGAIN)

    def _out_of_reach(self, advices: Sequence[Advice]) -> str:
        """Say why a saddle is not to be moved though its string is out."""
        missing = max(advice.missing for advice in advices)
        if missing and not any(advice.far_off for advice in advices):
            return f"its place is {self.plan.said(missing)} beyond the end of its travel; bench on this log says more"
        return "more than a saddle does: another octave or fret, or the open string out of tune; read it again"

    def _to_move(
        self, own: tuple[Reading, ...], advice: Advice, track: Track, again: Question, *, sure: bool
    ) -> Question | str:
        """Ask for a move, or say why not."""
        step, move = step_of(self.plan, advice, track), self._said_move(advice, track)
        gone = sum({reading.at: reading.moved for reading in own}.values())
        if track.moves >= FINE_MOVES and not (sure or track.reverse or track.stuck):
            told = f"{move}; but it is only just outside the tolerance: tune again and read once more first"
            return again._replace(told=(told,), note=AGAIN)
        if track.stuck > 1:
            return f"{move}, still to go; its saddle does not move: free it, or see what its screw does"
        if not step:
            return f"{move}: too little to turn"
        if track.moves >= FINE_MOVES and not (advice.within or track.reverse or track.stuck):
            return f"{move}, still to go; but no place of the saddle brings this string into tune"
        if again.at > MOST_PASSES or abs(gone + step) > reach_of(self.plan)[1]:
            return f"{move}, still to go; it does not settle: see whether saddle and string hold"
        found = map(str, of_moves(self.plan, advice, track))
        return again._replace(at=again.at + 1, moved=step, told=(*found, move))

    def track(self, unit: tuple[int, ...], own: Sequence[Reading]) -> Track:
        """Tell what the moves of a saddle did.

        Parameters
        ----------
        unit
            Strings that are set together.
        own
            What was read of them.
        """
        tracks = self._judged(joined(own)[0])[1]
        return tracks[next(string for string in unit if string in tracks)]

    def _judged(self, own: tuple[Reading, ...]) -> tuple[tuple[Advice, ...], dict[int, Track]]:
        """Remember verdicts: every question looks through all that was read before it."""
        if own not in self._known:
            self._known[own] = judge(self.plan, self.setting, gather(self.setting, own), own)
        return self._known[own]

    def _said_move(self, advice: Advice, track: Track) -> str:
        """Word a move for the hand: its way, its length and the turns of the screw."""
        where = "back, away from the nut" if advice.wanted > 0 else "forward, toward the nut"
        said, turning = f"{where}: {self.plan.said(abs(advice.wanted))}", said_turning(self.plan, advice, track)
        return f"{said}, {turning}" if turning else f"move {said}"


def named(unit: Sequence[int]) -> str:
    """Name strings that are set together: ``string 3``, ``strings 1 and 2``."""
    return f"string{'s' * (len(unit) > 1)} {' and '.join(map(str, unit))}"


def understood(text: str, plan: Plan, question: Question) -> tuple[float, str]:
    """Understand what was typed for a reading.

    Parameters
    ----------
    text
        Cents, or a frequency with ``hz``; ``w`` or ``warble`` behind it, or alone, for a note that warbles.
    plan
        The plan.
    question
        What was asked.

    Returns
    -------
    tuple
        Cents, not a number where only the warbling was typed; and the note for the log.

    Raises
    ------
    ValueError
        It is neither; the message says what is.
    """
    typed = text.strip().replace("\u2212", "-")
    found = _ANSWER.fullmatch(typed) if 0 < len(typed) < _LONGEST else None
    if found is None:
        raise ValueError(f"{quoted(text)}: type cents such as -2.5, or 329.1 hz; a w behind it when the note warbles")
    note = "warble" if found[3] else ""
    if found[1] is None:
        return np.nan, note
    cents = float(found[1].replace(",", "."))
    if (found[2] or "").lower() == "hz":
        heard = cents_of(plan, question.string, question.fret, cents) if cents > 0 else np.inf
        if heard is None:
            raise ValueError(f"{quoted(text)}: the plan states no pitch to compare with; give cents")
        cents = heard
    if abs(cents) > FURTHEST:
        raise ValueError(f"{quoted(text)}: another note, by hundreds of cents; read fret {question.fret} again")
    return cents, note


def _warbling(own: Sequence[Reading], at: int) -> list[int]:
    """Give the frets of a pass at which notes warble."""
    return sorted({each.fret for each in own if each.at == at and each.warbles})


def _frets(frets: Sequence[int]) -> str:
    """Name frets: ``fret 12``, ``frets 5, 12 and 17``."""
    *others, last = map(str, frets)
    return f"frets {', '.join(others)} and {last}" if others else f"fret {last}"


def _read(advices: Sequence[Advice]) -> str:
    """Name the errors that the aim was read at."""
    aimed = [note for each in advices for note in zip(each.frets[each.aimed], each.now[each.aimed], strict=True)]
    return ", ".join(f"fret {fret} {off:+.1f}" for fret, off in aimed)
