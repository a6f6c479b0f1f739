"""The two special functions that are written out, against scipy's (general-purpose reference library)."""

import numpy as np
from scipy.special import j1, spence

from xover.driver.minimum_phase import gain_phase_integral
from xover.driver.piston import two_j1_over_x


def test_piston_function_equals_scipy():
    x = np.concatenate([np.linspace(1e-6, 60.0, 4001), [200.0, 1000.0]])
    for batch in (x[:50], x):  # the number of nodes follows the largest argument
        np.testing.assert_allclose(two_j1_over_x(batch), 2 * j1(batch) / batch, rtol=0, atol=2e-14)
    assert two_j1_over_x(0.0) == 1.0
    assert np.isnan(two_j1_over_x(np.nan))


def test_gain_phase_integral_equals_scipy():
    u = np.concatenate([np.linspace(-30, 30, 6001), [1e-9, -1e-9, 1e-300, 0.8813735870195430, 700.0]])
    e = np.exp(-np.abs(u))
    theirs = np.sign(u) * (np.pi**2 / 4 - (spence(1 - e) - spence(1 + e)))
    np.testing.assert_allclose(gain_phase_integral(u), theirs, rtol=0, atol=1e-14)
    assert gain_phase_integral(0.0) == 0.0
