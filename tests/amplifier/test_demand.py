"""Current and power at the rated voltage, by Ohm's law worked by hand."""

import numpy as np
import pytest

from xover.amplifier.demand import rated_voltage, read_demand
from xover.amplifier.load import read_load
from xover.errors import InputError

F = np.array([20.0, 200.0, 2000.0, 20000.0])


def test_rated_voltage_of_common_amplifiers():
    """Field figures (needs of the trade, no. 15): 50, 100, 200 W into 8 ohm are 20, 28, 40 V rms."""
    assert rated_voltage(50, 8) == pytest.approx(20.0)
    assert rated_voltage(100, 8) == pytest.approx(28.2843, abs=1e-4)
    assert rated_voltage(200, 8) == pytest.approx(40.0)


def test_current_and_power_at_worst():
    """20 V: into 3 + 4j, 4 A and 80 VA but 48 W; into 5.5 ohm 72.73 W is the most true power."""
    demand = read_demand(read_load(F, np.array([8, 3 + 4j, 5.5, 20])), 50, 8)
    assert demand.rated_voltage_v == pytest.approx(20.0)
    assert demand.rated_voltage_peak_v == pytest.approx(28.2842712)
    assert demand.current_rms_a == pytest.approx(4.0)
    assert demand.current_peak_a == pytest.approx(4 * np.sqrt(2))
    assert demand.current_at_hz == 200.0
    assert demand.apparent_power_va == pytest.approx(80.0)
    assert demand.true_power_w == pytest.approx(400 / 5.5)
    assert demand.true_power_at_hz == 2000.0
    assert demand.rated_current_rms_a == pytest.approx(2.5)
    assert "steady sine" in demand.note


def test_rated_resistor_draws_the_rated_power():
    demand = read_demand(read_load(F, np.full(4, 8.0 + 0j)), 60, 8)
    assert demand.true_power_w == pytest.approx(60.0)
    assert demand.apparent_power_va == pytest.approx(60.0)
    assert demand.current_rms_a == pytest.approx(demand.rated_current_rms_a)


def test_unknown_load_and_dead_short():
    unknown = read_demand(read_load(F, np.full(4, complex(np.nan, np.nan))), 60, 8)
    assert np.isnan(unknown.current_rms_a)
    assert np.isnan(unknown.true_power_w)
    short = read_demand(read_load(F, np.array([8, 0, 8, 8], dtype=complex)), 60, 8)
    assert short.current_rms_a == np.inf
    assert short.current_at_hz == 200.0


@pytest.mark.parametrize(
    ("power", "load", "words"),
    [
        (0.0, 8.0, "rated_power_w is 0; give a number above 0"),
        (-5.0, 8.0, "rated_power_w is -5"),
        (60.0, 0.0, "rated_load_ohm is 0"),
        (60.0, np.nan, "rated_load_ohm is nan"),
    ],
)
def test_impossible_rating_is_refused(power, load, words):
    with pytest.raises(InputError, match=words):
        rated_voltage(power, load)
