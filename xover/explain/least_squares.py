"""Least squares with a normal prior and floors, and the covariance of what it finds.

Levenberg (1944) and Marquardt (1963), from memory: Gauss-Newton steps with a damping that grows where a step does not
pay. The prior is a row for each coordinate, so that the search is not singular while a prior is there.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Final, TypeVar

import numpy as np

from xover.curve import Float

# The longest step of one coordinate: as a logarithm, or in ohms and the like.
LONGEST_STEP: Final = 0.7
_STEPS: Final = 60
# Ended where a step would lower the sum of squares by less than this.
_CONVERGED: Final = 1e-4

Found = TypeVar("Found")
# At (p,) coordinates: (c,) residuals in standard deviations, (c, p) slopes so that a step is found from
# slopes * step = residuals, and whatever else belongs to the point.
Evaluate = Callable[[Float], tuple[Float, Float, Found]]


def least_squares(
    evaluate: Evaluate[Found],
    start: Float,
    centre: Float,
    spread: Float,
    floor: Float,
    converged: float = _CONVERGED,
) -> tuple[Float, Found]:
    """Find the coordinates of the smallest sum of squares of residuals and of (at - centre) / spread.

    Parameters
    ----------
    start : (p,) where to begin. centre, spread : (p,) of the prior; an infinite spread is none.
    floor : (p,) coordinates that would go below it rest there.
    converged : ended where a step would lower the sum of squares by less.

    Returns
    -------
    (p,) coordinates, and what `evaluate` said of them.
    """
    at = start
    residual, slope, found = evaluate(at)
    cost, gradient, curvature = _sums(residual, slope, at, centre, spread)
    damping = 1e-3
    for _ in range(_STEPS):
        free = ~((at <= floor) & (gradient < 0))
        step = np.zeros_like(gradient)
        inner = curvature[np.ix_(free, free)]
        step[free] = np.linalg.solve(inner + damping * np.diag(np.diag(inner)), gradient[free])
        longest = float(np.abs(step).max())
        if longest > LONGEST_STEP:
            step *= LONGEST_STEP / longest
        step = np.maximum(at + step, floor) - at
        promised = float(2.0 * step @ gradient - step @ curvature @ step)
        if promised < converged and damping < 1e-2:
            break
        residual, slope, trial = evaluate(at + step)
        new = _sums(residual, slope, at + step, centre, spread)
        if np.isfinite(new[0]) and new[0] < cost:
            damping = max(damping * (0.1 if cost - new[0] > 0.5 * promised else 0.5), 1e-9)
            at, found, (cost, gradient, curvature) = at + step, trial, new
        elif damping > 1e8:
            break
        else:
            damping *= 8.0
    return at, found


def _sums(residual: Float, slope: Float, at: Float, centre: Float, spread: Float) -> tuple[float, Float, Float]:
    """Sum of squares, half of its downhill slope, and its curvature."""
    away = (centre - at) / spread
    curvature = slope.T @ slope
    curvature[np.diag_indices_from(curvature)] += spread**-2.0
    return float(residual @ residual + away @ away), slope.T @ residual + away / spread, curvature


def posterior_covariance(slope: Float, spread: Float, scale: float = 1.0) -> Float:
    """(p, p) covariance of the coordinates (Gauss-Newton), as if none could reach its floor.

    Parameters
    ----------
    slope : (c, p) of the residuals in standard deviations. spread : (p,) of the prior; infinite for none.
    scale : standard deviation that the residuals are taken to have, in place of 1.
    """
    precision = slope.T @ slope / scale**2
    precision[np.diag_indices_from(precision)] += spread**-2.0
    size = np.sqrt(np.diag(precision))
    return np.asarray(np.linalg.inv(precision / np.outer(size, size)) / np.outer(size, size))
