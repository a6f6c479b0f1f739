"""What must hold for every network, whatever its parts: energy, reciprocity, scaling, one answer by every route.

Sources: Tellegen 1952 (energy), Bode 1945 (scaling), from memory; each statement was also derived on its own.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from random import Random

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from random_networks import Complex, RandomNetwork, Real, random_network

from xover.files.netlist import parse_netlist, read_netlist
from xover.network import Capacitor, Inductor, Solution, build_network, solve
from xover.quantity import computed_value

CIRCUITS = sorted((Path(__file__).resolve().parents[2] / "circuits").glob("*.cir"))
FREQUENCY = np.geomspace(100.0, 20000.0, 13)

networks = st.randoms(use_true_random=False).map(random_network)
factors = st.sampled_from([0.25, 0.6, 1.5, 4.0])


def solved(network: RandomNetwork, frequency_hz: Real = FREQUENCY, *, by_section: bool = True) -> Solution:
    """Solve with the network's own drivers, and see that the answer is alive: comparisons of zeros prove nothing."""
    built = build_network(parse_netlist(network.text()))
    solution = solve(built, frequency_hz, dict(network.impedances(frequency_hz)), by_section=by_section)
    assert np.all(np.abs(solution.drive["woofer"]) > 0)
    assert np.all(solution.impedance_ohm["in"].real > 0)
    return solution


def heat(solution: Solution, z: Mapping[str, Complex], resistance_ohm: Mapping[str, Real]) -> Real:
    """Watts at one volt that parts (by their resistance) and drivers turn into heat."""
    total = np.zeros(solution.frequency_hz.shape)
    for name, ohm in resistance_ohm.items():
        total += np.abs(solution.current(name)) ** 2 * ohm
    for card in solution.network.drivers:
        total += np.abs(solution.drive[card.key]) ** 2 * np.real(1 / z[card.driver])
    return total


def power_drawn_is_power_dissipated(network: RandomNetwork, solution: Solution) -> None:
    """To 1e-9 of what flows to and fro: beside a lossless coil across the amplifier the watts are rounding."""
    resistance = {part.name: part.resistance_ohm(FREQUENCY) for part in network.parts}
    drawn = 1 / solution.impedance_ohm["in"]
    assert np.all(np.abs(heat(solution, network.impedances(FREQUENCY), resistance) - drawn.real) < 1e-9 * np.abs(drawn))


@pytest.mark.parametrize("path", CIRCUITS, ids=[path.stem for path in CIRCUITS])
def test_power_in_the_ready_circuits(path: Path) -> None:
    """To 1e-9 of the watts themselves, at every frequency; the drivers are invented."""
    network = build_network(read_netlist(path))
    w = 2 * np.pi * FREQUENCY
    z = {
        name: re + 1j * w * le + 1 / (1 / 30.0 + 1j * (w / (40 * fs) - fs / w))
        for name, re, le, fs in (
            ("woofer", 6.2, 7e-4, 300),
            ("mid", 6.8, 3e-4, 900),
            ("tweeter", 5.4, 5e-5, 6e3),
            ("horn", 6.5, 1e-4, 3e3),
        )
    }
    solution = solve(network, FREQUENCY, z)
    resistance: dict[str, Real] = {}
    for part in network.parts:
        if isinstance(part, Capacitor):
            resistance[part.name] = part.esr_ohm + part.dissipation_factor / (w * part.farad)
        else:
            resistance[part.name] = np.full(w.shape, part.dcr_ohm if isinstance(part, Inductor) else part.ohm)
    drawn = sum(np.real(1 / load) for load in solution.impedance_ohm.values())
    np.testing.assert_allclose(heat(solution, z, resistance), drawn, rtol=1e-9)


def complex_power_balances(network: RandomNetwork, solution: Solution) -> None:
    """Tellegen: the channel's V I* is the sum of all parts' and drivers' V I*, reactive power and coupling included."""
    absorbed = np.zeros(FREQUENCY.shape, dtype=complex)
    for part in network.parts:
        absorbed += solution.voltage(part.name) * np.conj(solution.current(part.name))
    for name, z in network.impedances(FREQUENCY).items():
        absorbed += solution.drive[name] * np.conj(solution.drive[name] / z)
    np.testing.assert_allclose(absorbed, np.conj(1 / solution.impedance_ohm["in"]), rtol=1e-9)


def load_is_passive(network: RandomNetwork, solution: Solution) -> None:
    """The load takes power at every frequency, and at least what both drivers get."""
    z = solution.impedance_ohm["in"]
    assert np.all(np.isfinite(z))
    assert np.all(z.real > 0)
    delivered = sum(
        np.abs(solution.drive[name]) ** 2 * np.real(1 / z) for name, z in network.impedances(FREQUENCY).items()
    )
    assert np.all(np.real(1 / z) >= delivered * (1 - 1e-9))


def currents_leave_no_rest_at_any_node(network: RandomNetwork, solution: Solution) -> None:
    """Kirchhoff's current law from the outside: what the solver reports for parts and drivers adds up to zero."""
    rest: dict[str, np.ndarray] = {}
    size = np.zeros(FREQUENCY.shape)

    def flow(plus: str, minus: str, current: np.ndarray) -> None:
        nonlocal size
        rest[plus] = rest.get(plus, 0) - current
        rest[minus] = rest.get(minus, 0) + current
        size = np.maximum(size, np.abs(current))

    for part in network.parts:
        flow(part.plus, part.minus, solution.current(part.name))
    for driver in network.drivers:
        flow(driver.plus, driver.minus, solution.drive[driver.name] / driver.impedance_ohm(FREQUENCY))
    flow("0", "in", 1 / solution.impedance_ohm["in"])
    assert np.all(size > 0)
    for node, total in rest.items():
        assert np.all(np.abs(total) < 1e-9 * size), node


def part_voltage_is_its_impedance_times_its_current(network: RandomNetwork, solution: Solution) -> None:
    """Ohm's law for every part that is not coupled, losses included."""
    coupled = {name for a, b, _ in network.couplings for name in (a, b)}
    jw = 2j * np.pi * FREQUENCY
    for part in network.parts:
        if part.name in coupled:
            continue
        own = part.resistance_ohm(FREQUENCY) + 0j
        if part.letter == "L":
            own += jw * part.value
        elif part.letter == "C":
            own += 1 / (jw * part.value)
        expected = own * solution.current(part.name)
        # Where a part bridges two nodes of one potential, both sides are rounding noise of a 1 V problem.
        np.testing.assert_allclose(solution.voltage(part.name), expected, rtol=1e-8, atol=1e-12)


def impedance_scaling(network: RandomNetwork, plain: Solution, k: float) -> None:
    z = {name: k * value for name, value in network.impedances(FREQUENCY).items()}
    scaled = solve(build_network(parse_netlist(network.impedance_scaled(k).text())), FREQUENCY, z)
    np.testing.assert_allclose(scaled.impedance_ohm["in"], k * plain.impedance_ohm["in"], rtol=1e-8)
    for name, drive in plain.drive.items():
        np.testing.assert_allclose(scaled.drive[name], drive, rtol=1e-8, atol=1e-12)


def frequency_scaling(network: RandomNetwork, plain: Solution, k: float) -> None:
    z = dict(network.impedances(FREQUENCY))
    scaled = solve(build_network(parse_netlist(network.frequency_scaled(k).text())), k * FREQUENCY, z)
    np.testing.assert_allclose(scaled.impedance_ohm["in"], plain.impedance_ohm["in"], rtol=1e-8)
    for name, drive in plain.drive.items():
        np.testing.assert_allclose(scaled.drive[name], drive, rtol=1e-8, atol=1e-12)


def sections_give_what_the_whole_gives(network: RandomNetwork, apart: Solution) -> None:
    whole = solved(network, by_section=False)
    np.testing.assert_allclose(apart.impedance_ohm["in"], whole.impedance_ohm["in"], rtol=1e-9)
    assert set(apart.drive) == {"woofer", "tweeter"}
    for name, drive in whole.drive.items():
        np.testing.assert_allclose(apart.drive[name], drive, rtol=1e-9, atol=1e-12)
    for part in network.parts:
        np.testing.assert_allclose(apart.current(part.name), whole.current(part.name), rtol=1e-8, atol=1e-12)


def batch_of_candidates_is_each_candidate_alone(network: RandomNetwork, which: int) -> None:
    movable = [part for part in network.parts if part.value > 0]
    part = movable[which % len(movable)]
    candidates = part.value * np.array([0.5, 1.0, 1.7])
    built = build_network(parse_netlist(network.text()))
    z = dict(network.impedances(FREQUENCY))
    batch = solve(built, FREQUENCY, z, values={part.name: candidates})
    assert batch.drive["woofer"].shape == (3, FREQUENCY.size)
    assert batch.impedance_ohm["in"].shape == (3, FREQUENCY.size)
    for row, value in enumerate(candidates):
        card = part.card()
        changed = network.text().replace(
            card, card.replace(computed_value(part.value), computed_value(float(value)), 1)
        )
        alone = solve(build_network(parse_netlist(changed)), FREQUENCY, z)
        np.testing.assert_allclose(batch.impedance_ohm["in"][row], alone.impedance_ohm["in"], rtol=1e-9)
        for name in ("woofer", "tweeter"):
            np.testing.assert_allclose(batch.drive[name][row], alone.drive[name], rtol=1e-9, atol=1e-12)


def polarity_flip_is_a_sign(network: RandomNetwork, plain: Solution) -> None:
    low = network.drivers[0]
    card = f"{low.card_name} {low.plus} {low.minus} {low.name}"
    flipped = network.text().replace(card, f"{low.card_name} {low.minus} {low.plus} {low.name}")
    z = dict(network.impedances(FREQUENCY))
    turned = solve(build_network(parse_netlist(flipped)), FREQUENCY, z)
    np.testing.assert_allclose(turned.drive["woofer"], -plain.drive["woofer"], rtol=1e-9, atol=1e-12)
    np.testing.assert_allclose(turned.drive["tweeter"], plain.drive["tweeter"], rtol=1e-9, atol=1e-12)
    np.testing.assert_allclose(turned.impedance_ohm["in"], plain.impedance_ohm["in"], rtol=1e-9)


def reciprocity(network: RandomNetwork, which: int) -> None:
    """1 V in one port drives in the other, through 1 ohm, the current that it would drive the other way round."""
    inner = sorted({n for part in network.parts for n in (part.plus, part.minus)} - {"in", "0"})
    port = inner[which % len(inner)]
    z = dict(network.impedances(FREQUENCY))

    def current(name: str, *cards: str) -> np.ndarray:
        solution = solve(build_network(parse_netlist(network.text(*cards))), FREQUENCY, z)
        # The driven port draws what its load says; the far one may get nothing where the network keeps it apart.
        driven = {"R98": "R99", "R99": "R98"}[name]
        np.testing.assert_allclose(solution.current(driven), 1 / solution.impedance_ohm["port"], rtol=1e-9)
        return solution.current(name)

    there = current("R99", "Vport s 0", "R98 s in 1", f"R99 {port} 0 1")
    back = current("R98", "Vport s 0", f"R99 s {port} 1", "R98 in 0 1")
    np.testing.assert_allclose(there, back, rtol=1e-8, atol=1e-13)


# Drawing a network takes far longer than solving it, so each one that is drawn is held to several statements.


@given(networks)
@settings(max_examples=120)
def test_energy_and_the_laws_of_kirchhoff_and_ohm(network: RandomNetwork) -> None:
    solution = solved(network)
    power_drawn_is_power_dissipated(network, solution)
    complex_power_balances(network, solution)
    load_is_passive(network, solution)
    currents_leave_no_rest_at_any_node(network, solution)
    part_voltage_is_its_impedance_times_its_current(network, solution)


@given(networks, factors, st.integers(min_value=0, max_value=3))
@settings(max_examples=120)
def test_scaling_polarity_and_reciprocity(network: RandomNetwork, k: float, which: int) -> None:
    plain = solved(network)
    impedance_scaling(network, plain, k)
    frequency_scaling(network, plain, k)
    polarity_flip_is_a_sign(network, plain)
    reciprocity(network, which)


@given(networks, st.integers(min_value=0, max_value=11))
@settings(max_examples=120)
def test_one_answer_by_every_route(network: RandomNetwork, which: int) -> None:
    sections_give_what_the_whole_gives(network, solved(network))
    batch_of_candidates_is_each_candidate_alone(network, which)


def test_the_ready_circuits_are_there() -> None:
    assert len(CIRCUITS) >= 12


def test_the_stock_of_random_networks_covers_what_it_promises() -> None:
    """The properties above would say little if no network had a coupling, a zero-ohm link or a reversed driver."""
    stock = [random_network(Random(k)) for k in range(300)]
    sizes = {len(network.parts) for network in stock}
    assert sizes == set(range(3, 13))
    assert sum(bool(network.couplings) for network in stock) > 50
    assert sum(any(part.value == 0 for part in network.parts) for network in stock) > 50
    assert sum(any(part.df for part in network.parts) for network in stock) > 50
    assert sum(any(d.plus == "0" for d in network.drivers) for network in stock) > 50
    assert len({network.text() for network in stock}) == 300


@pytest.mark.parametrize("number", range(5))
def test_repeatable(number: int) -> None:
    assert random_network(Random(number)).text() == random_network(Random(number)).text()
