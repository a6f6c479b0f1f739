"""The best gain, delay and polarity: what was put into ideal drivers comes out again."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from xover.curve import log_grid
from xover.electronic.biquad import parse_slope
from xover.search.align import align, apart, rms_deviation_db
from xover.studies.change.bypass.channels import Voices, crossover_filters
from xover.studies.change.bypass.crossover import map_slopes

F = log_grid(20.0, 20e3, 24)


def voices(levels_db, late_s):
    """Drivers that play flat, so many dB loud and so late."""
    pressure = np.stack(
        [10.0 ** (level / 20.0) * np.exp(-2j * np.pi * F * t) for level, t in zip(levels_db, late_s, strict=True)]
    )
    names = ("low", "mid", "high")[-len(levels_db) :]
    return Voices(F, names, (), (), pressure, np.zeros(pressure.shape), True, "", (), (200.0, 15e3))


def best(drivers, slope, corners):
    shape = parse_slope(slope)
    filters = crossover_filters(drivers.names, shape, corners, F, None)
    filtered = np.stack([drivers.pressure[i] * filters[n] for i, n in enumerate(drivers.names)])[None]
    return align(drivers, filtered, np.array([corners]), np.array([shape.quadrature]), 2)


@given(
    st.floats(-12.0, 12.0),
    st.floats(-300e-6, 300e-6),
    st.sampled_from([("LR2", -1), ("LR4", 1), ("LR8", 1), ("LR6", -1)]),
    st.sampled_from([500.0, 1200.0, 3000.0]),
)
@settings(max_examples=15)
def test_linkwitz_riley_ways_come_out_flat_and_in_step(level, late, case, corner):
    """Linkwitz-Riley ways add to an all-pass, orders 2 and 6 with one of them reversed (Linkwitz 1976, from memory)."""
    slope, polarity = case
    found = best(voices((90.0, 90.0 + level), (0.0, late)), slope, (corner,))
    assert found.rms_db[0] < 0.02
    assert found.gain_db[0, 1] - found.gain_db[0, 0] == pytest.approx(-level, abs=0.05)
    assert found.delay_s[0, 1] - found.delay_s[0, 0] == pytest.approx(-late, abs=0.01 / corner)
    assert tuple(found.polarity[0]) == (1, polarity)
    assert found.gain_db.max() == 0.0
    assert found.delay_s.min() == 0.0


def test_three_ways_are_set_together():
    found = best(voices((88.0, 90.0, 93.0), (0.0, 50e-6, 120e-6)), "LR4", (300.0, 4000.0))
    np.testing.assert_allclose(found.gain_db[0], [0.0, -2.0, -5.0], atol=0.2)
    # The woofer runs past a corner that it has no filter for: the others wait for the all-pass that it lacks.
    assert found.rms_db[0] < 0.1
    assert tuple(found.polarity[0]) == (1, 1, 1)


def test_a_map_of_cells_finds_each_cells_own_settings():
    drivers = voices((90.0, 94.0), (0.0, 100e-6))
    corners, cells = np.array([[1000.0], [2000.0], [4000.0]]), []
    for (corner,) in corners:
        filters = crossover_filters(drivers.names, parse_slope("LR4"), (corner,), F, None)
        cells.append(np.stack([drivers.pressure[i] * filters[n] for i, n in enumerate(drivers.names)]))
    found = align(drivers, np.stack(cells), corners, np.zeros(3, dtype=bool), 2)
    np.testing.assert_allclose(found.gain_db[:, 1] - found.gain_db[:, 0], -4.0, atol=0.05)
    np.testing.assert_allclose(found.delay_s[:, 0] - found.delay_s[:, 1], 100e-6, atol=5e-6)


def test_what_the_search_goes_by():
    assert rms_deviation_db(np.array([1.0, 10.0], dtype=complex)) == pytest.approx(10.0)  # 0 and 20 dB
    assert rms_deviation_db(np.array([0.0, 1.0], dtype=complex)) == np.inf
    one = np.ones(4, dtype=complex)
    assert apart(one, one) == pytest.approx(0.0, abs=1e-12)
    assert apart(one, 1j * one) == pytest.approx(1.0)
    assert apart(one, -one) == pytest.approx(2.0)
    assert apart(one, 0.0 * one) == 0.0  # they never overlap
    # Rows that overlap less weigh less: (2 |a||b| / (|a|^2 + |b|^2))^4 = 0.8^4 for twice the size.
    mixed = np.array([1.0, -2.0], dtype=complex)
    assert apart(np.ones(2, dtype=complex), mixed) == pytest.approx(2.0 * 0.8**4 / (1.0 + 0.8**4))


def test_the_slope_at_hand_is_on_the_map():
    assert map_slopes("LR4") == ("B1", "LR2", "B2", "B3", "LR4", "LR8")
    assert map_slopes("B4") == ("B1", "LR2", "B2", "B3", "B4", "LR8")
    assert map_slopes("LR6") == ("B1", "LR2", "B2", "B3", "LR6", "LR8")
