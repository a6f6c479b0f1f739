"""Weights of a grid: what must hold on any grid, and what is refused. The published numbers stand in tests/outside."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from xover.amplifier.programme import (
    Spectrum,
    band_weights,
    power_below,
    programme_weights,
    share_outside,
    third_octave_edges,
)
from xover.curve import log_grid
from xover.errors import InputError

grids = st.lists(st.floats(1.0, 60e3), min_size=2, max_size=40, unique=True).map(sorted)


@given(grids, st.sampled_from(Spectrum))
@settings(max_examples=50)
def test_no_power_is_lost_or_made(grid, spectrum):
    weights = programme_weights(grid, spectrum)
    assert weights.shape == (len(grid),)
    assert np.all(weights >= 0)
    below = power_below(grid, spectrum)
    assert weights.sum() == pytest.approx(below[-1] - below[0], abs=1e-12)
    assert weights.sum() + share_outside(grid, spectrum) == pytest.approx(1.0, abs=1e-12)
    # The half of a span that belongs to each end meets in its middle, in log f.
    middle = power_below(np.sqrt(grid[0] * grid[1]), spectrum)[0]
    assert weights[0] == pytest.approx(middle - below[0], abs=1e-12)
    split = band_weights(grid, spectrum)
    assert np.all(split >= 0)
    # Pink noise from 20 Hz to 20 kHz lies within the bands of table II as a whole.
    np.testing.assert_allclose(split.sum(axis=0), weights, atol=1e-12)


def test_pink_noise_has_the_same_power_in_every_octave():
    weights = programme_weights(log_grid(20.0, 20_480.0, 12), Spectrum.PINK)
    inner = weights[1:100]
    np.testing.assert_allclose(inner, np.log(2) / 12 / np.log(1000), rtol=1e-9)


def test_within_a_band_the_power_is_even_over_log_f():
    low, high = third_octave_edges()[20:22]
    below = power_below([low, np.sqrt(low * high), high])
    assert below[1] == pytest.approx((below[0] + below[2]) / 2, rel=1e-12)
    assert below[2] > below[0]


def test_outside_the_bands_there_is_nothing():
    np.testing.assert_array_equal(power_below([1.0, 17.7, 22_400.0, 1e6]), [0.0, 0.0, 1.0, 1.0])
    np.testing.assert_array_equal(power_below([19.9, 20_001.0], Spectrum.PINK), [0.0, 1.0])


@pytest.mark.parametrize(
    "grid", [[100.0], [], [100.0, 100.0], [200.0, 100.0], [0.0, 100.0], [1.0, np.inf], [1, np.nan]]
)
def test_a_grid_must_rise(grid):
    for weigh in (programme_weights, band_weights, share_outside):
        with pytest.raises(InputError, match="do not rise from above 0 Hz; give two or more"):
            weigh(grid)


@pytest.mark.parametrize("frequency_hz", [0.0, -20.0, np.nan])
def test_a_frequency_is_above_zero(frequency_hz):
    with pytest.raises(InputError, match="a frequency is not above 0 Hz"):
        power_below([100.0, frequency_hz])
