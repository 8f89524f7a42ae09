"""Letters as outlines: read back by foreign readers, and held against the text they stand for."""

import io
from itertools import cycle

import ezdxf
import numpy as np
import pytest
import resvg_py
import shapely
from helpers import FANNED, FULL, contents, starter
from PIL import Image, ImageDraw, ImageFont
from readers import gdal, svg_groups
from svgelements import Path as Way

from slotwright.layout.drawing.catalogue import draw_sheet
from slotwright.layout.drawing.sheet import Layer, Sheet, Text
from slotwright.layout.export.dxf import dxf
from slotwright.layout.export.letters import CAPITALS, face, outlines
from slotwright.layout.export.svg import svg
from slotwright.layout.instrument.instrument import lay_out
from slotwright.layout.names import VERSIONS
from slotwright.layout.plan.plan import Plan

MADE = {
    "electric-six": lambda: starter("electric-six"),
    "left fan": lambda: Plan.model_validate({**FANNED, "board": {**FANNED["board"], "left_handed": True}}),
    "a long title": lambda: Plan.model_validate(contents(title="Ørsted & Łoś 8B%@® " * 6)),
}


def words(*said, **how):
    texts = tuple(Text(Layer.TEXT, (10, 20 + 12 * i), text, 5.0, **how) for i, text in enumerate(said))
    return Sheet("words", "Words", texts, (0, 0, 200, 30 + 12 * len(said)))


def field(rings):
    """Give what lies inside an odd number of rings."""
    inside = shapely.Polygon()
    for ring in rings:
        inside = inside.symmetric_difference(shapely.Polygon(ring))
    return inside


@pytest.mark.parametrize("letter", "B8Øi%@®ŁäЖψg4" if FULL else "8®Ø")
def test_a_letter_is_the_picture_of_its_outline(letter):
    """Against the letter as another program draws it, 400 px high: inside is black, counters are white."""
    size = 400
    font = ImageFont.truetype(io.BytesIO(face()), size)
    picture = Image.new("L", (600, 600), 0)
    ImageDraw.Draw(picture).text((50, 450), letter, 255, font, anchor="ls")
    drawn = np.asarray(picture) > 127
    rings = outlines(Text(Layer.TEXT, (50, 150), letter, size * CAPITALS))
    x, y = np.meshgrid(np.arange(600) + 0.5, 599.5 - np.arange(600))
    inside = shapely.contains_xy(field(rings), x, y)
    assert drawn.sum() > 1000
    off = shapely.points(x, y)[drawn != inside]
    assert len(off) < 0.05 * drawn.sum()
    assert (shapely.distance(off, field(rings).boundary) < 1.2).all()  # pixels that the edge runs through alone


def test_rings_are_closed_and_do_not_cross():
    for ring in outlines(Text(Layer.TEXT, (0, 0), "Ø8B®ŁQ%@&ÇŚåĐ", 3.0, turn=30)):
        assert ring[0] != ring[-1]
        assert shapely.LinearRing(ring).is_simple
        assert len(set(ring)) == len(ring)


@pytest.mark.parametrize("height", [1.6, 2.5, 10.0])
def test_sides_keep_to_the_curve(height):
    """An O has no straight side: against the same letter a hundred times the size, which is as much finer."""
    coarse = shapely.MultiLineString([[*r, r[0]] for r in outlines(Text(Layer.TEXT, (0, 0), "O", height))])
    fine = [100 * [*r, r[0]] for r in outlines(Text(Layer.TEXT, (0, 0), "O", 100 * height))]
    fine = shapely.MultiLineString([np.array(ring[: len(ring) // 100]) / 100 for ring in fine])
    far = shapely.hausdorff_distance(coarse, fine, densify=0.01)
    assert 0.0005 < far < 0.0102


@pytest.mark.parametrize(
    ("across", "up", "turn"), [("left", "bottom", 0), ("center", "middle", 90), ("right", "top", -35)]
)
def test_outlines_stand_where_the_text_does(across, up, turn):
    text = Text(Layer.TEXT, (30, 40), "HEIGHT", 5.0, across, up, turn)
    rings = shapely.MultiPoint([p for ring in outlines(text) for p in ring])
    assert shapely.Polygon(text.corners()).buffer(0.1).covers(rings)
    # Turned back about its point, its capitals are as high as stated.
    back = shapely.affinity.rotate(rings, -turn, origin=(30, 40))
    assert back.bounds[3] - back.bounds[1] == pytest.approx(5.0, abs=0.25)  # G is round: it rises above the others


@pytest.mark.parametrize(("name", "version"), list(zip(MADE, cycle(VERSIONS))) if FULL else [("words", "R12")])
def test_no_text_is_left_in_a_dxf(tmp_path, name, version):
    sheet = words("Ørsted & Łoś", "8B%@®") if name == "words" else draw_sheet(lay_out(MADE[name]()), "slots")
    path = tmp_path / "sheet.dxf"
    path.write_bytes(dxf(sheet, lettering="outline", version=version))
    document = ezdxf.readfile(path)
    assert not document.audit().errors
    space = document.modelspace()
    assert not space.query("TEXT MTEXT")
    lines = space.query("LWPOLYLINE POLYLINE")
    assert all(line.is_closed for line in lines)
    shapes, layers = gdal(path)
    texts = [e for e in sheet.entities if isinstance(e, Text)]
    for layer in {text.layer for text in texts}:
        due = [ring for text in texts if text.layer == layer for ring in outlines(text)]
        rings = [shape for shape, there in zip(shapes, layers, strict=True) if there == layer and shape.length]
        found = [shapely.get_coordinates(ring) for ring in rings]
        found = [ring for ring in found if len(ring) > 2 and np.allclose(ring[0], ring[-1])]
        assert len(found) >= len(due) > 0
        boxes = np.array([(*ring.min(axis=0), *ring.max(axis=0)) for ring in found])
        wanted = np.array([(*np.min(ring, axis=0), *np.max(ring, axis=0)) for ring in due])
        assert all(np.abs(boxes - box).max(axis=1).min() < 2e-6 for box in wanted)


def test_no_text_is_left_in_an_svg():
    sheet = draw_sheet(lay_out(MADE["a long title"]()), "slots") if FULL else words("Ørsted & Łoś", "8B%@®")
    written = svg(sheet, lettering="outline")
    assert b"<text" not in written
    _, groups = svg_groups(written)
    corner = np.array([sheet.box[0], sheet.box[3]])
    for layer in (Layer.TEXT, Layer.DIM, Layer.FRAME):
        texts = [e for e in sheet.entities if isinstance(e, Text) and e.layer == layer]
        ways = [abs(Way(e)) for e in groups[layer] if str(e.values.get("fill-rule")) == "evenodd"]
        assert len(ways) == len(texts)
        for text, way in zip(texts, ways, strict=True):
            left, top, right, bottom = way.bbox()
            points = np.array([p for ring in outlines(text) for p in ring])
            low, high = points.min(axis=0), points.max(axis=0)
            assert np.array([[left, bottom], [right, top]]) * [1, -1] + corner == pytest.approx(
                np.array([low, high]), abs=2e-3
            )


def picture(written):
    seen = resvg_py.svg_to_bytes(svg_string=written, dpi=254)
    return np.asarray(Image.open(io.BytesIO(bytes(seen))).convert("L")) < 128


def test_the_picture_is_that_of_the_text(tmp_path):
    """SVG text in the same face, drawn by a foreign program, against its outlines: they differ at edges alone."""
    (tmp_path / "letters.ttf").write_bytes(face())
    sheet = words("Heron six, 628.00 mm", "fret 12: 314.00", "Check both scale bars: B8@%&")
    family = ImageFont.truetype(io.BytesIO(face()), 10).getname()[0]
    # SVG counts on capitals of 0.72 of the size, common to sans-serif faces; this face has 0.73.
    text = svg(sheet).decode().replace("sans-serif", family).replace(f"{5 / 0.72:.4f}", f"{5 / CAPITALS:.4f}")
    options = {"dpi": 254, "font_files": [str(tmp_path / "letters.ttf")], "skip_system_fonts": True}
    drawn = resvg_py.svg_to_bytes(svg_string=text, **options)
    drawn = np.asarray(Image.open(io.BytesIO(bytes(drawn))).convert("L")) < 128
    outlined = picture(svg(sheet, lettering="outline").decode())
    assert drawn.sum() > 5000
    assert (drawn != outlined).sum() < 0.06 * drawn.sum()


def test_what_the_face_lacks_is_a_question_mark():
    lost, asked = (outlines(Text(Layer.TEXT, (0, 0), text, 3.0)) for text in ("字", "?"))
    assert lost == asked
    assert outlines(Text(Layer.TEXT, (0, 0), " ", 3.0)) == []


def test_same_sheet_same_bytes():
    sheet = words("Heron", "12: 314.00")
    for write in (dxf, svg):
        assert write(sheet, lettering="outline") == write(sheet, lettering="outline")
        assert write(sheet, lettering="outline") != write(sheet)
