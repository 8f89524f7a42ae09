"""Any sheet of any plan, written, and read again by a program that did not write it.

``SLOTWRIGHT_DEEP=500 python -m pytest tests/properties/test_round_trips.py`` tries as many in each part.
"""

import io
import math
from collections import defaultdict

import numpy as np
import pdfplumber
import pytest
import shapely
from helpers import parts, prove
from hypothesis import assume, event
from hypothesis import strategies as st
from plan_space import contents
from readers import gdal, pdf_lines, pdf_paths, svg_groups
from svgelements import Path as Way

from slotwright.layout.drawing.catalogue import described, draw_sheet
from slotwright.layout.drawing.sheet import PENS, Circle, Contour, Layer, Line, Text
from slotwright.layout.errors import PaperError, PlanError
from slotwright.layout.export.dxf import dxf
from slotwright.layout.export.pdf import pdf
from slotwright.layout.export.svg import svg
from slotwright.layout.export.tiling import FOOT, SIDE, share_out
from slotwright.layout.instrument.arcs import Arc
from slotwright.layout.instrument.instrument import lay_out
from slotwright.layout.names import VERSIONS
from slotwright.layout.plan.plan import Plan

NEAR = {"dxf": 2e-6, "svg": 2e-3, "pdf": 2e-3}  # mm; svg has four decimals, pdf six of the point but scaled twice
CUT = (Layer.CUT_OUTLINE, Layer.CUT_SLOTS, Layer.DRILL)


@st.composite
def sheets(draw):
    """Draw one sheet of a plan that can be drawn."""
    try:
        instrument = lay_out(Plan.model_validate(draw(contents())))
        name = draw(st.sampled_from(described(instrument)))
        return instrument, draw_sheet(instrument, name, mirrored=draw(st.booleans()))
    except PlanError:
        assume(False)


def wanted(sheet):
    """Sort what the engine drew by layer."""
    found = defaultdict(list)
    for entity in sheet.entities:
        found[str(entity.layer)].append(entity)
    return found


def off_arc(points, start, end, bulge):
    """Give how far points lie off the circle of an arc [mm]."""
    (x0, y0), (x1, y1) = start, end
    chord = math.hypot(x1 - x0, y1 - y0)
    radius = chord * (1 + bulge**2) / (4 * abs(bulge))
    away = (1 - bulge**2) / (4 * bulge)
    centre = np.array([(x0 + x1) / 2 - away * (y1 - y0), (y0 + y1) / 2 + away * (x1 - x0)])
    return np.abs(np.hypot(*(points - centre).T) - radius)


def off_contour(points, contour):
    """Give how far points lie off a contour, each off its nearest side [mm]."""
    nearest = np.full(len(points), np.inf)
    for start, end, bulge in contour.sides():
        if bulge:
            off = off_arc(points, start, end, bulge)
        else:
            off = shapely.distance(shapely.points(points), shapely.LineString([start, end]))
        nearest = np.minimum(nearest, off)
    return nearest.max()


def check_shape(entity, points, near):
    """Compare the points of one shape as it was read with what the engine drew."""
    match entity:
        case Line():
            assert np.abs(points - [entity.start, entity.end]).max() < near
        case Circle():
            assert np.abs(np.hypot(*(points - entity.centre).T) - entity.radius).max() < near
            assert len(points) > 3
        case Contour():
            left, bottom, right, top = entity.box()
            assert (points > np.array([left, bottom]) - near).all()
            assert (points < np.array([right, top]) + near).all()
            assert off_contour(points, entity) < near
            for corner in entity.corners:
                assert np.hypot(*(points - corner).T).min() < near


def largest_radius(entity):
    """Give the largest radius of a circle, or of the arcs of a contour that turn by more than half a right angle."""
    if isinstance(entity, Contour):
        return max((Arc.between(*side).radius for side in entity.sides() if abs(side[2]) > 0.2), default=0.0)
    return getattr(entity, "radius", 0.0)


def alike(entity, points, near):
    """Tell whether a shape is this one."""
    try:
        check_shape(entity, points, near)
    except AssertionError:
        return False
    return True


@pytest.mark.parametrize("part", parts(5))
def test_dxf(tmp_path, part):
    path = tmp_path / "sheet.dxf"

    def holds(drawn):
        (instrument, sheet), unit, version = drawn
        path.write_bytes(dxf(sheet, unit=unit, version=version))
        shapes, layers = gdal(path)
        scale = 25.4 if unit == "in" else 1.0
        assert len(shapes) == len(sheet.entities)
        for entity, shape, layer in zip(sheet.entities, shapes, layers, strict=True):
            assert layer == entity.layer
            points = scale * shapely.get_coordinates(shape)
            if isinstance(entity, Text):
                assert shape.geom_type == "Point"
                assert np.abs(points - entity.baseline()).max() < 1e-5
            else:
                check_shape(entity, points, NEAR["dxf"])
        if sheet.name == "slots":
            side = [1, -1] if "MIRRORED" in str(sheet.entities) else [1, 1]
            read = scale * np.array([shapely.get_coordinates(s) for s in shapes[layers == "CUT_SLOTS"]])
            assert np.abs(read - instrument.cut_slots * side).max() < NEAR["dxf"]
        event(f"{sheet.name} {version} {unit}")

    prove(holds, st.tuples(sheets(), st.sampled_from(["mm", "in"]), st.sampled_from(VERSIONS)), 10, part)


@pytest.mark.parametrize("part", parts(5))
def test_svg(part):
    def holds(drawn):
        (_, sheet), unit = drawn
        drawing, groups = svg_groups(svg(sheet, unit=unit))
        assert (drawing.width, drawing.height) == pytest.approx(sheet.size, abs=NEAR["svg"])
        corner = np.array([sheet.box[0], sheet.box[3]])
        for layer, entities in wanted(sheet).items():
            for entity, element in zip(entities, groups[layer], strict=True):
                if isinstance(entity, Text):
                    continue  # told by its place alone; the reader knows no letters
                way = abs(Way(element))
                many = 2 if isinstance(entity, Line) else 100
                points = np.array([way.point(part) for part in np.linspace(0, 1, many)])
                points = np.concatenate((points, [tuple(s.end) for s in way])) if many > 2 else points
                check_shape(entity, points * [1, -1] + corner, NEAR["svg"])

    prove(holds, st.tuples(sheets(), st.sampled_from(["mm", "in"])), 10, part)


@pytest.mark.parametrize("part", parts(5))
def test_pdf(part):
    def holds(drawn):
        (_, sheet), paper = drawn
        try:
            layout = share_out(sheet, paper)
        except PaperError:
            assume(False)
        seen = set()
        with pdfplumber.open(io.BytesIO(pdf(sheet, layout))) as document:
            assert (len(document.pages) > len(layout.tiles)) != layout.framed
            for page, tile in zip(document.pages[-len(layout.tiles) :], layout.tiles, strict=True):
                left, bottom, right, top = layout.box(tile)
                corner = np.array([left - layout.margin - SIDE, bottom - layout.margin - FOOT])
                window = shapely.box(left, bottom, right, top)
                for layer in CUT:
                    due = [e for e in sheet.entities if e.layer == layer and window.intersects(shapely.box(*e.box()))]
                    colour = PENS[layer].colour
                    lines, paths = pdf_lines(page, colour), pdf_paths(page, colour)
                    straight = [entity for entity in due if isinstance(entity, Line)]
                    lines = () if layer == Layer.CUT_OUTLINE else lines  # the frame has that colour too
                    for entity, points in zip(straight, lines, strict=True):
                        check_shape(entity, points + corner, NEAR["pdf"])
                    for entity in due:
                        if not isinstance(entity, Line):
                            # A quarter of a circle is a cubic curve, off by 0.027 % of its radius at most.
                            near = max(NEAR["pdf"], 3e-4 * largest_radius(entity))
                            assert any(alike(entity, points + corner, near) for points in paths)
                    seen.update(map(id, due))
        assert seen == {id(entity) for entity in sheet.entities if entity.layer in CUT}

    papers = st.sampled_from(["A4", "letter", "A3", "A1", "2000 x 900"])
    prove(holds, st.tuples(sheets(), papers), 10, part)
