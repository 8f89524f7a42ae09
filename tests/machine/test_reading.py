"""What a controller makes of a program, line by line, and every word it should not hold."""

import numpy as np
import pytest

from slotwright.layout.machine.reading import minutes, read_program

HEAD = "N1 G21 G17 G40 G49 G54 G80 G90 G94"
BEFORE = (HEAD, "N2 G0 Z9", "N3 S9000 M3", "N4 G4 P1")
AFTER = ("N90 M5", "N91 M30")


def read(*lines):
    return read_program("\n".join(lines), "p")


def told(*lines):
    """Give kind, line and words of all that is said."""
    found = []
    for each in read(*lines).findings:
        where, words = each.words.split(": ", 1)
        assert where == each.subject
        found.append((each.kind, where.removeprefix("p line "), words))
    return found


def test_every_move_is_read_with_all_that_a_controller_remembers():
    made = read(
        "(head)",
        "N1 G20 G17 G40 G49 G54 G80 G90 G94",
        "N2 G0 Z1.",
        "N3 S9000 M3",
        "N4 G4 P2.5",
        "N5 X1 Y-.5 (a remark) ",
        "",
        "N6 G1 Z+0 F10",
        "N7 X2",
        "N8 S8000 Y0",
        "N9 M0",
        "N10 M5",
        "N11 G0 Z1",
        "N12 M30",
    )
    unknown = np.nan
    assert made.findings == ()
    assert made.lines.tolist() == [3, 6, 8, 9, 10, 13]
    assert made.rapid.tolist() == [True, True, False, False, False, True]
    ends = 25.4 * np.array([[unknown, unknown, 1], [1, -0.5, 1], [1, -0.5, 0], [2, -0.5, 0], [2, 0, 0], [2, 0, 1]])
    np.testing.assert_allclose(made.end, ends, rtol=1e-15)
    np.testing.assert_allclose(made.start, [[unknown] * 3, *ends[:-1]], rtol=1e-15)
    assert made.feed.tolist() == [np.inf, np.inf, 254.0, 254.0, 254.0, np.inf]
    assert made.spindle.tolist() == [0.0, 9000.0, 9000.0, 9000.0, 8000.0, 0.0]
    assert made.stopped.tolist() == [False] * 5 + [True]
    assert (made.dwell, made.switched_off) == (2.5, True)
    # An inch down, one along and half one across at 10 in/min, an inch up at 100 in/min, 2.5 s of standing still.
    assert minutes(made, 2540.0) == pytest.approx(0.1 + 0.1 + 0.05 + 0.01 + 2.5 / 60, rel=1e-12)


def test_a_program_without_a_word_is_empty():
    made = read_program("(nothing)\n")
    assert made.end.shape == made.start.shape == (0, 3)
    assert [str(each) for each in made.findings] == ["program line 0: ends without M30"]
    assert (made.dwell, made.switched_off, minutes(made, 3000.0)) == (0.0, False, 0.0)


def test_the_end_switches_off_and_a_spindle_is_off_only_by_m5():
    assert not read(*BEFORE, "N91 M30").switched_off
    assert read(*BEFORE, "N5 G4 P2", *AFTER).dwell == 3.0
    assert not read(*BEFORE, "N5 M5", "N6 M3", "N91 M30").switched_off
    assert read(*BEFORE, *AFTER).switched_off


def test_a_feed_that_nobody_stated_counts_for_no_time():
    assert minutes(read(*BEFORE, "N5 G1 X1 Y1", "N6 Z8", "N7 F100 Z6", *AFTER), 3000.0) == pytest.approx(
        0.02 + 1 / 60
    )


FOUND = {
    "a line that is just short enough": (["(" + 68 * "x" + ")"], []),
    "a long line": (["(" + 69 * "x" + ")"], [("long line", "5", "71 characters; at most 70")]),
    "a letter of another tongue": (["(\u00e4)"], [("strange letter", "5", "holds more than plain letters")]),
    "a tab": (["N5\tX1"], [("strange letter", "5", "holds more than plain letters")]),
    "no word at all": (["N5 x1 q"], [("unknown word", "5", "'x1' is no word of this subset")]),
    "another letter": (["N5 A1"], [("unknown word", "5", "A is no word of this subset")]),
    "an axis twice": (["N5 X1 X2"], [("unknown word", "5", "X stands there twice")]),
    "an arc": (["N5 G2"], [("unknown word", "5", "G2 is no word of this subset")]),
    "a code with a point": (["N5 G61.1"], [("unknown word", "5", "G61.1 is no word of this subset")]),
    "another cutter": (["N5 M6"], [("unknown word", "5", "M6 is no word of this subset")]),
    "several codes": (["N5 G90 G0 M5 M0"], []),
    "a stray P": (["N5 P1"], [("unknown word", "5", "P without G4")]),
    "no number": (["X1"], [("no number", "5", "has no line number")]),
    "a number behind": (["X1 N5"], [("no number", "5", "has no line number")]),
    "a number again": (["N4 X1"], [("line numbers", "5", "N4 does not follow N4")]),
    "another unit": (["N5 G20"], [("two units", "5", "changes the unit of a program that has begun")]),
    "the unit again": (["N5 G21"], []),
    "no speed": (["N5 S0 M3"], [("spindle", "5", "M3 without a speed")]),
    "a dwell just short enough": (["N5 G4 P9.9"], []),
    "a long dwell": (["N5 G4 P10"], [("dwell", "5", "G4 P stays below 10")]),
    "a dwell without end": (["N5 G4"], [("dwell", "5", "G4 P stays below 10")]),
    "a spindle started anew": (
        ["N5 M3", "N6 G1 X1 F10", "N7 G4 P0.9", "N8 X2", "N9 G4 P1", "N10 X3"],
        [("dwell", line, "feeds before the spindle had 1 s to reach its speed") for line in ("6", "8")],
    ),
    "a second wait that is short": (["N5 G4 P0.1", "N6 G1 X1 F10"], []),
    "no feed": (["N5 G1 X1"], [("no feed", "5", "feeds without F")]),
    "a feed of nothing": (["N5 G1 X1 F0"], [("no feed", "5", "feeds without F")]),
    "more after the end": (["N5 M30", "N6 X1"], [("after the end", line, "stands after M30") for line in "678"]),
    "six of a kind": ([f"N{n} A1" for n in range(5, 11)], [("unknown word", f"{n}", "A is no word of this subset") for n in range(5, 10)]),
}  # fmt: skip


@pytest.mark.parametrize("case", FOUND)
def test_what_a_line_should_not_hold_is_told_with_its_line(case):
    lines, says = FOUND[case]
    assert told(*BEFORE, *lines, *AFTER) == says


def test_five_of_a_kind_are_told_kind_by_kind():
    lines = [f"N{n} A1 P1 M3" for n in range(5, 8)] + ["N8 G4", "N9 M6"]
    assert [each[:2] for each in told(*BEFORE, *lines, *AFTER)] == [
        *(("unknown word", line) for line in "55667"), ("dwell", "8"),
    ]  # fmt: skip


def test_a_long_line_is_told_with_its_length():
    (found,) = read(*BEFORE, "(" + 69 * "x" + ")", *AFTER).findings
    assert found.numbers == {"length": 71}


def test_what_is_not_understood_moves_nothing():
    made = read(*BEFORE, "N5 M30", "N6 X1", "N7 M3")
    assert made.lines.tolist() == [2]
    early = read("N1 G21 G17 G40 G49 G54 G80 G90 G94", "N2 Z5", "N3 M30")
    assert not len(early.end)
    assert [str(each) for each in early.findings] == ["p line 2: moves before G0 or G1"]


@pytest.mark.parametrize("code", HEAD.split()[1:])
def test_nothing_moves_before_every_mode_is_stated(code):
    says = [("beginning", "2", "moves before units, plane, zero and modes are stated")]
    assert told(HEAD.replace(f" {code}", ""), "N2 G0 Z9", *AFTER) == says
    assert told(HEAD, "N2 G0 Z9", *AFTER) == []


def test_without_its_end_a_program_is_told_at_its_last_move():
    assert told(*BEFORE, "N5 X1", "N6 X2", "N7 M5") == [("no end", "6", "ends without M30")]
    # Without a unit, numbers count as millimetres, and no feed is known.
    made = read("N1 G17 G40 G49 G54 G80 G90 G94", "N2 G1 X1 Y2 Z3 F9", *AFTER)
    assert made.end.tolist() == [[1.0, 2.0, 3.0]]
    assert np.isnan(made.feed).all()
    assert [each.kind for each in made.findings] == ["beginning", "no feed"]
