"""Strings that share a contact, against a second model and against geometry written out anew."""

from dataclasses import replace

import numpy as np
import pytest
from forward import AT_SADDLE, SCALE, SPREAD, World, flat_plan, frequency
from helpers import FANNED, contents, starter
from scipy.optimize import minimize_scalar

from slotwright.layout.drawing.catalogue import draw_sheet
from slotwright.layout.export.data import instrument as data
from slotwright.layout.export.report.contacts import contact_table
from slotwright.layout.instrument.instrument import lay_out
from slotwright.layout.instrument.tolerances import simulate
from slotwright.layout.instrument.tunings import losses
from slotwright.layout.instrument.what_if import what_if
from slotwright.layout.physics.offsets import compensate
from slotwright.layout.physics.pitch import parts
from slotwright.layout.plan.plan import Plan

FRETS = range(1, 13)  # the aim where a plan states none
TWELVE = (  # pitch, mass [kg/m], EA [N], EI [N mm2], gauge [mm]; invented: two in unison, four at the octave
    ("E4", 0.000401, 10310.0, 41.6, 0.254),
    ("E4", 0.000401, 10310.0, 41.6, 0.254),
    ("B3", 0.000678, 17416.0, 118.7, 0.330),
    ("B3", 0.000678, 17416.0, 118.7, 0.330),
    ("G4", 0.000325, 8350.0, 27.0, 0.229),
    ("G3", 0.00114, 29254.0, 340.0, 0.430),
    ("D4", 0.000574, 14600.0, 85.0, 0.305),
    ("D3", 0.00184, 19000.0, 135.0, 0.660),
    ("A3", 0.00103, 26400.0, 273.0, 0.406),
    ("A2", 0.00343, 24000.0, 210.0, 0.914),
    ("E3", 0.00240, 22000.0, 180.0, 0.660),
    ("E2", 0.00567, 29500.0, 330.0, 1.168),
)
PAIRS = [[n, n + 1] for n in range(1, 13, 2)]
APART = (2.2, 3.0)  # mm inside a pair, at nut and saddle


def twelve(bridge="saddles", **rule):
    """Give the plan of a twelve-string whose pairs share saddles, or as courses the crest of one bone."""
    plan = flat_plan(TWELVE, aim=[], **rule)
    bridges = {
        "saddles": {"kind": "individual saddles", "travel": 14, "groups": PAIRS},
        "apart": {"kind": "individual saddles", "travel": 14},
        "posts": {"kind": "two posts", "travel": 14, "post_spread": 74, "groups": PAIRS},
        "bone": {"kind": "saddle slot", "slot_width": 4, "slot_length": 70},
        "floating": {"kind": "floating", "foot": [90, 10]},
    }
    courses = [string.model_copy(update={"course": n // 2 + 1}) for n, string in enumerate(plan.strings)]
    board = plan.board.model_copy(update={"course_spacing": list(APART)})
    return plan.model_copy(update={"strings": courses, "board": board, "bridge": bridges[bridge]})


def places(spread, apart):
    """Write out anew where twelve strings in six pairs cross: the middles of the pairs evenly apart."""
    middles = np.linspace((spread - apart) / 2, (apart - spread) / 2, 6)
    return np.stack((middles + apart / 2, middles - apart / 2), axis=-1).ravel()


Y_NUT, Y_SADDLE = places(SPREAD, APART[0]), places(AT_SADDLE, APART[1])
LENGTHS = np.hypot(SCALE, Y_SADDLE - Y_NUT)  # of the strings, nut to the line of the scale's end
WORLD = World(np.zeros(12), strings=TWELVE, sideways=tuple(Y_SADDLE - Y_NUT))


def heard(string, x):
    """Give what the second model reads of a string (from 0) whose contact stands at x on its line [cents]."""
    saddle = np.zeros(12)
    saddle[string] = x * LENGTHS[string] / SCALE - LENGTHS[string]
    return replace(WORLD, saddle=saddle).errors(string + 1, FRETS)


def least(strings, minimise):
    """Find the x that serves some strings together best."""

    def cost(x):
        off = np.concatenate([heard(string, x) for string in strings])
        return np.sqrt(np.mean(off**2)) if minimise == "rms" else np.abs(off).max()

    return minimize_scalar(cost, bounds=(SCALE - 5, SCALE + 12), method="bounded", options={"xatol": 1e-8}).x


def rms(off):
    return np.sqrt(np.mean(off**2))


def largest(off):
    return np.abs(off).max()


def test_the_second_model_strings_the_same_neck():
    instrument = lay_out(twelve())
    assert instrument.neck.scales == pytest.approx(LENGTHS, abs=1e-9)
    strung = instrument.strung
    saddle = strung.offsets.saddle
    for i in range(12):
        x = (LENGTHS[i] + saddle[i]) * SCALE / LENGTHS[i]
        assert strung.after.total[i, :12] == pytest.approx(heard(i, x), abs=0.01)
    assert [body.frequency for body in strung.bodies] == pytest.approx([frequency(each[0]) for each in TWELVE])


@pytest.mark.parametrize("minimise", ["rms", "worst"])
@pytest.mark.parametrize("bridge", ["saddles", "posts", "bone", "floating"])
def test_what_each_of_twelve_strings_loses(bridge, minimise):
    """By one x of the contact on both lines of a pair, found by brute search over a second model."""
    instrument = lay_out(twelve(bridge, minimise=minimise))
    strung, told = instrument.strung, data.offsets(instrument, instrument.strung)["strings"]
    most = 0.0
    for pair in PAIRS:
        together = [n - 1 for n in pair]
        x = least(together, minimise)
        for i in together:
            shared, alone = heard(i, x), heard(i, least([i], minimise))
            lost = rms(shared) - rms(alone), largest(shared) - largest(alone)
            assert (strung.sharing_rms[i], strung.sharing_worst[i]) == pytest.approx(lost, abs=0.01)
            assert strung.offsets.saddle[i] == pytest.approx(x * LENGTHS[i] / SCALE - LENGTHS[i], abs=0.005)
            assert strung.rms[i] == pytest.approx(rms(shared), abs=0.01)
            assert abs(strung.worst_cents[i]) == pytest.approx(largest(shared), abs=0.01)
            assert told[i]["shared_with"] == [n for n in pair if n != i + 1]
            assert told[i]["saddle_offset"] == strung.offsets.saddle[i]
            assert (told[i]["sharing_rms_cents"], told[i]["sharing_worst_cents"]) == pytest.approx(lost, abs=0.01)
            most = max(most, *lost)
        # One contact: the set-back of one is that of the other.
        assert np.ptp(strung.offsets.saddle[together]) == 0
    assert most > 1  # or sharing would not be worth a word
    placed = instrument.bridge
    # One set-back along two strings that are not quite parallel: one x, but for a ten thousandth.
    assert placed.contacts[::2, 0] == pytest.approx(placed.contacts[1::2, 0], abs=2e-4)
    contacts = instrument.neck.on_strings(instrument.neck.scales + strung.offsets.saddle)
    assert placed.contacts == pytest.approx(contacts, abs=1e-9)


def test_saddles_of_their_own_share_nothing():
    instrument = lay_out(twelve("apart"))
    strung = instrument.strung
    assert not strung.saddles.shared.any()
    assert strung.sharing_rms == pytest.approx(0, abs=0)
    assert strung.sharing_worst == pytest.approx(0, abs=0)
    assert [each["shared_with"] for each in data.offsets(instrument, strung)["strings"]] == [[]] * 12
    assert not [finding for finding in instrument.findings if finding.kind == "shared contact"]
    # Nor does a bridge that is not stated: nobody knows what strings stand on.
    unknown = twelve().model_copy(update={"bridge": None})
    assert not lay_out(unknown).strung.saddles.shared.any()


def test_every_sheet_and_the_report_show_the_common_set_back():
    instrument = lay_out(twelve("bone"))
    table = contact_table(instrument)
    assert table["shared"]
    assert [row["mates"] for row in table["rows"][:4]] == ["2", "1", "4", "3"]
    backs = [row["back"] for row in table["rows"]]
    assert backs[::2] == backs[1::2]
    (contacts,) = [text for text in draw_sheet(instrument, "board").texts if text.heading.startswith("Contacts")]
    assert contacts.rows[0][2] == "set back"
    said = [row[2] for row in contacts.rows[1:]]
    assert len(said) == 12
    assert said[::2] == said[1::2] == [f"{back:.2f}" for back in instrument.strung.offsets.saddle[::2]]


def test_a_string_that_sharing_takes_out_of_its_tolerance_is_named_with_the_mend():
    within = 2.7  # no string alone needs more, no place of two of the saddles gets there
    instrument, alone = lay_out(twelve(tolerance=within)), lay_out(twelve("apart", tolerance=within))
    assert not [f for f in alone.pitch_findings if f.kind == "beyond tolerance"]
    beyond = [f for f in instrument.pitch_findings if f.kind == "beyond tolerance"]
    x = [least([n - 1 for n in pair], "rms") for pair in PAIRS]
    out = [i for i in range(12) if largest(heard(i, x[i // 2])) > within]
    assert out == [4, 5, 10, 11]
    assert [f.subject for f in beyond] == [f"string {i + 1}" for i in out]
    for i, finding in zip(out, beyond, strict=True):
        kept = largest(heard(i, least([i], "rms")))
        mate = i + 2 if i % 2 == 0 else i
        assert f"it shares a contact with string {mate}; alone it would keep {kept:.2f}" in finding.words
    (mend,) = [f for f in instrument.pitch_findings if f.kind == "saddles of their own"]
    assert "a saddle of its own for each string (bridge.groups)" in mend.words
    assert mend.subject == f"strings {', '.join(str(i + 1) for i in out)}"
    (bone,) = [f for f in lay_out(twelve("bone", tolerance=within)).findings if f.kind == "saddles of their own"]
    assert "a bridge with a saddle for each string of a course" in bone.words
    # Told once, wherever findings are gathered.
    assert [f.kind for f in instrument.findings].count("shared contact") == 1


def test_what_another_aim_would_mend_is_not_laid_to_sharing():
    """Where the least largest error of both strings is inside, no saddles of their own are asked for."""
    least_shared = max(largest(heard(i, least([10, 11], "worst"))) for i in (10, 11))
    averaged = max(largest(heard(i, least([10, 11], "rms"))) for i in (10, 11))
    between = (least_shared + averaged) / 2
    found = lay_out(twelve(tolerance=between)).pitch_findings
    assert [f.subject for f in found if f.kind == "saddles of their own"] == ["strings 5, 6"]
    (eleven,) = [f for f in found if f.kind == "beyond tolerance" and f.subject == "string 11"]
    assert f'minimise = "worst" would leave {least_shared:.2f}' in eleven.words


def fanned(bridge, **board):
    """Lay out a fan whose strings are known."""
    known = zip(FANNED["strings"], ("G2", "D2", "A1", "E1", "B0"), (5.8, 10, 16, 26, 40), strict=True)
    strings = [{**each, "pitch": p, "kind": "wound steel", "core": 0.4, "mass": m} for each, p, m in known]
    board = {**FANNED["board"], **board}
    return lay_out(Plan.model_validate({**FANNED, "strings": strings, "bridge": bridge, "board": board}))


@pytest.mark.parametrize("left_handed", [False, True])
def test_the_line_of_a_turned_base(left_handed):
    """By plane geometry: the contacts of one saddle lie on a line along the base, whatever the hand."""
    bridge = {"kind": "individual saddles", "travel": 40, "angle": 20.0, "groups": [[1, 2], [4, 5]]}
    instrument = fanned(bridge, left_handed=left_handed)
    contacts, along, strung = instrument.bridge.contacts, instrument.bridge.along, instrument.strung
    turn = np.radians(-20.0 if left_handed else 20.0)
    to_rear, across = np.array([np.cos(turn), np.sin(turn)]), np.array([-np.sin(turn), np.cos(turn)])

    def squares(pair, by):
        """Give the squares of a pair when its saddle goes square to its own line."""
        saddle = strung.offsets.saddle.copy()
        saddle[pair] += by / (instrument.neck.directions[pair] @ to_rear)
        off = parts(strung.fretting, saddle, strung.offsets.nut).total
        return (strung.weights[pair] * off[pair] ** 2).sum()

    for pair in ([0, 1], [3, 4]):
        way = contacts[pair[0]] - contacts[pair[1]]
        assert np.hypot(*way) > 5
        assert abs(way @ across) == pytest.approx(np.hypot(*way), abs=1e-9)
        assert along[pair[0]] == pytest.approx(along[pair[1]], abs=1e-9)
        assert squares(pair, 0) < min(squares(pair, 0.01), squares(pair, -0.01))


def test_strings_of_a_fan_on_posts_share_one_set_back():
    instrument = fanned({"kind": "two posts", "travel": 40, "post_spread": 90, "groups": [[2, 4]]})
    saddle = instrument.strung.offsets.saddle
    assert saddle[1] == saddle[3] != 0
    # A saddle bar between the two runs along the ends of the scales, to a fiftieth of a mm over half the fan.
    ends, contacts = instrument.neck.saddle_ends, instrument.bridge.contacts
    (x, y), (dx, dy) = ends[1] - ends[3], contacts[1] - contacts[3]
    assert abs(y) > 20
    assert dx == pytest.approx(x / y * dy, abs=0.02)


def test_a_bridge_that_turns_itself_says_how_askew_a_shared_saddle_is():
    posts = {"kind": "two posts", "travel": 14, "post_spread": 74, "groups": [[1, 2], [3, 4], [5, 6]]}
    instrument = lay_out(flat_plan().model_copy(update={"bridge": posts}))
    (askew,) = [f for f in instrument.bridge_findings if f.kind == "askew saddle"]
    # The strings are evenly apart at the saddle: turned, the bridge's own line leaves a common x by this.
    off = abs(AT_SADDLE / 5 * np.sin(np.radians(instrument.bridge.angle)))
    assert off > 0.1
    assert askew.numbers["most"] == pytest.approx(off, rel=0.01)  # the contacts lie a little beyond the scale's end
    assert f"askew by {off:.2f} mm under strings 1, 2" in askew.words
    assert not [f for f in lay_out(twelve("saddles")).bridge_findings if f.kind == "askew saddle"]


def test_what_if_and_tunings_hold_the_shared_saddle():
    plan = twelve()
    instrument = lay_out(plan)
    for one, other in zip(
        what_if(plan, instrument.neck, instrument.strung, 11),
        what_if(plan, instrument.neck, instrument.strung, 12),
        strict=True,
    ):
        if "action" in one.change or "nut" in one.change:
            assert one.saddle == other.saddle
    low = "D2 D3 A2 A3 D3 D4 F#3 F#4 A3 A3 D4 D4"
    tuned = plan.model_copy(update={"tunings": [low]})
    made = lay_out(tuned)
    strung = made.strung
    assert (np.diff(strung.offsets.saddle)[::2] == 0).all()
    # Strings as they were made, at other pitches: the tension alone changes.
    pitches = list(reversed(low.split()))
    own = losses(tuned, strung.fretting, strung.weights, strung.offsets, strung.saddles)[1]
    freqs = np.array([frequency_of(p) / frequency(each[0]) for p, each in zip(pitches, TWELVE, strict=True)])
    fretting = replace(strung.fretting, tension=strung.fretting.tension * freqs**2)
    for pair in ([0, 1], [10, 11]):

        def cost(back, fretting=fretting, pair=pair):
            saddle = np.full(12, back)
            off = parts(fretting, saddle, np.zeros(12)).total[pair]
            return float((strung.weights[pair] * off**2).sum())

        best = minimize_scalar(cost, bounds=(-2, 12), method="bounded", options={"xatol": 1e-8}).x
        off = parts(fretting, np.full(12, best), np.zeros(12)).total[:, :12]
        assert own.own_best_rms[pair] == pytest.approx([rms(off[i]) for i in pair], abs=0.005)


def frequency_of(pitch):
    return frequency(pitch.replace("#", "")) * (2 ** (1 / 12) if "#" in pitch else 1)


def test_strings_of_one_saddle_slip_with_it():
    """Two strings alike in all, moved by one contact: in tune together or not at all."""
    still = {"slot": 0, "nut": 0, "action": 0, "nut-height": 0, "relief": 0, "gauge": 0, "saddle": 0.3}
    strings = [{"pitch": "E4", "gauge": 0.254, "kind": "plain steel"}] * 2
    rule = {"tolerance": 0.5, "aim": [{"strings": [1, 2], "frets": [12]}]}

    def built(**bridge):
        return simulate(
            lay_out(
                Plan.model_validate(
                    contents(
                        strings=strings,
                        setup={"action": 1.5},
                        compensation=rule,
                        bridge={"kind": "individual saddles", "travel": 9, **bridge},
                    )
                )
            ),
            still,
        )

    shared, apart = built(groups=[[1, 2]]), built()
    assert shared.within[0] == pytest.approx(apart.within[0], abs=0.02)
    assert shared.all_within == pytest.approx(shared.within[0], abs=0.01)
    assert apart.all_within == pytest.approx(apart.within[0] ** 2, abs=0.02)
    assert 0.3 < shared.within[0] < 0.8


def test_what_is_estimated_of_one_string_moves_the_saddle_of_both():
    strings = [
        {"pitch": "D4", "gauge": 0.305, "kind": "plain steel"},
        {"pitch": "D3", "gauge": 0.76, "kind": "wound steel"},
        {"pitch": "A2", "gauge": 1.0, "kind": "wound steel", "core": 0.4},
    ]
    bridge = {"kind": "individual saddles", "travel": 9, "groups": [[1, 2]]}
    instrument = lay_out(Plan.model_validate(contents(strings=strings, bridge=bridge)))
    strung = instrument.strung
    assert strung.uncertainty[0].tolist() == strung.uncertainty[1].tolist()
    low, high = strung.uncertainty[0]
    assert low < strung.offsets.saddle[0] < high
    assert np.isnan(strung.uncertainty[2]).all()
    told = data.offsets(instrument, strung)["strings"]
    assert told[0]["saddle_offset_range"] == [low, high]
    assert told[0]["inharmonicity_range"] is None
    assert told[2]["saddle_offset_range"] is None
    # Half as far as alone, about: the other string holds against it.
    alone = lay_out(Plan.model_validate(contents(strings=strings, bridge={**bridge, "groups": []}))).strung
    assert high - low == pytest.approx(np.ptp(alone.uncertainty[1]) / 2, rel=0.2)


def test_the_starter_with_courses_costs_nothing():
    """Unison pairs want one place: what they lose is less than can be heard, and nothing is said."""
    instrument = lay_out(starter("mandolin"))
    strung = instrument.strung
    assert strung.saddles.groups == [[0, 1], [2, 3], [4, 5], [6, 7]]
    assert np.abs(strung.sharing_rms).max() < 0.01
    assert not [f for f in instrument.findings if f.kind == "shared contact"]


def test_a_nut_for_each_string_takes_up_what_the_saddle_cannot():
    plan = twelve(nut="per string")
    strung = lay_out(plan).strung
    without = lay_out(twelve()).strung
    assert strung.rms[10] < without.rms[10] - 0.5
    assert (np.diff(strung.offsets.saddle)[::2] == 0).all()
    apart = compensate(strung.fretting, strung.weights, nut="per string")
    assert strung.alone.saddle == pytest.approx(apart.saddle, abs=1e-9)
    assert (strung.sharing_rms > -1e-9).all()
