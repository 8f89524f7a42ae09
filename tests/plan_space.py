"""Any plan a maker may type: a strategy over every table and key, most of them near what is made."""

from __future__ import annotations

import copy
import math
from dataclasses import dataclass
from functools import lru_cache, reduce
from typing import Any

from hypothesis import strategies as st

from slotwright.layout.names import BRIDGE_KINDS
from slotwright.layout.physics import strings, wire
from slotwright.layout.plan.bridges import KINDS
from slotwright.layout.plan.sets import SETS
from slotwright.layout.plan.tables import String

ANY = (1, 500)  # mm, what an outline may be
NOTES = ("C", "C#", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B")
STEEL = 380.0  # m/s, about 60 % of what wire holds: sqrt(1140 MPa over 7850 kg/m3)


@dataclass(frozen=True)
class About:
    """What the keys of a plan lean on."""

    strings: int
    frets: int
    units: str
    scale: float  # mm
    width: float  # mm, at the nut
    wild: bool  # one length in seven is anything its limits allow
    octave: int
    zero_fret: bool
    gauges: tuple[float, ...] | None  # mm
    whole: bool = False  # all is stated of every string


WAYS = {
    "mm": lambda x: round(x, 4),
    "in": lambda x: round(x / 25.4, 4),
    "says mm": lambda x: f"{x:.3f} mm",
    "says in": lambda x: f"{x / 25.4:.4f} in",
    "64ths": lambda x: f"{int(x * 64 / 25.4)}/64 in",
}


@lru_cache(4096)  # strategies are slow to make
def written(units, low, high):
    """Write a length between two limits [mm] in one of the ways that shops do."""
    way = st.sampled_from([units] * 5 + ["says mm", "says in", "64ths"])
    size = st.floats(low, high, allow_nan=False, allow_infinity=False)
    return st.tuples(way, size).map(lambda drawn: WAYS[drawn[0]](drawn[1]))


def length(about, low, high, limits):
    """Draw a length: mostly between `low` and `high` [mm], now and then anything its limits allow."""
    near = written(about.units, low, high)
    anything = written(about.units, *limits)
    return st.integers(0, 6).flatmap(lambda n: anything if n == 0 else near) if about.wild else near


def row(about, low, high, limits, *, one_for_all=False):
    """Draw a pair of lengths, or one for both."""
    each = length(about, low, high, limits)
    pair = st.lists(each, min_size=2, max_size=2)
    return pair | each if one_for_all else pair


def some(sizes):
    """Draw from several floats as they stand."""
    return st.sampled_from(sizes)


def wholes(high, most, *, least=1):
    return st.lists(st.integers(1, high), min_size=least, max_size=min(most, high), unique=True)


def name_of(hertz):
    """Name the pitch at or below a frequency."""
    key = min(max(math.floor(69 + 12 * math.log2(hertz / 440.0)), 12), 108)
    return f"{NOTES[key % 12]}{key // 12 - 1}"


@st.composite
def string(draw, about, place):
    """Draw a string that holds at its pitch, with whatever a maker may state of it."""
    kind = draw(st.sampled_from(strings.KINDS))
    gauge = about.gauges[place]
    made: dict[str, Any] = {"gauge": f"{gauge:.4f} mm", "kind": kind}
    speed, core = STEEL, gauge
    if kind == "wound steel":
        core = min(wire.estimated_core(gauge), 0.9 * gauge)
        if draw(st.booleans()):
            core = draw(st.floats(0.3, 0.8)) * gauge
            made["core"] = f"{max(core, 0.1):.4f} mm"
        if draw(st.booleans()):
            made["core_shape"] = draw(st.sampled_from(wire.CORE_SHAPES))
        if draw(st.booleans()):
            made["winding"] = draw(st.sampled_from(list(wire.WINDINGS)))
        speed = STEEL * core / gauge
    hertz = max(speed * draw(st.floats(0.4, 1.0)) / (2e-3 * about.scale), 17.0)
    if draw(st.booleans()):
        made["pitch"] = name_of(hertz)
    else:
        made["frequency"] = round(hertz, 3)
    area = math.pi * gauge**2 / 4
    if kind == "wound nylon" or draw(st.integers(0, 5)) == 0:
        made["mass"] = round(min(max(draw(st.floats(0.5, 1.0)) * 7.0 * (core / gauge) ** 2 * area, 0.01), 100), 4)
    if draw(st.integers(0, 5)) == 0:
        made["string_constant"] = round(draw(st.floats(20, 400)), 2)
    bent = draw(st.integers(0, 9))
    if bent == 0:
        made["bending"] = round(draw(st.floats(0, 20)), 3)
    elif bent <= 2:
        near = strings.body(String.model_validate(made), about.scale).inharmonicity * draw(st.floats(0.9, 1.1))
        made["inharmonicity"] = min(max(near, 1e-7), 0.01)
    return made


@st.composite
def all_strings(draw, about):
    """Draw the strings: a count, gauges alone, everything, or a part; sometimes in courses."""
    ways = ["all"] if about.whole else ["count", "gauges", "all", "all", "all", "all", "part", "set", "set"]
    known = draw(st.sampled_from(ways))
    if known == "set" and about.gauges and about.strings in {len(usual.strings) for usual in SETS.values()}:
        return draw(set_strings(about))
    if about.gauges is None or known == "count":
        return about.strings
    made = [{"gauge": f"{gauge:.4f} mm"} for gauge in about.gauges]
    if known != "gauges":
        made = [draw(string(about, place)) for place in range(about.strings)]
    if known == "part":
        for each in made:
            lost = draw(st.sampled_from([None, *each]))
            each.pop(lost, None)
            if lost == "kind":
                for key in ("core", "core_shape", "winding"):
                    each.pop(key, None)
    if draw(st.integers(0, 3)) == 0:
        course = 1
        for each in made:
            each["course"] = course
            course += draw(st.integers(0, 1))
    return made


USUAL_SCALES = {  # mm, by the first word of a set's name
    "electric": 640.0, "acoustic": 640.0, "twelve-string": 640.0, "nylon": 650.0, "bass": 864.0, "five-string": 864.0,
    "mandolin": 350.0, "ukulele": 380.0,
}  # fmt: skip


@st.composite
def set_strings(draw, about):
    """Draw a usual set, tuned to what it holds at this scale, with some of its strings replaced."""
    name = draw(st.sampled_from([name for name, usual in SETS.items() if len(usual.strings) == about.strings]))
    longer = about.scale / USUAL_SCALES[name.split()[0]]
    made: dict[str, Any] = {"set": name}
    if not 0.9 < longer < 1.05 or draw(st.booleans()):
        hertz = [strings.frequency(pitch) for pitch in SETS[name].tuning.split()]
        down = draw(st.integers(0, 3)) if longer > 1 else 0
        made["tuning"] = " ".join(name_of(max(each / longer / 2 ** (down / 12), 17.0)) for each in hertz)
    if draw(st.booleans()):
        which = draw(st.lists(st.integers(1, about.strings), min_size=1, max_size=3, unique=True))
        made["replace"] = [{"string": n, **draw(replacement(SETS[name].strings[n - 1]))} for n in which]
    return made


@st.composite
def replacement(draw, usual):
    """Draw a string not far from the one of a set that it stands in for."""
    kind = draw(st.sampled_from([usual.kind, usual.kind, "plain steel" if "steel" in usual.kind else "fluorocarbon"]))
    gauge = usual.gauge * draw(st.floats(0.9, 1.1))
    if kind != usual.kind:
        gauge = 0.4
    made: dict[str, Any] = {"gauge": f"{gauge:.4f} mm"}
    if kind != usual.kind or draw(st.booleans()):
        made["kind"] = kind
    if kind == "wound steel":
        ways = {
            "core": f"{draw(st.floats(0.35, 0.6)) * gauge:.4f} mm",
            "core_shape": draw(st.sampled_from(wire.CORE_SHAPES)),
            "winding": draw(st.sampled_from(list(wire.WINDINGS))),
        }
        made |= {key: value for key, value in ways.items() if draw(st.integers(0, 2)) == 0}
    if kind == "wound nylon":
        made["mass"] = round(usual.mass * (gauge / usual.gauge) ** 2, 4)
    if draw(st.integers(0, 4)) == 0:
        made["string_constant"] = round(draw(st.floats(20, 400)), 2)
    bent = draw(st.integers(0, 9))
    if bent == 0:
        made["bending"] = round(draw(st.floats(0, 20)), 3)
    elif bent == 1 and kind != "wound steel":
        made["inharmonicity"] = round(draw(st.floats(2e-5, 2e-4)), 7)
    return made


def tunings(about, made):
    """Draw other tunings of the strings, lowest string first."""

    def hertz(each):
        return each.get("frequency") or strings.frequency(each.get("pitch", "A2"))

    own = [hertz(each) for each in made] if isinstance(made, list) else [110.0] * about.strings
    if isinstance(made, dict):
        own = [strings.frequency(pitch) for pitch in (made.get("tuning") or SETS[made["set"]].tuning).split()][::-1]
    down = st.lists(st.integers(0, 4), min_size=about.strings, max_size=about.strings)
    tuning = down.map(lambda steps: [name_of(f / 2 ** (n / 12)) for f, n in zip(own, steps, strict=True)])
    return st.lists(tuning.map(lambda names: " ".join(reversed(names))), max_size=3)


def scale(about, treble, bass):
    """Give one scale or two, and where two are square."""
    keys: dict[str, Any] = {"length": written(about.units, about.scale, about.scale)}
    if treble is not None:
        keys = {"treble": written(about.units, treble, treble), "bass": written(about.units, bass, bass)}
    square = some(["nut", "saddle", 0, 7, 9.5, 12]) | st.floats(0, 60).map(lambda x: round(x, 2))
    return keys, {"square_fret": square}


def frets(about, divisions, cents):
    keys: dict[str, Any] = {"count": st.just(about.frets), "zero_fret": st.just(about.zero_fret)}
    keys |= {"divisions": st.just(divisions)} if cents is None else {"cents": st.just(cents)}
    return keys, {
        "height": length(about, 0.6, 1.5, (0.2, 3)),
        "slot_width": length(about, 0.4, 0.7, (0.1, 2)),
        "tang_depth": length(about, 1, 2, (0.3, 5)),
        "slot_clearance": length(about, 0, 0.6, (0, 3)),
        "slot_inset": length(about, 0, 3, (0, 20)),
        "zero_fret_height": length(about, 1.5, 1.7, (0.2, 4)),
        "wire": table({}, fret_wire(about)),
    }


def fret_wire(about):
    return {
        "crown_width": length(about, 1.3, 3, (0.5, 6)),
        "tang_width": length(about, 0.4, 0.6, (0.1, 2)),
        "bead_width": length(about, 0.6, 0.9, (0.1, 3)),
        "length": length(about, 150, 500, (10, 10_000)),
        "overhang": length(about, 1, 4, (0, 20)),
    }


def board(about, made):
    """Give the keys of a board that its strings fit on."""
    room = 0.75 * about.width
    there = {
        "fret": st.integers((about.frets + 1) // 2, about.frets),
        "width": length(about, 1.1 * about.width, 1.5 * about.width, (5, 500)),
    }
    margin = length(about, 1.5, 0.1 * about.width, (0, 50))
    either = table({"edge_margin": margin}, {}) | table({"width_at": table(there, {})}, {})
    marks = wholes(about.frets, 6, least=0)
    keys = {"nut_width": written(about.units, about.width, about.width)}
    gauged = isinstance(made, dict) or (isinstance(made, list) and all("gauge" in each for each in made))
    spacings = ["even centres"] + ["even gaps"] * gauged
    return keys, either, {
        "string_spread_nut": length(about, 0.9 * room, room, (0, 500)),
        "string_spread_saddle": length(about, 1.0 * room, 1.4 * room, (0, 800)),
        "spacing": some(spacings),
        "course_spacing": row(about, 1.8, 3.0, (0.5, 20)),
        "beyond_last_fret": length(about, 0, 20, (0, 300)),
        "behind_nut": length(about, 0, 20, (0, 300)),
        "thickness": length(about, 5, 9, (1, 30)),
        "radius": st.just(0) | row(about, 180, 600, (0, 5000), one_for_all=True),
        "joint_fret": st.integers(0, about.frets),
        "heel_depth": length(about, 0, 100, (0, 200)),
        "binding": length(about, 0, 2, (0, 10)),
        "position_marks": marks,
        "double_marks": marks,
        "mark_diameter": length(about, 2, 7, (0.5, 30)),
        "side_dots": st.booleans(),
        "side_dot_diameter": length(about, 1, 3, (0.5, 10)),
        "left_handed": st.booleans(),
    }  # fmt: skip


def job():
    longest = {"reference": 60, "drawn_by": 60, "revision": 20, "date": 30}
    # Never "nan" or "inf" by themselves: the drawings are searched for these.
    return {key: st.just("") | st.text(max_size=most - 1).map("w{}".format) for key, most in longest.items()}


def blank(about):
    long = 0.98 * about.scale
    keys = {
        "length": length(about, long, long + 80, (50, 3000)),
        "width": length(about, 2 * about.width, 3 * about.width, (10, 600)),
        "nut_at": length(about, 25, 50, (0, 500)),
    }
    return keys, {"run_out": length(about, 0, 5, (0, 50)), "thickness": length(about, 6, 10, (1, 60))}


def cutter(about, operations):
    """Give the keys of a cutter; what it may not be together with what it does is left out."""
    thin = "slots" in operations
    keys = {
        "operations": st.just(operations),
        "diameter": length(about, 0.35, 0.6, (0.2, 30)) if thin else length(about, 2, 6, (0.2, 30)),
        "cutting_length": written(about.units, 10, 20),
    }
    return keys, {
        "shape": some(["flat", "ball"] if operations == ["surface"] else ["flat"]),
        "flutes": st.integers(1, 4),
        "spindle": st.integers(8000, 30_000),
        "feed": st.floats(100, 1500),
        "plunge": st.floats(20, 600),
        "step_down": written(about.units, 0.25, 0.5) if thin else written(about.units, 0.5, 2),
        "step_over": st.floats(0.2, 0.6),
    }


def tabs(about):
    return {
        "count": st.integers(2, 8),
        "length": length(about, 3, 8, (1, 50)),
        "height": length(about, 1, 2, (0.3, 10)),
    }


def template(about):
    return st.fixed_dictionaries(
        {
            "for": some(["outline", "saddle slot", "nut groove"]),
            "bush": written(about.units, 10, 20),
            "cutter": written(about.units, 2, 8),
        },
        optional={"thickness": length(about, 6, 18, (1, 50))},
    )


def machine(about):
    end = 0.98 * about.scale
    box = st.tuples(
        *(length(about, x, x + 2, (-1000, 3000)) for x in (-30, -50, -25, 50)), length(about, 5, 20, (0.1, 200))
    )
    kept = st.sampled_from(
        [
            [["slots"], ["outline"]],
            [["slots"], ["marks", "holes", "outline"]],
            [["surface"], ["slots", "marks"], ["pockets", "outline"]],
        ]
    )
    return {"cutters": kept.flatmap(lambda done: st.tuples(*(table(*cutter(about, each)) for each in done)).map(list))}, {
        "zero": some(["nut", "corner"]),
        "z_zero": some(["spoil board", "top"]),
        "touch": st.tuples(length(about, -28, -20, (-1000, 3000)), length(about, 5, 20, (-1000, 3000))).map(list),
        "dowels": st.lists(st.tuples(length(about, -22, -20, (-1000, 3000)), length(about, -5, 5, (-1000, 3000)), length(about, 4, 8, (0.1, 100))).map(list), max_size=1),
        "state": some(["flat", "surfaced"]),
        "safe_height": length(about, 3, 10, (1.5, 100)),
        "spoil": length(about, 0.1, 0.5, (0.05, 3)),
        "runout": length(about, 0, 0.03, (0, 0.2)),
        "scallop": length(about, 0.02, 0.1, (0.005, 0.5)),
        "sanding": length(about, 0, 0.3, (0, 1)),
        "wood": some(["maple", "rosewood", "ebony"]),
        "hold": some(["clamps", "tape"]),
        "spindle_by_hand": st.booleans(),
        "rapid": st.floats(1500, 6000),
        "tolerance": length(about, 0.005, 0.02, (0.002, 0.05)),
        "mark_depth": length(about, 1, 3, (0.2, 10)),
        "tabs": table({}, tabs(about)),
        "keep_out": st.lists(box.map(list) | st.just([end + 20, -50, end + 40, 50, 9]), max_size=2),
    }  # fmt: skip


def jig(about):
    return {
        "pin": length(about, 1, 4, (0.5, 20)),
        "play": length(about, 0, 0.2, (0, 2)),
        "notch_depth": length(about, 3, 8, (1, 50)),
        "blade_to_pin": length(about, -100, 100, (-1000, 1000)),
    }


def setup(about):
    lies: dict[str, Any] = {"nut_action": length(about, 0.1, 0.6, (0, 5))}
    if about.octave > 1:
        lies = lies | {"first_gap": row(about, 0.1, 0.3, (0, 5), one_for_all=True)}
    some_of = [st.just({})]
    if not about.zero_fret:
        some_of += [st.fixed_dictionaries({key: value}) for key, value in lies.items()]
    bow = wholes(about.frets, 2, least=2).map(sorted) if about.frets > 1 else st.nothing()
    return st.one_of(some_of), {
        "action": row(about, 1.0, 3.0, (0.1, 20), one_for_all=True),
        "action_fret": st.integers(min(2, about.frets), about.frets),
        "relief": length(about, 0, 0.4, (0, 3)),
        "relief_between": bow,
        "press_distance": length(about, 0, 15, (0, 50)),
        "press_depth": length(about, 0, 0.4, (0, 3)) | st.just("wood"),
        "free_length": length(about, 0, 100, (0, 1000)),
        "clamped_ends": st.integers(0, 2),
    }  # fmt: skip


def courses_of(about, made):
    """Count the courses of strings that were drawn."""
    if isinstance(made, dict):
        made = [{"course": each.course} for each in SETS[made["set"]].strings]
    numbers = [each.get("course") for each in made] if isinstance(made, list) else [None] * about.strings
    return sum(n is None or place == 0 or n != numbers[place - 1] for place, n in enumerate(numbers))


@st.composite
def chord(draw, about, courses):
    """Draw a chord, in one of the ways that players write them."""
    fret = st.integers(0, min(about.frets, 5)) | st.integers(0, about.frets)
    places = draw(st.lists(st.none() | fret | fret, min_size=courses, max_size=courses).filter(any_played))
    mute = draw(st.sampled_from("xX"))
    names = [mute if place is None else str(place) for place in places]
    close = len(names) > 1 and all(len(name) == 1 for name in names) and draw(st.booleans())
    # One place alone stands apart by a comma behind it.
    return "".join(names) if close else draw(st.sampled_from([" ", ", ", "-"])).join(names) + "," * (courses == 1)


def any_played(places):
    return any(place is not None for place in places)


@st.composite
def compensation(draw, about, made_of=None):
    """Draw what the offsets are to serve."""
    minimise = draw(st.sampled_from(["rms", "worst"]))
    free, aims = list(range(1, about.strings + 1)), []
    if draw(st.integers(0, 3)) == 0:
        played = chord(about, courses_of(about, made_of))
        aims.append({"chords": draw(st.lists(played, min_size=1, max_size=4))})
        many = draw(st.integers(1, len(free)))
        if draw(st.booleans()):
            aims[0]["strings"] = free[:many]
        free = free[many:] if "strings" in aims[0] else []
    while free and draw(st.booleans()) and len(aims) < 4:
        many = draw(st.integers(1, len(free)))
        of, free = free[:many], free[many:]
        at = draw(wholes(about.frets, 6))
        aim = {"strings": of, "frets": at}
        if minimise == "rms" and draw(st.booleans()):
            aim["weights"] = [round(draw(st.floats(0.1, 10)), 3) for _ in at]
        aims.append(aim)
    rules = ["none", "common"] + ["per string"] * (not about.zero_fret)
    made: dict[str, Any] = {"minimise": minimise, "nut": draw(st.sampled_from(rules)), "aim": aims}
    return draw(table(made, {"tolerance": st.floats(0.5, 10), "rounding": length(about, 0, 0.5, (0, 5))}))


def calibration():
    factor = st.floats(0.5, 2) | st.floats(0.1, 10)
    return {"stiffness": factor, "stretch": factor}


def nut(about):
    return {
        "thickness": length(about, 3, 6, (1, 20)),
        "height": length(about, 6, 10, (1, 30)),
        "seat": length(about, 0, 8, (0, 30)) | st.just(0),
        "seat_radius": length(about, 180, 600, (0, 5000)) | st.just(0),
        "slot": length(about, 0, 6, (0, 20)),
        "ledge": length(about, 0, 10, (0, 100)),
        "locking": table(*locking(about)),
    }


def locking(about):
    bolt = st.tuples(
        length(about, 2, 8, (-1000, 3000)), length(about, -12, 12, (-1000, 3000)), length(about, 3, 5, (0.1, 100))
    )
    return {"rise": length(about, 4, 8, (1, 30))}, {
        "shim": length(about, 0, 1, (0, 5)),
        "bolts": st.lists(bolt.map(list), max_size=2),
    }


@st.composite
def nuts(draw, about):
    """Draw a nut, now and then a locking one; what would state a thing twice is left out."""
    made = draw(table({}, nut(about)))
    if "locking" in made and draw(st.integers(0, 3)):
        del made["locking"]
    if "locking" in made:
        made = {key: value for key, value in made.items() if key not in ("slot", "seat_radius")}
        if "seat" in made:
            made["locking"].pop("shim", None)
    return made


def holes(about):
    each = st.tuples(
        length(about, -60, 60, (-1000, 3000)), length(about, -60, 60, (-1000, 3000)), length(about, 2, 12, (0.1, 100))
    )
    return st.lists(each.map(list), max_size=3)


def bridge(about, kind):
    """Give the keys that a kind of bridge needs and those it may have."""
    across = max(1.3 * about.width, 12.0)
    needed = {
        "individual saddles": {"travel": length(about, 12, 20, (0.5, 100))},
        "saddle slot": {
            "slot_width": length(about, 3, 8, (0.5, 20)),
            "slot_length": length(about, across, 1.5 * across, (5, 400)),
        },
        "two posts": {
            "post_spread": length(about, across, 1.5 * across, (10, 500)),
            "travel": length(about, 12, 25, (0.5, 100)),
        },
        "floating": {"foot": st.tuples(length(about, 100, 160, (1, 500)), length(about, 8, 14, (1, 500))).map(list)},
    }[kind]
    optional = {
        "reserve": length(about, 0, 2, (0, 20)),
        "outline": st.tuples(length(about, across, 2 * across, (1, 500)), length(about, 25, 60, (1, 500))).map(list),
        "front": length(about, -10, 10, (-200, 200)),
        "holes": holes(about),
        "seat": st.tuples(length(about, 6, 12, (0.5, 50)), length(about, 2, 8, (0.5, 50))).map(list),
        "existing": existing(about),
        "existing_holes": holes(about),
        "under": st.lists(under(about), max_size=2),
        "front_stop": length(about, -5, 5, (-100, 100)),
        "thread_pitch": length(about, 0.4, 1, (0.1, 5)),
        "screw_from": some(["rear", "front"]),
        "crest_offset": length(about, -2, 2, (-20, 20)),
        "groups": groups(about.strings),
        "angle": st.floats(-8, 8),
        "slot_depth": length(about, 5, 10, (0.5, 50)),
        "crown_radius": length(about, 0, 3, (0, 20)),
        "corner_radius": length(about, 0, 10, (0, 100)),
        "top_radius": length(about, 3000, 12_000, (0, 100_000)) | st.just(0),
        "slot_lean": st.floats(-5, 10),
        "pins": pins(about),
        "wood": wood(about),
        "pin_distance": length(about, 8, 20, (0, 100)),
        "pin_diameter": length(about, 4, 6, (0.5, 20)),
        "tie_distance": length(about, 8, 20, (0, 100)),
        "tie_diameter": length(about, 1, 3, (0.5, 20)),
        "tie_height": length(about, 2, 6, (0, 100)),
        "bushing_diameter": length(about, 8, 12, (0.5, 50)),
        "plane_height": length(about, 5, 25, (-50, 200)),
        "base_height": length(about, 0, 10, (0, 200)),
    }
    if kind == "saddle slot" and not about.wild:  # wood all round
        optional |= {
            "outline": st.tuples(length(about, 1.9 * across, 2.4 * across, ANY), length(about, 45, 60, ANY)).map(
                list
            ),
            "front": length(about, 12, 16, (-200, 200)),
            "holes": st.just([]),
            "slot_depth": length(about, 2, 4, (0.5, 50)),
            "base_height": length(about, 7, 10, (0, 200)),
        }
    return needed, {key: value for key, value in optional.items() if kind in _kinds_with(key)}


def _kinds_with(key):
    """Name the kinds of bridge that have a key."""
    return [kind for kind, table in zip(BRIDGE_KINDS, KINDS, strict=True) if key in table.model_fields]


def place(about, *, across):
    """A place from fret 12, rarely by two rules, which seldom meet."""
    far = (about.scale / 2 - 20, about.scale / 2 + 40)
    wide = {"diameter": length(about, 4, 6, (0.1, 100))} if across else {}
    x, y = length(about, *far, (-1000, 3000)), length(about, -60, 60, (-1000, 1000))
    flat = st.tuples(x, y, *wide.values()).map(list)
    ruled = st.fixed_dictionaries(
        {"treble": length(about, *far, (1, 3000)), "bass": length(about, *far, (1, 3000)), **wide}
    )
    return st.integers(0, 5).flatmap(lambda n: ruled if n == 0 else flat)


def corners(about):
    return st.lists(place(about, across=False), min_size=3, max_size=5)


ORIGIN = st.sampled_from(["fret 12", "fret 12", "nut line"])


def existing(about):
    return st.fixed_dictionaries(
        {},
        optional={
            "from": ORIGIN,
            "pins": st.lists(place(about, across=True), min_size=about.strings, max_size=about.strings)
            if about.wild
            else row_of_pins(about),
            "holes": st.lists(place(about, across=True), max_size=2),
            "footprint": corners(about),
        },
    )


@st.composite
def row_of_pins(draw, about):
    """Pins side by side behind where a saddle may be."""
    half, back = 0.6 * about.width, about.scale / 2 + draw(st.floats(12, 25))
    step = 2 * half / max(about.strings - 1, 1)
    return [
        [f"{back + draw(st.floats(-0.5, 0.5)):.3f} mm", f"{half - n * step:.3f} mm", f"{min(4.0, step / 2):.3f} mm"]
        for n in range(about.strings)
    ]


def under(about):
    return st.fixed_dictionaries(
        {"name": st.sampled_from(["plate", "brace"]), "outline": corners(about)}, optional={"from": ORIGIN}
    )


def one_way(bridge):
    """Keep one of the two ways in which pins may be stated."""
    return {key: value for key, value in bridge.items() if not (key.startswith("pin_") and "pins" in bridge)}


def pins(about):
    return st.fixed_dictionaries(
        {"distance": length(about, 8, 20, (0, 100))},
        optional={
            "head": length(about, 3, 5, (0.5, 20)),
            "taper": st.floats(0, 5),
            "through": length(about, 8, 16, (1, 100)),
            "line": some(["along the slot", "square"]),
            "spread": length(about, 0.9 * about.width, 1.3 * about.width, (5, 300)),
            "stagger": length(about, 0, 12, (0, 50)),
        },
    )


def wood(about):
    usual = {
        "slot_to_pins": (2, (0, 20)),
        "holes": (3, (0, 20)),
        "slot_end": (8, (0, 50)),
        "under_slot": (2.5, (0, 20)),
    }
    return st.fixed_dictionaries(
        {}, optional={key: length(about, 0, most, lim) for key, (most, lim) in usual.items()}
    )


@st.composite
def groups(draw, count):
    """Put strings that stand side by side on shared saddles."""
    free, made = list(range(1, count + 1)), []
    while free and draw(st.booleans()):
        many = draw(st.integers(1, min(3, len(free))))
        made.append(free[:many])
        free = free[many:]
    return made


def table(needed, optional):
    """Draw a table with all that it needs and any of the rest."""
    fixed = {key: value if isinstance(value, st.SearchStrategy) else st.just(value) for key, value in needed.items()}
    return st.fixed_dictionaries(
        fixed, optional={key: value for key, value in optional.items() if not value.is_empty}
    )


@st.composite
def about_plan(draw, whole):
    """Draw what the rest leans on: how many strings and frets, how long, how wide."""
    count = draw(st.sampled_from([1, 2, 3, 4, 5, 6, 6, 6, 7, 8, 10, 12, 18]))
    divisions, cents = draw(st.sampled_from([12, 12, 12, 12, 19, 24, 31, 5])), None
    if draw(st.integers(0, 4)) == 0:
        notes = draw(st.lists(st.integers(8, 119), min_size=1, max_size=14, unique=True).map(sorted))
        cents = [10.0 * note for note in notes] + [1200.0]
    steps = divisions if cents is None else len(cents)
    most = min(60, max(2 * steps, 4))
    gauged = draw(st.integers(0, 9)) > 0 or whole
    gauges = tuple(round(draw(st.floats(0.2, 1.4)), 4) for _ in range(count)) if gauged else None
    fretted = draw(st.integers(1, most) if draw(st.integers(0, 3)) == 0 else st.integers(max(most // 2, 1), most))
    return divisions, cents, About(
        strings=count,
        frets=fretted,
        units=draw(st.sampled_from(["mm", "in"])),
        scale=draw(st.sampled_from([330.0, 400.0, 520.0, 584.2, 628.0, 648.0, 650.0, 864.0, 1060.0])),
        width=round((5.2 + draw(st.floats(0.8, 4.0))) * count + 10, 2),
        wild=draw(st.integers(0, 3)) == 0 and not whole,
        octave=min(steps, fretted),
        zero_fret=draw(st.integers(0, 3)) == 0,
        gauges=gauges,
        whole=whole,
    )  # fmt: skip


@st.composite
def contents(draw, kinds=None, *, whole=False):
    """Draw the contents of a plan, with a bridge of some kinds if asked; most can be drawn, some must be refused.

    A whole one states all of its strings and nothing wild, so that fewer are refused.
    """
    divisions, cents, about = draw(about_plan(whole))
    made: dict[str, Any] = {"title": draw(st.text(max_size=40).map("t{}".format)), "units": about.units}
    if draw(st.integers(0, 5)) == 0:
        made["kerf"] = draw(length(about, 0.05, 0.3, (0, 1)))
    made["strings"] = draw(all_strings(about))
    fan = about.strings > 1 and draw(st.integers(0, 2)) == 0
    bass = about.scale * draw(st.floats(1.0, 1.05)) if fan else None
    made["scale"] = draw(table(*scale(about, about.scale if fan else None, bass)))
    made["frets"] = draw(table(*frets(about, divisions, cents)))
    if not about.zero_fret:
        made["frets"].pop("zero_fret_height", None)
    keys, either, rest = board(about, made["strings"])
    made["board"] = {**draw(table(keys, rest)), **draw(either)}
    lies, rest = setup(about)
    bridges = st.sampled_from(kinds or BRIDGE_KINDS).flatmap(
        lambda kind: table(*bridge(about, kind)).map(lambda keys: {"kind": kind, **one_way(keys)})
    )
    tables = {
        "tunings": tunings(about, made["strings"]),
        "job": table({}, job()),
        "blank": table(*blank(about)),
        "jig": table({}, jig(about)),
        "setup": st.builds(lambda one, other: {**one, **other}, lies, table({}, rest)),
        "compensation": compensation(about, made["strings"]),
        "calibration": table({}, calibration()),
        "nut": nuts(about),
        "bridge": bridges,
        "template": st.lists(template(about), max_size=2),
    }
    if draw(st.integers(0, 5)) == 0:  # few: it takes long to lay out what a router does
        tables["machine"] = table(*machine(about))
    always = {"bridge": tables.pop("bridge")} if kinds else {}
    return {**made, **draw(st.fixed_dictionaries(always, optional=tables))}


JUNK = (
    None, True, "", "x", "nan", "1e999 mm", float("nan"), float("inf"), -1, 0, 10**400, 1e308, [], [[]], {}, {"x": 1},
    "\x00", "\u202e", "1/0 in", "E4", [1, 2, 3], ["a"] * 40, -0.0, 7, 61, "9" * 70,
)  # fmt: skip


def places(inside, way=()):
    """List the ways to every value of a plan."""
    steps = inside.items() if isinstance(inside, dict) else enumerate(inside) if isinstance(inside, list) else ()
    for step, value in steps:
        yield (*way, step)
        yield from places(value, (*way, step))


@st.composite
def spoilt(draw):
    """Draw a plan with a slip of the hand: a value of another kind, a key too many, a key lost."""
    made = draw(contents())
    for _ in range(draw(st.integers(1, 3))):
        *way, last = draw(st.sampled_from(list(places(made))))
        table = reduce(lambda inside, step: inside[step], way, made)
        slip = draw(st.sampled_from(["junk", "junk", "lost", "unknown", "twice"]))
        if slip == "junk":
            table[last] = copy.deepcopy(draw(st.sampled_from(JUNK)))
        elif slip == "lost" or not isinstance(table, dict):
            del table[last]
        elif slip == "twice":
            table[f"{last}s"] = table[last]
        else:
            table[draw(st.text(max_size=8))] = 1
        if not made:
            break
    return made


@st.composite
def slips(draw):
    """Draw a plan, and the same with one to six keys wrong; no list becomes shorter, so that its places stay."""
    good = draw(contents())
    bad = copy.deepcopy(good)
    for _ in range(draw(st.integers(1, 6))):
        *way, last = draw(st.sampled_from(list(places(bad))))
        table = reduce(lambda inside, step: inside[step], way, bad)
        slip = draw(st.sampled_from(["junk", "junk", "junk", "lost", "unknown"]))
        if slip == "junk" or isinstance(table, list):
            table[last] = copy.deepcopy(draw(st.sampled_from(JUNK)))
        elif slip == "lost":
            del table[last]
        else:
            table[draw(st.text("abcxyz_", min_size=3, max_size=8))] = 1
        if not bad:
            break
    return good, bad
