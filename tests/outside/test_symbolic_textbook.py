"""Butterworth and Linkwitz-Riley ladders on a resistor, symbolically, coefficient by coefficient.

Polynomials: S. Butterworth, Experimental Wireless 1930, poles evenly round the unit circle, from memory;
Linkwitz-Riley is Butterworth squared (S. Linkwitz, JAES 24(1) 1976, from memory). Element values of the singly
terminated Butterworth ladder, from the load: a_k = sin((2k - 1) pi/2n), c_k = cos^2(k pi/2n), g_1 = a_1,
g_k = a_k a_(k-1)/(c_(k-1) g_(k-1)) (L. Weinberg, Network Analysis and Synthesis, 1962, from memory); they are held
here against the printed constants of a published design table (L = k R/f, C = k/(f R)), four digits:
"Two-way Network Design Formulas" and "Some Cross Over Equations", the latter for third order and LR4; fourth order
Butterworth from a page that cites V. Dickason, The Loudspeaker Design Cookbook, 4th ed. 1991.
"""

from __future__ import annotations

import pytest
import sympy

from xover.files.netlist import parse_netlist
from xover.network import build_network
from xover.network.rational import display_expression, powers_of_s
from xover.network.symbolic import solve_symbolic
from xover.network.symbols import SymbolKind

pytestmark = pytest.mark.outside

s, w, R = sympy.symbols("s w R", positive=True)
HALF, ROOT2 = sympy.Rational(1, 2), sympy.sqrt(2)


def butterworth_elements(n):
    """From the source to the load, exact."""
    a = [sympy.sin((2 * k - 1) * sympy.pi / (2 * n)) for k in range(1, n + 1)]
    c = [sympy.cos(k * sympy.pi / (2 * n)) ** 2 for k in range(1, n)]
    g = [a[0]]
    for k in range(1, n):
        g.append(a[k] * a[k - 1] / (c[k - 1] * g[-1]))
    return g[::-1]


def butterworth_polynomial(n):
    """Product of s^2 + 2 sin((2k - 1) pi/2n) s + 1, and s + 1 for an odd order."""
    factors = [s**2 + 2 * sympy.sin((2 * k - 1) * sympy.pi / (2 * n)) * s + 1 for k in range(1, n // 2 + 1)]
    return sympy.expand(sympy.prod(factors) * (s + 1 if n % 2 else 1))


# Elements g from source to load; denominator in s at a corner of 1 rad/s; printed k of low-pass and high-pass.
FILTERS = {
    "B1": (butterworth_elements(1), butterworth_polynomial(1), (0.159,), (0.159,)),
    "B2": (butterworth_elements(2), butterworth_polynomial(2), (0.2251, 0.1125), (0.1125, 0.2251)),
    "B3": (butterworth_elements(3), butterworth_polynomial(3), (0.2387, 0.2122, 0.0796), (0.1061, 0.1194, 0.3183)),
    "B4": (
        butterworth_elements(4),
        butterworth_polynomial(4),
        (0.2437, 0.2509, 0.1723, 0.0609),
        (0.1040, 0.1009, 0.1470, 0.4159),
    ),
    "LR2": ([sympy.Integer(2), HALF], sympy.expand(butterworth_polynomial(1) ** 2), (0.3183, 0.0796), (0.0796, 0.3183)),
    "LR4": (
        [4 * ROOT2 / 3, 9 * ROOT2 / 8, 2 * ROOT2 / 3, ROOT2 / 4],
        sympy.expand(butterworth_polynomial(2) ** 2),
        (0.3000, 0.2533, 0.1500, 0.0563),
        (0.0844, 0.1000, 0.1688, 0.4501),
    ),
}
WRITTEN = {
    "B1": s + 1,
    "B2": s**2 + ROOT2 * s + 1,
    "B3": s**3 + 2 * s**2 + 2 * s + 1,
    "B4": s**4 + sympy.sqrt(4 + 2 * ROOT2) * (s**3 + s) + (2 + ROOT2) * s**2 + 1,
    "LR2": s**2 + 2 * s + 1,
    "LR4": s**4 + 2 * ROOT2 * (s**3 + s) + 4 * s**2 + 1,
}


def ladder(n, high):
    """Cards of a ladder of n parts from the amplifier to a driver, series part first; values do not matter."""
    cards, at = [], "in"
    for k in range(n):
        letter, value = ("L", "1mH") if (k % 2 == 0) != high else ("C", "1uF")
        ends = (at, f"n{k}") if k % 2 == 0 else (at, "0")
        cards.append(f"{letter}{k} {ends[0]} {ends[1]} {value}")
        at = ends[1] if k % 2 == 0 else at
    return "\n".join(["* textbook ladder", *cards, f"Xlow {at} 0 woofer"])


def coefficients(name, high):
    """Numerator and denominator of the solved ladder by power of s, its letters replaced by exact values."""
    elements = FILTERS[name][0]
    rational = solve_symbolic(build_network(parse_netlist(ladder(len(elements), high)))).drive["woofer"]
    value = {"Z_woofer": R}
    for k, g in enumerate(elements):
        if high:
            value[f"L{k}" if k % 2 else f"C{k}"] = R / (g * w) if k % 2 else 1 / (g * w * R)
        else:
            value[f"C{k}" if k % 2 else f"L{k}"] = g / (w * R) if k % 2 else g * R / w
    exact = [
        value[str(display_expression(q, rational.table))] if q.kind is not SymbolKind.FREQUENCY else sympy.S.One
        for q in rational.quantities
    ]
    return [
        {power: one.as_expr(*exact) for power, one in powers_of_s(polynomial).items()}
        for polynomial in (rational.numerator, rational.denominator)
    ]


def is_zero(expression):
    """Exactly: the minimal polynomial of an algebraic number over the letters' common factor."""
    return sympy.simplify(sympy.expand(expression, trig=False)).equals(0)


@pytest.mark.parametrize("name", FILTERS)
def test_the_polynomials_are_the_written_ones(name):
    difference = sympy.Poly(FILTERS[name][1] - WRITTEN[name], s)
    assert all(is_zero(c) for c in difference.all_coeffs())


@pytest.mark.parametrize("high", [False, True], ids=["low-pass", "high-pass"])
@pytest.mark.parametrize("name", FILTERS)
def test_the_elements_are_the_printed_ones(name, high):
    """k = g/(2 pi) for a low-pass, 1/(2 pi g) for its dual; printed to four digits, the first order to three."""
    elements, _, low_printed, high_printed = FILTERS[name]
    for g, printed in zip(elements, high_printed if high else low_printed, strict=True):
        exact = float(1 / g if high else g) / (2 * 3.141592653589793)
        assert printed == pytest.approx(exact, rel=1e-3)


@pytest.mark.parametrize("high", [False, True], ids=["low-pass", "high-pass"])
@pytest.mark.parametrize("name", FILTERS)
def test_every_coefficient_is_the_polynomials(name, high):
    """H = 1/D(s/w) for the low-pass and (s/w)^n/D(s/w) for the high-pass: each coefficient, exactly."""
    top, bottom = coefficients(name, high)
    n = len(FILTERS[name][0])
    wanted = {power[0]: c for power, c in sympy.Poly(WRITTEN[name], s).terms()}
    assert set(bottom) == set(wanted) == set(range(n + 1))
    assert set(top) == {n if high else 0}
    # Numerator and denominator are given up to a common factor: the numerator's one coefficient sets it.
    unit = top[n] * w**n if high else top[0]
    assert unit.free_symbols <= {R, w}
    assert not is_zero(unit)
    for power, coefficient in bottom.items():
        assert is_zero(coefficient * w**power / unit - wanted[power]), power
        assert not is_zero(2 * coefficient * w**power / unit - wanted[power])


def test_a_wrong_element_is_seen():
    """The third order with its first coil 1 % off."""
    top, bottom = coefficients("B3", False)
    off = {power: c.subs(R, R * sympy.Rational(101, 100)) for power, c in bottom.items()}
    assert not all(is_zero(off[p] * w**p / top[0] - c) for (p,), c in sympy.Poly(WRITTEN["B3"], s).terms())


@pytest.mark.parametrize("name", ["B1", "B2", "B3", "B4"])
def test_butterworth_pair_presents_its_resistance(name):
    """Equal loads, both branches: the admittances add up to 1/R at every s (W. R. Bennett 1932, from memory)."""
    n = len(FILTERS[name][0])
    total = sympy.S.Zero
    for high in (False, True):
        solution = solve_symbolic(build_network(parse_netlist(ladder(n, high))))
        ((_, y),) = solution.load["in"].admittance
        letters = {"Z_woofer": sympy.S.One}
        for k, g in enumerate(FILTERS[name][0]):
            if high:
                letters[f"L{k}" if k % 2 else f"C{k}"] = 1 / g
            else:
                letters[f"C{k}" if k % 2 else f"L{k}"] = g
        exact = [s if q.kind is SymbolKind.FREQUENCY else letters[y.table.display[q]] for q in y.quantities]
        total += y.numerator.as_expr(*exact) / y.denominator.as_expr(*exact)
    for at in (sympy.Rational(1, 3), sympy.Integer(2)):
        real = sympy.re(sympy.N(total.subs(s, sympy.I * at), 30))
        assert abs(real - 1) < 1e-25
