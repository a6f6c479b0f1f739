"""Lines can be told apart: in grey, by any colour vision, and whatever settings the user keeps."""

from itertools import combinations

import matplotlib as mpl
import numpy as np
import pytest
from matplotlib.colors import to_rgb

from xover.drawing import draw_prediction
from xover.drawing.style import INK, LIMIT, QUIET, SUM, driver_stroke, look

# Machado, Oliveira & Fernandes 2009, IEEE TVCG 15(6), severity 1.0, for linear sRGB; from memory, so
# that each row must add up to 1 (white stays white).
VISION = {
    "all colours": np.eye(3),
    "no red cones": np.array(
        [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]]
    ),
    "no green cones": np.array(
        [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]]
    ),
}
# IEC 61966-2-1: linear sRGB to XYZ; white point D65.
TO_XYZ = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
WHITE = TO_XYZ.sum(axis=1)


def linear(colour):
    """IEC 61966-2-1."""
    c = np.array(to_rgb(colour))
    return np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4)


def lab(colour, vision="all colours"):
    """CIE 15: L*a*b*."""
    t = TO_XYZ @ np.clip(VISION[vision] @ linear(colour), 0.0, 1.0) / WHITE
    f = np.where(t > (6 / 29) ** 3, np.cbrt(t), t / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def test_the_colour_arithmetic():
    assert lab("white") == pytest.approx([100.0, 0.0, 0.0], abs=1e-6)
    # sRGB red, as tabulated widely: L*a*b* 53.24, 80.09, 67.20
    assert lab("red") == pytest.approx([53.24, 80.09, 67.20], abs=0.05)
    for matrix in VISION.values():
        assert matrix.sum(axis=1) == pytest.approx([1.0, 1.0, 1.0], abs=2e-6)


def test_strokes_differ_in_grey():
    """By their dashes among themselves; a driver's line never has the weight and darkness of the sum."""
    strokes = [driver_stroke(i) for i in range(5)]
    assert len({s.dashes for s in strokes}) == 5
    for s in strokes:
        assert lab(s.colour)[0] > lab(SUM.colour)[0] + 15.0
        assert s.width_points < 0.6 * SUM.width_points
    # the two of a two-way also by their darkness
    assert abs(lab(strokes[0].colour)[0] - lab(strokes[1].colour)[0]) > 15.0


@pytest.mark.parametrize("vision", VISION)
def test_colours_differ_for_every_eye(vision):
    # CIE 1976 difference; about 2.3 is just seen, and every pair differs in its dashes as well.
    for a, b in combinations([driver_stroke(i).colour for i in range(5)], 2):
        assert np.linalg.norm(lab(a, vision) - lab(b, vision)) > 20.0, (a, b)


def test_no_two_strokes_are_alike():
    assert len({(s.colour, s.dashes) for s in map(driver_stroke, range(25))}) == 25


@pytest.mark.parametrize("colour", [INK, QUIET, LIMIT, *(driver_stroke(i).ink for i in range(5))])
def test_words_can_be_read_on_white(colour):
    # WCAG 2.1, 1.4.3: (1.05) / (relative luminance + 0.05) of 4.5 or more
    assert 1.05 / (TO_XYZ[1] @ linear(colour) + 0.05) >= 4.5


def test_the_users_settings_neither_show_nor_change(results, drawn):
    theirs = {"axes.facecolor": "black", "lines.linewidth": 9.0, "text.usetex": True, "font.size": 30.0}
    with mpl.rc_context(theirs):
        before = dict(mpl.rcParams)
        d = drawn(draw_prediction(results.prediction("attic left")))
        assert dict(mpl.rcParams) == before
        assert d.upper.get_facecolor() == (1.0, 1.0, 1.0, 1.0)
        assert all(text.get_fontsize() < 20.0 and not text.get_usetex() for text in d.words())
        with look():
            assert mpl.rcParams["svg.hashsalt"] == "xover"
        assert dict(mpl.rcParams) == before
