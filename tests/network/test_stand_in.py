"""Whatever impedance stands in the place of a part."""

import numpy as np
import pytest

from xover.errors import OptionError
from xover.files.netlist import parse_netlist
from xover.network import build_network, solve

TEXT = "L1 in w 1mH dcr=0.3\nC1 w 0 10uF df=0.05\nXd w 0 woofer\nC2 in t 4.7uF\nL2 t 0 0.4mH\nXt t 0 tweeter\n"
FREQUENCY = np.geomspace(20, 20_000, 31)
DRIVERS = {"woofer": np.full(31, 6 + 1j), "tweeter": np.full(31, 5 + 0.5j)}


@pytest.fixture
def network():
    return build_network(parse_netlist(TEXT))


def test_equals_the_same_candidates_given_as_values(network):
    farad, ohm = np.array([8e-6, 10e-6, 15e-6]), np.array([0.1, 0.5, 2.0])
    omega = 2 * np.pi * FREQUENCY
    by_value = solve(network, FREQUENCY, DRIVERS, {"C1": farad, "C1_esr": ohm, "C1_df": 0.0})
    by_hand = solve(network, FREQUENCY, DRIVERS, impedance_ohm={"C1": ohm[:, None] + 1 / (1j * omega * farad[:, None])})
    for key in ("woofer", "tweeter"):
        np.testing.assert_allclose(by_hand.drive[key], by_value.drive[key], rtol=1e-12)
    np.testing.assert_allclose(by_hand.impedance_ohm["in"], by_value.impedance_ohm["in"], rtol=1e-12)


def test_one_impedance_gives_one_answer_and_may_stand_beside_candidates(network):
    ohm = 3.0 + 1j * np.linspace(1, 2, 31)
    one = solve(network, FREQUENCY, DRIVERS, impedance_ohm={"C1": ohm})
    assert one.drive["woofer"].shape == (31,)
    expected = 1.0 / (1.0 + (0.3 + 2j * np.pi * FREQUENCY * 1e-3) * (1 / ohm + 1 / DRIVERS["woofer"]))
    np.testing.assert_allclose(one.drive["woofer"], expected, rtol=1e-12)
    both = solve(network, FREQUENCY, DRIVERS, {"C2": np.array([2e-6, 4.7e-6])}, impedance_ohm={"C1": ohm})
    np.testing.assert_allclose(both.drive["woofer"][1], expected, rtol=1e-12)


def test_a_name_that_is_not_there(network):
    with pytest.raises(OptionError, match="no part C9"):
        solve(network, FREQUENCY, DRIVERS, impedance_ohm={"C9": np.ones(31)})


def test_drivers_as_candidates(network):
    """Each row of their impedances is solved as it would be alone; a driver of one row serves for all."""
    woofer = np.array([[6.0 + 1j], [5.0 + 3j], [np.nan]]) * np.ones(31)
    got = solve(network, FREQUENCY, {"woofer": woofer, "tweeter": DRIVERS["tweeter"]})
    assert got.drive["tweeter"].shape == got.impedance_ohm["in"].shape == (3, 31)
    for row in range(2):
        alone = solve(network, FREQUENCY, {"woofer": woofer[row], "tweeter": DRIVERS["tweeter"]})
        for key in ("woofer", "tweeter"):
            np.testing.assert_allclose(got.drive[key][row], alone.drive[key], rtol=1e-12)
        np.testing.assert_allclose(got.impedance_ohm["in"][row], alone.impedance_ohm["in"], rtol=1e-12)
    assert np.isnan(got.drive["woofer"][2]).all()
    with pytest.raises(OptionError, match="differ in number"):
        solve(network, FREQUENCY, {"woofer": woofer, "tweeter": DRIVERS["tweeter"]}, {"C1": np.array([1e-6, 2e-6])})
