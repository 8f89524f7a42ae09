"""At the bench: what was read of an instrument becomes saddle moves.

The error of a reading is counted against its open string, so that an open string out of tune does
no harm once its own cents are stated. The model gives how the error answers to a move, the readings
where it stands now.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

import numpy as np

from slotwright.layout.bench.state import best_place, beyond_model, used_weights
from slotwright.layout.physics.minimax import least_largest
from slotwright.layout.physics.offsets import SADDLE_REACH, largest
from slotwright.layout.physics.pitch import errors, parts

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from slotwright.layout.bench.state import Readings, Setting
    from slotwright.layout.physics.offsets import Criterion
    from slotwright.layout.plan.tables import Plan

    Floats = NDArray[np.float64]
    Flags = NDArray[np.bool_]

QUARTER: Final = 0.25  # turns; nobody turns a screw finer by eye

Direction = Literal["back", "forward", "leave"]


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
    move
        The move that serves the aim best, back positive [mm].
    error
        Its standard error [mm].
    direction
        Which way; "leave" when the aim is inside the tolerance or the move is smaller than its
        standard error.
    turns
        Turns of the screw to the nearest quarter, clockwise positive, none when it is to be left;
        None without a thread.
    expected
        Errors to be read once that is done [cents], shape (frets,).
    within
        The aim is inside the tolerance then.
    held
        The saddle stands, or belongs, further away than any bridge reaches.
    travel
        Way left before and behind the contact then [mm]; None where the bridge states none.
    """

    string: int
    frets: NDArray[np.intp]
    aimed: Flags
    now: Floats
    slopes: Floats
    move: float
    error: float
    direction: Direction
    turns: float | None
    expected: Floats
    within: bool
    held: bool
    travel: tuple[float, float] | None


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
    beyond, weights = beyond_model(setting, readings), used_weights(setting, readings)
    rule = plan.compensation
    best = best_place(setting, readings, rule.minimise)
    off, jacobian = errors(setting.fretting, best.saddle, setting.nut)
    move, spread = best.saddle - readings.place, np.zeros(len(best.saddle))
    tried = [int(string) for string in np.flatnonzero(readings.read.any(axis=1))]
    for string in tried:
        frets = np.flatnonzero(weights[string] > 0)
        left = (off + beyond)[string, frets]
        sensitivity = sensitivity_of_move(weights[string, frets], jacobian[string, frets, 0], left, rule.minimise)
        spread[string] = np.sqrt(np.einsum("i,ij,j", sensitivity, readings.covariance(string, frets), sensitivity))
    inside = largest(readings.cents, weights) <= rule.tolerance
    for group in setting.groups:
        together = [string for string in group if string in tried]
        if len(together) > 1:
            rows = [weights[string] > 0 for string in together]
            slopes = [jacobian[string, row, 0] for string, row in zip(together, rows, strict=True)]
            left = [(off + beyond)[string, row] for string, row in zip(together, rows, strict=True)]
            pull = (weights * jacobian[..., 0] ** 2).sum(axis=1)[together]
            move[together] = _shared_move(move[together], pull, slopes, left, rule.minimise)
            spread[together] = np.sqrt(np.sum((pull / pull.sum() * spread[together]) ** 2))
            inside[together] = inside[together].all()
    low, high = (part * setting.fretting.scale for part in SADDLE_REACH)
    held = best.saddle_held | (readings.place < low) | (readings.place > high)
    leave = inside | (np.abs(move) < spread)
    done = np.where(leave, 0.0, move)
    after = parts(setting.fretting, readings.place + done, setting.nut).total + beyond
    return tuple(
        _advice(
            plan,
            setting,
            readings,
            string,
            weights,
            jacobian[..., 0],
            move[string],
            spread[string],
            bool(leave[string]),
            bool(held[string]),
            after[string],
        )
        for string in tried
    )


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
    move: float,
    spread: float,
    leave: bool,
    held: bool,
    after: Floats,
) -> Advice:
    frets = np.flatnonzero(readings.read[string])
    aimed = weights[string, frets] > 0
    done = 0.0 if leave else move
    travel = None
    if setting.room is not None:
        gone = float(readings.saddle[string] + done - setting.saddle[string])
        before, behind = setting.room[string]
        travel = (float(before + gone), float(behind - gone))
    return Advice(
        string=string + 1,
        frets=frets + 1,
        aimed=aimed,
        now=readings.cents[string, frets],
        slopes=slopes[string, frets],
        move=float(move),
        error=float(spread),
        direction="leave" if leave else "back" if move > 0 else "forward",
        turns=turns_of(plan, done),
        expected=after[frets],
        within=bool((np.abs(after[frets][aimed]) <= plan.compensation.tolerance).all()),
        held=held,
        travel=travel,
    )
