"""The project's own interpolation against scipy's (general-purpose reference library)."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.interpolate import Akima1DInterpolator

from xover.curve import Makima


@settings(max_examples=100)
@given(st.integers(2, 30), st.integers(0, 2**31 - 1), st.booleans())
def test_equals_scipy(rows, seed, with_plateaus):
    rng = np.random.default_rng(seed)
    x = np.cumsum(rng.uniform(0.05, 2.0, rows))
    y = rng.normal(size=(rows, 2))
    if with_plateaus:
        y = np.round(y)
    at = np.concatenate([rng.uniform(x[0] - 1, x[-1] + 1, 50), x])
    theirs = Akima1DInterpolator(x, y, method="makima", extrapolate=False)(at)
    np.testing.assert_allclose(Makima(x, y)(at), theirs, rtol=1e-9, atol=1e-11)


def test_nan_outside_and_rows_are_met():
    x = np.array([0.0, 1.0, 2.0, 3.0])
    y = np.array([[0.0], [0.5], [1.0], [3.0]])
    at = np.linspace(-0.5, 3.5, 401)
    out = Makima(x, y)(at)[:, 0]
    inside = (at >= 0) & (at <= 3)
    assert np.isnan(out[~inside]).all()
    assert np.isfinite(out[inside]).all()
    np.testing.assert_array_equal(Makima(x, y)(x), y)
