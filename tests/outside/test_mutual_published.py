"""Coupling of coils against numbers from outside the project."""

import math

import pytest

from xover.parts.coupling import Pose, geometric_mean_h, mutual_inductance
from xover.parts.inductance import MU0, mutual_of_circles_h, section_h
from xover.parts.wire import Winding


def coupling_factor(first, second, pose, first_h, second_h):
    """k = M / sqrt(L1 L2), with its sign."""
    return mutual_inductance(first, second, pose).henry / geometric_mean_h(first_h, second_h)


pytestmark = pytest.mark.outside

# Coupling of two equal air coils of 55 mm, per cent, by centre distance in mm, from a separate computation (filaments)
# made for a list of needs; rounded as given there. Its note does not say how the coils were wound: 25 mm inside and
# 20 mm long is the common shape that fits, so eight numbers hold against one choice. A third row there, for right
# angles "raised off the centre line", does not say by how much and is not used.
COIL = Winding(0.0125, 0.0275, 0.020, 200.0)
SIDE_BY_SIDE = {56: (4.7, 0.05), 75: (1.7, 0.05), 100: (0.7, 0.05), 150: (0.2, 0.05)}
ON_ONE_AXIS = {56: (5.2, 0.05), 75: (2.4, 0.05), 100: (1.1, 0.05), 150: (0.35, 0.005)}


def k_per_cent(pose):
    henry = section_h(COIL)
    return 100 * coupling_factor(COIL, COIL, pose, henry, henry)


@pytest.mark.parametrize("apart_mm", SIDE_BY_SIDE)
def test_equal_coils(apart_mm):
    d = apart_mm / 1000
    k, rounding = SIDE_BY_SIDE[apart_mm]
    assert -k_per_cent(Pose(d, 0, 0)) == pytest.approx(k, abs=rounding)
    k, rounding = ON_ONE_AXIS[apart_mm]
    assert k_per_cent(Pose(0, 0, d)) == pytest.approx(k, abs=rounding)
    assert abs(k_per_cent(Pose(d, 0, 0, 90))) < 1e-9


def test_bureau_of_standards_example():
    """Circles of 25 and 20 cm, 10 cm apart: 248.7875 nH. NBS Bulletin 8 no. 1 (1912), from memory: a hint."""
    assert 1e9 * mutual_of_circles_h(0.25, 0.20, 0.10) == pytest.approx(248.7875, abs=2e-4)


# Two coaxial coils, gap in mm, M in uH by the public package inductance 0.2.0 with 12 x 12 filaments in each section,
# which it says is coarse: 0.1 % below the exact integral.
FILAMENTS = [(5, 298.742), (10, 227.374), (20, 137.138), (50, 40.2185), (100, 9.89761), (200, 1.79094)]


@pytest.mark.parametrize(("gap_mm", "microhenry"), FILAMENTS)
def test_against_another_package(gap_mm, microhenry):
    first, second = Winding(0.0125, 0.025, 0.020, 150.0), Winding(0.020, 0.035, 0.030, 250.0)
    got = mutual_inductance(first, second, Pose(0, 0, (gap_mm + 25) / 1000))
    assert 1e6 * got.henry == pytest.approx(microhenry, rel=2e-3)


def test_small_coil_in_the_field_of_a_loop():
    """Biot and Savart: flux through a small coil on a loop's axis, mu0 a^2 / (2 (a^2 + z^2)^(3/2)) x turns x area."""
    loop, small = Winding(0.1, 0.1 + 1e-6, 1e-6, 1.0), Winding(1e-4, 2e-4, 1e-4, 50.0)
    area = math.pi * ((1e-4) ** 2 + 1e-4 * 2e-4 + (2e-4) ** 2) / 3
    flux = MU0 * 0.1**2 / (2 * (0.1**2 + 0.05**2) ** 1.5) * 50 * area
    assert mutual_inductance(loop, small, Pose(0, 0, 0.05)).henry == pytest.approx(flux, rel=1e-4)
    leaning = mutual_inductance(loop, small, Pose(0, 0, 0.05, 60)).henry
    assert leaning == pytest.approx(flux / 2, rel=1e-4)
