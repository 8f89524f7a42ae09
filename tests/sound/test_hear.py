"""What is heard in takes whose truth is known (`takes`): pitch, doubt, stiffness, and which sound is which note."""

from dataclasses import replace
from itertools import product

import numpy as np
import pytest
import soundfile
from forward import flat_plan, healthy
from helpers import FULL, few, some
from sound import takes
from sound.stiff import MADE

from slotwright.layout import intonate, lay_out
from slotwright.layout.errors import SlotwrightError
from slotwright.layout.readings.notes import parse_readings
from slotwright.layout.sound.assignment import AGAIN, KNOCK, MISSED, STRAY, _cheapest
from slotwright.layout.sound.partials import fit, follow, rest
from slotwright.layout.sound.pitch import first_pitch, series
from slotwright.layout.sound.played import played_notes
from slotwright.layout.sound.plucks import levels, plucks
from slotwright.layout.sound.readings import _of_ends, _sound, hear
from slotwright.layout.sound.remarks import listed
from slotwright.layout.sound.take import MOST_BYTES, parse_take, read_take
from slotwright.layout.sound.written import table

INSTRUMENT = lay_out(flat_plan())
STEEL = [name for name, made in MADE.items() if made.kind != "nylon"]
NYLON = [name for name, made in MADE.items() if made.kind == "nylon"]


@pytest.fixture
def heard(tmp_path):
    """Hear a take of an instrument."""

    def once(take, *args, **more):
        return hear(INSTRUMENT, take.write(tmp_path / "take.wav", 24), *args, **more)

    return once


def cents(one, other):
    return float(1200 * np.log2(one / other))


def alone(take):
    """Hear the one note of a take, of no string in particular; give it with what is true of it."""
    read = parse_take(takes.wav(take.samples, take.rate, 16), "one")
    level = levels(read)
    longest = max(plucks(level), key=lambda each: each.seconds)
    return _sound(read, longest, level.floor), take.truths[0]


def off_and_doubt(many, **kind):
    """Give errors and doubts [cents] and the errors of B [1] of single notes."""
    off, doubt, stiffness = [], [], []
    for take in takes.assorted(many, **kind):
        sound, true = alone(take)
        if sound.fit is None:
            off.append(np.inf)
            doubt.append(0.1)
            continue
        # Of an instrument the plan knows B within a third or so: here a fifth too much.
        law = fit(sound.partials, (1.2 * true.inharmonicity, 0.42 * true.inharmonicity))
        off.append(cents(law.pitch, true.f1))
        doubt.append(law.doubt)
        if len(sound.partials.numbers) >= 8:
            stiffness.append(_of_ends(sound.fit.stiffness, 1) / true.inharmonicity - 1)
    return np.array(off), np.array(doubt), np.array(stiffness)


# Single notes: seeds were fixed before anything was heard.


@pytest.mark.parametrize("snr", some([40.0, 60.0, 20.0]))
def test_the_pitch_of_single_notes(snr):
    off, doubt, stiffness = off_and_doubt(few(36, 6), names=STEEL, snr=snr, seed=1100)
    assert np.median(np.abs(off)) < 0.15
    if snr >= 40:
        assert np.median(np.abs(stiffness)) < 0.02
    if FULL:
        assert np.percentile(np.abs(off), 95) < 0.5
        assert np.mean(np.abs(off) < 2 * doubt) >= 0.91
        assert np.median(np.abs(off) / doubt) > 0.35  # of errors that are spread as doubted it is 0.67


@pytest.mark.parametrize("snr", some([60.0, 20.0]))
def test_notes_of_nylon(snr):
    off, doubt, stiffness = off_and_doubt(few(30, 3), names=NYLON, snr=snr, seed=1300)
    assert np.median(np.abs(off)) < 0.15
    if FULL:
        assert np.percentile(np.abs(off), 95) < 0.5
        assert np.mean(np.abs(off) < 2 * doubt) >= 0.91
        if snr >= 40:
            assert np.median(np.abs(stiffness)) < 0.05


@pytest.mark.parametrize("snr", some([60.0, 20.0]))
def test_notes_that_a_body_pulls(snr):
    off, doubt, _ = off_and_doubt(few(36, 4), snr=snr, pull=1.5, seed=1200)
    assert np.median(np.abs(off)) < 0.6
    if FULL:
        assert np.percentile(np.abs(off), 95) < 1.5
        # The doubt is no mere upper bound: half of the errors are a fair part of it.
        assert np.median(np.abs(off) / doubt) > 0.25
        assert np.mean(np.abs(off) < 2 * doubt) >= 0.91


@pytest.mark.parametrize("pitch", [30.87, 41.2, 82.41])
def test_a_low_string_that_throbs_is_one_sound(pitch):
    rate = 44100
    t = np.arange(3 * rate) / rate - 0.5
    sound = sum(np.cos(2 * np.pi * n * pitch * t) * a for n, a in ((1, 1.0), (2, 1.0), (3, 0.5)))
    read = parse_take(takes.wav(0.2 * np.where(t > 0, np.exp(-1.5 * t) * sound, 0.0), rate), "low")
    (pluck,) = plucks(levels(read))
    assert abs(pluck.begin - 0.5) < 0.025


# Whole takes.


def told_apart(found, take):
    """Hold every sound against what was played at that time; give how many notes were given their right name."""
    right = 0
    listened = found.takes[0]
    for place, sound in enumerate(listened.sounds):
        true = min(take.truths, key=lambda each: abs(each.at - sound.pluck.begin))
        named = listened.of(place)
        if abs(true.at - sound.pluck.begin) < 0.1:
            assert named in (None, (true.string, true.fret))
            right += named is not None
        else:
            assert named is None
    return right


@pytest.mark.parametrize("seed", some(range(4)))
def test_a_bad_day_is_read_without_a_wrong_reading(heard, seed):
    take = takes.messy(2100 + seed)
    found = heard(take)
    told_apart(found, take)
    got, truth = {(note.string, note.fret): note for note in found.notes}, take.readings()
    # What was played only in the place of another note may be left out: it is not where it was asked for.
    due = {(each.string, each.fret) for each in take.truths if each.good and "wrong string" not in each.marks}
    assert due <= set(got) <= set(truth)
    assert all(abs(cents(got[note].hertz, truth[note])) < 0.5 for note in got)
    assert set(found.missing) == set(takes.ORDER) - set(got)
    words = " ".join(map(str, found.findings))
    assert "dead" in words
    assert "buzzing" in words
    again = next((each.string, each.fret) for each in take.truths if "repeat" in each.marks)
    assert len(got[again].sounds) == 2


@pytest.mark.parametrize("half", range(2))
def test_instruments_are_in_tune_within_two_rounds(heard, half):
    """From the sound to the screw: what the moves doubt of themselves holds, and two rounds are enough."""
    if not FULL:
        return  # forty seconds; the bad day above goes the same way to the readings
    aims = {string: [12, 17] if string < 4 else [12] for string in range(1, 7)}
    off, doubts, moves, ends = [], [], [], []
    for which in range(5 * half, 5 * half + 5):
        rng = np.random.default_rng([which, 31])
        world = healthy()
        for string in range(1, 7):
            world = world.moved(string, rng.normal(0, 1.2))
        for again in range(2):
            make = takes.noisy if which % 2 else takes.clean
            take = make(3000 + 10 * which + again, world=world, pull=0.5 * (which % 3))
            found = heard(take)
            assert told_apart(found, take) == len(takes.ORDER)
            truth = take.readings()
            for note in found.notes:
                off.append(cents(note.hertz, truth[note.string, note.fret]))
                doubts.append(note.doubt)
            read = parse_readings(table(found, INSTRUMENT.plan), INSTRUMENT.plan)
            for advice in intonate(INSTRUMENT, read).advices:
                best = world.best_move(advice.string, aims[advice.string])
                moves.append((advice.wanted - best) / advice.error)
                world = world.moved(advice.string, 0.5 * (advice.turns or 0.0))
        ends += [np.abs(world.errors(string, aims[string])).max() for string in aims]
    assert 0.91 <= np.mean(np.abs(off) < 2 * np.array(doubts)) <= 0.99
    assert np.mean(np.abs(moves) < 2) >= 0.91
    assert np.median(np.abs(moves)) > 0.3  # nor do they doubt far too much
    assert np.mean(np.array(ends) < 2) >= 0.95


def short(order, **more):
    """Record a few notes of an instrument."""
    return takes.record(takes.plucks(healthy(), order, seed=5, **more), takes.Around(snr=50.0), seed=5)


def test_the_order_that_is_declared(heard):
    take = short([(3, 0), (3, 2), (2, 0), (2, 2)])
    found = heard(take, "3 2: 0 2")
    assert [(note.string, note.fret) for note in found.notes] == [(3, 0), (3, 2), (2, 0), (2, 2)]
    assert found.missing == ()
    # The same take under the usual order: what is not asked for is left out, what was is named.
    found = heard(take)
    assert {(note.string, note.fret) for note in found.notes} == {(3, 0), (2, 0)}
    assert listed(found.missing, takes.ORDER).startswith("all of string 6")


def test_swapped_strings_are_told_by_their_pitch(heard):
    take = short([(string, fret) for string in (3, 4, 2) for fret in (0, 12)])
    found = heard(take, "4 3 2: 0 12")
    assert told_apart(found, take) == 6
    assert any("look swapped" in str(finding) for finding in found.findings)


def test_a_string_played_again_after_others_is_averaged(heard):
    order = [(string, fret) for string in (3, 2) for fret in (0, 12)]
    take = short([*order, (3, 0), (3, 12)], off=[0.0] * 6)
    found = heard(take, "3 2: 0 12")
    assert told_apart(found, take) == 6
    assert [len(note.sounds) for note in found.notes] == [2, 2, 1, 1]
    assert any("string 3 was played again at 0:" in str(finding) for finding in found.findings)
    assert not any(finding.kind == "stray" for finding in found.findings)
    # One note alone may have been a slip, and a string that was tuned in between is another: both are strays.
    one = heard(short([*order, (3, 12)], off=[0.0] * 6), "3 2: 0 12")
    tuned = replace(take, samples=np.concatenate((
        take.samples[: (cut := round((take.truths[4].at - 0.2) * take.rate))],
        short([*order, (3, 0), (3, 12)], off=[0, 0, 30.0, 0, 0, 0]).samples[cut:],
    )))  # fmt: skip
    for other, strays in ((one, 1), (heard(tuned, "3 2: 0 12"), 2)):
        assert [len(note.sounds) for note in other.notes] == [1, 1, 1, 1]
        said = [str(finding) for finding in other.findings if finding.kind == "stray"]
        assert len(said) == strays
        assert all("near string 3" in each for each in said)


def test_a_string_that_was_forgotten_and_played_last_is_no_stray(heard):
    take = short([(string, fret) for string in (4, 3, 2, 5) for fret in (0, 12, 17)])
    found = heard(take, "5 4 3 2: 0 12 17")
    assert told_apart(found, take) == 12
    assert found.missing == ()
    assert any("string 5 was played at 0:" in str(finding) for finding in found.findings)


def test_a_string_recorded_again_is_replaced_whole(heard, tmp_path):
    first, second = short([(3, 0), (3, 12), (2, 0), (2, 12)]), short([(3, 0), (3, 12)], off=[0, 0, 20.0, 0, 0, 0])
    other = second.write(tmp_path / "again.wav", 24)
    found = heard(first, "3 2: 0 12", {3: other})
    truth = {**first.readings(), **second.readings()}
    assert len(found.notes) == 4
    assert all(abs(cents(note.hertz, truth[note.string, note.fret])) < 0.5 for note in found.notes)


def test_out_of_tune_is_refused(heard):
    with pytest.raises(SlotwrightError, match="open strings out of tune, in cents: string 3 by \u221290; tune first"):
        heard(short([(3, 0), (3, 12)], off=[0, 0, -90.0, 0, 0, 0]), "3: 0 12")
    order = [(string, 0) for string in (6, 5, 4, 3, 2, 1)]
    with pytest.raises(SlotwrightError, match="the whole instrument stands 100 cents flat"):
        heard(short(order, off=[-100.0] * 6), "6-1: 0")


def test_stiffness_halves_nothing_by_chance(heard):
    """B of a string is that of its fretted notes, brought down the neck: it agrees with what the string is."""
    take = short([(6, 0), (6, 12), (4, 0), (4, 12)])
    found = heard(take, "6 4: 0 12")
    for each in found.stiffnesses:
        true = next(note for note in take.truths if (note.string, note.fret) == (each.string, 0))
        assert each.inharmonicity == pytest.approx(true.inharmonicity, rel=0.03)


@pytest.mark.parametrize("rate", some([48000, 8000, 192000]))
def test_other_rates(heard, rate):
    notes = takes.plucks(healthy(), [(5, 0), (5, 12)], seed=6)
    take = takes.record(notes, takes.Around(snr=60.0), rate=rate, seed=6)
    truth = take.readings()
    for note in heard(take, "5: 0 12").notes:
        assert abs(cents(note.hertz, truth[note.string, note.fret])) < 0.4


def test_a_note_that_warbles_and_one_plucked_too_hard_stay_and_are_noted(heard):
    notes = takes.plucks(healthy(), [(4, 0), (4, 12), (4, 17)], seed=3, off=[0.0] * 6)
    double = replace(notes[1].pluck, split=2.5, second=-6.0, glide=1.0)
    hard = replace(notes[2].pluck, glide=8.0, split=0.0)
    notes = [notes[0], replace(notes[1], pluck=double), replace(notes[2], pluck=hard)]
    take = takes.record(notes, takes.Around(snr=50.0), seed=3)
    found = heard(take, "4: 0 12 17")
    assert [note.note for note in found.notes] == ["", "warble", "plucked too hard"]
    assert found.notes[1].doubt > 1.0
    told = next(finding for finding in found.findings if finding.kind == "warble")
    assert told.numbers["split"] == pytest.approx(take.truths[1].split, abs=0.4)  # two seconds are a beat or two
    read = parse_readings(table(found, INSTRUMENT.plan), INSTRUMENT.plan)
    assert [each.warbles for each in read] == [True, False]


# Which sound is which note: against all readings of a take that there are.


def every_reading(sounds, notes):
    """Yield all that sounds can be: places in order that never fall, or -1; -2 would be no reading."""
    for reading in product(range(-1, notes), repeat=sounds):
        told = [place for place in reading if place >= 0]
        if told == sorted(told):
            yield reading


def price_of(reading, prices, strays):
    told = [place for place in reading if place >= 0]
    price = sum(prices[i, place] if place >= 0 else strays[i] for i, place in enumerate(reading))
    return price + AGAIN * (len(told) - len(set(told))) + MISSED * (prices.shape[1] - len(set(told)))


@pytest.mark.parametrize("seed", range(20))
def test_the_cheapest_reading_and_its_margins(seed):
    rng = np.random.default_rng([seed, 41])
    sounds, notes = int(rng.integers(1, 6)), int(rng.integers(1, 5))
    prices = np.where(rng.random((sounds, notes)) < 0.4, np.inf, rng.uniform(0, 4, (sounds, notes)))
    pitches = [None if rng.random() < 0.3 else 100.0 for _ in range(sounds)]
    strays = [KNOCK if pitch is None else STRAY for pitch in pitches]
    all_of_them = {reading: price_of(reading, prices, strays) for reading in every_reading(sounds, notes)}
    best = min(all_of_them, key=all_of_them.get)
    found, others, margins, price = _cheapest(prices, pitches)
    assert price == pytest.approx(all_of_them[best])
    assert tuple(found) == best
    for sound in range(sounds):
        other = min(price for reading, price in all_of_them.items() if reading[sound] != best[sound])
        assert margins[sound] == pytest.approx(min(other - price, 99.0))
        if margins[sound] < 99:
            assert any(r[sound] == others[sound] and p == pytest.approx(other) for r, p in all_of_them.items())


def test_a_series_is_found_beside_sums_of_others():
    """Sums of partials are exactly harmonic, and louder here than what they stand beside."""
    rate, seconds, pitch, stiffness = 44100, 1.2, 110.0, 3e-4
    t = np.arange(round(rate * seconds)) / rate
    n = np.arange(1, 21)
    own = n * pitch * np.sqrt((1 + stiffness * n**2) / (1 + stiffness))
    sound = sum(np.exp(-2 * t) * np.cos(2 * np.pi * f * t + k) / k for k, f in zip(n, own, strict=True))
    for k in range(10, 21, 2):
        sound = sound + 0.05 * np.exp(-2 * t) * np.cos(2 * np.pi * (own[k // 2 - 1] + own[k - k // 2 - 2]) * t)
    found = series(sound, rate, first_pitch(sound, rate))
    partials = rest(follow(sound, rate, found), found.numbers)
    law = fit(partials)
    assert abs(cents(law.pitch, pitch)) < 0.1
    assert law.stiffness == pytest.approx(stiffness, rel=0.02)


# What is no note, and what cannot be told.

RATE = 44100
TIME = np.arange(RATE) / RATE
NOISE = np.random.default_rng(8).normal(0, 0.05, RATE)
SWEEP = 0.3 * np.sin(2 * np.pi * (100 + 2000 * TIME) * TIME)


@pytest.mark.parametrize(
    "sound", [np.zeros(RATE), 1.0 * (TIME == 0.25), SWEEP, 0.3 * np.sin(2 * np.pi * 220 * TIME[:300])]
)
def test_silence_a_click_a_sweep_and_a_moment_have_no_pitch(sound):
    assert first_pitch(sound, RATE) is None


def test_a_pitch_beyond_what_is_recorded_has_no_partials():
    assert series(NOISE, RATE, 30_000.0) is None
    assert series(np.zeros(RATE), RATE, 220.0) is None


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"fit": None}, "no note"),
        ({"clipped": True}, "too loud for the recorder"),
        ({"decay": 1e3}, "dead: it dies within a second"),
        ({"buzz": 0.0}, "buzzing"),
        ({"doubt": 7.0}, "its pitch is in doubt by 7 cents"),
        ({}, ""),
    ],
)
def test_why_a_sound_is_left_out(changes, says):
    sound, _ = alone(short([(3, 0)]))
    if "doubt" in changes:
        changes = {"fit": replace(sound.fit, **changes)}
    assert replace(sound, **changes).unfit == says


def test_a_string_whose_pitch_nobody_states_cannot_be_heard(tmp_path):
    bare = lay_out(flat_plan().model_copy(update={"strings": 6}))
    path = short([(6, 0)]).write(tmp_path / "take.wav", 24)
    with pytest.raises(SlotwrightError, match=r"no pitch for string 6; state strings\[6\]\.pitch"):
        hear(bare, path, "6: 0")


def test_a_string_whose_gauge_nobody_states_is_heard_by_its_own_partials(tmp_path):
    bare = flat_plan()
    strings = [{"pitch": string.pitch} for string in bare.strings]
    take = short([(6, 0), (6, 12)])
    found = hear(
        lay_out(bare.model_copy(update={"strings": strings})), take.write(tmp_path / "take.wav", 24), "6: 0 12"
    )
    truth = take.readings()
    assert [(note.string, note.fret) for note in found.notes] == [(6, 0), (6, 12)]
    assert all(abs(cents(note.hertz, truth[note.string, note.fret])) < 0.5 for note in found.notes)


def test_a_take_of_noises_alone(tmp_path):
    still = 1e-4 * NOISE
    path = takes.Take(np.concatenate((still, NOISE * np.exp(-8 * TIME), still)), RATE).write(
        tmp_path / "take.wav", 24
    )
    with pytest.raises(SlotwrightError, match=r"none of the sounds heard \(1\) is a single plucked note; damp"):
        hear(INSTRUMENT, path, "3: 0")


def test_notes_none_of_which_can_be_used(heard):
    """Every note plucked while the recorder is too loud: the reason is told, with when and what helps."""
    notes = takes.plucks(healthy(), [(3, 0), (2, 0)], seed=5)
    take = takes.record(notes, takes.Around(snr=50.0, clipped=6.0), seed=5)
    with pytest.raises(
        SlotwrightError, match=r"none of the notes heard \(2\) can be used: too loud for the recorder at 0:"
    ):
        heard(take, "3 2: 0")


def test_more_sounds_than_any_take_of_notes_has(heard, monkeypatch):
    monkeypatch.setattr("slotwright.layout.sound.readings.SOUNDS", 1)
    with pytest.raises(SlotwrightError, match="2 sounds; that is no take of single notes"):
        heard(short([(3, 0), (3, 12)]), "3: 0 12")


def test_strings_in_the_other_order_are_told_by_their_pitch(heard):
    take = short([(string, fret) for string in (1, 2, 3, 4, 5, 6) for fret in (0, 12)])
    found = heard(take, "6-1: 0 12")
    assert {(note.string, note.fret) for note in found.notes} == {(s, n) for s in range(1, 7) for n in (0, 12)}
    assert any("played in the other order" in str(finding) for finding in found.findings)


def test_what_was_played_as_it_is_written():
    assert played_notes(INSTRUMENT.plan, "6: 0; ; ") == ((6, 0),)
    with pytest.raises(SlotwrightError, match="names no note"):
        played_notes(INSTRUMENT.plan, ";")
    with pytest.raises(SlotwrightError, match="2760 notes; a take has at most"):
        played_notes(INSTRUMENT.plan, "1-6: 0-22; " * 20)


def test_a_file_larger_than_any_take_is_not_opened(tmp_path):
    path = tmp_path / "take.wav"
    with path.open("wb") as file:
        file.truncate(MOST_BYTES + 1)
    with pytest.raises(SlotwrightError, match="400 MB; a take has at most 400, record it in parts"):
        read_take(path)


def test_values_that_are_no_numbers(tmp_path):
    soundfile.write(tmp_path / "take.wav", np.full(RATE, np.nan), RATE, subtype="FLOAT")
    with pytest.raises(SlotwrightError, match="holds values that are no numbers; save it as WAV"):
        read_take(tmp_path / "take.wav")


def test_a_format_without_such_a_header_is_read_as_it_is(tmp_path):
    take = short([(3, 0)])
    soundfile.write(tmp_path / "take.flac", take.samples, take.rate, subtype="PCM_24")
    read = read_take(tmp_path / "take.flac")
    assert read.seconds == pytest.approx(len(take.samples) / take.rate)
    assert read.findings == ()
