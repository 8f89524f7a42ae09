"""The strings as they lie on the bench, and what is known of them from readings."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from slotwright.layout.instrument.stringing import aim_weights, between_outer, limp
from slotwright.layout.instrument.tunings import in_all_tunings
from slotwright.layout.physics.offsets import compensate
from slotwright.layout.physics.pitch import parts
from slotwright.layout.readings.notes import last_pass

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from slotwright.layout.instrument.instrument import Instrument
    from slotwright.layout.physics.offsets import Criterion, Offsets
    from slotwright.layout.physics.pitch import Fretting
    from slotwright.layout.readings.notes import Reading

    Floats = NDArray[np.float64]
    Flags = NDArray[np.bool_]

SIGMA_READING: Final = 0.5  # cents, standard error of one reading (from memory)
LOW_FRETS: Final = 3  # frets 1 to 3 feel nut and hand most, the saddle least (common practice, no source)
LEAST_DOUBT: Final = 0.05  # cents, what no reading is surer than: strings drift by more in a minute (from memory)
SIGMA_OPEN: Final = 0.5  # cents, of the open string's tuning, common to all its readings (from memory)


@dataclass(frozen=True, slots=True)
class Readings:
    """What is known of every string in its last pass; an array for each question.

    Parameters
    ----------
    cents
        Mean error against the open string [cents], 0 where not read, shape (strings, frets).
    count
        How often each note was read, shape (strings, frets).
    saddle
        Where each saddle stands: as stated, else where the plan has it [mm], shape (strings,).
    known
        True where that was stated, shape (strings,).
    settled
        True where it is known, stated or never moved since the plan, shape (strings,).
    warbles
        True where a note of the last pass beats against itself, shape (strings,).
    place
        Where the model is to take each saddle [mm], shape (strings,): as stated, else where the
        readings themselves put it. The answer to a move changes by half a part in a hundred per mm,
        too much for a saddle found far from its place.
    variance
        Of each mean error, the open string's aside [cents2], shape (strings, frets).
    open_variance
        Of the open string's tuning, common to all readings of the string [cents2], shape (strings,).
    """

    cents: Floats
    count: NDArray[np.intp]
    saddle: Floats
    known: Flags
    settled: Flags
    warbles: Flags
    place: Floats
    variance: Floats
    open_variance: Floats

    @property
    def read(self) -> Flags:
        """True for the notes that were read, shape (strings, frets)."""
        return self.count > 0

    def covariance(self, string: int, frets: NDArray[np.intp]) -> Floats:
        """Give the covariance of the mean errors of one string [cents2], shape (frets, frets)."""
        covariance: Floats = np.diag(self.variance[string, frets]) + self.open_variance[string]
        return covariance


@dataclass(frozen=True, slots=True)
class Setting:
    """The strings as they lie on the bench.

    Parameters
    ----------
    fretting
        Strings over frets; limp ones where the plan does not know them.
    tuned
        The same in every tuning that the plan serves.
    weights
        The plan's aim, shape (strings, frets).
    saddle, nut
        Where the plan has their contacts [mm], shape (strings,).
    room
        Travel before and behind the saddle's place in the plan, along the string [mm], shape
        (strings, 2); None where the bridge states none.
    groups
        Strings (from 0) whose saddle is moved as one.
    across
        Where each string lies between the outer ones, bass 0 and treble 1, shape (strings,).
    """

    fretting: Fretting
    tuned: Fretting
    weights: Floats
    saddle: Floats
    nut: Floats
    room: Floats | None
    groups: tuple[tuple[int, ...], ...]
    across: Floats


def setting_of(instrument: Instrument) -> Setting:
    """Gather what the bench needs of an instrument.

    Parameters
    ----------
    instrument
        The instrument; its strings need not be known.

    Returns
    -------
    Setting
        The strings as they lie.
    """
    plan, neck, strung = instrument.plan, instrument.neck, instrument.strung
    weights, across = aim_weights(plan), between_outer(neck.nut_ends[:, 1])
    if strung is None:
        none, strings = np.zeros(len(plan.strings)), limp(plan, neck)
        return Setting(strings, strings, weights, none, none, None, (), across)
    room = None
    placed = instrument.placed
    if placed is not None and placed.bands is not None and placed.reserve is not None:
        away = np.abs((placed.bands - placed.contacts[:, None]) / neck.directions[:, None, :1])[..., 0]
        room = np.copysign(away, placed.reserve)
    tuned = in_all_tunings(plan, strung.fretting)
    return Setting(
        strung.fretting, tuned, weights, strung.offsets.saddle, strung.offsets.nut, room, plan.shared_contacts, across
    )


def doubt_of(reading: Reading) -> float:
    """Give the standard error of a reading [cents]: as stated, else a meter's."""
    return SIGMA_READING if reading.doubt is None else max(reading.doubt, LEAST_DOUBT)


def open_doubt_of(reading: Reading) -> float:
    """Give the standard error of the open string of a reading [cents]."""
    return SIGMA_OPEN if reading.open_doubt is None else max(reading.open_doubt, LEAST_DOUBT)


def gather(setting: Setting, readings: Sequence[Reading]) -> Readings:
    """Average each string's last pass.

    Parameters
    ----------
    setting
        The strings as they lie.
    readings
        What was read; notes that warble are left out.

    Returns
    -------
    Readings
        An array for each question.
    """
    shape = setting.weights.shape
    cents, count = np.zeros(shape), np.zeros(shape, dtype=np.intp)
    saddle, known = setting.saddle.copy(), np.zeros(shape[0], dtype=np.bool_)
    settled = np.ones(shape[0], dtype=np.bool_)
    last = {string: last_pass(readings, string) for string in range(1, shape[0] + 1)}
    passes = {(reading.string, reading.at): reading for reading in readings}
    for (string, _), reading in sorted(passes.items()):
        known[string - 1] = reading.saddle_offset is not None
        settled[string - 1] = known[string - 1] or (settled[string - 1] and not reading.moved)
        saddle[string - 1] = (
            saddle[string - 1] + reading.moved if reading.saddle_offset is None else reading.saddle_offset
        )
    heard: dict[tuple[int, int], list[float]] = defaultdict(list)
    doubts: dict[tuple[int, int], list[float]] = defaultdict(list)
    variance, tuning = np.full(shape, SIGMA_READING**2), np.full(shape[0], SIGMA_OPEN**2)
    warbles = np.zeros(shape[0], dtype=np.bool_)
    for reading in readings:
        if reading.at != last[reading.string]:
            continue
        if reading.warbles:
            warbles[reading.string - 1] = True
        else:
            note = reading.string - 1, reading.fret - 1
            heard[note].append(reading.error)
            doubts[note].append(doubt_of(reading))
            tuning[reading.string - 1] = open_doubt_of(reading) ** 2
    for note, each in heard.items():
        cents[note], count[note] = float(np.mean(each)), len(each)
        variance[note] = np.mean(np.square(doubts[note])) / len(each)
    found = Readings(cents, count, saddle, known, settled, warbles, saddle, variance, tuning)
    if known.all():
        return found
    # The move that the readings want, from where the plan has the saddle, tells how far it stands from there.
    for _ in range(2):
        place = np.where(known, saddle, saddle - (best_place(setting, found).saddle - found.place))
        found = replace(found, place=place)
    return found


def each_pass(setting: Setting, raw: Sequence[Reading]) -> tuple[Readings, ...]:
    """Gather every pass by itself, each with its own tuning of the open strings.

    Parameters
    ----------
    setting
        The strings as they lie.
    raw
        What was read.

    Returns
    -------
    tuple of Readings
        One for each pass; a saddle once moved is settled again only where its place is stated.
    """
    found = []
    for at in sorted({reading.at for reading in raw}):
        now = gather(setting, [reading for reading in raw if reading.at == at])
        moved = {reading.string - 1 for reading in raw if reading.moved and reading.at <= at}
        still = np.array([string not in moved for string in range(len(now.saddle))])
        found.append(replace(now, settled=now.known | still))
    return tuple(found)


def best_place(setting: Setting, readings: Readings, minimise: Criterion = "rms") -> Offsets:
    """Give where the saddles of the readings belong.

    Parameters
    ----------
    setting, readings
        The strings as they lie, and what was read of them at their own pitches.
    minimise
        What is to be made least, over all tunings of the plan.

    Returns
    -------
    Offsets
        Where each saddle belongs while the nut stays [mm], shape (strings,).
    """
    return compensate(
        setting.tuned,
        used_weights(setting, readings),
        minimise=minimise,
        beyond=beyond_model(setting, readings),
        nut_stands=setting.nut,
    )


def used_weights(setting: Setting, readings: Readings) -> Floats:
    """Give the weights of the frets that were read: those of the aim, or all where none of it was.

    Strings that were not read keep the plan's aim.
    """
    used = np.where(readings.read, setting.weights, 0.0)
    used = np.where(used.any(axis=1, keepdims=True), used, readings.read)
    weights: Floats = np.where(readings.read.any(axis=1, keepdims=True), used, setting.weights)
    return weights


def beyond_model(setting: Setting, readings: Readings) -> Floats:
    """Give what was read beyond the model's errors [cents], 0 where nothing was, (strings, frets)."""
    model = parts(setting.fretting, readings.place, setting.nut).total
    return np.where(readings.read, readings.cents - model, 0.0)
