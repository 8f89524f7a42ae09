"""How quick the commands are, as ratios within one run: ``pytest -n0 tests/benchmarks/bench_speed.py``.

Time of the processor, not of the wall: other work on the machine does not count. The least of several.
"""

import dataclasses
import json
import os
import subprocess
import sys
from functools import partial
from itertools import cycle
from pathlib import Path

import numpy as np
import pytest
import svgwrite
import tomlkit
from helpers import contents, least_seconds, say, starter, times

from slotwright.cli.desk import state
from slotwright.cli.desk.keeper import Keeper
from slotwright.cli.desk.page import parts
from slotwright.layout.drawing.catalogue import draw_sheet
from slotwright.layout.drawing.sheet import Circle, Contour, Line
from slotwright.layout.export.dxf import dxf
from slotwright.layout.export.svg import svg
from slotwright.layout.instrument.instrument import lay_out
from slotwright.layout.plan.plan import Plan
from slotwright.layout.plan.reader import parse_plan
from slotwright.templates import starters

BARE = Path(__file__).with_name("bare_slots.py")
KEPT = Path(__file__).with_name("cost.svg")


def run(folder, *command):
    """Run a program as a user does, whose linear algebra counts its threads itself."""
    env = {name: value for name, value in os.environ.items() if not name.endswith("_NUM_THREADS")}
    subprocess.run([sys.executable, *command], cwd=folder, env=env, check=True, capture_output=True)


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "heron.toml").write_text(starters()["electric-six"], "utf-8")
    return tmp_path


def test_importing_the_engine_against_numpy(folder):
    ratio, ours = times(
        partial(run, folder, "-c", "import numpy"), partial(run, folder, "-c", "import slotwright.layout"), most=1.3
    )
    say(f"import: {ratio:.2f} times importing numpy ({ours:.2f} s)")
    assert ratio <= 1.3


def test_frets_against_the_imports_nobody_can_do_without(folder):
    ratio, ours = times(
        partial(run, folder, "-c", "import numpy, click"),
        partial(run, folder, "-m", "slotwright.cli", "frets", "heron.toml"),
        most=2.5,
    )
    say(f"frets: {ratio:.2f} times importing numpy and click ({ours:.2f} s)")
    assert ratio <= 2.5


def test_drawing_against_a_bare_script_that_writes_the_same(folder):
    sheet = draw_sheet(lay_out(starter("electric-six")), "slots")
    kinds = {Line: "line", Contour: "contour", Circle: "circle"}
    (folder / "slots.json").write_text(
        json.dumps([{"kind": kinds.get(type(each), "text"), **dataclasses.asdict(each)} for each in sheet.entities])
    )
    ratio, ours = times(
        partial(run, folder, BARE, "slots.json", "bare"),
        partial(run, folder, "-m", "slotwright.cli", "draw", "heron.toml", "--sheet", "slots", "--force"),
        most=1.5,
    )
    say(f"draw slots: {ratio:.2f} times a bare script ({ours:.2f} s)")
    assert ratio <= 1.5


def drawn(made):
    """Lay out, draw and write the board of a plan."""
    sheet = draw_sheet(lay_out(Plan.model_validate(made)), "board")
    dxf(sheet), svg(sheet)


STRING = {"pitch": "A2", "gauge": 0.9, "kind": "wound steel", "core": 0.4}
SIX = contents(strings=[STRING] * 6)
COSTS = {
    "frets": ((6, 15, 24, 33, 42, 51, 60), lambda n: drawn(contents(strings=[STRING] * 6, frets={"count": n}))),
    "strings": (
        (2, 6, 10, 14, 18),
        lambda n: drawn(contents(strings=[STRING] * n, board={"nut_width": 8 + 6 * n, "edge_margin": 2})),
    ),
    "plans": ((1, 2, 4, 6, 8), lambda n: [drawn(SIX) for _ in range(n)]),
}


def test_cost_grows_in_a_straight_line():
    """A straight line explains what board sheets cost; KEPT, drawn anew on request, shows it."""
    taken = {}
    drawn(SIX)  # imports and what is made once
    for what, (sizes, work) in COSTS.items():
        least = np.full(len(sizes), np.inf)
        for _ in range(6):  # a slow minute of the machine passes, a cost that bends stays bent
            runs = least_seconds(*(partial(work, n) for n in sizes), runs=5)
            least = np.minimum(least, 1000 * np.array(runs))
            off = np.abs(np.polyval(np.polyfit(sizes, least, 1), sizes) - least)
            if straight := off.max() < 0.15 * max(least):  # what else the machine does moves a point by a tenth
                break
        say(f"{what}: " + ", ".join(f"{n} {t:.0f} ms" for n, t in zip(sizes, least, strict=True)))
        assert straight
        taken[what] = list(least)
    if os.environ.get("SLOTWRIGHT_GOLDEN") == "write":
        plot(taken)


def plot(taken):
    """Draw cost against size, a panel for each."""
    page = svgwrite.Drawing(KEPT, size=("180mm", "60mm"), viewBox="0 0 180 60", debug=False, font_family="sans-serif")
    for place, (what, costs) in enumerate(taken.items()):
        sizes, left = COSTS[what][0], 12 + 58 * place
        at = [(left + 40 * n / max(sizes), 48 - 38 * t / max(costs)) for n, t in zip(sizes, costs, strict=True)]
        page.add(
            page.polyline([(left, 8), (left, 48), (left + 42, 48)], fill="none", stroke="#7a828a", stroke_width=0.2)
        )
        for x, y in at:
            page.add(page.circle((round(x, 2), round(y, 2)), 0.8))
        for text, x, y in (
            (f"{max(costs):.0f} ms", left - 10, 7),
            (f"{max(sizes)} {what}", left + 28, 53),
            ("0", left - 3, 53),
        ):
            page.add(page.text(text, insert=(x, y), font_size=3.2))
    page.save(pretty=True)


MOST = {
    "title": "eighteen",
    "strings": [STRING] * 18,
    "scale": {"treble": 628, "bass": 660},
    "board": {"nut_width": 116, "edge_margin": 2},
    "frets": {"count": 36},
    "compensation": {"aim": [{"strings": list(range(1, 19)), "frets": [12, 17]}]},
}


@pytest.mark.parametrize(
    ("what", "text", "width"),
    [
        ("electric six", starters()["electric-six"], "42.5"),
        ("eighteen strings", tomlkit.dumps(MOST), "116"),
    ],
)
def test_an_edit_at_the_desk_against_laying_out_and_drawing(folder, what, text, width):
    """Edit, file and every part of the page, against the plan laid out and its board drawn."""
    path = folder / "edited.toml"
    path.write_text(text, "utf-8")
    keeper = Keeper.of(path)
    widths = cycle((width, f"{float(width) + 0.1:g}"))

    def edit():
        there = state.value_of(keeper.desk.text, "board.nut_width")
        made = keeper.change(
            lambda desk: state.edit(desk, "board.nut_width", next(w for w in widths if w != there), there)
        )
        assert isinstance(made, state.Desk)
        parts(keeper)

    def draw():
        svg(draw_sheet(lay_out(parse_plan(path.read_bytes())), "board"))

    edit(), draw()  # what is read once
    ratio, ours = times(draw, edit, most=2)
    keeper.close()
    say(f"an edit at the desk, {what}: {ratio:.1f} times laid out and drawn ({1e3 * ours:.0f} ms)")
    assert ratio <= 2
