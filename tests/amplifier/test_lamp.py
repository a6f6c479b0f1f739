"""The lamp's law against the physics that it stands for, and its steady state against an independent root search."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq

from xover.amplifier.programme import LampLaw, lamp_law, settle_lamps
from xover.errors import InputError
from xover.files.netlist import parse_netlist
from xover.network import build_network

LAMP = LampLaw("R3", 1.0, 10.0, 5.0, False)


def power_by_temperature(law, ohm):
    """P = k (T^4 - T0^4) with R = cold (T/T0)^1.2, k from the hot point: the physics, not the closed form."""

    def kelvin(r):
        return 293.0 * (r / law.cold_ohm) ** (1 / 1.2)

    k = law.rated_w / (kelvin(law.hot_ohm) ** 4 - 293.0**4)
    return k * (kelvin(ohm) ** 4 - 293.0**4)


@given(st.floats(0.1, 10), st.floats(1.01, 15), st.floats(0.1, 100), st.floats(0.001, 3))
def test_the_law_is_the_physics_solved_for_resistance(cold, ratio, rated, share):
    law = LampLaw("R1", cold, cold * ratio, rated, False)
    ends = law.resistance_ohm([0.0, rated])
    np.testing.assert_allclose(ends, [cold, cold * ratio], rtol=1e-12)
    ohm = float(law.resistance_ohm(share * rated))
    assert ohm > cold
    assert power_by_temperature(law, ohm) == pytest.approx(share * rated, rel=1e-8)


def test_temperature():
    """Ten times the resistance: 293 K x 10^(1/1.2) = 1996 K, as a dull lamp has."""
    assert LAMP.temperature_k([1.0, 10.0]) == pytest.approx([293.0, 1996.2], rel=1e-4)


@pytest.mark.parametrize("volts", [0.1, 1.0, 10.0, 40.0])
def test_one_lamp_before_a_resistor(volts):
    def power(ohms):
        return (volts / (8.0 + ohms)) ** 2 * ohms

    root = brentq(lambda r: power(r) - power_by_temperature(LAMP, r), 1.0 + 1e-12, 1000.0, xtol=1e-13)
    found = settle_lamps([LAMP], power)
    assert found.shape == (1,)
    assert found[0] == pytest.approx(root, rel=1e-8)


def test_two_lamps_share_the_voltage():
    """A small lamp behind a large one: both at their own power, by their common current."""
    large = LampLaw("R1", 0.5, 3.0, 20.0, False)

    def power(ohms):
        return (15.0 / (4.0 + ohms.sum())) ** 2 * ohms

    found = settle_lamps([LAMP, large], power)
    for law, ohm, watts in zip([LAMP, large], found, power(found), strict=True):
        assert power_by_temperature(law, ohm) == pytest.approx(watts, rel=1e-7)
    assert found[0] / LAMP.cold_ohm > 2 * found[1] / large.cold_ohm > 2


def test_what_is_not_known_stays_so():
    assert np.isnan(settle_lamps([LAMP], lambda _: np.full(1, np.nan))).all()


def test_no_steady_state_is_told():
    """Powers that no passive network has: each lamp heated by the other's being cold, a thousandfold."""

    def power(ohms):
        return 1e6 * (ohms[::-1] < 3.0)

    with pytest.raises(InputError, match="the lamps R3, R3 find no steady state"):
        settle_lamps([LAMP, LAMP], power)


def lamp(card):
    return lamp_law(build_network(parse_netlist(f"* invented\n{card}\nXhigh a 0 tweeter\n")).resistors[0])


def test_from_the_card():
    assert lamp("R1 in a kind=lamp cold=2 hot=14 watts=8") == LampLaw("R1", 2.0, 14.0, 8.0, False)
    assert lamp("R1 in a kind=lamp cold=2 watts=8") == LampLaw("R1", 2.0, 20.0, 8.0, True)
    assert lamp("R1 in a kind=lamp cold=2 hot=14") is None
    assert lamp("R1 in a kind=lamp cold=0 watts=8") is None
    assert math.isclose(float(lamp("R1 in a kind=lamp cold=2 hot=2 watts=8").resistance_ohm(5.0)), 2.0)
