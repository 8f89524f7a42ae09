"""What a plan may say, and how a refusal reads."""

import tomllib

import pytest
from helpers import MINIMAL, STARTERS, contents, plan, starter

from slotwright.layout.errors import PlanError, SlotwrightError
from slotwright.layout.instrument.instrument import lay_out
from slotwright.layout.plan.assumed import assumed, with_unit
from slotwright.layout.plan.plan import Plan
from slotwright.layout.plan.reader import MOST_BYTES, parse_plan
from slotwright.templates import starters


def faults(made):
    with pytest.raises(PlanError) as caught:
        Plan.model_validate(made)
    assert isinstance(caught.value, SlotwrightError)
    assert isinstance(caught.value, ValueError)
    return {fault.where: f"{fault.what}; {fault.mend}" for fault in caught.value.faults}


def test_minimal_plan():
    made = Plan.model_validate(MINIMAL)
    assert len(made.strings) == 6
    assert assumed(made)["board.string_spread_nut"].text == "36.10"
    assert assumed(made)["board.spacing"].text == "even centres"
    assert assumed(made)["frets.count"].value == 22
    assert assumed(made)["units"].value == "mm"
    assert with_unit("compensation.tolerance", assumed(made)["compensation.tolerance"]) == "2 cents"
    assert with_unit("board.string_spread_nut", assumed(made)["board.string_spread_nut"]) == "36.10"
    assert "scale.length" not in assumed(made)


def test_defaults_are_mm_whatever_the_units():
    made = Plan.model_validate({**contents(scale={"length": 25.5}, board={"nut_width": 1.7}), "units": "in"})
    assert made.board.edge_margin == 3.2
    assert made.scale.length == 647.7
    assert assumed(made)["board.edge_margin"].text == "0.1260"
    assert assumed(made)["board.edge_margin"].value == 3.2


def test_all_faults_at_once():
    found = faults(
        {
            "title": "",
            "strings": [{"gauge": 10}, {"gauge": 0.3, "kind": "plain stel", "pitch": "H2"}],
            "scale": {"length": 25.5, "treble": 640},
            "frets": {"count": 61, "divisions": 12, "cents": [100.0, 1200.0]},
            "board": {"nut_widht": 42.5, "radius": "flat"},
            "setup": {"nut_action": 0.3, "first_gap": [0.3, 0.4]},
            "wings": {},
        }
    )
    assert set(found) == {
        "title", "strings[1].gauge", "strings[2].kind", "strings[2].pitch", "scale.length", "scale.treble",
        "frets.count", "frets.cents", "board.nut_width", "board.nut_widht", "board.radius", "setup.first_gap", "wings",
    }  # fmt: skip
    assert "did you mean plain steel?" in found["strings[2].kind"]
    assert "did you mean nut_width?" in found["board.nut_widht"]
    assert "allowed a whole number from 1 to 60" in found["frets.count"]
    assert 'did you mean "25.5 in"?' in found["scale.length"]


def test_faults_that_others_hide_are_named_too():
    found = faults(
        contents(
            strings=1,
            scale={"length": None, "treble": 600, "bass": 620},
            board={"position_marks": [61], "radius": [1, 0]},
            setup={"relief": -1, "relief_between": [9, 3]},
        )
    )
    assert set(found) == {"board.position_marks[1]", "board.radius", "setup.relief", "setup.relief_between", "scale"}


def test_no_fault_is_made_up_by_cutting_out_another():
    assert set(faults(contents(frets={"count": 99}, board={"joint_fret": 24}))) == {"frets.count"}
    assert set(faults(contents(scale={"length": None, "treble": "x", "bass": 640}))) == {"scale.treble"}


@pytest.mark.parametrize(
    ("gauge", "units", "asks"),
    [
        (10, "mm", "did you mean .010 in?"), (10, "in", "did you mean .010 in?"), ("10", "mm", "did you mean .010 in?"),
        (9.5, "mm", "did you mean .0095 in?"), (130, "mm", "did you mean .130 in?"), (200, "in", "did you mean .200 in?"),
        (0.010, "mm", 'did you mean "0.01 in"?'), (0.46, "in", 'did you mean "0.46 mm"?'),
    ],
)  # fmt: skip
def test_bare_gauges_are_asked_about(gauge, units, asks):
    made = {**contents(scale={"length": "648 mm"}, board={"nut_width": "42.5 mm"}), "units": units}
    made["strings"] = [{"gauge": gauge}]
    assert asks in faults(made)["strings[1].gauge"]


def test_an_inharmonicity_in_millionths_is_asked_about():
    told = faults(contents(strings=[{"inharmonicity": 114.7}]))["strings[1].inharmonicity"]
    assert "allowed a number from 1e-07 to 0.01" in told
    assert "did you mean 114.7e-6?" in told


def test_a_gauge_with_its_unit_is_taken_at_its_word():
    assert plan(strings=[{"gauge": "0.010 in"}]).strings[0].gauge == 0.254
    assert "did you mean" not in faults(contents(strings=[{"gauge": "10 mm"}]))["strings[1].gauge"]


@pytest.mark.parametrize("key", ["title", "scale", "board", "strings"])
def test_required(key):
    assert "missing" in faults(contents(**{key: None}))[key]


@pytest.mark.parametrize("key", ["strings", "title"])
def test_a_key_below_a_table_belongs_to_it(key):
    made = contents(**{key: None})
    made["board"][key] = MINIMAL[key]
    found = faults(made)
    assert set(found) == {key}
    assert "below [board] belongs to that table" in found[key]
    assert "above the first table" in found[key]


def test_units_below_a_table():
    assert "above the first table" in faults(contents(scale={"units": "in"}))["scale.units"]


@pytest.mark.parametrize(
    ("changes", "where"),
    [
        ({"scale": {"length": 99.9}}, "scale.length"),
        ({"scale": {"length": 2000.1}}, "scale.length"),
        ({"scale": {"length": None}}, "scale.length"),
        ({"scale": {"length": None, "treble": 640}}, "scale.bass"),
        ({"scale": {"length": None, "treble": 660, "bass": 640}}, "scale.treble"),
        ({"scale": {"length": None, "treble": 640, "bass": 660}, "strings": 1}, "scale"),
        ({"scale": {"length": None, "treble": 640, "bass": 660, "square_fret": "bridge"}}, "scale.square_fret"),
        ({"scale": 648}, "scale"),
        ({"strings": 0}, "strings"),
        ({"strings": 19}, "strings"),
        ({"strings": True}, "strings"),
        ({"strings": "six"}, "strings"),
        ({"strings": [{}] * 19}, "strings"),
        ({"strings": [6]}, "strings[1]"),
        ({"frets": {"count": 0}}, "frets.count"),
        ({"frets": {"count": 12.0}}, "frets.count"),
        ({"frets": {"zero_fret": 1}}, "frets.zero_fret"),
        ({"frets": {"cents": [100, 100, 1200]}}, "frets.cents[2]"),
        ({"frets": {"cents": []}}, "frets.cents"),
        ({"setup": {"relief_between": [1, 2, 3]}}, "setup.relief_between"),
        ({"setup": {"first_gap": 0.3, "action_fret": 1}}, "setup.first_gap"),
        ({"setup": {"nut_action": [0.3, 0.4]}}, "setup.nut_action"),
        ({"compensation": {"aim": 3}}, "compensation.aim"),
        ({"job": {"date": 2024}}, "job.date"),
        ({"title": "\u200b"}, "title"),
        ({"frets": {"height": float("nan")}}, "frets.height"),
        ({"frets": {"wire": {"bead_width": 0.5, "tang_width": 0.55}}}, "frets.wire.bead_width"),
        ({"frets": {"wire": {"crown_width": 0.7, "bead_width": 0.7}}}, "frets.wire.crown_width"),
        ({"frets": {"wire": {"overhang": 21}}}, "frets.wire.overhang"),
        ({"frets": {"wire": {"tang": 0.5}}}, "frets.wire.tang"),
        ({"frets": {"wire": 0.5}}, "frets.wire"),
        ({"board": {"radius": [0, 300]}}, "board.radius"),
        ({"board": {"radius": [300, 300, 300]}}, "board.radius"),
        ({"board": {"joint_fret": 23}}, "board.joint_fret"),
        ({"board": {"position_marks": [3, 40]}}, "board.position_marks"),
        ({"board": {"position_marks": [3, 3]}}, "board.position_marks[2]"),
        ({"board": {"width_at": {"fret": 23, "width": 50}}}, "board.width_at.fret"),
        ({"board": {"width_at": {"fret": 12, "width": 50}, "edge_margin": 3}}, "board.width_at"),
        ({"board": {"spacing": "even gaps"}}, "board.spacing"),
        ({"board": {"string_spread_nut": 0}}, "board.string_spread_nut"),
        ({"setup": {"relief_between": [9, 3]}}, "setup.relief_between"),
        ({"setup": {"press_depth": 1.5}}, "setup.press_depth"),
        ({"setup": {"press_depth": "wod"}}, "setup.press_depth"),
        ({"strings": [{"bending": 50, "inharmonicity": 1e-4}]}, "strings[1].inharmonicity"),
        ({"strings": [{"inharmonicity": 0}]}, "strings[1].inharmonicity"),
        ({"strings": [{"inharmonicity": 114.7}]}, "strings[1].inharmonicity"),
        ({"strings": [{"inharmonicity": True}]}, "strings[1].inharmonicity"),
        ({"setup": {"action_fret": 30}}, "setup.action_fret"),
        ({"frets": {"zero_fret": True}, "setup": {"nut_action": 0.2}}, "setup.nut_action"),
        ({"frets": {"zero_fret": True}, "setup": {"first_gap": 0.2}}, "setup.first_gap"),
        ({"frets": {"zero_fret": True}, "compensation": {"nut": "per string"}}, "compensation.nut"),
        ({"compensation": {"aim": [{"strings": [7], "frets": [12]}]}}, "compensation.aim[1].strings"),
        ({"compensation": {"aim": [{"strings": [1], "frets": [23]}]}}, "compensation.aim[1].frets"),
        ({"compensation": {"aim": [{"strings": [1], "frets": [12]}, {"strings": [2, 1], "frets": [12]}]}},
         "compensation.aim[2].strings"),
        ({"compensation": {"aim": [{"strings": [1], "frets": [12], "weights": [1, 2]}]}}, "compensation.aim[1].weights"),
        ({"compensation": {"minimise": "worst", "aim": [{"strings": [1], "frets": [12], "weights": [1]}]}},
         "compensation.aim[1].weights"),
        ({"strings": [{"pitch": "E4", "frequency": 330}]}, "strings[1].frequency"),
        ({"strings": [{"pitch": 4}]}, "strings[1].pitch"),
        ({"strings": [{"pitch": "E4", "frequency": "330"}]}, "strings[1].frequency"),
        ({"compensation": {"aim": [{"strings": [1], "frets": [12], "weights": 1}]}}, "compensation.aim[1].weights"),
        ({"strings": [{"kind": "plain steel", "core": 0.2}]}, "strings[1].core"),
        ({"strings": [{"gauge": 0.5, "core": 0.6}]}, "strings[1].core"),
        ({"strings": [{"course": 1}, {"course": 2}, {"course": 1}]}, "strings[3].course"),
        ({"bridge": {"kind": "floating", "travel": 9}}, "bridge.travel"),
        ({"bridge": {"kind": "individual saddles", "groups": [[1, 2], [2, 3]]}}, "bridge.groups[2][1]"),
        ({"bridge": {"kind": "individual saddles", "groups": [[1, 7]]}}, "bridge.groups[1]"),
        ({"bridge": {"kind": "floating", "holes": [[0, 0]]}}, "bridge.holes"),
        ({"bridge": {}}, "bridge.kind"),
        ({"blank": {"length": 500}}, "blank.width"),
        ({"jig": {"pn": 3}}, "jig.pn"),
    ],
)  # fmt: skip
def test_refused(changes, where):
    found = faults(contents(**changes))
    assert list(found) == [where]
    assert "Error" not in found[where]


def test_a_plan_checks_itself_however_it_is_built():
    made = Plan.model_validate(contents(units="in", scale={"length": 25.5}, board={"nut_width": "44 mm"}))
    assert (made.scale.length, made.board.nut_width) == (pytest.approx(647.7), 44.0)
    # The units of one plan are no other's.
    assert plan(scale={"length": 648}).scale.length == 648
    with pytest.raises(PlanError, match=r"scale\.treble: stated besides length; keep one of them"):
        Plan.model_validate(contents(scale={"treble": 600, "bass": 620}))
    with pytest.raises(PlanError, match="given 5; a table belongs here"):
        Plan.model_validate(5)


def test_every_fault_in_every_list_at_once():
    found = faults(
        contents(
            tunings=["X", "E2 A2 D3 G3 B3"],
            frets={"cents": [100, 90, -5, "x", 99999]},
            board={"position_marks": [3, 30, "x", 3], "radius": ["a", 300]},
            compensation={"aim": [{"strings": [1, 9, 22], "frets": [12, 70, 30], "weights": [1, 2, 3]}]},
            bridge={"kind": "floating", "foot": [118, 12], "holes": [[1, 2, 900], [1, "q", 3]]},
        )
    )
    assert set(found) == {
        "tunings[1]", "tunings[2]", "frets.cents[2]", "frets.cents[3]", "frets.cents[4]", "frets.cents[5]",
        "board.position_marks", "board.position_marks[3]", "board.position_marks[4]", "board.radius[1]",
        "compensation.aim[1].strings", "compensation.aim[1].strings[3]", "compensation.aim[1].frets",
        "compensation.aim[1].frets[2]", "bridge.holes[1][3]", "bridge.holes[2][2]",
    }  # fmt: skip
    assert "fret 30 of 22" in found["board.position_marks"]


def test_pairs_may_be_one_number():
    made = plan(setup={"action": 2}, board={"radius": 305})
    assert made.setup.action == (2.0, 2.0)
    assert made.board.radius == (305.0, 305.0)


@pytest.mark.parametrize("name", STARTERS)
def test_every_starter_is_a_plan(name):
    assert isinstance(starter(name), Plan)


def test_between_them_the_starters_show_every_kind_of_bridge():
    assert {starter(name).bridge.kind for name in STARTERS} == {
        "individual saddles", "saddle slot", "two posts", "floating",
    }  # fmt: skip


def test_the_starters_cover_what_they_should():
    made = {name: starter(name) for name in STARTERS}
    assert any(p.scale.treble for p in made.values())
    assert any(len(p.courses) == 4 and len(p.strings) == 8 for p in made.values())
    assert any(p.frets.zero_fret for p in made.values())
    assert any(p.frets.divisions == 19 for p in made.values())
    assert any(p.board.radius[0] != p.board.radius[1] for p in made.values())
    assert all(tomllib.loads(text)["title"] for text in starters().values())


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (b"", "missing"),
        (b"\xff\xfe", "UTF-8"),
        (b"title = ", 'line 1: "title =" is not TOML .* write a value behind ='),
        (b"title = 'a'\ntitle = 'b'", "line 2: .* keep one of the two"),
        (b"x = " + b"[" * 5000, "nested too deep"),
        (b"x = " + b"9" * 5000, "far too long"),
        (b"#" * (MOST_BYTES + 1), "at most 256000"),
        (b"title = 'a\x00b'", "not TOML"),
        (b'title = "a', "close the quotes"),
        (b"title = heron", "put text in quotes"),
        ("title = \u201cheron\u201d".encode(), "write straight quotes"),
        (b"a = 1\rb = 2", "line ends"),
        (b"length = 628,5", "a decimal point, not a comma"),
        (b"length = 25 1/2 in # long", "in quotes, as"),
        (b"length = .5", "a 0 before the point"),
        ("l\u0435ngth = 5".encode(), "type it again"),
        (b"[scale]\n[scale]", 'line 2: "\\[scale\\]" .* write each table once'),
    ],
)
def test_files_that_are_no_plans(text, says):
    with pytest.raises(PlanError, match=says):
        parse_plan(text)


def test_byte_order_mark_is_taken():
    assert parse_plan(b"\xef\xbb\xbf" + starters()["electric-six"].encode()).title == "Electric six"


def measured_places(many):
    return [[300.0 + 0.1 * place, 0.0, 5.0] for place in range(many)]


BRIDGE = {"kind": "saddle slot", "slot_width": 3, "slot_length": 70}
STEEL = [{"pitch": "E4", "gauge": 0.25, "kind": "plain steel"}] * 6


@pytest.mark.parametrize(
    ("changes", "where", "says"),
    [
        ({"bridge": {**BRIDGE, "holes": [[1, 2, 3]] * 101}}, "bridge.holes", "given 101 holes; allowed up to 100"),
        ({"bridge": {**BRIDGE, "holes": [[1, 2]]}}, "bridge.holes", "allowed a list of [x, y, diameter]"),
        ({"bridge": {**BRIDGE, "existing": {"holes": measured_places(101)}}}, "bridge.existing.holes", "given 101; allowed up to 100"),
        ({"bridge": {**BRIDGE, "existing": {"holes": "none"}}}, "bridge.existing.holes", "allowed a list of [x, y, diameter] or { treble, bass, diameter }"),
        ({"machine": {"keep_out": [[1, 2, 3, 4, 5]] * 21}}, "machine.keep_out", "given 21; allowed up to 20"),
        ({"machine": {"cutters": [{"operations": ["slots", "slots"], "diameter": 0.5, "cutting_length": 6}]}}, "machine.cutters[1].operations[2]", 'given "slots"; it stands there twice'),
        ({"frets": {"count": 22, "height": 1.0}, "setup": {"press_depth": 1.2}}, "setup.press_depth", 'deeper than frets.height, where the string is on the board; state "wood"'),
        ({"strings": STEEL, "scale": {"length": None, "treble": 628, "bass": 660}, "bridge": {"kind": "individual saddles", "travel": 12, "groups": [[1, 2]]}}, "bridge.groups", "single units of a fan share no saddle; state bridge.angle for one base"),
    ],
)  # fmt: skip
def test_what_a_plan_cannot_hold(changes, where, says):
    with pytest.raises(PlanError) as refused:
        lay_out(Plan.model_validate(contents(**changes)))
    assert says in {fault.where: str(fault) for fault in refused.value.faults}[where]


def test_places_that_were_checked_may_stand_in_a_copy():
    plan = Plan.model_validate(contents(bridge={**BRIDGE, "existing": {"holes": measured_places(2)}}))
    again = plan.bridge.existing.model_copy(update={"pins": plan.bridge.existing.holes})
    assert again.pins == plan.bridge.existing.holes
    assert plan.board.model_copy() == plan.board
