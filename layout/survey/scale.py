"""From a measured neck to its scale, its rule, its bad frets and its saddle line."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from os import PathLike
from statistics import NormalDist
from typing import TYPE_CHECKING, Final, Literal

import numpy as np

from slotwright.layout.errors import Fault, MeasuredError
from slotwright.layout.limits import SCALES
from slotwright.layout.physics.temperament import CENTS_PER_NEPER, OCTAVE, speaking_fraction
from slotwright.layout.readings.crowns import read_measurements
from slotwright.layout.readings.table import MOST_BYTES
from slotwright.layout.sources import read
from slotwright.layout.survey.robust_fit import Fit, fit_lines, line_design, outlier_limit, settle
from slotwright.layout.units import MM_PER_INCH

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from slotwright.layout.readings.crowns import Measured
    from slotwright.layout.sources import Source
    from slotwright.layout.units import Unit

    Floats = NDArray[np.float64]
    Ints = NDArray[np.intp]

Rule = Literal["equal", "eighteen", "other", "none"]

SIGMA: Final = 0.15  # mm, a steel rule read with care (from memory)
FROM_CROWN: Final = 12  # the crown that saddle lines are measured from
EIGHTEEN: Final = float(OCTAVE * np.log2(18 / 17))  # cents from fret to fret by the rule of eighteen

_ALARM: Final = 0.04  # how often a sound neck may have any fret pointed out
_MEDIAN: Final = NormalDist().inv_cdf(0.75)  # the median size of standard normal values
_MEDIAN_ERROR: Final = 1.166  # standard error of a scatter told from the median of n, times sqrt(n)
_MISFIT: Final = NormalDist().inv_cdf(0.999)  # one sound neck in a thousand is said to scatter
# A divisor of its own always explains a little more. It has to explain so much more that a neck made by
# one of the two rules would do so once in a thousand times (chi-square of one degree of freedom): such
# necks are common, others are rare.
_OTHER: Final = 10.83
# Necks of equal divisions are by far the commoner (common practice, no source): the rule of eighteen has to be
# ten times as likely by the crowns, 2 ln 10, to be believed.
_EIGHTEEN: Final = 4.6
_SURE: Final = 6.0  # 2 ln 20: one rule is twenty times as likely as the other
_NO_RULE: Final = 4.0  # mm; crowns that scatter so much cannot be played
# Crowns that scatter at all more than readings do are those of other divisions where these explain them so many
# times better.
_BETTER: Final = 4.0
_FEWEST: Final = 3  # crowns more than there is to fit
_DIVISIONS: Final = range(5, 61)
_USUAL: Final = (12, 19, 17, 24, 22, 31, 53)  # divisions that necks have, the commonest first (from memory)
_STEP_SEARCH: Final = (0.94, 0.96, 0.98, 1.0, 1.02, 1.04, 1.06)  # times the step of equal divisions
_STEP_ENDS: Final = (0.8, 1.25)


@dataclass(frozen=True, slots=True)
class Line:
    """What was found along one line of the neck.

    Parameters
    ----------
    measured
        What was measured.
    scale, scale_error
        Scale length of the rule and its standard error [mm].
    zero, zero_error
        Where the rule's nut stands on the ruler, and its standard error [mm].
    nut_offset, nut_offset_error
        How far the nut face stands from there toward fret 1, and its standard error [mm]; None
        where it was not measured.
    open_length, open_length_error
        From the rule's nut to the saddle line that gives the rule a true octave, and its standard
        error [mm]; with equal divisions the scale itself.
    saddle_from_12, saddle_from_12_error
        From the fitted crown of fret 12 to that line, and its standard error [mm].
    crown_12
        Where the rule's fret 12 stands on the ruler [mm].
    residuals
        How far each crown stands from its place, toward the bridge [mm], shape (n,).
    allowed
        What it may stand off before it is pointed out [mm], shape (n,); ``inf`` where it cannot be
        judged.
    cents
        What each crown sounds off equal divisions with the saddle on its line and the open string
        as long as the rule says; above 0 sharp; NaN beyond the saddle, shape (n,).
    look_at
        True for the crowns that were left out of the fit, shape (n,).
    """

    measured: Measured
    scale: float
    scale_error: float
    zero: float
    zero_error: float
    nut_offset: float | None
    nut_offset_error: float | None
    open_length: float
    open_length_error: float
    saddle_from_12: float
    saddle_from_12_error: float
    crown_12: float
    residuals: Floats
    allowed: Floats
    cents: Floats
    look_at: NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Survey:
    """What was found on a neck.

    Parameters
    ----------
    measured
        What was measured.
    lines
        One line, or treble and bass; empty where no rule explains the crowns.
    rule
        The rule its frets follow; "none" where none explains the crowns.
    explained
        Other equal divisions that explain the crowns then, the likeliest first.
    step
        Cents from fret to fret by that rule, or by the one that comes nearest.
    divisions
        Equal divisions of the octave that the frets are meant to sound.
    chi_square
        How badly each rule explains the crowns; None where they do not determine a divisor.
    free_step
        Step of the free divisor [cents]; None likewise.
    sure
        The rule is at least twenty times as likely as the other of the two known ones.
    sigma
        Standard deviation of one reading [mm].
    scatter
        What most crowns scatter about the rule: its standard deviation told from their median [mm].
    scattered
        They scatter more than `sigma` explains: crowns and standard errors are judged by the scatter then.
    together
        How many crowns at the nut's end of each line are off by the same; 0 where none are.
    hint
        They may be, though it is not sure: by how much that would lessen the chi-square.
    """

    measured: tuple[Measured, ...]
    lines: tuple[Line, ...]
    rule: Rule
    explained: tuple[int, ...]
    step: float
    divisions: int
    chi_square: dict[Rule, float | None]
    free_step: float | None
    sure: bool
    sigma: float
    scatter: float
    scattered: bool
    together: tuple[int, ...]
    hint: float

    @property
    def octave_fret(self) -> int:
        """The fret nearest the octave by the rule of this neck."""
        return _octave_fret(self.step)

    @property
    def last_fret(self) -> int:
        """The last fret that was measured."""
        return max(int(measured.frets[-1]) for measured in self.measured)

    def notes(self, frets: Ints | Sequence[int]) -> Floats:
        """Give what the rule's frets sound with the saddle on its line [cents above the open string]."""
        shares = 1 - speaking_fraction(self.step * np.asarray(frets, dtype=np.float64))
        return -OCTAVE * np.log2(1 - shares / _true_saddle(self.step))


@dataclass(frozen=True, slots=True)
class Saddle:
    """A saddle that is there, against the line where it belongs.

    Parameters
    ----------
    from_12
        From the crown of fret 12 [mm].
    behind
        Further from the nut than where the octave comes true with the nut that is there [mm]; with
        the rule's nut where that was not measured.
    cents
        What lengths alone make fret 12 sound against the open string, from the nut face where
        that was measured; above 0 sharp.
    """

    from_12: float
    behind: float
    cents: float


def saddle_that_is(survey: Survey, line: Line, from_12: float) -> Saddle:
    """Judge the saddle that is there.

    Parameters
    ----------
    survey, line
        What was found, and the line the saddle was measured along.
    from_12
        From the crown of fret 12 to its contact [mm].

    Returns
    -------
    Saddle
        Where it stands and what that makes of fret 12.
    """
    nut = line.nut_offset or 0.0
    open_string = line.crown_12 - line.zero - nut + from_12
    cents = OCTAVE * float(np.log2(open_string / from_12)) - OCTAVE * FROM_CROWN / survey.divisions
    # A nut nearer to fret 1 asks for a saddle as much nearer: the octave fret has to halve what is left.
    return Saddle(from_12, from_12 - (line.saddle_from_12 - nut), cents)


def divisor(step: float) -> float:
    """Give the divisor of a rule: each step is one such part of what is left [step in cents]."""
    return float(1 / (1 - speaking_fraction(step)))


def find_scale(
    measured: Source | Sequence[Measured], sigma: float = SIGMA, divisions: int = 12, unit: Unit = "mm"
) -> Survey:
    """Find scale, rule of the frets, bad frets and saddle line of a measured neck.

    Crown n stands at ``zero + scale (1 - r_n)``, where ``r_n`` is the part of the string that sounds there: for
    twelve equal divisions ``2**(-n / 12)``. A neck that was measured along two edges has a zero and a scale for each,
    and one rule for both. Rules are compared by their chi-square; a crown that was set aside counts as the limit
    squared.

    Parameters
    ----------
    measured
        The path of a table of crowns, its text if that holds a line break, or its bytes; or what
        `read_measurements` makes of one.
    sigma
        Standard deviation of one reading [mm].
    divisions
        Equal divisions of the octave.
    unit
        Unit of the lengths of a table that carry none.

    Returns
    -------
    Survey
        What was found; its rule is "none" where no rule explains the crowns.

    Raises
    ------
    MeasuredError
        The table cannot be understood, or the crowns make no scale that an instrument has.
    OSError
        There is no such file.
    """
    lines = _crowns(measured, unit)
    neck = _Neck(lines, sigma)
    steps: dict[Rule, float] = {"equal": OCTAVE / divisions, "eighteen": EIGHTEEN}
    fits = {rule: neck.fit(step) for rule, step in steps.items()}
    better = fits["equal"].chi_square - fits["eighteen"].chi_square  # by how much the rule of eighteen is
    scatter, most = _scatter(min(fits.values(), key=lambda fit: fit.chi_square)), neck.most_scatter
    if scatter > most:  # readings that scatter more tell less
        better *= (sigma / scatter) ** 2
    rule: Rule = "eighteen" if better > _EIGHTEEN else "equal"
    free = neck.fit_step(steps["equal"])
    chi_square: dict[Rule, float | None] = {each: fit.chi_square for each, fit in fits.items()}
    chi_square["other"] = None
    if free is not None:
        if free[1].chi_square > fits[rule].chi_square:  # it is at least as good with that rule's own step
            free = steps[rule], fits[rule]
        steps["other"], fits["other"] = free
        chi_square["other"] = found = free[1].chi_square
        # Readings that scatter more than sigma would make any rule look significant.
        if fits[rule].chi_square - found > _OTHER * max(1.0, found / max(neck.freedom, 1)):
            rule = "other"
    fit, step = fits[rule], steps[rule]
    scatter = _scatter(fit)
    scattered = scatter > most
    explained = neck.other_divisions(divisions, fits["equal"], fit) if scattered or rule == "other" else ()
    if explained or scatter > _NO_RULE:
        rule = "none"
    elif scattered:  # the readings are worse than they were said to be: judged by that, no doubt is too small
        neck = _Neck(lines, scatter)
        fit = neck.fit(step) if rule != "other" else (neck.fit_step(steps["equal"]) or (step, fit))[1]
        fit = replace(fit, covariance=fit.covariance * max(1.0, _reduced(fit, scatter)))
    return Survey(
        measured=tuple(lines),
        lines=() if rule == "none" else tuple(neck.line(i, step, fit, divisions) for i in range(len(lines))),
        rule=rule,
        explained=explained,
        step=step,
        divisions=divisions,
        chi_square=chi_square,
        free_step=free[0] if free else None,
        sure=abs(better) > _SURE,
        sigma=sigma,
        scatter=scatter,
        scattered=scattered,
        together=tuple(int(fit.together[neck.of == i].sum()) for i in range(len(lines))),
        hint=fit.hint,
    )


def _crowns(measured: Source | Sequence[Measured], unit: Unit) -> Sequence[Measured]:
    if isinstance(measured, str | bytes | PathLike):
        return read_measurements(read(measured, MOST_BYTES), unit)
    return measured


class _Neck:
    """All lines of a neck in one row of readings."""

    def __init__(self, lines: Sequence[Measured], sigma: float) -> None:
        self.lines, self.sigma = lines, sigma
        self.frets = np.concatenate([line.frets for line in lines]).astype(np.float64)
        self.distances = np.concatenate([line.distances for line in lines])
        self.of = np.repeat(np.arange(len(lines)), [len(line.frets) for line in lines])
        self.limit = outlier_limit(len(self.frets), _ALARM)
        self.most_scatter = sigma * (1 + _MISFIT * _MEDIAN_ERROR / math.sqrt(len(self.frets)))
        self.freedom = len(self.frets) - 2 * len(lines) - 1  # with a free divisor

    def fit(self, step: float) -> Fit:
        """Fit scale and zero of every line to a rule."""
        shares = 1 - speaking_fraction(self.frets * step)
        return fit_lines(shares, self.distances, self.of, self.sigma, self.limit)

    def quick_fit(self, step: float) -> Fit:
        """Fit scale and zero of every line to a rule, without looking for bad crowns that hide one another."""
        design = line_design(1 - speaking_fraction(self.frets * step), self.of)
        return settle(design, self.distances, self.of, self.sigma, self.limit, np.ones(len(self.of), dtype=np.bool_))

    def smooth_fit(self) -> Fit:
        """Fit a cubic curve to every line: what is left is nearly the scatter of the readings alone."""
        across = self.frets / self.frets.max()
        mine = self.of[:, None] == np.arange(len(self.lines))
        design = np.concatenate([mine * across[:, None] ** power for power in range(4)], axis=1)
        return settle(design, self.distances, self.of, self.sigma, self.limit, np.ones(len(self.of), dtype=np.bool_))

    def fit_step(self, equal: float) -> tuple[float, Fit] | None:
        """Fit the rule too, by Gauss-Newton steps; None where the crowns do not determine it."""
        if self.freedom < 1:
            return None
        low, high = _STEP_ENDS
        starts = [equal * times for times in _STEP_SEARCH]
        step, fit = min(((step, self.fit(step)) for step in starts), key=lambda each: each[1].chi_square)
        for _ in range(50):
            fractions = speaking_fraction(self.frets * step)
            slope = fit.parameters[1::2][self.of] * self.frets * fractions / CENTS_PER_NEPER
            design = np.column_stack((line_design(1 - fractions, self.of), slope))
            fit = settle(design, self.distances, self.of, self.sigma, self.limit, fit.kept)
            change = float(fit.parameters[-1])
            if abs(change) < 1e-9 * equal:
                return step, fit
            fit.parameters[-1] = 0.0
            step = min(max(step + change, low * equal), high * equal)
        return None

    def other_divisions(self, divisions: int, equal: Fit, best: Fit) -> tuple[int, ...]:
        """Name divisions that explain the crowns several times better than the given ones, as well as any rule."""
        if self.freedom < _FEWEST:
            return ()  # a few crowns fit many divisions
        if self.smooth_fit().chi_square > equal.chi_square / _BETTER:
            return ()  # what scatters about a smooth curve follows no other divisions either
        tried = {n: self.quick_fit(OCTAVE / n).chi_square for n in _DIVISIONS if n != divisions}
        least = min(tried.values())
        if least > equal.chi_square / _BETTER or least > best.chi_square + _OTHER * max(
            1.0, least / max(self.freedom, 1)
        ):
            return ()
        found = [n for n, squares in tried.items() if squares <= max(2 * least, least + _OTHER)]
        return tuple(sorted(found, key=lambda n: (n not in _USUAL, tried[n]))[:3])

    def line(self, place: int, step: float, fit: Fit, divisions: int) -> Line:
        """Put together what was found along one line."""
        measured, mine = self.lines[place], self.of == place
        zero, scale = fit.parameters[2 * place : 2 * place + 2].tolist()
        _refuse_scale(measured, scale)
        variance = fit.covariance
        zero_error, scale_error = np.sqrt(np.diag(variance)[2 * place : 2 * place + 2]).tolist()
        saddle = scale * _true_saddle(step)
        to_12 = scale * float(1 - speaking_fraction(FROM_CROWN * step))

        def error(length: float, slope: float) -> float:
            """Give the standard error of a length in proportion to the scale, and its slope by the step."""
            gradient = np.zeros(len(fit.parameters))
            gradient[2 * place + 1] = length / scale
            if len(gradient) % 2:  # a free divisor was fitted
                gradient[-1] = slope
            return float(np.sqrt(gradient @ variance @ gradient))

        saddle_slope = 2 * scale * _share_slope(_octave_fret(step), step)
        slope_12 = scale * _share_slope(FROM_CROWN, step)
        left = saddle + zero - measured.distances
        target = OCTAVE / divisions * measured.frets
        nut = measured.nut
        return Line(
            measured=measured,
            scale=scale,
            scale_error=scale_error,
            zero=zero,
            zero_error=zero_error,
            nut_offset=None if nut is None else nut - zero,
            nut_offset_error=None if nut is None else float(np.hypot(self.sigma, zero_error)),
            open_length=saddle,
            open_length_error=error(saddle, saddle_slope),
            saddle_from_12=saddle - to_12,
            saddle_from_12_error=error(saddle - to_12, saddle_slope - slope_12),
            crown_12=zero + to_12,
            residuals=fit.residuals[mine],
            allowed=self.limit * fit.spread[mine],
            cents=OCTAVE * np.log2(saddle / np.where(left > 0, left, np.nan)) - target,
            look_at=~fit.kept[mine],
        )


def _scatter(fit: Fit) -> float:
    """Tell the scatter from the median, which a third of bad crowns does not carry off [mm]."""
    readings = len(fit.residuals)
    spare = readings / max(readings - len(fit.parameters), 1)
    return float(np.median(np.abs(fit.residuals))) / _MEDIAN * math.sqrt(spare)


def _reduced(fit: Fit, sigma: float) -> float:
    """Give the chi-square of the crowns that were kept, for each of them that is to spare."""
    kept = fit.residuals[fit.kept] / sigma
    return float(np.square(kept).sum()) / max(len(kept) - len(fit.parameters), 1)


def _octave_fret(step: float) -> int:
    return max(1, round(OCTAVE / step))


def _true_saddle(step: float) -> float:
    """Give where the saddle makes the octave fret sound an octave, in scales of the rule from its nut."""
    return float(2 * (1 - speaking_fraction(_octave_fret(step) * step)))


def _share_slope(fret: int, step: float) -> float:
    """Give how the share of the scale before a fret grows with the step [1/cents]."""
    return float(fret * speaking_fraction(fret * step)) / CENTS_PER_NEPER


def _refuse_scale(measured: Measured, scale: float) -> None:
    low, high = SCALES
    if low <= scale <= high:
        return
    where = "" if measured.name == "distance" else f"column {measured.name}"
    what = f"these crowns make a scale of {scale:.1f} mm; allowed {low:g} to {high:g} mm"
    raise MeasuredError([Fault(where, what, _unit_or_direction(scale))])


def _unit_or_direction(scale: float) -> str:
    """Guess what went wrong from a scale that no instrument has [mm]."""
    low, high = SCALES
    if scale < 0:
        return "were they measured from the bridge? lay the start of the ruler at the nut"
    if low <= scale / MM_PER_INCH <= high:
        return "are these mm, not inches?"
    units = {"inches? --unit in": MM_PER_INCH, 'centimetres? write each with its unit, "3.6 cm"': 10.0}
    likely = [words for words, mm in units.items() if low <= scale * mm <= high]
    return f"are these {', or '.join(likely)}" if likely else "check the frets' numbers"
