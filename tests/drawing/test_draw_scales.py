"""Scales: what is written on them, and how far they reach."""

import numpy as np
import pytest

from xover.drawing.page import finite, frequency_text, frequency_ticks, level_window, ohm_window


def test_frequency_ticks_of_the_audio_band():
    ticks = frequency_ticks(20.0, 20_000.0)
    assert ticks == [20, 50, 100, 200, 500, 1000, 2000, 5000, 10_000, 20_000]
    assert [frequency_text(t) for t in ticks] == ["20", "50", "100", "200", "500", "1k", "2k", "5k", "10k", "20k"]


@pytest.mark.parametrize(
    ("low", "high", "ticks"),
    [
        (5.0, 40_000.0, [5, 10, 20, 50, 100, 200, 500, 1000, 2000, 5000, 10_000, 20_000]),
        (100.0, 1000.0, [100, 200, 500, 1000]),
        (2000.0, 6000.0, [2000, 3000, 4000, 5000, 6000]),
    ],
)
def test_frequency_ticks_elsewhere(low, high, ticks):
    assert frequency_ticks(low, high) == ticks


def test_level_window():
    loud = np.array([np.nan, 60.0, 87.9, 40.0])
    assert level_window([loud], 50.0, 100.0) == (40.0, 90.0)
    assert level_window([np.array([88.1])], 50.0, 100.0) == (45.0, 95.0)
    # a curve that would lie below the window pulls it down: its peak is seen with 10 dB of slope
    assert level_window([loud, np.array([31.0])], 50.0, 100.0) == (20.0, 90.0)
    assert level_window([np.array([np.nan, -np.inf])], 50.0, 100.0) == (50.0, 100.0)
    assert level_window([], 30.0, 5.0) == (-25.0, 5.0)


def test_ohm_window():
    assert ohm_window([np.array([3.3, 25.0]), np.array([1.76])], [4.0]) == (1.0, 32.0)
    assert ohm_window([np.array([5.7, 30.0]), np.array([3.03])], [4.0]) == (2.0, 64.0)
    # three doublings at least, six at most
    assert ohm_window([np.array([8.0, 8.5])], []) == (4.0, 32.0)
    assert ohm_window([np.array([5.0, 40_000.0])], []) == (2.0, 128.0)
    # nothing known, infinite or shorted
    assert ohm_window([np.array([np.nan, np.inf, 0.0])], []) == (2.0, 32.0)
    assert ohm_window([np.array([8.0, 20.0])], [2.0]) == (1.0, 32.0)


def test_infinity_is_a_gap():
    got = finite(np.array([1.5, -np.inf, np.nan, np.inf, -2.0]))
    np.testing.assert_array_equal(got, [1.5, np.nan, np.nan, np.nan, -2.0])
