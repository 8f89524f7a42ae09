"""What surrounds a drawing: line weights as read back from files, the cells of the title block, tables."""

import io
import re

import ezdxf
import numpy as np
import pdfplumber
import pytest
import shapely
from helpers import STARTERS, plan, starter

from slotwright.layout.drawing.catalogue import described, draw_sheet
from slotwright.layout.drawing.sheet import Contour, Layer, Line, Text
from slotwright.layout.export.dxf import dxf
from slotwright.layout.export.pdf import pdf
from slotwright.layout.export.svg import svg
from slotwright.layout.export.tiling import share_out
from slotwright.layout.instrument.instrument import lay_out
from slotwright.layout.names import VERSIONS

# mm: widths of the series of ISO 128, thick to thin by what matters.
WEIGHTS = {
    "CUT_OUTLINE": 0.35,
    "CUT_SLOTS": 0.25,
    "DIM": 0.18,
    "REF_STRINGS": 0.13,
    "REF_CENTRE": 0.13,
    "REF_SADDLE": 0.13,
    "REF_BLANK": 0.13,
    "FRAME": 0.5,
}
CELLS = {
    "sheet", "number", "drawn", "lengths in", "strings", "frets", "hand", "reference", "revision", "date",
    "scale length", "drawn by", "origin",
}  # fmt: skip


def test_weights_in_svg():
    text = svg(draw_sheet(lay_out(starter("electric-six")), "board")).decode()
    found = dict(re.findall(r'<g [^>]*id="([A-Z_]+)"[^>]*stroke-width="([0-9.]+)"', text))
    assert {layer: float(found[layer]) for layer in WEIGHTS} == WEIGHTS


def test_weights_in_pdf():
    sheet = draw_sheet(lay_out(starter("electric-six")), "slots")
    written = pdf(sheet, share_out(sheet, "A2"))
    with pdfplumber.open(io.BytesIO(written)) as document:
        widths = {
            round(line["linewidth"], 2)
            for page in document.pages
            for line in (*page.lines, *page.curves, *page.rects)
        }
    for layer in ("CUT_OUTLINE", "CUT_SLOTS", "DIM", "REF_CENTRE"):
        assert any(abs(width - WEIGHTS[layer] * 72 / 25.4) < 0.011 or width == WEIGHTS[layer] for width in widths)


@pytest.mark.parametrize("bulges", [(), (0.0, 0.3, 0.0, -0.2)])
def test_dashed_corners_meet(bulges):
    """All the way round a dash ends at each corner and another begins there; none is longer than a fifth more."""
    contour = Contour(Layer.REF_BLANK, ((0, 0), (50, 0), (50, 31), (0.0, 30)), bulges)
    run = np.cumsum([0.0, *contour.dashes()])
    ring = shapely.LinearRing(contour.points())
    assert run[-1] == pytest.approx(ring.length, rel=1e-3)
    at = np.array([ring.project(shapely.Point(corner)) for corner in contour.corners[1:]])
    ends, begins = run[1::2], run[::2]
    for corner in at:
        assert np.abs(ends - corner).min() < 0.05
        assert np.abs(begins - corner).min() < 0.05
    assert all(1.6 / 1.2 < dash < 1.6 * 1.2 for dash in contour.dashes()[::2])
    assert Contour(Layer.CUT_OUTLINE, contour.corners).dashes() == []


@pytest.mark.parametrize("version", VERSIONS)
def test_what_a_cutter_follows_is_a_hairline_in_dxf(tmp_path, version):
    path = tmp_path / "board.dxf"
    path.write_bytes(dxf(draw_sheet(lay_out(starter("electric-six")), "board"), version=version))
    layers = ezdxf.readfile(path).layers
    if version == "R12":
        return  # knows no line weights
    for name in ("CUT_OUTLINE", "CUT_SLOTS", "POCKET", "DRILL"):
        assert layers.get(name).dxf.lineweight == 0
    assert layers.get("FRAME").dxf.lineweight == 50


@pytest.mark.parametrize("name", STARTERS)
def test_every_title_cell_on_every_sheet(name):
    instrument = lay_out(starter(name))
    sheets = described(instrument)
    for place, each in enumerate(sheets, start=1):
        sheet = draw_sheet(instrument, each)
        fields = dict(sheet.fields)
        assert set(fields) == CELLS
        assert fields["number"] == f"{place} of {len(sheets)}"
        assert fields["revision"] == fields["date"] == "-"  # the starters state none
        texts = [e for e in sheet.frame if isinstance(e, Text)]
        words = {text.text for text in texts}
        assert words >= CELLS
        assert {value for value in fields.values() if len(value) < 30} <= words
        # Each label stands close above its value: no other text between, and the same left side.
        for label, value in fields.items():
            (above,) = [t for t in texts if t.text == label and t.height < 1.7]
            below = [
                t for t in texts if t.at[0] == above.at[0] and t.height > 1.7 and 0 < above.at[1] - t.at[1] < 6.4
            ]
            assert [t.text for t in below] == [value] or len(value) >= 30


def test_a_job_fills_its_cells_and_no_clock_does():
    job = {"reference": "K 12", "drawn_by": "W", "revision": "C", "date": "1 May"}
    fields = dict(draw_sheet(lay_out(plan(job=job)), "board").fields)
    assert (fields["reference"], fields["drawn by"], fields["revision"], fields["date"]) == (
        "K 12",
        "W",
        "C",
        "1 May",
    )


@pytest.mark.parametrize("name", STARTERS)
def test_the_title_block_has_no_dead_cell_and_lies_in_the_corner(name):
    """Its rules and the border enclose as many rooms as it has cells, and the title's; each holds letters."""
    instrument = lay_out(starter(name))
    for each in described(instrument):
        sheet = draw_sheet(instrument, each)
        (border,) = [e for e in sheet.frame if isinstance(e, Contour) and e.layer == Layer.FRAME]
        left, bottom, right, _ = border.box()
        (label,) = [t for t in sheet.frame if isinstance(t, Text) and t.text == "sheet" and t.height < 1.7]
        high = label.at[1] + 0.7 + 9.0
        rules = [
            shapely.LineString([e.start, e.end])
            for e in sheet.frame
            if isinstance(e, Line)
            and max(e.start[1], e.end[1]) <= high + 1e-6
            and min(e.start[0], e.end[0]) >= label.at[0] - 2.1
        ]
        corner = shapely.LineString([(left, high + 50), (left, bottom), (right, bottom), (right, high + 50)])
        rooms = list(shapely.polygonize([shapely.union_all([*rules, corner], grid_size=1e-6)]).geoms)
        assert len(rooms) == len(CELLS) + 1
        assert shapely.union_all(rooms).bounds[1:3] == pytest.approx((bottom, right), abs=1e-5)
        places = [shapely.Point(t.at[0] + 0.1, t.at[1]) for t in sheet.frame if isinstance(t, Text)]
        assert all(any(room.contains(place) for place in places) for room in rooms)


def test_tables_tell_what_prose_told():
    instrument = lay_out(starter("steel-six"))
    headings = [text.heading for text in draw_sheet(instrument, "bridge").texts]
    assert headings[1:5] == [
        "Contacts, along the strings", "Check before you drill", "Holes", "Outer strings to the edges",
    ]  # fmt: skip
    crest = next(text for text in draw_sheet(instrument, "saddle").texts if text.heading == "Crest")
    assert len(crest.rows) == 1 + 6
    assumed = next(text for text in draw_sheet(instrument, "board").texts if text.heading.startswith("Assumed"))
    assert ("divisions of the octave", "12") in assumed.rows
    assert not any("." in row[0] or "_" in row[0] for row in assumed.rows)


@pytest.mark.parametrize("left_handed", [False, True])
@pytest.mark.parametrize("name", STARTERS)
def test_no_leader_runs_over_a_hole_or_a_pocket(name, left_handed):
    """A leader is a thin line that ends beside a text; contacts have theirs behind the bridge."""
    given = starter(name)
    instrument = lay_out(
        given.model_copy(update={"board": given.board.model_copy(update={"left_handed": left_handed})})
    )
    for each in described(instrument):
        drawing = draw_sheet(instrument, each).drawing
        labels = [shapely.Polygon(e.corners()).buffer(1.3) for e in drawing if isinstance(e, Text)]
        holes = [e for e in drawing if e.layer in (Layer.DRILL, Layer.POCKET)]
        solid = [
            shapely.Polygon(e.points()) if isinstance(e, Contour) else shapely.Point(e.centre).buffer(e.radius)
            for e in holes
        ]
        for line in (e for e in drawing if isinstance(e, Line) and e.layer == Layer.DIM):
            ends = [shapely.Point(line.start), shapely.Point(line.end)]
            if any(label.contains(end) for label in labels for end in ends):
                path = shapely.LineString([line.start, line.end])
                assert not any(path.crosses(hole) for hole in solid), (each, line)
