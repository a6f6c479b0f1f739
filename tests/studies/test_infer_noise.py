"""A sweep's noise told by itself."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from xover.curve import Curve, Unit, log_grid
from xover.explain.sweeps import repeat_noise, rough_deviation, smoothness_noise

F = log_grid(10.0, 20e3, 48)
SMOOTH = 6.0 + 4.0 * (1j * F / 1e3) ** 0.6 + 30.0 / (1 + 5j * (F / 50.0 - 50.0 / F))


def noisy(magnitude, phase, seed):
    random = np.random.default_rng(seed)
    return SMOOTH * np.exp(magnitude * random.standard_normal(F.size) + 1j * phase * random.standard_normal(F.size))


def test_magnitude_and_phase_apart():
    found = [smoothness_noise(Curve(F, noisy(0.01, 0.003, seed), Unit.OHM)) for seed in range(12)]
    # The least of five orders lies a few percent low; one figure scatters by 5 %.
    assert np.mean([n.magnitude for n in found]) == pytest.approx(0.01, rel=0.08)
    assert np.mean([n.phase_rad for n in found]) == pytest.approx(0.003, rel=0.08)
    assert found[0].either == pytest.approx(np.hypot(found[0].magnitude, found[0].phase_rad) / np.sqrt(2))


def test_a_clean_curve_has_next_to_none_and_a_floor_stays():
    clean = smoothness_noise(Curve(F, SMOOTH, Unit.OHM))
    assert clean.magnitude < 2e-5
    assert clean.floored().magnitude == 5e-4


def test_hum_bins_do_not_count():
    value = noisy(0.01, 0.01, 3)
    clean = smoothness_noise(Curve(F, value, Unit.OHM))
    for hz in (50, 100, 150, 200):
        value[np.argmin(np.abs(F - hz))] *= 1.5
    hum = smoothness_noise(Curve(F, value, Unit.OHM))
    assert hum.magnitude == pytest.approx(clean.magnitude, rel=0.12)


def test_magnitude_only():
    noise = smoothness_noise(Curve(F, np.abs(noisy(0.01, 0.0, 4)) + 0j, Unit.OHM, has_phase=False))
    assert np.isnan(noise.phase_rad)
    assert noise.either == noise.magnitude


def test_repeats_tell_the_noise_of_one_whatever_their_gains():
    logs = [np.log(noisy(0.008, 0.002, seed) * (1 + 0.01 * seed)) for seed in range(4)]
    noise = repeat_noise(logs, True)
    assert noise.magnitude == pytest.approx(0.008, rel=0.08)
    assert noise.phase_rad == pytest.approx(0.002, rel=0.08)
    assert "4 sweeps" in noise.source


@settings(max_examples=40)
@given(st.integers(0, 10_000), st.floats(1e-4, 0.1), st.floats(-3, 3))
def test_scale_and_straight_lines(seed, size, slope):
    random = np.random.default_rng(seed)
    at = np.cumsum(random.uniform(0.5, 1.5, 400))
    value = size * random.standard_normal(400)
    found = rough_deviation(at, value)
    assert 0.75 * size < found < 1.2 * size
    assert rough_deviation(at, value + slope * at) == pytest.approx(found, rel=1e-6)
    assert rough_deviation(at, 2 * value) == pytest.approx(2 * found, rel=1e-9)


def test_too_few_rows():
    assert np.isnan(rough_deviation(np.arange(8.0), np.arange(8.0)))
