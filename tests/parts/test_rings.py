"""Mutual inductance of coaxial circles, against other formulas than the one that the code uses."""

import math

import numpy as np
import pytest
from scipy.special import ellipe, ellipk, elliprd, elliprf

from xover.parts.inductance import MU0, mutual_of_circles_h, potential_over_rho

# A, a, d in cm, M in nH: derived, three formulas agreed on each (Maxwell in k, DLMF 19.34.5, Neumann's integral).
AGREED = [
    (25, 25, 1, 1036.6648),
    (25, 20, 10, 248.7874),
    (25, 25, 20, 167.0858),
    (25, 25, 10, 337.6847),
    (25, 25, 100, 6.4996),
    (25, 20, 0, 451.7314),
]


@pytest.mark.parametrize(("one_cm", "other_cm", "apart_cm", "nanohenry"), AGREED)
def test_agreed_values(one_cm, other_cm, apart_cm, nanohenry):
    got = 1e9 * mutual_of_circles_h(one_cm / 100, other_cm / 100, apart_cm / 100)
    assert got == pytest.approx(nanohenry, abs=0.6e-4)


def test_carlson_form_of_dlmf_19_34_5():
    """3 M / (8 pi a b) = 3 R_F(0, r+^2, r-^2) - 2 r-^2 R_D(0, r+^2, r-^2), M in emu-cm = 1 nH, lengths in cm."""
    rng = np.random.default_rng(1)
    a, b, d = rng.uniform(1, 10, (3, 500))
    far, near = d**2 + (a + b) ** 2, d**2 + (a - b) ** 2
    nanohenry = 8 * math.pi * a * b / 3 * (3 * elliprf(0, far, near) - 2 * near * elliprd(0, far, near))
    np.testing.assert_allclose(1e9 * mutual_of_circles_h(a / 100, b / 100, d / 100), nanohenry, rtol=1e-11)


def test_maxwells_first_form_and_symmetry():
    rng = np.random.default_rng(2)
    a, b, d = rng.uniform(0.01, 0.05, (3, 500))
    k2 = 4 * a * b / ((a + b) ** 2 + d**2)
    k = np.sqrt(k2)
    maxwell = MU0 * np.sqrt(a * b) * ((2 / k - k) * ellipk(k2) - 2 / k * ellipe(k2))
    got = mutual_of_circles_h(a, b, d)
    np.testing.assert_allclose(got, maxwell, rtol=1e-11)
    np.testing.assert_allclose(got, mutual_of_circles_h(b, a, -d), rtol=1e-14)


def test_far_away_it_keeps_its_digits():
    """Derived: two terms of the dipole series, mu0 pi a^2 b^2 / (2 d^3) (1 - 3/2 (a^2 + b^2) / d^2)."""
    d = np.geomspace(10.0, 1e6, 30)
    dipole = MU0 * math.pi * 0.02**2 * 0.03**2 / (2 * d**3) * (1 - 1.5 * (0.02**2 + 0.03**2) / d**2)
    np.testing.assert_allclose(mutual_of_circles_h(0.02, 0.03, d), dipole, rtol=1e-9)
    # The first form has no digit left there.
    assert float(mutual_of_circles_h(0.02, 0.03, 1.0) / (MU0 * math.pi * 0.02**2 * 0.03**2 / 2)) == pytest.approx(
        0.998054, abs=1e-6
    )


def test_close_circles():
    """Derived: equal circles close together, M -> mu0 a (ln(8 a / d) - 2) as for a thin ring's inductance."""
    assert mutual_of_circles_h(0.03, 0.03, 1e-7) == pytest.approx(
        MU0 * 0.03 * (math.log(8 * 0.03 / 1e-7) - 2), rel=1e-9
    )


def test_edges():
    assert mutual_of_circles_h(0.02, 0.02, 0.0) == math.inf
    np.testing.assert_array_equal(mutual_of_circles_h([0.0, 0.0], [0.02, 0.0], [0.01, 0.0]), 0.0)
    assert np.isnan(mutual_of_circles_h(np.nan, 0.02, 0.0))
    assert mutual_of_circles_h(np.ones((3, 1)), np.ones(4), 0.1).shape == (3, 4)


def test_potential_gives_the_field_on_the_axis():
    """On the axis A_phi / rho is half the flux density, mu0 a^2 / (2 (a^2 + z^2)^(3/2)) (Biot and Savart)."""
    z = np.array([-0.05, 0.0, 0.01, 0.2])
    density = MU0 * 0.03**2 / (2 * (0.03**2 + z**2) ** 1.5)
    np.testing.assert_allclose(2 * potential_over_rho(0.03, 0.0, z), density, rtol=1e-13)
