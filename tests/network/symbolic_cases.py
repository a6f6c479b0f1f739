"""Networks and driver impedances for the symbolic tests, and the comparison that they share."""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache
from pathlib import Path
from random import Random

import numpy as np
from random_networks import random_network

from xover.curve import Complex, Float
from xover.files.netlist import parse_netlist, read_netlist
from xover.network import Network, build_network, solve
from xover.network.rational import Rational, evaluate
from xover.network.symbolic import SymbolicSolution, solve_symbolic
from xover.network.symbols import numbers

CIRCUITS = sorted((Path(__file__).resolve().parents[2] / "circuits").glob("*.cir"))
FREQUENCY = np.geomspace(20.0, 20000.0, 31)


def network_of(text: str) -> Network:
    """A network from cards."""
    return build_network(parse_netlist(text))


def circuit(path: Path) -> Network:
    """A ready circuit."""
    return build_network(read_netlist(path))


@lru_cache(maxsize=256)
def random_pair(seed: int) -> tuple[Network, SymbolicSolution]:
    """A random network and its symbolic solution."""
    network = network_of(random_network(Random(seed)).text())
    return network, solve_symbolic(network)


def measured_like(name: str, frequency_hz: Float) -> Complex:
    """An invented driver as a meter would show it: semi-inductance, two bumps of the cone, noise, four digits."""
    generator = np.random.default_rng(sum(map(ord, name)))
    re, fs, rise = generator.uniform(3, 8), generator.uniform(25, 1500), generator.uniform(0.01, 0.06)
    s = 2j * np.pi * frequency_hz
    z = re + rise * s**0.6 + generator.uniform(5, 60) / (1 + 4j * (frequency_hz / fs - fs / frequency_hz))
    for bump_hz in generator.uniform(500, 12000, 2):
        z = z + 0.4 / (1 + 8j * (frequency_hz / bump_hz - bump_hz / frequency_hz))
    z = z * (1 + generator.normal(0, 0.004, z.shape) + 1j * generator.normal(0, 0.004, z.shape))
    return np.round(np.abs(z), 3) * np.exp(1j * np.round(np.angle(z), 3))


def all_measured_like(network: Network, frequency_hz: Float = FREQUENCY) -> dict[str, Complex]:
    """By driver's name."""
    return {name: measured_like(name, frequency_hz) for name in network.driver_names}


def letters(network: Network, impedance: Mapping[str, Complex], solution: SymbolicSolution) -> dict[str, object]:
    """Everything that `evaluate` needs, by display name."""
    shown = solution.table.driver_names
    return {**numbers(network), **{shown[name]: z for name, z in impedance.items()}}


def difference(got: Complex, wanted: Complex) -> float:
    """Largest relative difference; where nothing is to come out at all, both must be nothing (of one volt)."""
    got, wanted = np.broadcast_arrays(got, wanted)
    alive = np.abs(wanted) > 1e-13
    assert np.all(np.abs(got[~alive]) < 1e-12)
    return float(np.max(np.abs(got[alive] / wanted[alive] - 1), initial=0.0))


def worst_difference(
    network: Network,
    symbolic: SymbolicSolution,
    impedance: Mapping[str, Complex],
    frequency_hz: Float = FREQUENCY,
    *,
    parts: bool = True,
) -> float:
    """Symbolic against numeric: every drive and load, and every part's current and voltage."""
    s = 2j * np.pi * frequency_hz
    values = letters(network, impedance, symbolic)
    numeric = solve(network, frequency_hz, impedance)
    assert set(symbolic.drive) == set(numeric.drive)
    assert set(symbolic.load) == set(numeric.impedance_ohm)
    found = [difference(evaluate(r, s, values), numeric.drive[key]) for key, r in symbolic.drive.items()]
    found += [difference(load.evaluate(s, values), numeric.impedance_ohm[c]) for c, load in symbolic.load.items()]
    for part in (*network.parts, *network.drivers) if parts else ():
        found.append(difference(evaluate(symbolic.current(part.name), s, values), numeric.current(part.name)))
        found.append(difference(evaluate(symbolic.voltage(part.name), s, values), numeric.voltage(part.name)))
    return max(found)


def slow_value(rational: Rational, s: complex, values: Mapping[str, object], n: int) -> complex:
    """With 60 digits by mpmath, term by term, at frequency number n; the letters' meaning is written out anew."""
    import mpmath

    with mpmath.workdps(60):
        number = {}
        for letter, quantity in zip(rational.numerator.ring.symbols, rational.quantities, strict=True):
            name = rational.table.display[quantity]
            if str(letter) == "x0":
                number[letter] = mpmath.mpc(s)
            elif name.endswith("_df"):
                number[letter] = mpmath.mpc(1, values[name])
            elif name.startswith("K"):
                coils = [rational.table.display[c] for c in rational.table.coils[name]]
                number[letter] = values[name] * mpmath.sqrt(mpmath.mpf(values[coils[0]]) * values[coils[1]])
            elif name.startswith("Z_"):
                number[letter] = mpmath.mpc(values[name][n])
            else:
                number[letter] = mpmath.mpf(values[name])
        numbers_ = [number[letter] for letter in rational.numerator.ring.symbols]

        def total(polynomial):
            return mpmath.fsum(
                int(c) * mpmath.fprod(x**e for x, e in zip(numbers_, exponents, strict=True) if e)
                for exponents, c in polynomial.items()
            )

        return complex(total(rational.numerator) / total(rational.denominator))
