"""Saddles followed from move to move: the turns to make next, and moves that did not do what was asked.

What is to be done with a saddle is decided here alone, for the table of a bench and for its dialogue.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from slotwright.layout.bench.advice import advise, move_of, turns_of
from slotwright.layout.bench.state import SIGMA_OPEN, SIGMA_READING, gather
from slotwright.layout.findings import Finding, strings_named
from slotwright.layout.plan.bridges import Adjustable
from slotwright.layout.readings.notes import last_pass

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from slotwright.layout.bench.advice import Advice
    from slotwright.layout.bench.state import Readings, Setting
    from slotwright.layout.plan.plan import Plan
    from slotwright.layout.readings.notes import Reading

USUAL_UNCERTAINTY: Final = 0.15  # how far a turn may be from doing what it should, as a part of it (from memory)
MOST_LOOKS: Final = 2  # at one place of a saddle, while its string lies close to the end of the tolerance
SURE: Final = {1: 2.0, 2: 1.25}  # standard errors of so many looks inside the tolerance that leave no doubt
FINE_MOVES: Final = 2  # moves of a string, of those that only make sure
AGAIN: Final = "again"  # noted of what is read once more to be sure
_DOUBTS: Final = 2.0  # standard errors that a move must differ by to be told from another
_NOTICED: Final = 1.5  # standard errors of the share beyond which turns allow for it
_PRIOR: Final = 1 / USUAL_UNCERTAINTY**2


@dataclass(frozen=True, slots=True)
class Track:
    """What the moves of one saddle did, by the readings before and after each.

    Parameters
    ----------
    asked, made
        The last move: what was asked for and what was read of it, back positive [mm].
    told, weight
        Sums behind `share`: each move weighed by its standard error.
    stuck
        How many of the last moves changed nothing.
    reverse
        The last move went the wrong way.
    reversals
        How many moves did.
    moves
        How many were asked for.
    """

    asked: float = 0.0
    made: float = 0.0
    told: float = _PRIOR
    weight: float = _PRIOR
    stuck: int = 0
    reverse: bool = False
    reversals: int = 0
    moves: int = 0

    @property
    def share(self) -> float:
        """What part of the moves asked for was really made."""
        return float(np.clip(self.told / self.weight, 0.5, 1.5))

    @property
    def allowance(self) -> float:
        """What the next turns are divided by: the share, once enough was moved to be sure of it."""
        return self.share if abs(self.share - 1) > _NOTICED / np.sqrt(self.weight) else 1.0

    def after(self, asked: float, made: float, error: float) -> Track:
        """Follow one move more.

        Parameters
        ----------
        asked
            The move asked for, back positive [mm].
        made
            What the readings say that it was [mm].
        error
            Standard error of that [mm].
        """
        now = replace(self, asked=asked, made=made, stuck=0, reverse=False, moves=self.moves + 1)
        if made * np.sign(asked) < -_DOUBTS * error:
            return replace(now, reverse=True, reversals=self.reversals + 1)
        if abs(made) < _DOUBTS * error and abs(asked) > 5 * error:
            return replace(now, stuck=self.stuck + 1)
        return replace(now, told=self.told + asked * made / error**2, weight=self.weight + (asked / error) ** 2)


def follow(plan: Plan, setting: Setting, raw: Sequence[Reading]) -> dict[int, Track]:
    """Follow every saddle through its passes.

    Parameters
    ----------
    plan, setting
        The plan, and the strings as they lie.
    raw
        What was read, with the moves that were asked for.

    Returns
    -------
    dict
        Number of each string that was read to its track.
    """
    tracks = {reading.string: Track() for reading in raw}
    if not any(reading.moved for reading in raw):
        return tracks
    before: dict[int, Advice] = {}
    for at in sorted({reading.at for reading in raw}):
        so_far = [reading for reading in raw if reading.at <= at]
        advices = {advice.string: advice for advice in advise(plan, setting, gather(setting, so_far))}
        for string, asked in {reading.string: reading.moved for reading in so_far if reading.at == at}.items():
            last, now = before.pop(string, None), advices.get(string)
            if now is None or now.far_off or now.direction == "beyond":
                continue  # nothing to go by: what is moved until the next reading is not to be told
            if last is not None and asked:
                error = float(np.hypot(last.error, now.error))
                tracks[string] = tracks[string].after(asked, last.wanted - now.wanted, error)
            before[string] = now
    return tracks


def judge(
    plan: Plan, setting: Setting, readings: Readings, raw: Sequence[Reading]
) -> tuple[tuple[Advice, ...], dict[int, Track]]:
    """Say of every string what is to be done with its saddle now.

    Parameters
    ----------
    plan, setting
        The plan, and the strings as they lie.
    readings, raw
        What is known of the last pass, and all that was read, rounds without a move between them as one.

    Returns
    -------
    tuple of Advice, dict
        Advice for each string with a reading to go by, its turns by what turns did before: none are given
        while it is in doubt which way the screw turns. And the track of each string.
    """
    tracks = follow(plan, setting, raw)
    found = []
    for advice in advise(plan, setting, readings):
        track = tracks[advice.string]
        close = _may_better(setting, readings, raw, advice, track) and not is_sure(plan, advice, MOST_LOOKS)
        fine = _finely(advice) if close else advice
        found.append(replace(fine, turns=_turns(plan, fine, track)))
    return tuple(found), tracks


def is_sure(plan: Plan, advice: Advice, looks: int) -> bool:
    """Tell whether a string lies so far inside or outside the tolerance that no doubt is left of it.

    Parameters
    ----------
    plan
        The plan.
    advice
        What was read of the string.
    looks
        How often, tuned anew each time.
    """
    doubt = SURE[min(looks, MOST_LOOKS)] * np.hypot(SIGMA_READING, SIGMA_OPEN) / np.sqrt(looks)
    return bool(abs(_worst(advice) - plan.compensation.tolerance) >= doubt)


def _worst(advice: Advice) -> float:
    return float(np.abs(advice.now[advice.aimed]).max())


def _may_better(setting: Setting, readings: Readings, raw: Sequence[Reading], advice: Advice, track: Track) -> bool:
    """Tell whether a string that may be left was read once more to be sure, and a move would still better it."""
    string = advice.string
    last = last_pass(raw, string)
    again = any(AGAIN in each.note for each in raw if (each.string, each.at) == (string, last))
    shared = any(string - 1 in group for group in setting.groups if len(group) > 1)
    if advice.direction != "leave" or not advice.within or not again or shared or track.moves >= FINE_MOVES:
        return False
    looks = int(readings.count[string - 1, advice.frets[advice.aimed] - 1].min())
    return looks >= MOST_LOOKS and abs(advice.wanted) > advice.error


def _finely(advice: Advice) -> Advice:
    """Ask for the move of a string that could as well be left."""
    travel = None if advice.travel is None else (advice.travel[0] + advice.wanted, advice.travel[1] - advice.wanted)
    return replace(
        advice,
        direction="back" if advice.wanted > 0 else "forward",
        expected=advice.now + advice.slopes * advice.wanted,
        travel=travel,
    )


def _turns(plan: Plan, advice: Advice, track: Track) -> float | None:
    if advice.direction in ("leave", "beyond"):
        return advice.turns
    return None if track.reversals else turns_of(plan, advice.wanted / track.allowance)


def step_of(plan: Plan, advice: Advice, track: Track) -> float:
    """Give the move that a hand is asked for [mm], back positive: whole quarter turns where there is a thread."""
    if plan.bridge is None or plan.bridge.per_turn is None:
        return advice.wanted
    return move_of(plan, advice.wanted / track.allowance)


def of_moves(plan: Plan, advice: Advice, track: Track) -> Iterator[Finding]:
    """Say when the last move of a saddle did not do what was asked.

    Parameters
    ----------
    plan
        The plan.
    advice
        What is to be done with it now.
    track
        What its moves did.

    Yields
    ------
    Finding
        ``wrong way``, ``stuck`` or ``turns``; ``close`` where the string could as well be left.
    """
    subject, numbers = f"string {advice.string}", {"asked": track.asked, "made": track.made}
    asked = said_way(plan, track.asked)
    bridge = plan.bridge if isinstance(plan.bridge, Adjustable) else None
    pitch = None if bridge is None else bridge.thread_pitch
    if track.reverse:
        done = "turn" if pitch else "move"
        words = f"the last {done} went the wrong way: asked {asked}, the saddle went {said_way(plan, track.made)}"
        if bridge is not None and pitch:
            head = bridge.screw_from
            words += (
                f". Turn it back: {said_turning(plan, advice, track)}, and look which way the saddle goes. "
                f'The plan has screw_from = "{head}": is the head of this screw at the {_OTHER_END[head]}?'
            )
        yield Finding("wrong way", subject, words, numbers)
    elif track.stuck:
        words = f"its saddle did not move: asked {asked}. Is it stuck, or was it not moved yet?"
        yield Finding("stuck", subject, words, numbers)
    elif track.allowance != 1 and advice.turns and pitch:
        words = (
            f"one turn moved its saddle {plan.said(pitch * track.share)}, not {plan.said(pitch)} as the plan has it; "
            "the turns allow for that"
        )
        yield Finding("turns", subject, words, {"per_turn": pitch * track.share, "thread_pitch": pitch})
    shared = any(advice.string - 1 in group for group in plan.shared_contacts)
    if advice.direction in ("back", "forward") and not shared and _worst(advice) <= plan.compensation.tolerance:
        words = f"inside the tolerance, but so close to its end ({_worst(advice):.1f} cents) that a move makes sure"
        yield Finding("close", subject, words, {"cents": _worst(advice)})


_OTHER_END: Final = {"rear": "front", "front": "rear"}


def of_screws(plan: Plan, setting: Setting, tracks: Mapping[int, Track]) -> Iterator[Finding]:
    """Say so when screws seem to turn the other way than the plan has it: on two strings or more.

    Parameters
    ----------
    plan, setting
        The plan, and the strings as they lie.
    tracks
        What the moves of each string did.

    Yields
    ------
    Finding
        ``wrong way`` of the bridge.
    """
    shared = {string + 1 for group in setting.groups for string in sorted(group)[1:]}  # by the same screw
    wrong = sorted(string for string, track in tracks.items() if track.reversals and string not in shared)
    if len(wrong) > 1 and isinstance(plan.bridge, Adjustable) and plan.bridge.per_turn:
        words = (
            f"the saddles of {strings_named(wrong)} went the wrong way: check bridge.screw_from in the plan; it "
            f'says "{plan.bridge.screw_from}"'
        )
        yield Finding("wrong way", "bridge", words, {"strings": len(wrong)})


def said_way(plan: Plan, move: float) -> str:
    """Word a length with its way: ``1.25 mm back``."""
    return f"{plan.said(abs(move))} {'back' if move > 0 else 'forward'}"


def said_turning(plan: Plan, advice: Advice, track: Track) -> str:
    """Word how the screw is to be turned; empty without a thread.

    Whichever end a screw sits at, the opposite way to last time takes its saddle the other way: once one
    went wrong, its turns are told by what the last ones did, not by the hands of a clock.
    """
    turns = turns_of(plan, advice.wanted / track.allowance)
    if not turns:
        return "" if turns is None else "under 1/4 turn"
    many = f"{_quarters(turns)} turn{'s' * (abs(turns) > 1)}"
    if not track.reversals:
        return f"{many} {'clockwise' if turns > 0 else 'anticlockwise'}"
    way = "the same way as" if advice.wanted * track.made > 0 else "the opposite way to"
    return f"{many} {way} last time"


def said_turns(turns: float) -> str:
    """Word turns of a screw to the quarter: ``1 3/4 clockwise``."""
    if not turns:
        return "under 1/4"
    return f"{_quarters(turns)} {'clockwise' if turns > 0 else 'anticlockwise'}"


def _quarters(turns: float) -> str:
    whole, quarters = divmod(round(abs(turns) * 4), 4)
    part = ("", "1/4", "1/2", "3/4")[quarters]
    return " ".join(filter(None, (str(whole or ""), part)))
