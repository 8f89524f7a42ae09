"""The nut as a machine would cut it: from the DXF alone, against a string laid over the board anew."""

import io
import math

import ezdxf
import numpy as np
import pytest
import shapely
from helpers import FANNED, FULL, STARTERS, contents, exact_neck, prove, say, starter
from plan_space import contents as any_plan

from slotwright.layout.drawing.catalogue import SHEETS, draw_sheet
from slotwright.layout.drawing.sheet import Layer, Text
from slotwright.layout.errors import PlanError
from slotwright.layout.export.dxf import dxf
from slotwright.layout.instrument.instrument import lay_out
from slotwright.layout.plan.plan import Plan

NEAR = 1e-3  # mm
E4 = {"pitch": "E4", "gauge": "0.010 in", "kind": "plain steel"}
A2 = {"pitch": "A2", "gauge": "0.036 in", "kind": "wound steel", "core": "0.015 in"}
SIX = [E4] * 3 + [A2] * 3


def made(**changes):
    return contents(**{"strings": SIX, "nut": {}, **changes})


CASES = {
    "left-handed": made(board={"left_handed": True, "radius": 254, "string_spread_nut": 34}),
    "multiscale": {**FANNED, "strings": [E4, E4, A2, A2, A2], "nut": {}},
    "multiscale, left-handed": {
        **FANNED, "strings": [E4, E4, A2, A2, A2], "nut": {}, "board": {**FANNED["board"], "left_handed": True},
    },
    "multiscale, moved": {**FANNED, "strings": [E4, E4, A2, A2, A2], "nut": {}, "compensation": {"nut": "common"}},
    "in inches": {**made(scale={"length": "25.5 in"}, board={"nut_width": "1 3/4 in", "thickness": "1/4"}), "units": "in"},
    "zero fret": made(frets={"zero_fret": True}, board={"radius": [254, 406]}),
    "high zero fret": made(frets={"zero_fret": True, "zero_fret_height": 1.3}),
    "zero fret, groove": made(frets={"zero_fret": True}, board={"behind_nut": 14}, nut={"slot": 5, "ledge": 3}),
    "one string": made(strings=[A2], board={"nut_width": 16, "radius": 200}),
    "eighteen": made(strings=[E4] * 9 + [A2] * 9, board={"nut_width": 130, "radius": 900}),
    "moved": made(compensation={"nut": "common"}, board={"radius": 300}),
    "shelves": made(compensation={"nut": "per string"}),
    "first gaps": made(setup={"first_gap": [0.3, 0.45], "relief": 0.3}, board={"radius": [254, 406]}),
    "on the board": made(nut={"seat": 0}, board={"radius": 254}),
    "on a flat seat": made(nut={"seat": 0, "seat_radius": 0}, board={"radius": 400}),
    "hollow": made(nut={"seat": 5.5, "seat_radius": 254, "height": 11}, board={"radius": 254}),
    "hollow, leaning": {**FANNED, "strings": [E4, E4, A2, A2, A2], "nut": {"seat_radius": 300}},
    "in a groove": made(nut={"slot": 5, "seat": 3, "ledge": 2}, board={"behind_nut": 7}),
    "too low": made(nut={"height": 4}),
    "a course": made(strings=[{**E4, "course": 1}, {**E4, "course": 1}, {**A2, "course": 2}, {**A2, "course": 2}],
                     board={"nut_width": 20, "course_spacing": [1.2, 1.2]}),
}  # fmt: skip


def read_dxf(instrument, unit="mm"):
    return ezdxf.read(io.StringIO(dxf(draw_sheet(instrument, "nut"), unit=unit).decode("cp1252", "replace")))


def read(instrument, unit="mm"):
    """Read a nut sheet back: the corners of all that is cut, arcs as many short sides [mm]."""
    document = read_dxf(instrument, unit)
    size = {4: 1.0, 1: 25.4}[document.header["$INSUNITS"]]
    cut = [e for e in document.modelspace() if e.dxf.layer.startswith("CUT") or e.dxf.layer == "DRILL"]
    (contour,) = cut
    assert contour.dxf.layer == "CUT_OUTLINE"
    assert contour.closed
    rows = list(contour.get_points("xyb"))
    points = []
    for (x0, y0, bulge), (x1, y1, _) in zip(rows, [*rows[1:], rows[0]], strict=True):
        points.append((x0, y0))
        if bulge:  # the angle of the arc is four times that whose tangent the bulge is; its middle stands beside
            turn, chord = 4 * math.atan(bulge), complex(x1 - x0, y1 - y0)
            centre = complex(x0, y0) + chord / 2 * (1 + 1j / math.tan(turn / 2))
            ray = complex(x0, y0) - centre
            around = [centre + ray * complex(math.cos(a), math.sin(a)) for a in np.linspace(0, turn, 2000)[1:-1]]
            points += [(p.real, p.imag) for p in around]
    return size * np.array(points)


def crossings(points, x):
    """Give where an upright line through x enters and leaves a polygon, from below."""
    following = np.roll(points, -1, axis=0)
    astride = (points[:, 0] < x) != (following[:, 0] < x)
    (x0, z0), (x1, z1) = points[astride].T, following[astride].T
    return np.sort(z0 + (x - x0) / (x1 - x0) * (z1 - z0))


def across(a, b, c, d):
    """Cross the line through two points with that through two others."""
    m = np.array([[b[0] - a[0], c[0] - d[0]], [b[1] - a[1], c[1] - d[1]]])
    share, _ = np.linalg.solve(m, np.subtract(c, a))
    return np.add(a, share * np.subtract(b, a))


class Laid:
    """Strings laid over a board by plane geometry: what the nut has to be, from the plan alone.

    How far a common nut offset moves the nut is taken from the engine, which other tests look after.
    """

    def __init__(self, instrument):
        plan = instrument.plan
        exact = exact_neck(plan)
        nuts, saddles = (np.array(exact[ends], dtype=float) for ends in ("nuts", "saddles"))
        self.plan = plan
        self.line = (nuts[0], nuts[-1]) if len(nuts) > 1 else (nuts[0], nuts[0] + [0, 1])
        lean = np.subtract(*self.line)
        self.longer = np.hypot(*lean) / abs(lean[1])
        far = [np.array(exact["slots"][-1][end], dtype=float) for end in (0, 1)]
        self.last = across(*far, (0, 0), (1, 0))[0]
        back = 0.0
        if plan.frets.zero_fret:
            usual = 8.0 if plan.board.behind_nut is None else plan.board.behind_nut
            back = max(usual - (plan.nut.slot + plan.nut.ledge if plan.nut.slot else 0.0), 0.0)
        step = np.array([instrument.neck.nut_moved - back, 0.0])
        front = [end + step for end in self.line]
        middle = across(*front, (0, 0), (1, 0))

        def along(first, second):
            there = across(*front, first, second)
            return np.sign(there[1]) * np.hypot(*(there - middle))

        self.places = np.array([along(*ends) for ends in zip(nuts, saddles, strict=True)])
        self.ends = sorted(along(*np.array(edge, dtype=float)) for edge in exact["edges"])
        self.bottoms = self._bottoms(exact, nuts, saddles)
        self.gauges = np.array([string.gauge for string in plan.strings])
        self.seat = plan.board.thickness if plan.nut.seat is None else plan.nut.seat
        radius = plan.nut.seat_radius
        if radius is None and self.seat == 0:
            radius = self.radius(middle[0])
        self.under = radius * self.longer**2 if radius else 0.0

    def radius(self, x):
        first, last = self.plan.board.radius
        return first + (last - first) * x / self.last

    def surface(self, x, y):
        """Give the height of the wood, the bow not in it, above its middle at the nut."""
        radius = self.radius(x)
        return math.sqrt(radius**2 - y**2) - radius if radius else 0.0

    def _bottoms(self, exact, nuts, saddles):
        plan, setup = self.plan, self.plan.setup
        if plan.frets.zero_fret or setup.first_gap is None:
            over = plan.frets.height + setup.nut_action
            if plan.frets.zero_fret:  # the strings lie on it, and it may be higher than the others
                over = plan.frets.zero_fret_height or plan.frets.height
            return np.array([self.surface(*end) + over for end in nuts])
        begin, end = (across(*np.array(exact["slots"][fret], dtype=float), (0, 0), (1, 0))[0]
                      for fret in plan.relief_between)  # fmt: skip
        heights = []
        for fret, gaps in ((1, setup.first_gap), (plan.action_fret, setup.action)):
            reach = np.array(exact["from_nut"][fret], dtype=float)
            ways = (saddles - nuts) / np.array(exact["scales"], dtype=float)[:, None]
            points = nuts + reach[:, None] * ways
            treble, bass = points[0, 1], points[-1, 1]
            crowns = []
            for x, y in points:
                inside = begin < x < end and plan.relief_between[1] - plan.relief_between[0] > 1
                bow = 4 * setup.relief * (x - begin) * (end - x) / (end - begin) ** 2 if inside else 0.0
                share = (y - bass) / (treble - bass) if treble != bass else 0.5
                crowns.append(self.surface(x, y) - bow + plan.frets.height + gaps[1] + share * (gaps[0] - gaps[1]))
            heights.append((reach, np.array(crowns)))
        (near, low), (far, high) = heights
        return low - near * (high - low) / (far - near)

    def foot(self, x):
        return -self.seat + (math.sqrt(self.under**2 - x**2) - self.under if self.under else 0.0)

    @property
    def lowest(self):
        return min(self.foot(self.ends[0]), self.foot(self.ends[1]), self.foot(0.0))

    @property
    def height(self):
        return max(self.plan.nut.height, (self.bottoms + self.gauges / 2).max() - self.lowest)


def check(instrument, unit="mm"):
    points, laid = read(instrument, unit), Laid(instrument)
    shape = shapely.Polygon(points)
    assert shape.is_valid
    left, low, right, high = shape.bounds
    assert (left, right) == pytest.approx(tuple(laid.ends), abs=NEAR)
    assert high - low == pytest.approx(laid.height, abs=NEAR)
    seated = crossings(points, 1e-7)[0]  # the underside at the middle stands on the seat
    level = seated + laid.seat  # the board's surface at its middle
    assert low - level == pytest.approx(laid.lowest, abs=NEAR)
    for place, bottom, gauge in zip(laid.places, laid.bottoms, laid.gauges, strict=True):
        foot, top = crossings(points, place)
        assert foot - level == pytest.approx(laid.foot(place), abs=NEAR)
        assert top - level == pytest.approx(bottom, abs=NEAR)
        assert foot < top < high
        # The string goes down to its bottom, and wood stays under and beside it.
        string = shapely.box(place - gauge / 2, top, place + gauge / 2, high + 1)
        assert shape.intersection(string).area < NEAR * gauge
        assert shape.contains(shapely.Point(place, (foot + top) / 2))
    return points, laid


@pytest.mark.parametrize("name", [name for name in STARTERS if "zero-fret" not in name])
def test_the_nut_of_every_starter(name):
    instrument = lay_out(starter(name))
    points, _ = check(instrument)
    odd = {"nut blank too low", "nut seat", "thin nut", "nut groove"}
    assert not odd & {finding.kind for finding in instrument.findings}
    assert np.ptp(points[:, 1]) == pytest.approx(10.0, abs=NEAR)


@pytest.mark.parametrize("name", CASES)
@pytest.mark.parametrize("unit", ["mm", "in"])
def test_nuts(name, unit):
    check(lay_out(Plan.model_validate(CASES[name])), unit)


def test_a_zero_fret_starter_with_a_nut():
    check(lay_out(starter("travel-six-zero-fret").model_copy(update={"nut": {"height": 9}})))


def test_any_nut():
    """On plans of every kind; each that is drawn counts."""
    drawn = []

    def holds(given):
        given = {**given, "nut": {key: value for key, value in given.get("nut", {}).items() if key != "locking"}}
        try:
            instrument = lay_out(Plan.model_validate(given))
        except PlanError:
            return
        if SHEETS["nut"].missing(instrument) is None:
            check(instrument)
            drawn.append(given)

    prove(holds, any_plan() | any_plan(whole=True), 250)
    say(f"{len(drawn)} nuts drawn")
    # Half of the plans have a nut to draw; of the few in the quick profile it hangs on chance, which constants of
    # loaded modules sway.
    assert len(drawn) >= (100 if FULL else 1)


def test_slots_are_wider_than_their_strings_by_what_the_sheet_says():
    """Half a slot to either side of its string, 0.05 in all for plain ones and 0.10 for wound ones."""
    points, laid = check(lay_out(Plan.model_validate(made())))
    for place, string in zip(laid.places, laid.plan.strings, strict=True):
        _, bottom = crossings(points, place)
        flat = points[np.isclose(points[:, 1], bottom, atol=1e-6) & (np.abs(points[:, 0] - place) < 2), 0]
        air = 0.10 if string.kind == "wound steel" else 0.05
        # Strings fan out by 1.3 degrees at most: a slot square to the nut is that little wider.
        assert np.ptp(flat) == pytest.approx(string.gauge + air, rel=5e-4)
        assert flat.mean() == pytest.approx(place, abs=1e-5)


def test_a_leaning_nut_has_its_slots_wider_by_the_secant():
    given = {**FANNED, "strings": [E4, E4, A2, A2, A2], "nut": {}}
    points, laid = check(lay_out(Plan.model_validate(given)))
    place = laid.places[2]
    _, bottom = crossings(points, place)
    flat = points[np.isclose(points[:, 1], bottom, atol=1e-6) & (np.abs(points[:, 0] - place) < 2), 0]
    assert np.ptp(flat) == pytest.approx(
        (0.9144 + 0.10) * laid.longer, rel=2e-3
    )  # the middle string fans out by little


def words(instrument):
    return " ".join(e.text for e in draw_sheet(instrument, "nut").entities if isinstance(e, Text))


def test_a_blank_too_low_is_a_finding_with_the_height_it_needs():
    """By hand: 6 of board, fret 1.0, nut action 0.3 and half of a string of .036 in."""
    instrument = lay_out(Plan.model_validate(made(nut={"height": 7})))
    (finding,) = [each for each in instrument.findings if each.kind == "nut blank too low"]
    assert finding.numbers == pytest.approx({"height": 7.0, "needed": 6 + 1.0 + 0.3 + 0.9144 / 2})
    assert "need 7.76 mm" in finding.words
    assert "need 7.76 mm" in words(instrument)
    enough = lay_out(Plan.model_validate(made(nut={"height": 7.76})))
    assert not [each for each in enough.findings if each.kind == "nut blank too low"]


@pytest.mark.parametrize(
    ("changes", "kind", "says"),
    [
        ({"board": {"behind_nut": 10}}, "nut seat", "nut.seat = 0 if it stands on the board"),
        ({"board": {"radius": 180}, "nut": {"seat": 0, "seat_radius": 0}}, "thin nut", "of nut left under the slot"),
        ({"strings": [{**E4, "course": 1}, {**E4, "course": 1}, A2, A2], "board": {"course_spacing": 0.5}},
         "thin nut", "strings 1 and 2 leave 0.20 mm"),
        ({"strings": [{**A2, "course": 1}, {**A2, "course": 1}, A2, A2], "board": {"course_spacing": 0.95}},
         "thin nut", "strings 1 and 2 run into each other"),
    ],
)  # fmt: skip
def test_what_is_odd_about_a_nut_is_said(changes, kind, says):
    if isinstance(changes.get("board", {}).get("course_spacing"), float):
        changes["board"]["course_spacing"] = [changes["board"]["course_spacing"], 3.0]
    instrument = lay_out(Plan.model_validate(made(**changes)))
    assert [each.words for each in instrument.findings if each.kind == kind and says in each.words]
    assert says in words(instrument)


def test_a_slot_through_the_foot_is_not_drawn():
    instrument = lay_out(
        Plan.model_validate(made(nut={"seat": 0, "seat_radius": 0}, board={"radius": 120}, frets={"height": 0.6}))
    )
    assert "through the foot of the nut" in SHEETS["nut"].missing(instrument)


LOCKING = {"rise": 6.5, "shim": 0.4, "bolts": [[5, 10, 4], [5, -12, 4]]}


@pytest.mark.parametrize("left_handed", [False, True])
def test_a_locking_nut_has_a_shelf_a_shim_and_bolts(left_handed):
    """By hand: 6.5 of part and 0.4 of shim, with its strings 1.0 + 0.3 over the board: the shelf lies 5.6 down."""
    given = made(nut={"locking": LOCKING, "thickness": 8}, board={"left_handed": left_handed})
    instrument = lay_out(Plan.model_validate(given))
    assert instrument.fitted.seat == pytest.approx(5.6)
    assert instrument.fitted.shims == pytest.approx((0.4, 0.4))
    document = read_dxf(instrument)
    assert not document.modelspace().query('*[layer=="CUT_OUTLINE"]')  # it is bought, not cut
    holes = [(*e.dxf.center.vec2, e.dxf.radius) for e in document.modelspace().query('CIRCLE[layer=="DRILL"]')]
    side = -1 if left_handed else 1
    # Up the sheet is toward the tuners, the treble side of a right-handed instrument to the right.
    assert np.array(holes) == pytest.approx(np.array([(side * 10, 5, 2), (side * -12, 5, 2)]))
    assert "shelf 5.60 below the board's surface" in words(instrument)


def test_the_shims_of_a_locking_nut_on_a_shelf_that_is_there():
    """By hand: the shelf 6.0 down, the part 6.5 high, the strings 1.0 over the board and what the first gaps add."""
    given = made(nut={"locking": {"rise": 6.5}, "seat": 6.0}, setup={"nut_action": 0.3})
    instrument = lay_out(Plan.model_validate(given))
    assert instrument.fitted.shims == pytest.approx((0.8, 0.8))
    deeper = lay_out(
        Plan.model_validate(made(nut={"locking": {"rise": 6.5}, "seat": 5.0}, setup={"nut_action": 0.3}))
    )
    (finding,) = [each for each in deeper.findings if each.kind == "locking nut too high"]
    assert finding.numbers == pytest.approx({"too_high": 0.2, "needed": 5.2})
    low = lay_out(Plan.model_validate(made(nut={"locking": {"rise": 1.0}}, setup={"nut_action": 0.3})))
    (finding,) = [each for each in low.findings if each.kind == "locking nut too low"]
    assert finding.numbers == pytest.approx({"shim": 0.0, "needed": 0.3})


@pytest.mark.parametrize(
    ("nut", "where"),
    [
        ({"locking": {"rise": 6, "shim": 0.3}, "seat": 5}, "nut.locking.shim"),
        ({"locking": {"rise": 6}, "slot": 5}, "nut.slot"),
        ({"locking": {"rise": 6}, "seat_radius": 300}, "nut.seat_radius"),
        ({"locking": {}}, "nut.locking.rise"),
        ({"seat_radius": 30}, "nut.seat_radius"),
    ],
)
def test_what_cannot_be_meant_is_refused(nut, where):
    with pytest.raises(PlanError) as refused:
        Plan.model_validate(made(nut=nut))
    assert [fault.where for fault in refused.value.faults] == [where]


def test_sheets_dimension_width_height_thickness_and_seat():
    instrument = lay_out(starter("electric-six"))
    texts = [e.text for e in draw_sheet(instrument, "nut").entities if isinstance(e, Text) and e.layer == Layer.DIM]
    for figure in ("42.50", "10.00", "3.50", "6.00"):
        assert figure in texts
    said = words(instrument)
    for part in ("slots, 4:1", "toward the tuner", "nut seat 6.00"):
        assert part in said


@pytest.mark.parametrize(("aside", "kinds"), [(10, set()), (20, {"near the edge"})])
def test_bolts_of_a_locking_nut_at_the_edge_of_the_board(aside, kinds):
    """The board is 42.5 wide: a hole of 4 whose middle lies 20 off the centre line breaks out."""
    locking = {**LOCKING, "bolts": [[5, aside, 4]]}
    found = lay_out(Plan.model_validate(made(nut={"locking": locking, "thickness": 8}))).findings
    assert {finding.kind for finding in found} & {"near the edge"} == kinds
