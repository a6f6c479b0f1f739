"""Wire against tables: gauges, resistance, skin effect.

"Recomputed" numbers come from a second computation of the textbook formula, not from this project.
"""

import numpy as np
import pytest

from xover.parts.wire import (
    ac_resistance_ratio,
    area_m2,
    awg_diameter_m,
    enamelled_diameter_m,
    resistance_ohm_per_m,
    skin_depth_m,
)

MIL_M = 0.0254e-3
FOOT_M = 0.3048


@pytest.mark.parametrize(
    ("gauge", "mils"),
    # Printed table "International Standards Annealed Copper"; 36 and 4/0 define the series (ASTM B258, from memory).
    [
        *[(12, 80.808), (14, 64.084), (16, 50.820), (18, 40.303), (20, 31.961), (22, 25.347), (24, 20.100)],
        *[(30, 10.025), (36, 5.0), (-3, 460.0)],
    ],
)
def test_gauges_in_mils(gauge, mils):
    assert float(awg_diameter_m(gauge)) / MIL_M == pytest.approx(mils, abs=1.05e-3)


@pytest.mark.parametrize(
    ("gauge", "ohm_per_1000_ft", "ohm_per_km"),
    # Ohm per 1000 ft at 20 degC as printed in Floyd, Electric Circuit Fundamentals: the American value of the
    # resistivity, and four digits. Ohm per km recomputed for 1/58 ohm mm^2/m.
    [
        (10, 0.9989, 3.2771),
        (12, 1.588, 5.2108),
        (14, 2.525, 8.2855),
        (16, 4.016, 13.1745),
        (18, 6.385, 20.9482),
        (20, 10.15, 33.3090),
        (22, 16.14, 52.9634),
        (24, 25.67, 84.2151),
        (26, 40.81, 133.9072),
        (28, 64.9, 212.9208),
        (30, 103.2, 338.5574),
        (36, 414.8, 1361.0519),
        (40, 1049.0, 3441.1449),
    ],
)
def test_resistance_of_gauges(gauge, ohm_per_1000_ft, ohm_per_km):
    metre = float(resistance_ohm_per_m(awg_diameter_m(gauge)))
    assert metre * 1000 * FOOT_M == pytest.approx(ohm_per_1000_ft, rel=5e-4)
    assert metre * 1000 == pytest.approx(ohm_per_km, rel=2e-5)


def test_copper_over_temperature():
    """IEC 60028: 0.00393 per kelvin at 20 degC; the ratios are derived from it."""
    cold = float(resistance_ohm_per_m(1e-3))
    assert cold == pytest.approx(0.0172413793 / (np.pi / 4), rel=1e-9)
    assert float(resistance_ohm_per_m(1e-3, 75.0)) / cold == pytest.approx(1.21615, rel=1e-6)
    assert float(resistance_ohm_per_m(1e-3, 0.0)) / cold == pytest.approx(0.92140, rel=1e-6)


@pytest.mark.parametrize(
    ("area_mm2", "most_ohm_per_km", "ratio"),
    [(0.5, 36.0, 1.044), (0.75, 24.5, 1.066), (1.0, 18.1, 1.050), (1.5, 12.1, 1.053), (2.5, 7.41, 1.074)],
)
def test_limits_for_installation_wire(area_mm2, most_ohm_per_km, ratio):
    """IEC 60228, class 1 and 2: limits that nominal copper stays below, by a known margin."""
    diameter = np.sqrt(area_mm2 * 1e-6 * 4 / np.pi)
    assert float(area_m2(diameter)) == pytest.approx(area_mm2 * 1e-6, rel=1e-12)
    own = float(resistance_ohm_per_m(diameter)) * 1000
    assert most_ohm_per_km / own == pytest.approx(ratio, abs=6e-4)


def test_skin_depth():
    """Derived for 1/58 ohm mm^2/m; a published table gives 0.46 mm at 20 kHz for 1.7e-8 ohm m."""
    assert skin_depth_m(np.array([20e3, 1e3])) * 1e3 == pytest.approx([0.467295, 2.08981], rel=5e-6)
    assert float(skin_depth_m(20e3)) * 1e3 * np.sqrt(1.7e-8 * 58e6) == pytest.approx(0.46, rel=0.01)


@pytest.mark.parametrize(
    ("gauge", "ratios"),
    # Recomputed from the Bessel functions of the round conductor.
    [
        (14, (1.00048, 1.01187, 1.16655)),
        (16, (1.00019, 1.00472, 1.07151)),
        (18, (1.00007, 1.00187, 1.02929)),
        (20, (1.00003, 1.00074, 1.01175)),
    ],
)
def test_skin_effect_in_one_wire(gauge, ratios):
    found = ac_resistance_ratio(awg_diameter_m(gauge), np.array([1e3, 5e3, 20e3]))
    assert found - 1 == pytest.approx(np.array(ratios) - 1, abs=6e-6)
    assert found[2] - 1 == pytest.approx(ratios[2] - 1, rel=1e-3)


@pytest.mark.parametrize(
    ("bare_mm", "outer_mm"),
    # Greatest overall diameters of grade 2 enamelled wire, IEC 60317-0-1: from memory, and only approximated here.
    [
        *[(0.1, 0.125), (0.2, 0.239), (0.315, 0.367), (0.5, 0.566), (0.71, 0.789), (0.8, 0.884), (1.0, 1.094)],
        *[(1.25, 1.349), (1.6, 1.706), (2.0, 2.112), (2.5, 2.618), (5.0, 5.142)],
    ],
)
def test_enamel(bare_mm, outer_mm):
    assert (float(enamelled_diameter_m(bare_mm * 1e-3)) * 1e3 - bare_mm) == pytest.approx(
        outer_mm - bare_mm, abs=0.0041
    )
