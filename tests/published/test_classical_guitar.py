"""M. B. Anderson, R. G. Beausoleil, "Classical guitar intonation and compensation: The well-tempered
guitar", J. Acoust. Soc. Am. 156(1), 683-695 (2024); values from the authors' manuscript source.

Model guitar: X = 650 mm, b = 1 mm, c = 4 mm, no press distance, no relief, one clamped end. The paper takes
``EI = EA * d^2 / 16`` with the EA of slow stretch, of wound strings too, which real strings do not have: so string
constant and bending are both stated here, and what is proved is the algebra. Setbacks minimise the RMS over frets 1-12, saddle and nut free for each string.
The paper's nut setback is the negative of our nut offset.
"""

import numpy as np
import pytest

from slotwright.layout.physics import strings
from slotwright.layout.physics.offsets import compensate, rms
from slotwright.layout.physics.pitch import Fretting, parts
from slotwright.layout.plan.tables import String

# pitch, radius mm, mass mg/mm, tension N, string constant, saddle mm, nut mm, RMS cents
NORMAL_TENSION = [
    ("E4", 0.356, 0.374, 68.6, 48.2, 1.48, -0.36, 0.15),
    ("B3", 0.409, 0.505, 52.0, 48.7, 1.69, -0.36, 0.15),
    ("G3", 0.512, 0.836, 54.2, 58.6, 2.33, -0.43, 0.19),
    ("D3", 0.368, 1.920, 70.0, 46.0, 1.48, -0.34, 0.14),
    ("A2", 0.445, 3.289, 67.3, 48.7, 1.82, -0.36, 0.15),
    ("E2", 0.546, 5.470, 62.8, 58.2, 2.46, -0.43, 0.19),
]
HARD_TENSION = [
    ("E4", 0.362, 0.386, 70.9, 47.9, 1.50, -0.36, 0.15),
    ("B3", 0.415, 0.522, 53.8, 53.5, 1.82, -0.40, 0.17),
    ("G3", 0.521, 0.856, 55.6, 57.5, 2.34, -0.42, 0.18),
    ("D3", 0.381, 2.007, 73.1, 46.4, 1.54, -0.35, 0.15),
    ("A2", 0.457, 3.486, 71.3, 49.0, 1.88, -0.36, 0.15),
    ("E2", 0.559, 5.666, 65.0, 51.9, 2.35, -0.38, 0.17),
]
SCALE = 650.0
FRETS = np.arange(1, 13)


def body(pitch, radius, mass, constant):
    tension = mass * 1e-3 * (2e-3 * SCALE * strings.frequency(pitch)) ** 2
    return strings.body(
        String(
            pitch=pitch,
            gauge=2 * radius,
            kind="wound nylon" if mass > 1 else "plain nylon",
            mass=mass,
            string_constant=constant,
            bending=constant * tension * (2 * radius) ** 2 / 16,
        ),
        SCALE,
    )


def model_guitar(bodies):
    count, fractions = len(bodies), 2.0 ** (-FRETS / 12)
    one = np.ones(count)
    return Fretting(
        scale=SCALE * one,
        frets=np.tile(SCALE * (1 - fractions), (count, 1)),
        fractions=fractions,
        crowns=np.zeros((count, len(FRETS))),
        nut_height=1.0 * one,
        # Saddle 4 mm above the nut: half of that at half the string.
        action_at=SCALE / 2 * one,
        action_height=3.0 * one,
        press=np.zeros((count, len(FRETS))),
        press_depth=0 * one,
        free_length=0 * one,
        tension=np.array([b.tension for b in bodies]),
        axial=np.array([b.axial for b in bodies]),
        bending=np.array([b.bending for b in bodies]),
    )


@pytest.mark.parametrize("row", NORMAL_TENSION + HARD_TENSION)
def test_tension(row):
    pitch, radius, mass, tension, constant, *_ = row
    # The columns are printed to three digits.
    assert body(pitch, radius, mass, constant).tension == pytest.approx(tension, rel=0.005)


@pytest.mark.parametrize("rows", [NORMAL_TENSION, HARD_TENSION])
def test_setbacks(rows):
    fretting = model_guitar([body(pitch, radius, mass, k) for pitch, radius, mass, _, k, *_ in rows])
    weights = np.ones((len(rows), len(FRETS)))
    offsets = compensate(fretting, weights, nut="per string")
    left = rms(parts(fretting, offsets.saddle, offsets.nut).total, weights)
    saddle, nut, off = (np.array(column) for column in zip(*(row[5:] for row in rows), strict=True))
    # The paper linearises; the exact lengths differ from it by this much.
    assert np.abs(offsets.saddle - saddle).max() < 0.04
    assert np.abs(-offsets.nut - nut).max() < 0.02
    assert np.abs(left - off).max() < 0.02
    assert abs(np.mean(-offsets.nut) + 0.37) < 0.03  # "over five sets the mean nut setback is -0.37 +- 0.03 mm"


def test_setback_is_about_four_and_a_half_radii():
    # "Over five sets the saddle setback is (4.4 +- 0.2) times the string radius"; two of them are tabulated here.
    rows = NORMAL_TENSION + HARD_TENSION
    fretting = model_guitar([body(pitch, radius, mass, k) for pitch, radius, mass, _, k, *_ in rows])
    offsets = compensate(fretting, np.ones((len(rows), len(FRETS))), nut="per string")
    assert abs(np.mean(offsets.saddle / np.array([row[1] for row in rows])) - 4.4) < 0.2


def test_one_string_without_compensation():
    # The paper: one string of radius 0.43 mm and k = 51 is sharp at every fret; B_0 times X is about 1.54 mm.
    tension = 60.0  # any: the setback rule has only k and the radius in it
    axial = 51.0 * tension
    fretting = model_guitar(
        [strings.StringBody(110.0, 1e-3, tension, axial, axial * 0.86**2 / 16, None, False, None)]
    )
    off = parts(fretting, np.zeros(1), np.zeros(1)).total
    assert (off > 0).all()
    rule = np.sqrt(axial * 0.86**2 / 16 / tension)  # B_0 X
    assert rule == pytest.approx(1.54, abs=0.005)
