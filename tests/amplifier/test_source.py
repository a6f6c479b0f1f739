"""Response change by the output resistance, against the voltage divider by hand."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from xover.amplifier.demand import divider_db, source_effect
from xover.curve import log_grid
from xover.errors import InputError

GRID = log_grid(20, 20000, 24)


def driver(f):
    """Invented woofer: 6 ohm, motional peak of 30 ohm more at 64.97 Hz, 0.05 mH."""
    w = 2 * np.pi * f
    return 6 + 0.05e-3j * w + 1 / (1 / 30 + 1 / (20e-3j * w) + 300e-6j * w)


def test_divider_by_hand():
    """4 ohm behind 4 ohm: half; 3 + 4j behind 3 ohm: 5/sqrt(52)."""
    got = divider_db(np.array([4.0, 3 + 4j]), 4.0)
    assert got[0] == pytest.approx(-6.0205999)
    assert divider_db(np.array([3 + 4j]), 3.0)[0] == pytest.approx(20 * np.log10(5 / np.sqrt(52)))
    assert got[1] == pytest.approx(20 * np.log10(5 / np.sqrt(65)))


def test_step_load_has_the_mean_in_the_middle():
    """12 ohm below, 4 ohm above with equal log widths, Ro = 4: 3/4 and 1/2, so +-1.7609 dB round the mean.

    The one trapezium between them is symmetric, so the log mean is the mid of -2.4988 and -6.0206 dB.
    """
    f = np.array([20.0, 200.0, 200.0 * 10, 20000.0])
    effect = source_effect(f, np.array([12.0, 12.0, 4.0, 4.0], dtype=complex), 4.0)
    assert effect.mean_db == pytest.approx((20 * np.log10(0.75) + 20 * np.log10(0.5)) / 2)
    assert effect.highest_db == pytest.approx(1.760913, abs=1e-6)
    assert effect.lowest_db == pytest.approx(-1.760913, abs=1e-6)
    assert effect.swing_db == pytest.approx(3.521825, abs=1e-6)
    assert (effect.highest_at_hz, effect.lowest_at_hz) == (20.0, 2000.0)


def test_mean_weighs_octaves_not_rows():
    """Rows crowd in the low decade; by rows the mean would lean to it, over log f it may not."""
    crowded = np.unique(np.concatenate([np.linspace(20, 200, 200), [2000.0, 20000.0]]))
    z = np.where(crowded <= 200, 12.0, 4.0).astype(complex)
    effect = source_effect(crowded, z, 4.0)
    low, high = 20 * np.log10(0.75), 20 * np.log10(0.5)
    assert effect.mean_db == pytest.approx((low + (low + high) / 2 + high) / 3)


def test_motional_peak_is_lifted_most():
    """At resonance the load is 36 ohm and hardly inductive: the swing follows from two dividers."""
    effect = source_effect(GRID, driver(GRID), 3.0, driver)
    assert effect.highest_at_hz == pytest.approx(64.97, rel=2e-2)
    top = 20 * np.log10(36 / 39)
    assert effect.highest_db + effect.mean_db == pytest.approx(top, abs=2e-3)
    assert effect.swing_db == pytest.approx(effect.highest_db - effect.lowest_db)
    assert 1.5 < effect.swing_db < 20 * np.log10(9 / 6)


def test_extremes_are_followed_between_rows():
    coarse = log_grid(20, 20000, 2)
    fine = log_grid(20, 20000, 2000)
    wanted = np.max(divider_db(driver(fine), 3.0))
    effect = source_effect(coarse, driver(coarse), 3.0, driver)
    assert effect.highest_db + effect.mean_db == pytest.approx(wanted, abs=1e-5)
    by_grid = source_effect(coarse, driver(coarse), 3.0)
    assert by_grid.highest_db < effect.highest_db - 1e-3


def test_ideal_source_does_nothing():
    effect = source_effect(GRID, driver(GRID), 0.0, driver)
    np.testing.assert_array_equal(effect.response_db, 0.0)
    assert (effect.mean_db, effect.swing_db) == (0.0, 0.0)


@given(st.floats(0.5, 100.0), st.floats(0.01, 50.0))
def test_resistor_stays_flat_whatever_the_source(resistance, output):
    effect = source_effect(GRID, np.full(GRID.shape, complex(resistance)), output)
    np.testing.assert_allclose(effect.response_db, 0.0, atol=1e-10)
    assert abs(effect.swing_db) <= 1e-10
    assert effect.mean_db == pytest.approx(-20 * np.log10(1 + output / resistance), rel=1e-9, abs=1e-12)


@given(st.floats(0.01, 10.0), st.floats(1.1, 5.0))
def test_more_output_resistance_swings_more(output, factor):
    one = source_effect(GRID, driver(GRID), output)
    more = source_effect(GRID, driver(GRID), factor * output)
    assert more.swing_db > one.swing_db > 0
    assert more.mean_db < one.mean_db < 0


def test_no_load_takes_no_level():
    assert divider_db(np.array([np.inf + 0j]), 4.0)[0] == 0.0
    assert np.isnan(divider_db(np.array([complex(np.nan, np.nan), 0j]), 4.0)).all()
    assert divider_db(np.array([0j]), 0.0)[0] == 0.0


def test_unknown_and_zero_rows_stay_out():
    z = driver(GRID)
    z[:30] = np.nan
    z[100] = 0
    effect = source_effect(GRID, z, 2.0)
    assert np.isnan(effect.response_db[:30]).all()
    assert np.isnan(effect.response_db[100])
    assert np.isfinite(effect.response_db[31:100]).all()
    assert effect.covered_hz == (GRID[30], 20000.0)
    assert "log frequency" in effect.reference


def test_nothing_known_or_one_row_known():
    nothing = source_effect(GRID, np.full(GRID.shape, complex(np.nan, np.nan)), 2.0)
    assert np.isnan(nothing.mean_db)
    assert np.isnan(nothing.swing_db)
    z = np.full(GRID.shape, complex(np.nan, np.nan))
    z[7] = 6
    single = source_effect(GRID, z, 6.0)
    assert single.mean_db == pytest.approx(-6.0205999)
    assert single.response_db[7] == pytest.approx(0.0, abs=1e-12)


@pytest.mark.parametrize("output", [-0.1, np.inf, np.nan])
def test_impossible_output_resistance_is_refused(output):
    with pytest.raises(InputError, match=rf"output_ohm is {output:g}; give 0 or more"):
        source_effect(GRID, driver(GRID), output)


def test_faulty_grid_is_refused():
    with pytest.raises(InputError, match="do not rise"):
        source_effect(np.array([30.0, 20.0]), np.array([8.0, 8.0], dtype=complex), 1.0)
