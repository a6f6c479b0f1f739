"""Watts, volts and amperes of a two-way against currents that a general circuit simulator found."""

import numpy as np
import pytest
from ngspice_judge import ac, lumped, to_ngspice

from xover.amplifier.programme import programme_weights
from xover.amplifier.stress import read_stress
from xover.files.netlist import parse_netlist
from xover.network import build_network, solve

CARDS = """* invented
L1    in w   1.8mH  dcr=0.48
C1    w  0   8.4uF  esr=0.5
Xlow  w  0   woofer
C2    in t   6.1uF  esr=0.9
L2    t  0   0.33mH dcr=0.38
R1    t  p   6.4
R2    p  0   15
Xhigh 0  p   tweeter
"""
DRIVERS = {"woofer": lumped(5.6, 0.6e-3, 38.0, 3.5, 0.45), "tweeter": lumped(5.2, 0.03e-3, 1050.0, 2.2, 1.1)}
GRID = np.geomspace(25.0, 18_000.0, 25)


def test_stress_of_a_two_way():
    network = build_network(parse_netlist(CARDS))
    solution = solve(network, GRID, {name: d.impedance_ohm(GRID) for name, d in DRIVERS.items()})
    s = read_stress(solution, {"in": 7.75}, 4.0)
    deck = to_ngspice(network, DRIVERS)
    # Nodes are numbered in the order in which the cards name them: in n1, w n2, t n3, p n4.
    across = {"R1": "v(n3)-v(n4)", "R2": "v(n4)", "woofer": "v(n2)", "tweeter": "-v(n4)", "C2": "v(n1)-v(n3)"}
    through = {"L1": "i(l0)", "L2": "i(l3)"}
    seen = ac(deck.cards, GRID, [*across.values(), *through.values(), deck.current["in"]])
    weights = 7.75**2 * programme_weights(GRID)

    def mean_square(expression):
        return np.sum(weights * np.abs(seen[expression]) ** 2)

    assert s.of("R1").power_w == pytest.approx(mean_square(across["R1"]) / 6.4, rel=1e-6)
    assert s.of("R2").power_w == pytest.approx(mean_square(across["R2"]) / 15.0, rel=1e-6)
    for name in ("woofer", "tweeter"):
        admittance = 1 / DRIVERS[name].impedance_ohm(GRID)
        watts = np.sum(weights * np.abs(seen[across[name]]) ** 2 * admittance.real)
        assert s.of(name).power_w == pytest.approx(watts, rel=1e-6)
    for name, dcr in (("L1", 0.48), ("L2", 0.38)):
        assert s.of(name).power_w == pytest.approx(mean_square(through[name]) * dcr, rel=1e-6)
        peak = 4.0 * 7.75 * np.max(np.abs(seen[through[name]]))
        assert s.of(name).sine_current_peak_a == pytest.approx(peak, rel=1e-6)
    assert s.of("C2").voltage_rms_v == pytest.approx(np.sqrt(mean_square(across["C2"])), rel=1e-6)
    peak = 4.0 * 7.75 * np.max(np.abs(seen[across["C2"]]))
    assert s.of("C2").sine_voltage_peak_v == pytest.approx(peak, rel=1e-6)
    drawn = np.sum(weights * seen[deck.current["in"]].real)
    assert s.power_w == pytest.approx(drawn, rel=1e-6)
    assert drawn > 4.0
