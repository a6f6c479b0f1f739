"""The piston in an infinite baffle against its textbook figures.

Formula and "first null at the first zero of J1" as in lecture notes on the baffled piston and a microphone
handbook; the figures of the table are recomputed from them with c = 343 m/s, independently of the project.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from xover.driver.piston import beaming_frequency_hz, directivity, ka

pytestmark = pytest.mark.outside

# diameter m, f Hz, ka, -3 dB angle, -6 dB angle, first null angle, level at 30 degrees dB, directivity index dB
TABLE = [
    (0.130, 2500.0, 2.97673, 32.828, 47.990, math.nan, -2.5277, 9.0769),
    (0.130, 3500.0, 4.16742, 22.782, 32.055, 66.845, -5.2396, 12.6858),
    (0.165, 3000.0, 4.53379, 20.851, 29.199, 57.687, -6.3504, 13.3622),
    (0.025, 20000.0, 4.57958, 20.633, 28.879, 56.793, -6.5004, 13.4341),
]


def level_db(f: float, diameter: float, angle: float) -> float:
    return 20 * math.log10(abs(float(directivity(f, diameter, angle))))


def directivity_index_db(f: float, diameter: float) -> float:
    """Axis over the mean of the sphere, half of which is dark, by Gauss-Legendre over the angle."""
    at, weight = np.polynomial.legendre.leggauss(200)
    angle = 0.25 * np.pi * (at + 1.0)
    square = directivity(f, diameter, np.degrees(angle)) ** 2
    return -10.0 * math.log10(0.5 * 0.25 * np.pi * float(np.sum(weight * square * np.sin(angle))))


@pytest.mark.parametrize("row", TABLE)
def test_table(row: tuple[float, ...]) -> None:
    diameter, f, k, three, six, null, at_30, index = row
    assert float(ka(f, diameter)) == pytest.approx(k, rel=3e-6)
    assert level_db(f, diameter, three) == pytest.approx(-3.0, abs=2e-4)
    assert level_db(f, diameter, six) == pytest.approx(-6.0, abs=3e-4)
    assert level_db(f, diameter, 30.0) == pytest.approx(at_30, abs=1e-4)
    assert directivity_index_db(f, diameter) == pytest.approx(index, abs=1e-4)
    if math.isnan(null):
        assert float(directivity(f, diameter, 90.0)) > 0
    else:
        before, after = directivity(f, diameter, [null - 1e-3, null + 1e-3])
        assert before > 0 > after


@pytest.mark.parametrize(
    ("x", "db"),
    [
        (0.95045, -1.0), (1.61374, -3.0), (1.61634, -3.0103), (2.21179, -6.0), (2.21509, -6.0206),
        (2.73138, -10.0), (2.92326, -12.0), (5.1356, -17.570),
    ],
)  # fmt: skip
def test_levels_of_the_pattern(x: float, db: float) -> None:
    f = x * 343.0 / (math.pi * 0.13)
    assert level_db(f, 0.13, 90.0) == pytest.approx(db, abs=2e-4)


def test_nulls() -> None:
    f = np.array([3.83171, 7.01559, 10.17347]) * 343.0 / (math.pi * 0.13)
    assert np.max(np.abs(directivity(f, 0.13, 90.0))) < 1e-5
    # Between two nulls stands a lobe, so the zeros above are no zeros everywhere.
    assert np.min(np.abs(directivity(f * 0.8, 0.13, 90.0))) > 0.03


def test_small_piston_has_three_decibels() -> None:
    assert directivity_index_db(1.0, 0.025) == pytest.approx(3.01, abs=0.005)


def test_beaming_begins_near_a_wavelength_of_pi_radii() -> None:
    """ka = 2 (common practice): 1680 Hz for a piston of 130 mm, 343 x 2/(pi 0.13)."""
    assert float(beaming_frequency_hz(0.13)) == pytest.approx(1679.7, rel=1e-4)
