"""Off-axis level of one driver against the published piston in an infinite baffle.

D(x) = 2 J1(x)/x (acoustics textbooks); levels at 30 degrees recomputed from it, printed to 0.0001 dB.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from xover.acoustic.off_axis import off_axis
from xover.acoustic.summing import Branch

# piston diameter mm, frequency Hz, level at 30 degrees re the axis
TABLE = [(130.0, 2500.0, -2.5277), (130.0, 3500.0, -5.2396), (165.0, 3000.0, -6.3504), (25.0, 20000.0, -6.5004)]


@pytest.mark.parametrize(("diameter_mm", "frequency_hz", "level_db"), TABLE)
def test_level_at_30_degrees(diameter_mm: float, frequency_hz: float, level_db: float) -> None:
    f = np.array([frequency_hz / 2.0, frequency_hz])
    branch = Branch("driver", np.ones(2, dtype=complex), position_mm=(0.0, 0.0, 0.0), diameter_mm=diameter_mm)
    for distance_m in (1.0, math.inf):
        # At the axis' foot the arc is the same at all distances.
        got = off_axis(f, [branch], [-30.0, 30.0], distance_m=distance_m).level_db[:, 1]
        assert got == pytest.approx(level_db, abs=6e-5)


@pytest.mark.parametrize(
    ("diameter_mm", "frequency_hz", "half_deg"), [(130.0, 2500.0, 47.990), (165.0, 3000.0, 29.199)]
)
def test_angle_of_6_db_down(diameter_mm: float, frequency_hz: float, half_deg: float) -> None:
    """-6 dB where ka sin(theta) = 2.21179; the angles are printed to 0.001 degree."""
    f = np.array([frequency_hz / 2.0, frequency_hz])
    branch = Branch("driver", np.ones(2, dtype=complex), position_mm=(0.0, 0.0, 0.0), diameter_mm=diameter_mm)
    assert off_axis(f, [branch], [half_deg]).level_db[0, 1] == pytest.approx(-6.0, abs=5e-4)
