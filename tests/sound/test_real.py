"""Notes that were really played, of which nobody knows the pitch: it is held against itself, and another's ear."""

from functools import cache

import numpy as np
import pytest
from helpers import few
from scipy.signal import resample_poly
from sound import takes
from sound.real import plucked

from slotwright.layout.sound.plucks import levels, plucks
from slotwright.layout.sound.readings import _sound
from slotwright.layout.sound.take import parse_take

LONG = 2.0  # s, as long as a player is asked to let a note ring
COMMA = [(441, 440), (80, 81)]  # 4 and 22 cents: what an instrument is out of tune by
SEMITONE = (160, 151)


@pytest.fixture(scope="module")
def notes(sampled):
    """Give each plucked note of the bank as samples [full scale 1] and their rate, by name."""
    found = plucked(sampled)
    assert len(found) > 40
    every = len(found) // few(len(found), 6)
    return {note.name: (note.samples[: round(LONG * note.rate)] / 65536, note.rate) for note in found[::every]}


@pytest.fixture(scope="module")
def heard(notes):
    """Hear a note, perhaps played at another speed."""

    @cache
    def once(name, up=1, down=1):
        samples, rate = notes[name]
        still = np.zeros(rate // 2)
        other = resample_poly(samples, up, down, window=("kaiser", 14.0)) if up != down else samples
        read = parse_take(takes.wav(np.concatenate((still, other, still)), rate, 24), name)
        level = levels(read)
        (pluck,) = plucks(level)  # one sound, however slowly a bass string turns
        assert abs(pluck.begin - 0.5) < 0.03
        return _sound(read, pluck, level.floor)

    return once


def astray(heard, name, up, down):
    """Give by how much a note that lasts so many times as long is not lower by that [cents]."""
    return 1200 * np.log2(heard(name, up, down).pitch / heard(name).pitch * up / down)


def test_a_real_note_a_comma_off_is_heard_a_comma_off(notes, heard):
    off = np.array([[astray(heard, name, *ratio) for ratio in COMMA] for name in notes])
    assert np.median(np.abs(off)) < 0.01
    assert np.abs(off).max() < 0.15


def test_a_real_note_a_semitone_off(notes, heard):
    """The same seconds hold another part of the note then, in which its partials beat otherwise."""
    off = np.array([astray(heard, name, *SEMITONE) for name in notes])
    doubt = np.array([heard(name).fit.doubt for name in notes])
    assert np.median(np.abs(off)) < 0.03
    assert (np.abs(off) < 2 * doubt).all()


def test_another_ear_agrees(notes, heard):
    """Praat follows the period (P. Boersma, IFA Proc. 17, 97-110, 1993), which stiffness and glide make sharper."""
    import parselmouth

    apart = []
    for name, (samples, rate) in notes.items():
        own = heard(name).pitch
        sound = parselmouth.Sound(samples, rate)
        course = sound.to_pitch_ac(
            time_step=0.01, pitch_floor=max(0.7 * own, 25.0), pitch_ceiling=1.4 * own, very_accurate=True
        ).selected_array["frequency"]
        apart.append(1200 * np.log2(np.median(course[course > 0]) / own))
    assert np.median(np.abs(apart)) < 3
    assert np.median(apart) > 0
