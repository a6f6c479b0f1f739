"""Widths of text, against the layout of matplotlib and the font's own table."""

import pytest
from matplotlib.font_manager import FontProperties

from xover.drawing.page import Panel, make_page, renderer_of
from xover.drawing.style import SLACK, height_points, look, width_points

LINES = [
    "shaded: all that drift within the ranges usual for each kind of part could do; AVATAR",
    "20k",
    "lowest EPDR 3.03 ohm at 2.94 kHz",
    "ÅÄÖ \u2212 ± · … µPa",
]


@pytest.fixture(scope="module")
def measured():
    with look():
        figure, _ = make_page("", [], [], [Panel("", 1.0)], [20.0, 20_000.0])

    def width(text, points, weight):
        font = FontProperties(family=["DejaVu Sans"], size=points, weight=weight)
        return renderer_of(figure).get_text_width_height_descent(text, font, ismath=False)[0] * 72.0 / figure.dpi

    return width


@pytest.mark.parametrize(("points", "bold"), [(7.5, False), (9.0, False), (13.0, True)])
@pytest.mark.parametrize("text", LINES)
def test_a_width_is_that_of_the_layout(measured, text, points, bold):
    laid_out = measured(text, points, "bold" if bold else "normal")
    # The layout counts whole pixels of ink, without the blank beside the first and the last letter.
    # Kerning draws it together, hinting moves it by a fraction of a pixel a letter.
    assert laid_out <= SLACK * width_points(text, points, bold) + 1.0
    assert width_points(text, points, bold) <= 1.03 * laid_out + 0.2 * points


def test_advances_of_the_font():
    """DejaVu Sans has 2048 units to the em, and advances of 1255 for "a" and 2025 for "W" (its hmtx table)."""
    assert width_points("a", 1.0) == pytest.approx(1255 / 2048, abs=1e-4)
    assert width_points("W", 1.0) == pytest.approx(2025 / 2048, abs=1e-4)
    assert width_points("aW", 10.0) == pytest.approx(3280 / 204.8, abs=2e-3)
    assert width_points("", 10.0) == 0.0


def test_heights_grow_with_the_type():
    whole, below = height_points(10.0)
    assert 9.0 < whole < 10.5  # "l" reaches 0.76 em up, "p" 0.21 em down
    assert below == pytest.approx(2.1, abs=0.3)
    assert height_points(20.0) == pytest.approx((2.0 * whole, 2.0 * below))
