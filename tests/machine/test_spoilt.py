"""Twenty hands that spoil programs, each in a way of its own; the verdict has to catch every one.

The hands know the language and the board, not how the verdict looks at either.
"""

import re
from functools import cache

import pytest
from boards import SHORT

from slotwright.layout.instrument.instrument import lay_out
from slotwright.layout.machine.programs import texts_of, verdict
from slotwright.layout.plan.plan import Plan


@cache
def board():
    instrument = lay_out(Plan.model_validate(SHORT))
    return instrument, texts_of(instrument)


def numbered(lines):
    """Number the lines anew, so that only the deed itself is there to be caught."""
    count = iter(range(1, 100_000))
    return [re.sub(r"^N\d+", lambda _: f"N{next(count)}", line) for line in lines]


def places(lines, pattern):
    return [n for n, line in enumerate(lines) if re.search(pattern, line)]


def every(pattern, by):
    return lambda lines: [re.sub(pattern, by, line) for line in lines]


def shifted(word, by, where=r"^N\d+ G1"):
    """Move one axis of all cuts."""

    def hand(lines):
        def moved(found):
            return f"{word}{float(found[1]) + by:.4f}"

        return [re.sub(rf"{word}(-?\d+\.\d+)", moved, line) if re.search(where, line) else line for line in lines]

    return hand


def without(first, last):
    """Leave out the lines from one that matches to the next that does."""

    def hand(lines):
        begin = places(lines, first)[0]
        end = next(n for n in places(lines, last) if n > begin)
        return lines[:begin] + lines[end:]

    return hand


def inserted(before, *new):
    def hand(lines):
        at = places(lines, before)[0]
        return [*lines[:at], *(f"N0 {line}" for line in new), *lines[at:]]

    return hand


def swapped(lines):
    """Cut the outline before the marks inside it."""
    head = places(lines, r"^\(mark at")[0]
    outline = places(lines, r"^\(outline")[0]
    end = places(lines, r"M5$")[0]
    return lines[:head] + lines[outline:end] + lines[head:outline] + lines[end:]


def mirrored(lines):
    return [re.sub(r"Y(-?)(\d)", lambda y: f"Y{'' if y[1] else '-'}{y[2]}", line) for line in lines]


def plunged(lines):
    """Drop straight down by 0.4 mm in the middle of a slot, at the feed of a cut."""
    at = places(lines, r"^N\d+ G1 Y\S+ Z5\.\d+$")[4]
    depth = float(re.search(r"Z(\S+)", lines[at])[1])
    return [*lines[: at + 1], f"N0 G1 Z{depth - 0.4:.4f}", *lines[at + 1 :]]


def one_deep(lines):
    """Let one point of a slot's last pass dip by 0.2 mm."""
    at = places(lines, r"^N\d+ G1 Y\S+ Z3\.")[5]
    deeper = re.sub(r"Z(\S+)", lambda z: f"Z{float(z[1]) - 0.2:.4f}", lines[at])
    return [*lines[:at], deeper, *lines[at + 1 :]]


def high_tab(lines):
    """Cut a tab away: where the last pass climbs over it, it stays down."""
    lowest = min(float(z) for line in lines for z in re.findall(r"Z(-?\d+\.\d+)", line))
    last = places(lines, r"^\(outline")[-1]
    return lines[:last] + [
        re.sub(r"Z(-?\d+\.\d+)", lambda z: f"Z{min(float(z[1]), lowest):.4f}" if float(z[1]) < 3 else z[0], line)
        for line in lines[last:]
    ]


HANDS = {
    "all cuts 0.1 mm deeper": ("slots", shifted("Z", -0.1), {"too deep", "step-down"}),
    "all cuts 0.1 mm too shallow": ("slots", shifted("Z", 0.1), {"not cut"}),
    "one point of one slot too deep": ("slots", one_deep, {"too deep", "step-down"}),
    "all slots 0.2 mm nearer the nut": ("slots", shifted("X", -0.2, r"G0|G1"), {"too deep", "not cut"}),
    "a slot left out": ("slots", without(r"^\(slot of fret 2\)", r"^\(slot of fret 3\)"), {"not cut"}),
    "the first pass of a slot left out": ("slots", without(r"^N8 ", r"^N45 "), {"step-down", "not cut", "plunge"}),
    "feed twice as fast": ("slots", every(r"F430", "F860"), {"feed"}),
    "a plunge where a ramp belongs": ("slots", plunged, {"plunge", "step-down"}),
    "a rapid across the board while down": ("slots", inserted(r"^N10 ", "G0 Y20.0"), {"rapid"}),
    "a rapid through the clamp": ("marks", inserted(r"^N5 ", "G0 X-25.0 Y0.0 Z8.0"), {"clamp", "rapid", "low travel"}),
    "a cut through the clamp": ("marks", inserted(r"^N8 ", "G1 X-25.0 Y0.0 F500"), {"clamp", "too deep"}),
    "outline before the marks": ("marks", swapped, {"order"}),
    "a tab cut away": ("marks", high_tab, {"too deep", "order", "not cut", "spoil board"}),
    "the other side of the line": ("marks", shifted("Y", 3.0, r"G0|G1"), {"too deep", "not cut"}),
    "the marks turned over": ("slots", mirrored, set()),
    "millimetres read as inches": ("marks", every("G21", "G20"), {"not cut", "rapid", "clamp", "spoil board"}),
    "the spindle never started": ("marks", every(r" ?S18000 M3", ""), {"spindle"}),
    "the spindle stopped half way": ("slots", inserted(r"^\(slot of fret 3\)", "M5"), {"spindle"}),
    "a line longer than a controller reads": ("surface", every(r"^\(surface.*", "(" + "surface " * 12 + ")"), {"long line"}),
    "through the spoil board": ("marks", every(r"Z-0\.2000", "Z-2.0000"), {"spoil board"}),
    "an arc": ("marks", every(r"^(N9) G1 (X\S+ Y\S+).*", r"\1 G3 \2 I0.0 J1.0"), {"unknown word", "strange letter"}),
    "an offset of the work": ("marks", every(r"G54", "G55"), {"unknown word", "beginning"}),
    "two files exchanged": (None, None, {"too deep", "not cut", "cutting length", "step-down", "missing program"}),
    "a file lost": ("slots", lambda _: [], {"empty", "missing program", "not cut", "no end", "beginning"}),
}  # fmt: skip


def found(texts):
    return {finding.kind for finding in verdict(board()[0], texts).findings}


@pytest.mark.parametrize("deed", HANDS)
def test_every_hand_is_caught(deed):
    operation, hand, kinds = HANDS[deed]
    texts = dict(board()[1])
    if operation is None:
        names = list(texts)
        texts[names[0]], texts[names[1]] = texts[names[1]], texts[names[0]]
    else:
        (name,) = [name for name in texts if operation in name]
        spoilt = "\n".join(numbered(hand(texts[name].splitlines()))) + "\n"
        assert spoilt != texts[name]
        texts[name] = spoilt
    if deed == "the marks turned over":
        assert not found(texts) - {"too deep", "not cut"}  # slots are the same on both sides of the centre line
        return
    assert kinds & found(texts), found(texts)


def test_hands_that_change_nothing_are_let_through():
    texts = dict(board()[1])
    for name, text in texts.items():
        lines = text.splitlines()
        texts[name] = "\n".join(numbered(["(another remark)", *lines])) + "\n"
    assert not found(texts)
