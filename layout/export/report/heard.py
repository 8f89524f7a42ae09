"""Pictures of what was heard in a take: level over time, partials against their law, pitch after the pluck."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from slotwright.layout.export.report.inline import dot, element, line, words
from slotwright.layout.physics.temperament import CENTS_PER_NEPER
from slotwright.layout.sound.pitch import ATTACK
from slotwright.layout.sound.take import clock
from slotwright.layout.units import cents

if TYPE_CHECKING:
    from collections.abc import Sequence

    from markupsafe import Markup
    from numpy.typing import NDArray

    from slotwright.layout.sound.heard import Listened, Sound

    Floats = NDArray[np.float64]

ROW: Final = 15.0  # s of a take in one row of its picture
_WIDE, _HIGH, _TOP, _LEFT = 900.0, 190.0, 52.0, 44.0
_SMALL: Final = (430.0, 210.0)  # of a picture of one note
_DEEPEST: Final = 70.0  # dB below the loudest that are shown
_SPAN: Final = 0.1  # s over which a pitch is taken


def level_rows(listened: Listened) -> list[Markup]:
    """Draw how loud a take is over time, with the name of every sound, a row for each quarter of a minute."""
    seconds = listened.take.seconds
    return [_level_row(listened, begin) for begin in np.arange(0.0, max(seconds - 0.5, 1.0), ROW)]


def _level_row(listened: Listened, begin: float) -> Markup:
    times, decibels = listened.levels.times, listened.levels.decibels
    loudest = float(decibels.max())

    def x(second: float) -> float:
        return _LEFT + (second - begin) / ROW * (_WIDE - _LEFT - 6)

    def y(level: float) -> float:
        return _TOP + (_HIGH - _TOP) * min(1.0, max(0.0, (loudest - level) / _DEEPEST))

    parts = []
    for level in range(0, int(_DEEPEST) + 1, 20):
        parts.append(line((_LEFT, y(loudest - level)), (_WIDE - 6, y(loudest - level)), class_="grid"))
        parts.append(words((_LEFT - 6, y(loudest - level) + 4), f"\u2212{level}" if level else "0 dB", class_="end"))
    for second in range(int(begin), int(begin + ROW) + 1, 5):
        last = second == int(begin + ROW)
        parts.append(words((x(second), _HIGH + 18), clock(second)[:-2], class_="end" if last else "axis"))
        parts.append(line((x(second), _HIGH), (x(second), _HIGH + 5), class_="grid"))
    for which, sound in enumerate(listened.sounds):
        if begin <= sound.pluck.begin < begin + ROW:
            parts += _named(listened, which, x, loudest=y(loudest))
    inside = (times >= begin) & (times <= begin + ROW)
    points = " ".join(
        f"{x(t):.1f},{y(d):.1f}" for t, d in zip(times[inside][::2], decibels[inside][::2], strict=True)
    )
    parts.append(element("polyline", points=points, class_="curve"))
    label = f"Level from {clock(begin)} to {clock(begin + ROW)}"
    return element(
        "svg", *parts, viewBox=f"0 0 {_WIDE:.0f} {_HIGH + 26:.0f}", role="img", aria_label=label, class_="level"
    )


def _named(listened: Listened, which: int, x, *, loudest: float) -> list[Markup]:  # type: ignore[no-untyped-def]  # noqa: ANN001
    """Name one sound over its stretch of the level, with why it was left out."""
    sound, note = listened.sounds[which], listened.of(which)
    left, right = x(sound.pluck.begin), min(x(sound.pluck.end), _WIDE - 6)
    used = note is not None and not sound.unfit
    parts = [
        element(
            "rect",
            x=left,
            y=loudest,
            width=max(right - left, 2),
            height=_HIGH - loudest,
            class_="used" if used else "left",
        )
    ]
    stray = "no note" if sound.pitch is None else "another note"
    name = stray if note is None else f"{note[0]} open" if note[1] == 0 else f"{note[0]} at {note[1]}"
    if used:
        parts.append(words((left, 20), name, class_="name"))
    else:  # on a line of its own: a knock may stand close before a note
        why = "" if note is None else f", {sound.unfit.split(':')[0]}"
        parts.append(words((left, 40), f"{name}{why}", class_="name out"))
    return parts


def partials_picture(sound: Sound) -> Markup:
    """Draw what each partial is off the law of its string."""
    fit, partials = sound.fit, sound.partials
    assert fit is not None  # noqa: S101 - asked only of notes
    assert partials is not None  # noqa: S101
    last = max(int(partials.numbers.max()), 8)
    reach = _round_up(float(np.abs(fit.off).max()) * 1.1, (0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0))
    x, y, parts = _axes(last, reach, "cents off the law")
    for number in range(1, last + 1, 1 if last <= 12 else 5):
        parts.append(words((x(number), _SMALL[1] - 22), str(number), class_="axis"))
    parts.append(words((_SMALL[0] / 2, _SMALL[1] - 4), "partial", class_="axis"))
    for number, off, weight, error in zip(partials.numbers, fit.off, fit.weights, partials.errors, strict=True):
        at = (x(int(number)), y(float(np.clip(off, -reach, reach))))
        high, low = (y(float(np.clip(off + way * error, -reach, reach))) for way in (1, -1))
        parts.append(line((at[0], high), (at[0], low), class_="error"))
        parts.append(dot(at, 3.6, class_="point" if weight > 0.5 else "point weak"))
    return element("svg", *parts, viewBox=f"0 0 {_SMALL[0]:.0f} {_SMALL[1]:.0f}", role="img", aria_label="Partials")


def pitch_picture(sound: Sound) -> Markup:
    """Draw the pitch of a note after its pluck, against where it comes to rest."""
    times, off = course(sound)
    seconds = max(float(times[-1]) if len(times) else 1.0, 0.5)
    reach = _round_up(float(np.abs(off).max(initial=0.5)) * 1.1, (1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0))
    x, y, parts = _axes(seconds, reach, "cents above rest", begin=0.0)
    for half in range(int(seconds * 2) + 1):
        parts.append(words((x(half / 2), _SMALL[1] - 22), f"{half / 2:.1f}", class_="axis"))
    parts.append(words((_SMALL[0] / 2, _SMALL[1] - 4), "seconds after the pluck", class_="axis"))
    points = " ".join(
        f"{x(t):.1f},{y(float(np.clip(o, -reach, reach))):.1f}" for t, o in zip(times, off, strict=True)
    )
    parts.append(element("polyline", points=points, class_="curve"))
    return element(
        "svg", *parts, viewBox=f"0 0 {_SMALL[0]:.0f} {_SMALL[1]:.0f}", role="img", aria_label="Pitch after the pluck"
    )


def course(sound: Sound) -> tuple[Floats, Floats]:
    """Give the pitch of a note over time, all its partials together.

    Parameters
    ----------
    sound
        A note.

    Returns
    -------
    ndarray, shape (t,)
        Seconds since the pluck.
    ndarray, shape (t,)
        Cents above where it comes to rest.
    """
    courses, partials = sound.courses, sound.partials
    assert courses is not None  # noqa: S101 - asked only of notes
    assert partials is not None  # noqa: S101
    step = float(courses.times[1] - courses.times[0])
    apart = max(1, min(round(_SPAN / step), len(courses.times) // 3))
    total, weight = np.zeros(len(courses.times) - apart), np.full(len(courses.times) - apart, 1e-30)
    for rest in partials.frequencies:
        place = int(np.argmin(np.abs(courses.centres - rest)))
        wave = courses.waves[place]
        turned = wave[apart:] * wave[:-apart].conj()
        expected = 2 * np.pi * (rest - courses.centres[place]) * apart * step
        hertz = np.angle(turned * np.exp(-1j * expected)) / (2 * np.pi * apart * step)
        sure = np.abs(turned) * rest**2 / courses.noise[place]
        sure[np.abs(turned) < 8 * courses.noise[place]] = 0.0
        total += sure * hertz / rest * CENTS_PER_NEPER
        weight += sure
    heard = weight > 1e-20
    return (courses.times[:-apart] + apart * step / 2 + ATTACK)[heard], (total / weight)[heard]


def _axes(last: float, reach: float, label: str, begin: float = 0.5):  # type: ignore[no-untyped-def]  # noqa: ANN202
    """Give the places of a small picture, and its grid."""
    left, right, top, bottom = 52.0, _SMALL[0] - 10, 24.0, _SMALL[1] - 40

    def x(value: float) -> float:
        return left + (value - begin) / (last + (0.5 if begin else 0.0) - begin) * (right - left)

    def y(value: float) -> float:
        return (top + bottom) / 2 - value / reach * (bottom - top) / 2

    parts = [words((4, 14), label, class_="start")]
    for level in (-1.0, -0.5, 0.0, 0.5, 1.0):
        parts.append(line((left, y(level * reach)), (right, y(level * reach)), class_="grid" if level else "zero"))
        said = cents(level * reach, 0 if reach >= 10 else 1 if reach >= 2 else 2)
        parts.append(words((left - 6, y(level * reach) + 4), said if level else "0", class_="end"))
    return x, y, parts


def _round_up(value: float, steps: Sequence[float]) -> float:
    return next((step for step in steps if step >= value), steps[-1])
