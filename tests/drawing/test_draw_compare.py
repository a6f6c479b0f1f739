"""The figures of what differs show the numbers of the studies and can be read."""

import math

import numpy as np
import pytest

from xover.curve import Evidence, log_grid
from xover.drawing.aged import draw_comparison, draw_pair, draw_verification
from xover.explain.pair_changes import Change, ChangeKind
from xover.files.tables import read_impedance, read_response
from xover.studies.aged.compare.study import Predicted, What, compare
from xover.studies.aged.verify.result import ChangedValue, Explanation, PairStudy
from xover.studies.aged.verify.study import verify

F = log_grid(20.0, 20e3, 12)
BAND = (300.0, 20_000.0)


@pytest.fixture(scope="module")
def studies(results):
    speaker = results.speaker("attic left")
    folder = speaker.file.folder
    sweep = read_impedance(folder / "terminals-rebuilt.csv", Evidence.MEASURED)[0]
    heard = read_response(folder / "whole-found.csv", Evidence.MEASURED)[0]
    return {
        "rebuilt": verify(speaker, "original", sweep, band_hz=BAND),
        "heard": verify(speaker, "original", sweep, response=heard, band_hz=BAND),
    }


def predicted(results, network):
    return Predicted(results.speaker("attic left"), network, None)


def line(axes, label):
    return next(item for item in axes.get_lines() if item.get_label() == label)


def test_a_comparison_of_levels(results, drawn):
    c = compare(predicted(results, "found"), predicted(results, "original"), F)
    d = drawn(draw_comparison(c))
    upper, lower = d.figure.axes
    np.testing.assert_array_equal(line(upper, "difference").get_ydata(), c.difference_db)
    np.testing.assert_array_equal(line(lower, "phase").get_ydata(), c.phase_difference_deg)
    rings = line(upper, "octaves")
    known = [o for o in c.octaves if not math.isnan(o.difference_db)]
    np.testing.assert_array_equal(rings.get_ydata(), [o.difference_db for o in known])
    np.testing.assert_array_equal(line(upper, "threshold +0.5").get_ydata(), [0.5, 0.5])
    np.testing.assert_array_equal(line(upper, "threshold -0.5").get_ydata(), [-0.5, -0.5])
    low, high = upper.get_ylim()
    assert low < np.nanmin(c.difference_db) < np.nanmax(c.difference_db) < high
    d.assert_legible()


def test_a_comparison_of_impedances(results):
    c = compare(predicted(results, "found"), predicted(results, "original"), F, what=What.IMPEDANCE)
    upper, lower = draw_comparison(c).axes
    np.testing.assert_array_equal(line(upper, "difference").get_ydata(), c.percent)
    assert "per cent" in upper.get_title(loc="left")
    assert "degrees" in lower.get_title(loc="left")
    assert not [item for item in upper.get_lines() if "threshold" in str(item.get_label())]


@pytest.mark.parametrize("which", ["rebuilt", "heard"])
def test_a_build_against_its_prediction(studies, drawn, which):
    v = studies[which]
    d = drawn(draw_verification(v))
    upper, lower = d.figure.axes
    np.testing.assert_array_equal(line(upper, "measured").get_ydata(), v.terminals.percent)
    np.testing.assert_array_equal(line(upper, "left over").get_ydata(), v.terminals.left_percent)
    assert np.abs(v.terminals.left_percent).max() < 3
    shade = upper.collections[0].get_paths()[0].vertices[:, 1]
    assert shade.max() == pytest.approx(v.terminals.band_percent.max())
    assert shade.min() == pytest.approx(-v.terminals.band_percent.max())
    if which == "heard":
        np.testing.assert_array_equal(line(lower, "measured").get_ydata(), v.sound.difference_db)
        np.testing.assert_array_equal(line(lower, "left over").get_ydata(), v.sound.left_db)
    else:
        np.testing.assert_array_equal(line(lower, "measured").get_ydata(), v.terminals.phase_deg)
    assert any("R2 (15 ohm) open" in text.get_text() for text in d.words())
    d.assert_legible()


def test_a_pair(drawn):
    change = ChangedValue(Change(ChangeKind.MAGNET, "woofer", True), 0.9, 0.88, 0.92, -0.9, "woofer: weaker magnet")
    first = Explanation((change,), 0.006, True, 0, 0.0, "woofer: weaker magnet", "sweep it alone")
    swing = 20.0 * np.exp(-(np.log2(F / 55) ** 2))
    p = PairStudy(
        title="Invented",
        network="found",
        sweeps=("left.csv", "right.csv"),
        agrees=False,
        headline="a driver, not the network: woofer: weaker magnet",
        frequency_hz=F,
        percent=swing,
        phase_deg=-0.3 * swing,
        left_percent=0.01 * swing,
        residual=0.05,
        noise=(0.003, 0.004),
        first_residual=0.006,
        explanations=(first,),
        tried=40,
        hidden=(),
        warnings=(),
    )
    d = drawn(draw_pair(p))
    upper, lower = d.figure.axes
    np.testing.assert_array_equal(line(upper, "second less first").get_ydata(), swing)
    np.testing.assert_array_equal(line(upper, "left over").get_ydata(), 0.01 * swing)
    np.testing.assert_array_equal(line(lower, "phase").get_ydata(), -0.3 * swing)
    # Two standard deviations of both sweeps: 2 sqrt(0.3^2 + 0.4^2) = 1 %.
    assert upper.collections[0].get_paths()[0].vertices[:, 1].max() == pytest.approx(1.0)
    d.assert_legible()
