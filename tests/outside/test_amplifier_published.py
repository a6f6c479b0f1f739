"""Published tables and clauses that the amplifier layer must meet."""

import numpy as np
import pytest

from xover.amplifier.demand import divider_db, read_listening, voltage_for_level
from xover.amplifier.load import LoadLevel, epdr_over_modulus, load_level, read_load, usual_rating

pytestmark = pytest.mark.outside


@pytest.mark.parametrize(
    ("phase_deg", "relative_peak", "ratio"),
    [
        (0, 1.00000, 1.000000),
        (15, 1.50961, 0.662424),
        (30, 2.12467, 0.470660),
        (45, 2.82843, 0.353553),
        (60, 3.59627, 0.278066),
        (75, 4.39727, 0.227414),
        (90, 5.19615, 0.192450),
    ],
)
def test_epdr_table(phase_deg, relative_peak, ratio):
    """Formula as published in a forum thread on EPDR; these digits by brute force, 2 000 001 samples of a cycle."""
    assert epdr_over_modulus(phase_deg) == pytest.approx(ratio, abs=5e-7)
    assert epdr_over_modulus(-phase_deg) == pytest.approx(ratio, abs=5e-7)
    assert 1 / epdr_over_modulus(phase_deg) == pytest.approx(relative_peak, abs=6e-6)


def test_epdr_of_trade_table():
    """Two-digit figures for ideal class B at 15, 30, 45, 60, 75 degrees, as they circulate in the trade."""
    np.testing.assert_allclose(epdr_over_modulus([15, 30, 45, 60, 75]), [0.66, 0.47, 0.35, 0.28, 0.23], atol=0.005)


@pytest.mark.parametrize(("rated", "least"), [(4, 3.2), (6, 4.8), (8, 6.4)])
def test_iec_60268_5_clause_16_1(rated, least):
    """IEC 60268-5:2003+A1:2007, 16.1 (as reported): lowest |Z| not less than 80 % of the rated impedance."""
    assert usual_rating(least) == rated
    assert usual_rating(least - 0.01) != rated
    assert load_level(least, rated) is LoadLevel.EDGE
    assert load_level(least - 0.01, rated) is LoadLevel.TOO_LOW
    reading = read_load(np.array([20.0, 20000.0]), np.array([least, 3 * least], dtype=complex))
    assert reading.largest_rating_ohm == pytest.approx(rated)


def power(**changes):
    values = {"level_db": 90.0, "distance_m": 1.0, "headroom_db": 0.0, "sensitivity_db": 90.0, "minimum_ohm": 4.0}
    return read_listening(**(values | changes), rated_power_w=100.0, rated_load_ohm=8.0)


def test_sensitivity_voltage_in_watts():
    """2.83 V is 1.0011125 W into 8 ohm and 2.002225 W into 4 ohm (IEC 60268-5, 20.3, states 1 W as sqrt(R x 1 W))."""
    got = power()
    assert got.power_into_rated_w == pytest.approx(1.0011125, rel=1e-12)
    assert got.power_into_minimum_w == pytest.approx(2.002225, rel=1e-12)
    assert 20 * np.log10(got.voltage_rms_v) == pytest.approx(9.0357, abs=1e-4)


def test_twice_the_power_is_3_db():
    """10 lg 2 = 3.0103 dB."""
    assert power(level_db=93.0103).power_into_rated_w == pytest.approx(2 * 1.0011125, rel=1e-5)
    assert power().margin_db - power(level_db=93.0103).margin_db == pytest.approx(3.0103, abs=1e-9)


def test_6_db_less_is_a_quarter_of_the_power():
    """10^(-0.6) = 0.251189; exactly a quarter at -6.0206 dB."""
    full = power().power_into_rated_w
    assert power(level_db=84.0).power_into_rated_w / full == pytest.approx(0.251189, abs=5e-7)
    assert power(level_db=90 - 20 * np.log10(2)).power_into_rated_w / full == pytest.approx(0.25, rel=1e-12)


def test_free_field_distance_law():
    """-20 lg r: 6.0206 dB for each doubling, 9.5424 dB at 3 m (ISO 3745's free-field law, from memory)."""
    at_1m = voltage_for_level(90, 90, 1.0)
    assert 20 * np.log10(voltage_for_level(90, 90, 2.0) / at_1m) == pytest.approx(6.0206, abs=5e-5)
    assert 20 * np.log10(voltage_for_level(90, 90, 3.0) / at_1m) == pytest.approx(9.5424, abs=5e-5)


def test_series_resistance_level_loss_of_trade_table():
    """Level lost on 6 ohm behind 0.3, 0.5, 1.0, 1.7 ohm: 0.4, 0.7, 1.3, 2.2 dB, as they circulate in the trade."""
    lost = [-divider_db(np.array([6 + 0j]), r)[0] for r in (0.3, 0.5, 1.0, 1.7)]
    np.testing.assert_allclose(lost, [0.4, 0.7, 1.3, 2.2], atol=0.05)
