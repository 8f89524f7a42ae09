"""The page of the desk in a real browser: by pointer, by keyboard, on a phone, without scripts."""

import io
import os
from itertools import combinations

import numpy as np
import pytest
from forward import healthy
from helpers import FANNED, FULL, STARTERS, TOP, browser, contents, some
from PIL import Image
from sound import takes

from slotwright.cli.desk.keeper import Keeper
from slotwright.cli.desk.spots import place_spots
from slotwright.layout.instrument.instrument import lay_out
from slotwright.layout.plan.plan import Plan
from slotwright.layout.plan.reader import parse_plan
from slotwright.layout.readings.notes import read_readings
from slotwright.templates import starters, titled

PHONE = {"width": 390, "height": 844}
WIDE = {"width": 1280, "height": 900}
PLANS = {name: parse_plan(text.encode()) for name, text in starters().items()}
PLANS["left fan"] = Plan.model_validate({**FANNED, "board": {**FANNED["board"], "left_handed": True}})
PLANS["one string"] = Plan.model_validate(
    contents(strings=1, board={"nut_width": 20, "edge_margin": 9}, frets={"count": 1})
)
PLANS["eighteen"] = Plan.model_validate(
    contents(
        units="in", strings=18, scale={"length": 26}, board={"nut_width": 6.5}, frets={"count": 60, "divisions": 24}
    )
)


@pytest.mark.parametrize("name", some(PLANS, 3))
def test_values_stand_on_the_drawing_and_none_over_another(name):
    frame, spots = place_spots(lay_out(PLANS[name]))
    letter = frame.letter
    boxes = [
        (s.x - s.width(letter) / 2, s.x + s.width(letter) / 2, s.y - s.height(letter) / 2, s.y + s.height(letter) / 2)
        for s in spots
    ]
    for (l1, r1, b1, t1), (l2, r2, b2, t2) in combinations(boxes, 2):
        assert r1 <= l2 or r2 <= l1 or t1 <= b2 or t2 <= b1
    assert all(
        frame.left <= left and right <= frame.right and frame.low <= low and high <= frame.high
        for left, right, low, high in boxes
    )
    board = PLANS[name].board
    keys = {spot.key for spot in spots}
    assert {"board.nut_width", "frets.divisions", "setup.action", "board.radius"} <= keys or PLANS[name].frets.cents
    assert ("board.string_spread_nut" in keys) == (len(PLANS[name].strings) > 1)
    assert ("board.edge_margin" in keys) == (board.width_at is None)
    assert len(keys) == len(spots)


def test_values_are_in_the_units_of_the_plan_and_stand_where_they_are_measured():
    _, spots = place_spots(lay_out(PLANS["electric-six"]))
    at = {spot.key: spot for spot in spots}
    assert {key: at[key].text for key in ("scale.length", "board.nut_width", "setup.action", "bridge.travel")} == {
        "scale.length": "628", "board.nut_width": "42.5", "setup.action": "1.5, 1.9", "bridge.travel": "9",
    }  # fmt: skip
    assert at["frets.divisions"].assumed
    assert not at["scale.length"].assumed
    # The scale runs from the nut line to the saddle line, the octave to half of it.
    assert sorted(x for (x, _), _ in at["scale.length"].lines[:1]) + [
        x for _, (x, _) in at["scale.length"].lines[:1]
    ] == [0, 628]
    assert max(x for ends in at["frets.divisions"].lines for x, _ in ends) == pytest.approx(314, abs=6)
    low, high = (y for _, y in at["board.nut_width"].lines[0])
    assert abs(high - low) == pytest.approx(42.5)
    (x, y), _ = at["setup.action"].lines[0]
    assert x == pytest.approx(314)
    assert y < 0


@pytest.fixture
def visit(chromium, serving, tmp_path):
    """Open the desk of a starter in a browser; the page remembers what it asked for and complained of."""
    contexts = []

    def once(name="electric-six", text=None, **how):
        path = tmp_path / f"{name}.toml"
        if not path.exists():
            path.write_text(text or starters()[name], "utf-8")
            once.address = serving(Keeper.of(path))
        context = chromium.new_context(**{"viewport": WIDE, **how})
        contexts.append(context)
        tab = context.new_page()
        tab.asked, tab.told = [], []
        tab.on("request", lambda request: tab.asked.append(request.url))
        tab.on("console", lambda message: tab.told.append(message.text))
        tab.on("pageerror", lambda error: tab.told.append(str(error)))
        tab.goto(once.address)
        if how.get("java_script_enabled", True):
            tab.wait_for_selector("html.on")
        return tab, path

    yield once
    for context in contexts:
        context.close()


def put(tab, key, given, where=".spot"):
    """Choose a value by pointer and type another."""
    tab.locator(f'{where}[data-key="{key}"]').click()
    tab.fill("#box-value", given)
    tab.keyboard.press("Enter")


def settled(tab):
    tab.wait_for_selector("#box:not([open])", state="attached")


def test_on_the_drawing_by_pointer_and_back(visit):
    """Each measure is chosen where it stands, is in the file, on the drawing and told; undo gives the bytes back."""
    tab, path = visit()
    texts = [path.read_bytes()]
    edits = {
        "scale.length": ("25 1/2 in", "647.7"),
        "board.nut_width": ("43", "43"),
        "board.string_spread_nut": ("36", "36"),
        "board.string_spread_saddle": ("52.5", "52.5"),
        "board.edge_margin": ("3.3", "3.3"),
        "setup.action": ("1.6, 2.0", "1.6, 2"),
        "board.radius": ("10 in", "254"),
        "frets.divisions": ("19", "19"),
        "bridge.travel": ("10", "10"),
    }
    edits = dict(some(edits.items(), 2))
    for key, (given, shown) in edits.items():
        put(tab, key, given)
        settled(tab)
        assert tab.locator(f'.spot[data-key="{key}"] .value').text_content() == shown
        assert tab.locator(".did").text_content().endswith(f"\u2192 {given}")
        assert tab.evaluate("document.activeElement.dataset.key") == key
        texts.append(path.read_bytes())
    assert len(set(texts)) == len(texts)
    assert texts[-1].count(b"#") == texts[0].count(b"#")
    for place in reversed(range(len(edits))):
        tab.locator("header [data-by]").first.click()
        tab.locator(f"li:nth-child({place + 1})[aria-current]").wait_for()
        assert path.read_bytes() == texts[place]
    assert tab.locator("header [data-by]").first.is_disabled()
    assert tab.told == []
    assert all(url.startswith(visit.address) for url in tab.asked if not url.startswith("data:"))


@pytest.mark.skipif(not FULL, reason="tried in the full profile")
def test_pins_and_both_scales_stand_on_it_too(visit):
    tab, path = visit("steel-six")
    put(tab, "bridge.pins.distance", "9 mm")
    settled(tab)
    assert 'distance = "9 mm"' in path.read_text("utf-8")


@pytest.mark.skipif(not FULL, reason="tried in the full profile")
def test_by_keyboard_alone_from_the_list(visit):
    tab, path = visit()
    tab.locator("#search").focus()
    tab.keyboard.type("string 3 gauge")
    assert 0 < tab.locator(".key:visible").count() < 5
    tab.keyboard.press("Tab")
    tab.keyboard.press("Tab")
    assert tab.evaluate("document.activeElement.dataset.key") == "strings[3].gauge"
    tab.keyboard.press("Enter")
    assert tab.locator("#box-words").text_content() == "Diameter of the whole string."
    assert "Stated" in tab.locator("#box-state").text_content()
    tab.keyboard.type(".018 in")  # over what stood there
    tab.keyboard.press("Enter")
    settled(tab)
    assert '{ pitch = "G3", gauge = ".018 in", kind = "plain steel" }' in path.read_text("utf-8")
    assert tab.evaluate("document.activeElement.dataset.key") == "strings[3].gauge"
    tab.keyboard.press("Control+z")
    tab.locator(".did", has_text="back to").wait_for()
    assert path.read_text("utf-8") == starters()["electric-six"]
    tab.keyboard.press("Control+Shift+Z")
    tab.locator(".did", has_text="again").wait_for()
    assert ".018 in" in path.read_text("utf-8")


@pytest.mark.skipif(not FULL, reason="tried in the full profile")
def test_faults_and_clashes_stand_in_the_box(visit):
    tab, path = visit()
    put(tab, "frets.count", "11")
    tab.wait_for_selector("#box-faults p")
    assert any("joint fret" in words for words in tab.locator("#box-faults p").all_text_contents())
    assert tab.input_value("#box-value") == "11"
    tab.keyboard.press("Escape")
    assert path.read_text("utf-8") == starters()["electric-six"]
    # Another hand while the box is open: both values are shown, and the person chooses.
    tab.locator('.spot[data-key="board.nut_width"]').click()
    path.write_text(path.read_text("utf-8").replace("nut_width = 42.5", "nut_width = 43.5"), "utf-8")
    tab.locator('.spot[data-key="board.nut_width"]', has_text="43.5").wait_for()
    tab.fill("#box-value", "44")
    tab.keyboard.press("Enter")
    tab.wait_for_selector("#box-faults p")
    said = " ".join(tab.locator("#box-faults p").all_text_contents())
    assert "43.5" in said
    assert "44" in said
    assert "nut_width = 43.5" in path.read_text("utf-8")
    tab.keyboard.press("Enter")
    settled(tab)
    assert "nut_width = 44 " in path.read_text("utf-8").replace("\n", " ")


@pytest.mark.skipif(not FULL, reason="tried in the full profile")
def test_a_phone_scrolls_the_drawing_not_the_page(visit):
    tab, path = visit(viewport=PHONE, has_touch=True)
    assert tab.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]
    place = tab.locator('.spot[data-key="bridge.travel"]')
    place.scroll_into_view_if_needed()
    place.tap()
    left, right = tab.evaluate("(r => [r.left, r.right])(document.querySelector('#box').getBoundingClientRect())")
    assert (left, right) == (0, PHONE["width"])
    tab.fill("#box-value", "10")
    tab.locator("#box-set").tap()
    settled(tab)
    assert "travel = 10" in path.read_text("utf-8")


def test_without_scripts_it_shows_and_offers_nothing_dead(visit):
    tab, _ = visit(java_script_enabled=False)
    assert "628" in tab.locator('.spot[data-key="scale.length"]').text_content()
    assert tab.locator("button:visible, input:visible").count() == 0
    assert tab.get_by_text("Without scripts").is_visible()
    assert tab.locator("a[download]").count() > 5


@pytest.mark.parametrize(("viewport", "scheme"), [(WIDE, "light")] + FULL * [(PHONE, "dark")])
def test_no_serious_fault_of_accessibility(visit, axe, viewport, scheme):
    tab, _ = visit(viewport=viewport, color_scheme=scheme, bypass_csp=True)
    tab.add_script_tag(path=axe)
    tab.evaluate("document.querySelectorAll('details').forEach(each => each.open = true)")
    look = """async () => {
        const told = await axe.run();
        return [told.violations.map(v => [v.impact, v.id, v.nodes.map(n => n.html)]), told.passes.map(p => p.id)];
    }"""
    for box in (False, True):
        if box:
            put(tab, "board.nut_width", "900")
            tab.wait_for_selector("#box-faults p")
        found, held = tab.evaluate(look)
        assert [fault for fault in found if fault[0] in ("serious", "critical")] == []
        assert {"color-contrast", "label" if box else "aria-command-name"} <= set(held)  # it did look


@pytest.mark.skipif(not FULL, reason="tried in the full profile")
@pytest.mark.parametrize(("viewport", "scheme"), [(WIDE, "light"), (PHONE, "dark")])
def test_a_round_at_the_bench_by_keyboard(visit, viewport, scheme):
    """Typed cell after cell, without waiting for answers; moves stand beside; a round more knows what was asked."""
    tab, path = visit(viewport=viewport, color_scheme=scheme)
    tab.get_by_role("button", name="Intonate").click()
    tab.locator("#bench details[open]").wait_for()
    tab.locator('[data-cell="1/0"]').focus()
    for given in ("0", "2", "3", "0.5", "4", "5", "0", "w", "", "0", "6.5", "7"):
        tab.keyboard.type(given)
        tab.keyboard.press("Enter")
    tab.locator(".did", has_text="string 4, fret 17").wait_for()
    tab.locator("tr:nth-child(4) .move b", has_text="back").wait_for()
    assert tab.locator("tr:nth-child(3) .move").text_content() == "warbles"
    table = path.with_name("electric-six-readings.csv").read_text("utf-8")
    assert [line.split(",")[:3] for line in table.splitlines()[1:]] == [
        ["1", "0", "0"], ["1", "12", "2"], ["1", "17", "3"], ["2", "0", "0.5"], ["2", "12", "4"], ["2", "17", "5"],
        ["3", "0", "0"], ["3", "12", ""], ["4", "0", "0"], ["4", "12", "6.5"], ["4", "17", "7"],
    ]  # fmt: skip
    assert tab.evaluate("document.documentElement.scrollWidth") <= viewport["width"]
    asked = tab.locator("tr:nth-child(4) .move b").text_content()
    tab.locator("#next-round").click()
    tab.get_by_text("Round 2.").wait_for()
    way, far = asked.split()
    assert tab.input_value('[data-cell="4/moved"]') == f"{far} {way}"
    # What cannot be read stays in its cell, named, while others are typed; once it is typed anew all is well.
    tab.fill('[data-cell="4/12"]', "far")
    tab.keyboard.press("Tab")
    tab.locator("#bench-faults", has_text="string 4, fret 12: ").wait_for()
    tab.fill('[data-cell="2/12"]', "0.5")
    tab.keyboard.press("Tab")
    tab.locator(".did", has_text="string 2, fret 12").wait_for()
    assert (tab.input_value('[data-cell="4/12"]'), tab.get_attribute('[data-cell="4/12"]', "aria-invalid")) == (
        "far",
        "true",
    )
    tab.fill('[data-cell="4/12"]', "0.2")
    tab.keyboard.press("Tab")
    tab.locator(".did", has_text="string 4, fret 12").wait_for()
    assert tab.locator("#bench-faults").text_content() == ""
    # Undo asked for at once comes after what was just typed.
    tab.fill('[data-cell="1/12"]', "1")
    tab.locator("header [data-by]").first.click()
    tab.locator(".did", has_text="back to: string 4, fret 12").wait_for()
    assert tab.input_value('[data-cell="1/12"]') == ""
    assert tab.told == []


@pytest.mark.skipif(not FULL, reason="tried in the full profile")
def test_the_page_records_as_the_microphone_hears(chromium, serving, tmp_path):
    """A browser whose microphone is a file: what arrives is that sound, and its notes stand in the table."""
    order = [(3, 0), (3, 12)]
    take = takes.record(takes.plucks(healthy(), order, seed=8), takes.Around(snr=50.0), rate=48000, seed=8)
    take.write(tmp_path / "microphone.wav")
    seconds = len(take.samples) / take.rate
    path = tmp_path / "heron.toml"
    path.write_text(starters()["electric-six"], "utf-8")
    address = serving(Keeper.of(path))
    begun = chromium.browser_type.launch(
        executable_path=browser(),
        args=["--no-sandbox", "--disable-gpu", "--use-fake-ui-for-media-stream", "--use-fake-device-for-media-stream",
              f"--use-file-for-fake-audio-capture={tmp_path / 'microphone.wav'}%noloop"],
    )  # fmt: skip
    tab = begun.new_context(permissions=["microphone"]).new_page()
    told = []
    tab.on("console", lambda message: told.append(message.text))
    tab.goto(address)
    tab.locator("#bench summary").first.click()
    tab.fill("#played", "3: 0 12")
    tab.click("#record")
    tab.locator("#length", has_text=f"0:{int(seconds) + 1:02}").wait_for()
    tab.click("#record")
    tab.locator(".did", has_text="2 notes heard").wait_for()
    assert told == []
    begun.close()
    found = read_readings(path.with_name("heron-readings.csv"), lay_out(PLANS["electric-six"]))
    for each in found:
        assert each.cents - each.open == pytest.approx(take.cents()[each.string, each.fret], abs=0.5)


@pytest.mark.skipif(not FULL, reason="tried in the full profile")
def test_a_recording_is_dropped_or_chosen(visit, tmp_path):
    tab, _ = visit()
    (tmp_path / "noise.wav").write_bytes(b"RIFF")
    tab.locator("#bench summary").first.click()
    tab.set_input_files("#take", tmp_path / "noise.wav")
    tab.locator("#heard", has_text="no recording").wait_for()
    tab.evaluate("document.querySelector('#heard').textContent = ''")
    tab.evaluate(
        """() => {
            const given = new DataTransfer();
            given.items.add(new File(["x"], "x.wav"));
            document.querySelector("#sound").dispatchEvent(new DragEvent("drop", { dataTransfer: given, bubbles: true, cancelable: true }));
        }"""
    )
    tab.locator("#heard", has_text="no recording").wait_for()


@pytest.mark.skipif(not FULL, reason="tried in the full profile")
def test_tables_programs_and_jobs_by_button(visit):
    tab, path = visit("ukulele")
    text = path.read_bytes()
    tab.locator('[data-group="blank"] summary').click()
    tab.get_by_role("button", name="Take out blank").click()
    tab.locator(".did", has_text="blank taken out").wait_for()
    assert b"[blank]" not in path.read_bytes()
    tab.locator("#addition").select_option("blank")
    tab.get_by_role("button", name="Put in").click()
    tab.locator(".did", has_text="blank put in").wait_for()
    assert b"[blank]" in path.read_bytes()
    tab.locator('li button[data-step="0"]').click()
    tab.locator(".did", has_text="back to").wait_for()
    assert path.read_bytes() == text
    tab.get_by_role("button", name="New board").click()
    tab.locator("a.print").wait_for()
    tab.select_option("#paper", "letter")
    assert tab.get_attribute("a.print", "href") == "files/ukulele-slots.pdf?show&paper=letter"
    assert tab.get_attribute('a[download="ukulele-nut.pdf"]', "href") == "files/ukulele-nut.pdf?paper=letter"
    tab.reload()
    tab.locator("a.print").wait_for()
    assert tab.input_value("#paper") == "letter"  # the paper of this shop
    with tab.expect_download() as download:
        tab.locator('a[download="ukulele-nut.svg"]').click()
    assert b"<svg" in download.value.path().read_bytes()
    tab.get_by_role("button", name="Other jobs").click()
    tab.get_by_role("heading", name="What is the job?").wait_for()
    assert tab.told == []


@pytest.mark.skipif(not FULL, reason="tried in the full profile")
@pytest.mark.parametrize("name", STARTERS)
def test_every_key_of_every_starter_opens_where_it_stands(visit, name):
    """The box of every value, drawn or listed, names it, says what it means, and sends what is in it."""
    tab, path = visit(name)
    text = path.read_bytes()
    keys = tab.eval_on_selector_all(".key", "all => all.map(each => each.dataset.key)")
    told = tab.evaluate(
        """async () => {
            const found = [];
            for (const place of document.querySelectorAll(".spot, .key")) {
                place.dispatchEvent(new MouseEvent("click", { bubbles: true }));
                const box = document.querySelector("#box");
                const row = document.querySelector(`.key[data-key="${CSS.escape(place.dataset.key)}"]`);
                found.push([box.open, box.querySelector("code").textContent, box.querySelector("#box-words").textContent,
                    box.querySelector("input").value, row.dataset.value]);
                box.dispatchEvent(new Event("cancel", { cancelable: true }));
            }
            return found;
        }"""
    )
    assert {key for _, key, *_ in told} == set(keys)
    assert len(keys) > 50
    for is_open, key, words, value, stated in told:
        assert is_open, key
        assert len(words) > 5, key
        assert not stated or value == stated, key
    assert path.read_bytes() == text
    assert tab.told == []


@pytest.mark.skipif(not FULL, reason="tried in the full profile")
def test_the_picture_of_the_readme(chromium, serving, tmp_path):
    """It shows the page as it is: letters differ from machine to machine, places and colours do not."""
    path = tmp_path / "heron.toml"
    path.write_text(titled(starters()["electric-six"], "heron"), "utf-8")
    context = chromium.new_context(viewport={"width": 1280, "height": 720})
    tab = context.new_page()
    tab.goto(serving(Keeper.of(path)))
    put(tab, "board.nut_width", "44")
    settled(tab)
    tab.locator(".did").wait_for()
    tab.evaluate("document.activeElement.blur()")
    taken = Image.open(io.BytesIO(tab.screenshot())).convert("RGB")
    context.close()
    kept = TOP / "templates" / "desk.png"
    if os.environ.get("SLOTWRIGHT_GOLDEN") == "write":
        taken.quantize(64, dither=Image.Dither.NONE).save(kept, optimize=True)
    small = [np.asarray(each.convert("RGB").resize((160, 90)), dtype=float) for each in (taken, Image.open(kept))]
    off = np.abs(small[0] - small[1])
    assert off.mean() < 3.0
    assert np.quantile(off, 0.98) < 40.0
