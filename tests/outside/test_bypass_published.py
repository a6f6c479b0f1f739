"""Bypass against what is published: a piston's width, the null angles of two sources, the spectrum of programme."""

import math

import numpy as np
import pytest

from xover.amplifier.programme import programme_weights
from xover.curve import log_grid
from xover.driver.piston import ka
from xover.electronic.biquad import high_pass, low_pass, parse_slope
from xover.studies.change.bypass.fitness import half_angle_deg, path_null_deg

pytestmark = pytest.mark.outside

# D = 2 J1(x)/x = 1/2 at x = 2.21509 (Rayleigh's piston, as in acoustics textbooks; root worked out apart to the digits
# printed), c = 343 m/s: diameter mm, Hz, ka to the digits printed.
PISTONS = [(130, 2500, 2.97673), (130, 3500, 4.16742), (165, 3000, 4.53379), (25, 20000, 4.57958)]


@pytest.mark.parametrize(("diameter_mm", "hz", "printed"), PISTONS)
def test_ka_and_half_angle_of_a_piston(diameter_mm, hz, printed):
    found = float(ka(hz, diameter_mm / 1000.0))
    assert found == pytest.approx(printed, abs=0.6e-5)
    # The root is printed to half a unit of its fifth digit behind the point.
    assert math.sin(math.radians(half_angle_deg(found))) == pytest.approx(2.21509 / printed, rel=5e-6)


def test_a_small_piston_is_nowhere_half_as_loud():
    assert math.isnan(half_angle_deg(2.2150))
    assert half_angle_deg(2.2152) == pytest.approx(90.0, abs=1.0)


# Two equal sources in phase, far away: first null where the paths differ by half a wavelength, asin(lambda/(2 d)),
# c = 343 m/s (S. Linkwitz, JAES 24(1) 1976, from memory; angles derived, found again by a search over 600 001 angles).
NULLS = [(150, 3000, 22.4025), (150, 2000, 34.8665), (180, 2500, 22.4025), (200, 2000, 25.3883), (120, 3500, 24.1002)]


@pytest.mark.parametrize(("spacing_mm", "hz", "degrees"), NULLS)
def test_null_angles_of_two_sources(spacing_mm, hz, degrees):
    assert path_null_deg(spacing_mm / 1000.0, hz) == pytest.approx(degrees, abs=0.6e-4)


def test_close_sources_have_no_null():
    assert math.isnan(path_null_deg(0.05, 3000.0))
    assert math.isnan(path_null_deg(0.0, 3000.0))


# IEC 60268-1:1985 clause 7, table II: relative level of the third octaves from 20 Hz to 20 kHz, dB.
TABLE_II_DB = (
    "-13.5 -10.2 -7.4 -5.2 -3.5 -2.3 -1.4 -0.9 -0.5 -0.2 -0.1 0 0 0 0 0 0 -0.1 -0.3 -0.6 -1.0 -1.6 -2.5 -3.7 "
    "-5.1 -7.0 -9.4 -11.9 -14.8 -18.2 -21.6"
)


@pytest.mark.parametrize("corner_hz", [500.0, 1000.0, 2500.0])
def test_programme_splits_at_a_corner_as_its_published_spectrum_does(corner_hz):
    """Behind Butterworth slopes the two shares add up to all; steep ones share as the spectrum below and above does."""
    power = 10.0 ** (np.array([float(t) for t in TABLE_II_DB.split()]) / 10.0)
    edges = 1000.0 * 10.0 ** ((np.arange(-17, 15) - 0.5) / 10.0)
    share = np.clip(np.log(corner_hz / edges[:-1]) / np.log(edges[1:] / edges[:-1]), 0.0, 1.0)
    below = float((power * share).sum() / power.sum())
    f = log_grid(18.0, 22e3, 96)
    weights = programme_weights(f)
    steep = parse_slope("B8")
    low = float(np.sum(weights * np.abs(low_pass(steep, corner_hz, f, None)) ** 2))
    high = float(np.sum(weights * np.abs(high_pass(steep, corner_hz, f, None)) ** 2))
    assert low + high == pytest.approx(1.0, abs=2e-3)  # half a cell of the grid is missing at each end
    # An eighth order still leaks over the corner: by less than a hundredth of the whole either way.
    assert low == pytest.approx(below, abs=0.01)
    assert high == pytest.approx(1.0 - below, abs=0.01)
