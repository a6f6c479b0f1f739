"""The figure of a refresh shows its numbers and can be read."""

from pathlib import Path

import numpy as np
import pytest

from xover.curve import log_grid
from xover.drawing.change import draw_refresh
from xover.parts.catalogue import Catalogue
from xover.parts.stock import open_stock
from xover.studies.change.refresh.study import refresh

EXAMPLES = Path(__file__).parents[2] / "examples"


@pytest.fixture(scope="module")
def study(results):
    stock = open_stock(EXAMPLES / "stock.csv")
    return refresh(results.speaker("hall horn"), Catalogue(stock), log_grid(20, 20_000, 24))


@pytest.fixture(scope="module")
def figure(study, drawn):
    return drawn(draw_refresh(study))


def test_curves_are_those_of_the_study(study, figure):
    upper, lower = figure.figure.axes
    for axes, difference in ((upper, study.before), (lower, study.refreshed)):
        lines = {line.get_label(): line for line in axes.lines}
        for key, change in difference.drive_db.items():
            np.testing.assert_array_equal(lines[f"{key} drive"].get_ydata(), change)
        # Nothing tells when the hall speaker's drivers sound: no one sum is right.
        assert "sum" not in lines
        assert not np.isfinite(difference.sum_db).any()


def test_the_tolerance_is_drawn_where_it_counts(figure):
    lower = figure.figure.axes[1]
    limits = {line.get_label(): line for line in lower.lines if line.get_label().startswith("tolerance")}
    assert sorted(line.get_ydata()[0] for line in limits.values()) == [-0.5, 0.5]
    assert all(tuple(line.get_xdata()) == (200.0, 20_000.0) for line in limits.values())
    low, high = lower.get_ylim()
    assert low < -0.5 < 0.5 < high


def test_a_sum_that_is_known_is_drawn(results, drawn):
    stock = open_stock(EXAMPLES / "stock.csv")
    study = refresh(results.speaker("attic right"), Catalogue(stock), log_grid(20, 20_000, 12), tolerance_db=0.5)
    lines = {line.get_label(): line for line in drawn(draw_refresh(study)).figure.axes[1].lines}
    np.testing.assert_array_equal(lines["sum"].get_ydata(), study.refreshed.sum_db)


def test_words_do_not_overlap_and_stay_on_the_page(figure):
    figure.assert_legible()
