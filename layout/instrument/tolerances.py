"""What workshop errors cost: many instruments built by one plan, each a little off.

Every instrument has the offsets that the plan asks for; the errors are normal and independent, and nobody intonates
afterwards.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from slotwright.layout.errors import SlotwrightError, needed
from slotwright.layout.instrument.lines import distance, meet
from slotwright.layout.physics import strings
from slotwright.layout.physics.offsets import largest, rms
from slotwright.layout.physics.pitch import parts

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from slotwright.layout.instrument.instrument import Instrument
    from slotwright.layout.physics.pitch import Fretting
    from slotwright.layout.physics.strings import StringBody
    from slotwright.layout.plan.tables import String

    Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Cause:
    """One way in which a hand slips.

    Parameters
    ----------
    usual
        Standard deviation unless another is given [mm].
    most
        The largest that is understood [mm].
    what
        What slips, in words.
    source
        Where the usual size comes from.
    """

    usual: float
    most: float
    what: str
    source: str


CAUSES: Final = {
    "slot": Cause(0.05, 1.0, "where a fret's crown stands, alike under all strings", "from memory"),
    "nut": Cause(0.10, 1.0, "where a string leaves the nut", "from memory"),
    "saddle": Cause(0.20, 3.0, "where a string meets the saddle", "from memory"),
    "action": Cause(0.10, 1.0, "height of a string above the action fret", "from memory"),
    "nut-height": Cause(0.05, 0.5, "height of a string at the nut", "from memory"),
    "relief": Cause(0.05, 0.5, "bow of the neck, action and nut height kept", "from memory"),
    "gauge": Cause(0.003, 0.02, "thickness of a string, the core of a wound one kept", "from memory"),
}

DRAWS: Final = 10_000  # instruments; one per cent of them is then known to a tenth of a per cent
BAND: Final = (0.05, 0.5, 0.95)  # of the instruments: below, half, above

_WILD: Final = 10.0  # standard deviations that must fit into what there is: no draw comes near

_SEED: Final = 0  # the same plan gives the same answer
_NOTES: Final = 50_000  # calculated at once: what a processor holds near at hand


@dataclass(frozen=True, slots=True)
class Outcome:
    """What becomes of an instrument's notes.

    Parameters
    ----------
    sizes
        Standard deviation of each cause [mm].
    low, median, high
        Error that 5 %, half and 95 % of the instruments stay below [cents], shape (strings, frets).
    rms
        Root of the weighted mean square error at the target frets of all instruments [cents], shape (strings,).
    within
        Share of the instruments in which a string is inside the plan's tolerance over its whole aim,
        shape (strings,).
    all_within
        Share of those in which every string is.
    planned
        Mean square error at the target frets when nothing slips [cents2], shape (strings,).
    added
        What each cause adds to it [cents2], shape (strings,); to first order, as `_added` has it.
    """

    sizes: dict[str, float]
    low: Floats
    median: Floats
    high: Floats
    rms: Floats
    within: Floats
    all_within: float
    planned: Floats
    added: dict[str, Floats]

    @property
    def shares(self) -> dict[str, Floats]:
        """Share of each cause in what all slips add, shape (strings,); zero where nothing slips."""
        return _shares(self.added)

    @property
    def overall(self) -> dict[str, float]:
        """The same over all strings together."""
        return {name: float(share) for name, share in _shares({n: a.sum() for n, a in self.added.items()}).items()}


def simulate(instrument: Instrument, sizes: Mapping[str, float]) -> Outcome:
    """Build an instrument many times over by one plan.

    Parameters
    ----------
    instrument
        What was planned; its strings are known.
    sizes
        Standard deviations that differ from the usual ones of `CAUSES` [mm].

    Returns
    -------
    Outcome
        What becomes of its notes; the same at every call.

    Raises
    ------
    SlotwrightError
        A slip is larger than the instrument bears.
    """
    strung = instrument.stringing
    built = _Built.of(instrument)
    sigma = {name: float(sizes.get(name, cause.usual)) for name, cause in CAUSES.items()}
    _check(built, sigma)
    many, frets = strung.weights.shape
    rng = np.random.default_rng(_SEED)
    drawn = {name: sigma[name] * rng.standard_normal((DRAWS, *built.shapes[name])) for name in CAUSES}
    notes = np.empty((DRAWS, many, frets))
    square, most = np.empty((DRAWS, many)), np.empty((DRAWS, many))
    step = max(1, _NOTES // (many * frets))
    for first in range(0, DRAWS, step):
        some = slice(first, first + step)
        notes[some] = built.cents({name: each[some] for name, each in drawn.items()})
        square[some] = rms(notes[some], strung.weights) ** 2
        most[some] = largest(notes[some], strung.weights)
    inside = most <= instrument.plan.compensation.tolerance
    # String by string: sorting copies.
    low, median, high = np.stack([np.quantile(notes[:, i], BAND, axis=0) for i in range(many)], axis=1)
    return Outcome(
        sizes=sigma,
        low=low,
        median=median,
        high=high,
        rms=np.sqrt(square.mean(axis=0)),
        within=inside.mean(axis=0),
        all_within=float(inside.all(axis=1).mean()),
        planned=strung.rms**2,
        added={name: _added(built, name, sigma[name], strung.weights) for name in CAUSES},
    )


def _check(built: _Built, sigma: Mapping[str, float]) -> None:
    """Refuse slips that could carry a contact past a crown, or leave nothing of a string."""
    f = built.fretting
    rooms = {
        "slot and saddle": (
            np.hypot(sigma["slot"], sigma["saddle"]),
            (f.scale + built.saddle - f.frets[:, -1]).min(),
        ),
        "nut": (sigma["nut"], (f.action_at - built.nut).min()),
        "gauge": (sigma["gauge"], built.gauges.min()),
    }
    for name, (size, room) in rooms.items():
        if size > room / _WILD:
            raise SlotwrightError(
                f"slip of {name}: {size:.3f} mm is too much for this instrument; at most {room / _WILD:.3f} mm"
            )


def _added(built: _Built, name: str, sigma: float, weights: Floats) -> Floats:
    """Give what one cause adds to the mean square error at the target frets, shape (strings,) [cents2].

    Half the difference of the notes with this slip a standard deviation to either side, squared: exact while the
    notes follow a slip in a straight line. A note hangs on its own string and its own fret alone, so all of a kind
    slip at once.
    """
    apart = {other: np.zeros((2, *shape)) for other, shape in built.shapes.items()}
    apart[name][:] = np.reshape([sigma, -sigma], (2, *[1] * len(built.shapes[name])))
    up, down = built.cents(apart)
    return rms((up - down) / 2, weights) ** 2


def _shares(added: Mapping[str, Floats]) -> dict[str, Floats]:
    whole = np.asarray(sum(added.values()))
    return {n: np.divide(a, whole, out=np.zeros_like(whole), where=whole > 0) for n, a in added.items()}


def _heavier(string: String, body: StringBody) -> float:
    """Give the growth of a string's mass for a growth of its squared gauge, a wound one's core kept."""
    if string.kind != "wound steel":
        return 1.0
    thin = string.supposed(core=body.core, mass=None)
    # Mass goes with the squared gauge in a straight line, so any second point will do.
    thick = thin.supposed(gauge=needed(string.gauge, "the string's gauge is not stated") * np.sqrt(2))
    return strings.body(thick, 1.0).mass / strings.body(thin, 1.0).mass - 1


@dataclass(frozen=True, slots=True)
class _Built:
    """What stays the same from one instrument to the next.

    Parameters
    ----------
    fretting, saddle, nut
        The instrument as planned.
    stands_on
        A string of each saddle, shape (strings,): strings that share one slip with it.
    slide
        How far a crown moves along each string per move along the neck, shape (strings, frets).
    bow, action_bow
        How deep each crown lies under each string per relief, shape (strings, frets); the same where the action is
        measured, shape (strings,).
    gauges
        Thickness of the strings [mm].
    heavier
        Growth of a string's mass for a growth of its squared gauge, shape (strings,).
    cored
        True where the core carries the tension and keeps its size.
    evenly
        True where bending stiffness does not hang on the gauge.
    """

    fretting: Fretting
    saddle: Floats
    nut: Floats
    stands_on: NDArray[np.intp]
    slide: Floats
    bow: Floats
    action_bow: Floats
    gauges: Floats
    heavier: Floats
    cored: NDArray[np.bool_]
    evenly: NDArray[np.bool_]

    @classmethod
    def of(cls, instrument: Instrument) -> _Built:
        """Take an instrument's measures."""
        plan, neck, strung = instrument.plan, instrument.neck, instrument.stringing
        points = meet(neck.frets, neck.strings)
        flat, bowed = (
            replace(neck, relief=relief).crown_height(*np.moveaxis(points, -1, 0)) for relief in (0.0, 1.0)
        )
        slide, bow = distance(meet(neck.frets.moved(1.0), neck.strings), points).T, (flat - bowed).T
        return cls(
            fretting=strung.fretting,
            saddle=strung.offsets.saddle,
            stands_on=strung.saddles.first,
            nut=strung.offsets.nut,
            slide=slide[:, 1:],
            bow=bow[:, 1:],
            action_bow=bow[:, plan.action_fret],
            gauges=np.array([string.gauge for string in plan.strings], dtype=np.float64),
            heavier=np.array(list(map(_heavier, plan.strings, strung.bodies))),
            cored=np.array([string.kind == "wound steel" for string in plan.strings]),
            evenly=np.array([string.kind in ("wound steel", "wound nylon") for string in plan.strings]),
        )

    @property
    def shapes(self) -> dict[str, tuple[int, ...]]:
        """How often each cause slips on one instrument: per fret, per string, or once."""
        many, frets = self.bow.shape
        return {name: (frets,) if name == "slot" else () if name == "relief" else (many,) for name in CAUSES}

    def cents(self, slips: Mapping[str, Floats]) -> Floats:
        """Give the error of every note of instruments whose slips are given [cents], shape (many, strings, frets)."""
        f, relief = self.fretting, slips["relief"][:, None]
        thicker = (1 + slips["gauge"] / self.gauges) ** 2
        stiffer = np.where(self.cored, 1.0, thicker)
        slipped = replace(
            f,
            frets=f.frets + slips["slot"][:, None, :] * self.slide,
            crowns=f.crowns - relief[..., None] * self.bow,
            # The action is set above the crown where that came to lie.
            action_height=f.action_height + slips["action"] - relief * self.action_bow,
            nut_height=f.nut_height + slips["nut-height"],
            tension=f.tension * (1 + self.heavier * (thicker - 1)),
            axial=f.axial * stiffer,
            bending=f.bending * np.where(self.evenly, 1.0, thicker) ** 2,
        )
        return parts(slipped, self.saddle + slips["saddle"][..., self.stands_on], self.nut + slips["nut"]).total
