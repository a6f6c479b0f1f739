"""Compiled closed forms against the numeric solve, candidate by candidate, and their own statement of error."""

from __future__ import annotations

from random import Random

import numpy as np
import pytest
from symbolic_cases import (
    CIRCUITS,
    FREQUENCY,
    all_measured_like,
    circuit,
    difference,
    letters,
    network_of,
    random_pair,
    slow_value,
)

from xover.errors import NoSolutionError, OptionError
from xover.network import Capacitor, Inductor, Network, Resistor, solve
from xover.network.closed_form import compile_closed_form
from xover.network.symbolic import solve_symbolic

TWO_WAY = """* Invented
L1  in w  1mH    dcr=0.3
C1  w  0  10uF   esr=0.1 df=0.04
Xlow w 0  woofer
C2  in t  4.7uF
L2  t  0  0.4mH  dcr=0.2
R1  t  p  2.2
R0  p  q  0
Xhigh 0 q tweeter
"""


def own_values(network: Network) -> dict[str, float]:
    """Every value that may vary, under the name that `solve` has for it."""
    found: dict[str, float] = {}
    for part in network.parts:
        if isinstance(part, Resistor):
            found[part.name] = part.ohm
        elif isinstance(part, Inductor):
            found |= {part.name: part.henry, f"{part.name}_dcr": part.dcr_ohm}
        elif isinstance(part, Capacitor):
            found |= {
                part.name: part.farad,
                f"{part.name}_esr": part.esr_ohm,
                f"{part.name}_df": part.dissipation_factor,
            }
    return found | {c.name: c.k for c in network.couplings}


def candidates(network: Network, names: list[str], count: int, seed: int) -> dict[str, np.ndarray]:
    """Up to 30 % round each value; a loss of zero up to half an ohm or 0.05; a coupling that stays below 1."""
    generator = np.random.default_rng(seed)
    own = own_values(network)
    found = {}
    for name in names:
        if name.startswith("K"):
            found[name] = generator.uniform(-0.5, 0.5, count)
        elif own[name]:
            found[name] = own[name] * generator.uniform(0.7, 1.3, count)
        else:
            found[name] = generator.uniform(0, 0.05 if name.endswith("_df") else 0.5, count)
    return found


def agrees(network: Network, names: list[str], count: int = 7, seed: int = 1) -> float:
    """Largest relative difference to `solve` over drives, loads and all parts' currents."""
    impedance = all_measured_like(network)
    values = candidates(network, names, count, seed)
    form = compile_closed_form(network, FREQUENCY, impedance, names)
    found, wanted = form.at(values), solve(network, FREQUENCY, impedance, values)
    assert list(found.drive) == list(wanted.drive)
    assert list(found.impedance_ohm) == list(wanted.impedance_ohm)
    differences = [difference(found.drive[key], wanted.drive[key]) for key in wanted.drive]
    differences += [difference(found.impedance_ohm[c], wanted.impedance_ohm[c]) for c in wanted.impedance_ohm]
    for part in network.parts:
        differences.append(difference(form.current(part.name, values), wanted.current(part.name)))
    assert all(x.shape == (count, FREQUENCY.size) for x in (*found.drive.values(), *found.impedance_ohm.values()))
    return max(differences)


@pytest.mark.parametrize(
    "names",
    [
        ["C1"],
        ["L1", "C1", "R1"],
        ["C2", "L2", "R1"],
        ["L1_dcr", "C1_esr", "C1_df"],
        ["C1", "C1_df", "C1_esr"],
        ["C2_esr", "C2_df", "L2_dcr"],
        ["R0", "R1"],
        ["R0", "C2", "L1", "C1", "L2", "R1"],
    ],
    ids="+".join,
)
def test_candidates_agree_with_the_solve(names):
    assert agrees(network_of(TWO_WAY), names) < 1e-9


@pytest.mark.parametrize(
    "names", [["K1"], ["L1"], ["K1", "L2"], ["L1", "L2", "K1", "R1"], ["L2_dcr", "K1"]], ids="+".join
)
def test_coupled_coils_may_vary(names):
    text = "* Invented\nL1 in a 1mH dcr=0.3\nR1 a 0 4\nL2 b 0 0.5mH dcr=0.1\nXlow b 0 woofer\nK1 L1 L2 0.4\n"
    assert agrees(network_of(text), names) < 1e-9


def test_perfect_coupling_may_be_reached():
    network = network_of("* Invented\nC1 in a 6uF\nL1 a b 20mH\nL2 b 0 20mH\nK1 L1 L2 0.9\nXlow b 0 woofer\n")
    impedance = all_measured_like(network)
    found = compile_closed_form(network, FREQUENCY, impedance, ["K1"]).at({"K1": [0.9, 1.0]})
    wanted = solve(network, FREQUENCY, impedance, {"K1": np.array([0.9, 1.0])})
    assert difference(found.drive["woofer"], wanted.drive["woofer"]) < 1e-9


def test_several_channels():
    network = network_of(
        "* Invented\nVbass lo 0\nVtreble hi 0\nR1 lo t 3\nC2 hi t 22uF\nXhigh t 0 tweeter\nR2 lo 0 9\n"
    )
    assert agrees(network, ["R1", "C2"]) < 1e-9
    assert agrees(network, ["R2"]) < 1e-9


@pytest.mark.parametrize("path", CIRCUITS, ids=[p.stem for p in CIRCUITS])
def test_every_circuit_with_three_values_varied(path):
    network = circuit(path)
    names = Random(path.stem).sample(sorted(own_values(network)), min(3, len(own_values(network))))
    assert agrees(network, names) < 1e-9


@pytest.mark.parametrize("start", range(0, 60, 20))
def test_random_networks_with_one_to_four_values_varied(start):
    for seed in range(start, start + 20):
        network, _ = random_pair(seed)
        random = Random(seed)
        # An element in a ring of links may not become a link itself: resistors of 0 ohm stay as they are.
        known = sorted(k for k, v in own_values(network).items() if v or not k.startswith("R"))
        names = random.sample(known, random.randint(1, 4))
        assert agrees(network, names, count=3, seed=seed) < 1e-9, (seed, names)


def test_the_comparison_can_fail():
    network = network_of(TWO_WAY)
    impedance = all_measured_like(network)
    found = compile_closed_form(network, FREQUENCY, impedance, ["C1"]).at({"C1": 10e-6 * (1 + 1e-7)})
    wanted = solve(network, FREQUENCY, impedance)
    assert difference(found.drive["woofer"][0], wanted.drive["woofer"]) > 1e-9


def test_order_of_the_values_does_not_matter():
    network = network_of(TWO_WAY)
    form = compile_closed_form(network, FREQUENCY, all_measured_like(network), ["L1", "C1"])
    one = form.at({"L1": [1e-3, 2e-3], "C1": 5e-6}).drive["woofer"]
    other = form.at({"C1": 5e-6, "L1": [1e-3, 2e-3]}).drive["woofer"]
    np.testing.assert_array_equal(one, other)
    assert difference(one[0], one[1]) > 0.1


def test_many_candidates_go_through_in_pieces():
    """The pieces in which candidates are worked on leave no trace."""
    network = network_of(TWO_WAY)
    form = compile_closed_form(network, FREQUENCY, all_measured_like(network), ["L1", "C1", "C2"])
    values = candidates(network, ["L1", "C1", "C2"], 5000, 3)
    whole = form.at(values)
    for k in (0, 1234, 4999):
        alone = form.at({name: v[k] for name, v in values.items()})
        for key in whole.drive:
            np.testing.assert_allclose(whole.drive[key][k], alone.drive[key][0], rtol=1e-13)
        np.testing.assert_allclose(whole.impedance_ohm["in"][k], alone.impedance_ohm["in"][0], rtol=1e-13)


def test_loads_may_be_left_out():
    network = network_of(TWO_WAY)
    form = compile_closed_form(network, FREQUENCY, all_measured_like(network), ["L1"])
    assert dict(form.at({"L1": 1e-3}, loads=False).impedance_ohm) == {}


@pytest.mark.parametrize("seed", [5, 11, 27, 65, 88, 104, 151, 190])
def test_stated_error_holds_against_60_digits(seed):
    """The bound is kept, and is no more than is useful: at most 1e-9 wherever the error may be judged."""
    network, _ = random_pair(seed)
    impedance = all_measured_like(network)
    own = own_values(network)
    names = sorted(k for k, v in own.items() if v and not k.startswith("K"))[:3]
    form = compile_closed_form(network, FREQUENCY, impedance, names)
    values = {name: own[name] * 1.25 for name in names}
    solution = solve_symbolic(network)
    symbolic = letters(network, impedance, solution) | values
    judged = 0
    for key, rational in solution.drive.items():
        if not rational.numerator:
            continue
        got, bound = form.at(values).drive[key][0], form.error_bound(key, values)[0]
        for n in (0, 14, 30):
            exact = slow_value(rational, 2j * np.pi * FREQUENCY[n], symbolic, n)
            error = abs(got[n] / exact - 1)
            assert error <= bound[n]
            assert bound[n] < 1e-9
            judged += 1
    assert judged >= 3


def test_stated_error_rises_where_terms_cancel():
    """Beside a lossless resonance the voltage is a small difference of large terms."""
    network = network_of("* Invented\nL1 in a 1mH\nC1 a w 10uF\nXlow w 0 woofer\n")
    resonance = 1 / (2 * np.pi * np.sqrt(1e-3 * 10e-6))
    f = resonance * np.array([0.5, 1 + 1e-12])
    form = compile_closed_form(network, f, {"woofer": np.full(2, 1e-9)}, ["C1"])
    far, near = form.error_bound("woofer", {"C1": 10e-6})[0]
    assert 1e-15 < far < 1e-12
    assert near > 1e6 * far


def test_unknown_impedance_stays_unknown_in_its_section():
    network = network_of(TWO_WAY)
    impedance = all_measured_like(network)
    impedance["woofer"] = np.where(FREQUENCY < 100, np.nan, impedance["woofer"])
    found = compile_closed_form(network, FREQUENCY, impedance, ["C1", "C2"]).at({"C1": [9e-6, 8e-6], "C2": 5e-6})
    np.testing.assert_array_equal(np.isnan(found.drive["woofer"]), np.tile(FREQUENCY < 100, (2, 1)))
    assert np.isfinite(found.drive["tweeter"]).all()
    np.testing.assert_array_equal(np.isnan(found.impedance_ohm["in"]), np.tile(FREQUENCY < 100, (2, 1)))


def test_singular_candidate_is_nan():
    """A coil and a capacitor without losses across the amplifier, at w = 1 and L C = 1 in floats that hold it."""
    network = network_of("* Invented\nL1 in a 0.0009765625\nC1 a 0 1uF\nXlow in 0 woofer\n")
    f = np.array([1 / (2 * np.pi), 1.0])
    assert 2 * np.pi * f[0] == 1.0
    form = compile_closed_form(network, f, {"woofer": np.full(2, 8.0)}, ["C1"])
    current = form.current("L1", {"C1": [1024.0, 512.0]})
    assert np.isnan(current).tolist() == [[True, False], [False, False]]
    s = 2j * np.pi
    assert current[1, 1] == pytest.approx(1 / (s / 1024.0 + 1 / (s * 512.0)), rel=1e-12)


def test_faults_are_named():
    network = network_of(TWO_WAY)
    impedance = all_measured_like(network)
    with pytest.raises(OptionError, match="no value L9 in the network"):
        compile_closed_form(network, FREQUENCY, impedance, ["L9"])
    with pytest.raises(OptionError, match="nothing is varied"):
        compile_closed_form(network, FREQUENCY, impedance, [])
    with pytest.raises(OptionError, match="driver tweeter has no impedance"):
        compile_closed_form(network, FREQUENCY, {"woofer": impedance["woofer"]}, ["L1"])
    form = compile_closed_form(network, FREQUENCY, impedance, ["L1", "C1"])
    with pytest.raises(OptionError, match="C1 is not the same"):
        form.at({"L1": 1e-3})
    with pytest.raises(OptionError, match="R1 is not the same"):
        form.at({"L1": 1e-3, "C1": 1e-6, "R1": 3.0})
    with pytest.raises(OptionError, match="differ in number"):
        form.at({"L1": [1e-3, 2e-3], "C1": [1e-6, 2e-6, 3e-6]})
    with pytest.raises(OptionError, match="no part R7"):
        form.current("R7", {"L1": 1e-3, "C1": 1e-6})
    shorted = Network(
        network.title, (*network.parts, Resistor("R9", "in", "0", 0.0)), network.drivers, network.channels
    )
    with pytest.raises(NoSolutionError):
        compile_closed_form(shorted, FREQUENCY, impedance, ["L1"])
