"""A neck too low or too high for its bridge: the mends, by similar triangles."""

import re

import numpy as np
import pytest

from slotwright.layout import lay_out
from slotwright.layout.errors import PlanError
from slotwright.layout.export.report.side import side_view
from slotwright.layout.plan.plan import Plan

STRINGS = [{"pitch": p, "gauge": g, "kind": "plain steel"} for p, g in (("E4", 0.3), ("B3", 0.4), ("G3", 0.5))]


def made(plane, left_handed=False, units="mm", **board):
    """Lay out an instrument whose crowns, carried on, pass so high over the top at the saddle."""
    return lay_out(
        Plan.model_validate(
            {
                "title": "t",
                "units": units,
                "strings": [{**s, "gauge": f"{s['gauge']} mm"} for s in STRINGS],
                "scale": {"length": "645 mm"},
                "board": {"nut_width": "43 mm", "left_handed": left_handed, "joint_fret": 14, **board},
                "setup": {"action": ["2 mm", "2 mm"]},
                "bridge": {
                    "kind": "saddle slot",
                    "slot_width": "3.2 mm",
                    "slot_length": "74 mm",
                    "plane_height": f"{plane} mm",
                    "base_height": "9 mm",
                },
            }
        )
    )


def lengths(words, unit="mm"):
    return [float(found) for found in re.findall(rf"(-?[0-9.]+) {unit}\b", words)]


@pytest.mark.parametrize("left_handed", [False, True])
def test_a_low_neck_is_set_back_by_similar_triangles(left_handed):
    """The line turns about the joint: what is short at the saddle is to the heel's cut as joint to saddle is to it."""
    instrument = made(7.0, left_handed, heel_depth=95)
    (found,) = [each for each in instrument.bridge_findings if each.kind == "neck too low"]
    short = 2.0 - found.numbers["least"]
    assert short > 0
    joint = 645 * (1 - 2 ** (-14 / 12))
    to_saddle = float(np.mean(instrument.neck.scales)) - joint
    told = lengths(found.words.partition("is usual")[2])
    assert told[0] == pytest.approx(short, abs=0.006)  # a bridge that much thinner
    assert told[1] == pytest.approx(short * joint / to_saddle, abs=0.01)  # planed at the nut
    assert told[2] == pytest.approx(short * 95 / to_saddle, abs=0.01)  # off the heel
    degrees = float(re.search(r"([0-9.]+) degrees", found.words)[1])
    assert degrees == pytest.approx(np.degrees(np.arctan(short / to_saddle)), abs=0.006)
    # So much thinner a bridge does it, to the last bit of the stated numbers.
    mended = made(7.0 + short + 1e-9, left_handed, heel_depth=95)
    assert not any(each.kind.startswith("neck too") for each in mended.bridge_findings)


def test_a_high_neck_asks_for_the_contrary():
    (found,) = [each for each in made(13.0, heel_depth=95).bridge_findings if each.kind.startswith("neck too")]
    assert found.kind == "neck too high"
    assert "thicker" in found.words
    assert "planed" not in found.words
    assert "set forward" in found.words


def test_what_is_not_known_is_asked_for():
    assert any("state board.heel_depth" in each.words for each in made(7.0).bridge_findings)
    assert any("state board.joint_fret" in each.words for each in made(7.0, joint_fret=0).bridge_findings)


def test_a_bridge_above_the_strings_says_what_would_help():
    with pytest.raises(PlanError, match=r"above a string; check plane_height too; else a bridge .* thinner; or"):
        made(3.0, heel_depth=95)


def test_in_inches():
    found = next(each for each in made(7.0, units="in", heel_depth="95 mm").bridge_findings if "low" in each.kind)
    short = (2.0 - found.numbers["least"]) / 25.4
    assert lengths(found.words.partition("is usual")[2], "in")[0] == pytest.approx(short, abs=0.0006)


def polygons(picture):
    return [
        np.array([[float(n) for n in pair.split(",")] for pair in points.split()])
        for points in re.findall(r'<polygon points="([^"]*)"', str(picture))
    ]


@pytest.mark.parametrize("left_handed", [False, True])
def test_the_report_draws_it_from_the_side(left_handed):
    """Heights stand four times as large over the top at the saddle, the straight edge along the crowns level."""
    instrument = made(11.0, left_handed, thickness=6)
    side = side_view(instrument)
    board, block, saddle = polygons(side["drawn"])
    (level,) = re.findall(r'y1="(-?[0-9.]+)" x2="[0-9.]+" y2="(-?[0-9.]+)" class="centre"', str(side["drawn"]))
    assert [float(y) for y in level] == [-44.0, -44.0]
    assert board[:, 1].min() == pytest.approx(-4 * (11 - 1))  # wood lies a fret's height below
    assert np.ptp(board[:, 1]) == pytest.approx(4 * 6)
    assert block[:, 1].min() == pytest.approx(-36)
    exposure = instrument.bridge.exposure
    assert np.ptp(saddle[:, 1]) == pytest.approx(4 * exposure.max(), abs=0.01)
    assert float(side["high"].main.split()[0]) == pytest.approx(exposure.max(), abs=0.006)
    bare = instrument.plan.model_copy(update={"bridge": {"kind": "floating", "foot": [100, 10]}})
    assert side_view(lay_out(bare)) is None
