"""Peaks above the trend of a response, on curves made for it."""

import numpy as np
import pytest

from xover.acoustic.limits import response_peaks, trend_db

F = np.geomspace(200.0, 20e3, 320)
U = np.log2(F)


def bump(at_hz, height_db, octaves):
    return height_db * np.exp(-(((U - np.log2(at_hz)) / octaves) ** 2))


def test_a_steady_fall_is_its_own_trend_and_has_no_peak():
    level = 90.0 - 12.0 * np.maximum(U - np.log2(500.0), 0.0)
    line = 90.0 - 12.0 * (U - U[0])
    np.testing.assert_allclose(trend_db(F, line), line, atol=1e-9)
    assert response_peaks(F, level, 200.0) == ()


def test_a_peak_on_a_slope_is_found_where_it_is():
    level = 90.0 - 12.0 * (U - U[0]) + bump(5000.0, 8.0, 0.1)
    (peak,) = response_peaks(F, level, 1000.0)
    assert peak.frequency_hz == pytest.approx(5000.0, rel=0.02)
    # The peak lifts its own trend: by its area, 8 x 0.1 x sqrt(pi) dB octaves, over the two octaves of the window.
    assert peak.height_db == pytest.approx(8.0 - 8.0 * 0.1 * np.sqrt(np.pi) / 2.0, abs=0.15)
    assert peak.level_db == pytest.approx(np.interp(np.log2(peak.frequency_hz), U, level), abs=1e-6)
    assert response_peaks(F, level, 6000.0) == ()
    assert response_peaks(F, level, 1000.0, least_db=9.0) == ()


def test_dips_and_ends_are_no_peaks():
    assert response_peaks(F, 90.0 - bump(3000.0, 15.0, 0.05), 2000.0) == ()
    assert response_peaks(F, 90.0 + np.maximum(U - np.log2(18e3), 0.0) * 100.0, 2000.0) == ()


def test_two_peaks_come_lowest_first_and_gaps_are_passed_over():
    level = 90.0 + bump(3000.0, 6.0, 0.08) + bump(9000.0, 10.0, 0.08)
    found = response_peaks(F, level, 1000.0)
    assert [p.frequency_hz for p in found] == [pytest.approx(3000.0, rel=0.02), pytest.approx(9000.0, rel=0.02)]
    level[F > 6000.0] = np.nan
    assert len(response_peaks(F, level, 1000.0)) == 1
    assert response_peaks(F, np.full(F.size, np.nan), 1000.0) == ()
