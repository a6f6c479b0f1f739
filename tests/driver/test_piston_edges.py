"""The piston: limits, shapes and refusals. Its published figures are in tests/outside."""

from __future__ import annotations

import numpy as np
import pytest

from xover.driver.piston import beaming_frequency_hz, directivity, ka
from xover.errors import InputError


def test_on_the_axis_it_is_one_at_every_frequency() -> None:
    np.testing.assert_array_equal(directivity([0.0, 1.0, 1e3, 1e5], 0.13, 0.0), 1.0)


def test_shapes_broadcast() -> None:
    f, angle = np.geomspace(20, 20000, 7), np.array([-90.0, -30.0, 0.0, 30.0, 90.0])
    table = directivity(f[:, None], 0.13, angle)
    assert table.shape == (7, 5)
    np.testing.assert_allclose(table, table[:, ::-1], rtol=1e-12)
    assert table[3, 1] == pytest.approx(float(directivity(f[3], 0.13, -30.0)), rel=1e-12)


def test_low_frequencies_follow_the_series() -> None:
    # Derived: 2 J1(x)/x = 1 - x^2/8 + x^4/192 - ...
    x = 0.1
    f = x * 343.0 / (np.pi * 0.1)
    fall = 1.0 - float(directivity(f, 0.1, 90.0))
    assert fall == pytest.approx(x**2 / 8 - x**4 / 192, rel=1e-6)


def test_the_side_lobe_has_the_other_sign() -> None:
    # x = 5.1356 is the first minimum, 0.132279 deep (-17.570 dB; standard antenna figure of the side lobe).
    f = 5.1356 * 343.0 / (np.pi * 0.13)
    assert float(directivity(f, 0.13, 90.0)) == pytest.approx(-(10 ** (-17.570 / 20)), rel=1e-4)


def test_behind_the_baffle_nothing_is_known() -> None:
    assert np.isnan(directivity(1000.0, 0.13, [90.1, 180.0, -120.0])).all()
    assert np.isfinite(directivity(1000.0, 0.13, [90.0, -90.0])).all()


def test_beaming_frequency_is_where_ka_is_reached() -> None:
    assert float(beaming_frequency_hz(0.13)) == pytest.approx(2 * 343.0 / (np.pi * 0.13), rel=1e-12)
    assert float(ka(beaming_frequency_hz(0.13, 3.0), 0.13)) == pytest.approx(3.0, rel=1e-12)


@pytest.mark.parametrize("diameter", [0.0, -0.1, float("nan")])
def test_a_piston_has_a_diameter(diameter: float) -> None:
    with pytest.raises(InputError, match="a piston cannot have a diameter of"):
        directivity(1000.0, diameter, 0.0)
