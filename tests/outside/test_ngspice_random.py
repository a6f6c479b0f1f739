"""Random networks against ngspice: topologies that nobody would build, with coupled coils and zero-ohm links."""

from __future__ import annotations

import math
from random import Random

import numpy as np
import pytest
from ngspice_judge import LumpedDriver, ac, to_ngspice
from random_networks import Driver, random_network

from xover.files.netlist import parse_netlist
from xover.network import build_network, solve

BAND = np.geomspace(30.0, 20000.0, 11)


def as_lumped(driver: Driver) -> LumpedDriver:
    ws = 2 * math.pi * driver.fs_hz
    capacitance = driver.q / (ws * driver.res_ohm)
    return LumpedDriver(driver.re_ohm, driver.le_h, driver.res_ohm, 1 / (ws * ws * capacitance), capacitance)


# ngspice needs an operating point first: every coil has its DCR, and numbers 0 and 7, where a node hangs on
# capacitors alone and ngspice gives up, are not drawn.
NUMBERS = [number for number in range(26) if number not in (0, 7)]


@pytest.mark.parametrize("number", NUMBERS)
def test_random_network_agrees_with_ngspice(number: int) -> None:
    network = random_network(Random(number), lossless=False)
    built = build_network(parse_netlist(network.text()))
    deck = to_ngspice(built, {driver.name: as_lumped(driver) for driver in network.drivers})
    load = deck.current["in"]
    judged = ac(deck.cards, BAND, [*deck.drive.values(), load])
    solution = solve(built, BAND, dict(network.impedances(BAND)))
    np.testing.assert_allclose(solution.impedance_ohm["in"], 1 / judged[load], rtol=1e-6)
    for name, expression in deck.drive.items():
        # A tweeter where no current flows has no voltage but rounding.
        np.testing.assert_allclose(solution.drive[name], judged[expression], rtol=1e-6, atol=1e-12)
    assert np.all(np.abs(judged[deck.drive["woofer"]]) > 1e-9)
