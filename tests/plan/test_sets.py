"""Usual sets of strings: what they give, what a plan says of them, and what is refused."""

import copy
import json
import pickle
import tomllib

import pytest
from helpers import MINIMAL

from slotwright.layout.errors import PlanError
from slotwright.layout.instrument.instrument import lay_out
from slotwright.layout.physics import strings
from slotwright.layout.plan.plan import Plan
from slotwright.layout.plan.reader import parse_plan
from slotwright.layout.plan.sets import SETS
from slotwright.layout.plan.writer import recalibrated, stiffened

# Scales by family [mm], the shortest and the longest: common practice, from memory.
SCALES = {
    "electric": (628, 648), "acoustic": (632, 645), "twelve-string": (632, 645), "nylon": (650, 650),
    "bass": (762, 889), "five-string bass": (838, 889), "mandolin": (350, 350), "ukulele": (345, 432),
    "ukulele fluorocarbon": (345, 432),
}  # fmt: skip
# What a string of each family is usually strung with [N], lightest set to heaviest: from memory, no source.
TENSIONS = {
    "electric": (40, 125), "acoustic": (65, 165), "twelve-string": (60, 150), "nylon": (50, 80), "bass": (110, 250),
    "five-string bass": (120, 250), "mandolin": (70, 120), "ukulele": (28, 60), "ukulele fluorocarbon": (28, 60),
}  # fmt: skip
# [AB24] M. B. Anderson, R. G. Beausoleil, J. Acoust. Soc. Am. 156(1), 683 (2024): radius [mm], mass [g/m], tension
# [N] at 650 mm and string constant, strings 1 to 6.
AB24 = {
    "nylon normal": [
        (0.356, 0.374, 68.6, 48.2), (0.409, 0.505, 52.0, 48.7), (0.512, 0.836, 54.2, 58.6),
        (0.368, 1.920, 70.0, 46.0), (0.445, 3.289, 67.3, 48.7), (0.546, 5.470, 62.8, 58.2),
    ],
    "nylon hard": [
        (0.362, 0.386, 70.9, 47.9), (0.415, 0.522, 53.8, 53.5), (0.521, 0.856, 55.6, 57.5),
        (0.381, 2.007, 73.1, 46.4), (0.457, 3.486, 71.3, 49.0), (0.559, 5.666, 65.0, 51.9),
    ],
}  # fmt: skip


def strung(of, **more):
    return Plan.model_validate({**MINIMAL, "strings": of, **more})


def family(name):
    return name.rpartition(" ")[0]


def semitones(pitch):
    letter, octave = pitch[:-1], int(pitch[-1])
    return ["C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B"].index(letter) + 12 * octave


@pytest.mark.parametrize("name", SETS)
def test_a_set_is_strung_as_usual_and_none_of_its_strings_breaks(name):
    for scale in SCALES[family(name)]:
        least, most = TENSIONS[family(name)]
        for string in strung({"set": name}).strings:
            body = strings.body(string, scale)
            # Anew: T = mu (2 L f)^2, with A4 at 440 Hz.
            hertz = 440 * 2 ** ((semitones(string.pitch) - semitones("A4")) / 12)
            assert body.tension == pytest.approx(body.mass * (2e-3 * scale * hertz) ** 2)
            assert max(0.3 * most, 0.9 * least) <= body.tension <= 1.1 * most
            assert (body.stress_ratio or 0) < 0.8


@pytest.mark.parametrize("name", AB24)
def test_nylon_sets_are_the_published_ones(name):
    for string, (radius, mass, tension, constant) in zip(strung({"set": name}).strings, AB24[name], strict=True):
        assert string.gauge == pytest.approx(2 * radius)
        assert (string.mass, string.string_constant) == (mass, constant)
        assert strings.body(string, 650.0).tension == pytest.approx(tension, rel=0.005)  # printed to three digits


@pytest.mark.parametrize("name", SETS)
def test_a_name_tells_the_outer_gauges(name):
    gauges = [string.gauge / 0.0254 for string in strung({"set": name}).strings]
    if not name.startswith("nylon"):
        assert name.rpartition(" ")[2] == f"{min(gauges) + 0.01:.0f}-{max(gauges):.0f}" or "twelve" in name
    hertz = [strings.frequency(string.pitch) for string in strung({"set": name}).strings]
    thin_first = sorted(range(len(gauges)), key=lambda place: (-hertz[place], gauges[place]))
    assert [gauges[place] for place in thin_first] == sorted(gauges) or "ukulele" in name or "nylon" in name


def test_courses_and_re_entrant_tunings():
    twelve = strung({"set": "twelve-string 10-47"})
    assert len(twelve.courses) == 6
    assert [string.pitch for string in twelve.strings][4:8] == ["G3", "G4", "D3", "D4"]
    assert twelve.strings[4].gauge > twelve.strings[5].gauge
    mandolin = strung({"set": "mandolin 10-34"})
    assert [len(course) for course in mandolin.courses] == [2, 2, 2, 2]
    assert [string.pitch for string in strung({"set": "ukulele 28-41"}).strings] == ["A4", "E4", "C4", "G4"]


@pytest.mark.parametrize("units", ["mm", "in"])
def test_what_is_replaced_and_what_stays(units):
    replace = [
        {"string": 3, "gauge": "0.018 in", "kind": "wound steel"},
        {"string": 6, "gauge": 1.2 if units == "mm" else 0.048},
        {"string": 5, "core": "0.015 in"},
    ]
    plan = strung({"set": "acoustic 12-53", "tuning": "D2 A2 D3 G3 A3 D4", "replace": replace}, units=units,
                  scale={"length": "645 mm"}, board={"nut_width": "60 mm"})  # fmt: skip
    third, fifth, sixth = (plan.strings[n] for n in (2, 4, 5))
    assert (third.gauge, third.kind, third.winding) == (pytest.approx(0.4572), "wound steel", "phosphor bronze")
    assert sixth.gauge == pytest.approx(1.2 if units == "mm" else 1.2192)
    assert (sixth.kind, sixth.winding) == ("wound steel", "phosphor bronze")
    assert (fifth.gauge, fifth.core) == (pytest.approx(42 * 0.0254), pytest.approx(0.381))
    assert [string.pitch for string in plan.strings] == ["D4", "A3", "G3", "D3", "A2", "D2"]
    plain = strung({"set": "electric 10-46", "replace": [{"string": 4, "gauge": "0.5 mm", "kind": "plain steel"}]})
    assert plain.strings[3].winding is None
    thick = strung({"set": "nylon hard", "replace": [{"string": 4, "gauge": "0.8 mm", "mass": 2.2}]}).strings[3]
    assert (thick.kind, thick.mass, thick.string_constant) == ("wound nylon", 2.2, None)


def test_a_set_is_the_same_as_its_strings_written_out():
    one = strung({"set": "electric 10-46"})
    gauges = [10, 13, 17, 26, 36, 46]
    out = [
        {"pitch": pitch, "gauge": f"0.{gauge:03} in", "kind": "wound steel" if gauge > 20 else "plain steel",
         **({"winding": "nickel-plated steel"} if gauge > 20 else {})}
        for pitch, gauge in zip(["E4", "B3", "G3", "D3", "A2", "E2"], gauges, strict=True)
    ]  # fmt: skip
    other = strung(out)
    assert one.strings == other.strings
    saddles = [lay_out(plan).strung.offsets.saddle for plan in (one, other)]
    assert (saddles[0] == saddles[1]).all()
    assert [body.core_estimated for body in lay_out(one).strung.bodies] == [False] * 3 + [True] * 3


def test_what_the_set_said_is_told_as_assumed():
    replace = [{"string": 3, "gauge": "0.018 in", "kind": "wound steel", "winding": "nickel"}]
    told = lay_out(strung({"set": "electric 10-46", "replace": replace}, units="in", scale={"length": 25},
                          board={"nut_width": 1.7})).assumed  # fmt: skip
    assert told["strings.tuning"].text == "E2 A2 D3 G3 B3 E4"
    assert told["strings[1]"].text == "0.0100 in, plain steel"
    assert told["strings[4]"].value == {
        "gauge": pytest.approx(0.6604), "kind": "wound steel", "winding": "nickel-plated steel",
    }  # fmt: skip
    assert "strings[3]" not in told  # all of it is stated
    json.dumps({key: each.value for key, each in told.items()})
    tuned = lay_out(strung({"set": "mandolin 10-34", "tuning": "G3 G3 D4 D4 A4 A4 E5 E5"}, scale={"length": 350}))
    assert "strings.tuning" not in tuned.assumed
    assert tuned.assumed["strings[8]"].text == "0.864 mm, wound steel, phosphor bronze, course 4"
    assert not [key for key in lay_out(strung(6)).assumed if key.startswith("strings")]


def test_a_copy_says_no_more_than_the_plan():
    replace = [{"string": 3, "gauge": "0.018 in", "kind": "wound steel"}]
    plan = strung({"set": "electric 10-46", "replace": replace})
    wider = plan.model_copy(update={"board": {"nut_width": 44}})
    assert wider.contents()["strings"] == plan.contents()["strings"]
    assert wider.contents()["strings"] == {
        "set": "electric 10-46", "replace": [{"string": 3, "gauge": "0.4572 mm", "kind": "wound steel"}],
    }  # fmt: skip
    again = pickle.loads(pickle.dumps(plan))  # noqa: S301 - written in the same line
    assert copy.deepcopy(plan).contents() == again.contents() == plan.contents()
    assert plan.model_copy(update={"strings": {"set": "electric 9-42"}}).strings[0].gauge == pytest.approx(0.2286)
    assert plan.model_copy(update={"strings": 6}).string_set is None
    assert (
        strung({"set": "electric 9-42"}).string_set.model_copy(update={"set": "bass 40-95"}).strings()[0].pitch
        == "G2"
    )


TEXT = b"""title = "One line"            # mine
strings = { set = "electric 10-46", tuning = "E2 A2 D3 G3 B3 E4" } # from the drawer
tunings = ["D2 A2 D3 G3 A3 D4"]
[scale]
length = 628                  # measured
[board]
nut_width = 42
"""


def test_a_plan_keeps_its_line_when_it_is_calibrated():
    written = recalibrated(TEXT, 1.1, 0.9, 0.05)
    assert written.startswith(TEXT.rstrip())
    assert parse_plan(written).string_set == parse_plan(TEXT).string_set
    assert len(lay_out(parse_plan(TEXT)).plan.tunings[0]) == 6


def test_what_is_put_in_keeps_the_blank_before_the_brace():
    text = b'title = "t"\nstrings = [\n  { pitch = "E4", gauge = 0.3 }, # a\n  {pitch = "E2"},\n]\n[scale]\nlength = 628\n'
    written = stiffened(text + b"[board]\nnut_width = 42\n", {1: 1.367e-5, 2: 2e-5}).decode()
    assert '  { pitch = "E4", gauge = 0.3, inharmonicity = 1.367e-05 }, # a\n' in written
    assert "inharmonicity = 2e-05}," in written
    assert stiffened(TEXT, {1: 1e-5}).decode().count("}] } # from the drawer") == 1
    again = tomllib.loads(stiffened(stiffened(TEXT, {1: 1e-5}), {1: 2e-5, 2: 3e-5}).decode())
    assert again["strings"]["replace"] == [
        {"string": 1, "inharmonicity": 2e-5},
        {"string": 2, "inharmonicity": 3e-5},
    ]


def test_a_table_of_its_own_is_the_same_as_one_line():
    apart = TEXT.replace(
        b'strings = { set = "electric 10-46", tuning = "E2 A2 D3 G3 B3 E4" } # from the drawer\n', b""
    )
    apart += b'[strings]\nset = "electric 10-46"\ntuning = "E2 A2 D3 G3 B3 E4"\n[[strings.replace]]\nstring = 1\ngauge = "0.009 in"\n'
    assert parse_plan(apart).strings[0].gauge == pytest.approx(0.2286)
    assert parse_plan(apart).strings[1:] == parse_plan(TEXT).strings[1:]


@pytest.mark.parametrize(
    ("of", "says"),
    [
        ('"electric 10-46"', r'strings: given "electric 10-46"; .*; write \{ set = "electric 10-46" \}'),
        ('{ set = "electric 10-47" }', r'strings\.set: given "electric 10-47"; .* nearest: electric 10-46, '),
        ('{ set = "accoustic" }', r"strings\.set: .* nearest: acoustic"),
        ('{ set = "zither" }', r"strings\.set: .* families: electric, acoustic, "),
        ('{ set = "" }', r"strings\.set: .* families"),
        ("{ set = 10 }", r"strings\.set: given 10; "),
        ('{ set = ["electric 10-46"] }', r"strings\.set: given \['electric 10-46'\]"),
        ('{ tuning = "E2" }', r"strings\.set: missing; write set = "),
        ("{}", r"strings\.set: missing"),
        ('{ set = "bass 45-105", tuning = "E1 A1 D2" }', r'strings\.tuning: 3 pitches for the 4 .* as "E1 A1 D2 G2"'),
        ('{ set = "bass 45-105", tuning = "B0 E1 A1 D2 G2" }', r"strings\.tuning: 5 pitches for the 4 strings"),
        ('{ set = "bass 45-105", tuning = "E1 A1 D2 H2" }', r'strings\.tuning: given "H2"; a pitch is written'),
        ('{ set = "bass 45-105", tuning = "" }', r'strings\.tuning: given ""; allowed a text'),
        ('{ set = "bass 45-105", tuning = 4 }', r"strings\.tuning: given 4; allowed a text"),
        ('{ set = "bass 45-105", tunning = "E1" }', r"strings\.tunning: unknown key; did you mean tuning\?"),
        ('{ set = "bass 45-105", replace = { string = 1 } }', r"strings\.replace: .* a list of tables"),
        ('{ set = "bass 45-105", replace = [1] }', r"strings\.replace\[1\]: given 1; a table belongs here"),
        ('{ set = "bass 45-105", replace = [{ gauge = 1 }] }', r"strings\.replace\[1\]\.string: missing"),
        ('{ set = "bass 45-105", replace = [{ string = 0, gauge = 1 }] }', r"strings\.replace\[1\]\.string: given 0"),
        ('{ set = "bass 45-105", replace = [{ string = 5, gauge = 1 }] }', r"strings\.replace\[1\]\.string: string 5 of 4"),
        ('{ set = "bass 45-105", replace = [{ string = 9999999999, gauge = 1 }] }', r"\.string: given 9999999999; "),
        ('{ set = "bass 45-105", replace = [{ string = 2, gauge = 45 }] }', r"replace\[1\]\.gauge: given 45 mm; .* \.045 in"),
        ('{ set = "bass 45-105", replace = [{ string = 2, gauge = 1 }, { string = 2, gauge = 2 }] }',
         r"strings\.replace\[2\]\.string: string 2 is replaced already; keep one"),
        ('{ set = "bass 45-105", replace = [{ string = 2, core = "2 mm" }] }', r"replace\[1\]\.core: as thick as the whole"),
        ('{ set = "bass 45-105", replace = [{ string = 2, kind = "plain steel", core = 1 }] }', r"replace\[1\]\.core: given for"),
        ('{ set = "bass 45-105", replace = [{ string = 2, pitch = "A1" }] }', r"replace\[1\]\.pitch: unknown key"),
        ('{ set = "bass 45-105", replace = [{ string = 2, bending = 1, inharmonicity = 1e-4 }] }', r"stated besides bending"),
    ],
)  # fmt: skip
def test_what_is_refused(of, says):
    text = f'title = "x"\nstrings = {of}\n[scale]\nlength = 864\n[board]\nnut_width = 42\n'
    with pytest.raises(PlanError, match=says) as refused:
        Plan.model_validate(tomllib.loads(text))
    assert len(refused.value.faults) == 1


def test_several_faults_of_a_set_are_named_at_once():
    with pytest.raises(PlanError) as refused:
        strung(
            {
                "set": "bass 45-105",
                "tuning": "E1 A1",
                "replace": [{"string": 7, "gauge": 1}, {"string": 1, "gage": 2}],
            }
        )
    assert {fault.where for fault in refused.value.faults} == {
        "strings.replace[2].gage", "strings.tuning", "strings.replace[1].string",
    }  # fmt: skip


def test_what_a_set_cannot_bear_is_said_of_the_set():
    with pytest.raises(PlanError, match=r"strings\.set: string 1: at this pitch and scale it bears"):
        lay_out(strung({"set": "electric 10-46"}, scale={"length": 1200}))
    thin = {"set": "electric 10-46", "tuning": "E2 A2 D3 G3 B3 C5", "replace": [{"string": 1, "gauge": "0.2 mm"}]}
    with pytest.raises(PlanError, match=r"strings\.replace\[1\]\.gauge: at this pitch"):
        lay_out(strung(thin))
    lacking = lay_out(strung({"set": "nylon hard", "replace": [{"string": 5, "gauge": "0.9 mm"}]}))
    assert lacking.strung is None
    assert lacking.unstated[0].where == "strings.replace[1].mass"
