"""What readings say when the saddle is not the cause: evidence in numbers and where to look."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Final

import numpy as np

from slotwright.layout.bench.advice import NO_SADDLE
from slotwright.layout.bench.calibration import calibrate, missing
from slotwright.layout.bench.moves import judge, of_moves, of_screws
from slotwright.layout.bench.patterns import UPPER_FRETS, Evidence
from slotwright.layout.bench.rounds import joined
from slotwright.layout.bench.state import LOW_FRETS, SIGMA_READING, each_pass, gather, setting_of
from slotwright.layout.findings import Finding, strings_named
from slotwright.layout.instrument.bridge_findings import cures
from slotwright.layout.physics.offsets import SADDLE_REACH, Saddles, compensate, largest
from slotwright.layout.physics.pitch import parts
from slotwright.layout.physics.temperament import CENTS_PER_NEPER
from slotwright.layout.plan.bridges import Adjustable
from slotwright.layout.readings.notes import FROM_FRET, UNHEARD, last_pass
from slotwright.layout.units import SHOWN, cents

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from numpy.typing import NDArray

    from slotwright.layout.bench.advice import Advice
    from slotwright.layout.bench.calibration import Calibrated
    from slotwright.layout.bench.patterns import Mark
    from slotwright.layout.instrument.instrument import Instrument
    from slotwright.layout.physics.offsets import Criterion, NutRule, Offsets
    from slotwright.layout.physics.pitch import Fretting
    from slotwright.layout.readings.notes import Reading

    Floats = NDArray[np.float64]

SCATTER: Final = 5 * SIGMA_READING  # cents between repeats of one note that a meter does not explain
_STICKS: Final = ("ping", "jump", "stick")


@dataclass(frozen=True, slots=True)
class Verdict:
    """Advice for one string with what was found about it.

    Parameters
    ----------
    advice
        What to do with its saddle; None where every note of it warbles.
    string
        Number of the string.
    findings
        What the saddle does not cure: ``open string``, ``reading``, ``low frets``, ``no position``, ``nut``,
        ``magnets``, ``sticking`` or ``travel``; what its last move did: ``wrong way``, ``stuck`` or
        ``turns``; ``close`` where the string could as well be left.
    """

    advice: Advice | None
    string: int
    findings: tuple[Finding, ...]


@dataclass(frozen=True, slots=True)
class Intonation:
    """All that readings say.

    Parameters
    ----------
    strings
        One verdict for each string that was read.
    findings
        What concerns several strings: ``rounds``, ``target``, ``wrong way``, ``crown`` or ``worn crown``.
    calibrated
        What the readings teach the model; None where they are too few.
    wanting
        What is wanting for that; empty when nothing is.
    """

    strings: tuple[Verdict, ...]
    findings: tuple[Finding, ...]
    calibrated: Calibrated | None
    wanting: str

    @property
    def advices(self) -> tuple[Advice, ...]:
        """Advice for every string that has a reading to go by."""
        return tuple(verdict.advice for verdict in self.strings if verdict.advice is not None)


def intonate(instrument: Instrument, raw: Sequence[Reading]) -> Intonation:
    """Turn the readings of an instrument into saddle moves, and say what else they show.

    Parameters
    ----------
    instrument
        The instrument.
    raw
        Its readings, as `read_readings` gives them.

    Returns
    -------
    Intonation
        The move of every string that was read (`advices`), what is wrong with strings, nut or frets, what the
        readings teach of the strings.
    """
    plan, setting = instrument.plan, setting_of(instrument)
    passes, (raw, rounds) = each_pass(setting, raw), joined(raw)
    readings = gather(setting, raw)
    advices, tracks = judge(plan, setting, readings, raw)
    words = _Words(instrument, Evidence(plan, setting, readings))
    marks = words.evidence.marks(advices)
    alike = tuple(_all_alike(advices))
    of_string = {
        advice.string: (
            *(() if alike else _doubtful(advice)),
            *of_moves(plan, advice, tracks[advice.string]),
            *words.no_position(advice),
            *words.company(advice),
            *words.of_marks(advice, marks[advice.string]),
            *words.travel(advice),
        )
        for advice in advices
    }
    moved = {advice.string: advice for advice in advices}
    verdicts = [
        Verdict(moved.get(string), string, (*_heard(raw, string), *of_string.get(string, ())))
        for string in sorted({reading.string for reading in raw})
    ]
    wrong = sorted({mark.kind.split()[0] for each in marks.values() for mark in each})
    wanting = missing(setting, passes) or (
        f"the readings tell of {' and '.join(wrong)} first; mend that and read again" if wrong else ""
    )
    calibrated = None if wanting else calibrate(setting, passes)
    of_all = (*rounds, *alike, *of_screws(plan, setting, tracks), *words.crowns(advices, marks))
    return Intonation(tuple(verdicts), of_all, calibrated, wanting)


class _Words:
    """Puts evidence into words, in the units of the plan."""

    def __init__(self, instrument: Instrument, evidence: Evidence) -> None:
        self.instrument, self.plan, self.said = instrument, instrument.plan, instrument.plan.said
        self.evidence, self.setting = evidence, evidence.setting

    def of_marks(self, advice: Advice, marks: Sequence[Mark]) -> Iterator[Finding]:
        """Say what the patterns of one string point to."""
        kinds = {mark.kind: mark for mark in marks}
        if "nut height" in kinds or "nut place" in kinds:
            yield self.nut(advice)
        if (pull := kinds.get("magnets")) is not None:
            yield Finding(
                "magnets",
                f"string {advice.string}",
                f"above fret {self.plan.action_fret} the error bends up, {cents(pull.size, 1)} cents at fret "
                f"{advice.frets[-1]} (± {pull.error:.1f}): magnets may pull; lower the pickups and "
                "read again before the saddle is moved",
                {"cents": pull.size, "error": pull.error, "fret": int(advice.frets[-1])},
            )

    def nut(self, advice: Advice) -> Finding:
        """Say what speaks for the nut."""
        left = self.evidence.left(advice)
        low, upper = left[advice.frets <= LOW_FRETS], left[advice.frets >= UPPER_FRETS]
        zero, end, part = self.plan.frets.zero_fret, "the nut", "the nut slot"
        if zero:
            end = part = "the zero fret"
        words = {"nut height": f"{part} were {{}} too high", "nut place": f"{end} stood {{}} too far from fret 1"}
        sizes = {kind: float(size) for kind, size in self.evidence.nut_sizes(advice).items() if size > 0}
        as_if = " or ".join(words[kind].format(self.said(size)) for kind, size in sizes.items())
        good = f", frets {UPPER_FRETS} and up {cents(upper.mean(), 1)}" if upper.size else ""
        return Finding(
            "nut",
            f"string {advice.string}",
            f"with the saddle at its best frets 1 to {LOW_FRETS} stay {cents(low.mean(), 1)} cents off{good}: "
            f"{part} is too high, or the hand presses hard. Press as lightly as the note speaks and read again; "
            f"if they stay, look at the height of {part} first, then at its distance to fret 1; as if {as_if}",
            {"cents": float(low.mean()), **{kind.replace(" ", "_"): size for kind, size in sizes.items()}},
        )

    def crowns(self, advices: Sequence[Advice], marks: Mapping[int, Sequence[Mark]]) -> Iterator[Finding]:
        """Say which crowns to look at: off under all strings, or under some."""
        for fret in sorted({mark.fret for each in marks.values() for mark in each if mark.kind == "crown"}):
            read = [advice for advice in advices if fret in advice.frets]
            sizes = {a.string: self.evidence.at_fret(a, fret, marks[a.string]) for a in read}
            sure = [m.size for each in marks.values() for m in each if (m.kind, m.fret) == ("crown", fret)]
            usual = float(np.mean(sure))
            # Off by half as much, though too little to be sure of it alone: the same crown.
            off = [string for string, size in sizes.items() if size * np.sign(usual) > abs(usual) / 2]
            yield self.crown(fret, off, len(read), float(np.mean([sizes[string] for string in off])))

    def crown(self, fret: int, off: Sequence[int], read: int, size: float) -> Finding:
        """Word the finding of a crown."""
        lengths = self.setting.fretting.scale - self.setting.fretting.frets[:, fret - 1]
        astray = size * float(np.mean(lengths[np.array(off) - 1])) / CENTS_PER_NEPER
        toward = "bridge" if astray > 0 else "nut"
        by, numbers = f"fret {fret} is {cents(size, 1)} cents off", {"fret": fret, "cents": size, "astray": astray}
        if len(off) == read and read > 1:
            return Finding(
                "crown",
                f"fret {fret}",
                f"{by} on all {read} strings read there: look at that crown, as if it stood {self.said(abs(astray))} "
                f"toward the {toward}",
                numbers,
            )
        which = ", ".join(map(str, off))
        if size > 0:
            what = f"a worn flat crown touches nearer to the bridge; a flat {self.said(2 * astray)} wide would do it"
        else:
            what = "see whether it is loose or leans there"
        return Finding(
            "worn crown",
            f"fret {fret}, string {which}",
            f"{by} under string {which} only, of {read} read there: read it again, then look; {what}",
            numbers,
        )

    def serving(self, fretting: Fretting, nut: NutRule, minimise: Criterion) -> Offsets:
        """Give where the contacts of strings belong by what was read."""
        evidence, stands = self.evidence, self.setting.nut
        return compensate(
            fretting, evidence.weights, nut=nut, minimise=minimise, beyond=evidence.beyond, nut_stands=stands
        )

    @cached_property
    def least_largest(self) -> Offsets:
        """Where the saddles belong so that the worst note is as little off as can be."""
        return self.serving(self.setting.fretting, "none", "worst")

    @cached_property
    def nuts_moved(self) -> Offsets:
        """Where the contacts belong if each string had its own at the nut."""
        return self.serving(self.setting.fretting, "per string", self.plan.compensation.minimise)

    def no_position(self, advice: Advice) -> Iterator[Finding]:
        """Say so when no saddle position brings every note within the tolerance."""
        if np.count_nonzero(advice.aimed) < 2:
            return
        string, rule = advice.string - 1, self.plan.compensation
        setting, least = self.setting, self.least_largest
        aimed = self.evidence.weights[string] > 0

        def stays(saddle: Floats, nut: Floats) -> Floats:
            off: Floats = (parts(setting.fretting, saddle, nut).total + self.evidence.beyond)[string]
            return off

        most = float(np.abs(stays(least.saddle, setting.nut)[aimed]).max())
        if most <= self.evidence.tolerance:
            return
        left = self.evidence.left(advice)[advice.aimed]
        frets = advice.frets[advice.aimed]
        best, worst = int(np.argmin(np.abs(left))), int(np.argmax(np.abs(left)))
        evidence = (
            f"no saddle position gets below {most:.1f} cents over frets "
            f'{", ".join(map(str, frets))}; minimise = "{rule.minimise}" leaves {cents(left[best], 1)} at fret '
            f"{frets[best]}, which it favours, and {cents(left[worst], 1)} at fret {frets[worst]}"
        )
        if not self.plan.frets.zero_fret:
            free = self.nuts_moved
            nut = float(free.nut[string] - setting.nut[string])
            rest = float(np.abs(stays(free.saddle, free.nut)[aimed]).max())
            way = "toward fret 1" if nut > 0 else "away from fret 1"
            evidence += f"; the nut contact {self.said(abs(nut))} {way} would leave {rest:.1f} at most"
        yield Finding("no position", f"string {advice.string}", evidence, {"least": most})

    @cached_property
    def least_together(self) -> Floats:
        """What stays at most of each string when saddles are moved whole so that the worst note is least [cents]."""
        evidence, place = self.evidence, self.evidence.readings.place
        first = np.arange(len(place))
        for group in self.setting.groups:
            read = [string for string in group if evidence.readings.read[string].any()]
            first[read] = min(read, default=0)
        whole = Saddles(first, place - place[first], np.ones(len(place)))
        fretting, nut = self.setting.fretting, self.setting.nut
        best = compensate(
            fretting, evidence.weights, minimise="worst", beyond=evidence.beyond, nut_stands=nut, saddles=whole
        )
        off = parts(fretting, best.saddle, nut).total + evidence.beyond
        return whole.most(largest(off, evidence.weights))

    def company(self, advice: Advice) -> Iterator[Finding]:
        """Say so when a string could be within the tolerance, but not together with those that share its saddle."""
        string, tolerance = advice.string - 1, self.evidence.tolerance
        mates = [other + 1 for group in self.setting.groups if string in group for other in group if other != string]
        if not mates or advice.within or self.least_together[string] <= tolerance:
            return
        off = parts(self.setting.fretting, self.least_largest.saddle, self.setting.nut).total + self.evidence.beyond
        alone = float(largest(off, self.evidence.weights)[string])
        if alone > tolerance:
            return  # `no_position` has it
        together = float(self.least_together[string])
        words = (
            f"it shares a contact with {strings_named(mates)}: no place of that gets all of them below "
            f"{together:.1f} cents, alone this one could have {alone:.1f}; saddles of their own, or gauges whose "
            "set-backs lie closer to each other, would help"
        )
        yield Finding("shared contact", f"string {advice.string}", words, {"least": together, "alone": alone})

    def travel(self, advice: Advice) -> Iterator[Finding]:
        """Say what is missing at the end of the travel, and what each cure would gain."""
        if advice.low or advice.far_off:
            return  # said already: no matter of the saddle
        if advice.held:
            low, high = SADDLE_REACH
            yield Finding(
                "travel",
                f"string {advice.string}",
                f"the saddle would stand, or have stood, beyond {100 * low:.0f} to {100 * high:.0f} % of the scale, "
                "where no bridge reaches: look at the readings and at the plan's scale",
            )
        if not advice.missing:
            return
        if not self.evidence.readings.known[advice.string - 1]:
            whole = abs(advice.wanted) - advice.missing
            yield Finding(
                "travel",
                f"string {advice.string}",
                f"a move of {self.said(abs(advice.wanted))} is more than the whole travel of {self.said(whole)}: "
                f"read it again, and from fret {FROM_FRET} where its saddle stands (column from_fret_{FROM_FRET})",
                {"missing": advice.missing, "travel": whole},
            )
            return
        end = "rear" if advice.wanted > 0 else "front"
        gains = [*self._gains(advice)]
        help_ = f"to gain range: {', '.join(gains)}" if gains else "only another place of the bridge gains range"
        ends = f"it runs out of range by {self.said(advice.missing)} at the {end} end of its travel"
        yield Finding("travel", f"string {advice.string}", f"{ends}; {help_}", {"missing": advice.missing})

    def _gains(self, advice: Advice) -> Iterator[str]:
        """Say what would bring a saddle nearer to its place, and how far."""
        string, bridge, back = advice.string - 1, self.plan.bridge, advice.wanted > 0
        if isinstance(bridge, Adjustable):
            if bridge.crest_offset:
                yield f"the saddle turned round {self.said(2 * abs(bridge.crest_offset))}"
            if back == (bridge.screw_from == "rear"):  # the end at which a screw squeezes its spring
                yield "a shorter spring as much as it is shorter"
        if not back:
            return
        wanted = self.evidence.readings.place[string] + advice.wanted
        for cure in cures(self.plan, self.instrument.neck, self.instrument.stringing, string):
            then = self.serving(cure.fretting, cure.nut, self.plan.compensation.minimise)
            if (gained := float(wanted - then.saddle[string])) > SHOWN:
                yield f"{cure.what} {self.said(gained)}"


def _doubtful(advice: Advice) -> Iterator[Finding]:
    """Say what is no matter of a saddle in the readings of one string."""
    string = f"string {advice.string}"
    if advice.low:
        which = ", ".join(map(str, advice.frets))
        words = f"fret {which} alone tells of the nut and of the hand, not of the saddle; read the octave"
        yield Finding("low frets", string, words)
    elif advice.far_off:
        worst = int(np.argmax(np.abs(advice.now)))
        off = float(advice.now[worst])
        yield Finding(
            "reading",
            string,
            f"{cents(off, 1)} cents at fret {advice.frets[worst]} is more than a saddle does: another octave or "
            "target, another fret, or the open string out of tune; read it again",
            {"cents": off, "limit": NO_SADDLE},
        )


def _all_alike(advices: Sequence[Advice]) -> Iterator[Finding]:
    """Say so when every string is off by about the same, and by more than a saddle does."""
    means = [float(advice.now.mean()) for advice in advices]
    if len(means) > 2 and min(map(abs, means)) > NO_SADDLE and max(means) - min(means) < NO_SADDLE:
        mean = float(np.mean(means))
        words = (
            f"all {len(means)} strings read about {cents(mean, 0)} cents: the meter's reference, the tuning or a "
            "capo is another than the plan's"
        )
        yield Finding("target", "all strings", words, {"cents": mean})


def _heard(raw: Sequence[Reading], string: int) -> Iterator[Finding]:
    """Yield what was noted or scatters in a string's last pass."""
    last = last_pass(raw, string)
    now = [reading for reading in raw if reading.string == string and reading.at == last]
    if any(reading.open_doubt == UNHEARD for reading in now):
        words = "the recording has no open string to hold its notes against; record that string again, open too"
        yield Finding("open string", f"string {string}", words, {"doubt": UNHEARD})
    if warbling := sorted({reading.fret for reading in now if reading.warbles}):
        yield Finding(
            "magnets",
            f"string {string}",
            f"notes warble at fret {', '.join(map(str, warbling))}; they are not used: magnets may pull; lower the "
            "pickups and read again before the saddle is moved",
        )
    noted = sorted({reading.note for reading in now if any(word in reading.note.lower() for word in _STICKS)})
    repeats: dict[int, list[float]] = defaultdict(list)
    for reading in now:
        if not reading.warbles:
            repeats[reading.fret].append(reading.error)
    apart = {fret: max(each) - min(each) for fret, each in repeats.items() if len(each) > 1}
    signs = [f'"{note}" was noted' for note in noted]
    if apart and max(apart.values()) > SCATTER:
        fret = max(apart, key=lambda at: apart[at])
        signs.append(f"repeats at fret {fret} lie {apart[fret]:.1f} cents apart")
    if signs:
        yield Finding(
            "sticking",
            f"string {string}",
            f"{'; '.join(signs)}: the string may stick in its nut slot; free the slot and read again",
            {"apart": max(apart.values())} if apart else {},
        )
