"""Every formula against another formulation in exact arithmetic: the sparse tableau, solved by sympy.

All node voltages and all branch currents are unknowns, nothing is eliminated or split into sections, and each letter
is a random whole number, so both sides are fractions that are equal or not (Schwartz 1980 and Zippel 1979: two
different polynomials agree at a random point next to never; from memory).
"""

from __future__ import annotations

from fractions import Fraction
from random import Random

import pytest
from random_networks import random_network
from sympy import QQ
from sympy.polys.matrices import DomainMatrix

from xover.files.netlist import circuits_folder, parse_netlist, read_netlist
from xover.network import Capacitor, Inductor, Network, Resistor, build_network
from xover.network.symbolic import SymbolicSolution, solve_symbolic
from xover.network.symbols import Quantity, SymbolKind

pytestmark = pytest.mark.outside
CIRCUITS = [p for p in sorted(circuits_folder().glob("*.cir")) if "bi-amp" not in p.stem]


def numbers_for(solution: SymbolicSolution, random: Random) -> dict[Quantity, int]:
    return {q: random.randint(2, 10**6) for q in solution.table.generated}


def tableau(network: Network, letter: dict[Quantity, int], loud: str):
    """Voltage and current of each element, and the loud channel's current, it at one volt and all others at zero."""
    s = letter[Quantity(SymbolKind.FREQUENCY)]
    elements = [*network.parts, *network.drivers]
    nodes = sorted({n for e in elements for n in (e.a, e.b)} | channel_nodes(network))
    column = {n: i for i, n in enumerate(n for n in nodes if n != "0")}
    first = len(column)
    own = {e.name: first + i for i, e in enumerate(elements)}
    source = {c.name: first + len(elements) + i for i, c in enumerate(network.channels)}
    size = first + len(elements) + len(source)
    rows = [[Fraction(0)] * (size + 1) for _ in range(size)]
    for e in elements:  # currents leaving each node add up to zero
        for node, sign in ((e.a, 1), (e.b, -1)):
            if node != "0":
                rows[column[node]][own[e.name]] += sign
    for c in network.channels:
        for node, sign in ((c.plus, 1), (c.minus, -1)):
            if node != "0":
                rows[column[node]][source[c.name]] += sign

    def voltage(row, a, b, factor):
        for node, sign in ((a, 1), (b, -1)):
            if node != "0":
                row[column[node]] += sign * factor

    def value(kind, name, absent=Fraction(0)):
        return Fraction(letter.get(Quantity(kind, name), absent))

    for e in elements:
        row = rows[own[e.name]]
        if isinstance(e, Resistor):
            up, down = value(SymbolKind.VALUE, e.name), Fraction(1)
        elif isinstance(e, Inductor):
            up, down = value(SymbolKind.DCR, e.name) + s * value(SymbolKind.VALUE, e.name), Fraction(1)
        elif isinstance(e, Capacitor):
            down = s * value(SymbolKind.VALUE, e.name)
            up = value(SymbolKind.LOSS_ANGLE, e.name, Fraction(1)) + down * value(SymbolKind.ESR, e.name)
        else:
            up, down = value(SymbolKind.DRIVER, e.driver), Fraction(1)
        voltage(row, e.a, e.b, down)  # down v = up i
        row[own[e.name]] -= up
    for k in network.couplings:
        m = s * value(SymbolKind.MUTUAL, k.name)
        one, other = network.part(k.first).name, network.part(k.second).name
        rows[own[one]][own[other]] -= m
        rows[own[other]][own[one]] -= m
    for c in network.channels:
        voltage(rows[source[c.name]], c.plus, c.minus, Fraction(1))
        rows[source[c.name]][size] = Fraction(1 if c.name == loud else 0)
    exact = [[QQ(x.numerator, x.denominator) for x in row] for row in rows]
    matrix = DomainMatrix([row[:size] for row in exact], (size, size), QQ)
    right = DomainMatrix([[row[size]] for row in exact], (size, 1), QQ)
    x = [Fraction(int(v[0].numerator), int(v[0].denominator)) for v in matrix.lu_solve(right).to_list()]
    potential = {"0": Fraction(0)} | {n: x[i] for n, i in column.items()}
    volts = {e.name: potential[e.a] - potential[e.b] for e in elements}
    return volts, {e.name: x[own[e.name]] for e in elements}, -x[source[loud]]


def channel_nodes(network: Network) -> set[str]:
    return {n for c in network.channels for n in (c.plus, c.minus)}


def exact_value(rational, letter) -> Fraction:
    """Our polynomials at whole numbers, in whole numbers."""
    point = [letter[q] for q in rational.quantities]

    def at(polynomial):
        total = 0
        for exponents, coefficient in polynomial.items():
            term = int(coefficient)
            for x, e in zip(point, exponents, strict=True):
                if e:
                    term *= x**e
            total += term
        return total

    return Fraction(at(rational.numerator), at(rational.denominator))


def check(network: Network, seed: int) -> int:
    """Every voltage, current, drive and load; gives how many were not zero."""
    solution = solve_symbolic(network)
    letter = numbers_for(solution, Random(seed))
    (channel,) = network.channels
    volts, amps, total = tableau(network, letter, channel.name)
    alive = 0
    for e in (*network.parts, *network.drivers):
        assert exact_value(solution.voltage(e.name), letter) == volts[e.name], e.name
        assert exact_value(solution.current(e.name), letter) == amps[e.name], e.name
        alive += amps[e.name] != 0
    for card in network.drivers:
        assert exact_value(solution.drive[card.key], letter) == volts[card.name]
    assert sum(exact_value(y, letter) for _, y in solution.load[channel.name].admittance) == total != 0
    return alive


@pytest.mark.parametrize("path", CIRCUITS, ids=[p.stem for p in CIRCUITS])
def test_every_circuit(path):
    network = build_network(read_netlist(path))
    assert check(network, 1) == len(network.parts) + len(network.drivers)


@pytest.mark.parametrize("start", [0, 20])
def test_random_networks(start):
    alive = 0
    for seed in range(start, start + 20):
        network = build_network(parse_netlist(random_network(Random(1000 + seed)).text()))
        if len(network.parts) <= 9:
            alive += check(network, seed)
    assert alive > 60


def test_the_judge_sees_one_wrong_letter():
    network = build_network(read_netlist(CIRCUITS[0]))
    solution = solve_symbolic(network)
    letter = numbers_for(solution, Random(2))
    volts, _, _ = tableau(network, letter, "in")
    card = network.drivers[0]
    assert exact_value(solution.drive[card.key], letter) == volts[card.name]
    name = next(q for q in solution.drive[card.key].quantities if q.kind is SymbolKind.VALUE)
    assert exact_value(solution.drive[card.key], letter | {name: letter[name] + 1}) != volts[card.name]
