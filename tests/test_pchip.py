"""The project's own PCHIP against scipy's (general-purpose reference library)."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.interpolate import PchipInterpolator

from xover.pchip import Pchip


@settings(max_examples=100, deadline=None)
@given(st.integers(2, 30), st.integers(0, 2**31 - 1), st.booleans())
def test_equals_scipy(rows, seed, with_plateaus):
    rng = np.random.default_rng(seed)
    x = np.cumsum(rng.uniform(0.05, 2.0, rows))
    y = rng.normal(size=(rows, 2))
    if with_plateaus:
        y = np.round(y)
    at = np.concatenate([rng.uniform(x[0] - 1, x[-1] + 1, 50), x])
    theirs = PchipInterpolator(x, y, extrapolate=False)(at)
    np.testing.assert_allclose(Pchip(x, y)(at), theirs, rtol=1e-12, atol=1e-13)


def test_nan_outside_and_no_overshoot():
    x = np.array([0.0, 1.0, 2.0, 3.0])
    y = np.array([[0.0], [0.0], [1.0], [1.0]])
    at = np.linspace(-0.5, 3.5, 401)
    out = Pchip(x, y)(at)[:, 0]
    inside = (at >= 0) & (at <= 3)
    assert np.isnan(out[~inside]).all()
    assert out[inside].min() == 0.0
    assert out[inside].max() == pytest.approx(1.0)
    assert out[np.argmin(abs(at - 1.5))] == pytest.approx(0.5)
