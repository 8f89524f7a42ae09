"""Boards that a router can mill, and any number of others like them."""

from __future__ import annotations

import tomllib

from hypothesis import strategies as st

from slotwright.templates import starters

SLOTS = {"operations": ["slots"], "diameter": 0.56, "cutting_length": 6.0}
OUTLINE = {"operations": ["outline"], "diameter": "1/8 in", "cutting_length": 12.0}


def machined(cutters=None, **keys):
    """Give a machine, with two plain cutters unless others are given."""
    return {"cutters": [SLOTS, OUTLINE] if cutters is None else cutters, **keys}


PLAIN = {
    "title": "Plain",
    "strings": 6,
    "scale": {"length": 628.0},
    "frets": {"count": 22},
    "board": {"nut_width": 42.5, "radius": [254, 406]},
    "blank": {"length": 510.0, "width": 62.0, "nut_at": 20.0, "thickness": 6.0},
    "machine": machined(),
}

# Four frets, quick to judge, with a clamp and all that a router does.
SHORT = {
    **PLAIN,
    "scale": {"length": 330.0},
    "frets": {"count": 4},
    "board": {"nut_width": 42.5, "radius": 254, "position_marks": [3]},
    "blank": {"length": 150.0, "width": 62.0, "nut_at": 30.0, "thickness": 6.5},
    "machine": {
        "tabs": {"count": 2},
        "keep_out": [[-30.0, -40.0, -20.0, 40.0, 12.0]],
        "cutters": [
            {
                "operations": ["surface"],
                "shape": "ball",
                "diameter": 6.0,
                "cutting_length": 12.0,
                "step_down": 1.5,
            },
            SLOTS,
            {"operations": ["marks", "outline"], "diameter": 3.0, "cutting_length": 12.0},
        ],
    },
}

PLANS = {
    "electric-six": tomllib.loads(starters()["electric-six"]),
    **{name: tomllib.loads(text) for name, text in starters().items() if "[machine]" in text},
    "left-handed fan, bound and blind": {
        "title": "Left",
        "strings": 5,
        "scale": {"treble": 628.0, "bass": 660.0},
        "frets": {"count": 20, "slot_inset": 1.0},
        "board": {
            "nut_width": 46, "radius": [305, 406], "binding": 1.5, "left_handed": True, "position_marks": [5, 7],
            "mark_diameter": 5.0,
        },
        "blank": {"length": 540.0, "width": 80.0, "nut_at": 30.0, "thickness": 6.8},
        "machine": machined(
            [
                {"operations": ["surface"], "diameter": 6.0, "cutting_length": 12.0, "step_down": 1.0},
                {"operations": ["slots", "marks"], "diameter": 0.55, "cutting_length": 4.0, "step_down": 0.3},
                {"operations": ["outline"], "diameter": 3.0, "cutting_length": 12.0},
            ],
            zero="corner",
            keep_out=[[-40.0, -60.0, -26.0, 60.0, 9.0]],
        ),
    },
    "surfaced, in inches": {
        "title": "Inches",
        "units": "in",
        "strings": 4,
        "scale": {"length": 34},
        "frets": {"count": 20, "slot_width": 0.024, "zero_fret": True},
        "board": {"nut_width": 1.5, "radius": 12, "thickness": 0.25},
        "blank": {"length": 25.5, "width": 2.6, "nut_at": 1.2, "thickness": 0.25},
        "machine": machined(
            [
                {"operations": ["slots"], "diameter": 0.022, "cutting_length": 0.2},
                {"operations": ["outline"], "diameter": 0.125, "cutting_length": 0.5},
            ],
            state="surfaced", z_zero="top", touch=[-0.9, 0.2], wood="ebony",
        ),
    },
}  # fmt: skip


@st.composite
def boards(draw):
    """Draw a board that can be milled, and under ``programs`` the unit of its programs."""
    fan, blind, surfaced = draw(st.booleans()), draw(st.booleans()), draw(st.sampled_from(["hand", "cut", "there"]))
    length = draw(st.sampled_from([330.0, 330.0, 420.0, 628.0]))
    count = draw(st.integers(5, 12))
    scale = {"treble": length, "bass": length * draw(st.floats(1.0, 1.04))} if fan else {"length": length}
    radius = draw(st.sampled_from([0, 305.0, [254.0, 406.0], [184.0, 305.0]]))
    tape, marks = draw(st.booleans()), draw(st.booleans())
    cutters = [
        {"operations": ["slots"], "diameter": draw(st.floats(0.45, 0.56)), "cutting_length": 8.0},
        {"operations": ["marks", "outline"] if marks else ["outline"], "diameter": draw(st.floats(2.0, 4.0)), "cutting_length": 15.0},
    ]  # fmt: skip
    machine = {
        "zero": draw(st.sampled_from(["nut", "corner"])),
        "z_zero": draw(st.sampled_from(["spoil board", "top"])),
        "touch": [-25.0, 24.0],
        "hold": "tape" if tape else "clamps",
        "state": "surfaced" if surfaced == "there" else "flat",
        "spindle_by_hand": draw(st.booleans()),
        "wood": draw(st.sampled_from(["maple", "rosewood", "ebony"])),
        "tabs": {"count": draw(st.sampled_from([2, 3, 4]))},
    }
    if surfaced == "cut":
        cutters.append({
            "operations": ["surface"], "shape": draw(st.sampled_from(["ball", "flat"])), "diameter": 6.0, "cutting_length": 15.0,
            "step_down": draw(st.sampled_from([0.6, 2.0])),
        })  # fmt: skip
    if draw(st.booleans()):
        machine["dowels"] = [[-30.0, 0.0, 5.0], [length + 15.0, 0.0, 5.0]]
        cutters[-1 if surfaced != "cut" else 1]["operations"].insert(0, "holes")
    frets = {
        "count": count,
        "slot_inset": draw(st.floats(0.5, 3.0)) if blind else 0.0,
        "zero_fret": draw(st.booleans()),
    }
    board = {
        "nut_width": 44.0, "radius": radius, "binding": draw(st.sampled_from([0.0, 1.5])), "left_handed": draw(st.booleans()),
        "position_marks": [3, 5] if marks else [], "mark_diameter": 5.0,
    }  # fmt: skip
    return {
        "title": draw(st.sampled_from(["Heron", "(odd) %title; \u00e9!~?"])),
        "strings": 6,
        "scale": scale,
        "frets": frets,
        "board": board,
        "blank": {
            "length": length + 60.0,
            "width": 62.0,
            "nut_at": 36.0,
            "thickness": 6.0 if surfaced != "cut" else 6.5,
        },
        "machine": {**machine, "cutters": cutters},
        "programs": draw(st.sampled_from(["mm", "in"])),
    }
