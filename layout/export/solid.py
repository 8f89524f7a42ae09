"""Parts in the round as 3MF, for a printer that builds them up: gauges, index strip and templates."""

from __future__ import annotations

import io
import re
import zipfile
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely

from slotwright.layout.drawing.sheet import Circle, Contour, Layer
from slotwright.layout.errors import SheetError
from slotwright.layout.names import SOLIDS
from slotwright.layout.plan.fields import listed

if TYPE_CHECKING:
    from collections.abc import Iterator

    from slotwright.layout.drawing.sheet import Sheet

THICKNESS: Final = 3.0  # mm, of gauges and strips: stiff enough to hold by hand (common practice, no source)
_ROUND: Final = 64  # sides to a quarter of a hole
_EXTENSION: Final = re.compile(rb'\s(?:xmlns:[a-z]+|[a-z]+:UUID)="[^"]*"|(?<=<item) xmlns="[^"]*"')
_SAME_DAY: Final = (1980, 1, 1, 0, 0, 0)  # of every file in a 3MF, so that the same part is the same bytes


def solid(sheet: Sheet) -> bytes:
    """Write what a sheet cuts out as solid bodies.

    Parameters
    ----------
    sheet
        A sheet of gauges, of an index strip or of templates, drawn without kerf: a printer has none.

    Returns
    -------
    bytes
        A 3MF file in millimetres, a body for each part; the lower face lies at z = 0. The same sheet gives the
        same bytes.

    Raises
    ------
    SheetError
        The sheet is of another kind.
    """
    if sheet.name not in SOLIDS:
        raise SheetError(f"sheet {sheet.name}: it has no solid part; 3mf is for {listed(SOLIDS)}")
    import trimesh  # noqa: PLC0415 - slow to import

    scene = trimesh.Scene()
    for number, (part, thickness) in enumerate(_parts(sheet), start=1):
        name = f"{sheet.name}-{number}"
        triangles = shapely.constrained_delaunay_triangles(part)
        corners = shapely.get_coordinates(shapely.get_parts(shapely.orient_polygons(triangles))).reshape(-1, 4, 2)
        places, at = np.unique(corners[:, :3].reshape(-1, 2), axis=0, return_inverse=True)
        body = trimesh.creation.extrude_triangulation(places, at.reshape(-1, 3), thickness)
        scene.add_geometry(body, node_name=name, geom_name=name)
    return _settled(scene.export(file_type="3mf"))


def _parts(sheet: Sheet) -> Iterator[tuple[shapely.Geometry, float]]:
    """Give every part with its openings and its thickness [mm]: what lies within an outline is cut out of it."""
    outlines = [each for each in sheet.entities if isinstance(each, Contour) and each.layer == Layer.CUT_OUTLINE]
    fields = {each: shapely.Polygon(each.points()) for each in outlines}
    holes = [
        shapely.Point(each.centre).buffer(each.radius, quad_segs=_ROUND)
        for each in sheet.entities
        if isinstance(each, Circle) and each.layer == Layer.DRILL
    ]
    for outline, field in fields.items():
        around = [other for each, other in fields.items() if each is not outline and other.contains(field)]
        if around:
            continue
        inside = [other for each, other in fields.items() if each is not outline and field.contains(other)]
        part = shapely.difference(field, shapely.union_all([*inside, *holes]))
        yield part, outline.thickness or THICKNESS


def _settled(made: bytes) -> bytes:
    """Leave the core of the standard alone: no extensions, whose names of bodies are drawn by lot, and no dates."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(made)) as given, zipfile.ZipFile(out, "w") as taken:
        for name in sorted(given.namelist()):
            core = _EXTENSION.sub(b"", given.read(name))
            taken.writestr(zipfile.ZipInfo(name, _SAME_DAY), core, zipfile.ZIP_DEFLATED)
    return out.getvalue()
