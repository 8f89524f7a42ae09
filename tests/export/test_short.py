"""The pages of one sheet: the card for the bench, and before and after for the customer, in a real browser."""

import re

import numpy as np
import pytest
from helpers import contents, starter

from slotwright.cli import main
from slotwright.layout.bench.diagnosis import intonate
from slotwright.layout.errors import SheetError
from slotwright.layout.export.report.page import page
from slotwright.layout.instrument.instrument import lay_out
from slotwright.layout.plan.plan import Plan
from slotwright.layout.readings.notes import Reading
from slotwright.templates import starters

_HARP = [{"frequency": 220 * 2 ** (-i / 6), "gauge": f"0.0{9 + i:02d} in", "kind": "plain steel"} for i in range(18)]
PLANS = {
    "electric-six": lambda: starter("electric-six"),
    "travel-six-zero-fret": lambda: starter("travel-six-zero-fret"),
    "bass-five-multiscale": lambda: starter("bass-five-multiscale"),
    "eighteen": lambda: Plan.model_validate(
        contents(
            title="A very long name of an instrument that fills the line and more " + "W" * 30,
            units="in",
            strings=_HARP,
            scale={"length": 26},
            board={"nut_width": 6.5},
        )
    ),
    "one": lambda: Plan.model_validate(
        contents(strings=_HARP[:1], board={"nut_width": 20, "edge_margin": 9}, frets={"count": 12})
    ),
}
RAW = (
    *(Reading(string, 12, error) for string, error in enumerate((3.5, 6.2, 11.0, 7.0, 9.5, 12.5), start=1)),
    Reading(1, 17, 5.1),
    *(
        Reading(string, 12, error, at=2, moved=moved)
        for string, error, moved in ((1, 0.4, 1.2), (2, -0.2, 2.2), (3, 0.9, 3.8), (4, 3.1, 1.0), (5, -0.3, 3.4))
    ),
)


@pytest.fixture
def visit(chromium, tmp_path):
    opened = []

    def once(written, **how):
        context = chromium.new_context(bypass_csp=True, **how)
        opened.append(context)
        path = tmp_path / f"{len(opened)}.html"
        path.write_bytes(written)
        tab = context.new_page()
        tab.goto(path.as_uri())
        return tab

    yield once
    for context in opened:
        context.close()


def cells(tab):
    rows = tab.locator("tbody tr").evaluate_all("all => all.map(row => [...row.cells].map(c => c.innerText.trim()))")
    return [[" ".join(cell.split()) for cell in row] for row in rows]


@pytest.mark.parametrize("name", PLANS)
@pytest.mark.parametrize("reader", ["bench", "customer"])
def test_one_sheet_of_paper(visit, pdftotext, tmp_path, name, reader):
    made = lay_out(PLANS[name]())
    tab = visit(page(made, reader=reader))
    for paper in ("A4", "Letter"):
        tab.pdf(path=tmp_path / "print.pdf", format=paper)
        boxes = pdftotext("-bbox", tmp_path / "print.pdf")
        assert boxes.count("<page ") == 1, paper
        across = float(re.search(r'<page width="([\d.]+)"', boxes)[1])
        assert max(map(float, re.findall(r'xMax="([\d.]+)"', boxes))) < across - 30


@pytest.mark.parametrize("reader", ["bench", "customer"])
@pytest.mark.parametrize("light", ["light", "dark"])
def test_everybody_can_read_them(visit, axe, reader, light):
    for raw, width in (((), 1280), (RAW, 390)):
        written = page(lay_out(starter("electric-six")), raw, reader=reader)
        tab = visit(written, color_scheme=light, viewport={"width": width, "height": 844})
        assert tab.evaluate("document.documentElement.scrollWidth") <= width
        tab.add_script_tag(path=axe)
        told = tab.evaluate("async () => (await axe.run()).violations.map(v => [v.impact, v.id])")
        assert [fault for fault in told if fault[0] in ("serious", "critical")] == []


def test_the_figures_of_the_bench(visit):
    made = lay_out(starter("electric-six"))
    rows = cells(visit(page(made, reader="bench")))
    plan, strung = made.plan, made.strung
    assert [row[0].split()[0] for row in rows] == [str(string) for string in range(1, 7)]
    for place, row in enumerate(rows):
        to_saddle, back, turns, high, first = row[1:]
        # One scale: fret 12 halves it; strings that lean by 10 mm are 0.04 longer there at most.
        assert float(to_saddle.split()[0]) == pytest.approx(314 + strung.offsets.saddle[place], abs=0.06)
        assert float(to_saddle.split()[1]) == pytest.approx(float(to_saddle.split()[0]) / 25.4, abs=0.001)
        assert float(back.split()[0]) == pytest.approx(strung.offsets.saddle[place], abs=0.006)
        assert float(high.split()[0]) == pytest.approx(np.interp(place, (0, 5), plan.setup.action), abs=0.02)
        assert float(first.split()[0]) == pytest.approx(np.interp(place, (0, 5), plan.setup.first_gap), abs=0.01)
        whole, part, way = re.fullmatch(r"(\d+)? ?([13]/[24])? (clockwise)", turns).groups()
        quarters = 4 * int(whole or 0) + {None: 0, "1/4": 1, "1/2": 2, "3/4": 3}[part]
        assert quarters == round(4 * strung.offsets.saddle[place] / plan.bridge.per_turn)
        assert way == "clockwise"


def test_with_readings_the_moves_stand_first(visit):
    made = lay_out(starter("electric-six"))
    moves = {each.string: each.advice for each in intonate(made, RAW).strings}
    for string, row in enumerate(cells(visit(page(made, RAW, reader="bench"))), start=1):
        advice = moves[string]
        if advice.direction == "leave":
            assert row[1] == "leave"
        else:
            assert row[1] == f"{abs(advice.wanted):.2f} {advice.direction}"
    assert {each.direction for each in moves.values()} == {"leave", "back"}
    some = cells(visit(page(made, RAW[:1], reader="bench")))
    assert [row[1] for row in some[1:]] == ["not read"] * 5


def test_a_customer_sees_before_and_after_at_one_fret(visit):
    made = lay_out(starter("electric-six"))
    tab = visit(page(made, RAW, reader="customer"))
    rows = [row[-2:] for row in cells(tab)]
    assert rows == [["+4", "0"], ["+6", "0"], ["+11", "+1"], ["+7", "+3"], ["+10", "0"], ["+12", "not read again"]]
    assert "at fret 12" in tab.locator(".lead").inner_text()
    for row, (was, now) in zip(tab.locator("tbody tr").all(), [(3.5, 0.4), (6.2, -0.2)], strict=False):
        x = {kind: float(row.locator(f"circle.{kind}").get_attribute("cx")) for kind in ("was", "now")}
        true = float(row.locator("line.true").get_attribute("x1"))
        assert (x["was"] - true) / (x["now"] - true) == pytest.approx(was / now, rel=0.06)
        assert x["was"] > true
    calculated = visit(page(made, reader="customer"))
    assert "Calculated, not measured" in calculated.locator(".lead").inner_text()
    for row, was in zip(cells(calculated), made.strung.before.total[:, 11], strict=True):
        assert float(row[-2]) == pytest.approx(was, abs=0.51)


def test_a_customer_is_told_of_every_string(visit):
    made = lay_out(starter("electric-six"))
    first = (*RAW[:4], Reading(6, 12, 9.0, note="warble"))
    tab = visit(page(made, first, reader="customer"))
    assert [row[-1] for row in cells(tab)] == ["+4", "+6", "+11", "+7", "not read", "warbles"]
    assert "before the work" in tab.title()
    assert cells(visit(page(made, first, reader="bench")))[5][1] == "warbles"
    with pytest.raises(SheetError, match="every note that was read warbles: there is nothing to compare"):
        page(made, first[4:], reader="customer")
    assert "after" not in tab.locator("main").inner_text()
    assert tab.locator("circle.now").count() == 0
    again = cells(visit(page(made, RAW[:-1], reader="customer")))
    assert [row[-1] for row in again[4:]] == ["not read again"] * 2


def test_titles_show_as_they_are_written(visit):
    made = lay_out(Plan.model_validate({**starter("electric-six").contents(), "title": "<script>alert(1)</script>"}))
    for reader in ("bench", "customer"):
        tab = visit(page(made, reader=reader))
        assert tab.locator("h1").inner_text() == "<script>alert(1)</script>"
        assert tab.locator("script").count() == 0


def test_what_is_not_known_is_refused(tmp_path, monkeypatch, capsys):
    unknown = lay_out(Plan.model_validate(contents()))
    for reader in ("bench", "customer"):
        with pytest.raises(SheetError, match="pitch and gauge of every string"):
            page(unknown, reader=reader)
    monkeypatch.chdir(tmp_path)
    (tmp_path / "heron.toml").write_text(starters()["electric-six"], "utf-8")
    for reader in ("bench", "customer"):
        with pytest.raises(SystemExit) as ended:
            main(["report", "heron.toml", "--for", reader])
        assert not ended.value.code
    assert sorted(path.name for path in tmp_path.iterdir()) == [
        "heron-bench.html", "heron-customer.html", "heron.toml",
    ]  # fmt: skip
    capsys.readouterr()
