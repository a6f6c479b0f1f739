"""The map of a bypass shows the deviations of the study, and can be read."""

from dataclasses import replace

import numpy as np
import pytest

from xover.curve import log_grid
from xover.drawing.bypass import draw_bypass_map
from xover.studies.change.bypass.crossover import CrossoverMap
from xover.studies.change.bypass.study import study_bypass

F = log_grid(20.0, 20e3, 12)
CORNERS = np.geomspace(1500.0, 6000.0, 9)


@pytest.fixture(scope="module")
def study(results):
    """Maps are invented: what is worked out is tested with the study."""
    found = study_bypass(results.speaker("attic left"), None, F, with_map=False)
    slopes = ("B1", "LR2", "LR4")
    u = np.log2(CORNERS / 3000.0)[:, None]
    table = 0.5 + (u - np.array([[-0.9, 0.1, 0.6]])) ** 2
    table[0, 2] = np.nan
    chart = CrossoverMap(
        "woofer", "tweeter", CORNERS, slopes, table, np.array([4000.0, 2000.0, 2000.0]), 3000.0, "LR2", 0.51
    )
    return replace(found, maps=(chart,))


@pytest.fixture(scope="module")
def panels(study):
    figure = draw_bypass_map(study)
    return figure, {line.get_label(): line for line in figure.axes[0].lines}


def test_deviations_are_drawn_as_computed(study, panels):
    (chart,) = study.maps
    _, lines = panels
    for column, slope in enumerate(chart.slopes):
        allowed = chart.frequency_hz >= chart.least_hz[column]
        assert 0 < allowed.sum() < CORNERS.size
        x, y = lines[slope].get_data()
        np.testing.assert_array_equal(x, CORNERS)
        np.testing.assert_array_equal(y[allowed], chart.rms_deviation_db[allowed, column])
        assert np.isnan(y[~allowed]).all()
        barred = lines[f"{slope}, too low"].get_ydata()
        np.testing.assert_array_equal(barred[~allowed], chart.rms_deviation_db[~allowed, column])
        # The dots reach the line, and end there.
        assert np.isfinite(barred).sum() - np.isfinite(barred[~allowed]).sum() == 1
    assert (lines["flattest"].get_xdata()[0], lines["flattest"].get_ydata()[0]) == (3000.0, 0.51)
    assert set(lines["corner at hand"].get_xdata()) == {3000.0}
    assert lines["LR4"].get_linewidth() > 1.5 * lines["LR2"].get_linewidth()  # at hand


def test_it_can_be_read(panels):
    figure, _ = panels
    words = [t.get_text() for t in figure.axes[0].texts]
    assert {"B1", "LR2", "LR4", "at hand 3 kHz", "flattest 0.51 dB\nLR2 at 3 kHz"} == set(words)
    assert figure.axes[0].get_xlim() == pytest.approx((1500.0, 6000.0))
    assert figure.axes[0].get_ylim()[0] == 0.0
    assert figure.axes[0].get_xlabel() == "corner frequency, Hz"


def test_every_corner_has_a_panel_and_none_has_words(study, drawn):
    (chart,) = study.maps
    upper = replace(chart, lower="tweeter", upper="super", frequency_hz=CORNERS * 4, best_hz=np.nan, best_slope="")
    crossover = replace(study.crossover, corners_hz=(3000.0, 12_000.0))
    two = drawn(draw_bypass_map(replace(study, maps=(chart, upper), crossover=crossover)))
    assert two.upper.get_xlim() == two.lower.get_xlim() == pytest.approx((1500.0, 24_000.0))
    assert two.lower.get_title(loc="left").startswith("tweeter to super: rms deviation")
    assert "flattest" not in two.names(two.lower)
    assert set(two.line("corner at hand", two.lower)[0]) == {12_000.0}
    two.assert_legible(25)
    (axes,) = draw_bypass_map(replace(study, maps=())).axes
    assert [t.get_text() for t in axes.texts] == ["not known"]
