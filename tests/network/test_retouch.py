"""Other values in the same places."""

import math

import pytest

from xover.errors import OptionError
from xover.files.netlist import parse_netlist
from xover.network import build_network
from xover.network.retouch import with_values

BOARD = """* board
L1 in w {L1}
C1 w 0 {C1} kind=electrolytic
R1 w p {R1}
C1_esr p 0 2uF
Xlow p 0 woofer
.end
"""


def board(**values):
    return build_network(parse_netlist(BOARD.format(**({"L1": "1.8mH", "C1": "10uF", "R1": "2.2"} | values))))


@pytest.mark.parametrize("value", ["4.7uF", "4u7", 4.7e-6])
def test_a_value_is_the_one_that_the_netlist_would_have(value):
    assert with_values(board(), {"C1": value}) == board(C1="4.7uF")
    assert with_values(board(), {"c1": value, "R1": 4.0, "L1": "2mH"}) == board(C1="4.7uF", R1="4", L1="2mH")


def test_losses_have_names_of_their_own():
    network = with_values(board(), {"L1_dcr": 0.4, "C1_df": "6%"})
    assert (network.part("L1").dcr_ohm, network.part("L1").henry) == (0.4, 1.8e-3)
    assert (network.part("C1").dissipation_factor, network.part("C1").esr_ohm) == (0.06, 0.0)


def test_a_part_comes_before_a_loss_of_its_name():
    network = with_values(board(), {"C1_esr": "3uF"})
    assert network.part("C1_esr").farad == 3e-6
    assert network.part("C1").esr_ohm == 0.0


def test_the_network_itself_stays_as_it_is():
    network = board()
    with_values(network, {"C1": 4.7e-6})
    assert network == board()


@pytest.mark.parametrize(
    ("name", "value", "words"),
    [
        ("C9", 1e-6, "no part C9"),
        ("C1", "10mF", "microfarad"),
        ("C1", "10mH", "inductance"),
        ("C1", 10.0, "in SI units"),
        ("C1", 0.0, "in SI units"),
        ("C1", math.nan, "in SI units"),
        ("R1", -1.0, "in SI units"),
        ("R1_dcr", 1.0, "has no loss 'dcr'; its losses are: none"),
        ("L1_esr", 1.0, "L1_dcr"),
        ("L1_dcr", -0.1, "give 0 to"),
        ("L1_dcr", math.nan, "give 0 to"),
        ("C1_df", "much", "C1_df"),
        ("C1_df", 11.0, "give 0 to 10"),
    ],
)
def test_a_fault_names_the_part(name, value, words):
    with pytest.raises(OptionError, match=words):
        with_values(board(), {name: value})
