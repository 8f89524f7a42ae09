"""SVG files, re-read by svgelements, and their picture beside that of the DXF."""

import io
import itertools
import xml.etree.ElementTree as ET

import numpy as np
import pytest
import resvg_py
import shapely
from helpers import FANNED, STARTERS, TOP, contents, crossed, golden, some, starter
from PIL import Image, ImageDraw
from readers import gdal, svg_groups
from svgelements import Circle, Path, SimpleLine

from slotwright.layout.drawing.catalogue import described, draw_sheet
from slotwright.layout.drawing.sheet import Layer
from slotwright.layout.export.dxf import dxf
from slotwright.layout.export.svg import svg
from slotwright.layout.instrument.instrument import lay_out
from slotwright.layout.plan.plan import Plan
from slotwright.layout.plan.reader import parse_plan
from slotwright.templates import starters, titled

NEAR = 1e-3  # mm; four decimals are written


@pytest.mark.parametrize(("name", "unit"), crossed(STARTERS, ["mm", "in"]))
def test_every_slot_where_it_belongs(name, unit):
    instrument = lay_out(starter(name))
    sheet = draw_sheet(instrument, "board")
    drawing, groups = svg_groups(svg(sheet, unit=unit))
    assert (drawing.width, drawing.height) == pytest.approx(sheet.size, abs=NEAR)
    corner = np.array([sheet.box[0], sheet.box[3]])
    ends = []
    for line in groups["CUT_SLOTS"]:
        assert isinstance(line, SimpleLine)
        whole = abs(Path(line))
        ends.append([list(whole.first_point), list(whole.current_point)])
    found = np.array(ends) * [1, -1] + corner
    assert np.abs(found - instrument.neck.slots[instrument.first_slot :]).max() < NEAR
    (outline,) = groups["CUT_OUTLINE"]
    assert abs(outline).d().rstrip().lower().endswith("z")
    for circle in groups.get("DRILL", []):
        assert isinstance(circle, Circle)


def test_arc_rises_as_the_engine_says():
    sheet = draw_sheet(lay_out(starter("electric-six")), "radius")
    _, groups = svg_groups(svg(sheet))
    boxes = sorted(abs(p).bbox() for p in groups["CUT_OUTLINE"])
    wanted = sorted(
        (e.box()[0] - sheet.box[0], sheet.box[3] - e.box()[3], e.box()[2] - sheet.box[0], sheet.box[3] - e.box()[1])
        for e in sheet.entities
        if e.layer == Layer.CUT_OUTLINE
    )
    for ours, theirs in zip(boxes, wanted, strict=True):
        assert ours == pytest.approx(theirs, abs=2 * NEAR)


@pytest.mark.parametrize("name", some(STARTERS, 3))
def test_a_group_for_each_layer_and_text_on_three_of_them(name):
    instrument = lay_out(starter(name))
    for sheet in described(instrument):
        root = ET.fromstring(svg(draw_sheet(instrument, sheet)))  # noqa: S314 - our own file
        space = "{http://www.w3.org/2000/svg}"
        groups = {g.get("id"): g for g in root.iter(f"{space}g")}
        assert list(groups) == [str(layer) for layer in Layer]
        for layer, group in groups.items():
            assert group.find(f"{space}text") is None or layer in ("TEXT", "DIM", "FRAME")


def test_same_sheet_same_bytes():
    first, second = (svg(draw_sheet(lay_out(starter("bass-five-multiscale")), "board")) for _ in range(2))
    assert first == second


def test_a_title_is_text():
    title = '<script>alert(1)</script> & "x" \x00\x0b \ufffe'
    text = svg(draw_sheet(lay_out(Plan.model_validate(contents(title=title))), "board"))
    root = ET.fromstring(text)  # noqa: S314 - our own file
    assert not list(root.iter("{http://www.w3.org/2000/svg}script"))
    assert any("<script>" in (e.text or "") for e in root.iter())


def bitmap(ink):
    return np.asarray(ink.convert("L")) < 160


def picture_of_dxf(path, box):
    """Draw what GDAL reads from the cutting layers, 10 px to the mm."""
    shapes, layers = gdal(path)
    left, bottom, right, top = box
    image = Image.new("L", (round(10 * (right - left)), round(10 * (top - bottom))), 255)
    pen = ImageDraw.Draw(image)
    for shape, layer in zip(shapes, layers, strict=True):
        if layer.startswith("CUT"):
            points = (shapely.get_coordinates(shape) - [left, top]) * [10, -10]
            pen.line([tuple(p) for p in points], fill=0, width=2)
    return bitmap(image)


def picture_of_svg(text):
    """Let resvg draw the cutting layers, 10 px to the mm."""
    space = "{http://www.w3.org/2000/svg}"
    root = ET.fromstring(text)  # noqa: S314 - our own file
    for group in list(root.iter(f"{space}g")):
        if not group.get("id").startswith("CUT"):
            root.remove(group)
        group.set("stroke", "#000000")
    root.set("style", "background:#ffffff")
    ET.register_namespace("", space[1:-1])
    png = resvg_py.svg_to_bytes(svg_string=ET.tostring(root, encoding="unicode"), dpi=254, background="white")
    return bitmap(Image.open(io.BytesIO(bytes(png))))


def near(ink, reach=3):
    """Spread ink by a few pixels."""
    spread = ink.copy()
    for axis in (0, 1):
        for step in range(-reach, reach + 1):
            spread |= np.roll(ink, step, axis=axis)
    return spread


def same_picture(one, other):
    return not (one & ~near(near(other))).any() and not (other & ~near(near(one))).any()


@pytest.mark.parametrize(("left_handed", "mirrored"), some(itertools.product([False, True], [False, True])))
def test_dxf_and_svg_show_the_same_picture(tmp_path, left_handed, mirrored):
    made = {**FANNED, "board": {**FANNED["board"], "left_handed": left_handed}}
    sheet = draw_sheet(lay_out(Plan.model_validate(made)), "board", mirrored=mirrored)
    path = tmp_path / "board.dxf"
    path.write_bytes(dxf(sheet))
    from_dxf, from_svg = picture_of_dxf(path, sheet.box), picture_of_svg(svg(sheet))
    height, width = (min(a, b) for a, b in zip(from_dxf.shape, from_svg.shape, strict=True))
    from_dxf, from_svg = from_dxf[:height, :width], from_svg[:height, :width]
    assert from_dxf.sum() > 10_000
    assert same_picture(from_dxf, from_svg)
    # The comparison can fail: neither upside down nor back to front is it the same.
    assert not same_picture(from_dxf, from_svg[::-1])
    assert not same_picture(from_dxf, from_svg[:, ::-1])


def test_the_treble_side_is_up():
    # A longer bass scale leans the nut line: its treble end lies nearer to the bridge, higher on the sheet.
    sheet = draw_sheet(lay_out(Plan.model_validate(FANNED)), "board")
    _, groups = svg_groups(svg(sheet))
    first = abs(Path(groups["CUT_SLOTS"][0]))
    bass, treble = first.first_point, first.current_point
    assert treble.y < bass.y
    assert treble.x > bass.x


def test_the_picture_in_the_readme_is_what_the_tool_draws():
    assert golden(
        TOP / "templates" / "heron-board.svg",
        svg(draw_sheet(lay_out(parse_plan(titled(starters()["electric-six"], "heron").encode())), "board")),
    )
