"""The bench as a dialogue: from what was read so far to the next thing to read.

Nothing is remembered but the readings themselves: whoever keeps them can go on where it broke off.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np

from slotwright.layout import cautions
from slotwright.layout.bench.advice import advise, move_of, turns_of
from slotwright.layout.bench.state import gather, setting_of
from slotwright.layout.plan.fields import quoted
from slotwright.layout.readings.notes import FURTHEST, Reading, cents_of, last_pass, reach_of

if TYPE_CHECKING:
    from collections.abc import Collection, Iterator, Sequence

    from slotwright.layout.bench.advice import Advice
    from slotwright.layout.bench.state import Setting
    from slotwright.layout.instrument.instrument import Instrument
    from slotwright.layout.plan.plan import Plan

MOST_FRETS: Final = 3  # to read of one string in one pass
MOST_PASSES: Final = 8  # of one string; what is not settled by then is not the saddle's
SURE: Final = 2.0  # standard errors away from the end of the tolerance
USUAL_UNCERTAINTY: Final = 0.15  # how far a turn may be from doing what it should, as a part of it (from memory)
REMINDERS: Final = (
    "Loosen the string before you turn its screw; retune after each move, then read.",
    "Press as you play. If the meter hunts, turn the tone control down.",
    cautions.STRINGS,
)

_LONGEST: Final = 40  # letters of an answer
_ANSWER: Final = re.compile(r"([+-]?\d+(?:[.,]\d*)?|[+-]?[.,]\d+)\s*(hz|c|cents?)?\s*(w)?", re.IGNORECASE)


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
    """

    string: int
    fret: int
    at: int
    moved: float
    told: tuple[str, ...]

    def reading(self, cents: float, note: str) -> Reading:
        """Give the reading that answers the question."""
        return Reading(self.string, self.fret, cents, at=self.at, moved=self.moved, note=note)


@dataclass(frozen=True, slots=True)
class Track:
    """A saddle followed through its passes.

    Parameters
    ----------
    need
        The move it still needs, back positive [mm].
    uncertainty
        Standard error of that [mm].
    share
        What part of the moves asked for was really made.
    stuck
        How many of the last moves changed nothing.
    reverse
        The last move went the wrong way.
    """

    need: float
    uncertainty: float
    share: float
    stuck: int
    reverse: bool


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
        self._advised: dict[tuple[Reading, ...], tuple[Advice, ...]] = {}

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

    def ask(self, raw: Sequence[Reading], skipped: Collection[tuple[int, int]] = ()) -> Question | None:
        """Give the next note to read.

        Parameters
        ----------
        raw
            All that was read so far.
        skipped
            Strings and frets that are not to be asked for.

        Returns
        -------
        Question or None
            None when everything is done.
        """
        closed: tuple[str, ...] = ()
        for unit in self.units():
            found = self._of_unit(unit, raw, skipped)
            if isinstance(found, Question):
                return found._replace(told=(*closed, *found.told))
            closed = (found,) if found and raw[-1].string in unit else closed
        return None

    def closings(self, raw: Sequence[Reading], skipped: Collection[tuple[int, int]] = ()) -> tuple[str, ...]:
        """Say of every string that was read to the end how it ended.

        Parameters
        ----------
        raw, skipped
            As for `ask`.

        Returns
        -------
        tuple of str
            A line for each, or for each group that shares a saddle.
        """
        found = (self._of_unit(unit, raw, skipped) for unit in self.units())
        return tuple(words for words in found if isinstance(words, str) and words)

    def _of_unit(
        self, unit: tuple[int, ...], raw: Sequence[Reading], skipped: Collection[tuple[int, int]]
    ) -> Question | str:
        """Give what to read of a string next, or how it ended; nothing where it was skipped unread."""
        own = tuple(reading for reading in raw if reading.string in unit)
        at = max(last_pass(own, string) for string in unit) or 1
        wanted = [(s, fret) for s in unit for fret in self.frets(s) if (s, fret) not in skipped]
        now = [(reading.string, reading.fret) for reading in own if reading.at == at]
        moved = next((reading.moved for reading in own if reading.at == at), 0.0)
        for string, fret in wanted:
            if (string, fret) not in now:
                return Question(string, fret, at, moved, ())
        if not own:
            return ""
        found = self._after_pass(unit, own, at, wanted[0] if wanted else now[0])
        return f"string {_named(unit)}: {found}" if isinstance(found, str) else found

    def _after_pass(
        self, unit: tuple[int, ...], own: tuple[Reading, ...], at: int, first: tuple[int, int]
    ) -> Question | str:
        """Decide what a whole pass asks for: another look, a move, or nothing and why."""
        advices = [advice for advice in self._advices(own) if advice.string in unit]
        if not advices:
            return "every note warbles; lower the pickups and read it again"
        track, (string, fret) = self.track(unit, own), first
        inside = all(self._inside(advice, track, 0.0) for advice in advices)
        fresh = at == 1 or any(reading.moved for reading in own if reading.at == at)
        sure = all(self._inside(advice, track, SURE) for advice in advices)
        if inside and fresh and not sure:
            told = f"string {_named(unit)}: only just inside the tolerance; leave the saddle, retune, read once more"
            return Question(string, fret, at + 1, 0.0, (told,))
        asked = move_of(self.plan, track.need / track.share)
        if sure or abs(track.need) < track.uncertainty or not asked:
            return "in tune" if inside else "no move would help; what stays is not the saddle's"
        gone = sum({reading.at: reading.moved for reading in own}.values())
        if track.stuck > 1:
            return "left as it is; its saddle did not move: free it, or see what its screw does"
        if at > MOST_PASSES or abs(gone + asked) > reach_of(self.plan)[1]:
            return "left as it is; it does not settle"
        return Question(string, fret, at + 1, asked, tuple(self._told(unit, asked, track)))

    def _advices(self, own: tuple[Reading, ...]) -> tuple[Advice, ...]:
        """Remember advice: every question looks through all that was read before it."""
        if own not in self._advised:
            self._advised[own] = advise(self.plan, self.setting, gather(self.setting, own))
        return self._advised[own]

    def _inside(self, advice: Advice, track: Track, doubts: float) -> bool:
        """Tell whether the aim is inside the tolerance, and that many doubts away from its end."""
        off = advice.now + advice.slopes * (advice.wanted - track.need)
        reach = np.abs(off) + doubts * np.abs(advice.slopes) * track.uncertainty
        return bool((reach[advice.aimed] <= self.plan.compensation.tolerance).all())

    def _told(self, unit: tuple[int, ...], asked: float, track: Track) -> Iterator[str]:
        """Word a move for the hand, with what the last one showed."""
        if track.stuck:
            yield f"string {_named(unit)}: its saddle did not move. Is it stuck, or was it not turned yet?"
        yield f"string {_named(unit)}: {said_move(self.instrument, asked)}"
        if track.reverse:
            yield "the last move went the other way round"
        elif not track.stuck and abs(track.share - 1) > USUAL_UNCERTAINTY / 2:
            yield f"(a move has done {track.share:.0%} of what was asked here; this one allows for it)"

    def track(self, unit: Sequence[int], own: Sequence[Reading]) -> Track:
        """Follow a saddle through its passes.

        Parameters
        ----------
        unit
            Strings that are set together.
        own
            What was read of them.

        Returns
        -------
        Track
            Each pass and the moves between them, weighed by their standard errors: what a turn really
            does is learnt from what every move changed, what is still needed from all the readings.
        """
        told, weight = 1 / USUAL_UNCERTAINTY**2, 1 / USUAL_UNCERTAINTY**2
        need, variance, before = 0.0, np.inf, None
        stuck, reverse = 0, False
        for at in sorted({reading.at for reading in own}):
            advices = self._advices(tuple(reading for reading in own if reading.at <= at))
            now = next((advice for advice in advices if advice.string in unit), None)
            asked = next(reading.moved for reading in own if reading.at == at)
            if now is None:
                variance, before = np.inf, None
                continue
            if before is not None and asked:
                made, uncertainty = before.wanted - now.wanted, float(np.hypot(before.error, now.error))
                reverse = made * np.sign(asked) < -2 * uncertainty
                stuck = stuck + 1 if abs(made) < 2 * uncertainty and abs(asked) > 5 * uncertainty else 0
                if reverse or stuck:
                    variance = np.inf  # not the move that was asked for: what was read before tells nothing of now
                else:
                    # What was made is known as well as it was before: by the share without this move.
                    need, variance = need - told / weight * asked, variance + asked**2 / weight
                    told, weight = told + asked * made / uncertainty**2, weight + (asked / uncertainty) ** 2
            own_weight, old_weight = 1 / now.error**2, 1 / variance
            need = (need * old_weight + now.wanted * own_weight) / (old_weight + own_weight)
            variance, before = 1 / (old_weight + own_weight), now
        return Track(need, float(np.sqrt(variance)), float(np.clip(told / weight, 0.5, 1.5)), stuck, reverse)


def said_move(instrument: Instrument, move: float) -> str:
    """Word a move for the hand: its way, its length and the turns of the screw."""
    where = "back, away from the nut" if move > 0 else "forward, toward the nut"
    said = f"{where}: {instrument.plan.said(abs(move))}"
    turns = turns_of(instrument.plan, move)
    return said if turns is None else f"{said}, {said_turns(turns)}"


def said_turns(turns: float) -> str:
    """Word turns of a screw to the quarter: ``1 3/4 clockwise``."""
    whole, quarters = divmod(round(abs(turns) * 4), 4)
    part = ("", "1/4", "1/2", "3/4")[quarters]
    if not turns:
        return "under 1/4"
    return f"{' '.join(filter(None, (str(whole or ''), part)))} {'clockwise' if turns > 0 else 'anticlockwise'}"


def understood(text: str, plan: Plan, question: Question) -> tuple[float, str]:
    """Understand what was typed for a reading.

    Parameters
    ----------
    text
        Cents, or a frequency with ``hz``; a ``w`` behind it for a note that warbles.
    plan
        The plan.
    question
        What was asked.

    Returns
    -------
    tuple
        Cents, and the note for the log.

    Raises
    ------
    ValueError
        It is neither; the message says what is.
    """
    found = _ANSWER.fullmatch(text.strip().replace("\u2212", "-")) if len(text) < _LONGEST else None
    if found is None:
        raise ValueError(f"{quoted(text)}: cents such as -2.5, or 329.1 hz; w behind it when the note warbles")
    cents = float(found[1].replace(",", "."))
    if (found[2] or "").lower() == "hz":
        heard = cents_of(plan, question.string, question.fret, cents) if cents > 0 else np.inf
        if heard is None:
            raise ValueError(f"{quoted(text)}: the plan states no pitch to compare with; give cents")
        cents = heard
    if abs(cents) > FURTHEST:
        raise ValueError(f"{quoted(text)}: another note, by hundreds of cents; read fret {question.fret} again")
    return cents, "warble" if found[3] else ""


def _named(unit: Sequence[int]) -> str:
    return " and ".join(map(str, unit))
