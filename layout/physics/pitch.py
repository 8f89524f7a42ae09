"""How far a fretted note is off: arrays in, arrays out.

Shapes: S strings and F frets behind any number of leading axes, so that many instruments are
calculated at once. `x` runs along a string from its nominal nut end [mm]; offsets are positive toward
the bridge; heights are vertical [mm]. The fundamental of a stiff string between a finger and a
saddle: N. H. Fletcher, T. D. Rossing, "The Physics of Musical Instruments", 2nd ed., section 2.18;
the fretted string: M. B. Anderson, R. G. Beausoleil, J. Acoust. Soc. Am. 156(1), 683 (2024), here
with exact lengths instead of linearised ones.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from slotwright.layout.physics.temperament import CENTS_PER_NEPER

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

WORST_BRACKET: Final = 0.03  # B up to which the bracket holds to 0.03 cents


@dataclass(frozen=True, slots=True)
class Fretting:
    """Strings over frets, all that their pitch depends on but the offsets.

    Parameters
    ----------
    scale
        Scale length X, shape (..., S).
    frets
        Crowns along each string, shape (..., S, F).
    fractions
        Speaking fraction of each fret, shape (F,).
    crowns
        Height of the crown under each string, shape (..., S, F).
    nut_height
        Height of the string's underside at the nut contact, shape (..., S).
    action_at
        Where the action is measured along each string, shape (..., S).
    action_height
        Height of the open string there, shape (..., S).
    press
        How far behind its crown each fret is pressed, shape (..., S, F).
    press_depth
        How far the pressed point is pushed below the line from saddle to crown, shape (..., S).
    free_length
        String behind nut and saddle that shares the stretch, shape (..., S).
    tension
        Tension of the open string [N], shape (..., S).
    axial
        Axial stiffness EA [N], shape (..., S).
    bending
        Bending stiffness EI [N mm2], shape (..., S).
    clamped
        How many ends of the speaking length are clamped: 0, 1 or 2.
    stiffness
        Factor on the stiffness part, from calibration.
    stretch
        Factor on the stretch, from calibration.
    """

    scale: Floats
    frets: Floats
    fractions: Floats
    crowns: Floats
    nut_height: Floats
    action_at: Floats
    action_height: Floats
    press: Floats
    press_depth: Floats
    free_length: Floats
    tension: Floats
    axial: Floats
    bending: Floats
    clamped: float = 1.0
    stiffness: float = 1.0
    stretch: float = 1.0


@dataclass(frozen=True, slots=True)
class Parts:
    """Error of every fretted note against the open string, in its four parts [cents], (..., S, F).

    Parameters
    ----------
    length
        The frets stand where they stand, the contacts where they were put.
    mass
        The stretched string is lighter.
    stretch
        The stretched string is tighter.
    stiffness
        A short stiff string sounds higher than its length says.
    """

    length: Floats
    mass: Floats
    stretch: Floats
    stiffness: Floats

    @property
    def total(self) -> Floats:
        """Sum of the parts [cents]."""
        return self.length + self.mass + self.stretch + self.stiffness


@dataclass(frozen=True, slots=True)
class _Lengths:
    """Lengths of the open string, of what speaks and of what lies behind the crown; or their derivatives."""

    open: Floats
    speaking: Floats
    behind: Floats


def bracket(b: Floats, clamped: float) -> Floats:
    """Give how much higher a stiff string sounds than a limp one.

    Parameters
    ----------
    b
        ``sqrt(EI / T) / L``, shape (...).
    clamped
        Clamped ends: 0, 1 or 2.

    Returns
    -------
    ndarray, shape (...)
        Frequency over ``sqrt(T / mu) / (2 L)``, a series in `b` to the third power; within 0.03
        cents of the exact characteristic equation up to ``b = 0.03``.
    """
    s = clamped
    return 1 + b * (s + b * (s**2 + np.pi**2 / 2 + b * (s**3 + 2 * np.pi**2 * s / 3)))


def parts(fretting: Fretting, saddle: Floats, nut: Floats) -> Parts:
    """Give the error of every fretted note, split into its parts.

    Parameters
    ----------
    fretting
        Strings over frets.
    saddle, nut
        Offsets of saddle and nut contact [mm], shape (..., S).

    Returns
    -------
    Parts
        Errors [cents], each of shape (..., S, F).
    """
    found, _ = _evaluate(fretting, saddle, nut, derive=False)
    return found


def errors(fretting: Fretting, saddle: Floats, nut: Floats) -> tuple[Floats, Floats]:
    """Give the error of every fretted note and how it answers to the offsets.

    Parameters
    ----------
    fretting
        Strings over frets.
    saddle, nut
        Offsets of saddle and nut contact [mm], shape (..., S).

    Returns
    -------
    errors : ndarray, shape (..., S, F)
        Against the open string, sharp positive [cents].
    jacobian : ndarray, shape (..., S, F, 2)
        Derivatives by the saddle and the nut offset [cents/mm].
    """
    found, jacobian = _evaluate(fretting, saddle, nut, derive=True)
    return found.total, jacobian


def saddle_height(fretting: Fretting, saddle: Floats, nut: Floats) -> Floats:
    """Give the height of the saddle contact that leaves the stated action, shape (..., S) [mm]."""
    return fretting.nut_height + _slope(fretting, nut) * (fretting.scale + saddle - nut)


def clearance(fretting: Fretting, saddle: Floats, nut: Floats) -> Floats:
    """Give how far the string stays clear of every higher crown.

    Parameters
    ----------
    fretting
        Strings over frets.
    saddle, nut
        Offsets of saddle and nut contact [mm], shape (..., S).

    Returns
    -------
    ndarray, shape (..., S, F + 1, F)
        Gap [mm] between the string, open (0) or fretted at 1, 2, ..., and the crown of each fret
        above; negative where it lies on that crown, ``inf`` for the crowns it does not pass.
    """
    x, z = fretting.frets, fretting.crowns
    end = (fretting.scale + saddle)[..., None, None]
    height = saddle_height(fretting, saddle, nut)[..., None, None]
    start = np.concatenate((nut[..., None], x), axis=-1)[..., None]
    from_height = np.concatenate((fretting.nut_height[..., None], z), axis=-1)[..., None]
    along = (x[..., None, :] - start) / (end - start)
    gap = from_height + (height - from_height) * along - z[..., None, :]
    passed = np.arange(x.shape[-1]) >= np.arange(x.shape[-1] + 1)[:, None]
    return np.where(passed, gap, np.inf)


def _slope(fretting: Fretting, nut: Floats) -> Floats:
    """Give the rise of the open string per mm toward the saddle."""
    rise: Floats = (fretting.action_height - fretting.nut_height) / (fretting.action_at - nut)
    return rise


def _lengths(fretting: Fretting, saddle: Floats, nut: Floats, *, derive: bool) -> tuple[_Lengths, _Lengths | None]:
    """Give the lengths [mm] and, where asked for, their derivatives by saddle and nut offset (last axis 2)."""
    slope = _slope(fretting, nut)
    reach = fretting.scale + saddle - nut
    tilt = np.sqrt(1 + slope**2)

    # From here on with an axis for the frets; the saddle contact and its height.
    end = (fretting.scale + saddle)[..., None]
    height = (fretting.nut_height + slope * reach)[..., None]
    flat = end - fretting.frets
    rise = height - fretting.crowns
    speaking = np.hypot(flat, rise)

    # The pressed point: on the line saddle - crown produced, lowered by the depth.
    back = fretting.press
    dip = rise / flat * back + fretting.press_depth[..., None]  # below the crown
    to_finger = np.hypot(back, dip)
    over = fretting.frets - back - nut[..., None]
    fall = fretting.nut_height[..., None] - fretting.crowns + dip
    to_nut = np.hypot(over, fall)
    found = _Lengths(reach * tilt, speaking, to_finger + to_nut)
    if not derive:
        return found, None

    d_slope = slope / (fretting.action_at - nut)  # by the nut offset; the saddle leaves it alone
    d_open = np.stack((tilt, reach * slope * d_slope / tilt - tilt), axis=-1)
    d_height = np.stack((slope, d_slope * reach - slope), axis=-1)[..., None, :]
    d_end, d_over = np.array([1.0, 0.0]), np.array([0.0, -1.0])
    d_speaking = (flat[..., None] * d_end + rise[..., None] * d_height) / speaking[..., None]
    d_dip = (back / flat)[..., None] * (d_height - (rise / flat)[..., None] * d_end)
    with np.errstate(invalid="ignore"):  # 0 / 0 where the finger presses the crown itself
        d_finger = np.where(to_finger > 0, dip / to_finger, 0.0)[..., None] * d_dip
    d_nut = (over[..., None] * d_over + fall[..., None] * d_dip) / to_nut[..., None]
    return found, _Lengths(d_open, d_speaking, d_finger + d_nut)


def _evaluate(fretting: Fretting, saddle: Floats, nut: Floats, *, derive: bool) -> tuple[Parts, Floats]:
    f = fretting
    lengths, slopes = _lengths(f, saddle, nut, derive=derive)
    whole = (lengths.open + f.free_length)[..., None]
    longer = lengths.speaking + lengths.behind - lengths.open[..., None]
    q = f.stretch * longer / whole
    k = (f.axial / f.tension)[..., None]
    tighter = 1 + k * q
    b_open = np.sqrt(f.bending / f.tension) / lengths.open
    b = np.sqrt(f.bending / f.tension)[..., None] / np.sqrt(tighter) / lengths.speaking
    higher = bracket(b, f.clamped) / bracket(b_open, f.clamped)[..., None]
    found = Parts(
        length=CENTS_PER_NEPER * np.log(lengths.open[..., None] * f.fractions / lengths.speaking),
        mass=CENTS_PER_NEPER / 2 * np.log1p(q),
        stretch=CENTS_PER_NEPER / 2 * np.log(tighter),
        stiffness=f.stiffness * CENTS_PER_NEPER * np.log(higher),
    )
    if slopes is None:
        return found, np.empty(0)
    d_open = slopes.open[..., None, :]
    part_open = d_open / lengths.open[..., None, None]
    part_speaking = slopes.speaking / lengths.speaking[..., None]
    d_q = (f.stretch * (slopes.speaking + slopes.behind - d_open) - q[..., None] * d_open) / whole[..., None]
    part_tighter = k[..., None] * d_q / tighter[..., None]
    jacobian: Floats = CENTS_PER_NEPER * (
        part_open
        - part_speaking
        + d_q / (2 * (1 + q[..., None]))
        + part_tighter / 2
        - f.stiffness * _steepness(b, f.clamped)[..., None] * (part_speaking + part_tighter / 2)
        + f.stiffness * _steepness(b_open, f.clamped)[..., None, None] * part_open
    )
    return found, jacobian


def _steepness(b: Floats, clamped: float) -> Floats:
    """Give ``b * bracket'(b) / bracket(b)``: what the bracket gains by a part of `b`."""
    s = clamped
    slope = s + b * (2 * s**2 + np.pi**2 + b * 3 * (s**3 + 2 * np.pi**2 * s / 3))
    gain: Floats = b * slope / bracket(b, clamped)
    return gain
