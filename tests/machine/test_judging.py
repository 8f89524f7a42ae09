"""Programs written by hand, each right or wrong by a hair: the verdict has to tell the line, the size and the limit.

The wood is a few places, put there by hand, so that what each move takes is known without a simulation.
"""

from functools import cache

import numpy as np
import pytest
from boards import PLAIN, SLOTS

from slotwright.layout.instrument.instrument import lay_out
from slotwright.layout.machine.jobs import plan_milling
from slotwright.layout.machine.verdict import judge
from slotwright.layout.machine.wanted import Patch
from slotwright.layout.plan.plan import Plan

# A flat board of two frets in a blank from x = -30 to 60 and y = -17 to 17, 6 mm thick; both clamps beside it.
# Cutter a: 0.56 mm, feed 400, plunge 200, step 0.28. Cutter b: 3 mm, feed 100, plunge 200, step 1.5.
SMALL = {
    **PLAIN,
    "strings": 2,
    "scale": {"length": 330.0},
    "frets": {"count": 2},
    "board": {"nut_width": 20.0, "radius": 0},
    "blank": {"length": 90.0, "width": 34.0, "nut_at": 30.0, "thickness": 6.0},
}
CUTTERS = [
    {**SLOTS, "feed": 400.0},
    {"operations": ["outline"], "diameter": 3.0, "cutting_length": 12.0, "feed": 100.0},
]
CLAMPED = {"hold": "tape", "keep_out": [[-60.0, -10.0, -40.0, 10.0, 12.0], [70.0, -10.0, 80.0, 10.0, 8.0]]}
DRILL = {"operations": ["holes"], "diameter": 3.0, "cutting_length": 12.0}
BY_HAND = {"hold": "tape", "spindle_by_hand": True, "dowels": [[-22.0, 0.0, 4.0]], "zero": "corner", "z_zero": "top", "touch": [-15, 0]}  # fmt: skip

BEGIN = ("G21 G17 G40 G49 G54 G80 G90 G94", "G0 Z20", "S18000 M3", "G4 P3")
END = ("G0 Z20", "M5", "M30")
DOWN = ("G0 X0 Y0", "G0 Z7")  # 1 mm above the blank
BESIDE = ("G0 X0 Y-25", "G0 Z7")  # beside it


@cache
def board(by_hand=False):
    machine = {**BY_HAND, "cutters": [DRILL, *CUTTERS]} if by_hand else {**CLAMPED, "cutters": CUTTERS}
    instrument = lay_out(Plan.model_validate({**SMALL, "machine": machine}))
    return instrument, plan_milling(instrument)


def program(*body, begin=BEGIN, end=END):
    return "".join(f"N{n} {line}\n" for n, line in enumerate((*begin, *body, *end), start=1))


def verdict(a=(), b=(), patches=(), **ends):
    """Judge two programs, the body of each begins at line 5."""
    texts = {"a": program(*a, **ends), "b": program(*b)}
    return judge(*board(), texts, lambda _: patches)


def told(*args, **ends):
    return [(each.kind, each.words, dict(each.numbers)) for each in verdict(*args, **ends).findings]


def wood(*places, operation="slots", before=6.0, low=-9.0, high=9.0, wanted=np.nan, inside=True, through=False):
    """Give places with limits that nothing offends unless others are given."""
    count = len(places)
    floats = [np.broadcast_to(np.asarray(each, float), count).copy() for each in (before, low, high, wanted)]
    flags = [np.full(count, each) for each in (inside, through)]
    return Patch(operation, "the thing", np.array(places, float), *floats, *flags)


def cut(height, *more):
    """Cut along x = 0 at a height, down and up beside the blank: lines 5 to 9."""
    return (*BESIDE, f"G1 Z{height} F200", "G1 Y25 F100", *more, "G1 Z7")


ONE = {"moves": 1}
# Body of program a, body of program b, and what is said.
SAID = {
    "nothing": ((), (), []),
    "a feed just slow enough": ((*DOWN, "G1 X1 F401.9"), (*DOWN, "G1 X1 F200.9"), []),
    "a feed too fast": (
        (*DOWN, "G1 X1 F402.1"),
        (*DOWN, "G1 X1 F202", "G1 X2 F150", "G1 X3 F250"),
        [
            ("feed", "a line 7: feeds 402 mm/min; the cutter 400", ONE),
            ("feed", "b line 7: feeds 202 mm/min; the cutter 100, and 1 more", {"moves": 2}),
        ],
    ),
    "down just slowly enough": ((*DOWN, "G1 Z6 F202.9", "G1 Z7 F390"), (), []),
    "down too fast": (
        (*DOWN, "G1 Z6 F203.6", "G1 X0 F390", "G1 Z7"),
        (),
        [("plunge", "a line 7: goes down at 204 mm/min; the cutter may at 200", ONE)],
    ),
    # Three down on five of way.
    "down a slope just slowly enough": ((*DOWN, "G1 X4 Z4 F336.9", "G1 X8 Z7 F400"), (), []),
    "down a slope too fast": (
        (*DOWN, "G1 X4 Z4 F337.6", "G1 Z7"),
        (),
        [("plunge", "a line 7: goes down at 203 mm/min; the cutter may at 200", ONE)],
    ),
    "a spindle as fast as stated": ((*DOWN, "G1 X1 F300 S18179", "G1 X2 S17821"), (), []),
    "a spindle too fast and too slow": (
        (*DOWN, "G1 X1 F300 S18181"),
        (*DOWN, "G1 X1 F100 S17819"),
        [
            ("spindle", "a line 7: feeds at 18181 rev/min; stated 18000", ONE),
            ("spindle", "b line 7: feeds at 17819 rev/min; stated 18000", ONE),
        ],
    ),
    "as deep as allowed": ((), ("G0 X100 Y0", "G0 Z7", "G1 Z-0.2009 F100"), []),
    "too deep into the spoil board": (
        (),
        ("G0 X100 Y0", "G0 Z7", "G1 Z-0.5 F100", "G1 X101"),
        [("spoil board", "b line 7: goes 0.50 mm below the blank; allowed 0.20 mm, and 2 more", {"moves": 3})],
    ),
    "a hair too deep into it": (
        (),
        ("G0 X100 Y0", "G0 Z7", "G1 Z-0.2012 F100", "G1 Z7"),
        [("spoil board", "b line 7: goes 0.20 mm below the blank; allowed 0.20 mm, and 1 more", {"moves": 2})],
    ),
    "all of its edges": ((*DOWN, "G1 Z-0.0009 F200", "G1 Z7"), (), []),
    "above its edges": (
        (*DOWN, "G1 Z0 F200", "G1 X1 Z-0.1", "G1 X2 Z-0.05", "G1 Z7"),
        (),
        [("cutting length", "a line 8: 6.10 mm in the wood; the edges reach 6.00 mm", {"deep": pytest.approx(6.1)})],
    ),
    "above its edges where a feed begins": (
        ("G0 X100 Y0", "G0 Z-0.1", "G1 Z7 F200"),
        (),
        [("cutting length", "a line 7: 6.10 mm in the wood; the edges reach 6.00 mm", {"deep": pytest.approx(6.1)})],
    ),
    "travel just high enough": (("G0 X0 Y0", "G0 Z6.9992"), (), []),
    "travel too low": (
        ("G0 X0 Y0", "G0 Z6.5", "G1 Z7 F200", "G0 Z6.8"),
        (),
        [("rapid", "a line 6: travels 0.50 mm above the blank, if at all, and 2 more", {"moves": 3})],
    ),
    "travel a hair too low": (
        ("G0 X0 Y0", "G0 Z6.9988", "G1 Z7 F200"),
        (),
        [("rapid", "a line 6: travels 1.00 mm above the blank, if at all", ONE)],
    ),
    "travel just beside the blank": (("G0 X60.285 Y0", "G0 Z3"), ("G0 X0 Y18.505", "G0 Z3"), []),
    "travel at the edge of the blank": (
        ("G0 X60.275 Y0", "G0 Z3", "G1 Z7 F200"),
        ("G0 X0 Y18.495", "G0 Z3", "G1 Z7 F100"),
        [
            ("rapid", "a line 6: travels -3.00 mm above the blank, if at all", ONE),
            ("rapid", "b line 6: travels -3.00 mm above the blank, if at all", ONE),
        ],
    ),
    "sideways just high enough": (("G0 X0 Y0", "G0 Z10.9992", "G0 X1 Y1"), (), []),
    "sideways too low": (
        ("G0 X0 Y0", "G0 Z10.9988", "G0 X1"),
        (*DOWN, "G0 Y1", "G1 X1 F100"),
        [
            ("low travel", "a line 7: travels sideways 5.00 mm above the blank", ONE),
            ("low travel", "b line 7: travels sideways 1.00 mm above the blank", ONE),
        ],
    ),
    "just over a clamp": (("G0 X75 Y0", "G0 Z13.9992"), ("G0 X-50 Y0", "G0 Z18"), []),
    "into clamps": (
        ("G0 X75 Y0", "G0 Z13.9988"),
        ("G0 X-50 Y0", "G0 Z19", "G1 Z17 F100"),
        [
            ("clamp", "b line 7: meets clamp 1, and 1 more", {"moves": 2}),
            ("clamp", "a line 6: meets clamp 2, and 1 more", {"moves": 2}),
        ],
    ),
    "just beside a clamp": (("G0 X69.7205 Y0", "G0 Z7"), (), []),
    "at the side of a clamp": (
        ("G0 X69.722 Y0", "G0 Z7"),
        (),
        [("clamp", "a line 6: meets clamp 2, and 1 more", {"moves": 2})],
    ),
}


@pytest.mark.parametrize("case", SAID)
def test_a_hair_decides(case):
    a, b, says = SAID[case]
    assert told(a, b) == says
    assert all(each.words.startswith(f"{each.subject}: ") for each in verdict(a, b).findings)


@pytest.mark.parametrize(
    ("ends", "kind", "line"),
    [
        ({}, None, 0),
        ({"begin": (BEGIN[0], "G0 Z10.9992", *BEGIN[2:])}, None, 0),
        ({"begin": (BEGIN[0], "G0 Z10.9988", *BEGIN[2:])}, "beginning", 2),
        ({"begin": (BEGIN[0], "G0 X0 Z20", *BEGIN[2:])}, "beginning", 2),
        ({"begin": (BEGIN[0], "G0 Y0 Z20", *BEGIN[2:])}, "beginning", 2),
        ({"begin": (BEGIN[0], *BEGIN[2:], "G1 Z20 F200")}, "beginning", 4),
        ({"end": ("G0 Z10.9992", "M5", "M30")}, None, 0),
        ({"end": ("G0 Z10.9988", "M5", "M30")}, "end", 7),
    ],
)
def test_a_program_begins_and_ends_at_safe_height(ends, kind, line):
    words = {"beginning": "a does not begin by going up to safe height", "end": "a does not end at safe height"}
    found = verdict(DOWN, **ends).findings
    says = [(f"unsafe {kind}", f"a line {line}", words[kind])] if kind else []
    assert [(each.kind, each.subject, each.words) for each in found] == says


def test_it_is_the_first_move_that_goes_up():
    low = (BEGIN[0], "G0 Z10.9", *BEGIN[2:])
    assert [each.kind for each in verdict(("G0 Z20",), begin=low).findings] == ["unsafe beginning"]
    assert [each.kind for each in verdict(("G0 Z10.9", "G0 Z20")).findings] == []


def test_programs_without_a_move_or_an_end_of_the_spindle_are_told():
    nothing = "N1 G21 G17 G40 G49 G54 G80 G90 G94\nN2 M5\nN3 M30\n"
    found = judge(*board(), {"a": nothing, "b": program(end=("G0 Z20", "M30"))}, lambda _: ()).findings
    assert [(each.kind, each.subject, each.words) for each in found] == [
        ("empty", "a", "a moves nothing"),
        ("spindle", "b", "b ends without M5"),
    ]
    found = verdict(end=("G0 Z20", "M30")).findings
    assert [(each.kind, each.subject, each.words) for each in found] == [("spindle", "a", "a ends without M5")]


def test_a_program_too_few_and_a_place_that_is_none_end_the_verdict():
    few = judge(*board(), {"a": program()}, lambda _: ())
    assert [(each.kind, each.subject, each.words, each.numbers) for each in few.findings] == [
        ("missing program", "programs", "1 programs for 2 jobs", {"programs": 1})
    ]
    assert few.programs == ()
    far = verdict(("G0 X0 Y0", "G0 X" + 400 * "9"))
    assert [(each.kind, each.subject) for each in far.findings] == [
        ("long line", "a line 6"),
        ("no place", "programs"),
    ]
    assert far.findings[-1].words == "a program moves to a place that is none"
    assert far.programs == ()


def test_a_router_switched_by_hand_stops_for_the_hand_and_a_drill_may_go_deeper():
    """All places are from the corner of the blank and from its top here."""
    begin, end = (BEGIN[0], "G0 Z5", "M0", *BEGIN[2:]), ("G0 Z5", *END[1:])
    hole = ("G0 X8 Y17", "G0 Z1", "G1 Z-10.0009 F200", "G1 Z1")
    slot = ("G0 X30 Y-8", "G0 Z1", "G1 Z-0.2 F200", "G1 Y42 F400", "G1 Z1")
    texts = {"holes": program(*hole, begin=begin, end=end), "a": program(*slot), "b": program(begin=begin, end=end)}
    seen = []

    def watch(patches):
        seen.extend(patches)
        return [wood((0.0, 0.0), low=5.9)]

    found = judge(*board(by_hand=True), texts, watch).findings
    assert [each.words for each in found] == [
        "a line 7: feeds before it stopped for a hand to switch on, and 2 more",
        "a line 8: the thing at 0.00 mm, 0.00 mm ends 5.80 mm above the underside; no lower than 5.90 mm is right",
    ]
    assert [each.kind for each in found] == ["hand", "too deep"]
    assert {each.operation for each in seen} == {"surface", "holes", "slots", "outline"}
    texts["holes"] = texts["holes"].replace("-10.0009", "-10.5")
    found = judge(*board(by_hand=True), texts, lambda _: ()).findings
    assert "holes line 8: goes 4.50 mm below the blank; allowed 4.00 mm, and 1 more" in [str(each) for each in found]


# What is cut.


def test_the_worst_place_of_each_thing_is_told_with_the_line_that_cut_it():
    there = wood((0.0, 0.0), (0.1, 3.0), (5.0, 0.0), low=[5.9, 6.1, 5.9], high=[9.0, 9.0, 5.5])
    (deep, not_cut) = verdict(cut(5.8), (), [there]).findings
    assert (deep.kind, deep.subject, deep.numbers) == ("too deep", "a line 8", {"ended": 5.8, "limit": 6.1})
    assert deep.words == (
        "a line 8: the thing at 0.10 mm, 3.00 mm ends 5.80 mm above the underside; no lower than 6.10 mm is right"
    )
    assert (not_cut.kind, not_cut.subject, not_cut.numbers) == ("not cut", "the thing", {"ended": 6.0, "limit": 5.5})
    assert not_cut.words == (
        "the thing at 5.00 mm, 0.00 mm ends 6.00 mm above the underside; no higher than 5.50 mm is right"
    )
    # Of several patches of one operation the worst counts, wherever it stands; each operation has its own.
    worse, better = wood((0.0, 1.0), low=6.2), wood((0.0, 2.0), low=5.95)
    for patches in ([there, worse, better], [better, worse, there], [worse, better, there]):
        found = [each for each in verdict(cut(5.8), (), patches).findings if each.kind == "too deep"]
        assert [each.numbers["limit"] for each in found] == [6.2]
    other = wood((0.0, 2.0), low=5.95, operation="marks")
    found = verdict(cut(5.8), (), [worse, other]).findings
    assert [each.numbers["limit"] for each in found] == [6.2, 5.95]


def test_what_lies_beside_the_blank_or_within_its_limits_is_not_told():
    beside = wood((0.0, 0.0), (0.0, 1.0), before=[-np.inf, 6.0], low=[9.0, 5.8], high=[-9.0, 5.8])
    assert told(cut(5.8), (), [beside]) == []
    assert told(cut(5.8), (), [wood((0.0, 0.0), before=-np.inf, low=9.0)]) == []
    # Nor does it hide what is wrong on the blank.
    both = wood((0.0, 0.0), (0.0, 1.0), before=[-np.inf, 6.0], low=[9.0, 5.9])
    assert [each[0] for each in told(cut(5.8), (), [both])] == ["too deep"]


def test_wood_that_was_too_low_before_is_nobodys_line():
    (found,) = verdict((), (), [wood((0.0, 0.0), low=6.5)]).findings
    assert (found.kind, found.subject) == ("too deep", "the thing")
    assert found.words.startswith("the thing at 0.00 mm, 0.00 mm ends 6.00 mm")
    low = wood((0.0, 0.0), (3.0, 0.0), low=[5.0, 6.5])  # beside it something is cut
    (found,) = verdict(cut(5.8), (), [low]).findings
    assert (found.subject, found.numbers) == ("the thing", {"ended": 6.0, "limit": 6.5})


def test_the_line_that_went_lowest_is_told():
    more = ("G1 Z5.6 F200", "G1 Y-25 F100", "G1 Z5.7", "G1 Y25")  # lines 9 to 12, all over the places
    for places in ([(0.0, 0.0)], [(0.0, 0.0)] * 60_001):  # the moves all at once, and one by one
        (found,) = verdict(cut(5.8, *more), (), [wood(*places, low=5.7)]).findings
        assert (found.subject, found.numbers) == ("a line 10", {"ended": 5.6, "limit": 5.7})


@pytest.mark.parametrize(
    ("height", "aside", "said"),
    [
        ("5.715", 0.0, None),
        ("5.705", 0.0, "a line 8: takes 0.29 mm at once; one pass is 0.28 mm"),
        ("5.6", 0.139, "a line 8: takes 0.40 mm at once; one pass is 0.28 mm"),
        ("5.6", 0.141, None),  # beside the middle half of the tip
    ],
)
def test_a_pass_takes_no_more_than_a_step(height, aside, said):
    found = told(cut(height), (), [wood((aside, 0.0))])
    assert found == ([("step-down", said, ONE)] if said else [])


def test_a_step_counts_from_what_was_left_and_a_light_last_pass_of_a_thick_cutter_does_not():
    assert told(cut(5.75, "G1 Z5.5 F200", "G1 Y-25 F100"), (), [wood((0.0, 0.0))]) == []
    found = told(cut(5.8, "G1 Z5.4 F200", "G1 Y-25 F100"), (), [wood((0.0, 0.0))])
    assert found == [("step-down", "a line 10: takes 0.40 mm at once; one pass is 0.28 mm", ONE)]
    # 0.3 of the radius of 1.5 mm may be light; 2.5 mm at once are too much for the step of 1.5.
    for aside, kinds in ((1.04, ["step-down"]), (1.06, [])):
        assert [each[0] for each in told((), cut(3.5), [wood((aside, 0.0))])] == kinds
    # The most of several patches counts.
    patches = [wood((0.0, 0.0), before=7.0), wood((0.0, 1.0))]
    for each in (patches, patches[::-1]):
        assert told((), cut(5.0), each) == [
            ("step-down", "b line 8: takes 2.00 mm at once; one pass is 1.50 mm", ONE)
        ]


def test_a_descent_is_a_ramp():
    straight = (*DOWN, "G1 Z5.8 F200", "G1 Z7")
    assert told(straight, (), [wood((0.2, 0.0))]) == [
        ("plunge", "a line 7: goes 0.20 mm straight down into wood", ONE)
    ]
    assert told((*DOWN, "G1 Z5.992 F200", "G1 Z7"), (), [wood((0.0, 0.0))]) == []
    assert told((*DOWN, "G1 X1 Z5.8 F200", "G1 Z7"), (), [wood((0.0, 0.0), (1.0, 0.0))]) == []
    assert told((*DOWN, "G1 Y1 Z5.8 F200", "G1 Z7"), (), [wood((0.0, 0.0), (0.0, 1.0))]) == []
    # Where it has cut before there is no wood to go down into.
    again = (*BESIDE, "G1 Z5.8 F200", "G1 Y0 F100", "G1 Z7", "G1 Z5.8 F200", "G1 Z7")
    assert told(again, (), [wood((0.0, -1.0), (0.0, 0.0))]) == []


def test_travel_takes_no_wood():
    through = (*BESIDE, "G1 Z5.8 F200", "G0 Y25", "G1 Z7")
    found = told(through, (), [wood((0.0, 0.0))])
    assert ("rapid", "a line 8: travels 0.20 mm deep through wood", ONE) in found
    assert not [each for each in told(through, (), [wood((0.0, 0.0), before=5.809)]) if "deep" in each[1]]


def test_nothing_inside_is_cut_once_the_outline_is_through():
    """Line 8 of b cuts right through at y = 5, what follows goes over the board."""
    through = wood((0.0, 5.0), before=0.5, inside=False, through=True, operation="outline")
    board_itself = wood((20.0, 0.0))
    after = ("G1 Z7", "G1 X20", "G1 Y-25", "G1 Z5.8", "G1 Y25")  # lines 9 to 13
    assert told((), cut("-0.15", *after), [through, board_itself]) == [
        ("order", "b line 13: works inside the board after its outline is cut", ONE)
    ]
    # Not all the way through, nothing inside, or hardly any wood: nothing to tell.
    assert told((), cut("-0.09", *after), [through, board_itself]) == []
    assert told((), cut("-0.15", *after), [through, wood((20.0, 0.0), inside=False)]) == []
    assert told((), cut("-0.15", *after), [through, wood((20.0, 0.0), before=5.809)]) == []
    assert told((), cut("-0.15", *after), [wood((0.0, 5.0), before=0.5, inside=False), board_itself]) == []
    gone = wood((0.0, 5.0), before=-np.inf, inside=False, through=True)
    assert told((), cut("-0.15", *after), [gone, board_itself]) == []
    # The move itself may cut both, and what came before may too; of several patches the first place that is through.
    early, late = (
        wood((0.0, 5.0), before=0.5, inside=False, through=True),
        wood((20.0, 9.0), before=6.0, through=True),
    )
    assert told((), cut("-0.15"), [early, wood((0.0, 0.0), before=0.5)]) == []
    assert told((), cut("0.2", "G1 Z-0.15", "G1 Y-25"), [early, wood((0.0, 0.0), before=0.5)]) == []  # line 10 does
    for patches in ([early, late, board_itself], [late, early, board_itself]):
        assert [each[0] for each in told((), cut("-0.15", *after), patches)] == ["order"]


def test_each_program_is_summed_up():
    first = ("G0 X75 Y-20", "G0 Z19", "G0 Z20", *cut(5.8))  # 10 mm before clamp 2, 5 mm above its top
    there = [
        wood((0.0, 0.0), (0.0, 1.0), (0.0, 2.0), wanted=[5.75, 5.9, np.nan]),
        wood((0.0, 3.0), (9.0, 0.0), wanted=[5.77, 5.97]),
        wood((0.0, 0.0), wanted=5.0, operation="outline"),
        wood((0.0, 0.0), wanted=4.0, operation="marks"),  # that no program does
    ]
    a, b = verdict(first, ("G0 X0 Y0", "G0 Z7.25"), there).programs
    assert (a.deepest, a.shallowest) == (pytest.approx(-0.1), pytest.approx(0.05))
    assert (b.deepest, b.shallowest) == (pytest.approx(0.8), pytest.approx(0.8))
    # Travel down and up by 1 mm, then to x = 0, y = -25, down and up by 13 mm; feeds as stated; 3 s of standing still.
    travel = 1 + 1 + np.hypot(75, 5) + 13 + 13
    assert a.minutes == pytest.approx(travel / 3000 + 1.2 / 200 + 50 / 100 + 1.2 / 100 + 3 / 60)
    assert b.minutes == pytest.approx((12.75 + 12.75) / 3000 + 3 / 60)
    assert a.closest_rapid == np.inf
    assert b.closest_rapid == 1.25
    assert a.clamps == pytest.approx((np.hypot(40, 15) - 0.28, np.hypot(10 - 0.28, 5)))
    assert b.clamps == pytest.approx((40 - 1.5, 70 - 1.5))
    a, b = verdict((), ("G0 X-50 Y3", "G0 Z19.5"), ()).programs
    assert np.isnan([a.deepest, a.shallowest]).all()
    assert a.clamps == (np.inf, np.inf)  # where it is over is never stated
    assert b.clamps == pytest.approx((1.5, np.hypot(120 - 1.5, 5.5)))  # straight above the one
