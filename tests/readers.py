"""Files re-read by programs that did not write them, in the axes of the drawing [mm]."""

from __future__ import annotations

import io
import os

import numpy as np
import shapely
from svgelements import SVG, Group

MM = 72 / 25.4  # points: PDF ISO 32000-1, unit 1/72 in


def gdal(path):
    """Read geometries and layers of a DXF file with GDAL's driver."""
    os.environ["OGR_ARC_STEPSIZE"] = "0.1"
    os.environ["DXF_ENCODING"] = "UTF-8"
    import pyogrio

    # The texts of older versions stand in a code page of their own; pyogrio wants UTF-8.
    _, _, geometry, (layers,) = pyogrio.raw.read(path, columns=["Layer"])
    return shapely.from_wkb(geometry), layers


def svg_groups(text):
    """Read an SVG file: the drawing, and its shapes by layer, in mm from the upper left corner."""
    drawing = SVG.parse(io.StringIO(text.decode()), ppi=25.4)
    return drawing, {group.id: list(group) for group in drawing.select(lambda e: isinstance(e, Group) and e.id)}


def ink(colour):
    """Give the parts of a colour as PDF writes them."""
    return tuple(int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5))


def pdf_lines(page, colour):
    """Give the straight lines of one colour on a page as ends in mm from its lower left corner, (n, 2, 2)."""
    found = [
        [(x / MM, float(page.height) / MM - y / MM) for x, y in line["pts"]]
        for line in page.lines
        if np.allclose(line["stroking_color"], ink(colour), atol=2e-3)
    ]
    return np.array(found).reshape(-1, 2, 2)


def pdf_paths(page, colour):
    """Give the outlines of one colour on a page, each as points in mm from its lower left corner, (n, 2)."""
    return [
        np.array(list(_points(path["path"], float(page.height)))) / MM
        for path in (*page.curves, *page.rects)
        if np.allclose(path["stroking_color"], ink(colour), atol=2e-3)
    ]


def _points(path, height):
    """Go along the straight and the curved parts of a path, measured from the top."""
    here = np.zeros(2)
    for step, *ends in path:
        points = [here, *(np.array([x, height - y]) for x, y in ends)]
        if step == "c":
            for t in np.linspace(0, 1, 9):
                a, b, c, d = points
                yield (1 - t) ** 3 * a + 3 * (1 - t) ** 2 * t * b + 3 * (1 - t) * t**2 * c + t**3 * d
        elif ends:
            yield points[-1]
        here = points[-1] if ends else here
