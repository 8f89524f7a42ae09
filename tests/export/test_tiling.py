"""Fewest tiles, and seams clear of what must stay whole: tried against every offset of the grid."""

import numpy as np
import pytest
import shapely
from helpers import FULL, STARTERS, crossed, parts, prove, starter
from hypothesis import assume, event
from hypothesis import strategies as st
from plan_space import contents

from slotwright.layout.drawing.catalogue import described, draw_sheet
from slotwright.layout.drawing.sheet import Circle, Contour, Layer, Line, Sheet, Text
from slotwright.layout.errors import PaperError, PlanError
from slotwright.layout.export.tile import on_tiles
from slotwright.layout.export.tiling import share_out
from slotwright.layout.instrument.instrument import lay_out
from slotwright.layout.plan.plan import Plan

# By hand: paper less 10 mm of margin all round, 12 mm for the upright bar, 20 mm at the foot; 10 mm of overlap.
WINDOWS = {"A4": ((178, 257), (265, 170)), "letter": ((183.9, 239.4), (247.4, 175.9))}
OVERLAP = 10
KEPT = (Layer.CUT_SLOTS, Layer.MARK, Layer.DRILL, Layer.POCKET)


def lines_of(entity):
    if isinstance(entity, Line):
        return shapely.LineString([entity.start, entity.end])
    if isinstance(entity, Contour):
        return shapely.LinearRing(entity.points())
    if isinstance(entity, Circle):
        return shapely.Point(entity.centre).buffer(entity.radius).exterior
    return shapely.Polygon(entity.corners()).exterior


def dots(sheet):
    """Give points along all that is drawn, at most 0.5 mm apart, (n, 2)."""
    shapes = shapely.segmentize(np.array([lines_of(entity) for entity in sheet.drawing]), 0.5)
    return np.unique(np.round(shapely.get_coordinates(shapes), 2), axis=0)


def offsets(low, high, window, step):
    """Give the offsets of a grid along one axis; one, about the middle, where one tile is enough."""
    pitch, long = window - OVERLAP, high - low
    if long <= window - 0.6:  # lines have a width
        return [(low + high - window) / 2]
    rest = -(long - OVERLAP) % pitch  # what fewest tiles have to spare
    return [low - shift for shift in np.unique([*np.arange(0, pitch, step), rest])]


def owners(places, start, window):
    """Give the tile that alone shows each place along an axis, or that and the next one (place, both)."""
    number, inside = np.divmod(places - start, window - OVERLAP)
    shared = inside < OVERLAP
    return number, shared


def at_least(points, window, starts):
    """Give how few tiles can show all points: those that alone show one are due, and one more if these are too few."""
    (column, beside), (row, above) = (owners(points[:, i], starts[i], window[i]) for i in (0, 1))
    alone = ~beside & ~above
    due = {*map(tuple, np.unique(np.column_stack((column, row))[alone], axis=0))}
    rest = np.unique(np.column_stack((column, row, beside, above))[~alone], axis=0)
    for j, i, left, down in rest:
        able = {(j - a, i - b) for a in range(1 + int(left)) for b in range(1 + int(down))}
        if not able & due:
            return len(due) + 1
    return len(due)


def takes_fewer(sheet, paper, tiles, step):
    """Try both ways to turn the paper and every offset: could fewer tiles show the drawing?"""
    points = dots(sheet)
    few_points = points[:: max(1, len(points) // 800)]  # where these take as many tiles, so do all
    low, high = points.min(axis=0), points.max(axis=0)
    for window in WINDOWS[paper]:
        choices = [offsets(low[i], high[i], window[i], step) for i in (0, 1)]
        if len(choices[0]) > 1 < len(choices[1]):
            choices = [each[:: max(1, len(each) // 30)] for each in choices]
        for x in choices[0]:
            for y in choices[1]:
                if at_least(few_points, window, (x, y)) < tiles and at_least(points, window, (x, y)) < tiles:
                    return True
    return False


CASES = [
    (name, sheet, paper)
    for name, paper in crossed(STARTERS, ["A4", "letter"])
    for sheet in described(lay_out(starter(name)))
]


@pytest.mark.parametrize(("name", "kind", "paper"), CASES if FULL else CASES[::9])
def test_starters_take_the_fewest_tiles(name, kind, paper):
    sheet = draw_sheet(lay_out(starter(name)), kind)
    layout = share_out(sheet, paper)
    assert not takes_fewer(sheet, paper, len(layout.tiles), 2.0 if FULL else 5.0)


def test_the_board_of_six_takes_three_tiles_of_a4():
    assert len(share_out(draw_sheet(lay_out(starter("electric-six")), "board")).tiles) <= 3


def kept_whole(sheet):
    """Give what must not lie on a seam, as boxes (n, 4): slots, marks, holes, pockets and labels."""
    boxes = [lines_of(e).bounds for e in sheet.drawing if isinstance(e, Text) or e.layer in KEPT]
    return np.array(boxes).reshape(-1, 4)


def cut(sheet, layout):
    """Name what the seams of a layout cut, by their own lines."""
    seams = []
    wide, high = layout.window
    for row, column in layout.tiles:
        x, y = layout.columns[column], layout.rows[row]
        if (row, column + 1) in layout.tiles:
            at = layout.columns[column + 1] + OVERLAP / 2
            seams.append(shapely.LineString([(at, y), (at, y + high)]))
        if (row + 1, column) in layout.tiles:
            at = y + OVERLAP / 2
            seams.append(shapely.LineString([(x, at), (x + wide, at)]))
    things = [e for e in sheet.drawing if isinstance(e, Text) or e.layer in KEPT]
    return [thing for thing in things for seam in seams if seam.crosses(shapely.box(*lines_of(thing).bounds))]


def clear_offsets(low, high, window, boxes):
    """Give the offsets along one axis whose seams cut none of some boxes, each from and to, (n, 2)."""
    found = []
    for start in offsets(low, high, window, 0.25):
        count = max(1, int(np.ceil((high - start - OVERLAP) / (window - OVERLAP) - 1e-9)))
        seams = start + OVERLAP / 2 + (window - OVERLAP) * np.arange(1, count)
        if not ((boxes[:, :1] < seams) & (seams < boxes[:, 1:])).any():
            found.append(start)
    return found


def could_be_clear(sheet, paper, tiles):
    """Tell whether as few tiles could show the drawing with nothing cut."""
    points, boxes = dots(sheet), kept_whole(sheet)
    few_points = points[:: max(1, len(points) // 800)]
    low, high = points.min(axis=0) - 0.3, points.max(axis=0) + 0.3
    for window in WINDOWS[paper]:
        choices = [clear_offsets(low[i], high[i], window[i], boxes[:, i::2]) for i in (0, 1)]
        choices = [each[:: max(1, len(each) // 20)] for each in choices]
        for x in choices[0]:
            for y in choices[1]:
                if at_least(few_points, window, (x, y)) <= tiles and at_least(points, window, (x, y)) <= tiles:
                    return True
    return False


@pytest.mark.parametrize("part", parts(5))
def test_nothing_is_cut_that_any_offset_could_spare(part):
    """Slots, marks, holes, labels: SLOTWRIGHT_DEEP=60 tries sheets of 300 random plans."""

    def holds(drawn):
        made, which, mirrored, paper = drawn
        try:
            instrument = lay_out(Plan.model_validate(made))
        except PlanError:
            assume(False)
        names = described(instrument)
        sheet = draw_sheet(instrument, names[which % len(names)], mirrored=mirrored)
        try:
            layout = share_out(sheet, paper)
        except PaperError:
            assume(False)
        lost = cut(sheet, layout)
        event(f"{'cut' if lost else 'clear'}, {len(layout.tiles)} tiles")
        if lost:
            assert not could_be_clear(sheet, paper, len(layout.tiles))
        labels = sorted(e.text for e in sheet.drawing if isinstance(e, Text))
        if not layout.framed:
            check_labels(sheet, layout, labels)

    prove(holds, st.tuples(contents(), st.integers(0, 7), st.booleans(), st.sampled_from(["A4", "letter"])), 12, part)


def check_labels(sheet, layout, labels):
    """Every label stands whole on one tile or more: within what is left of it once it is trimmed."""
    whole = []
    for tile, shown in on_tiles(sheet, layout).items():
        left, bottom, right, top = layout.box(tile)
        row, column = tile
        left += OVERLAP / 2 * ((row, column - 1) in layout.tiles)
        right -= OVERLAP / 2 * ((row, column + 1) in layout.tiles)
        top -= OVERLAP / 2 * ((row - 1, column) in layout.tiles)
        bottom += OVERLAP / 2 * ((row + 1, column) in layout.tiles)
        field = shapely.box(left - 1e-6, bottom - 1e-6, right + 1e-6, top + 1e-6)
        whole += [e.text for e in shown if isinstance(e, Text) and field.covers(shapely.box(*e.box()))]
    assert sorted(whole) == labels


def test_a_label_on_a_seam_is_moved_whole():
    """Labels side by side leave no seam that cuts none."""
    words = tuple(Text(Layer.TEXT, (x, 50), "M" * 12, 2.5, "center") for x in range(20, 600, 42))
    rows = (*words, *(Text(Layer.TEXT, (x + 21, 60), "M" * 12, 2.5, "center") for x in range(20, 600, 42)))
    sheet = Sheet("words", "Words", rows, (0, 0, 620, 100))
    layout = share_out(sheet)
    assert cut(sheet, layout)
    check_labels(sheet, layout, sorted(e.text for e in rows))
    moved = [e for shown in on_tiles(sheet, layout).values() for e in shown if e not in rows]
    boxes = [shapely.box(*e.box()) for e in (*moved, *(r for r in rows if r not in cut(sheet, layout)))]
    assert moved
    assert not [1 for i, a in enumerate(boxes) for b in boxes[i + 1 :] if a.overlaps(b)]


SCATTERED = range(30)


@pytest.mark.parametrize("count", SCATTERED if FULL else SCATTERED[:2])
def test_scattered_pieces_take_the_fewest_tiles(count):
    """Where tiles can be left out, no offset leaves out more."""
    rng = np.random.default_rng(count)
    places = rng.uniform((0, 0), (700, 450), (int(rng.integers(2, 6)), 2))
    pieces = tuple(Line(Layer.REF_STRINGS, (x, y), (x + 30, y + 20)) for x, y in places.tolist())
    sheet = Sheet("far", "Far", pieces, (0, 0, 730, 470))
    layout = share_out(sheet)
    assert not takes_fewer(sheet, "A4", len(layout.tiles), 2.0)
    # They do show everything, and at their offset the judge counts as many.
    points = dots(sheet)
    boxes = [layout.box(tile) for tile in layout.tiles]
    on = [(points >= box[:2]).all(axis=1) & (points <= box[2:]).all(axis=1) for box in boxes]
    assert np.any(on, axis=0).all()
    assert at_least(points, layout.window, (layout.columns[0], layout.rows[-1])) == len(layout.tiles)
