"""How low and high the wood may end, place by place, on boards that are small enough to say it by hand."""

from functools import cache

import numpy as np
import pytest
from boards import PLAIN, SHORT, SLOTS

from slotwright.layout.instrument.instrument import lay_out
from slotwright.layout.machine.jobs import plan_milling
from slotwright.layout.machine.wanted import Wanted
from slotwright.layout.plan.plan import Plan

# Flat, 6 mm thick, two frets, from x = -7.2 to 44; slots 2.1 mm deep, cut across the blank. Depths may be off by 0.01 mm, twice the tolerance, and edges by half of it.
FLAT = {
    **PLAIN,
    "strings": 2,
    "scale": {"length": 330.0},
    "frets": {"count": 2},
    "board": {"nut_width": 20.0, "radius": 0, "position_marks": [2], "behind_nut": 7.2},
    "nut": {"slot": 3.2, "seat": 2.0, "thickness": 3.2},
    "blank": {"length": 90.0, "width": 40.0, "nut_at": 30.0, "thickness": 6.0},
    "machine": {
        "dowels": [[-24.0, 0.0, 4.0]],
        "tabs": {"count": 2},
        "cutters": [
            SLOTS,
            {"operations": ["holes", "marks", "pockets", "outline"], "diameter": 3.0, "cutting_length": 12.0},
        ],
    },
}
FANNED = {
    **SHORT,
    "scale": {"treble": 330.0, "bass": 345.0},
    "frets": {"count": 4, "slot_inset": 1.5},
}
NAN, INF = np.nan, np.inf


@cache
def board(fanned=None):
    instrument = lay_out(Plan.model_validate({None: FLAT, False: SHORT, True: FANNED}[fanned]))
    milling = plan_milling(instrument)
    return instrument, milling.setting, milling


def wanted_of(fanned=None):
    instrument, _, milling = board(fanned)
    return Wanted(instrument, milling)


def looked_at(fanned=None):
    return wanted_of(fanned).patches()


def of(operation, fanned=None):
    """Give the places of an operation with all that is said of them, and the words."""
    found = [each for each in looked_at(fanned) if each.operation == operation]
    keys = ("places", "before", "low", "high", "wanted", "inside", "through")
    return {key: np.concatenate([getattr(each, key) for each in found]) for key in keys}, [
        each.words for each in found
    ]


def limits(*places, fanned=None):
    """Give wanted height, low, high and whether it is in the board, place by place."""
    x, y = np.array(places, float).T
    wanted, low, high, inside = wanted_of(fanned)._limits(x, y)  # noqa: SLF001
    return [
        (*(round(float(part), 9) for part in each[:3]), bool(each[3]))
        for each in zip(wanted, low, high, inside, strict=True)
    ]


def same(found, expected):
    np.testing.assert_allclose(np.array(found, float), np.array(expected, float), rtol=0, atol=1e-9)


WOOD, WASTE = (NAN, 5.99, 6.01, True), (NAN, -0.21, INF, False)


def test_the_board_stands_and_its_waste_goes():
    (x, half), (end, wide) = np.abs(np.asarray(board()[1].part.exterior.coords)[[3, 2]])
    assert (x, end) == pytest.approx((7.2, 44.0034), abs=1e-4)
    half += (wide - half) * (10 + 7.2) / (end + 7.2)  # at x = 10
    same(
        limits((10, 0), (-20, 5), (10, half - 0.003), (10, 0.003 - half), (10, half - 0.002), (44.0, 0), (44.002, 0)),
        [WOOD, WASTE, WOOD, WOOD, WASTE, WOOD, WASTE],
    )


def test_a_slot_may_be_as_deep_as_it_is_to_be():
    """A cutter of 0.56 mm, half the tolerance to either side."""
    x, cut = float(board()[0].neck.slots[1][0, 0]), (NAN, 3.89, INF, True)
    assert x == pytest.approx(330 * (1 - 2 ** (-1 / 12)))
    same(limits((x, 0), (x + 0.2824, 3), (x - 0.2824, -9), (x + 0.2826, 3), (x - 0.2826, 3)), [cut] * 3 + [WOOD] * 2)
    # Across the blank, past its edge by some; what is waste may go deeper.
    same(limits((x, 19.9), (x, -19.9)), [WASTE] * 2)
    # A blind one ends with the slot, and the wood before its end stands: 0.1 is left for the sander, 0.03 of ridges.
    bass, treble = board(True)[0].neck.slots[2]
    along = (treble - bass) / np.hypot(*(treble - bass))
    inside, outside = limits(bass - 0.004 * along, bass - 0.006 * along, fanned=True), limits(treble + 0.004 * along, treble + 0.006 * along, fanned=True)  # fmt: skip
    for (in_slot, in_wood), end in ((inside, bass), (outside, treble)):
        top = 6.0 - (254 - np.sqrt(254**2 - end[1] ** 2))
        assert in_slot[1:] == (pytest.approx(top - board(True)[0].sawing.depth - 0.01, abs=1e-3), INF, True)
        assert in_wood == pytest.approx((top + 0.1, top + 0.09, top + 0.14, True), abs=1e-3)


def test_marks_groove_and_dowels_may_be_as_deep_as_they_are_to_be():
    x = 330 * (1 - (2 ** (-1 / 12) + 2 ** (-2 / 12)) / 2)  # midway between fret 1 and fret 2
    mark = (NAN, 3.99, INF, True)
    same(
        limits((x, 0), (x + 3.0299, 0), (x, -3.0299), (x + 3.0301, 0), (x, 3.0301)), [mark] * 3 + [WOOD] * 2
    )  # 6 mm, 0.05 of play
    dowel = (NAN, -4.01, INF, False)
    same(limits((-24, 0), (-22, 0.14), (-24, 2.0049), (-24, 2.0051), (-21.99, 0.0)), [dowel] * 3 + [WASTE] * 2)
    groove = (NAN, 3.99, INF, True)
    at = [(-3.2049, 0), (-1.6, 9), (0.0049, 0)]
    same(limits(*at, (-3.2051, 0), (0.0051, 0)), [groove] * 3 + [WOOD] * 2)


def test_a_surfaced_board_is_wanted_with_what_is_left_to_sand_and_its_ridges():
    top = 6.1 - (254 - np.sqrt(254**2 - np.array([0.0, 12.0, 19.0]) ** 2))
    found = limits((50, 0), (5, 12), (42, -19), fanned=False)
    same(found, [(each, each - 0.01, each + 0.04, True) for each in top])
    same(limits((-20, 5), fanned=False), [(NAN, -0.21, INF, False)])


def test_the_whole_blank_is_looked_at_so_close_that_no_cut_is_missed():
    found, words = of("surface")
    assert set(words) == {"the board"}
    x, y = found["places"].T
    assert (x.min(), y.min()) == (-30.0, -20.0)
    for axis, end in ((x, 60.0), (y, 20.0)):
        lines = np.unique(axis.round(9))
        assert np.diff(lines) == pytest.approx(0.7 * 0.56)
        assert end - 0.7 * 0.56 - 1e-9 <= lines[-1] < end
    assert (
        len(np.unique(found["places"].round(6), axis=0))
        == len(x)
        == len(np.unique(x.round(9))) * len(np.unique(y.round(9)))
    )
    assert (found["before"] == 6.0).all()
    assert not found["through"].any()
    same(
        np.column_stack([found[key][::97] for key in ("wanted", "low", "high", "inside")]),
        limits(*found["places"][::97]),
    )
    assert {len(each.places) for each in looked_at() if each.operation == "surface"} <= set(range(1, 401))


def test_patches_are_small_and_know_what_they_cover():
    for fanned in (None, False, True):
        for patch in looked_at(fanned):
            assert 0 < len(patch.places) <= 400
            x, y = patch.places.T
            assert patch.box == (x.min(), y.min(), x.max(), y.max())
            lengths = {len(getattr(patch, key)) for key in ("before", "low", "high", "wanted", "inside", "through")}
            assert lengths == {len(x)}
            assert (patch.low < patch.high).all()
            assert not patch.through.any() or patch.operation == "outline"
    assert {each.operation for each in looked_at(True)} == {"surface", "slots", "marks", "outline"}


def test_every_slot_is_looked_into_and_the_wood_beside_it():
    found, words = of("slots")
    assert words == ["slot of fret 1", "slot of fret 2"]
    for number, patch in zip((1, 2), [each for each in looked_at() if each.operation == "slots"], strict=True):
        (x, bass), (_, treble) = board()[0].neck.slots[number]
        off = (patch.places[:, 0] - x).round(9)
        assert np.unique(off).tolist() == [-0.285, -0.275, -0.14, 0.0, 0.14, 0.275, 0.285]
        along = np.unique(patch.places[:, 1].round(6))
        assert (along[0], along[-1]) == pytest.approx((bass + 0.005, treble - 0.005), abs=0.001)
        assert np.diff(along).max() < 0.38
        cut = np.abs(off) < 0.28
        same(patch.low, np.where(cut, 3.89, 5.99))
        same(patch.high, np.where(cut, 3.91, 6.01))
        # Under the middle half the floor is known exactly.
        same(patch.wanted, np.where(np.abs(off) < 0.2, 3.9, NAN))
    assert found["inside"].all()


def test_marks_and_dowels_are_looked_into_and_the_wood_round_a_mark():
    for operation, centre, rings, floor in (
        ("marks", (330 * (1 - (2 ** (-1 / 12) + 2 ** (-2 / 12)) / 2), 0.0), (0.0, 3.025 / 3, 2 * 3.025 / 3, 3.02, 3.035), 4.0),
        ("holes", (-24.0, 0.0), (0.0, 1.0, 1.995), -4.0),
    ):  # fmt: skip
        found, words = of(operation)
        assert words == [{"marks": "mark at fret 2", "holes": "dowel 1"}[operation]]
        off = found["places"] - centre
        assert np.hypot(*off.T) == pytest.approx(np.repeat(rings, 24), abs=1e-9)
        turns = np.unique((np.degrees(np.arctan2(off[24:48, 1], off[24:48, 0])) % 360).round(6))
        assert turns == pytest.approx(np.arange(0, 360, 15))
        cut = np.repeat(np.array(rings) < 3.03, 24)
        same(found["wanted"], np.where(cut, floor, NAN))
        same(found["low"], np.where(cut, floor - 0.01, 5.99))
        same(found["high"], np.where(cut, floor + 0.01, 6.01))


def test_both_walls_of_the_groove_are_looked_along():
    found, words = of("pockets")
    assert words == ["groove of the nut"] * 2
    front, rear = (each.places for each in looked_at() if each.operation == "pockets")
    for places, wall in ((front, 0.0), (rear, -3.2)):
        assert np.unique((places[:, 0] - wall).round(9)) == pytest.approx([-0.5, -0.01, 0.01, 0.5])
        along = np.unique(places[:, 1].round(6))
        assert along[[0, -1]] == pytest.approx([-9.97, 9.97], abs=0.021)
        assert np.diff(along).max() < 0.513
    x = found["places"][:, 0]
    cut = (x < 0) & (x > -3.2)
    assert 0 < cut.sum() < len(x)
    same(found["wanted"], np.where(cut, 4.0, NAN))
    same(found["low"], np.where(cut, 3.99, 5.99))
    same(found["high"], np.where(cut, 4.01, 6.01))


def test_the_outline_is_looked_along_on_both_sides_and_at_its_tabs():
    _, setting, milling = board()
    found = [each for each in looked_at() if each.operation == "outline"]
    assert list(dict.fromkeys(each.words for each in found)) == ["bass side", "far end", "treble side", "nut end"]
    corners = np.asarray(setting.part.exterior.coords)
    centre = corners[:4].mean(axis=0)
    assert len(milling.tabs) == 2
    for name, start, end in zip(
        ("bass side", "far end", "treble side", "nut end"), corners[:4], corners[1:], strict=True
    ):
        mine = [each for each in found if each.words == name]
        places = np.concatenate([each.places for each in mine])
        low, high, wanted, through, inside = (np.concatenate([getattr(each, key) for each in mine]) for key in ("low", "high", "wanted", "through", "inside"))  # fmt: skip
        way = (end - start) / np.hypot(*(end - start))
        side = np.array([-way[1], way[0]])
        side = side if side @ (start - centre) > 0 else -side
        along, off = (places - start) @ way, (places - start) @ side
        assert np.unique(off.round(6)).tolist() == [-0.005, 0.005, 1.5]
        steps = np.unique(along.round(6))
        assert (steps[0], steps[-1]) == pytest.approx((0.01, np.hypot(*(end - start)) - 0.01), abs=1e-6)
        assert np.diff(steps).max() < 0.513
        out = off > 0
        assert (inside == ~out).all()
        # Half of 6 mm is a tab 1.5 mm high; its ramps of 1 in 4 come down by 1.7 mm, and the cutter is 3 mm wide.
        tab = [
            abs((places - each.middle) @ each.along) for each in milling.tabs if abs((each.middle - start) @ side) < 1
        ]
        apart = tab[0] if tab else np.full(len(places), INF)
        assert len(tab) == ("side" in name)
        stands, ramp = out & (apart <= 3.0), out & (apart <= 3.0 + 3.0 + 6.8)
        through_it = out & ~ramp
        same(wanted[out], np.where(through_it, -0.2, NAN)[out])
        same(low[out], np.where(stands, 1.49, -0.21)[out])
        same(high[out], np.where(ramp, 1.51, -0.19)[out])
        assert (through == through_it).all()
        same(np.column_stack((low, high))[~out], [each[1:3] for each in limits(*places[~out])])


@pytest.mark.parametrize("fanned", [False, True])
def test_a_floor_on_a_curve_is_as_a_flat_tip_leaves_it(fanned):
    """Against tips put down close to each other, each touching the floor with its rim."""
    instrument = board(fanned)[0]
    half, depth = 0.28, instrument.sawing.depth

    def floor(y):
        return 6.0 - (254 - np.sqrt(254**2 - y**2)) - depth

    for patch in looked_at(fanned):
        if patch.operation != "slots":
            continue
        number = int(patch.words.rsplit(" ", 1)[1])
        bass, treble = instrument.neck.slots[number]
        along = (treble - bass) / np.hypot(*(treble - bass))
        first, last = (bass + half * along, treble - half * along) if fanned else (bass - along, treble + along)
        tips = first + np.linspace(0, 1, 4001)[:, None] * (last - first)  # a hundredth of a millimetre apart
        height = floor(np.maximum(np.abs(tips[:, 1]) - half, 0.0))
        some = slice(None, None, 3 if len(patch.places) > 2 else 1)  # of seven side by side
        places, low, high, wanted = patch.places[some], patch.low[some], patch.high[some], patch.wanted[some]
        way, off = (places - bass) @ along, np.abs((places - bass) @ [-along[1], along[0]])
        square = (places[:, None, 0] - tips[:, 0]) ** 2 + (places[:, None, 1] - tips[:, 1]) ** 2
        left = np.where(square <= half**2, height, INF).min(axis=1)
        cut = (off < half - 0.004) & np.isfinite(left)
        assert cut.sum() > 0 or len(cut) == 2
        assert (low[cut] <= left[cut] + 1e-3).all()
        assert (high[cut] >= left[cut] - 1e-3).all()
        assert np.abs(low[cut] - floor(places[cut, 1]) + 0.01).max(initial=0) < 1e-9
        # No looser than what such a tip leaves and a hundredth of a millimetre.
        inner = cut & (way > 2 * half) & (way < np.hypot(*(treble - bass)) - 2 * half)
        assert (high[inner] - left[inner]).max(initial=0) < 0.015
        assert (high[cut] - left[cut]).max(initial=0) < 0.01 + 3 * half / 12  # where a blind one ends, too
        exact = np.isfinite(wanted)
        assert exact.sum() >= 0.3 * len(exact) or len(exact) == 2
        # A fifth of its radius on the slope at the edges, 1 in 12.
        assert np.abs(wanted[exact & cut] - left[exact & cut]).max(initial=0) < 0.2 * half / 12 + 1e-3
        top = floor(places[:, 1]) + depth + 0.1
        wood = off > half
        same(low[wood], top[wood] - 0.01)
        same(high[wood], top[wood] + 0.04)
    if fanned:  # and before both ends of each
        ends = [each.places for each in looked_at(True) if each.operation == "slots" and len(each.places) == 2]
        slots = instrument.neck.slots[instrument.first_slot :]
        assert len(ends) == len(slots) == 4
        for (one, other), (bass, treble) in zip(ends, slots, strict=True):
            assert (np.hypot(*(one - bass)), np.hypot(*(other - treble))) == pytest.approx((0.01, 0.01))
            assert np.hypot(*(other - one)) > np.hypot(*(treble - bass))


def test_what_lies_beside_the_blank_has_no_wood_and_what_is_deeper_counts():
    wanted = wanted_of()
    x = float(board()[0].neck.slots[1][0, 0])
    patch = wanted._patch("marks", "a thing", np.array([(-31.0, 0.0), (60.1, 0.0), (10.0, 20.1), (x, 0.0), (10.0, 0.0)]), wanted=np.full(5, 5.0), low=np.array([NAN, NAN, NAN, 4.99, 4.99]), high=np.full(5, NAN))  # noqa: SLF001 # fmt: skip
    assert patch.before.tolist() == [-INF, -INF, -INF, 6.0, 6.0]
    same(patch.low, [-0.21, -0.21, -0.21, 3.89, 4.99])  # in the slot it may be as deep as that
    same(patch.wanted, [5.0, 5.0, 5.0, NAN, 5.0])
    same(patch.high, [INF, INF, INF, INF, 6.01])
    edge = wanted._patch("outline", "a thing", np.array([(x, 0.0)]), low=np.array([4.99]), wanted=np.array([5.0]))  # noqa: SLF001
    assert (edge.low[0], edge.wanted[0]) == (4.99, 5.0)
