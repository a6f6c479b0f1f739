"""One part left open, and two coils coupled: against arithmetic by hand and against the ordinary solve of the same."""

from dataclasses import replace
from random import Random

import numpy as np
import pytest
from random_networks import random_network

from xover.errors import OptionError
from xover.files.netlist import parse_netlist
from xover.network import build_network, find_sections, solve
from xover.network.open_impedance import couple_pair, open_part, series_volt
from xover.network.parts import Coupling
from xover.network.tagged_equations import equations

F = np.geomspace(30.0, 15_000.0, 13)
TEXT = "L1 in w 1mH dcr=0.3\nC1 w 0 10uF df=0.05\nXd w 0 woofer\nC2 in t 4.7uF\nL2 t 0 0.4mH dcr=0.2\nXt t 0 tweeter\n"
DRIVERS = {"woofer": np.full(F.size, 6 + 1j), "tweeter": np.full(F.size, 5 + 0.5j)}


def lowpass(shunt_ohm):
    """Drive of a driver behind L1 with a shunt beside it, by the voltage divider."""
    return 1.0 / (1.0 + (0.3 + 2j * np.pi * F * 1e-3) * (1 / shunt_ohm + 1 / DRIVERS["woofer"]))


def test_a_shunt_of_any_impedance_divides_the_voltage():
    network = build_network(parse_netlist(TEXT))
    shunts = np.array([4.0, 30.0])[:, None] + 1 / (2j * np.pi * F * np.array([[3e-6], [22e-6]]))
    opened = open_part(solve(network, F, DRIVERS), "C1")
    assert list(opened.drive) == ["woofer"], "the tweeter stands in another section"
    power = opened.power(shunts)["woofer"]
    assert power.shape == (1, 2, F.size)
    np.testing.assert_allclose(power[0], np.abs([lowpass(z) for z in shunts]) ** 2, rtol=1e-12)


@pytest.mark.parametrize("seed", [0, 1, 2, 3, 5, 6, 7, 8, 9, 10, 11, 12])  # 4 has one usable part
def test_an_open_part_gives_what_the_solve_gives_for_each_value(seed):
    """Candidates of another part beside, coupled coils, resistors in current form: as the random networks have them."""
    drawn = random_network(Random(seed))
    network = build_network(parse_netlist(drawn.text()))
    z = drawn.impedances(F)
    heard = {name for s in find_sections(network) if s.reaches_driver for name in s.elements}
    usable = [p for p in network.parts if p.name in heard and np.all(np.abs(p.impedance_ohm(2 * np.pi * F)) > 0)]
    part, other = usable[seed % len(usable)], usable[(seed + 1) % len(usable)]
    own, beside = (p.impedance_ohm(2 * np.pi * F) for p in (part, other))
    factors = np.array([[0.5], [1.3], [4.0 + 0.3j]])
    opened = open_part(solve(network, F, z, impedance_ohm={other.name: beside * factors[:2]}), part.name)
    power = opened.power(own * factors, slice(1, 2))
    assert power
    for column in range(3):
        there = solve(network, F, z, impedance_ohm={part.name: own * factors[column], other.name: beside * factors[1]})
        for key, found in power.items():
            np.testing.assert_allclose(found[0, column], np.abs(there.drive[key]) ** 2, rtol=1e-7, atol=1e-14)


def test_what_is_not_known_spoils_no_other_row():
    network = build_network(parse_netlist(TEXT))
    gap = {**DRIVERS, "woofer": np.where(F < 100.0, np.nan, DRIVERS["woofer"])}
    power = open_part(solve(network, F, gap), "L1").power(np.array([[2.0 + 0j]] * 2) * np.ones(F.size))["woofer"]
    assert np.isnan(power[..., F < 100.0]).all()
    shunt = 1 / network.part("C1").impedance_ohm(2 * np.pi * F) + 1 / DRIVERS["woofer"]
    expected = np.abs(1 / (1 + 2.0 * shunt)) ** 2
    np.testing.assert_allclose(power[0, 1, F >= 100.0], expected[F >= 100.0], rtol=1e-12)


def test_one_volt_in_series_drives_a_current_round_the_loop():
    """Two resistors and a driver in a ring by hand: 1 V over all that stands in the loop."""
    network = build_network(parse_netlist("R1 in a 2\nR2 a b 3\nXd b 0 woofer\n"))
    (block,) = solve(network, F, DRIVERS).blocks
    volts, amps = series_volt(block, ["R2"], ["Xd"], ["R1", "R2"])
    loop = 1.0 / (5.0 + DRIVERS["woofer"])
    np.testing.assert_allclose(amps[0, :, 0], [loop, loop], rtol=1e-13)
    np.testing.assert_allclose(volts[0, 0, 0], loop * DRIVERS["woofer"], rtol=1e-13)


@pytest.mark.parametrize("text", [TEXT, TEXT.replace("L2 t 0", "L2 t w"), TEXT.replace("C2 in", "L3 in y 1mH\nC2 y")])
@pytest.mark.parametrize("k", [0.4, -0.07])
def test_a_coupled_pair_gives_what_a_k_card_gives(text, k):
    """Two coils of two sections, and of one: the same network with a K card, solved anew."""
    network = build_network(parse_netlist(text))
    mutual = k * 2j * np.pi * F * np.sqrt(1e-3 * 0.4e-3)
    found = couple_pair(solve(network, F, DRIVERS), "L1", "L2").drives(np.stack([0.0 * mutual, mutual]))
    coupled = replace(network, couplings=(Coupling("K1", "L1", "L2", k),))
    still, there = solve(network, F, DRIVERS).drive, solve(coupled, F, DRIVERS).drive
    for key in ("woofer", "tweeter"):
        np.testing.assert_allclose(found[key][0], still[key], rtol=1e-12)
        np.testing.assert_allclose(found[key][1], there[key], rtol=1e-10)
        assert np.abs(there[key] / still[key] - 1).max() > 1e-3, "the coupling does something"


def test_a_name_that_is_not_there_is_told():
    solution = solve(build_network(parse_netlist(TEXT)), F, DRIVERS)
    with pytest.raises(OptionError, match="no part R9"):
        open_part(solution, "R9")
    with pytest.raises(OptionError, match="no coil L9"):
        couple_pair(solution, "L1", "L9")


def test_the_equations_of_a_wiring_are_kept_whatever_the_values():
    network = build_network(parse_netlist(TEXT))
    other = build_network(parse_netlist(TEXT.replace("1mH", "3mH").replace("df=0.05", "esr=2")))
    rewired = build_network(parse_netlist(TEXT.replace("C1 w 0", "C1 w in")))
    assert [id(e) for e in equations(network)] == [id(e) for e in equations(other)]
    assert [e.voltage for e in equations(network)] != [e.voltage for e in equations(rewired)]
