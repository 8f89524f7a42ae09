"""Parts in the round, read back by a library that did not write them: lib3mf, of the 3MF Consortium."""

import lib3mf
import numpy as np
import pytest
import shapely
from helpers import contents, starter

from slotwright.cli import main
from slotwright.layout.cautions import PRINTS
from slotwright.layout.drawing.catalogue import draw_sheet
from slotwright.layout.drawing.sheet import Arc, Contour, Layer
from slotwright.layout.errors import SheetError
from slotwright.layout.export.solid import solid
from slotwright.layout.export.write import write
from slotwright.layout.instrument.instrument import lay_out
from slotwright.layout.plan.plan import Plan
from slotwright.templates import starters

GLUED = {"kind": "saddle slot", "slot_width": 3, "slot_length": 74, "outline": [150, 34], "front": 11}
TEMPLATES = [
    {"for": "outline", "bush": 17, "cutter": 6},
    {"for": "saddle slot", "bush": 17, "cutter": 3, "thickness": 10},
    {"for": "nut groove", "bush": 10, "cutter": 3, "thickness": 6},
]
RADIUS = {"nut_width": 43, "string_spread_nut": 35, "string_spread_saddle": 52, "radius": [184, 300]}
STRINGS = [{"pitch": p, "gauge": 0.3, "kind": "plain steel"} for p in ("E4", "B3", "G3")]
GROOVE = {"slot": 4}
BEHIND = {"nut_width": 43, "string_spread_nut": 35, "string_spread_saddle": 52, "behind_nut": 12}
PLANS = {
    "templates": lambda: Plan.model_validate(
        contents(template=TEMPLATES, bridge=GLUED, nut=GROOVE, strings=STRINGS, board=BEHIND)
    ),
    "left": lambda: Plan.model_validate(
        contents(template=TEMPLATES[:1], jig={}, board={"left_handed": True, "nut_width": 43, "radius": 240})
    ),
    "gauges": lambda: Plan.model_validate(contents(board=RADIUS)),
    "electric-six": lambda: starter("electric-six"),
    "steel-six": lambda: starter("steel-six"),
}
FLAT = """title = "flat"
strings = 3
scale = { length = 400 }
frets = { count = 12 }
board = { nut_width = 30, edge_margin = 4, radius = 0 }
"""
SHEETS = [
    ("templates", "template"), ("left", "template"), ("left", "index"), ("gauges", "radius"),
    ("electric-six", "index"), ("electric-six", "radius"), ("steel-six", "radius"),
]  # fmt: skip


def bodies(made):
    """Read the bodies of a 3MF: corners, triangles, and whether the library takes them for closed and turned right."""
    model = lib3mf.get_wrapper().CreateModel()
    reader = model.QueryReader("3mf")
    reader.SetStrictModeActive(True)
    reader.ReadFromBuffer(made)
    assert model.GetUnit() == lib3mf.Lib3MF.ModelUnit.MilliMeter
    placed = model.GetBuildItems()
    while placed.MoveNext():
        assert placed.GetCurrent().HasObjectTransform() is False or np.allclose(
            np.array(placed.GetCurrent().GetObjectTransform().Fields)[:4], np.eye(4, 3)
        )
    meshes, found = model.GetMeshObjects(), []
    while meshes.MoveNext():
        mesh = meshes.GetCurrentMeshObject()
        corners = np.array([list(each.Coordinates) for each in mesh.GetVertices()], float)
        triangles = np.array([list(each.Indices) for each in mesh.GetTriangleIndices()])
        assert mesh.IsManifoldAndOriented()
        found.append((corners, triangles))
    return found


def volume(corners, triangles):
    """By the divergence theorem: positive where the triangles are seen anticlockwise from outside."""
    a, b, c = corners[triangles].transpose(1, 0, 2)
    return float(np.einsum("ij,ij->i", a, np.cross(b, c)).sum() / 6)


def area(contour):
    """Area within a contour of sides and true arcs: the polygon, and the segments beyond its chords."""
    total = shapely.Polygon(contour.corners).area
    ccw = shapely.LinearRing(contour.corners).is_ccw
    for start, end, bulge in contour.sides():
        if bulge:
            turn = 4 * np.arctan(abs(bulge))
            segment = Arc.between(start, end, bulge).radius ** 2 / 2 * (turn - np.sin(turn))
            total += segment if (bulge > 0) == ccw else -segment
    return total


@pytest.mark.parametrize(("name", "sheet"), SHEETS)
def test_bodies_are_closed_and_as_large_as_drawn(name, sheet):
    drawn = draw_sheet(lay_out(PLANS[name]()), sheet)
    found = bodies(solid(drawn))
    cut = [each for each in drawn.entities if isinstance(each, Contour) and each.layer == Layer.CUT_OUTLINE]
    outer = [
        each
        for each in cut
        if not any(shapely.Polygon(o.points()).contains(shapely.Polygon(each.points())) for o in cut if o is not each)
    ]
    assert len(found) == len(outer)
    inside = sum(map(area, cut)) - 2 * sum(area(each) for each in cut if each not in outer)
    if len({each.thickness for each in outer}) == 1:
        thick = outer[0].thickness or 3.0
        assert sum(volume(*body) for body in found) == pytest.approx(inside * thick, rel=1e-3)
    for corners, triangles in found:
        assert volume(corners, triangles) > 0
        assert corners[:, 2].min() == 0


def test_every_template_is_as_thick_as_stated():
    drawn = draw_sheet(lay_out(PLANS["templates"]()), "template")
    by_thickness = {
        float(np.ptp(corners[:, 2])): volume(corners, triangles) for corners, triangles in bodies(solid(drawn))
    }
    assert by_thickness.keys() == {12.0, 10.0, 6.0}
    # The saddle slot's: a plate less an opening with round ends, (17 - 3) / 2 beyond a slot of 3 by 74.
    aside = (17 - 3) / 2
    long, wide = 74 + 2 * aside, 3 + 2 * aside
    opening = (long - wide) * wide + np.pi * wide**2 / 4
    plate = next(
        shapely.Polygon(each.corners).area
        for each in drawn.entities
        if isinstance(each, Contour) and each.thickness == 10 and not each.bulges
    )
    assert by_thickness[10.0] == pytest.approx(10 * (plate - opening), rel=1e-3)


def test_a_printer_has_no_kerf(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    text = starters()["electric-six"]
    for name, kerf in (("plain", ""), ("laser", "kerf = 0.3\n")):
        (tmp_path / f"{name}.toml").write_text(kerf + text, "utf-8")
        with pytest.raises(SystemExit) as ended:
            main(["draw", f"{name}.toml", "--sheet", "radius", "--format", "3mf", "--format", "svg"])
        assert not ended.value.code
    assert (tmp_path / "plain-radius.3mf").read_bytes() == (tmp_path / "laser-radius.3mf").read_bytes()
    assert (tmp_path / "plain-radius.svg").read_bytes() != (tmp_path / "laser-radius.svg").read_bytes()


def test_the_same_part_is_the_same_bytes_and_is_dated_nowhere(tmp_path):
    sheet = draw_sheet(lay_out(starter("electric-six")), "index")
    assert solid(sheet) == solid(sheet)
    write(sheet, tmp_path / "index.3mf")
    assert (tmp_path / "index.3mf").read_bytes() == solid(sheet)


def test_what_is_no_part_in_the_round_is_refused(tmp_path, monkeypatch, capsys):
    with pytest.raises(SheetError, match='3mf is for "index", "radius" or "template"'):
        solid(draw_sheet(lay_out(starter("electric-six")), "slots"))
    monkeypatch.chdir(tmp_path)
    (tmp_path / "flat.toml").write_text(FLAT, "utf-8")
    for command, words in ((["--sheet", "slots"], "it has no solid part"), ([], "the plan describes none")):
        with pytest.raises(SystemExit) as ended:
            main(["draw", "flat.toml", *command, "--format", "3mf"])
        assert ended.value.code == 2
        assert words in capsys.readouterr().err
    assert [path.name for path in tmp_path.iterdir()] == ["flat.toml"]


def test_parts_have_no_scale_bars_to_check(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "heron.toml").write_text(starters()["electric-six"], "utf-8")
    for formats, checked in ((["3mf"], False), (["3mf", "svg"], True)):
        with pytest.raises(SystemExit):
            main(["draw", "heron.toml", "--sheet", "index", "--force", *(f"--format={each}" for each in formats)])
        assert (PRINTS in capsys.readouterr().out) == checked
