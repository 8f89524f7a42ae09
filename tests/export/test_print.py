"""A print put together: pages turned into pictures, joined by the crosses on them, and measured with a ruler."""

import shutil
import subprocess

import numpy as np
import pytest
from helpers import FULL, contents, starter
from PIL import Image
from scipy.ndimage import gaussian_filter, uniform_filter
from scipy.signal import fftconvolve

from slotwright.layout.drawing.catalogue import draw_sheet
from slotwright.layout.export.pdf import pdf
from slotwright.layout.export.tiling import FOOT, SIDE, share_out
from slotwright.layout.instrument.instrument import lay_out
from slotwright.layout.plan.plan import Plan

DPI = 300
MM = DPI / 25.4
PRINTED = {
    "electric-six": (lambda: starter("electric-six"), "A4"),
    "nineteen-divisions": (lambda: starter("nineteen-divisions"), "letter"),
    "ukulele": (lambda: starter("ukulele"), "letter"),
    "steel-six": (lambda: starter("steel-six"), "legal"),
    "left": (lambda: Plan.model_validate(contents(board={"left_handed": True}, frets={"count": 24})), "A4"),
    "inches": (
        lambda: Plan.model_validate(
            {**contents(scale={"length": "25.5 in"}, board={"nut_width": "1 3/4 in"}), "units": "in"}
        ),
        "letter",
    ),
}


def pages(written, folder):
    """Render the pages, dark is 1."""
    if shutil.which("pdftoppm") is None:
        pytest.skip("no pdftoppm: install it (Debian: apt-get install poppler-utils)")
    (folder / "a.pdf").write_bytes(written)
    subprocess.run(["pdftoppm", "-r", str(DPI), "-gray", "a.pdf", "page"], cwd=folder, check=True)  # noqa: S607
    return [1 - np.asarray(Image.open(path)) / 255 for path in sorted(folder.glob("page*.pgm"))]


def cross():
    """Draw the arms of a cross and the ring about its middle as they look on paper, of 3 mm each; each sums to 1."""
    half = int(3.5 * MM)
    y, x = np.mgrid[-half : half + 1, -half : half + 1] / MM
    arms = ((np.abs(x) < 0.09) | (np.abs(y) < 0.09)) & (np.maximum(np.abs(x), np.abs(y)) < 3)
    ring = np.abs(np.hypot(x, y) - 1.5) < 0.09
    return [part / part.sum() for part in (arms, ring)]


def crosses(picture):
    """Find the two crosses in a part of a page, from the top, as x and y in pixels: ring and arms dark, the rest not."""
    soft = gaussian_filter(np.minimum(picture, 0.55), 1.0)  # crosses are grey: black letters count for no more
    arms, ring = (fftconvolve(soft, part, "same") for part in cross())
    like = np.minimum(arms, ring) - 3 * uniform_filter(soft, int(7 * MM))
    exact = arms + ring
    found = []
    for _ in range(2):
        y, x = np.unravel_index(np.argmax(like), like.shape)
        assert like[y, x] > 0.05
        near = exact[y - 1 : y + 2, x - 1 : x + 2]
        found.append([x + top(near[1]), y + top(near[:, 1])])
        like[max(0, y - 60) : y + 60, max(0, x - 60) : x + 60] = -1
    return np.array(sorted(found, key=lambda place: place[1]))


def top(three):
    """Give where a parabola through three values is highest, counted from the second."""
    return 0.5 * (three[0] - three[2]) / (three[0] - 2 * three[1] + three[2])


def uprights(band):
    """Find the lines that run through a whole band, as x in pixels."""
    through = np.maximum(np.maximum(band[:, :-2], band[:, 1:-1]), band[:, 2:]).min(axis=0) > 0.25
    places = np.flatnonzero(through) + 1
    groups = np.split(places, np.flatnonzero(np.diff(places) > 2) + 1)
    weight = band.mean(axis=0)
    return [float(np.average(group, weights=weight[group])) for group in groups if len(group)]


@pytest.mark.parametrize("name", PRINTED if FULL else ["ukulele"])
def test_a_joined_print_is_true(name, tmp_path):
    """Nut to fret 12 and to the last fret, within 0.15 mm."""
    make, paper = PRINTED[name]
    instrument = lay_out(make())
    sheet = draw_sheet(instrument, "slots")
    layout = share_out(sheet, paper)
    assert len(layout.rows) == 1 < len(layout.columns)
    seen = pages(pdf(sheet, layout), tmp_path)[-len(layout.tiles) :]
    strip, left = int(30 * MM), int((layout.margin + SIDE) * MM)
    foot = seen[0].shape[0] - int((layout.margin + FOOT) * MM)
    right = seen[0].shape[1] - int(layout.margin * MM)
    shift, found = np.zeros(2), []
    for number, page in enumerate(seen):
        if number:
            here = crosses(page[:foot, left : left + strip]) + np.array([left, 0])
            there = crosses(seen[number - 1][:foot, right - strip : right]) + np.array([right - strip, 0])
            apart = there - here
            assert np.abs(apart[0] - apart[1]).max() < 0.1 * MM  # both crosses agree
            shift = shift + apart.mean(axis=0)
        # 6 mm off the centre line, where no name and no string lies on a slot
        y = page.shape[0] - int((layout.margin + FOOT + 6 - layout.rows[0]) * MM)
        found += [left + x + shift[0] for x in uprights(page[y - 20 : y + 20, left:])]
    found = np.array(sorted(found)) / MM
    frets = instrument.neck.frets.middle - instrument.neck.nut_moved
    nut = found.min() - instrument.neck.outline[:, 0].min()  # the board may begin behind the nut
    last = len(frets) - 1
    for fret in (12, last):
        assert np.abs(found - nut - frets[fret]).min() < 0.15
    # And no other line is taken for these: all frets are there, each once or, on a seam, twice.
    assert all(np.abs(found - nut - place).min() < 0.15 for place in frets[1:])
