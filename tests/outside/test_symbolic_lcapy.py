"""lcapy re-derives our formulas by its own circuit analysis (modified nodal analysis in its own code).

Small sections only: on larger ones it does not finish. First it is judged itself, on coupled coils, by a formula
worked out by hand.
"""

from __future__ import annotations

import pytest
import sympy

from xover.files.netlist import parse_netlist
from xover.network import Network, build_network
from xover.network.lcapy_bridge import fenced, rederived
from xover.network.rational import Rational, expression
from xover.network.symbolic import solve_symbolic

pytest.importorskip("lcapy")
pytestmark = pytest.mark.outside

S, L1, L2, R1, R2, K = sympy.symbols("s x1 x2 x3 x4 x5")


def plain(found):
    """lcapy's expression with plain symbols."""
    return found.sympy.subs({x: sympy.Symbol(x.name) for x in found.sympy.free_symbols})


@pytest.mark.parametrize("order", ["L1 L2", "L2 L1"])
@pytest.mark.parametrize(("ends", "sign"), [("3 0", 1), ("0 3", -1)])
def test_lcapy_knows_a_transformer(order, ends, sign):
    """R1 and L1 at the source, L2 with R2 across it, dots at first nodes (derived by hand with M = k sqrt(L1 L2)):
    V/Vin = s M R2/((R1 + s L1)(R2 + s L2) - s^2 M^2)."""
    cards = f"R1 1 2 {{x3}}\nL1 2 0 {{x1}}\nL2 {ends} {{x2}}\nR2 3 0 {{x4}}\nK1 {order} {{x5}}\n"
    with fenced() as lcapy:
        found = plain(lcapy.Circuit(cards).transfer(1, 0, 3, 0))
    m = K * sympy.sqrt(L1 * L2)
    wanted = sign * S * m * R2 / ((R1 + S * L1) * (R2 + S * L2) - S**2 * m**2)
    assert sympy.simplify(sympy.posify(found - wanted)[0]) == 0


@pytest.mark.parametrize("k", [sympy.Rational(1, 2), sympy.Integer(1), -sympy.Rational(1, 3)])
def test_lcapy_knows_a_tapped_winding(k):
    """Two coils in series, tap between them: (L2 + M)/(L1 + L2 + 2 M), at any coupling (derived by hand)."""
    with fenced() as lcapy:
        found = plain(lcapy.Circuit(f"L1 1 2 {{x1}}\nL2 2 0 {{x2}}\nK1 L1 L2 {{{k}}}\n").transfer(1, 0, 2, 0))
    m = k * sympy.sqrt(L1 * L2)
    wanted = (L2 + m) / (L1 + L2 + 2 * m)
    for one, two in ((2, 3), (sympy.Rational(1, 7), 5)):
        values = {L1: one, L2: two}
        assert sympy.simplify(found.subs(values) - wanted.subs(values)) == 0


def built(text: str) -> Network:
    return build_network(parse_netlist(text))


def same(rational: Rational, other) -> bool:
    """N1 D2 - N2 D1 = 0, in the generated symbols."""
    numerator, denominator = sympy.fraction(sympy.together(other))
    ours = expression(rational, names="generated")
    top, bottom = rational.numerator.as_expr(), rational.denominator.as_expr()
    assert ours.free_symbols
    return sympy.expand(top * denominator - numerator * bottom) == 0


SECTIONS = {
    "low-pass with losses": "L1 in w 1mH dcr=0.3\nC1 w 0 10uF esr=0.1\nXlow w 0 woofer",
    "loss angle": "C1 in t 4.7uF df=0.05\nR1 t 0 9\nXhigh 0 t tweeter",
    "third order": "C1 in a 5uF\nL1 a 0 0.3mH\nC2 a t 15uF\nXhigh t 0 tweeter",
    "zobel and pad": "R1 in t 2\nR2 t 0 9\nR3 t z 6\nC1 z 0 2uF\nXhigh t 0 tweeter",
    "series, two drivers": "L1 in m 0.4mH\nXhigh m in tweeter\nC1 m 0 8uF\nXlow m 0 woofer",
    "bridged": "L1 in w 1mH\nC1 in w 2uF esr=0.2\nR1 w 0 30\nXlow w 0 woofer",
    "link": "L1 in a 1mH\nR9 a w 0\nC1 w 0 3uF\nXlow w 0 woofer",
    "autotransformer": "C1 in a 6uF\nL1 a t 20mH\nL2 t 0 20mH\nK1 L1 L2 1\nXhorn t 0 horn",
    "transformer": "R1 in a 4\nL1 a 0 1mH\nL2 w 0 2mH\nK1 L1 L2 -0.4\nXlow w 0 woofer",
}


@pytest.mark.parametrize("name", SECTIONS)
def test_drive_and_load_are_derived_anew(name):
    network = built("* Invented\n" + SECTIONS[name] + "\n")
    solution = solve_symbolic(network)
    for card in network.drivers:

        def transfer(circuit, nodes, card=card):
            return circuit.transfer(int(nodes["in"]), 0, int(nodes[card.plus]), int(nodes[card.minus]))

        assert same(solution.drive[card.key], rederived(network, solution.table, transfer)), card.key
    load = solution.load["in"].admittance
    assert len(load) == 1
    ours = Rational(load[0][1].denominator, load[0][1].numerator, solution.table)
    assert same(ours, rederived(network, solution.table, lambda c, n: c.impedance(int(n["in"]), 0)))


def test_the_judge_sees_a_wrong_sign():
    network = built("* Invented\n" + SECTIONS["low-pass with losses"] + "\n")
    solution = solve_symbolic(network)
    ours = solution.drive["woofer"]
    theirs = rederived(network, solution.table, lambda c, n: c.transfer(int(n["in"]), 0, int(n["w"]), 0))
    assert same(ours, theirs)
    assert not same(ours, -theirs)
    assert not same(ours, 2 * theirs)
    assert not same(ours, sympy.Integer(0))
