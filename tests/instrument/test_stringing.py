"""Strings on necks: heights, aims, warnings, and what the instrument carries."""

import numpy as np
import pytest
from helpers import FANNED, STARTERS, contents, plan, starter

from slotwright.layout.drawing.catalogue import draw_sheet
from slotwright.layout.drawing.sheet import Layer, Line, Text
from slotwright.layout.errors import PlanError
from slotwright.layout.instrument.instrument import lay_out
from slotwright.layout.instrument.stringing import least_worst
from slotwright.layout.instrument.what_if import what_if
from slotwright.layout.physics.pitch import saddle_height
from slotwright.layout.plan.plan import Plan

SIX = [
    {"pitch": p, "gauge": g, "kind": "plain steel" if i < 3 else "wound steel"}
    for i, (p, g) in enumerate(
        zip(("E4", "B3", "G3", "D3", "A2", "E2"), (0.254, 0.33, 0.432, 0.66, 0.914, 1.168), strict=True)
    )
]


def strung(**changes):
    return lay_out(Plan.model_validate(contents(strings=SIX, **changes))).strung


@pytest.mark.parametrize("name", STARTERS)
def test_starters_carry_offsets(name):
    found = lay_out(starter(name)).strung
    assert np.isfinite(found.after.total).all()
    assert not found.offsets.saddle_held.any()
    assert not found.offsets.nut_held.any()
    # The basses and the twelve-string state no core, the nylon set nothing of how its wound strings bend.
    estimated = {"bass-five-multiscale": [1, 2, 3, 4, 5], "bass-four": [1, 2, 3, 4], "nylon-six": [4, 5, 6],
                 "steel-twelve": [5, 7, 9, 10, 11, 12]}.get(name, [])  # fmt: skip
    shared = [5, 6, 7, 8, 9, 10, 11, 12] if name == "steel-twelve" else estimated  # a course has one contact
    for ranges, which in ((found.uncertainty, shared), (found.inharmonicity, estimated)):
        assert (np.flatnonzero(np.isfinite(ranges).all(axis=1)) + 1).tolist() == which


def test_mirrored_instrument_same_offsets():
    for made in (contents(strings=SIX), {**FANNED, "strings": [{**s, "pitch": p, "kind": "wound steel"} for s, p in
                 zip(FANNED["strings"], ("G2", "D2", "A1", "E1", "B0"), strict=True)]}):  # fmt: skip
        right = lay_out(Plan.model_validate(made)).strung.offsets
        left = lay_out(Plan.model_validate({**made, "board": {**made["board"], "left_handed": True}})).strung.offsets
        assert left.saddle == pytest.approx(right.saddle, abs=1e-9)


def test_too_little_said_of_a_string():
    instrument = lay_out(plan(strings=[*SIX[:5], {"pitch": "E2", "gauge": 1.2}]))
    assert instrument.strung is None
    assert [str(fault) for fault in instrument.unstated] == [
        "strings[6].kind: missing; pitch cannot be calculated without it"
    ]
    (alone,) = lay_out(plan(strings=6)).unstated
    assert alone.where == "strings"
    assert alone.mend == 'write strings = { set = "electric 8-38" }, or pitch, gauge and kind of each'
    assert str(lay_out(plan(strings=17)).unstated[0]).endswith("; write pitch, gauge and kind of each")
    nylon = lay_out(plan(strings=[{"pitch": "E2", "gauge": 1.1, "kind": "wound nylon"}]))
    assert nylon.unstated[0].where == "strings[1].mass"


def test_heights_of_a_curved_and_bowed_board():
    made = Plan.model_validate(
        contents(strings=SIX, board={"radius": [254, 406]}, setup={"relief": 0.3, "action": [1.5, 1.9]})
    )
    instrument = lay_out(made)
    f, neck = instrument.strung.fretting, instrument.neck
    # Above the crown of fret 12, wherever that lies.
    assert f.action_height - f.crowns[:, 11] == pytest.approx(np.linspace(1.5, 1.9, 6), abs=0.02)
    assert (f.action_height - f.crowns[:, 11])[[0, -1]] == pytest.approx([1.5, 1.9])
    assert f.nut_height == pytest.approx(neck.crown_height(0.0, neck.nut_ends[:, 1]) + 0.3)
    assert f.crowns[2, 10] < f.crowns[2, 0]  # the bow
    assert (f.crowns[[0, 5], 0] < f.crowns[[2, 3], 0]).all()  # the curve


def test_first_gap_is_the_open_string_over_crown_1():
    instrument = lay_out(Plan.model_validate(contents(strings=SIX, setup={"first_gap": [0.3, 0.4], "relief": 0.2})))
    f = instrument.strung.fretting
    height = saddle_height(f, np.zeros(6), np.zeros(6))
    at_first = f.nut_height + (height - f.nut_height) * f.frets[:, 0] / f.scale
    assert (at_first - f.crowns[:, 0])[[0, -1]] == pytest.approx([0.3, 0.4])


def test_press_is_at_most_half_way_to_the_fret_before():
    f = strung(setup={"press_distance": 8}).fretting
    gaps = np.diff(f.frets, axis=1, prepend=0.0)
    assert f.press == pytest.approx(np.minimum(8, gaps / 2))


def test_aims_of_strings_not_named():
    made = {"aim": [{"strings": [1, 2], "frets": [12, 17], "weights": [2, 1]}]}
    weights = strung(compensation=made).weights
    assert weights[0, [11, 16]].tolist() == [2, 1]
    assert weights[0].sum() == 3
    assert (weights[2, :12] == 1).all()
    assert weights[2, 12:].sum() == 0


def test_a_string_that_would_break_is_refused_and_a_high_load_warned_of():
    tight = [{"pitch": "B4", "gauge": 0.254, "kind": "plain steel"}, *SIX[1:]]
    with pytest.raises(PlanError, match=r"strings\[1\]\.gauge.*lower its pitch or shorten the scale"):
        lay_out(Plan.model_validate(contents(strings=tight, scale={"length": 648})))
    high = [{"pitch": "G4", "gauge": 0.254, "kind": "plain steel"}, *SIX[1:]]
    instrument = lay_out(Plan.model_validate(contents(strings=high, scale={"length": 700})))
    assert 0.8 < instrument.strung.bodies[0].stress_ratio < 1
    assert any("string 1 bears" in str(warning) for warning in instrument.warnings)


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"setup": {"press_depth": 0.5}}, "many cents sharp"),
        ({"setup": {"action": 0.15, "relief": 0.0, "nut_action": 0.0, "relief_between": [1, 22]}, "board": {"radius": [254, 150]}},
         "below the crown of fret"),
        ({"setup": {"action": 12}}, "saddle offset of string"),
    ],
)  # fmt: skip
def test_warned(changes, says):
    warnings = lay_out(Plan.model_validate(contents(strings=SIX, **changes))).warnings
    assert any(says in str(warning) for warning in warnings)


def test_a_first_gap_that_cannot_be():
    with pytest.raises(PlanError, match="below the crowns at the nut"):
        lay_out(Plan.model_validate(contents(strings=SIX, setup={"first_gap": 0.05, "action": 3})))


def test_pressed_to_the_wood():
    wood = lay_out(Plan.model_validate(contents(strings=SIX, setup={"press_depth": "wood"}, frets={"height": 1.2})))
    deep = lay_out(Plan.model_validate(contents(strings=SIX, setup={"press_depth": 1.2}, frets={"height": 1.2})))
    assert (wood.strung.fretting.press_depth == 1.2).all()
    assert (wood.strung.offsets.saddle == deep.strung.offsets.saddle).all()
    assert any("pressed 1.20 mm past the crown" in str(warning) for warning in wood.warnings)
    inches = contents(units="in", setup={"press_depth": "0.2 mm"}, scale={"length": 25.5}, board={"nut_width": 1.7})
    assert Plan.model_validate(inches).press_depth == 0.2


@pytest.mark.parametrize(("b", "says"), [(5e-3, "or more, too thick"), (2e-6, "too thin")])
def test_an_inharmonicity_that_no_core_has(b, says):
    made = contents(strings=[*SIX[:5], {**SIX[5], "inharmonicity": b}])
    with pytest.raises(PlanError) as refused:
        lay_out(Plan.model_validate(made))
    (fault,) = [fault for fault in refused.value.faults if fault.where == "strings[6].inharmonicity"]
    assert says in fault.what
    assert f"{b:g}" in fault.what


@pytest.mark.parametrize("more", [{}, {"core": 0.42}])
def test_one_gauge_up_of_a_measured_string(more):
    # Twice as stiff by the fourth power of its gauge, the tension by the square.
    first = {**SIX[5], "inharmonicity": 1.2e-4, **more}
    ratio = 1 + 0.0508 / first["gauge"]
    second = {key: value * ratio for key, value in {"gauge": first["gauge"], **more}.items()}
    even = {"spacing": "even centres"}
    before = lay_out(Plan.model_validate(contents(strings=[*SIX[:5], first], board=even)))
    after = lay_out(
        Plan.model_validate(
            contents(strings=[*SIX[:5], {**first, **second, "inharmonicity": 1.2e-4 * ratio**2}], board=even)
        )
    ).strung
    _, gauge, _ = what_if(before.plan, before.neck, before.strung, 6)
    assert gauge.saddle == pytest.approx(after.offsets.saddle[5], abs=1e-9)
    assert after.bodies[5].core == pytest.approx(ratio * before.strung.bodies[5].core, rel=1e-9)
    assert after.bodies[5].bending == pytest.approx(ratio**4 * before.strung.bodies[5].bending, rel=1e-9)


def test_the_least_that_must_stay():
    found, made = strung(), Plan.model_validate(contents(strings=SIX))
    least = least_worst(made, found)
    largest = np.where(found.weights > 0, np.abs(found.after.total), 0).max(axis=1)
    assert (least <= largest + 1e-9).all()
    assert (least < largest - 0.01).any()


def test_what_if():
    made = Plan.model_validate(contents(strings=SIX))
    instrument = lay_out(made)
    action, gauge, nut = what_if(made, instrument.neck, instrument.strung, 6)
    back = instrument.strung.offsets.saddle[5]
    assert action.saddle > back
    assert "0.048 in" in gauge.change
    assert nut.cents[0] > 1 > abs(nut.cents[11])
    # The same found by a plan that says so.
    higher = [{**SIX[5]}]
    again = lay_out(Plan.model_validate(contents(strings=[*SIX[:5], *higher], setup={"action": [2.0, 2.4]}))).strung
    assert action.saddle == pytest.approx(again.offsets.saddle[5])
    thicker = lay_out(
        Plan.model_validate(
            contents(strings=[*SIX[:5], {**SIX[5], "gauge": 1.168 + 0.0508}], board={"spacing": "even centres"})
        )
    ).strung
    before = lay_out(Plan.model_validate(contents(strings=SIX, board={"spacing": "even centres"})))
    _, gauge, _ = what_if(before.plan, before.neck, before.strung, 6)
    assert gauge.saddle == pytest.approx(thicker.offsets.saddle[5], abs=1e-9)


def test_a_common_nut_moves_the_end_of_the_board_and_nothing_else():
    plain = lay_out(Plan.model_validate(contents(strings=SIX)))
    moved = lay_out(Plan.model_validate(contents(strings=SIX, compensation={"nut": "common"})))
    by = moved.neck.nut_moved
    assert by == moved.strung.offsets.nut[0] != 0
    assert moved.neck.outline[[0, 3], 0] == pytest.approx(plain.neck.outline[[0, 3], 0] + by)
    assert (moved.neck.outline[1:3] == plain.neck.outline[1:3]).all()
    assert (moved.neck.slots[1:] == plain.neck.slots[1:]).all()
    assert (moved.neck.from_nut == plain.neck.from_nut).all()
    words = [e.text for e in draw_sheet(moved, "board").entities if isinstance(e, Text)]
    assert f"12: {314 - by:.2f} (314.00)" in words
    assert f"0: 0.00 ({by:.2f})" in words


def test_a_moved_zero_fret_takes_its_slot_along():
    made = contents(
        strings=SIX,
        compensation={"nut": "common"},
        frets={"zero_fret": True},
        blank={"length": 520, "width": 64, "nut_at": 20},
    )
    instrument = lay_out(Plan.model_validate(made))
    assert instrument.neck.nut_moved != 0
    assert instrument.neck.slots[0, :, 0] == pytest.approx(instrument.neck.nut_moved)
    assert instrument.across_blank[0, :, 0] == pytest.approx(instrument.neck.nut_moved)


@pytest.mark.parametrize("nut", ["none", "common", "per string"])
@pytest.mark.parametrize("left_handed", [False, True])
def test_contacts_are_drawn_and_dimensioned_from_fret_12(nut, left_handed):
    made = contents(strings=SIX, compensation={"nut": nut}, board={"left_handed": left_handed})
    instrument = lay_out(Plan.model_validate(made))
    neck, found = instrument.neck, instrument.strung
    sheet = draw_sheet(instrument, "board")
    arms = [e for e in sheet.entities if e.layer == Layer.CONTACT]
    middles = np.array([[(e.start[i] + e.end[i]) / 2 for i in (0, 1)] for e in arms])
    assert middles[::2] == pytest.approx(middles[1::2])  # two arms of one cross
    middles = middles[::2]
    along = (neck.saddle_ends - neck.nut_ends) / neck.scales[:, None]
    assert middles[:6] == pytest.approx(neck.saddle_ends + found.offsets.saddle[:, None] * along)
    if nut == "none":
        assert len(middles) == 6
    else:
        assert middles[6:] == pytest.approx(neck.nut_ends + found.offsets.nut[:, None] * along)
    (table,) = [text for text in sheet.texts if text.heading.startswith("Contacts")]
    far = neck.scales[5] - neck.from_nut[12, 5] + found.offsets.saddle[5]
    assert table.rows[0][:3] == ("string", "fret 12 to saddle", "set back")
    assert table.rows[6][:3] == ("6", f"{far:.2f}", f"{found.offsets.saddle[5]:.2f}")
    assert ("nut to fret 12" in table.rows[0]) == (nut == "per string")
    # All of the table stands on the sheet, and the contacts bear the numbers of their strings.
    words = [e.text for e in sheet.entities if isinstance(e, Text)]
    assert {cell for row in table.rows for cell in row} <= set(words)


def test_stick_ticks_the_contacts():
    instrument = lay_out(Plan.model_validate(contents(strings=SIX)))
    ticks = [e for e in draw_sheet(instrument, "stick").entities if isinstance(e, Line) and e.layer == Layer.CONTACT]
    contacts = instrument.neck.on_strings(instrument.neck.scales + instrument.strung.offsets.saddle)
    assert sorted(e.start[0] for e in ticks) == pytest.approx(sorted(contacts[:, 0]))
