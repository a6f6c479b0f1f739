"""Derivatives by the adjoint network: against arithmetic by hand, central differences, and identities that sum them.

The identities are those of scaling (Bode 1945, from memory) and of Cohn and Vratsanos (Vratsanos 1957, from
memory); each was also derived on its own. Central differences go through the solver alone, all parts at once.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from random import Random

import numpy as np
import pytest
from drive_slopes import drive_sensitivity
from hypothesis import given, settings
from hypothesis import strategies as st
from random_networks import RandomNetwork, random_network
from rounding import Doubt, rounding_of_difference

from xover.errors import OptionError
from xover.files.netlist import parse_netlist, read_netlist
from xover.network import Network, Solution, build_network, solve
from xover.network.adjoint import (
    Parameter,
    ParameterKind,
    drive_gradient,
    impedance_gradient,
    impedance_sensitivity,
    network_parameters,
)

CIRCUITS = sorted((Path(__file__).resolve().parents[2] / "circuits").glob("*.cir"))
F = np.geomspace(50.0, 20000.0, 17)
W = 2 * np.pi * F
# Differences over five points leave STEP^4/30 of the fifth derivative, and 1.5/STEP of what rounding does to a value:
# see rounding.py. The step is where the two are alike for a smooth effect.
STEP = 1e-4
WEIGHTS = {2: -1 / 12, 1: 2 / 3, -1: -2 / 3, -2: 1 / 12}


networks = st.randoms(use_true_random=False).map(random_network)


def lumped(re: float, le: float, res: float, fs: float, q: float, f: np.ndarray = F) -> np.ndarray:
    return re + 2j * np.pi * f * le + res / (1 + 1j * q * (f / fs - fs / f))


# Invented drivers.
DRIVERS = {
    "woofer": lumped(6.2, 0.7e-3, 25, 50, 4),
    "mid": lumped(6.8, 0.3e-3, 20, 300, 3),
    "tweeter": lumped(5.4, 0.05e-3, 8, 950, 2),
    "horn": lumped(6.5, 0.1e-3, 30, 420, 2),
}

TWO_CHANNELS = """* Two channels with a part between them, invented
Vbass   lo 0
Vtreble hi 0
L1 lo w  0.5mH dcr=0.2
Xlow w 0 woofer
R1 w x   4.7
C1 x t   2.2uF df=0.05
C2 hi t  22uF esr=0.1
Xhigh t 0 tweeter
"""
FLOATING = TWO_CHANNELS.replace("Vtreble hi 0", "Vr1 hi lift\nR7 lift 0 0.1").replace("R1 w", "r1 w")


def size_of(p: Parameter, z: dict) -> np.ndarray:
    """What a parameter is measured by: itself; 1 ohm or 1 at least, so that a loss of zero has a size too."""
    if p.kind is ParameterKind.DRIVER:
        return np.abs(z[p.part])
    if p.kind is ParameterKind.COUPLING:  # its results turn the faster the nearer it is to 1
        return np.full(F.shape, 1.0 - abs(p.value))
    return np.full(F.shape, p.value if p.kind in ("henry", "farad") else max(p.value, 1.0))


def differences(network: Network, z: dict, width: float = STEP) -> tuple[dict, dict]:
    """dH/dx and dZ/dx by differences; by driver or channel, then by parameter."""
    parameters = network_parameters(network)
    numbers = [p for p in parameters if p.value is not None]
    values = {p.name: np.full((len(numbers), 4), p.value) for p in numbers}
    step = {p.name: width * size_of(p, z)[0] for p in numbers}
    for row, name in enumerate(values):
        values[name][row] += step[name] * np.array([*WEIGHTS])
    varied = solve(network, F, z, {name: v.ravel() for name, v in values.items()})

    def slope(stack: np.ndarray) -> dict:
        change = np.einsum("pwn,w->pn", stack.reshape(len(numbers), 4, -1), [*WEIGHTS.values()])
        return {n: change[i] / h for i, (n, h) in enumerate(step.items())}

    drive = {key: slope(value) for key, value in varied.drive.items()}
    load = {key: slope(value) for key, value in varied.impedance_ohm.items()}
    for p in parameters:
        if p.kind is ParameterKind.DRIVER:
            h = width * size_of(p, z)
            runs = {w: solve(network, F, {**z, p.part: z[p.part] + s * h}) for s, w in WEIGHTS.items()}
            for key in drive:
                drive[key][p.name] = sum(w * run.drive[key] for w, run in runs.items()) / h
            for key in load:
                load[key][p.name] = sum(w * run.impedance_ohm[key] for w, run in runs.items()) / h
    return drive, load


def assert_same_gradients(
    network: Network, got: dict, wanted: dict, wider: dict, of: dict, doubt: dict, z: dict
) -> None:
    """To 1e-6 of each effect, or 1e-9 of the largest at that frequency, beside what the differences are unsure of.

    That is the rounding of the solves, worked out from them, and the truncation: differences with steps three times
    as wide tell that, near a resonance of lossless parts for one. Where the two agree, it adds nothing.
    """
    assert got.keys() == wanted.keys()
    for key in got:
        assert got[key].keys() == wanted[key].keys()
        effect = {p.name: size_of(p, z) * wanted[key][p.name] for p in network_parameters(network)}
        largest = np.max([*(np.abs(e) for e in effect.values()), np.abs(of[key])], axis=0)
        rounding = rounding_of_difference(doubt[key], WEIGHTS, STEP)
        for p in network_parameters(network):
            miss = np.abs(size_of(p, z) * got[key][p.name] - effect[p.name])
            truncation = size_of(p, z) * np.abs(wider[key][p.name] - wanted[key][p.name])
            allowed = 1e-6 * np.abs(effect[p.name]) + 1e-9 * largest + rounding + truncation
            assert np.all(miss <= allowed), (key, p.name, miss / allowed)
        # A driver that no current reaches has nothing to compare.
        assert np.all(largest > 1e-8) or np.max(np.abs(of[key])) < 1e-12


def check_against_differences(network: Network, z: dict) -> None:
    solution = solve(network, F, z)
    doubt = Doubt(solution)
    (drive, load), (drive_wider, load_wider) = differences(network, z), differences(network, z, 3 * STEP)
    assert_same_gradients(network, drive_gradient(solution), drive, drive_wider, solution.drive, doubt.drive(), z)
    assert_same_gradients(
        network, impedance_gradient(solution), load, load_wider, solution.impedance_ohm, doubt.load(), z
    )


def test_divider_by_hand() -> None:
    """H = Zd/(Za + Zd): dH/dZa = -Zd/(Za + Zd)^2, dH/dZd = Za/(Za + Zd)^2, load Za + Zd."""
    network = build_network(parse_netlist("* t\nC1 in t 4.7uF esr=0.3 df=0.05\nXhigh 0 t tweeter\n"))
    solution = solve(network, F, DRIVERS)
    zd, reactance = DRIVERS["tweeter"], 1 / (W * 4.7e-6)
    za = 0.3 + (0.05 - 1j) * reactance
    got = drive_gradient(solution)["tweeter"]
    towards = zd / (za + zd) ** 2  # the driver is reversed
    np.testing.assert_allclose(got["C1_esr"], towards, rtol=1e-12)
    np.testing.assert_allclose(got["C1_df"], towards * reactance, rtol=1e-12)
    np.testing.assert_allclose(got["C1"], towards * (1j - 0.05) * reactance / 4.7e-6, rtol=1e-12)
    np.testing.assert_allclose(got["Z_tweeter"], -za / (za + zd) ** 2, rtol=1e-12)
    relative = drive_sensitivity(solution)["tweeter"]
    np.testing.assert_allclose(relative["Z_tweeter"], za / (za + zd), rtol=1e-12)
    np.testing.assert_allclose(relative["C1_esr"], -0.3 / (za + zd), rtol=1e-12)
    load = impedance_gradient(solution)["in"]
    np.testing.assert_allclose(load["C1_esr"], 1.0, rtol=1e-12)
    np.testing.assert_allclose(load["Z_tweeter"], 1.0, rtol=1e-12)
    np.testing.assert_allclose(load["C1_df"], reactance, rtol=1e-12)
    np.testing.assert_allclose(impedance_sensitivity(solution)["in"]["Z_tweeter"], zd / (za + zd), rtol=1e-12)


def test_coupled_coils_by_hand() -> None:
    """Two coils in series: Za = jw (L1 + L2 + 2 k sqrt(L1 L2)), dots in line."""
    text = "* t\nL1 in a 1mH dcr=0.2\nL2 a w 0.4mH dcr=0.1\nK1 L1 L2 0.3\nXlow w 0 woofer\n"
    solution = solve(build_network(parse_netlist(text)), F, DRIVERS)
    zd, root = DRIVERS["woofer"], np.sqrt(1e-3 * 0.4e-3)
    za = 0.3 + 1j * W * (1.4e-3 + 0.6 * root)
    towards = -zd / (za + zd) ** 2
    got = drive_gradient(solution)["woofer"]
    np.testing.assert_allclose(got["K1"], towards * 2j * W * root, rtol=1e-10)
    np.testing.assert_allclose(got["L1"], towards * 1j * W * (1 + 0.3 * np.sqrt(0.4)), rtol=1e-10)
    np.testing.assert_allclose(got["L2"], towards * 1j * W * (1 + 0.3 / np.sqrt(0.4)), rtol=1e-10)
    np.testing.assert_allclose(got["L2_dcr"], towards, rtol=1e-10)
    np.testing.assert_allclose(impedance_gradient(solution)["in"]["K1"], 2j * W * root, rtol=1e-10)


@pytest.mark.parametrize("path", CIRCUITS, ids=[p.stem for p in CIRCUITS])
def test_ready_circuits_against_differences(path: Path) -> None:
    network = build_network(read_netlist(path))
    if any(c.k == 1 for c in network.couplings):  # a step beyond k = 1 has no physical meaning
        network = replace(network, couplings=tuple(replace(c, k=0.99) for c in network.couplings))
    check_against_differences(network, {name: DRIVERS[name] for name in network.driver_names})


@pytest.mark.parametrize("text", [TWO_CHANNELS, FLOATING], ids=["common", "floating"])
def test_channels_against_differences(text: str) -> None:
    check_against_differences(build_network(parse_netlist(text)), DRIVERS)


@pytest.mark.parametrize("seed", range(40))
def test_random_networks_against_differences(seed: int) -> None:
    """With losses: close to the resonance of lossless parts the differences themselves are off, not the derivatives."""
    network = random_network(Random(seed), lossless=False)
    check_against_differences(build_network(parse_netlist(network.text())), dict(network.impedances(F)))


def sums(sensitivity: dict, network: Network) -> tuple[np.ndarray, np.ndarray, dict]:
    """Sums over what scales with ohms, and over what scales with frequency; and the drivers' own."""
    by_kind = {kind: np.zeros(F.shape, dtype=complex) for kind in ParameterKind}
    for p in network_parameters(network):
        by_kind[p.kind] += sensitivity[p.name]
    ohms = sum(by_kind[k] for k in ("ohm", "henry", "dcr", "esr", "driver")) - by_kind["farad"]
    hertz = by_kind["henry"] + by_kind["farad"]
    return ohms, hertz, {p.part: sensitivity[p.name] for p in network_parameters(network) if p.kind == "driver"}


def alive(solution) -> dict:
    """The drives that are more than rounding."""
    return {key: value for key, value in solution.drive.items() if np.all(np.abs(value) > 1e-9)}


def check_scaling_of_impedance(network: Network, solution: Solution) -> float:
    """All ohms and henries doubled and all farads halved: the load doubles, the drives stay (10.5).

    Gives the largest sensitivity of a drive: what the sum that must vanish is made of.
    """
    found = drive_sensitivity(solution)
    largest = 0.0
    for key in alive(solution):
        size = max(np.max(np.abs(v)) for v in found[key].values())
        np.testing.assert_allclose(sums(found[key], network)[0], 0, atol=1e-9 * (1 + size))
        largest = max(largest, size)
    for channel in network.channels:
        load = impedance_sensitivity(solution)[channel.name]
        np.testing.assert_allclose(sums(load, network)[0], 1, rtol=1e-8)
    return largest


@pytest.mark.parametrize("path", CIRCUITS, ids=[p.stem for p in CIRCUITS])
def test_scaling_of_impedance_in_the_ready_circuits(path: Path) -> None:
    network = build_network(read_netlist(path))
    assert check_scaling_of_impedance(network, solve(network, F, DRIVERS)) > 0.5


def check_scaling_of_frequency(network: RandomNetwork, solution: Solution) -> None:
    """All henries and farads doubled: what was at f is at f/2, drivers apart (10.6)."""
    slopes, wider = (slopes_over_frequency(network, solution, width) for width in (STEP, 3 * STEP))
    found = {**drive_sensitivity(solution), "load": impedance_sensitivity(solution)["in"]}
    doubt = Doubt(solution)
    share = {key: doubt.drive()[key] / np.abs(solution.drive[key]) for key in alive(solution)}
    share["load"] = doubt.load()["in"] / np.abs(solution.impedance_ohm["in"])
    for key, off in share.items():
        _, hertz, drivers = sums(found[key], solution.network)
        total = hertz + sum(drivers[name] * turn for name, turn in slopes["z"].items())
        size = 1 + np.max([np.abs(v) for v in found[key].values()], axis=0)
        # The difference of a logarithm is unsure by the share that rounding has of its value; three times the step
        # leaves 81 times the truncation.
        rounding = rounding_of_difference(off, WEIGHTS, STEP)
        truncation = np.abs(wider[key] - slopes[key]) / 40
        allowed = 1e-6 * np.abs(slopes[key]) + 1e-9 * size + rounding + truncation
        miss = np.abs(total - slopes[key])
        assert np.all(miss <= allowed), (key, miss / allowed)


def slopes_over_frequency(network: RandomNetwork, solution: Solution, width: float) -> dict:
    """d ln/d ln f over five points, of the drives and the load by name, of the drivers' impedances under "z"."""
    shifts = {w: F * np.exp(w * width) for w in WEIGHTS}
    turned = {w: dict(network.impedances(f)) for w, f in shifts.items()}
    runs = {w: solve(solution.network, f, turned[w]) for w, f in shifts.items()}

    def slope_of(values: dict[int, np.ndarray]) -> np.ndarray:
        """Of ratios, so that no logarithm meets its cut."""
        return sum(WEIGHTS[w] * np.log(values[w] / values[-w]) for w in (1, 2)) / width

    slopes = {key: slope_of({w: run.drive[key] for w, run in runs.items()}) for key in alive(solution)}
    slopes["load"] = slope_of({w: run.impedance_ohm["in"] for w, run in runs.items()})
    slopes["z"] = {n: slope_of({w: z[n] for w, z in turned.items()}) for n in network.impedances(F)}
    return slopes


def check_vratsanos(network: RandomNetwork, solution: Solution) -> None:
    """The load is the sum of Z_k (I_k/I_in)^2 over all parts and drivers, coupling counted twice (10.8)."""
    built = solution.network
    z = dict(network.impedances(F))
    load, slope = solution.impedance_ohm["in"], impedance_gradient(solution)["in"]
    total = np.zeros(F.shape, dtype=complex)
    for part in built.parts:
        own = part.impedance_ohm(W)
        share = (solution.voltage(part.name) / 1.0) * solution.current(part.name) * load**2  # coupling included
        total += share
        # dZin/dZ_k for the part's own impedance, from what a series ohm does
        ohm = {"R": part.name, "L": f"{part.name}_dcr", "C": f"{part.name}_esr"}[part.name[0]]
        np.testing.assert_allclose(slope[ohm], (solution.current(part.name) * load) ** 2, rtol=1e-9, atol=1e-12)
        assert own.shape == F.shape
    for name in z:
        total += solution.drive[name] ** 2 / z[name] * load**2
    np.testing.assert_allclose(total, load, rtol=1e-8)


def check_by_section_or_whole(network: RandomNetwork, solution: Solution, pick: int) -> None:
    """The same derivatives from one system as from sections, and the same for a candidate as for its own network."""
    built = solution.network
    z = dict(network.impedances(F))
    by_section = drive_sensitivity(solution)["woofer"]
    whole = drive_sensitivity(solve(built, F, z, by_section=False))["woofer"]
    part = network.parts[pick % len(network.parts)]
    changed = replace(network, parts=tuple(replace(p, value=p.value * 1.7) if p is part else p for p in network.parts))
    own = drive_sensitivity(solve(build_network(parse_netlist(changed.text())), F, z))["woofer"]
    values = {part.name: np.array([part.value, 1.7 * part.value])}
    candidates = drive_sensitivity(solve(built, F, z, values))["woofer"]
    size = 1 + max(np.max(np.abs(v)) for v in (*by_section.values(), *own.values()))
    for name, wanted in by_section.items():
        assert candidates[name].shape == (2, F.size)
        np.testing.assert_allclose(whole[name], wanted, rtol=1e-7, atol=1e-9 * size)
        np.testing.assert_allclose(candidates[name][0], wanted, rtol=1e-7, atol=1e-9 * size)
        np.testing.assert_allclose(candidates[name][1], own[name], rtol=1e-7, atol=1e-9 * size)


@given(networks, st.integers(0, 10**6))
@settings(max_examples=60)
def test_identities_of_random_networks(network: RandomNetwork, pick: int) -> None:
    """Drawing a network takes far longer than solving it, so each one is held to all that is known of it."""
    solution = solve(build_network(parse_netlist(network.text())), F, dict(network.impedances(F)))
    check_scaling_of_impedance(solution.network, solution)
    check_scaling_of_frequency(network, solution)
    check_vratsanos(network, solution)
    check_by_section_or_whole(network, solution, pick)


def test_parts_of_another_section_do_nothing() -> None:
    network = build_network(read_netlist(next(p for p in CIRCUITS if p.stem == "two-way-second-order")))
    found = drive_gradient(solve(network, F, DRIVERS))
    assert not np.any(found["woofer"]["C2"])
    assert not np.any(found["woofer"]["Z_tweeter"])
    assert np.all(np.abs(found["tweeter"]["C2"]) > 0)


def test_what_is_not_known_stays_unknown() -> None:
    network = build_network(read_netlist(next(p for p in CIRCUITS if p.stem == "two-way-second-order")))
    known = solve(network, F, DRIVERS)
    z = {**DRIVERS, "tweeter": np.where(F < 500, np.nan, DRIVERS["tweeter"])}
    solution = solve(network, F, z)
    drive, load = drive_sensitivity(solution), impedance_sensitivity(solution)["in"]
    assert np.isnan(drive["tweeter"]["C2"][F < 500]).all()
    assert np.isnan(load["L1"][F < 500]).all()
    above = F >= 500
    for name, wanted in drive_sensitivity(known)["woofer"].items():
        if name != "Z_tweeter":
            np.testing.assert_array_equal(drive["woofer"][name], wanted)
    for name, wanted in drive_sensitivity(known)["tweeter"].items():
        np.testing.assert_allclose(drive["tweeter"][name][above], wanted[above], rtol=1e-12)


def test_a_driver_without_voltage_has_no_relative_derivative() -> None:
    """A balanced bridge: no drive, so none that could change by a share; the plain derivative is there."""
    text = "* t\nR1 in a 4\nR2 a 0 8\nR3 in b 2\nR4 b 0 4\nXlow a b woofer\n"
    solution = solve(build_network(parse_netlist(text)), F, {"woofer": np.full(F.shape, 5.0 + 0j)})
    gradient = drive_gradient(solution)["woofer"]
    dead = np.abs(solution.drive["woofer"]) == 0
    assert dead.all()
    # Thevenin: open-circuit dV = R2/(R1 + R2)^2 of the amplifier's volt for R1, over Zd/(Zd + 8/3 + 4/3)
    np.testing.assert_allclose(gradient["R1"], -8 / 144 * 5 / 9, rtol=1e-12)
    assert np.isnan(drive_sensitivity(solution)["woofer"]["R1"]).all()


def test_driver_straight_across_the_amplifier() -> None:
    network = build_network(parse_netlist("* t\nXlow in 0 woofer\nC1 in t 3.3uF\nXhigh t 0 tweeter\n"))
    solution = solve(network, F, DRIVERS)
    assert not any(np.any(v) for v in drive_gradient(solution)["woofer"].values())
    share = (solution.impedance_ohm["in"] / DRIVERS["woofer"]) ** 2
    np.testing.assert_allclose(impedance_gradient(solution)["in"]["Z_woofer"], share, rtol=1e-12)


def test_one_driver_on_two_cards_counts_once() -> None:
    text = "* t\nR1 in w 3\nXa w 0 woofer\nXb w 0 woofer\n"
    found = drive_sensitivity(solve(build_network(parse_netlist(text)), F, DRIVERS))
    half = DRIVERS["woofer"] / 2
    assert list(found) == ["a", "b"]
    np.testing.assert_allclose(found["a"]["Z_woofer"], 3 / (3 + half), rtol=1e-12)
    np.testing.assert_allclose(found["b"]["R1"], -3 / (3 + half), rtol=1e-12)


def test_a_part_with_the_name_of_a_loss_is_refused() -> None:
    text = "* t\nL1 in w 1mH\nL1_dcr w x 1mH\nXlow x 0 woofer\n"
    network = build_network(parse_netlist(text))
    with pytest.raises(OptionError, match="L1_dcr is both"):
        network_parameters(network)


def test_parameters_in_order() -> None:
    text = "* t\nL1 in w 1mH dcr=0.2\nC1 w 0 4.7uF df=0.05\nL2 w x 2mH\nK1 L1 L2 0.1\nXlow x 0 woofer\n"
    found = network_parameters(build_network(parse_netlist(text)))
    assert [p.name for p in found] == [
        *("L1", "C1", "L2", "L1_dcr", "C1_esr", "C1_df", "L2_dcr", "K1", "Z_woofer"),
    ]
    assert [(p.value, str(p.kind)) for p in found[:2]] == [(1e-3, "henry"), (4.7e-6, "farad")]
    assert found[-1].value is None


def test_the_stock_has_what_the_sums_need() -> None:
    stock = [random_network(Random(k)) for k in range(60)]
    assert sum(bool(n.couplings) for n in stock) > 10
    assert sum(any(p.df for p in n.parts) for n in stock) > 10


def test_a_channel_may_bear_the_name_of_a_part() -> None:
    """The floating channel r1 and the part r1 are told apart, in the solve of candidates too."""
    named, other = (build_network(parse_netlist(t)) for t in (FLOATING, FLOATING.replace("Vr1", "Vtreble")))
    values = {"r1": np.array([4.7, 3.0])}
    got, wanted = solve(named, F, DRIVERS, values), solve(other, F, DRIVERS, values)
    np.testing.assert_allclose(got.impedance_ohm["r1"], wanted.impedance_ohm["treble"], rtol=1e-12)
    np.testing.assert_allclose(got.drive["woofer"], wanted.drive["woofer"], rtol=1e-12)
    np.testing.assert_allclose(got.drive["woofer"][0], solve(other, F, DRIVERS).drive["woofer"], rtol=1e-9)
