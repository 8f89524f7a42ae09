"""Templates: a bush is rolled along their edges, and what its cutter leaves is held against the part."""

import math

import numpy as np
import pytest
from helpers import FANNED, contents, starter

from slotwright.layout.drawing.catalogue import SHEETS, draw_sheet
from slotwright.layout.drawing.sheet import Contour, Layer, Text
from slotwright.layout.drawing.template import findings
from slotwright.layout.errors import PlanError
from slotwright.layout.instrument.instrument import lay_out
from slotwright.layout.plan.plan import Plan

OUTLINE = {"for": "outline", "bush": 17.0, "cutter": 8.0, "thickness": 12.0}
SLOT = {"for": "saddle slot", "bush": 10.0, "cutter": 3.0}
GROOVE = {"for": "nut groove", "bush": 10.0, "cutter": 4.0}


def templated(name, *templates, left_handed=False, **more):
    given = starter(name) if isinstance(name, str) else Plan.model_validate(name)
    board = given.board.model_copy(update={"left_handed": left_handed})
    return lay_out(given.model_copy(update={"board": board, "template": list(templates), **more}))


def along(corners, step):
    """Sample a closed contour: points and the direction it runs in."""
    points, ways = [], []
    for one, other in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        length = math.dist(one, other)
        if length < 1e-9:
            continue
        share = np.linspace(0, 1, max(2, math.ceil(length / step)), endpoint=False)[:, None]
        points.append(one + share * (other - one))
        ways.append(np.repeat([(other - one) / length], len(share), axis=0))
    return np.concatenate(points), np.concatenate(ways)


def far_from(points, corners):
    """Distance of points from the nearest side of a closed contour."""
    nearest = np.full(len(points), np.inf)
    for one, other in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        side = other - one
        share = np.clip((points - one) @ side / (side @ side), 0, 1)
        nearest = np.minimum(nearest, np.hypot(*(points - one - share[:, None] * side).T))
    return nearest


def rolled(edge, bush, inside, chords=1e-6):
    """Give every place of the bush's middle while it touches the edge and nowhere reaches over it, but for chords."""
    area = np.sum(edge[:, 0] * np.roll(edge[:, 1], -1) - edge[:, 1] * np.roll(edge[:, 0], -1))
    points, ways = along(edge, 0.05)
    out = np.stack((ways[:, 1], -ways[:, 0]), axis=1) * math.copysign(1, area) * (-1 if inside else 1)
    middles = [points + bush / 2 * out]
    if not inside:  # round the corners
        turn = np.linspace(0, 2 * np.pi, 2000)
        ring = bush / 2 * np.stack((np.cos(turn), np.sin(turn)), axis=1)
        middles += [corner + ring for corner in edge]
    middles = np.concatenate(middles)
    free = far_from(middles, edge) > bush / 2 - chords
    return middles[free]


def left_over(part, middles, cutter, clear):
    """Give what stands between the cutter's edge and the part all along it, but for its corners."""
    points, _ = along(part, 1.0)
    at_corner = np.min(np.hypot(*(points[:, None] - part[None]).transpose(2, 0, 1)), axis=1) < clear
    rest = points[~at_corner]
    nearest = np.array([np.hypot(*(middles - point).T).min() for point in rest])
    return nearest - cutter / 2


def cut_contours(instrument):
    drawn = draw_sheet(instrument, "template").drawing
    return [np.array(e.points()) for e in drawn if isinstance(e, Contour) and e.layer == Layer.CUT_OUTLINE]


@pytest.mark.parametrize("left_handed", [False, True])
@pytest.mark.parametrize("name", ["electric-six", FANNED], ids=["one scale", "fan"])
def test_around_the_outline(name, left_handed):
    instrument = templated(name, OUTLINE, left_handed=left_handed)
    (edge,) = cut_contours(instrument)
    middles = rolled(edge, 17.0, inside=False)
    part = instrument.neck.core
    # An acute corner of 66 degrees is rounded 4.5 / tan(33 degrees) = 6.9 mm along its sides.
    assert np.abs(left_over(part, middles, 8.0, clear=7.0)).max() < 0.02
    # At its sharp corners the cutter takes what a radius of half of 17 less 8 leaves, and the sheet says so.
    taken = [8.0 / 2 - np.hypot(*(middles - corner).T).min() for corner in part]
    assert min(taken) > -4.5
    words = " ".join(e.text for e in draw_sheet(instrument, "template").entities if isinstance(e, Text))
    assert "rounded to a radius of 4.50" in words


@pytest.mark.parametrize("left_handed", [False, True])
@pytest.mark.parametrize("cutter", [3.0, 2.0])
def test_in_the_saddle_slot(cutter, left_handed):
    instrument = templated("nylon-six", {**SLOT, "cutter": cutter}, left_handed=left_handed)
    edge = min(cut_contours(instrument), key=lambda contour: np.ptp(contour[:, 1]))
    middles = rolled(edge, 10.0, inside=True, chords=0.012)  # round ends, which a bush of their width just passes
    pocket = next(
        np.array(e.points())
        for e in draw_sheet(instrument, "bridge").drawing
        if isinstance(e, Contour) and e.layer == Layer.POCKET
    )
    points, _ = along(pocket, 1.0)
    nearest = np.array([np.hypot(*(middles - point).T).min() for point in points])
    assert np.abs(nearest - cutter / 2).max() < 0.02


@pytest.mark.parametrize("left_handed", [False, True])
@pytest.mark.parametrize("fan", [False, True])
def test_in_the_nut_groove(fan, left_handed):
    nut = {"slot": 5.0, "ledge": 4.0}
    board = {"behind_nut": 12.0}
    made = {**FANNED, "board": {**FANNED["board"], **board}, "nut": nut} if fan else contents(board=board, nut=nut)
    instrument = templated(made, GROOVE, left_handed=left_handed)
    edge = min(cut_contours(instrument), key=lambda contour: np.ptp(contour[:, 0]))
    middles = rolled(edge, 10.0, inside=True)
    groove = next(
        np.array(e.corners)
        for e in draw_sheet(instrument, "board").drawing
        if isinstance(e, Contour) and e.layer == Layer.POCKET and len(e.corners) == 4
    )
    # Both long sides, up to the edges of the board and past them: no corner is left round there.
    for one, other in ((groove[0], groove[1]), (groove[2], groove[3])):
        points = one + np.linspace(0, 1, 80)[:, None] * (other - one)
        nearest = np.array([np.hypot(*(middles - point).T).min() for point in points])
        assert np.abs(nearest - 2.0).max() < 0.02


@pytest.mark.parametrize(
    ("name", "template", "says"),
    [
        ("electric-six", SLOT, "the bridge has no saddle slot"),
        ("electric-six", GROOVE, "no groove for the nut"),
        ("nylon-six", {**SLOT, "cutter": 3.5}, "a cutter of 3.50 mm is wider than 3.00 mm (bridge.slot_width), and a bush of 10.00 mm"),
        ("electric-six", {**OUTLINE, "bush": 60.0}, "nothing is left of a board"),
    ],
)  # fmt: skip
def test_what_cannot_be_made_is_refused_with_its_numbers(name, template, says):
    assert says in SHEETS["template"].missing(templated(name, template))


def test_all_that_cannot_be_made_are_named():
    made = lay_out(Plan.model_validate({**starter("electric-six").contents(), "template": [OUTLINE, SLOT, GROOVE]}))
    assert [(f.kind, f.subject) for f in findings(made)] == [
        ("no template", "template[2]"), ("no template", "template[3]"),
    ]  # fmt: skip


def test_a_bush_lets_its_cutter_through():
    with pytest.raises(PlanError, match="no wider than the cutter"):
        templated("electric-six", {**OUTLINE, "bush": 8.0})
    assert "no [[template]]" in SHEETS["template"].missing(lay_out(starter("electric-six")))


def test_a_kerf_widens_the_piece_and_narrows_the_opening():
    plain, wide = (templated("nylon-six", OUTLINE, SLOT, kerf=kerf) for kerf in (0.0, 0.2))
    for one, other in zip(cut_contours(plain), cut_contours(wide), strict=True):
        grown = np.ptp(other[:, 1]) - np.ptp(one[:, 1])
        assert abs(abs(grown) - 0.2) < 0.005  # sides that taper, ends that lean
    assert "0.100 outside the finished part" in " ".join(
        e.text for e in draw_sheet(wide, "template").entities if isinstance(e, Text)
    )
