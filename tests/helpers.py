"""Plans to test with, and an independent calculation of the geometry in 50 digits."""

from __future__ import annotations

import copy
import itertools
import os
import resource
import shutil
import subprocess
import sys
import tomllib
from pathlib import Path
from typing import Any

import mpmath as mp
import numpy as np
import pytest
from hypothesis import given, seed, settings
from hypothesis import strategies as st

from slotwright.layout.physics.pitch import Fretting
from slotwright.layout.plan.plan import Plan
from slotwright.templates import starters

STARTERS = tuple(starters())

TOP = Path(__file__).parent.parent
GOLDEN = TOP / "tests" / "golden"

FULL = os.environ.get("SLOTWRIGHT_TESTS") == "full"  # or else a quick proof, of the same tests with fewer examples
DEEP = int(os.environ.get("SLOTWRIGHT_DEEP", "0"))

MINIMAL: dict[str, Any] = {
    "title": "Plain six",
    "strings": 6,
    "scale": {"length": 628.0},
    "board": {"nut_width": 42.5},
}


def golden(path: Path, made: bytes) -> bool:
    """Compare with a kept file; SLOTWRIGHT_GOLDEN=write makes it anew, to be looked at before it is kept."""
    if os.environ.get("SLOTWRIGHT_GOLDEN") == "write":
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(made)
    return path.read_bytes() == made


def between_marks(path: Path, name: str, made: str) -> bool:
    """Compare what stands between two marks of a kept file, likewise; the lines there are written by a test."""
    text = path.read_text("utf-8")
    begin, end = text.index(f"<!-- {name}: "), text.index(f"<!-- end of {name} -->")
    whole = f"{text[: text.index(chr(10), begin)]}\n\n{made}\n{text[end:]}"
    return whole == text or golden(path, whole.encode())


def browser() -> str | None:
    """Find the browser that pages are opened in: the one without windows takes half the time."""
    return shutil.which("chromium-headless-shell") or shutil.which("chromium")


def few(many, least=1, part=10):
    """Give how many of something to try: all in the full profile, a tenth or less in the quick one."""
    return many if FULL else max(least, many // part)


def some(names, least=1):
    """Give the first few of several cases; all in the full profile."""
    return list(names) if FULL else list(names)[:least]


def crossed(*axes):
    """Cross what several parameters may be; in the quick profile each value comes up, with one of the others."""
    if FULL:
        return list(itertools.product(*axes))
    cycles = [itertools.cycle(axis) for axis in axes]
    return list(itertools.islice(zip(*cycles, strict=False), max(map(len, axes))))


def slack(share, many):
    """Give what chance adds to a share when few are tried: four standard errors; the limits of all have it."""
    return 0.0 if FULL else 4 * (share * (1 - share) / many) ** 0.5


def parts(many):
    """Number the parts that a long test is shared out in, to run side by side; a quick proof has one."""
    return range(many if FULL or DEEP else 1)


def tried(many):
    """Say how many examples a property is tried on."""
    return settings(max_examples=DEEP or few(many, 3), derandomize=not DEEP)


def prove(holds, strategy, many, part=0):
    """Try a property on examples; each part of a test that is shared out draws others."""

    @seed(int.from_bytes(os.urandom(8)) if DEEP else part)
    @settings(max_examples=DEEP or few(many, 3), derandomize=False)
    @given(strategy)
    def each(drawn):
        holds(drawn)

    each()


def say(words):
    """Tell a figure to who runs this by hand."""
    sys.stdout.write(f"\n{words}")


def least_seconds(*works, runs=5):
    """Give the least processor time of each of some works [s], which take turns: a machine has slow minutes."""
    least = [np.inf] * len(works)
    for _ in range(runs):
        for place, work in enumerate(works):
            before = _spent()
            work()
            least[place] = min(least[place], _spent() - before)
    return least


def times(base, work, most, runs=5):
    """Give the processor time of a work, as a multiple of another's and in seconds.

    Measured anew, ten times in all, while it is more than ``most``: what else a machine does passes, a work that
    takes too long goes on taking too long.
    """
    least = np.full(2, np.inf)
    for _ in range(10):
        least = np.minimum(least, least_seconds(base, work, runs=runs))
        if least[1] <= most * least[0]:
            break
    return least[1] / least[0], least[1]


def _spent():
    """Give the processor time of this process and of those it started and saw end [s]."""
    each = [resource.getrusage(whose) for whose in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    return sum(one.ru_utime + one.ru_stime for one in each)


def contents(**changes: Any) -> dict[str, Any]:
    """Give the minimal plan with changes; ``board={...}`` adds to the table, None takes a key away."""
    made = copy.deepcopy(MINIMAL)
    for key, value in changes.items():
        if value is None:
            del made[key]
        elif isinstance(value, dict):
            table = {**made.get(key, {}), **value}
            made[key] = {name: given for name, given in table.items() if given is not None}
        else:
            made[key] = value
    return made


def plan(**changes: Any):
    return Plan.model_validate(contents(**changes))


def starter(name: str):
    return Plan.model_validate(tomllib.loads(starters()[name]))


FANNED = contents(
    strings=[{"gauge": f"0.{n:03d} in"} for n in (45, 65, 85, 105, 130)],
    scale={"length": None, "treble": 838.2, "bass": 889.0, "square_fret": 7},
    frets={"count": 24},
    board={"nut_width": 46, "radius": [305, 406]},
)


@st.composite
def plans(draw):
    """Draw the contents of a plan that may or may not make a neck."""

    def some(low, high):
        return draw(st.floats(low, high, allow_nan=False).map(lambda x: round(x, 3)))

    count = draw(st.integers(1, 18))
    gauged = draw(st.booleans())
    strings: Any = [{"gauge": some(0.2, 2.0)} for _ in range(count)] if gauged else count
    nut_width = some(8 + 7 * count, 20 + 9 * count)
    margin = some(2.0, 4.0)
    scale: dict[str, Any] = {"length": some(300, 1200)}
    if count > 1 and draw(st.booleans()):
        treble = some(400, 900)
        scale = {"treble": treble, "bass": round(treble * some(1.0, 1.06), 3)}
        scale["square_fret"] = draw(st.sampled_from(["nut", "saddle", 0, 7, 9.5, 12]))
    frets: dict[str, Any] = {"count": draw(st.integers(1, 60)), "zero_fret": draw(st.booleans())}
    if draw(st.booleans()):
        frets["divisions"] = draw(st.integers(5, 31))
    else:
        notes = sorted(draw(st.sets(st.integers(10, 119), min_size=1, max_size=14)))
        frets["cents"] = [10.0 * note for note in notes] + [1200.0]
    board: dict[str, Any] = {
        "nut_width": nut_width,
        "edge_margin": margin,
        "left_handed": draw(st.booleans()),
        "binding": draw(st.sampled_from([0.0, 1.5])),
        "radius": draw(st.sampled_from([0, 305, [254, 406]])),
        "thickness": 20.0,
    }
    if count > 1:
        board["string_spread_nut"] = round(nut_width - 2 * margin, 3)
        board["string_spread_saddle"] = round(board["string_spread_nut"] * some(1.0, 1.5), 3)
    if draw(st.booleans()):
        del board["edge_margin"]
        board["width_at"] = {"fret": 1, "width": round(nut_width + 0.5, 3)}
    return {"title": "Any", "strings": strings, "scale": scale, "frets": frets, "board": board}


def random_fretting(rng, strings, frets):
    """Make strings over frets within what instruments have."""
    scale = rng.uniform(340, 900, strings)
    fractions = 2.0 ** (-np.arange(1, frets + 1) / 12)
    places = scale[:, None] * (1 - fractions)
    core = rng.uniform(0.2, 0.55, strings)
    area = np.pi * core**2 / 4
    tension = area * rng.uniform(600, 1800, strings)  # stress in MPa
    axial = 200e3 * area
    nut_height = rng.uniform(0.1, 0.6, strings)
    octave = min(12, frets) - 1
    return Fretting(
        scale=scale,
        frets=places,
        fractions=fractions,
        crowns=-0.2 * np.sin(np.linspace(0, np.pi, frets))[None] * np.ones((strings, 1)),
        nut_height=nut_height,
        action_at=places[:, octave],
        action_height=nut_height + rng.uniform(1.0, 2.5, strings),
        press=np.minimum(8.0, np.diff(places, axis=1, prepend=0.0) / 2),
        press_depth=rng.uniform(0, 0.1, strings),
        free_length=rng.uniform(0, 50, strings),
        tension=tension,
        axial=axial,
        bending=axial * core**2 / 16,
        clamped=float(rng.integers(0, 3)),
    )


def exact_neck(plan):
    """Calculate the neck of a plan from the definition of its geometry, in 50 digits.

    Another way than the engine's: points and cross products instead of line equations.
    Gives ``from_nut[fret][string]``, ``slots[fret][end]`` (bass first), ``scales``, ``straightness``, the ends
    of the strings as ``nuts`` and ``saddles``, and two points on each of the ``edges`` (bass first).
    """
    mp.mp.dps = 50
    m, board = mp.mpf, plan.board
    hand = -1 if board.left_handed else 1
    count, frets = len(plan.strings), plan.frets.count

    def places(spread, inside):
        return [hand * y for y in _places(plan, m(spread), m(inside))]

    y_nut = places(plan.spread_nut, board.course_spacing[0])
    y_saddle = places(plan.spread_saddle, board.course_spacing[1])

    def cents(n):
        if plan.frets.cents is None:
            return m(1200) * n / plan.frets.divisions
        notes = plan.frets.cents
        turns, rest = divmod(n, len(notes))
        return turns * m(notes[-1]) + (m(notes[rest - 1]) if rest else 0)

    def between(f):
        low = int(mp.floor(f))
        return cents(low) + (f - low) * (cents(low + 1) - cents(low)) if f != low else cents(low)

    if plan.scale.length is not None:
        nuts = [(m(0), y) for y in y_nut]
        saddles = [(m(plan.scale.length), y) for y in y_saddle]
    else:
        square = plan.scale.square_fret
        r = m(0) if mp.isinf(square) else mp.power(2, -between(m(square)) / 1200)
        reach = [
            mp.sqrt(m(length) ** 2 - (y_saddle[i] - y_nut[i]) ** 2)
            for i, length in ((0, plan.scale.treble), (-1, plan.scale.bass))
        ]
        # Equal x at the square fret: x0 + (1 - r) * reach; the two nut ends lie opposite about x = 0.
        x0 = (1 - r) * (reach[1] - reach[0]) / 2
        ends = [(x0, y_nut[0]), (-x0, y_nut[-1])]
        tips = [(x0 + reach[0], y_saddle[0]), (-x0 + reach[1], y_saddle[-1])]
        nuts = [_at_y(ends[0], ends[1], y) for y in y_nut]
        saddles = [_at_y(tips[0], tips[1], y) for y in y_saddle]

    def on_string(i, fraction):
        (a, b), (c, d) = nuts[i], saddles[i]
        return c + fraction * (a - c), d + fraction * (b - d)

    fractions = [mp.power(2, -cents(n) / 1200) for n in range(frets + 1)]
    exact = [[on_string(i, f) for i in range(count)] for f in fractions]
    lines = [(row[0], row[-1]) if count > 1 else (row[0], (row[0][0], row[0][1] + 1)) for row in exact]
    from_nut = [[_far(_cross(line, (nuts[i], saddles[i])), nuts[i]) for i in range(count)] for line in lines]

    edges = []
    for side, outer in ((-hand, -1), (hand, 0)):  # bass edge first
        first = _at_y(*lines[0], side * m(board.nut_width) / 2)
        if board.width_at is None:
            second = _at_y(*lines[-1], exact[-1][outer][1] + side * m(board.edge_margin))
        else:
            second = _at_y(*lines[board.width_at.fret], side * m(board.width_at.width) / 2)
        edges.append((first, second))
    # The core of a bound board is narrower by the binding, square to the centre line; bass edge first.
    within = [
        [(x, y + side * m(board.binding)) for x, y in edge] for side, edge in zip((hand, -hand), edges, strict=True)
    ]
    inset = m(plan.frets.slot_inset)
    slots = []
    for line in lines:
        a, b = (_cross(line, edge) for edge in within)
        length = _far(a, b)
        ux, uy = (b[0] - a[0]) / length, (b[1] - a[1]) / length
        slots.append(((a[0] + inset * ux, a[1] + inset * uy), (b[0] - inset * ux, b[1] - inset * uy)))
    straightness = [
        max((_off(p, line) for p in row[1:-1]), default=m(0)) for row, line in zip(exact, lines, strict=True)
    ]
    scales = [_far(a, b) for a, b in zip(nuts, saddles, strict=True)]
    ends = {"nuts": nuts, "saddles": saddles, "edges": edges}
    return {"from_nut": from_nut, "slots": slots, "scales": scales, "straightness": straightness, **ends}


def _places(plan, spread, inside):
    courses: list[list[int]] = []
    for i, string in enumerate(plan.strings):
        if courses and string.course is not None and string.course == plan.strings[i - 1].course:
            courses[-1].append(i)
        else:
            courses.append([i])
    if len(courses) == 1:
        n = len(plan.strings)
        return [spread / 2 - i * spread / (n - 1) for i in range(n)] if n > 1 else [mp.mpf(0)]
    if plan.spacing == "even gaps":
        gauges = [mp.mpf(string.gauge) for string in plan.strings]
        solid = sum((gauges[a[-1]] + gauges[b[0]]) / 2 for a, b in zip(courses, courses[1:], strict=False))
        solid += sum((len(c) - 1) * inside for c in courses)
        air = (spread - solid) / (len(courses) - 1)
        y = [spread / 2]
        for i in range(1, len(plan.strings)):
            together = any(i in c and i - 1 in c for c in courses)
            y.append(y[-1] - (inside if together else air + (gauges[i - 1] + gauges[i]) / 2))
        return y
    first = spread / 2 - (len(courses[0]) - 1) * inside / 2
    last = -spread / 2 + (len(courses[-1]) - 1) * inside / 2
    y = []
    for c, course in enumerate(courses):
        middle = first + c * (last - first) / (len(courses) - 1)
        y += [middle + ((len(course) - 1) / mp.mpf(2) - k) * inside for k in range(len(course))]
    return y


def _far(a, b):
    return mp.sqrt((a[0] - b[0]) ** 2 + (a[1] - b[1]) ** 2)


def _off(p, line):
    (a, b), (c, d) = line
    return abs((c - a) * (p[1] - b) - (d - b) * (p[0] - a)) / _far(*line)


def _at_y(a, b, y):
    return a[0] + (b[0] - a[0]) * (y - a[1]) / (b[1] - a[1]), y


def _cross(one, two):
    """Cross two lines given by points, in homogeneous coordinates."""
    (a, b), (c, d) = one, two
    p = (a[1] - b[1], b[0] - a[0], a[0] * b[1] - b[0] * a[1])
    q = (c[1] - d[1], d[0] - c[0], c[0] * d[1] - d[0] * c[1])
    w = p[0] * q[1] - p[1] * q[0]
    return (p[1] * q[2] - p[2] * q[1]) / w, (p[2] * q[0] - p[0] * q[2]) / w


def kept():
    """Give the names of all files that belong to the project, as git knows them."""
    if not (TOP / ".git").exists():
        pytest.skip("the sources are not under git here: clone them")
    if (git := shutil.which("git")) is None:
        pytest.skip("no git: install it (Debian: apt-get install git)")
    done = subprocess.run([git, "ls-files"], cwd=TOP, capture_output=True, text=True, check=True)
    return done.stdout.split()
