"""Piecewise cubic interpolation of several columns at once, by the modified Akima rule.

The same method as scipy's Akima1DInterpolator(method="makima"), which the tests hold it to; written out
because loading scipy.interpolate takes longer than everything else that a prediction does.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Float = NDArray[np.float64]


class Makima:
    """Interpolant of the columns of y over x; the slopes are worked out once.

    A slope depends on the two secants to either side, the steadier side counting more: so a peak is
    rounded as it should be, and noise in one row does not ring over its neighbours as with a spline.

    Parameters
    ----------
    x : (n,) strictly rising, n >= 2; y : (n, c).

    Source: H. Akima, J. ACM 17 (1970) 589-602, with the modified weights that scipy and others use; from memory.
    """

    def __init__(self, x: Float, y: Float) -> None:
        self._x, self._y = x, y
        self._slope = _slopes(np.diff(x)[:, None], y)

    def __call__(self, at: Float) -> Float:
        """(m, c) values at (m,) places, NaN outside x[0]..x[-1]."""
        x, y, slope = self._x, self._y, self._slope
        left = np.clip(np.searchsorted(x, at, side="right") - 1, 0, x.size - 2)
        width = (x[left + 1] - x[left])[:, None]
        t = (at - x[left])[:, None] / width
        value = (
            (1 + 2 * t) * (1 - t) ** 2 * y[left]
            + t * (1 - t) ** 2 * width * slope[left]
            + t**2 * (3 - 2 * t) * y[left + 1]
            + t**2 * (t - 1) * width * slope[left + 1]
        )
        value[(at < x[0]) | (at > x[-1]) | np.isnan(at)] = np.nan
        return np.asarray(value, dtype=float)


def _slopes(step: Float, y: Float) -> Float:
    """(n, c) slope at each row."""
    inner = np.diff(y, axis=0) / step
    if inner.shape[0] == 1:
        return np.repeat(inner, 2, axis=0)
    # Two secants are made up beyond each end, going on as the last two do.
    before, after = 2 * inner[0] - inner[1], 2 * inner[-1] - inner[-2]
    secant = np.concatenate([[2 * before - inner[0]], [before], inner, [after], [2 * after - inner[-1]]])
    change = np.abs(np.diff(secant, axis=0)) + 0.5 * np.abs(secant[1:] + secant[:-1])
    left, right = change[2:], change[:-2]
    weight = left + right
    flat = weight == 0  # all four secants are zero
    mixed = (left * secant[1:-2] + right * secant[2:-1]) / np.where(flat, 1.0, weight)
    return np.asarray(np.where(flat, 0.0, mixed), dtype=float)
