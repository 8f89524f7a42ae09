"""What a slip costs, as a user meets it."""

import json
import os
import xml.etree.ElementTree as ET

import pytest

from slotwright.cli.compensate import command
from slotwright.layout.instrument.tolerances import CAUSES, DRAWS


def test_table(run, heron):
    code, out, err = run("compensate", heron, "--slip")
    assert (code, err) == (0, "")
    assert run("compensate", heron, "--slip")[1] == out
    lines = out.splitlines()
    first = next(i for i, line in enumerate(lines) if "5 %" in line and "95 %" in line)
    # Aim frets 12 and 17 for strings 1 to 3, 12 for the others.
    assert [line.split()[:2] for line in lines[first + 1 : first + 10]] == [
        ["1", "12"], ["1", "17"], ["2", "12"], ["2", "17"], ["3", "12"], ["3", "17"], ["4", "12"], ["5", "12"], ["6", "12"],
    ]  # fmt: skip
    for name in CAUSES:
        assert name in out
    assert "what matters most: saddle" in out
    assert "standard deviations, in mm: slot 0.050" in out


def test_json(run, heron):
    plain = json.loads(run("compensate", heron, "--json")[1])
    assert "slip" not in plain
    told = json.loads(run("compensate", heron, "--slip", "--json")[1])
    slip = told.pop("slip")
    assert told == plain
    assert slip["instruments"] == DRAWS
    assert slip["sizes"] == {name: cause.usual for name, cause in CAUSES.items()}
    assert sum(slip["shares"].values()) == pytest.approx(1)
    assert 0 < slip["within_tolerance"] < min(each["within_tolerance"] for each in slip["strings"])
    for string, nominal in zip(slip["strings"], plain["strings"], strict=True):
        assert len(string["low"]) == len(string["median"]) == len(string["high"]) == 22
        assert all(a < b < c for a, b, c in zip(string["low"], string["median"], string["high"], strict=True))
        assert string["mean_square"]["as_drawn"] == pytest.approx(nominal["rms_cents"] ** 2)
        assert string["rms_cents"] ** 2 == pytest.approx(sum(string["mean_square"].values()), rel=0.05)
        added = {name: each for name, each in string["mean_square"].items() if name != "as_drawn"}
        assert string["shares"] == pytest.approx({n: each / sum(added.values()) for n, each in added.items()})


def test_sizes_as_shops_write_them(run, heron):
    given = ("--slip-of", "action=0.2", "--slip-of", "gauge=0.0002 in", "--slip-of", "saddle=0")
    slip = json.loads(run("compensate", heron, "--slip", "--json", *given)[1])["slip"]
    assert slip["sizes"]["action"] == 0.2
    assert slip["sizes"]["gauge"] == pytest.approx(0.00508)
    assert slip["sizes"]["slot"] == CAUSES["slot"].usual
    assert slip["shares"]["saddle"] == 0
    run("new", "steel-six", "--from", "steel-six")
    inches = json.loads(run("compensate", "steel-six.toml", "--slip", "--json", "--slip-of", "action=0.01")[1])[
        "slip"
    ]
    assert inches["sizes"]["action"] == pytest.approx(0.254)
    assert "standard deviations, in inches: slot 0.0020" in run("compensate", "steel-six.toml", "--slip")[1]


def test_nothing_slips(run, heron):
    out = run("compensate", heron, "--slip", *(a for name in CAUSES for a in ("--slip-of", f"{name}=0")))[1]
    assert "what matters most" not in out
    assert "100.0 %" in out
    assert "-0.00" not in out


@pytest.mark.parametrize(
    ("args", "says"),
    [
        (("--slip", "--slip-of", "hand=1"), "allowed NAME=LENGTH, NAME one of slot, nut,"),
        (("--slip", "--slip-of", "action"), 'given ""; a length is written'),
        (("--slip", "--slip-of", "action=much"), 'given "much"; a length is written'),
        (("--slip", "--slip-of", "action=-0.1"), 'given "-0.1"; allowed 0 to 1 mm'),
        (("--slip", "--slip-of", "saddle=5"), 'given "5"; allowed 0 to 3 mm'),
        (("--slip", "--slip-of", "slot=0.1", "--slip-of", "slot=0.2"), "slot is given twice"),
        (("--slip-of", "slot=0.1"), "--slip-of belongs to --slip"),
        (("--slip", "--explain", "1"), "--explain excludes --slip"),
    ],
)
def test_refused(run, heron, args, says):
    code, out, err = run("compensate", heron, *args, "--plot", "p.svg")
    assert (code, out) == (2, "")
    assert says in err
    assert os.listdir() == ["heron.toml"]


def test_help_names_every_cause():
    (option,) = [each for each in command.params if each.name == "sizes"]
    told = option.help.replace(" or ", ", ").split(": ")[1].split(";")[0].split(", ")
    assert told == list(CAUSES)


def test_chart(run, heron, tmp_path):
    code, out, _ = run("compensate", heron, "--slip", "--plot", "slip.svg")
    assert code == 0
    assert "slip.svg  chart" in out
    told = json.loads(run("compensate", heron, "--slip", "--json")[1])["slip"]
    space = "{http://www.w3.org/2000/svg}"
    root = ET.fromstring((tmp_path / "slip.svg").read_bytes())  # noqa: S314 - our own file
    bands, lines = list(root.iter(f"{space}polygon")), list(root.iter(f"{space}polyline"))
    assert (len(bands), len(lines)) == (6, 6)

    def points(element):
        return [tuple(map(float, point.split(","))) for point in element.get("points").split()]

    for band, line, string in zip(bands, lines, told["strings"], strict=True):
        upper, lower = points(band)[:22], points(band)[22:][::-1]
        assert [x for x, _ in upper] == [x for x, _ in lower] == [x for x, _ in points(line)]
        # All three on one scale of the sheet: mm for a cent the same everywhere.
        heights = [y for each in (upper, points(line), lower) for _, y in each]
        cents = [*string["high"], *string["median"], *string["low"]]
        per_cent = (heights[0] - heights[-1]) / (cents[0] - cents[-1])
        assert per_cent < 0
        assert heights == pytest.approx([heights[0] + per_cent * (c - cents[0]) for c in cents], abs=0.01)
    # Readable without colour: every ink is a grey.
    inks = {v for e in root.iter() for k, v in e.attrib.items() if k in ("fill", "stroke") and v.startswith("#")}
    assert all(
        max(parts) - min(parts) < 24 for parts in ([int(ink[i : i + 2], 16) for i in (1, 3, 5)] for ink in inks)
    )


def test_slips_of_a_plan_with_tunings(run, heron):
    args = ("compensate", heron, "--slip", "--json", "--tuning", "D2 A2 D3 G3 A3 D4")
    told = json.loads(run(*args)[1])
    assert {"slip", "tunings"} <= set(told)
    # The bands lie about the compromise, at the strings' own pitches.
    assert told["slip"]["strings"][5]["median"] == pytest.approx(told["strings"][5]["cents"], abs=0.1)
