"""Formulas for coils of one layer or one turn of depth, which judge the exact section."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from xover.curve import Float
from xover.parts.inductance import MU0, _inches
from xover.parts.wire import Winding


def nagaoka_coefficient(diameter_over_length: ArrayLike) -> Float:
    """K of a thin solenoid, L = mu0 N^2 pi a^2 K / l; 1 for an endless one.

    H. Nagaoka, J. Coll. Sci. Tokyo 27 (1909): K = 4/(3 pi k') [(k'^2/k^2)(K(k) - E(k)) + E(k) - k],
    k^2 = x^2/(1 + x^2), with (K - E)/k^2 = R_D(0, k'^2, 1)/3 so that nothing cancels for long coils.
    """
    from scipy.special import ellipe, elliprd

    x = np.asarray(diameter_over_length, dtype=float)
    rest = 1 / (1 + x**2)
    k = x * np.sqrt(rest)
    return np.asarray(4 / (3 * np.pi * np.sqrt(rest)) * (rest / 3 * elliprd(0, rest, 1) + ellipe(k**2) - k))


def solenoid_h(radius_m: float, length_m: float, turns: float) -> float:
    """Thin solenoid, exact: a current sheet of no thickness (Nagaoka)."""
    k = nagaoka_coefficient(2 * radius_m / length_m)
    return float(MU0 * np.pi * (turns * radius_m) ** 2 / length_m * k)


def wheeler_single_layer_h(winding: Winding) -> float:
    """H. A. Wheeler, 1928 (from memory): L[uH] = a^2 N^2/(9a + 10b) in inches, 1 % for b > 0.8 a."""
    a, b, _ = _inches(winding)
    return 1e-6 * (a * winding.turns) ** 2 / (9 * a + 10 * b)


def wheeler_spiral_h(winding: Winding) -> float:
    """Flat spiral, Pender and McIlwain, 3rd ed. 1945, after Wheeler: L[uH] = a^2 N^2/(8a + 11c) in inches.

    5 % for c > 0.2 a.
    """
    a, _, c = _inches(winding)
    return 1e-6 * (a * winding.turns) ** 2 / (8 * a + 11 * c)
