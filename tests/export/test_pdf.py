"""PDF files, re-read by pypdf and pdfplumber, rendered by a program that did not write them."""

import io
import shutil
import subprocess
from importlib.metadata import version

import numpy as np
import pdfplumber
import pypdf
import pypdfium2
import pytest
import shapely
from helpers import FANNED, FULL, STARTERS, contents, crossed, starter
from PIL import Image
from readers import MM, pdf_lines, pdf_paths

from slotwright.layout.drawing.catalogue import described, draw_sheet
from slotwright.layout.drawing.scale_bar import scale_bar
from slotwright.layout.drawing.sheet import PENS, Contour, Layer, Line, Sheet, Text
from slotwright.layout.errors import PaperError
from slotwright.layout.export.letters import unprintable
from slotwright.layout.export.paper import SIZES, correction, paper_size
from slotwright.layout.export.pdf import pdf
from slotwright.layout.export.tile import registration
from slotwright.layout.export.tiling import FOOT, SIDE, share_out
from slotwright.layout.instrument.instrument import lay_out
from slotwright.layout.plan.plan import Plan

# ISO 216 and ASME Y14.1 (letter and tabloid are its A and B), as sources print them; legal is common practice.
PUBLISHED = {
    "A4": (210, 297), "A3": (297, 420), "A2": (420, 594), "A1": (594, 841), "A0": (841, 1189),
    "letter": (8.5 * 25.4, 11 * 25.4), "tabloid": (11 * 25.4, 17 * 25.4), "ASME-A": (8.5 * 25.4, 11 * 25.4),
    "ASME-B": (11 * 25.4, 17 * 25.4), "ASME-C": (17 * 25.4, 22 * 25.4), "ASME-D": (22 * 25.4, 34 * 25.4),
    "ASME-E": (34 * 25.4, 44 * 25.4), "legal": (8.5 * 25.4, 14 * 25.4),
}  # fmt: skip


def printed(sheet, paper="A4", **options):
    """Share a sheet out and write it; give the file and how it was shared out."""
    layout = share_out(sheet, paper, **options)
    return pdf(sheet, layout), layout


@pytest.mark.parametrize("paper", PUBLISHED)
def test_paper_sizes(paper):
    assert SIZES[paper] == pytest.approx(PUBLISHED[paper])
    assert paper_size(paper.lower().replace("-", " ")) == pytest.approx(PUBLISHED[paper])


@pytest.mark.parametrize(
    ("text", "size"), [("500x300", (500, 300)), ("500 mm x 20 in", (500, 508)), ("12in \u00d7 18in", (304.8, 457.2))]
)
def test_paper_of_any_size(text, size):
    assert paper_size(text) == pytest.approx(size)


@pytest.mark.parametrize("text", ["A5", "foolscap", "500", "50x50", "1x2x3", ""])
def test_unknown_paper(text):
    with pytest.raises(PaperError, match=f'^paper "{text}" is (not known|50 x 50 mm; allowed 100)'):
        paper_size(text)


@pytest.mark.parametrize(
    ("name", "paper"), crossed(STARTERS, ["A4", "letter", "A3", "A1", "legal"])[: None if FULL else 2]
)
def test_pages_are_paper_and_ask_for_no_scaling(name, paper):
    sheet = draw_sheet(lay_out(starter(name)), "board")
    written, layout = printed(sheet, paper=paper)
    reader = pypdf.PdfReader(io.BytesIO(written), strict=True)
    assert reader.trailer["/Root"]["/ViewerPreferences"]["/PrintScaling"] == "/None"
    assert len(reader.pages) - len(layout.tiles) in ((0,) if layout.framed else (1, 2))
    for page in reader.pages:
        size = sorted(float(side) / MM for side in page.mediabox[2:])
        assert size == pytest.approx(sorted(PUBLISHED[paper]), abs=0.01)
        assert [float(v) for v in page.cropbox] == [float(v) for v in page.mediabox]
        fonts = page["/Resources"]["/Font"]
        assert any(
            "/FontFile2" in f.get_object()["/FontDescriptor"]
            for f in fonts.values()
            if "/FontDescriptor" in f.get_object()
        )
        text = page.extract_text()
        for said in ("Check the scale bars before you cut", f"of {len(reader.pages)}", sheet.title, "sheet board"):
            assert said in text
    if len(reader.pages) > 1:
        first = " ".join(reader.pages[0].extract_text().split())
        for said in (
            "no fitting to the page",
            "to fret",
            "Wear eye protection",
            "Check both scale bars",
            "right-handed",
        ):
            assert said in first


@pytest.mark.parametrize("title", ["Oak", "Heron " * 20])
def test_what_a_file_says_of_itself(title):
    sheet = draw_sheet(lay_out(Plan.model_validate(contents(title=title))), "slots")
    written, _ = printed(sheet)
    about = pypdf.PdfReader(io.BytesIO(written), strict=True).metadata
    assert about["/Title"] == f"{title.strip()} - slots"
    assert about["/Creator"] == f"slotwright {version('slotwright')}"
    assert "slots" in about["/Subject"]
    assert "slots" in about["/Keywords"]
    assert not {key for key in about if "Date" in key}
    assert written == printed(sheet)[0]
    with pdfplumber.open(io.BytesIO(written)) as document:
        assert document.metadata["Title"] == f"{title.strip()} - slots"


def longest(room):
    return 50 * int((room + 1e-9) // 50)


BARS = [
    ("electric-six", "slots", "A4", None),
    ("ukulele", "nut", "letter", None),
    ("steel-six", "radius", "legal", None),
    ("bass-five-multiscale", "board", "A3", None),
    ("electric-six", "slots", "tabloid", "249.4/250,199.8/200"),
]


@pytest.mark.parametrize(("name", "kind", "paper", "measured"), BARS if FULL else [BARS[1], BARS[4]])
def test_every_page_has_the_longest_bars(name, kind, paper, measured):
    """By hand: 10 mm of margin all round, 12 mm for the upright bar, 20 at the foot; the longer side has the corner."""
    scale = correction(measured) if measured else (1.0, 1.0)
    written, layout = printed(draw_sheet(lay_out(starter(name)), kind), paper, scale=scale)
    wide, high = ((side - 20) / factor for side, factor in zip(layout.paper, scale, strict=True))
    lying = layout.paper[0] > layout.paper[1]
    wanted = (longest(wide if lying else wide - 12), longest(high - 20 if lying else high))
    assert min(wanted) >= 100
    with pdfplumber.open(io.BytesIO(written)) as document:
        for page in document.pages:
            found = pdf_lines(page, PENS[Layer.DIM].colour) / scale
            start, end = found[:, 0], found[:, 1]
            foot, side = 10 / scale[1] + 20, 10 / scale[0] + 12
            level = np.abs(found[..., 1] - (foot - 9)).max(axis=1) < 1e-3
            upright = np.abs(found[..., 0] - (side - 6.2)).max(axis=1) < 1e-3
            assert [float(np.hypot(*(end - start)[which].T)[0]) for which in (level, upright)] == pytest.approx(
                wanted, abs=1e-3
            )
            assert (level.sum(), upright.sum()) == (1, 1)
            text = page.extract_text()
            assert f"{wanted[0]} mm" in text
            assert ("to come out true" in text) == bool(measured)


def test_bars_of_the_sheet_are_not_printed_beside_those_of_the_page():
    sheet = draw_sheet(lay_out(starter("electric-six")), "nut")
    written, layout = printed(sheet)
    assert layout.framed
    with pdfplumber.open(io.BytesIO(written)) as document:
        (page,) = document.pages
        assert page.extract_text().count("Check the scale bars") == 1


def test_inches_first():
    made = {**contents(scale={"length": "25.5 in"}, board={"nut_width": "1 3/4 in"}), "units": "in"}
    sheet = draw_sheet(lay_out(Plan.model_validate(made)), "board")
    written, layout = printed(sheet, "letter")
    top = {}
    for units in ("mm", "in"):
        parts = list(scale_bar((0, 0), 250, upright=False, units=units))
        ticks = [part for part in parts if isinstance(part, Line) and part.start[0] == part.end[0]]
        up = sorted(part.start[0] for part in ticks if part.end[1] > 0)
        top[units] = up
        assert parts[0] == Line(Layer.DIM, (0, 0), (250, 0))
        assert {"250 mm", "9 in"} <= {part.text for part in parts if isinstance(part, Text)}
    assert top["mm"] == pytest.approx(np.arange(26) * 10)
    assert top["in"] == pytest.approx(np.arange(19) * 12.7)
    with pdfplumber.open(io.BytesIO(written)) as document:
        for page in document.pages:
            found = pdf_lines(page, PENS[Layer.DIM].colour)
            ticks = found[(np.abs(found[:, 0, 1] - (layout.margin + 11)) < 1e-3) & (found[:, 1, 1] > found[:, 0, 1])]
            steps = np.diff(np.sort(ticks[:, 0, 0]))
            assert steps == pytest.approx(12.7)


@pytest.mark.parametrize("wrong", ["240/250", "250/240", "0/250", "x/y", "250", "1/1,1/1,1/1", "nan/250", "inf/250"])
def test_corrections_that_are_refused(wrong):
    with pytest.raises(PaperError):
        correction(wrong)


def pictures(written, tmp_path):
    """Render every page at 254 dpi, 10 px to the mm, with poppler where it is installed and pdfium otherwise."""
    if shutil.which("pdftoppm"):
        (tmp_path / "a.pdf").write_bytes(written)
        subprocess.run(["pdftoppm", "-r", "254", "-gray", "-png", "a.pdf", "page"], cwd=tmp_path, check=True)  # noqa: S607
        return [np.asarray(Image.open(path).convert("L")) for path in sorted(tmp_path.glob("page*.png"))]
    return [np.asarray(page.render(scale=254 / 72).to_pil().convert("L")) for page in pypdfium2.PdfDocument(written)]


def test_a_rendered_rule_of_100_mm_is_1000_pixels(tmp_path):
    written, layout = printed(draw_sheet(lay_out(starter("ukulele")), "slots"))
    for picture in pictures(written, tmp_path):
        height = picture.shape[0]
        left = layout.margin + (0 if layout.paper[0] > layout.paper[1] else SIDE)
        x, y = round(10 * left), height - round(10 * (layout.margin + FOOT - 9))
        # Long ticks stand every 50 mm on the level rule, 3.2 mm high.
        strip = picture[y - 28 : y - 20, x - 4 : x + 1100].min(axis=0) < 160
        ticks = np.flatnonzero(strip)
        ticks = ticks[np.insert(np.diff(ticks) > 3, 0, True)]
        # A line of 0.18 mm is two pixels wide: its edge may fall on either.
        assert ticks[2] - ticks[0] == pytest.approx(1000, abs=2)


def assembled(written, layout):
    """Put tiles together by their own registration crosses; give slots in the axes of the first tile, (n, 2, 2)."""
    with pdfplumber.open(io.BytesIO(written)) as document:
        pages = document.pages[-len(layout.tiles) :]
        crosses, slots = [], []
        for page in pages:
            grey = pdf_lines(page, "#7a828a")
            length = np.hypot(*(grey[:, 1] - grey[:, 0]).T)
            arms = grey[np.abs(length - 6.0) < 0.01]
            level = arms[np.abs(arms[:, 0, 1] - arms[:, 1, 1]) < 1e-3]
            crosses.append(level.mean(axis=1))
            slots.append(pdf_lines(page, PENS[Layer.CUT_SLOTS].colour))
    where = {layout.tiles[0]: np.zeros(2)}
    waiting = list(layout.tiles)
    while waiting:
        tile = waiting.pop(0)
        if tile not in where:
            waiting.append(tile)
            continue
        here = crosses[layout.tiles.index(tile)] + where[tile]
        for step, axis, order in (((0, 1), 0, 1), ((1, 0), 1, -1), ((0, -1), 0, -1), ((-1, 0), 1, 1)):
            other = (tile[0] + step[0], tile[1] + step[1])
            if other not in layout.tiles or other in where:
                continue
            there = crosses[layout.tiles.index(other)]
            # The two crosses on the seam: last ones here in that direction, first ones there.
            mine = here[np.argsort(order * here[:, axis])[-2:]]
            yours = there[np.argsort(order * there[:, axis])[:2]]
            along = 1 - axis
            mine, yours = mine[np.argsort(mine[:, along])], yours[np.argsort(yours[:, along])]
            assert mine - yours == pytest.approx((mine - yours)[0] * np.ones((2, 1)), abs=1e-3)
            where[other] = (mine - yours).mean(axis=0)
    return np.concatenate(
        [found + where[tile] for tile, found in zip(layout.tiles, slots, strict=True) if len(found)]
    )


@pytest.mark.parametrize(("name", "paper"), crossed(STARTERS, ["A4", "letter"])[: None if FULL else 2])
def test_tiles_reassembled_by_their_crosses_are_true(name, paper):
    instrument = lay_out(starter(name))
    sheet = draw_sheet(instrument, "slots")
    written, layout = printed(sheet, paper=paper)
    wanted = instrument.cut_slots
    found = assembled(written, layout)
    # Slots of neighbouring tiles are the same twice; the first tile has axes of its own.
    found = found[np.argsort(found.mean(axis=1)[:, 0])]
    origin = found[0] - wanted[0]
    assert np.ptp(origin, axis=0) == pytest.approx(0, abs=0.001)
    place = found - origin.mean(axis=0)
    nearest = np.abs(place[:, None] - wanted[None]).max(axis=(2, 3))
    assert nearest.min(axis=1).max() < 0.001  # whatever is drawn is a slot
    assert nearest.min(axis=0).max() < 0.001  # and every slot is drawn


def along(contour):
    """Give a contour's corners and 200 points of each of its arcs, by turning the start about the centre."""
    found = []
    for start, end, bulge in contour.sides():
        found.append(start)
        if bulge:
            a, b = complex(*start), complex(*end)
            # The angle at the centre is four times the arc tangent; its half has the sine of half the chord.
            angle = 4 * np.arctan(bulge)
            centre = (a + b) / 2 + 1j * (b - a) / 2 / np.tan(angle / 2)
            turned = centre + (a - centre) * np.exp(1j * angle * np.linspace(0, 1, 200))
            assert turned[-1] == pytest.approx(b)
            found += [(z.real, z.imag) for z in turned]
    return found


def shape(entity):
    if isinstance(entity, Line):
        return shapely.LineString([entity.start, entity.end])
    if isinstance(entity, Contour):
        return shapely.LinearRing(along(entity))
    return (
        shapely.Polygon(entity.corners())
        if isinstance(entity, Text)
        else shapely.Point(entity.centre).buffer(entity.radius)
    )


@pytest.mark.parametrize(("name", "paper"), crossed(STARTERS, ["A4", "letter"]))
def test_nothing_is_missing_from_the_tiles(name, paper):
    instrument = lay_out(starter(name))
    for kind in described(instrument):
        sheet = draw_sheet(instrument, kind)
        layout = share_out(sheet, paper)
        shown = shapely.union_all([shapely.box(*layout.box(tile)) for tile in layout.tiles])
        due = sheet.drawing + (sheet.frame if layout.framed else ())
        assert all(shown.covers(shape(entity)) for entity in due)
        # Every cross has its like on a neighbour.
        points = [point for tile in layout.tiles for point in registration(layout, tile)]
        assert all(sum(np.hypot(p[0] - q[0], p[1] - q[1]) < 1e-9 for q in points) == 2 for p in points)


@pytest.mark.parametrize(("name", "paper"), crossed(STARTERS, ["A4", "letter"]))
def test_no_slot_lies_on_a_seam_between_columns(name, paper):
    instrument = lay_out(starter(name))
    sheet = draw_sheet(instrument, "slots")
    layout = share_out(sheet, paper)
    seams = np.array(layout.columns[1:]) + layout.overlap / 2
    slots = [entity for entity in sheet.entities if entity.layer == Layer.CUT_SLOTS]
    for slot in slots:
        low, high = sorted((slot.start[0], slot.end[0]))
        if high - low < 3:  # the slots of a fan may lean across any seam
            assert (np.maximum(low - seams, seams - high) > 1).all()


def test_a_sheet_that_fits_is_one_page_turned_if_need_be():
    sheet = Sheet("small", "Small", (Line(Layer.MARK, (0, 0), (240, 100)),), (0, 0, 240, 100))
    written, layout = printed(sheet)
    assert len(layout.tiles) == 1
    assert layout.paper == (297, 210)
    assert len(pypdf.PdfReader(io.BytesIO(written)).pages) == 1
    _, upright = printed(sheet, landscape=False)
    assert len(upright.tiles) == 2


@pytest.mark.parametrize("name", STARTERS)
def test_a_small_piece_is_never_cut(name):
    instrument = lay_out(starter(name))
    for kind in {"nut", "saddle"} & set(described(instrument)):
        sheet = draw_sheet(instrument, kind)
        layout = share_out(sheet)
        assert len(layout.tiles) == 1
        # Upright A4 holds 178 by 257 mm; the 5 mm of paper around the border may lie in the printer's margin.
        wide, high = sheet.size[0] - 10, sheet.size[1] - 10
        assert layout.framed == (wide < 177.4 and high < 256.4)


def test_a_seam_keeps_clear_of_what_is_cut():
    ends = Line(Layer.REF_CENTRE, (0, 30), (380, 30))
    piece = Contour(Layer.CUT_OUTLINE, ((150, 20), (210, 20), (210, 40), (150, 40)))
    layout = share_out(Sheet("piece", "Piece", (ends, piece), (0, 0, 380, 245)))
    assert len(layout.columns) == 2
    seam = layout.columns[1] + layout.overlap / 2
    assert not 145 <= seam <= 215


def test_empty_tiles_are_left_out():
    far = (Line(Layer.MARK, (0, 0), (20, 20)), Line(Layer.MARK, (900, 700), (950, 750)))
    layout = share_out(Sheet("far", "Far", far, (0, 0, 950, 750)), "A4")
    assert len(layout.tiles) == 2


def test_more_than_forty_pages_ask_for_larger_paper():
    whole = tuple(Line(Layer.MARK, (0, y), (3000, y)) for y in range(0, 1000, 20))
    sheet = Sheet("huge", "Huge", whole, (0, 0, 3000, 1000))
    with pytest.raises(PaperError, match=r"pages of A4; at most 40: take (\S+)") as caught:
        printed(sheet)
    name = str(caught.value).rsplit(" ", 1)[1]
    assert len(share_out(sheet, name).tiles) <= 40
    smaller = [n for n, size in SIZES.items() if 210 * 297 < size[0] * size[1] < SIZES[name][0] * SIZES[name][1] - 1]
    for other in smaller:
        with pytest.raises(PaperError):
            share_out(sheet, other)


def test_no_known_paper_is_large_enough():
    # 49 ticks further apart than the largest paper is long: each asks for a page of its own.
    apart = range(0, 10_500, 1500)
    ticks = tuple(Line(Layer.MARK, (x, y), (x + 10, y)) for x in apart for y in apart)
    with pytest.raises(PaperError, match="take a larger paper"):
        printed(Sheet("vast", "Vast", ticks, (0, 0, 10_000, 10_000)))


def test_a_margin_that_leaves_nothing():
    with pytest.raises(PaperError, match="leave"):
        printed(draw_sheet(lay_out(starter("electric-six")), "slots"), margin=50, overlap=50)


def test_same_sheet_same_bytes():
    sheet = draw_sheet(lay_out(Plan.model_validate(FANNED)), "board")
    assert printed(sheet)[0] == printed(sheet)[0]


def test_line_widths_are_of_iso_128():
    # ISO 128 line widths [mm].
    assert {pen.width for pen in PENS.values()} <= {0.13, 0.18, 0.25, 0.35, 0.5, 0.7}


def test_an_odd_title_is_printed_and_leaves_arcs_where_they_are():
    made = contents(title="\u5b57 <b>(a)\\ \U0001f3b8 " + "W" * 90, board={"radius": 300})
    sheet = draw_sheet(lay_out(Plan.model_validate(made)), "radius")
    written, layout = printed(sheet, "A1")
    (page,) = pdfplumber.open(io.BytesIO(written)).pages
    assert "? <b>(a)\\ ?" in page.extract_text()
    left, bottom, _, _ = layout.box((0, 0))
    corner = np.array([left - layout.margin - SIDE, bottom - layout.margin - FOOT])
    arcs = [entity for entity in sheet.entities if isinstance(entity, Contour) and any(entity.bulges)]
    shown = [shapely.points(path + corner) for path in pdf_paths(page, PENS[Layer.CUT_OUTLINE].colour)]
    assert len(arcs) == 2
    for arc in arcs:
        ring = shapely.LinearRing(along(arc))
        assert min(shapely.distance(ring, points).max() for points in shown) < 0.01


def test_titles_of_many_alphabets_are_printed():
    title = "\u0141ab\u0119d\u017a, D\u00edlna u \u0158eky, \u0150rs\u00e9g, \u03a8\u03b1\u03bb\u03c4\u03ae\u03c1\u03b9, \u0413\u0438\u0442\u0430\u0440\u0430, \u0130"
    sheet = draw_sheet(lay_out(Plan.model_validate(contents(title=title))), "slots")
    text = pypdf.PdfReader(io.BytesIO(printed(sheet, "A1")[0])).pages[0].extract_text()
    assert title in text
    assert unprintable(sheet) == ""


def test_letters_that_no_page_can_show_are_told():
    sheet = draw_sheet(lay_out(Plan.model_validate(contents(title="e\u0301 \u5b57\u5b57 \U0001f3b8"))), "slots")
    assert unprintable(sheet) == "\u5b57\U0001f3b8"
    text = pypdf.PdfReader(io.BytesIO(printed(sheet, "A1")[0])).pages[0].extract_text()
    assert "\u00e9 ?? ?" in text


def test_an_arc_bulges_the_right_way(tmp_path):
    contour = Contour(Layer.CUT_OUTLINE, ((20, 20), (120, 20), (120, 60), (20, 60)), (0, 0, 0.2, 0))
    sheet = Sheet("arc", "Arc", (contour,), (0, 0, 150, 90))
    written, layout = printed(sheet)
    (picture,) = pictures(written, tmp_path)
    left, bottom, _, _ = layout.box((0, 0))
    x = round(10 * (layout.margin + SIDE + 70 - left))
    y = round(10 * (layout.margin + FOOT + 70 - bottom))  # by hand: 60 plus 0.2 * 100 / 2
    column = picture[::-1][:, x - 1 : x + 2].min(axis=1) < 160
    assert column[y - 4 : y + 5].any()
    assert not column[y + 5 : y + 60].any()


@pytest.mark.parametrize("bulge", [0.9, -0.9, 1.6])
def test_no_tile_is_missing_where_an_arc_rises_far(bulge):
    # A side of 380 mm with a bulge of 0.9 rises by 171 mm: its apex lies on tiles that no corner touches.
    corners = ((200, 200), (580, 200), (580, 160), (200, 160))
    contour = Contour(Layer.CUT_OUTLINE, corners, (-bulge, 0, 0, 0))
    left, bottom, right, top = contour.box()
    points = np.array(along(contour))
    assert (left, bottom, right, top) == pytest.approx((*points.min(axis=0), *points.max(axis=0)), abs=0.02)
    sheet = Sheet("arc", "Arc", (contour,), (left - 10, bottom - 10, right + 10, top + 10))
    layout = share_out(sheet)
    shown = shapely.union_all([shapely.box(*layout.box(tile)) for tile in layout.tiles])
    assert shown.covers(shapely.LinearRing(points))


def test_rule_and_page_agree_on_what_a_rule_is():
    ends = [part.end[0] for part in scale_bar((0, 0), 175, upright=False) if isinstance(part, Line)]
    assert max(ends) == 150
