"""Octave and third-octave bands: the nominal names of IEC 61260-1, and averages whose answer is known."""

import numpy as np
import pytest

from xover.acoustic.level import (
    band_level_db,
    bands_touched,
    mean_over_bands,
    nominal_hz,
    points_in_bands,
    whole_bands,
)

# IEC 61260-1:2014, annex E and ISO 266 (from memory): nominal frequencies from 25 Hz to 20 kHz.
THIRDS = [25, 31.5, 40, 50, 63, 80, 100, 125, 160, 200, 250, 315, 400, 500, 630, 800, 1000, 1250, 1600, 2000, 2500]
THIRDS += [3150, 4000, 5000, 6300, 8000, 10000, 12500, 16000, 20000]
OCTAVES = [31.5, 63, 125, 250, 500, 1000, 2000, 4000, 8000, 16000]


def test_centres_are_those_of_the_standard():
    thirds = bands_touched(24.0, 20_500.0, 3)
    assert [nominal_hz(f) for f in thirds] == THIRDS
    # Exact base-ten midband frequencies, printed there to five digits.
    for nominal, exact in ((31.5, 31.623), (500, 501.19), (2000, 1995.3), (12500, 12589)):
        assert thirds[THIRDS.index(nominal)] == pytest.approx(exact, rel=4e-5)
    assert [nominal_hz(f) for f in bands_touched(23.0, 22_000.0, 1)] == OCTAVES


def test_a_band_is_whole_only_between_its_edges():
    # Edges of the octave at 1 kHz: 707.95 and 1412.5 Hz (10^2.85 and 10^3.15).
    assert [nominal_hz(f) for f in whole_bands(707.95, 1412.54, 1)] == [1000]
    assert whole_bands(720.0, 1412.54, 1).size == 0
    assert whole_bands(707.95, 1380.0, 1).size == 0
    # Edges of the third octave at 1 kHz: 891.25 and 1122.0 Hz.
    assert [nominal_hz(f) for f in bands_touched(900.0, 1100.0, 3)] == [1000]
    assert [nominal_hz(f) for f in bands_touched(880.0, 1130.0, 3)] == [800, 1000, 1250]


def test_mean_of_a_straight_line_is_its_value_at_the_centre():
    f = np.geomspace(20, 20e3, 301)
    line = 3.0 * np.log2(f / 1000.0)
    centres = bands_touched(100.0, 10e3, 1)
    np.testing.assert_allclose(mean_over_bands(f, line, centres, 1), 3.0 * np.log2(centres / 1000.0), atol=1e-9)


def test_a_band_of_which_less_than_half_is_known_has_no_mean():
    f = np.geomspace(20, 20e3, 601)
    line = np.where(f < 1300.0, 1.0, np.nan)
    means = mean_over_bands(f, line, np.array([1000.0, 1995.26]), 1)
    assert means[0] == pytest.approx(1.0)
    assert np.isnan(means[1])


def test_band_levels_add_power():
    # Pink noise of a flat spectrum has the level of its lines; half of them silent takes off 3.01 dB.
    points = points_in_bands(np.array([500.0, 1000.0]), 3)
    assert points.shape == (2, 8)
    half = 10 ** (1 / 20)
    assert points[1].min() > 1000.0 / half
    assert points[1].max() < 1000.0 * half
    assert np.exp(np.log(points[1]).mean()) == pytest.approx(1000.0)
    flat = np.full(points.shape, 84.0)
    np.testing.assert_allclose(band_level_db(flat), 84.0)
    flat[0, :4] = -np.inf
    np.testing.assert_allclose(band_level_db(flat), [84.0 - 10 * np.log10(2), 84.0])
    flat[0, 0] = np.nan
    assert np.isnan(band_level_db(flat)[0])
