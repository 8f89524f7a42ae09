"""The least that writes the same entities: read one from a file of entities, write them with ezdxf and svgwrite.

Stands beside `bench_speed.py` as what the whole of slotwright is held against; run with a JSON file and a stem.
"""

import json
import sys

import ezdxf
import svgwrite

entities = json.load(open(sys.argv[1]))  # noqa: PTH123, SIM115 - as short as can be
document = ezdxf.new("R2000", units=4)
space = document.modelspace()
drawing = svgwrite.Drawing(f"{sys.argv[2]}.svg", debug=False)
for layer in {entity["layer"] for entity in entities}:
    document.layers.add(layer)
for entity in entities:
    look = {"layer": entity["layer"]}
    if entity["kind"] == "line":
        space.add_line(entity["start"], entity["end"], dxfattribs=look)
        drawing.add(drawing.line(entity["start"], entity["end"]))
    elif entity["kind"] == "contour":
        space.add_lwpolyline(entity["corners"], close=True, dxfattribs=look)
        drawing.add(drawing.polygon(entity["corners"]))
    elif entity["kind"] == "circle":
        space.add_circle(entity["centre"], entity["radius"], dxfattribs=look)
        drawing.add(drawing.circle(entity["centre"], entity["radius"]))
    else:
        space.add_text(entity["text"], height=entity["height"], dxfattribs=look).set_placement(entity["at"])
        drawing.add(drawing.text(entity["text"], insert=entity["at"]))
document.saveas(f"{sys.argv[2]}.dxf")
drawing.save()
