"""Mutual inductance of circles: the stone that coils are built of."""

from __future__ import annotations

import math
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from xover.curve import Float

MU0: Final = 4e-7 * math.pi
"""Henry per metre. The value fixed before 2019; the measured one differs by less than 1e-9 of it."""


def mutual_of_circles_h(radius_a_m: ArrayLike, radius_b_m: ArrayLike, distance_m: ArrayLike) -> Float:
    """Mutual inductance of two coaxial circles, henry; arguments broadcast.

    Maxwell's second form (Treatise, art. 701; Rosa and Grover, NBS Bulletin 8 no. 1, 1912) by the arithmetic-geometric
    mean. With r+- = sqrt((a +- b)^2 + d^2), s = r+ + r- and k = 4 a b / s^2:

        M = mu0 s (K(k) - E(k))
          = mu0 pi / (2 agm(s, 2 sqrt(r+ r-))) sum over n >= 0 of 2^(n-1) c_n^2       (DLMF 19.8.5 and 19.8.6)
        c_0 = 4 a b / s,  c_(n+1) = c_n^2 / (4 a_(n+1)),  a_n as in that mean

    All terms are positive and nothing cancels, so it keeps its digits far away too, where K and E differ by
    less than rounding.

    Parameters
    ----------
    radius_a_m, radius_b_m : zero or more. distance_m : between their planes, either sign.

    Returns
    -------
    (...), infinite where both circles coincide, NaN where an argument is.
    """
    a, b, d = (np.asarray(v, dtype=float) for v in (radius_a_m, radius_b_m, distance_m))
    area = a * b
    over_area = _over_area_squared(np.hypot(a + b, d), np.hypot(a - b, d), area)
    return np.asarray(np.where(area == 0.0, 0.0, area) ** 2 * np.where(area == 0.0, 0.0, over_area))


def potential_over_rho(radius_m: ArrayLike, rho_m: ArrayLike, z_m: ArrayLike) -> Float:
    """Vector potential of a circle that carries one ampere, over the distance from its axis: A_phi / rho in H/m^2.

    The flux through a coaxial circle is 2 pi rho A_phi, so A_phi / rho = M / (2 pi rho^2), which is regular on the
    axis.

    Parameters
    ----------
    radius_m : of the circle, above zero. rho_m : from its axis, zero or more. z_m : from its plane. They broadcast.
    """
    a, rho, z = (np.asarray(v, dtype=float) for v in (radius_m, rho_m, z_m))
    return np.asarray(a**2 / (2.0 * math.pi) * _over_area_squared(np.hypot(a + rho, z), np.hypot(a - rho, z), a * rho))


def _over_area_squared(far: Float, near: Float, area: Float) -> Float:
    """M / (a b)^2 from the longest and shortest way between the circles, and a b; infinite where they touch."""
    touching = near == 0.0
    mean = np.where(touching, np.inf, far + near)
    other = np.where(touching, np.inf, 2.0 * np.sqrt(far * near))
    part = 4.0 / mean  # c_n / (a b)
    total = 0.5 * part**2
    weight, growing = 1.0, True
    while growing:
        mean, other = 0.5 * (mean + other), np.sqrt(mean * other)
        part = area * part**2 / (4.0 * mean)
        term = weight * part**2
        total = total + term
        weight *= 2.0
        # The share of the next term is less than the square of this one's: then below rounding.
        growing = bool(np.any(term > 1e-9 * total))
    return np.where(touching, np.inf, MU0 * math.pi / (mean + other) * total)
