"""The report, opened in a real browser: what it shows, fetches, prints and lets people do."""

import math
import os
import re
import subprocess
import sys
import tomllib
from collections import Counter
from fnmatch import fnmatch
from itertools import cycle

import pytest
from helpers import FANNED, FULL, STARTERS, TOP, contents, crossed, some, starter

from slotwright.cli import main
from slotwright.layout.export.report import facts
from slotwright.layout.export.report.page import page
from slotwright.layout.instrument.instrument import lay_out
from slotwright.layout.plan.plan import Plan
from slotwright.layout.plan.reader import parse_plan
from slotwright.layout.readings.notes import Reading
from slotwright.templates import starters

PHONE = {"width": 390, "height": 844}
PAPERS = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}
SECTIONS = {
    "glance": "At a glance", "frets": "Frets", "widths": "Width of the board", "strings": "Strings", "pitch": "Pitch", "contacts": "Saddle and nut",
    "bridge": "Bridge", "findings": "Findings", "assumed": "Assumed", "cautions": "Cautions", "made": "Method",
}  # fmt: skip
NASTY = "<script>alert(1)</script>"

_harp = [{"frequency": 220 * 2 ** (-i / 6), "gauge": f"0.0{9 + i:02d} in", "kind": "plain steel"} for i in range(18)]
ODD = {
    "unknown": contents(title=NASTY),
    "half known": contents(strings=[{"pitch": "E4", "gauge": 0.3}, {"pitch": "B3"}, {}]),
    "fan": FANNED,
    "one": contents(
        strings=[{"pitch": "D2", "gauge": "0.065 in", "kind": "wound steel"}],
        board={"nut_width": 20, "edge_margin": 9},
        frets={"count": 1},
        bridge={"kind": "individual saddles", "travel": 9},
    ),
    "eighteen": contents(
        units="in",
        strings=_harp,
        scale={"length": 26},
        frets={"count": 60, "divisions": 24},
        board={"nut_width": 6.5},
    ),
    "left": contents(
        strings=[{"pitch": p, "gauge": "0.02 in", "kind": "plain steel"} for p in ("G3", "D3", "A2", "E2")],
        board={"left_handed": True},
        compensation={"nut": "common"},
        bridge={
            "kind": "two posts",
            "post_spread": 74,
            "travel": 8,
            "holes": [[10, 5, 3]],
            "outline": [86, 15],
            "existing_holes": [[640, 36, 10], [640, -36, 10]],
        },
    ),
}
PLANS = ["electric-six", "bass-five-multiscale", "left", "eighteen"]
if FULL:
    PLANS += ["nylon-six", "mandolin", "travel-six-zero-fret", *(name for name in ODD if name not in PLANS)]


def instrument(name):
    return lay_out(starter(name) if name in STARTERS else Plan.model_validate(ODD[name]))


@pytest.fixture(scope="session")
def written(tmp_path_factory):
    """Write the report of a plan once, and give its path."""
    folder = tmp_path_factory.mktemp("reports")

    def once(name):
        path = folder / f"{name}.html"
        if not path.exists():
            path.write_bytes(page(instrument(name)))
        return path

    return once


@pytest.fixture
def visit(chromium, written):
    """Open a report; the page remembers what it asked for and complained of."""
    opened = []

    def once(name, **how):
        context = chromium.new_context(**how)
        opened.append(context)
        tab = context.new_page()
        tab.asked, tab.told = [], []
        tab.on("request", lambda request: tab.asked.append(request.url))
        tab.on("console", lambda message: tab.told.append(message.text))
        tab.on("pageerror", lambda error: tab.told.append(str(error)))
        tab.on("dialog", lambda dialog: (tab.told.append(dialog.message), dialog.dismiss()))
        tab.goto(written(name).as_uri())
        return tab

    yield once
    for context in opened:
        context.close()


def in_one(words):
    """Take lengths in the other unit out of a text."""
    return re.sub(r" \([-+\d., /a-z]+ (?:mm|in)\)", "", words)


def texts(tab, selector):
    return [text.strip() for text in tab.locator(selector).all_text_contents()]


@pytest.mark.parametrize("name", PLANS)
def test_it_opens_quietly_and_asks_for_nothing(visit, written, name):
    tab = visit(name)
    tab.wait_for_load_state("networkidle")
    assert tab.told == []
    assert [url for url in tab.asked if not url.startswith("data:")] == [written(name).as_uri()]
    # Nor could it: whatever a page tried is refused by what it says of itself.
    assert "default-src 'none'" in tab.locator("meta[http-equiv]").get_attribute("content")


@pytest.mark.parametrize("name", PLANS)
def test_no_column_is_empty(visit, name):
    tables = (
        visit(name)
        .locator("table")
        .evaluate_all("""all => all.map(table => [...table.tBodies].flatMap(
        body => [...body.rows].map(row => [...row.cells].map(cell => cell.textContent.trim()))))""")
    )
    assert tables
    for rows in tables:
        whole = [row for row in rows if len(row) == max(map(len, rows))]  # less is a heading across
        assert all(any(column) for column in zip(*whole, strict=True))


def test_all_charts_have_one_scale(visit):
    tab = visit("electric-six")
    levels = tab.locator(".charts svg").evaluate_all(
        "all => all.map(e => [...e.querySelectorAll('.levels text')].map(t => [t.textContent, t.getAttribute('y')]))"
    )
    assert len(levels) == 6
    assert all(each == levels[0] for each in levels)
    strung = instrument("electric-six").strung
    low, high = (float(levels[0][end][0].replace("\u2212", "-")) for end in (0, -1))
    assert low <= min(strung.before.total.min(), strung.after.total.min())
    assert high >= max(strung.before.total.max(), strung.after.total.max())


def test_a_dark_page_is_dark_and_its_print_is_not(visit):
    tab = visit("electric-six", color_scheme="dark")
    shade = "document => getComputedStyle(document.body).backgroundColor.match(/[0-9]+/g).slice(0, 3).map(Number)"
    assert max(tab.evaluate(f"({shade})(document)")) < 60
    tab.emulate_media(media="print", color_scheme="dark")
    assert min(tab.evaluate(f"({shade})(document)")) > 240


def test_what_is_wanted_comes_first_on_a_phone(visit):
    tab = visit("electric-six", viewport=PHONE)
    tops = {name: tab.locator(f"#{name}").bounding_box()["y"] for name in ("glance", "contacts", "frets", "strings")}
    assert sorted(tops, key=tops.get) == ["glance", "contacts", "frets", "strings"]
    # The set-back stands in sight, whatever else a table has.
    for table in ("contacts", "strings"):
        head = tab.locator(f"#{table} thead th", has_text="set back").bounding_box()
        assert head["x"] + head["width"] <= PHONE["width"]


def test_the_half_beside_the_frets_is_used(visit):
    tab = visit("electric-six", viewport={"width": 1280, "height": 900})
    frets, widths = (tab.locator(f"#{name}").bounding_box() for name in ("frets", "widths"))
    assert widths["x"] > frets["x"] + frets["width"]
    assert abs(widths["y"] - frets["y"]) < 2
    neck = instrument("electric-six").neck
    across = [float(text) for text in texts(tab, "#widths .main")]
    # A plain taper: 42.5 at the nut, as wide elsewhere as the outer strings and their margins make it.
    ends = neck.lines_in_board
    assert across == pytest.approx([float(abs(b[1] - a[1])) for a, b in ends], abs=0.006)


def test_findings_tell_lengths_in_both_units():
    plan = starter("steel-twelve")
    made = lay_out(plan)
    seen = 0
    for words in facts.findings(made):
        for one, other in re.findall(r"([\d.]+) mm \(([\d.]+) in\)", words):
            assert float(one) / 25.4 == pytest.approx(float(other), abs=0.0006)
            seen += 1
    assert seen
    assert facts.in_both("0.5 to 1.25 mm", "mm") == "0.5 to 1.25 mm (0.020 to 0.049 in)"
    assert facts.in_both("string 3 in tune, 0.125 in wide", "in") == "string 3 in tune, 0.125 in (3.17 mm) wide"
    assert facts.in_both("frets 5, 7 and 9: nothing", "mm") == "frets 5, 7 and 9: nothing"


@pytest.mark.parametrize("name", PLANS)
def test_no_sideways_scroll_on_a_phone(visit, name):
    tab = visit(name, viewport=PHONE)
    assert tab.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]
    # What is wider scrolls in its own frame.
    for box in tab.locator("main > section > *").evaluate_all("all => all.map(e => e.getBoundingClientRect().right)"):
        assert box <= PHONE["width"]


WAYS = [(viewport, light) for light in ("light", "dark") for viewport in (None, PHONE)]


@pytest.mark.parametrize(("name", "viewport", "light"), [(name, *way) for name, way in zip(PLANS, cycle(WAYS))])
def test_no_serious_fault_of_accessibility(visit, axe, name, viewport, light):
    tab = visit(name, bypass_csp=True, color_scheme=light, **({"viewport": viewport} if viewport else {}))
    tab.add_script_tag(path=axe)
    found, held = tab.evaluate("""async () => {
        const told = await axe.run();
        return [told.violations.map(v => [v.impact, v.id, v.nodes.map(n => n.html)]), told.passes.map(p => p.id)];
    }""")
    assert [fault for fault in found if fault[0] in ("serious", "critical")] == []
    assert {"color-contrast", "label", "document-title"} <= set(held)  # it did look


@pytest.mark.parametrize("name", some(["electric-six", "bass-five-multiscale", "travel-six-zero-fret"]))
def test_every_switch_takes_its_layer_away_and_brings_it_back(visit, name):
    tab = visit(name)
    switches = tab.locator(".layers input")
    names = switches.evaluate_all("all => all.map(each => each.name)")
    assert set(names) == {"strings", "contacts", "bridge", "marks", "numbers", "lines"}
    for layer in names:
        drawn = tab.locator(f".view .{layer}")
        assert drawn.evaluate("e => getComputedStyle(e).display") != "none"
        tab.locator(f".layers input[name={layer}]").uncheck()
        assert drawn.evaluate("e => getComputedStyle(e).display") == "none"
        tab.locator(f".layers input[name={layer}]").check()
        assert drawn.evaluate("e => getComputedStyle(e).display") != "none"


def test_no_switch_for_what_is_not_drawn(visit):
    tab = visit("unknown")
    assert tab.locator(".layers input").evaluate_all("all => all.map(each => each.name)") == [
        "strings", "numbers", "lines",
    ]  # fmt: skip


@pytest.mark.parametrize(("fret", "way"), crossed([1, 7, 22], ["hover", "tap", "keys"]))
def test_a_fret_tells_its_distances(visit, fret, way):
    tab = visit("electric-six", has_touch=way == "tap")
    if way == "keys":
        slider = tab.get_by_role("slider")
        slider.focus()
        slider.press("Home")
        for _ in range(fret):
            slider.press("ArrowRight")
    else:
        getattr(tab.locator(f'[data-fret="{fret}"] line'), way)(force=True)
    far = 628 * (1 - 2 ** (-fret / 12))
    told = " ".join(tab.locator(".reader").inner_text().split())
    assert f"Fret {fret} from the nut {far:.3f} mm ({far / 25.4:.4f})" in told
    assert f"to the saddle line {628 - far:.3f} mm" in told
    assert tab.locator("tr.now th").inner_text() == str(fret)


def test_the_picture_grows_about_its_middle(visit):
    tab = visit("electric-six")
    view, drawn = tab.locator(".view"), tab.locator(".view svg")
    wide = drawn.bounding_box()["width"]
    tab.locator('[value="4"]').check()
    assert drawn.bounding_box()["width"] == pytest.approx(4 * wide, rel=1e-3)
    middle = "e => (e.scrollLeft + e.clientWidth / 2) / e.scrollWidth"
    assert view.evaluate(middle) == pytest.approx(0.5, abs=0.01)
    view.evaluate("e => e.scrollTo(0.7 * e.scrollWidth, 0)")
    tab.wait_for_timeout(100)
    there = view.evaluate(middle)
    tab.locator('[value="8"]').check()
    assert view.evaluate(middle) == pytest.approx(there, abs=0.01)


@pytest.mark.parametrize(("name", "paper"), list(zip(PLANS, cycle(PAPERS))))
def test_a_print_has_everything(visit, pdftotext, tmp_path, name, paper):
    tab = visit(name)
    wanted = texts(tab, "td .main")
    headings = texts(tab, "h2")
    file = tmp_path / "print.pdf"
    tab.pdf(path=file, format=paper)
    lines = [line.strip() for line in pdftotext("-raw", file).splitlines()]
    places = [lines.index(heading) for heading in headings]
    assert places == sorted(places)
    boxes = pdftotext("-bbox", file)
    words = re.findall(r'xMin="([\d.]+)" yMin="[\d.]+" xMax="([\d.]+)" yMax="[\d.]+">([^<]*)', boxes)
    found = Counter(word for _, _, word in words)
    for length, times in Counter(length.split()[0] for length in wanted).items():
        assert found[length] >= times, length
    for size in re.findall(r'<page width="([\d.]+)" height="([\d.]+)"', boxes):
        assert [float(side) / 72 * 25.4 for side in size] == pytest.approx(PAPERS[paper], abs=0.5)
    # Inside the margins, so nothing runs off the paper.
    across = PAPERS[paper][0] / 25.4 * 72
    assert min(float(left) for left, _, _ in words) > 13 / 25.4 * 72
    assert max(float(right) for _, right, _ in words) < across - 13 / 25.4 * 72


@pytest.mark.parametrize("name", some(PLANS[:4], 2))
def test_all_is_readable_without_scripts(visit, name):
    scripted, plain = visit(name), visit(name, java_script_enabled=False)
    for selector in ("main section", "h1", "header"):
        for one, other in zip(
            scripted.locator(selector).all_inner_texts(), plain.locator(selector).all_inner_texts(), strict=True
        ):
            # Only the reader of frets is missing.
            words = set(one.split()) - set(scripted.locator(".instrument").inner_text().split())
            assert words <= set(other.split())
    assert not plain.locator(".reader").is_visible()
    assert all(section.is_visible() for section in plain.locator("section").all())
    plain.locator(".layers input[name=strings]").uncheck()
    assert not plain.locator(".view .strings").is_visible()


@pytest.mark.parametrize(
    "title",
    [NASTY, '"><img src=x onerror=alert(1)>', "{{ 7 * 7 }} {% raw %}", "</title></style>& amp", "\u5b57 \u202e"],
)
def test_a_title_is_shown_as_it_was_written(chromium, tmp_path, title):
    plan = contents(title=title, job={"reference": title[:60], "drawn_by": NASTY})
    path = tmp_path / "page.html"
    path.write_bytes(page(lay_out(Plan.model_validate(plan))))
    tab = chromium.new_page()
    told = []
    tab.on("dialog", lambda dialog: (told.append(dialog.message), dialog.dismiss()))
    tab.on("console", lambda message: told.append(message.text))
    tab.goto(path.as_uri())
    assert told == []
    shown = lay_out(Plan.model_validate(plan)).title
    assert tab.locator("h1").text_content() == shown
    assert tab.title() == " ".join(shown.split())
    assert texts(tab, ".job dd")[1] == NASTY
    assert tab.locator("img").count() == 0
    assert tab.locator("script").count() == 1
    tab.close()


@pytest.mark.parametrize("name", some(["electric-six", "nylon-six", "ukulele"]))
def test_frets_stand_where_the_rule_of_frets_puts_them(visit, name):
    tab = visit(name)
    scale = starter(name).scale.length
    rows = tab.locator(".frets tbody tr")
    drawn = tab.locator(".view [data-fret] line")
    for fret in range(starter(name).frets.count + 1):
        far = scale * (1 - 2 ** (-fret / 12))
        cells = texts(rows.nth(fret), ".length span")
        assert cells[:4] == [
            f"{far:.3f}",
            f"({far / 25.4:.4f})",
            f"{scale - far:.3f}",
            f"({(scale - far) / 25.4:.4f})",
        ]
        assert float(drawn.nth(fret).get_attribute("x1")) == pytest.approx(far, abs=0.006)
        tip = tab.locator(f'.view [data-fret="{fret}"] title').text_content()
        assert f": {far:.3f} mm ({far / 25.4:.4f} in) from the nut" in tip or (fret, tip) == (0, "nut")


def test_a_fan_is_measured_along_its_outer_strings(visit):
    rows = visit("bass-five-multiscale").locator(".frets tbody tr")
    for fret in range(25):
        main = texts(rows.nth(fret), ".main")
        assert [float(main[1]), float(main[2])] == pytest.approx(
            [scale * (1 - 2 ** (-fret / 12)) for scale in (838, 889)], abs=6e-4
        )
    angles = [float(text) for text in texts(rows, "td:nth-last-child(2)")]
    assert angles[7] == 90
    assert angles[0] < 85
    assert angles[24] > 95


def test_inches_come_first_where_the_plan_has_them(visit):
    tab = visit("eighteen")
    row = tab.locator(".frets tbody tr").nth(24)
    assert texts(row, ".length span")[:2] == ["13.0000", "(330.200)"]
    assert "in (mm)" in texts(tab, ".frets .unit")[0]
    assert "26.000 in (660.40 mm)" in " ".join(tab.locator("#glance dl").inner_text().split())
    pull = texts(tab.locator("#strings tbody tr").first, "td .main, td .other")[2:4]
    # A pound of force is 4.448 N.
    assert float(pull[1].strip("() N")) / float(pull[0].removesuffix(" lb")) == pytest.approx(4.448, rel=0.01)


@pytest.mark.parametrize("name", some(["electric-six", "nylon-six", "mandolin"]))
def test_contacts_are_measured_from_the_octave_crown(visit, name):
    made = instrument(name)
    rows = visit(name).locator("#contacts tbody tr")
    for string, scale in enumerate(made.neck.scales):
        cells = [float(text) for text in texts(rows.nth(string), ".main")]
        octave = scale / 2
        assert cells[0] == pytest.approx(octave + made.strung.offsets.saddle[string], abs=0.006)
        assert cells[1] == pytest.approx(made.strung.offsets.saddle[string], abs=0.006)
        doubted = made.strung.bodies[string].estimated  # with its range in a cell before
        assert cells[2 + doubted] == pytest.approx(octave - made.strung.offsets.nut[string], abs=0.006)


def test_the_bridge_in_figures(visit):
    tab = visit("electric-six")
    for row in tab.locator("#bridge table").first.locator("tbody tr").all():
        _, before, behind = (float(text) for text in texts(row, ".main"))
        assert before + behind == pytest.approx(9.0, abs=0.011)  # the plan's travel
    datum = float(re.search(r"lies ([\d.]+) mm", tab.locator("#bridge p").first.inner_text())[1])
    # From crown 12 at the board's edge to the front corner: 6 mm before the datum, 43 mm off the centre line.
    half = float(re.search(r"([\d.]+) mm", texts(tab, "#glance dd")[2])[1]) / 2
    near, far = math.hypot(datum - 6, 43 - half), math.hypot(datum - 6, 43 + half)
    checks = [float(re.search(r"[\d.]+", text)[0]) for text in texts(tab, "#bridge .figures dd")]
    assert checks == pytest.approx([near, near, far, far], abs=0.02)


def test_holes_that_are_there_are_drawn(visit):
    tab = visit("left")
    drawn = tab.locator("#bridge circle.there").all()
    assert [tuple(float(c.get_attribute(a)) for a in ("cx", "cy", "r")) for c in drawn] == [
        (-36, 640, 5),
        (36, 640, 5),
    ]
    assert "holes that are there" in tab.locator("#bridge figcaption").inner_text()
    assert visit("electric-six").locator("#bridge circle.there").count() == 0


def test_travel_that_does_not_suffice_is_marked(chromium, tmp_path):
    text = starters()["electric-six"].replace("travel = 9.0", "travel = 4.0")
    made = lay_out(parse_plan(text.encode()))
    path = tmp_path / "page.html"
    path.write_bytes(page(made))
    tab = chromium.new_page()
    tab.goto(path.as_uri())
    rows = tab.locator("#bridge table").first.locator("tbody tr").all()
    marked = [row.locator(".remark").inner_text() == "short" for row in rows]
    assert marked == [min(map(float, texts(row, ".main")[1:])) < 1.0 for row in rows]
    assert 0 < sum(marked) < 6
    told = in_one(tab.locator("#findings").inner_text().lower())
    assert all(finding.words.lower() in told for finding in made.bridge_findings)
    tab.close()


def test_the_keyboard_stops_only_at_frames_that_scroll(visit):
    for viewport in (PHONE, {"width": 1280, "height": 900}):
        tab = visit("nylon-six", viewport=viewport)
        tab.wait_for_timeout(100)
        frames = tab.locator(".wide").evaluate_all("all => all.map(e => [e.tabIndex, e.scrollWidth > e.clientWidth])")
        assert all((index == 0) == scrolls for index, scrolls in frames)
        assert any(scrolls for _, scrolls in frames) == (viewport is PHONE)


@pytest.mark.parametrize("name", some(["electric-six", "bass-five-multiscale", "eighteen"]))
def test_charts_stand_at_the_errors_they_show(visit, name):
    strung = instrument(name).strung
    charts = visit(name).locator(".charts svg")
    assert charts.count() == len(strung.bodies)
    for string in range(charts.count()):
        chart = charts.nth(string)
        levels = [float(text.replace("\u2212", "-")) for text in texts(chart, ".levels text")]
        heights = [
            float(y) for y in chart.locator(".levels line").evaluate_all("all => all.map(e => e.getAttribute('y1'))")
        ]
        per_cent = (heights[-1] - heights[0]) / (levels[-1] - levels[0])
        for which, errors in (("before", strung.before.total), ("after", strung.after.total)):
            points = chart.locator(f".{which} polyline").get_attribute("points").split()
            shown = [(float(point.split(",")[1]) - heights[0]) / per_cent + levels[0] for point in points]
            assert shown == pytest.approx(list(errors[string]), abs=abs(0.011 / per_cent))
        band = chart.locator(".band")
        top, tall = (float(band.get_attribute(key)) for key in ("y", "height"))
        assert [(y - heights[0]) / per_cent + levels[0] for y in (top, top + tall)] == pytest.approx(
            [2, -2], abs=abs(0.02 / per_cent)
        )


def test_before_and_after_differ_by_more_than_colour(visit):
    tab = visit("electric-six")
    style = "e => [getComputedStyle(e).strokeDasharray, getComputedStyle(e).fill]"
    dashes = [tab.locator(f".charts .{which} polyline").first.evaluate(style)[0] for which in ("before", "after")]
    marks = [tab.locator(f".charts .{which} circle").first.evaluate(style)[1] for which in ("before", "after")]
    assert dashes[0] != "none"
    assert dashes[1] == "none"

    def grey(colour):
        red, green, blue = (int(part) for part in re.findall(r"\d+", colour)[:3])
        return 0.2126 * red + 0.7152 * green + 0.0722 * blue

    assert grey(marks[0]) - grey(marks[1]) > 100  # hollow against filled, in black and white too


def test_what_the_plan_does_not_say_is_asked_for(visit):
    tab = visit("unknown")
    assert texts(tab, "h2") == [
        heading for key, heading in SECTIONS.items() if key not in ("pitch", "contacts", "bridge")
    ]
    told = tab.locator("#strings").inner_text()
    assert "does not state the pitch of any string" in told
    assert 'pitch = "E4"' in told
    told = visit("half known").locator("#strings").inner_text()
    assert "the kind of string 1, nor the gauge of string 2, nor the pitch of string 3" in told
    assert "0.300" in told


def test_the_fret_wire_has_its_table_where_the_plan_states_it():
    wire = {"tang_width": 0.52, "length": 250}
    bound = lay_out(Plan.model_validate(contents(frets={"wire": wire}, board={"radius": 300, "binding": 1.5})))
    text = " ".join(re.sub(r"<[^>]+>", " ", page(bound).decode().partition('id="wire"')[2]).split())
    wires = bound.wires
    told = text[: text.index("Strings")]
    for fret, cut, tang, nip in zip(wires.frets, wires.cut, wires.tang, wires.nip, strict=True):
        row = [f"{fret}"]
        for length, mm, inches in ((cut, 0, 3), (tang, 1, 2), (nip, 1, 2), (240, 0, 1)):
            row += [f"{length:.{mm}f}", f"({length / 25.4:.{inches}f})"]
        assert f" {' '.join(row)} " in told
    for number, (rod, left) in enumerate(zip(wires.rods, wires.left, strict=True), start=1):
        assert f" {number} {', '.join(map(str, rod))} {left:.0f} mm ({left / 25.4:.3f} in)" in told
    assert f"{len(wires.rods)} rods of 250 mm (9.843 in)" in told
    plain = page(lay_out(Plan.model_validate(contents(frets={"wire": {}})))).decode().partition('id="wire"')[2]
    assert "nip at each end" not in plain
    assert "bend to radius" not in plain
    assert 'id="wire"' not in page(lay_out(Plan.model_validate(contents()))).decode()


def test_findings_and_what_was_assumed(visit):
    tab = visit("eighteen")
    made = instrument("eighteen")
    told = in_one(tab.locator("#findings").inner_text().lower())
    assert all(warning.words.lower() in told for warning in made.warnings)
    assert made.warnings
    assert texts(tab, "#assumed dt") == list(made.assumed)
    given = dict(zip(texts(tab, "#assumed dt"), texts(tab, "#assumed dd"), strict=True))
    assert given["frets.height"] == "0.039 in (1.00 mm)"
    assert given["setup.action"] == "0.059 in and 0.075 in (1.50 mm and 1.90 mm)"
    assert given["compensation.minimise"] == "rms"


def test_the_bench_has_its_place_once_there_are_readings(chromium, tmp_path, visit):
    assert visit("electric-six").locator("#bench").count() == 0
    raw = (
        Reading(1, 12, 6.04),
        Reading(1, 17, 9.5),
        Reading(2, 12, -3.0, note="pings"),
        Reading(1, 12, -0.8, at=2, moved=2.25),
        Reading(1, 17, 0.31, at=2, moved=2.25),
        Reading(6, 12, 9.0, at=2, note="warble"),
    )
    path = tmp_path / "page.html"
    path.write_bytes(page(instrument("electric-six"), raw))
    tab = chromium.new_page()
    tab.goto(path.as_uri())
    told = [" ".join(row.split()) for row in tab.locator("#bench tbody tr").all_inner_texts()]
    assert [row.partition(" (")[0] for row in told] == [
        "1 E4 2.09",
        "2 B3 1.09",
        "1 E4 leave it 12: \u22120.8, 17: +0.3 2.25",
        "6 E2 every note warbles",
    ]
    assert told[0].endswith("back 12: +6.0, 17: +9.5")
    assert told[1].endswith("forward 12: \u22123.0")
    assert told[2].endswith("back")
    text = tab.locator("#bench").inner_text()
    assert "It ended with strings 2, 6 not within 2 cents at their target frets." in text
    assert "string 2: sticking:" in text
    assert "string 6: magnets:" in text
    tab.close()


def test_readings_come_from_their_table(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "heron.toml").write_text(starters()["electric-six"], "utf-8")
    (tmp_path / "read.csv").write_text("string,fret,cents\n1,12,0.5\n")
    with pytest.raises(SystemExit) as end:
        main(["report", "heron.toml", "--readings", "read.csv"])
    assert end.value.code == 0
    assert "within 2 cents at its target frets" in (tmp_path / "heron.html").read_text("utf-8")
    (tmp_path / "read.csv").write_text("string,fret,cents\n1,12,x\n")
    with pytest.raises(SystemExit) as end:
        main(["report", "heron.toml", "--readings", "read.csv", "--force"])
    assert end.value.code == 2


@pytest.mark.parametrize("name", STARTERS if FULL else STARTERS[:1])
def test_a_run_is_small_and_the_same_again(tmp_path, name):
    (tmp_path / "plan.toml").write_text(starters()[name], "utf-8")
    made = []
    for seed in ("1", "2"):
        out = tmp_path / f"{seed}.html"
        subprocess.run(
            [sys.executable, "-m", "slotwright.cli", "report", "plan.toml", "--out", out],
            cwd=tmp_path,
            env={**os.environ, "PYTHONHASHSEED": seed, "OMP_NUM_THREADS": "1"},
            check=True,
        )
        made.append(out.read_bytes())
    assert made[0] == made[1]
    assert len(made[0]) < 1_000_000


def test_the_pictures_hold_no_number_that_is_none():
    for name in PLANS:
        made = page(instrument(name)).decode()
        assert not re.search(r'"(nan|inf|None)|[ ,]nan[ ,"]|&lt;(svg|g|line)', made)


def test_the_parts_of_the_page_are_in_the_wheel():
    told = tomllib.loads((TOP / "pyproject.toml").read_text("utf-8"))
    listed = told["tool"]["setuptools"]["package-data"]["slotwright.templates"]
    parts = [path.name for path in (TOP / "templates").glob("report.*")]
    assert sorted(parts) == ["report.css", "report.html", "report.js"]
    assert all(any(fnmatch(part, pattern) for pattern in listed) for part in parts)
