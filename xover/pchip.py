"""Monotone cubic interpolation (PCHIP) of several columns at once.

The same method as scipy's PchipInterpolator, which the tests hold it to; written out because loading
scipy.interpolate takes longer than everything else that a prediction does.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Float = NDArray[np.float64]


class Pchip:
    """Interpolant of the columns of y over x; the slopes are worked out once.

    Parameters
    ----------
    x : (n,) strictly rising, n >= 2; y : (n, c).

    Source: F. N. Fritsch and R. E. Carlson, SIAM J. Numer. Anal. 17 (1980) 238-246, with the weighted
    harmonic mean of Fritsch and Butland (1984) for the slopes; from memory.
    """

    def __init__(self, x: Float, y: Float) -> None:
        step = np.diff(x)[:, None]
        self._x, self._y = x, y
        self._slope = _slopes(step, np.diff(y, axis=0) / step)

    def __call__(self, at: Float) -> Float:
        """(m, c) values at (m,) places, NaN outside x[0]..x[-1].

        Between two rows a column never leaves the range of the two.
        """
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


def _slopes(step: Float, secant: Float) -> Float:
    """(n, c) slope at each row: zero at a turn, else a weighted harmonic mean of its neighbours."""
    if secant.shape[0] == 1:
        return np.repeat(secant, 2, axis=0)
    before, after = secant[:-1], secant[1:]
    turns = np.sign(before) * np.sign(after) <= 0
    first, second = 2 * step[1:] + step[:-1], step[1:] + 2 * step[:-1]
    safe_before, safe_after = np.where(turns, 1.0, before), np.where(turns, 1.0, after)
    inner = np.where(turns, 0.0, (first + second) / (first / safe_before + second / safe_after))
    begin = _end_slope(step[0], step[1], secant[0], secant[1])
    end = _end_slope(step[-1], step[-2], secant[-1], secant[-2])
    return np.concatenate([begin[None], inner, end[None]])


def _end_slope(near_step: Float, far_step: Float, near: Float, far: Float) -> Float:
    """One-sided three-point slope, held to the shape of the data."""
    slope = ((2 * near_step + far_step) * near - near_step * far) / (near_step + far_step)
    slope = np.where(np.sign(slope) != np.sign(near), 0.0, slope)
    too_steep = (np.sign(near) != np.sign(far)) & (np.abs(slope) > 3 * np.abs(near))
    return np.asarray(np.where(too_steep, 3 * near, slope), dtype=float)
