"""The load's numbers against circuits whose extremes are known in closed form."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from xover.amplifier.load import DC_NOTE, GRID_NOTE, USUAL_RATINGS_OHM, largest_rating, read_load, usual_rating
from xover.curve import log_grid
from xover.errors import InputError

GRID = log_grid(20, 20000, 12)


def series_rlc(f, r=3.3, ind=1.5e-3, cap=40e-6):
    w = 2 * np.pi * f
    return r + 1j * (w * ind - 1 / (w * cap))


def parallel_rlc(f, r=30.0, ind=20e-3, cap=300e-6, series=6.0):
    w = 2 * np.pi * f
    return series + 1 / (1 / r + 1 / (1j * w * ind) + 1j * w * cap)


def shelf(f, r1=4.0, r2=8.0, tau=2e-4):
    """r1 in series with r2 parallel C, tau = r2 C."""
    return r1 + r2 / (1 + 2j * np.pi * f * tau)


def test_minimum_is_followed_between_the_rows():
    """Series RLC: lowest is R at 1/(2 pi sqrt(LC)) = 649.75 Hz (textbook)."""
    reading = read_load(GRID, series_rlc(GRID), series_rlc)
    assert reading.refined
    assert reading.minimum_ohm == pytest.approx(3.3, rel=1e-6)
    assert reading.minimum_at_hz == pytest.approx(649.747, rel=1e-3)
    by_grid = read_load(GRID, series_rlc(GRID))
    assert by_grid.minimum_ohm > 3.3 * (1 + 1e-5)
    assert by_grid.minimum_at_hz in GRID


def test_maximum_is_the_motional_peak():
    """R parallel L parallel C behind a resistor: highest is the sum at resonance, 64.97 Hz (textbook)."""
    reading = read_load(GRID, parallel_rlc(GRID), parallel_rlc)
    assert reading.maximum_ohm == pytest.approx(36.0, rel=1e-6)
    assert reading.maximum_at_hz == pytest.approx(64.9747, rel=1e-3)


def test_worst_phase_of_a_lag_shelf():
    """Derived: with a = (r1 + r2)/r1 = 3, sin of the greatest lag is (a - 1)/(a + 1), at sqrt(a)/tau."""
    reading = read_load(GRID, shelf(GRID), shelf)
    assert reading.most_capacitive_deg == pytest.approx(-30.0, abs=1e-4)
    assert reading.most_capacitive_at_hz == pytest.approx(np.sqrt(3) / (2 * np.pi * 2e-4), rel=1e-2)
    lead = read_load(GRID, shelf(GRID).conj(), lambda f: shelf(f).conj())
    assert lead.most_inductive_deg == pytest.approx(30.0, abs=1e-4)
    assert lead.most_inductive_at_hz == pytest.approx(np.sqrt(3) / (2 * np.pi * 2e-4), rel=1e-2)
    assert lead.most_capacitive_deg >= 0, "never capacitive: the lowest phase is above 0"


def test_lowest_epdr_where_the_phase_is_worst():
    """Constant modulus 8 ohm whose lag peaks with 45 degrees at 137 Hz: 8/(2 sqrt 2) there."""

    def load(f):
        return 8 * np.exp(-0.25j * np.pi * np.exp(-(np.log(f / 137.0) ** 2)))

    reading = read_load(GRID, load(GRID), load)
    assert reading.lowest_epdr_ohm == pytest.approx(8 / (2 * np.sqrt(2)), rel=1e-6)
    assert reading.lowest_epdr_at_hz == pytest.approx(137.0, rel=1e-3)
    assert reading.minimum_ohm == pytest.approx(8.0, rel=1e-12)


def test_highest_conductance_of_series_rlc():
    """Re(1/Z) of a series RLC is highest, 1/R, at its resonance (textbook)."""
    reading = read_load(GRID, series_rlc(GRID), series_rlc)
    assert reading.highest_conductance_s == pytest.approx(1 / 3.3, rel=1e-6)
    assert reading.highest_conductance_at_hz == pytest.approx(649.747, rel=1e-3)


def test_arrays_follow_the_grid():
    z = np.array([3 + 4j, 6j, 5.0, -1 + 1j])
    reading = read_load(np.array([20.0, 200.0, 2000.0, 20000.0]), z)
    np.testing.assert_allclose(reading.impedance_ohm, [5, 6, 5, np.sqrt(2)])
    np.testing.assert_allclose(reading.phase_deg, [53.13010235, 90, 0, 135])
    np.testing.assert_allclose(reading.epdr_ohm[1:3], [6 / (3 * np.sqrt(3)), 5], rtol=1e-12)
    assert np.isnan(reading.epdr_ohm[3])
    assert any("passes 90 degrees at 1 frequencies" in note for note in reading.notes)


def test_only_the_band_is_judged():
    """A grid from 5 Hz: the 1 ohm below 20 Hz is outside of what is judged, and shown in the array."""
    f = np.array([5.0, 10.0, 30.0, 300.0, 15000.0, 40000.0])
    reading = read_load(f, np.array([1.0, 2.0, 6.0, 7.0, 8.0, 0.5], dtype=complex))
    assert (reading.minimum_ohm, reading.minimum_at_hz) == (6.0, 30.0)
    assert (reading.maximum_ohm, reading.maximum_at_hz) == (8.0, 15000.0)
    assert reading.covered_hz == (30.0, 15000.0)
    assert reading.impedance_ohm[0] == 1.0
    wide = read_load(f, reading.impedance_ohm.astype(complex), band_hz=(1.0, 1e5))
    assert (wide.minimum_ohm, wide.minimum_at_hz) == (0.5, 40000.0)


def test_uncovered_band_is_said():
    z = series_rlc(GRID)
    z[GRID < 100] = np.nan
    z[50] = np.nan
    reading = read_load(GRID, z, series_rlc)
    assert reading.covered_hz[0] == GRID[GRID >= 100][0]
    assert any("known from" in note and "may be lower" in note for note in reading.notes)
    assert any("not known at 1 frequencies in between" in note for note in reading.notes)
    assert np.isnan(reading.impedance_ohm[0])
    full = read_load(GRID, series_rlc(GRID), series_rlc)
    assert full.covered_hz == (20.0, 20000.0)
    assert full.notes == (DC_NOTE,)


def test_unknown_load_gives_nan_not_an_invention():
    reading = read_load(GRID, np.full(GRID.shape, complex(np.nan, np.nan)))
    assert np.isnan(reading.minimum_ohm)
    assert np.isnan(reading.lowest_epdr_ohm)
    assert np.isnan(reading.covered_hz[0])
    assert reading.usual_rating_ohm is None
    assert reading.notes[0] == "the load is not known anywhere from 20 Hz to 20 kHz"


def test_no_current_is_told_from_not_known():
    """A channel that nothing closes shows infinite impedance: no minimum, and it is said why."""
    z = series_rlc(GRID)
    z[:4] = np.inf
    reading = read_load(GRID, z)
    assert any("no current flows at 4 frequencies" in note for note in reading.notes)
    assert reading.minimum_ohm == pytest.approx(3.3, rel=1e-1)
    assert reading.impedance_ohm[0] == np.inf
    idle = read_load(GRID, np.full(GRID.shape, np.inf + 0j))
    assert np.isnan(idle.minimum_ohm)
    assert not any("not known anywhere" in note for note in idle.notes)


def test_grid_reading_says_so():
    assert GRID_NOTE in read_load(GRID, series_rlc(GRID)).notes
    assert not read_load(GRID, series_rlc(GRID)).refined


def test_rating_of_a_reading():
    """3.3 ohm allows 3.3/0.8 = 4.125 ohm, so 4 ohm may be printed on it."""
    reading = read_load(GRID, series_rlc(GRID), series_rlc)
    assert reading.largest_rating_ohm == pytest.approx(4.125, rel=1e-6)
    assert reading.usual_rating_ohm == 4.0


def test_below_the_lowest_rating_there_is_none():
    assert usual_rating(1.59) is None
    assert usual_rating(1.6) == 2.0
    assert usual_rating(100.0) == 16.0


@given(st.floats(1.6, 20.0))
def test_usual_rating_is_the_largest_that_fits(minimum):
    got = usual_rating(minimum)
    assert got is not None
    assert 0.8 * got <= minimum * (1 + 1e-9)
    larger = [r for r in USUAL_RATINGS_OHM if r > got]
    assert not larger or 0.8 * larger[0] > minimum
    assert largest_rating(minimum) == pytest.approx(1.25 * minimum)


@given(st.floats(0.5, 30.0), st.floats(0.1, 10.0))
def test_scaling_the_load_scales_its_ohms(resistance, factor):
    one = read_load(GRID, series_rlc(GRID, resistance))
    other = read_load(GRID, factor * series_rlc(GRID, resistance))
    assert other.minimum_ohm == pytest.approx(factor * one.minimum_ohm)
    assert other.maximum_ohm == pytest.approx(factor * one.maximum_ohm)
    assert other.lowest_epdr_ohm == pytest.approx(factor * one.lowest_epdr_ohm)
    assert other.most_capacitive_deg == pytest.approx(one.most_capacitive_deg)
    assert other.highest_conductance_s == pytest.approx(one.highest_conductance_s / factor)


def test_values_must_match_the_grid():
    with pytest.raises(InputError, match="2 values for 3 frequencies"):
        read_load(np.array([20.0, 30.0, 40.0]), np.array([1.0, 2.0], dtype=complex))


@pytest.mark.parametrize("f", [[30.0, 20.0], [0.0, 20.0], [20.0, 20.0], [20.0, np.nan]])
def test_frequencies_must_rise(f):
    with pytest.raises(InputError, match="do not rise from above 0 Hz"):
        read_load(np.array(f), np.array([1.0, 2.0], dtype=complex))
