"""What the trade knows (common practice, no source): directions and sizes, not decimals."""

import numpy as np
import pytest
from helpers import contents, starter

from slotwright.layout.bench.advice import advise
from slotwright.layout.bench.state import gather, setting_of
from slotwright.layout.instrument.instrument import lay_out
from slotwright.layout.plan.plan import Plan
from slotwright.layout.readings.notes import parse_readings

STEEL_SIX = [
    {"pitch": "E4", "gauge": "0.010 in", "kind": "plain steel"},
    {"pitch": "B3", "gauge": "0.013 in", "kind": "plain steel"},
    {"pitch": "G3", "gauge": "0.017 in", "kind": "plain steel"},
    {"pitch": "D3", "gauge": "0.026 in", "kind": "wound steel"},
    {"pitch": "A2", "gauge": "0.036 in", "kind": "wound steel"},
    {"pitch": "E2", "gauge": "0.046 in", "kind": "wound steel"},
]
AT_12 = {"aim": [{"strings": [1, 2, 3, 4, 5, 6], "frets": [12]}]}


def strung(**changes):
    made = contents(strings=STEEL_SIX, scale={"length": 648}, board={"radius": 254}, compensation=AT_12)
    made["setup"] = {"first_gap": [0.30, 0.40], "action": [1.5, 1.9], "relief": 0.2}
    for table, values in changes.items():
        made[table] = {**made.get(table, {}), **values} if isinstance(values, dict) else values
    return lay_out(Plan.model_validate(made)).strung


def test_steel_six_aimed_at_12():
    # From memory: plain first set back 1-2 mm, sixth 3-6, plain third 3.5-4.5; a plain third more than a wound fourth.
    back = strung().offsets.saddle
    assert 1 <= back[0] <= 2
    assert 3 <= back[5] <= 6
    assert 3.5 <= back[2] <= 4.5
    assert back[2] > back[3]
    assert back[3] < back[4] < back[5]


def test_wound_third():
    # From memory: a wound third is set back 2-2.5 mm, far less than a plain one.
    wound = [*STEEL_SIX]
    wound[2] = {"pitch": "G3", "gauge": "0.020 in", "kind": "wound steel"}
    assert 1.8 <= strung(strings=wound).offsets.saddle[2] <= 2.6


def test_bass_four():
    # From memory: bass first set back 2-3 mm. The four lowest strings of recordings ask for less than 6.
    made = contents(
        strings=[
            {"pitch": p, "gauge": g, "kind": "wound steel"}
            for p, g in (("G2", "0.045 in"), ("D2", "0.065 in"), ("A1", "0.085 in"), ("E1", "0.105 in"))
        ],
        scale={"length": 864},
        board={
            "nut_width": 40,
            "edge_margin": 4.2,
            "string_spread_nut": 30,
            "string_spread_saddle": 57,
            "radius": 305,
        },
        setup={"first_gap": [0.45, 0.60], "action": [2.0, 2.5], "relief": 0.35},
        compensation={"aim": [{"strings": [1, 2, 3, 4], "frets": [12]}]},
    )
    found = lay_out(Plan.model_validate(made)).strung
    assert 2 <= found.offsets.saddle[0] <= 3
    assert (np.diff(found.offsets.saddle) > 0).all()
    assert found.uncertainty[3, 0] < 4.4 < found.uncertainty[3, 1]


def test_bass_five():
    # From memory: bass first set back 2-3 mm, lowest 6-8.
    back = lay_out(starter("bass-five-multiscale")).strung.offsets.saddle
    assert 2 <= back[0] <= 3
    assert 6 <= back[4] <= 8


def test_an_aim_at_fret_12_leaves_it_at_zero():
    found = strung()
    assert found.after.total[:, 11] == pytest.approx(0, abs=1e-7)
    assert (found.offsets.nut == 0).all()


def test_sharp_means_back_flat_means_forward():
    # A saddle 1 mm too far forward leaves fret 12 sharp; the remedy is to move it back.
    found = strung()
    assert (found.before.total[:, 11] > 0).all()
    assert (found.offsets.saddle > 0).all()


def test_higher_action_and_thicker_core_go_further_back():
    plain = strung().offsets.saddle
    assert (strung(setup={"action": [2.0, 2.4]}).offsets.saddle > plain).all()
    thick = [*STEEL_SIX]
    thick[5] = {**thick[5], "core": "0.020 in"}
    thin = [*STEEL_SIX]
    thin[5] = {**thin[5], "core": "0.016 in"}
    assert strung(strings=thick).offsets.saddle[5] > strung(strings=thin).offsets.saddle[5]


def test_a_high_nut_makes_the_first_frets_sharp():
    # Frets 1-3 sharp and upper frets good: look at the nut slot's height first.
    low, high = strung(), strung(setup={"first_gap": [0.6, 0.7]})
    more = high.after.total - low.after.total
    assert (more[:, 0] > 0.9).all()
    assert (np.abs(more[:, 11]) < 0.2).all()


def test_nylon_thirds_need_most():
    # The plain nylon third is the string that plays sharpest.
    found = lay_out(starter("nylon-six")).strung
    assert np.argmax(found.offsets.saddle[:3]) == 2


# At the bench (all common practice, no source).


def bench(rows):
    instrument = lay_out(starter("electric-six"))
    setting = setting_of(instrument)
    text = "string,fret,cents\n" + "".join(f"{s},{n},{c}\n" for s, n, c in rows)
    readings = parse_readings(text.encode(), instrument.plan)
    return advise(instrument.plan, setting, gather(setting, readings))


def test_sharp_goes_back_and_flat_forward():
    sharp, flat = bench([(1, 12, 5), (1, 17, 8), (2, 12, -5), (2, 17, -8)])
    assert (sharp.direction, flat.direction) == ("back", "forward")
    assert sharp.move > 0 > flat.move


def test_a_little_flat_at_12_and_a_little_sharp_at_17_is_left_alone():
    (advice,) = bench([(1, 12, -1.2), (1, 17, 1.5)])
    assert advice.direction == "leave"


def test_a_residue_of_a_cent_or_two_is_not_chased():
    assert all(advice.direction == "leave" for advice in bench([(1, 12, 1.8), (1, 17, 1.9), (6, 12, -1.9)]))


def test_low_strings_follow_12_and_high_ones_share():
    high, low = bench([(1, 12, 6), (1, 17, 3), (6, 12, 6), (6, 17, 3)])
    assert low.expected[low.frets == 12] == pytest.approx(0, abs=1e-6)
    assert high.expected[high.frets == 12] > 0 > high.expected[high.frets == 17]
