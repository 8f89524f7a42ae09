"""The verdict on programs: those that were written pass, and a hand that spoils one is caught."""

import re
from functools import cache

import numpy as np
import pytest
from boards import PLANS, SHORT
from helpers import some

from slotwright.layout.instrument.instrument import lay_out
from slotwright.layout.machine.heights import Moves, swept
from slotwright.layout.machine.programs import mill, texts_of, verdict
from slotwright.layout.plan.plan import Plan


@cache
def short():
    """A board of four frets, quick to judge, with a clamp and all that a router does."""
    instrument = lay_out(Plan.model_validate(SHORT))
    return instrument, texts_of(instrument)


def kinds(texts):
    return {finding.kind for finding in verdict(short()[0], texts).findings}


def changed(operation, pattern, by, count=1):
    """Change the text of one program."""
    texts = dict(short()[1])
    (name,) = [name for name in texts if operation in name]
    after = re.sub(pattern, by, texts[name], count=count, flags=re.MULTILINE)
    assert after != texts[name]
    return {**texts, name: after}


def test_what_was_written_passes():
    instrument, texts = short()
    found = verdict(instrument, texts)
    assert found.findings == ()
    assert [program.name for program in mill(instrument)] == list(texts)
    for program in found.programs:
        assert program.minutes > 0
        assert program.closest_rapid == pytest.approx(1.0, abs=1e-3)
        assert program.deepest > -0.01
        assert program.shallowest < 0.035
        assert len(program.clamps) == 1


SPOILT = {
    "a number turned": ("slots", r"^(N\d+ G1 .*)Z3\.", r"\1Z2.", "too deep"),
    "a line dropped in the outline's last pass": ("marks", r"^N\d+ G1 Y-?2\d\.\d+$", "(gone)", "too deep"),
    "another unit": ("slots", "G21", "G20", "not cut"),
    "travel through wood": ("slots", r"G0 Z7\.5", "G0 Z5.0", "rapid"),
    "a feed lost": ("slots", r" F\d+$", "", "no feed"),
    "too fast": ("slots", r"F430", "F900", "feed"),
    "a plunge too fast": ("surface", r"F200", "F900", "plunge"),
    "no spindle": ("slots", r"^N\d+ S18000 M3$", "(none)", "spindle"),
    "no time to speed up": ("slots", r"^N\d+ G4 P3\.0$", "(none)", "dwell"),
    "a slow spindle": ("slots", "S18000", "S9000", "spindle"),
    "below the allowance": ("marks", r"Z-0\.2000", "Z-0.5000", "spoil board"),
    "an arc": ("marks", "G1 X", "G2 X", "unknown word"),
    "a long line": ("surface", r"^N3 ", "(" + "x" * 80 + ")\nN3 ", "long line"),
    "no end": ("surface", r"^N\d+ M30$", "", "no end"),
    "a second number": ("surface", r"^N4 ", "N3 ", "line numbers"),
    "a long dwell": ("surface", r"G4 P3\.0", "G4 P3000", "dwell"),
}


@pytest.mark.parametrize("case", some(SPOILT, 4))
def test_a_spoilt_program_is_caught(case):
    operation, pattern, by, kind = SPOILT[case]
    assert kind in kinds(changed(operation, pattern, by))


def test_a_lost_pass_is_a_step_too_deep_and_a_wrong_order_is_told():
    texts = dict(short()[1])
    slots, last = (next(name for name in texts if what in name) for what in ("slots", "marks"))
    lines = texts[slots].splitlines()
    first = next(n for n, line in enumerate(lines) if "slot of fret 1)" in line)
    # From the ramp of the second layer to that of the third nothing is cut.
    ramps = [n for n, line in enumerate(lines) if "F215" in line and n > first]
    assert "step-down" in kinds({**texts, slots: "\n".join(lines[: ramps[1]] + lines[ramps[3] :]) + "\n"})
    head, marks, rest = re.split(r"(?=^\(mark|^\(outline, a)", texts[last], flags=re.MULTILINE)
    outline, end = re.split(r"(?=^N\d+ M5)", rest, flags=re.MULTILINE)
    found = kinds({**texts, last: head + outline + marks + end})
    assert "order" in found


def test_a_missing_tab_and_a_missing_slot_are_told():
    assert "too deep" in kinds(changed("marks", r"Z1\.5000", "Z-0.2000", count=0))
    texts = dict(short()[1])
    slots = next(name for name in texts if "slots" in name)
    without = re.sub(r"\(slot of fret 2\)\n(N.*\n)*", "", texts[slots])
    told = verdict(short()[0], {**texts, slots: without}).findings
    assert any(finding.kind == "not cut" and "slot of fret 2" in finding.words for finding in told)


def test_a_clamp_that_is_met_is_told():
    texts = changed("marks", r"^N\d+ G0 Z\d\d\.\d+\n(?=N\d+ M5)", r"\g<0>N99990 G0 Y60\nN99991 G0 X-25 Z10\n")
    assert {"clamp", "low travel"} & kinds(texts)


def test_programs_are_the_same_in_every_run_and_in_the_subset():
    for plan in some(PLANS.values()):
        instrument, again = (lay_out(Plan.model_validate(plan)) for _ in range(2))
        texts = texts_of(instrument)
        assert texts == texts_of(again)
        for text in texts.values():
            assert text.isascii()
            numbers = []
            for line in text.splitlines():
                assert len(line) <= 70
                if not line.startswith("("):
                    number, *words = line.split()
                    numbers.append(int(number[1:]))
                    assert all(re.fullmatch(r"[GMFSXYZP]-?\d+(\.\d+)?", word) for word in words), line
                    assert {word for word in words if word[0] in "GM"} <= {
                        "G0", "G1", "G4", "G17", "G20", "G21", "G40", "G49", "G54", "G80", "G90", "G94", "M0", "M3", "M5", "M30",
                    }  # fmt: skip
            assert numbers == list(range(1, len(numbers) + 1))


def test_what_is_under_a_move_is_known_exactly():
    """Against a tip put down at ten thousand places along each move."""
    rng = np.random.default_rng(3)
    start, end = rng.uniform(-3, 3, (2, 40, 3))
    end[:5] = start[:5] + np.array([0, 0, 1])  # upright
    moves = Moves(start, end, rng.uniform(0.3, 2, 40), rng.random(40) < 0.5)
    places = rng.uniform(-5, 5, (60, 2))
    found = swept(moves, places).bottom
    for n in range(40):
        tips = start[n] + np.linspace(0, 1, 10_001)[:, None] * (end[n] - start[n])
        off = np.hypot(tips[:, None, 0] - places[:, 0], tips[:, None, 1] - places[:, 1])
        radius = moves.radius[n]
        up = radius - np.sqrt(np.maximum(radius**2 - off**2, 0)) if moves.ball[n] else 0.0
        brute = np.where(off <= radius, tips[:, None, 2] + up, np.inf).min(axis=0)
        both = np.isfinite(brute) & np.isfinite(found[n])
        off = np.abs(found[n][both] - brute[both])
        assert (np.isfinite(found[n]) == np.isfinite(brute)).mean() > 0.98  # a rim that is just touched
        assert off.max(initial=0.0) < 0.06  # a flat rim leaves a place between two steps
        assert not len(off) or np.median(off) < 1e-3


GROOVED = {
    **SHORT,
    "board": {**SHORT["board"], "behind_nut": 7.2},
    "nut": {"slot": 3.2, "seat": 2.0, "thickness": 3.2},
    "machine": {
        "tabs": {"count": 2},
        "cutters": [{"operations": ["pockets"], "diameter": 3.0, "cutting_length": 12.0}],
    },
}


@pytest.mark.parametrize("left_handed", [False, True])
def test_a_groove_for_the_nut_on_either_hand(left_handed):
    """Nothing but the groove is milled: slots, marks and outline are another's work."""
    made = {**GROOVED, "board": {**GROOVED["board"], "left_handed": left_handed}}
    (program,) = mill(lay_out(Plan.model_validate(made)))
    assert program.name == "board-mill-1-pockets.ngc"
    assert program.deepest > -0.01
