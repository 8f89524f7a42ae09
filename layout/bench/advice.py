"""At the bench: what was read of an instrument becomes saddle moves.

The error of a reading is counted against its open string, so that an open string out of tune does
no harm once its own cents are stated. The model gives how the error answers to a move, the readings
where it stands now.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final, Literal

import numpy as np

from slotwright.layout.bench.state import LOW_FRETS, best_place, beyond_model, used_weights
from slotwright.layout.physics.minimax import least_largest
from slotwright.layout.physics.offsets import SADDLE_REACH, largest
from slotwright.layout.physics.pitch import errors, parts
from slotwright.layout.units import SHOWN

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from slotwright.layout.bench.state import Readings, Setting
    from slotwright.layout.physics.offsets import Criterion
    from slotwright.layout.plan.plan import Plan

    Floats = NDArray[np.float64]
    Flags = NDArray[np.bool_]

NO_SADDLE: Final = 50.0  # cents, half a semitone: no saddle is that far off (common practice, no source)
QUARTER: Final = 0.25  # turns; nobody turns a screw finer by eye

Direction = Literal["back", "forward", "leave", "beyond"]


@dataclass(frozen=True, slots=True)
class Advice:
    """What to do with one saddle.

    Parameters
    ----------
    string
        Number of the string.
    frets
        Frets it was read at.
    aimed
        True for those that the move is to serve, shape (frets,).
    now
        Errors as read [cents], shape (frets,).
    slopes
        How each error answers to a move [cents/mm], shape (frets,).
    wanted
        The move that serves the aim best, back positive [mm].
    error
        Its standard error [mm].
    direction
        Which way; "leave" when the aim is inside the tolerance, the move is smaller than its standard
        error, a note warbles, or only the lowest frets were read; "beyond" where the travel, or any
        bridge, does not reach: then nothing is to be moved either.
    turns
        Turns of the screw to the nearest quarter, clockwise positive, none when nothing is to be
        moved; None without a thread.
    expected
        Errors to be read once that is done [cents], shape (frets,).
    within
        The aim is inside the tolerance then.
    warbles
        Notes of the string, or of one that shares its saddle, beat against themselves: no move can be told.
    low
        Only the lowest frets were read, which tell of the nut and of the hand.
    held
        The saddle stands, or belongs, further away than any bridge reaches.
    missing
        By how much the travel misses the move [mm]; 0 where it holds it or is not known.
    travel
        Way left before and behind the contact then [mm]; None where the bridge states none or where
        the saddle's place was not read.
    """

    string: int
    frets: NDArray[np.intp]
    aimed: Flags
    now: Floats
    slopes: Floats
    wanted: float
    error: float
    direction: Direction
    turns: float | None
    expected: Floats
    within: bool
    warbles: bool
    low: bool
    held: bool
    missing: float
    travel: tuple[float, float] | None

    @property
    def move(self) -> float | None:
        """The move that serves the aim best, back positive [mm]; None where notes warble."""
        return None if self.warbles else self.wanted

    @property
    def far_off(self) -> bool:
        """A reading is further off than a saddle can be."""
        return bool(np.abs(self.now).max() > NO_SADDLE)


def advise(plan: Plan, setting: Setting, readings: Readings) -> tuple[Advice, ...]:
    """Say for every string that was read how its saddle is to be moved.

    Parameters
    ----------
    plan
        The plan.
    setting
        The strings as they lie.
    readings
        What was read.

    Returns
    -------
    tuple of Advice
        One for each string with a reading to go by.
    """
    weights, off_model = used_weights(setting, readings), beyond_model(setting, readings)
    best = best_place(setting, readings, plan.compensation.minimise)
    move, spread, slopes = _best_moves(plan, setting, readings, best.saddle)
    low, high = (part * setting.fretting.scale for part in SADDLE_REACH)
    held = best.saddle_held | (readings.place < low) | (readings.place > high)
    inside = largest(readings.cents, weights) <= plan.compensation.tolerance
    warbles, missing, few = readings.warbles.copy(), _missing(setting, readings, move), _only_low(setting, readings)
    for together in map(list, setting.groups):  # one saddle: what holds one string back holds all
        warbles[together], missing[together] = warbles[together].any(), missing[together].max()
        read = [string for string in together if readings.read[string].any()]
        inside[read], few[read] = inside[read].all(), few[read].all()
    leave = inside | (np.abs(move) < spread) | warbles | few
    beyond = ~leave & (held | (missing > SHOWN))
    done = np.where(leave | beyond, 0.0, move)
    after = parts(setting.fretting, readings.place + done, setting.nut).total + off_model
    return tuple(
        _advice(
            plan,
            setting,
            readings,
            string,
            weights,
            slopes,
            done[string],
            after[string],
            wanted=float(move[string]),
            error=float(spread[string]),
            direction="leave" if leave[string] else "beyond" if beyond[string] else _way(move[string]),
            warbles=bool(warbles[string]),
            low=bool(few[string]),
            held=bool(held[string]),
            missing=float(missing[string]) if beyond[string] else 0.0,
        )
        for string in map(int, np.flatnonzero(readings.read.any(axis=1)))
    )


def _best_moves(plan: Plan, setting: Setting, readings: Readings, saddle: Floats) -> tuple[Floats, Floats, Floats]:
    """Give the move of every saddle to its best place and its standard error [mm], and the slopes of errors there."""
    weights, minimise = used_weights(setting, readings), plan.compensation.minimise
    off, jacobian = errors(setting.fretting, saddle, setting.nut)
    slopes, left = jacobian[..., 0], off + beyond_model(setting, readings)
    move, spread = saddle - readings.place, np.zeros(len(saddle))
    for string in np.flatnonzero(readings.read.any(axis=1)):
        frets = np.flatnonzero(weights[string] > 0)
        sensitivity = sensitivity_of_move(
            weights[string, frets], slopes[string, frets], left[string, frets], minimise
        )
        spread[string] = np.sqrt(
            np.einsum("i,ij,j", sensitivity, readings.covariance(int(string), frets), sensitivity)
        )
    for group in setting.groups:
        together = [string for string in group if readings.read[string].any()]
        if len(together) > 1:
            used = [weights[string] > 0 for string in together]
            own_slopes, own_left = (
                [part[s, row] for s, row in zip(together, used, strict=True)] for part in (slopes, left)
            )
            pull = (weights * slopes**2).sum(axis=1)[together]
            move[together] = _shared_move(move[together], pull, own_slopes, own_left, minimise)
            spread[together] = np.sqrt(np.sum((pull / pull.sum() * spread[together]) ** 2))
    return move, spread, slopes


def _way(move: float) -> Direction:
    return "back" if move > 0 else "forward"


def _only_low(setting: Setting, readings: Readings) -> Flags:
    """Tell of which strings the lowest frets alone were read, though the aim has others, shape (strings,)."""
    above = readings.read[:, LOW_FRETS:].any(axis=1) | ~setting.weights[:, LOW_FRETS:].any(axis=1)
    low: Flags = np.asarray(readings.read.any(axis=1) & ~above)
    return low


def _missing(setting: Setting, readings: Readings, move: Floats) -> Floats:
    """Give by how much the travel misses each move [mm], shape (strings,).

    Where nobody read a saddle's place it may stand anywhere in its travel: only more than all of that misses.
    """
    if setting.room is None:
        return np.zeros(len(move))
    gone = readings.saddle + move - setting.saddle
    off_end = np.maximum(-setting.room[:, 0] - gone, gone - setting.room[:, 1])
    missing: Floats = np.where(readings.known, off_end, np.abs(move) - setting.room.sum(axis=1))
    return np.maximum(missing, 0.0)


def _shared_move(
    move: Floats, pull: Floats, slopes: Sequence[Floats], left: Sequence[Floats], minimise: Criterion
) -> float:
    """Give the one move that serves the strings of a shared saddle best, from what each wants for itself [mm]."""
    if minimise == "rms":
        return float(pull / pull.sum() @ move)
    now = [off - slope * own for off, slope, own in zip(left, slopes, move, strict=True)]
    return float(least_largest(np.concatenate(now), np.concatenate(slopes)))


def sensitivity_of_move(weights: Floats, slopes: Floats, left: Floats, minimise: Criterion) -> Floats:
    """Give how much the best move changes with each reading.

    Parameters
    ----------
    weights
        Weight of each reading, above 0, shape (n,).
    slopes
        Change of each error by the saddle [cents/mm], shape (n,).
    left
        Errors that the best move leaves [cents], shape (n,).
    minimise
        What the move makes least.

    Returns
    -------
    ndarray, shape (n,)
        Derivatives [mm/cents].
    """
    if minimise == "rms":
        least: Floats = -weights * slopes / (weights * slopes**2).sum()
        return least
    # The largest errors on either side hold the saddle between them; of one reading alone nothing is left.
    held = np.zeros(len(left))
    held[[int(np.argmax(left)), int(np.argmin(left))]] = 1.0
    sensitivity: Floats = -held / (held * slopes).sum()
    return sensitivity


def turns_of(plan: Plan, move: float) -> float | None:
    """Give a move in turns of the saddle's screw.

    Parameters
    ----------
    plan
        The plan; its bridge may have a thread.
    move
        The move, back positive [mm].

    Returns
    -------
    float or None
        Turns to the nearest quarter, clockwise positive; None without a thread.
    """
    per_turn = None if plan.bridge is None else plan.bridge.per_turn
    return None if per_turn is None else round(move / per_turn / QUARTER) * QUARTER + 0.0


def move_of(plan: Plan, move: float) -> float:
    """Give what a hand really does of a move [mm]: whole quarter turns where there is a thread."""
    turns = turns_of(plan, move)
    if turns is None or plan.bridge is None:
        return move
    return turns * (plan.bridge.per_turn or 0.0)


def _advice(
    plan: Plan,
    setting: Setting,
    readings: Readings,
    string: int,
    weights: Floats,
    slopes: Floats,
    done: float,
    after: Floats,
    **found: Any,  # noqa: ANN401 - what is handed on as it is
) -> Advice:
    frets = np.flatnonzero(readings.read[string])
    aimed = weights[string, frets] > 0
    travel = None
    if setting.room is not None and readings.known[string]:
        gone = float(readings.saddle[string] + done - setting.saddle[string])
        before, behind = setting.room[string]
        travel = (float(before + gone), float(behind - gone))
    return Advice(
        string=string + 1,
        frets=frets + 1,
        aimed=aimed,
        now=readings.cents[string, frets],
        slopes=slopes[string, frets],
        turns=turns_of(plan, done),
        expected=after[frets],
        within=bool((np.abs(after[frets][aimed]) <= plan.compensation.tolerance).all()),
        travel=travel,
        **found,
    )
