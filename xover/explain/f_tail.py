"""The upper tail of Fisher's F distribution, written out as scipy.special takes longer to load than a fit."""

from __future__ import annotations

import math
from typing import Final

_TERMS: Final = 400
_ENOUGH: Final = 1e-14
_TINY: Final = 1e-300


def f_tail(ratio: float, upper_freedom: float, lower_freedom: float) -> float:
    """Chance that a ratio of mean squares is larger than `ratio`, for normal noise.

    The incomplete beta function by its continued fraction (Abramowitz and Stegun 26.5.8 and 26.6.2, from memory),
    evaluated by the method of Lentz.
    """
    if ratio <= 0:
        return 1.0
    x = lower_freedom / (lower_freedom + upper_freedom * ratio)
    return _beta(x, 0.5 * lower_freedom, 0.5 * upper_freedom)


def _beta(x: float, a: float, b: float) -> float:
    """Regularised incomplete beta function."""
    if x <= 0 or x >= 1:
        return 0.0 if x <= 0 else 1.0
    if x > (a + 1) / (a + b + 2):
        return 1.0 - _beta(1 - x, b, a)
    log_front = math.lgamma(a + b) - math.lgamma(a) - math.lgamma(b) + a * math.log(x) + b * math.log1p(-x)
    c, d = 1.0, 1.0 - (a + b) * x / (a + 1)
    d = 1.0 / (d if abs(d) > _TINY else _TINY)
    fraction = d
    for m in range(1, _TERMS):
        for term in (
            m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m)),
            -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1)),
        ):
            d = 1.0 + term * d
            c = 1.0 + term / c
            d = 1.0 / (d if abs(d) > _TINY else _TINY)
            c = c if abs(c) > _TINY else _TINY
            fraction *= d * c
        if abs(d * c - 1.0) < _ENOUGH:
            break
    return math.exp(log_front) * fraction / a
