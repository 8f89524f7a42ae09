"""DXF files, re-read by GDAL (pyogrio), a plain tag reader and ezdxf's strict reader."""

import ezdxf
import numpy as np
import pytest
import shapely
from helpers import FANNED, FULL, STARTERS, contents, crossed, starter
from readers import gdal

from slotwright.layout.drawing.catalogue import described, draw_sheet
from slotwright.layout.drawing.sheet import PENS, Layer, Text
from slotwright.layout.export.dxf import dxf
from slotwright.layout.instrument.instrument import lay_out
from slotwright.layout.names import VERSIONS
from slotwright.layout.plan.plan import Plan

EVERY = [(name, sheet) for name in STARTERS for sheet in described(lay_out(starter(name)))]
NEAR = 1e-6  # mm


def header(text):
    """Read the header variables of a DXF file as plain tag pairs."""
    lines = text.decode("latin-1").splitlines()
    tags = [(int(code), value.strip()) for code, value in zip(lines[::2], lines[1::2], strict=False)]
    found = {}
    for i, (code, value) in enumerate(tags):
        if (code, value) == (0, "ENDSEC"):
            break
        if code == 9:
            found[value] = [v for _, v in tags[i + 1 : i + 4]]
    return found


@pytest.fixture(scope="module", params=["left-handed fan", *(STARTERS if FULL else ("electric-six",))])
def instrument(request):
    if request.param in STARTERS:
        return lay_out(starter(request.param))
    return lay_out(Plan.model_validate({**FANNED, "board": {**FANNED["board"], "left_handed": True}}))


@pytest.mark.parametrize("version", VERSIONS)
@pytest.mark.parametrize("unit", ["mm", "in"])
def test_every_slot_where_it_belongs(tmp_path, instrument, version, unit):
    path = tmp_path / "slots.dxf"
    path.write_bytes(dxf(draw_sheet(instrument, "slots"), unit=unit, version=version))
    shapes, layers = gdal(path)
    read = np.array([shapely.get_coordinates(s).ravel() for s in shapes[layers == "CUT_SLOTS"]])
    read *= 25.4 if unit == "in" else 1.0
    wanted = instrument.cut_slots.reshape(-1, 4)
    assert read.shape == wanted.shape
    assert np.abs(read - wanted).max() < NEAR
    (outline,) = [shapely.get_coordinates(s) for s in shapes[layers == "CUT_OUTLINE"]]
    outline *= 25.4 if unit == "in" else 1.0
    assert (outline[0] == outline[-1]).all()
    assert np.abs(outline[:-1] - instrument.neck.core).max() < NEAR


@pytest.mark.parametrize("version", VERSIONS)
@pytest.mark.parametrize(("unit", "insunits", "measurement"), [("mm", "4", "1"), ("in", "1", "0")])
def test_units_are_stated(version, unit, insunits, measurement):
    # DXF reference: $INSUNITS 1 inches, 4 millimetres; $MEASUREMENT 0 imperial, 1 metric.
    sheet = draw_sheet(lay_out(starter("electric-six")), "board")
    read = header(dxf(sheet, unit=unit, version=version))
    assert read["$INSUNITS"][0] == insunits
    assert read["$MEASUREMENT"][0] == measurement
    assert read["$ACADVER"][0] == {"R12": "AC1009", "R2000": "AC1015", "R2010": "AC1024"}[version]
    scale = 25.4 if unit == "in" else 1.0
    low = [scale * float(v) for v in read["$EXTMIN"][:2]]
    high = [scale * float(v) for v in read["$EXTMAX"][:2]]
    assert low == pytest.approx(sheet.box[:2])
    assert high == pytest.approx(sheet.box[2:])


@pytest.mark.parametrize(("each", "version"), crossed(EVERY if FULL else EVERY[::3], VERSIONS), ids=str)
def test_strict_audit(tmp_path, each, version):
    name, sheet = each
    path = tmp_path / "sheet.dxf"
    drawn = draw_sheet(lay_out(starter(name)), sheet)
    path.write_bytes(dxf(drawn, version=version))
    document = ezdxf.readfile(path)
    audit = document.audit()
    assert not audit.errors
    assert not audit.fixes
    kinds = {e.dxftype() for e in document.modelspace()}
    assert kinds <= {"LINE", "CIRCLE", "TEXT", "POLYLINE" if version == "R12" else "LWPOLYLINE"}
    assert {e.dxf.layer for e in document.modelspace()} <= set(Layer)
    assert {e.dxf.layer for e in document.modelspace().query("TEXT")} <= {"TEXT", "DIM", "FRAME"}
    assert set(Layer) <= {layer.dxf.name for layer in document.layers}
    for contour in document.modelspace().query("POLYLINE LWPOLYLINE"):
        assert contour.is_closed
        corners = [tuple(p)[:2] for p in (contour.points() if version == "R12" else contour.get_points("xy"))]
        assert len(set(corners)) == len(corners)
    for entity in document.modelspace():
        assert entity.dxf.color == 256  # by layer


def test_arcs_stay_arcs(tmp_path):
    path = tmp_path / "radius.dxf"
    path.write_bytes(dxf(draw_sheet(lay_out(starter("electric-six")), "radius")))
    bulges = [b for p in ezdxf.readfile(path).modelspace().query("LWPOLYLINE") for (b,) in p.get_points("b") if b]
    assert len(bulges) == 2
    # GDAL's own arc: its points lie on a circle of the stated radius.
    shapes, layers = gdal(path)
    for gauge in shapes[layers == "CUT_OUTLINE"]:
        points = shapely.get_coordinates(gauge)
        arc = points[(points[:, 1] > np.sort(points[:, 1])[0]) & (points[:, 1] < np.sort(points[:, 1])[-1])][:40]
        middle = np.median(points[:, 0])
        side = points[:, 0].min(), points[:, 0].max()
        half = (side[1] - side[0]) / 2
        rise = 254 - np.sqrt(254**2 - half**2)
        spread = np.abs(arc[:, 1] - np.median(arc[:, 1]))
        assert spread.max() <= rise + 1e-6
        assert abs(middle - sum(side) / 2) < half


def test_circles_are_circles(tmp_path):
    instrument = lay_out(starter("electric-six"))
    path = tmp_path / "board.dxf"
    path.write_bytes(dxf(draw_sheet(instrument, "board")))
    marks = ezdxf.readfile(path).modelspace().query('CIRCLE[layer=="POCKET"]')
    assert len(marks) == 8 + 2
    assert {c.dxf.radius for c in marks} == {3.0}


@pytest.mark.parametrize("version", VERSIONS)
def test_same_sheet_same_bytes(version):
    first, second = (
        dxf(draw_sheet(lay_out(starter("bass-five-multiscale")), "board"), version=version) for _ in range(2)
    )
    assert first == second


def test_writing_leaves_ezdxf_as_it_was():
    before = ezdxf.options.write_fixed_meta_data_for_testing
    dxf(draw_sheet(lay_out(starter("travel-six-zero-fret")), "stick"))
    assert ezdxf.options.write_fixed_meta_data_for_testing == before


@pytest.mark.parametrize("version", VERSIONS)
def test_a_title_is_no_code(tmp_path, version):
    title = "a%%d ^J\n0\nLINE\\P {x} 50%% \u5b57 \U0001f3b8"
    sheet = draw_sheet(lay_out(Plan.model_validate(contents(title=title))), "stick")
    path = tmp_path / "odd.dxf"
    path.write_bytes(dxf(sheet, version=version))
    document = ezdxf.readfile(path)
    assert not document.audit().errors
    drawn = sum(isinstance(e, Text) for e in sheet.entities)
    texts = document.modelspace().query("TEXT")
    assert len(texts) == drawn
    assert not any("\u00b0" in t.plain_text() for t in texts)
    (shown,) = [t.plain_text() for t in texts if t.dxf.layer == "FRAME" and "LINE" in t.dxf.text]
    assert shown.startswith("a% %d ^J 0 LINE")
    assert "\u5b57" in ezdxf.decode_dxf_unicode(shown)


@pytest.mark.parametrize("cut", [0.2, 0.5, 0.9])
def test_a_torn_file_is_noticed(tmp_path, cut):
    # The readers above are only worth something if they refuse damage.
    whole = dxf(draw_sheet(lay_out(starter("electric-six")), "slots"))
    path = tmp_path / "torn.dxf"
    path.write_bytes(whole[: int(len(whole) * cut)])
    with pytest.raises(ezdxf.DXFError):
        ezdxf.readfile(path).audit()


def contrast(one, other):
    """Contrast of two colours by WCAG 2.1 (relative luminance, 1.4.11 asks for 3 of what is no text)."""

    def luminance(colour):
        parts = [c / 255 for c in colour]
        linear = [c / 12.92 if c <= 0.03928 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
        return np.dot([0.2126, 0.7152, 0.0722], linear)

    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


@pytest.mark.parametrize("layer", [layer for layer, pen in PENS.items() if pen.index != 7])  # 7 turns with the screen
def test_lines_are_seen_on_dark_and_white_screens(layer):
    shown = tuple(ezdxf.colors.aci2rgb(PENS[layer].index))
    assert contrast(shown, (0, 0, 0)) > 3
    assert contrast(shown, (255, 255, 255)) > 3
