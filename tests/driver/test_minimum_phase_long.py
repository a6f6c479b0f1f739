"""Minimum phase of long sweeps, by FFT: against the closed form, filters of known phase, and a Hilbert transform.

`tests/benchmarks/long_sweeps.py` prints the same for 32,768 and 200,000 rows.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from invented.filters import Chain, chain, rows_of
from numpy.typing import NDArray

from xover.driver import minimum_phase as module
from xover.driver.minimum_phase import EXACT_ROWS, TOLD_DEG, MinimumPhase, minimum_phase

Float = NDArray[np.float64]


def by_closed_form(f: Float, level_db: Float, low: float | None, high: float | None) -> MinimumPhase:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(module, "EXACT_ROWS", 10**9)
        return minimum_phase(f, level_db, low, high)


def rms(values: Float) -> float:
    return math.sqrt(float(np.mean(values**2)))


@given(st.integers(0, 10_000), st.sampled_from(("linear", "log")), st.integers(EXACT_ROWS + 1, 1300), st.booleans())
@settings(max_examples=8)
def test_as_the_closed_form(seed: int, spacing: str, count: int, noisy: bool) -> None:
    f = rows_of(spacing, 5.0, 24e3, count)
    rng = np.random.default_rng(seed)
    level = chain(seed).level_db(f) + noisy * 0.3 * rng.standard_normal(count)
    got, exact = minimum_phase(f, level), by_closed_form(f, level, None, None)
    off = got.phase_deg - exact.phase_deg
    assert (got.low_slope_db_per_octave, got.high_slope_db_per_octave) == (
        exact.low_slope_db_per_octave,
        exact.high_slope_db_per_octave,
    )
    assert exact.smoothed_deg == 0.0
    assert np.max(np.abs(off)) < (0.5 if noisy else 0.01)
    assert rms(off) <= max(1.1 * got.smoothed_deg, 2e-3)


@pytest.mark.parametrize("seed", range(3))
def test_a_filter_of_known_phase(seed: int) -> None:
    """Over a band so wide that its tails are straight; the straight lines between rows cost the rest."""
    made: Chain = chain(seed)
    f = rows_of("log", 0.3, 1.5e6, 6000)
    low, high = made.slopes_db_per_octave
    got = minimum_phase(f, made.level_db(f), low, high).phase_deg
    assert np.max(np.abs(got - made.phase_deg(f))) < 0.05
    assert np.max(np.abs(got)) > 60.0


def test_against_a_hilbert_transform() -> None:
    """scipy's, of ln|H| over a circle of equal steps in Hz: a band without tails, which both see alike."""
    from scipy.signal import hilbert

    count, step = 2**14, 8.0
    f = step * np.arange(1, count + 1)
    s = 1j * f[:, None] / np.array([300.0, 900.0, 2500.0])
    gain, q = np.array([2.0, 0.6, 1.5]), np.array([3.0, 5.0, 2.0])
    h = np.prod((s * s + gain * s / q + 1) / (s * s + s / q + 1), axis=1)
    neper = np.log(np.abs(h))
    circle = np.concatenate([[0.0], neper, neper[-2::-1]])
    outside = -np.degrees(np.imag(hilbert(circle)))[1 : count + 1]
    got = minimum_phase(f, 20.0 * np.log10(np.abs(h)), 0.0, 0.0).phase_deg
    heard = (f > 100.0) & (f < 12e3)
    assert np.max(np.abs(got - outside)[heard]) < 0.1
    assert np.max(np.abs(got[heard])) > 15.0


def test_ripple_finer_than_the_grid_is_told() -> None:
    f = rows_of("linear", 5.0, 24e3, 8192)
    smooth = chain(1).level_db(f)
    noisy = minimum_phase(f, smooth + np.random.default_rng(2).standard_normal(f.size))
    quiet = minimum_phase(f, smooth)
    assert noisy.smoothed_deg > TOLD_DEG > quiet.smoothed_deg
    assert f"which moves the phase by some {noisy.smoothed_deg:.1f} degrees" in noisy.smoothed
    assert quiet.smoothed == ""
    # A decibel is 0.115 neper; no more can be smoothed away than there was.
    assert noisy.smoothed_deg < math.degrees(math.log(10.0) / 20.0)


def test_a_straight_line_turns_ninety_degrees_an_order() -> None:
    f = rows_of("linear", 5.0, 24e3, 4000)
    got = minimum_phase(f, 40.0 * np.log10(f)).phase_deg
    np.testing.assert_allclose(got, 180.0, atol=1e-5)


@pytest.mark.parametrize(("low", "high"), [(1000.0, 1001.0), (1e-9, 1e9)])
def test_bands_narrow_and_wide(low: float, high: float) -> None:
    f = rows_of("log", low, high, 1200)
    level = 3.0 * np.sin(np.linspace(0.0, 20.0, f.size))
    off = minimum_phase(f, level, 0.0, 0.0).phase_deg - by_closed_form(f, level, 0.0, 0.0).phase_deg
    assert np.max(np.abs(off)) < 0.1
