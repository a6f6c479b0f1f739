"""The symbolic solve: hand formulas, and the numeric solve on every circuit and on random networks."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
import sympy
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
    worst_difference,
)

from xover.errors import NoSolutionError, OptionError
from xover.network import Network, Resistor, solve
from xover.network.rational import cancelled, evaluate, expression, powers_of_s
from xover.network.symbolic import solve_symbolic
from xover.network.symbols import numbers
from xover.network.tagged_equations import equations, summed

SWEEPS = sorted((Path(__file__).resolve().parents[1] / "data" / "wide-range-12in").glob("*.zma"))

TWO_WAY = """* Invented
L1  in w  1mH    dcr=0.3
C1  w  0  10uF   esr=0.1 df=0.04
Xlow w 0  woofer
C2  in t  4.7uF
Xhigh 0 t tweeter
"""
COUPLED = """* Invented
L1 in a 1mH dcr=0.3
R1 a  0 4
L2 b  0 0.5mH
Xlow b 0 woofer
K1 L1 L2 0.4
"""


def display(text: str) -> dict[str, sympy.Symbol]:
    return {name: sympy.Symbol(name) for name in text.split()}


def test_drive_of_a_low_pass_is_the_hand_formula():
    """Divider of dcr + s L and the capacitor beside the driver, worked out by hand."""
    solution = solve_symbolic(network_of(TWO_WAY))
    d = display("s L1 L1_dcr C1 C1_esr C1_df Z_woofer")
    series = d["L1_dcr"] + d["s"] * d["L1"]
    shunt = d["C1_esr"] + (1 + sympy.I * d["C1_df"]) / (d["s"] * d["C1"])
    beside = 1 / (1 / shunt + 1 / d["Z_woofer"])
    wanted = beside / (beside + series)
    found = expression(solution.drive["woofer"])
    assert sympy.cancel(sympy.together(found - wanted)) == 0
    assert found.free_symbols == set(d.values())


def test_polarity_and_load():
    """The tweeter stands reversed; the load is the two branches side by side."""
    solution = solve_symbolic(network_of(TWO_WAY))
    d = display("s C2 Z_tweeter")
    s, c, z = d.values()
    assert sympy.cancel(expression(solution.drive["tweeter"]) + z * s * c / (1 + z * s * c)) == 0
    (low, _), (high, y) = solution.load["in"].admittance
    assert solution.section_elements[low] == ("L1", "C1", "Xlow")
    assert solution.section_elements[high] == ("C2", "Xhigh")
    assert sympy.cancel(expression(y) - s * c / (1 + s * c * z)) == 0
    by_hand = 1 / sum(expression(one) for _, one in solution.load["in"].admittance)
    assert sympy.cancel(sympy.together(solution.load["in"].impedance() - by_hand)) == 0


def test_coefficients_are_integers_and_shared_factors_are_gone():
    """Two equal drivers side by side: Z^2 cancels to Z, no integer above 2 is needed, the 2 stands."""
    solution = solve_symbolic(network_of("* Invented\nL1 in w 1mH\nXa w 0 woofer\nXb w 0 woofer\n"))
    rational = solution.drive["a"]
    d = display("s L1 Z_woofer")
    assert expression(rational).equals(d["Z_woofer"] / (d["Z_woofer"] + 2 * d["s"] * d["L1"]))
    assert sorted(int(c) for c in rational.denominator.values()) == [1, 2]
    assert [int(c) for c in rational.numerator.values()] == [1]
    assert rational.numerator.ring.domain == sympy.ZZ


def test_capacitors_alone_divide_without_s():
    """s stands in both terms and goes; a voltage divider of capacitors has no frequency."""
    solution = solve_symbolic(network_of("* Invented\nC1 in w 1uF\nC2 w 0 2uF\nXa w 0 woofer\n"))
    bare = solve_symbolic(network_of("* Invented\nC1 in w 1uF\nC2 w 0 2uF\nR1 in 0 9\nXa in 0 woofer\n"))
    d = display("s C1 C2 Z_woofer")
    s, c1, c2, z = d.values()
    wanted = z * s * c1 / (1 + z * s * (c1 + c2))
    assert sympy.cancel(expression(solution.drive["woofer"]) - wanted) == 0
    assert expression(bare.voltage("C2")) == c1 / (c1 + c2)


def test_series_network_has_two_drivers_in_one_section():
    """First order in series: woofer with C beside it, tweeter with L beside it (hand formula)."""
    text = "* Invented\nL1 in m 0.5mH\nXhigh in m tweeter\nC1 m 0 8uF\nXlow m 0 woofer\n"
    solution = solve_symbolic(network_of(text))
    assert len(solution.section_elements) == 1
    d = display("s L1 C1 Z_woofer Z_tweeter")
    s, coil, c, zw, zt = d.values()
    upper, lower = s * coil * zt / (s * coil + zt), zw / (1 + s * c * zw)
    assert sympy.cancel(expression(solution.drive["woofer"]) - lower / (upper + lower)) == 0
    assert sympy.cancel(expression(solution.drive["tweeter"]) - upper / (upper + lower)) == 0
    assert sympy.cancel(solution.load["in"].impedance() - (upper + lower)) == 0


@pytest.mark.parametrize("k", [0.4, 1.0, -0.3])
def test_coupled_coils_are_the_transformer_formula(k):
    """Source, primary with its resistances, secondary on the driver: hand formula with M = k sqrt(L1 L2)."""
    network = network_of(COUPLED.replace("0.4", str(k)).replace("R1 a  0 4\n", "").replace("in a", "in 0"))
    solution = solve_symbolic(network)
    d = display("s L1 L1_dcr L2 K1 Z_woofer")
    s, one, dcr, two, letter, z = d.values()
    mutual = letter * sympy.sqrt(one * two)
    primary, secondary = dcr + s * one, s * two + z
    wanted = s * mutual * z / (primary * secondary - s**2 * mutual**2)
    assert sympy.simplify(expression(solution.drive["woofer"]) - wanted) == 0
    assert numbers(network)["K1"] == k
    s_, z_ = 2j * np.pi * 500.0, 6.0 + 1j
    mutual_ = k * math.sqrt(1e-3 * 0.5e-3)
    by_hand = s_ * mutual_ * z_ / ((0.3 + s_ * 1e-3) * (s_ * 0.5e-3 + z_) - s_**2 * mutual_**2)
    got = evaluate(solution.drive["woofer"], s_, numbers(network) | {"Z_woofer": z_})
    np.testing.assert_allclose(got, [by_hand], rtol=1e-13)


def test_zero_ohm_links_have_no_letter_but_a_current():
    text = "* Invented\nR0 in a 0\nL1 a w 1mH\nR9 w v 0\nXlow v 0 woofer\nR8 v 0 8\n"
    solution = solve_symbolic(network_of(text))
    d = display("s L1 R8 Z_woofer")
    s, coil, r, z = d.values()
    both = r * z / (r + z)
    assert sympy.cancel(expression(solution.current("R0")) - 1 / (s * coil + both)) == 0
    assert expression(solution.current("R9")) == expression(solution.current("R0"))
    assert "R0" not in numbers(network_of(text))


def test_lamp_counts_cold():
    network = network_of("* Invented\nR1 in t kind=lamp cold=1.5 hot=9\nXhigh t 0 tweeter\n")
    assert numbers(network) == {"R1": 1.5}
    d = display("R1 Z_tweeter")
    drive = expression(solve_symbolic(network).drive["tweeter"])
    assert drive == d["Z_tweeter"] / (d["Z_tweeter"] + d["R1"])


TWO_CHANNELS = """* Two channels with a part between them, invented
Vbass   lo 0
Vtreble hi 0
L1 lo w  0.5mH dcr=0.2
Xlow w 0 woofer
R1 w x   4.7
C1 x t   2.2uF df=0.05
C2 hi t  22uF
Xhigh t 0 tweeter
"""


@pytest.mark.parametrize(
    "text",
    [
        TWO_CHANNELS,
        TWO_CHANNELS.replace("Vtreble hi 0", "Vtreble hi lift\nR7 lift 0 0.1"),
        "* Invented\nVbass lo 0\nVtreble hi m\nL1 lo w 1mH\nXlow w 0 woofer\nC1 hi t 4.7uF\nXhigh t m tweeter\n",
        COUPLED,
        COUPLED + "L3 in c 2mH\nR3 c 0 1\nK2 L1 L3 0.2\nK3 L3 L2 -0.1\n",
    ],
    ids=["common", "lifted", "island", "coupled", "three coils"],
)
def test_symbolic_against_numeric_on_hard_wiring(text):
    network = network_of(text)
    assert worst_difference(network, solve_symbolic(network), all_measured_like(network)) < 1e-11


def test_a_channel_has_the_other_silent():
    """By hand: from the treble channel, C2 in series with what leads to the grounded bass channel."""
    network = network_of("* Invented\nVbass lo 0\nVtreble hi 0\nR1 lo t 3\nC2 hi t 22uF\nXhigh t 0 tweeter\n")
    solution = solve_symbolic(network)
    d = display("s R1 C2 Z_tweeter")
    s, r, c, z = d.values()
    assert sympy.cancel(solution.load["treble"].impedance() - (1 / (s * c) + r * z / (r + z))) == 0
    assert sympy.cancel(expression(solution.drive["tweeter"]) - 1 / (1 + (1 / z) / (1 / r + s * c))) == 0


def test_the_circuits_are_there():
    assert len(CIRCUITS) >= 20


@pytest.mark.parametrize("path", CIRCUITS, ids=[p.stem for p in CIRCUITS])
def test_symbolic_against_numeric_on_every_circuit(path):
    """Drives, loads, and every part's current and voltage."""
    network = circuit(path)
    assert worst_difference(network, solve_symbolic(network), all_measured_like(network)) < 1e-9


@pytest.mark.parametrize("start", range(0, 200, 20))
def test_symbolic_against_numeric_on_200_random_networks(start):
    """Every drive and load, with drivers as a meter shows them; all parts as well where the formulas are short."""
    whole = 0
    for seed in range(start, start + 20):
        network, solution = random_pair(seed)
        impedance = all_measured_like(network)
        short = max(len(drive.denominator) for drive in solution.drive.values()) <= 100
        assert worst_difference(network, solution, impedance, parts=short) < 1e-9, seed
        whole += short
    assert whole >= 4


@pytest.mark.parametrize("start", range(0, 200, 40))
def test_symbolic_against_numeric_with_measured_drivers(start):
    """Two real drivers' impedance sweeps, taken at the meter's own frequencies."""
    assert len(SWEEPS) == 2
    rows = [np.loadtxt(path, unpack=True) for path in SWEEPS]
    inside = (rows[0][0] >= 20) & (rows[0][0] <= 20e3)
    f = rows[0][0][inside][::8]
    assert f.size > 20
    for seed in range(start, start + 40):
        network, solution = random_pair(seed)
        impedance = {
            name: (np.interp(f, g, size) * np.exp(1j * np.radians(np.interp(f, g, angle))))
            for name, (g, size, angle) in zip(("woofer", "tweeter"), rows, strict=True)
        }
        assert worst_difference(network, solution, impedance, f, parts=False) < 1e-9, seed


def test_the_comparison_can_fail():
    """A capacitor moved by one part in 10^8 is seen."""
    network, solution = random_pair(3)
    impedance = all_measured_like(network)
    values = letters(network, impedance, solution)
    name = next(n for n in values if n.startswith("C") and "_" not in n)
    values[name] *= 1 + 1e-8
    numeric = solve(network, FREQUENCY, impedance)
    got = evaluate(solution.current(name), 2j * np.pi * FREQUENCY, values)
    assert 1e-9 < difference(got, numeric.current(name)) < 1e-5


@pytest.mark.parametrize("seed", [11, 65, 104, 151])
def test_evaluation_against_60_digits(seed):
    """The rounding of `evaluate` alone: the same polynomials term by term with 60 digits (mpmath)."""
    network, solution = random_pair(seed)
    values = letters(network, all_measured_like(network), solution)
    at = [0, 30]
    worst = 0.0
    for rational in solution.drive.values():
        got = evaluate(rational, 2j * np.pi * FREQUENCY, values)
        for n in at:
            exact = slow_value(rational, 2j * np.pi * FREQUENCY[n], values, n)
            worst = max(worst, abs(got[n] / exact - 1) if exact else abs(got[n]))
    assert worst < 2e-13


def test_no_own_admittance_in_a_voltage():
    """Thevenin: what `tagged_equations` relies on where it makes currents of voltages."""
    seen = 0
    for seed in range(30):
        for section in equations(random_pair(seed)[0]):
            for index, tag in enumerate(section.tags):
                if tag.stands.name == "ADMITTANCE":
                    seen += 1
                    assert not any(p >> index & 1 for one in section.voltage[tag.owner] for p in one)
    assert seen > 200


def test_keeping_zero_losses_changes_letters_only():
    network = network_of(TWO_WAY)
    kept = solve_symbolic(network, keep_zero_losses=True)
    found = kept.drive["tweeter"]
    assert found.names == ("s", "C2", "C2_esr", "C2_df", "Z_tweeter")
    zero = {"C2_esr": 0, "C2_df": 0}
    plain = solve_symbolic(network).drive["tweeter"]
    assert sympy.cancel(expression(found).subs(zero) - expression(plain)) == 0
    assert numbers(network, keep_zero_losses=True)["C2_df"] == 0
    assert "C2_df" not in numbers(network)


def test_names_lists_what_occurs():
    solution = solve_symbolic(network_of(COUPLED))
    assert solution.drive["woofer"].names == ("s", "L1", "L1_dcr", "R1", "L2", "K1", "Z_woofer")


def test_powers_of_s_are_the_canonical_form():
    rational = solve_symbolic(network_of("* Invented\nL1 in w 1mH\nC1 w 0 9uF\nXlow w 0 woofer\n")).drive["woofer"]
    found = {power: str(c) for power, c in powers_of_s(rational.denominator).items()}
    assert found == {2: "x1*x2*x3", 1: "x1", 0: "x3"}
    assert list(found) == [2, 1, 0]
    assert [rational.table.display[q] for q in rational.quantities] == ["s", "L1", "C1", "Z_woofer"]


def test_cancelled_removes_a_common_factor_of_two_terms():
    """A bridge of equal drivers' impedances: (Z + R1) stands above and below until it is asked for."""
    text = "* Invented\nR1 in a 2\nXa a 0 woofer\nXb in b woofer\nR2 b 0 3\n"
    solution = solve_symbolic(network_of(text))
    for rational in solution.drive.values():
        short = cancelled(rational)
        assert sympy.gcd(short.numerator.as_expr(), short.denominator.as_expr()) == 1
        assert sympy.cancel(expression(short) - expression(rational)) == 0


def test_generated_names_are_all_that_stands_inside():
    rational = solve_symbolic(network_of(TWO_WAY)).drive["woofer"]
    inside = expression(rational, names="generated").free_symbols
    assert {str(x) for x in inside} <= {f"x{n}" for n in range(40)}
    with pytest.raises(OptionError, match="no names 'latin'"):
        expression(rational, names="latin")


def test_missing_value_is_named():
    solution = solve_symbolic(network_of(TWO_WAY))
    values = numbers(network_of(TWO_WAY))
    with pytest.raises(OptionError, match="a value for Z_woofer"):
        evaluate(solution.drive["woofer"], 1j, values)


def test_unknown_impedance_stays_unknown_where_it_matters():
    solution = solve_symbolic(network_of(TWO_WAY))
    values = numbers(network_of(TWO_WAY)) | {"Z_woofer": np.array([8.0, np.nan]), "Z_tweeter": 6.0}
    s = 2j * np.pi * np.array([100.0, 200.0])
    assert np.isnan(evaluate(solution.drive["woofer"], s, values)).tolist() == [False, True]
    assert np.isfinite(evaluate(solution.drive["tweeter"], s, values)).all()


def test_resonance_without_losses_gives_nan_not_a_number():
    """s^2 = -1/(L C) exactly, in floats that hold it: the denominator is zero."""
    text = "* Invented\nL1 in a 1mH\nC1 a 0 1uF\nXlow in 0 woofer\n"
    values = {"L1": 1.0, "C1": 1.0, "Z_woofer": 8.0}
    found = evaluate(solve_symbolic(network_of(text)).current("L1"), [1j, 2j], values)
    assert np.isnan(found).tolist() == [True, False]
    # Below resonance a series circuit is capacitive, above it inductive: 1/(2j - 0.5j).
    assert found[1] == pytest.approx(1 / 1.5j)


def test_unknown_part_is_refused():
    with pytest.raises(OptionError, match="no part L9"):
        solve_symbolic(network_of(TWO_WAY)).current("L9")


def test_giants_are_refused_before_they_are_written():
    """A full mesh of 12 nodes has 12^10 spanning trees (Cayley, from memory)."""
    nodes = ["in", "0", *(f"n{k}" for k in range(10))]
    pairs = [(a, b) for i, a in enumerate(nodes) for b in nodes[i + 1 :]]
    cards = [f"R{k} {a} {b} {k + 1}" for k, (a, b) in enumerate(pairs)]
    network = network_of("\n".join(["* Invented", *cards, "Xlow n0 0 woofer"]))
    with pytest.raises(OptionError, match="more than 100,000 spanning trees"):
        solve_symbolic(network)
    chain = [f"C{k} n{k} n{k + 1} 1uF esr=0.1 df=0.1\nC{k}b n{k} n{k + 1} 1uF esr=0.1 df=0.1" for k in range(9)]
    text = "\n".join(["* Invented", "R1 in n0 1", *chain, "Xlow n9 0 woofer"])
    with pytest.raises(OptionError, match=r"would have [\d,]+ terms"):
        solve_symbolic(network_of(text))


def test_no_solution_is_named():
    network = network_of(TWO_WAY)
    shorted = Network(
        network.title, (*network.parts, Resistor("R1", "in", "0", 0.0)), network.drivers, network.channels
    )
    with pytest.raises(NoSolutionError):
        solve_symbolic(shorted)


def test_summed_adds_and_forgets_what_cancels():
    assert summed([{1: 2, 3: 1}, {1: -2, 4: 5}]) == {3: 1, 4: 5}
