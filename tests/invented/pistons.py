"""Invented drivers as rigid pistons, heard close up and far away by the closed form on the axis, not by Keele's ratio.

    p(z) = rho c v (exp(-jkz) - exp(-jk sqrt(z^2 + a^2)))

for a piston in an infinite baffle (as in acoustics textbooks, from memory); and a point source on a rigid sphere, whose
pressure on the axis far away is a series, as a baffle in free space.
"""

import numpy as np
from scipy.special import spherical_jn, spherical_yn

C = 343.0


def on_axis(f, radius, z):
    """Pressure for a velocity of 1/(rho c)."""
    k = 2 * np.pi * f / C
    return np.exp(-1j * k * z) - np.exp(-1j * k * np.hypot(z, radius))


def sphere_step(f, diameter, orders=75):
    """Pressure far in front of a point source on a rigid sphere over that on an infinite plane.

    exp(-jx)/(2j x^2) sum (2n+1) i^n / h_n'(x), x = ka: as Morse and Ingard have it, from memory; its phase
    counted from the sphere's front.
    """
    x = np.pi * np.asarray(f, dtype=float) * diameter / C
    total = np.zeros(x.shape, dtype=complex)
    for n in range(orders):
        y = spherical_yn(n, x, derivative=True)
        ok = np.isfinite(y) & (np.abs(y) < 1e250)  # else the term is nothing
        h = spherical_jn(n, x, derivative=True) - 1j * np.where(ok, y, 0.0)
        total += np.where(ok, (2 * n + 1) * 1j**n / np.where(ok, h, 1), 0)
    return total / (2j * x**2) * np.exp(-1j * x)
