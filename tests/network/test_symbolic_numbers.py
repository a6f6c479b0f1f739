"""Polynomials in s with numbers filled in, exactly."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest
from symbolic_cases import network_of

from xover.errors import OptionError
from xover.network.rational import evaluate, numeric_polynomials
from xover.network.symbolic import solve_symbolic
from xover.network.symbols import numbers

LOW_PASS = "* Invented\nL1 in w 0.5mH\nC1 w 0 8uF\nXlow w 0 woofer\n"


def drive(text, key="woofer"):
    network = network_of(text)
    return solve_symbolic(network).drive[key], numbers(network)


def value(polynomial, s):
    return complex(np.polyval([float(c) for c in polynomial], s))


def test_low_pass_on_a_resistance_by_hand():
    """Z/(s^2 L C Z + s L + Z), with values that floats hold exactly."""
    rational, _ = drive(LOW_PASS)
    top, bottom = numeric_polynomials(rational, {"L1": 0.5, "C1": 0.25}, {"Z_woofer": 8.0})
    assert top == [8]
    assert bottom == [Fraction(1), Fraction(1, 2), Fraction(8)]


def test_a_driver_may_be_a_ratio_of_polynomials():
    """Z = 3 + 2 s + 5 s/(s^2 + s + 4): multiplied through by hand."""
    rational, _ = drive("* Invented\nR1 in w 1\nXlow w 0 woofer\n")
    upper, lower = np.polyadd(np.polymul([2, 3], [1, 1, 4]), [5, 0]), [1.0, 1.0, 4.0]
    top, bottom = numeric_polynomials(rational, {"R1": 1.0}, {"Z_woofer": (tuple(upper), tuple(lower))})
    assert [float(c) for c in top] == upper.tolist() == [2, 5, 16, 12]
    assert [float(c) for c in bottom] == np.polyadd(upper, lower).tolist() == [2, 6, 17, 16]


def test_two_cards_of_one_driver_bring_its_denominator_once():
    """Z/(Z + 2 s L), not Z^2 over anything; with Z = (s + 2)/(s + 1) by hand."""
    text = "* Invented\nL1 in w 1mH\nXa w 0 woofer\nXb w 0 woofer\n"
    rational, _ = drive(text, "a")
    top, bottom = numeric_polynomials(rational, {"L1": 1.0}, {"Z_woofer": ((1.0, 2.0), (1.0, 1.0))})
    assert [float(c) for c in top] == [1, 2]
    assert [float(c) for c in bottom] == [2, 3, 2]  # s + 2 + 2 s (s + 1)


def test_common_powers_of_s_are_gone():
    """A driver whose impedance is a coil alone: Z = s, so s stands everywhere once."""
    rational, _ = drive("* Invented\nL1 in w 1mH\nXlow w 0 woofer\n")
    assert numeric_polynomials(rational, {"L1": 2.0}, {"Z_woofer": ((1.0, 0.0), (1.0,))}) == ([1], [3])


def test_loss_angle_is_a_resistance_at_one_frequency():
    """df/(w0 C) in series with C: exact at w0, and the same network with that resistor at every frequency."""
    text = "* Invented\nC1 in t 4uF df=0.05\nR1 t 0 9\nXhigh t 0 tweeter\n"
    rational, values = drive(text, "tweeter")
    with pytest.raises(OptionError, match="C1_df is a constant loss angle"):
        numeric_polynomials(rational, values, {"Z_tweeter": 6.0})
    top, bottom = numeric_polynomials(rational, values, {"Z_tweeter": 6.0}, loss_hz=1000.0)
    s = 2j * np.pi * 1000.0
    exact = evaluate(rational, s, values | {"Z_tweeter": 6.0})[0]
    assert value(top, s) / value(bottom, s) == pytest.approx(exact, rel=1e-13)
    ohm = 0.05 / (2 * np.pi * 1000.0 * 4e-6)
    s, load = 2j * np.pi * 200.0, 1 / (1 / 9 + 1 / 6)
    by_hand = load / (load + ohm + 1 / (s * 4e-6))
    assert value(top, s) / value(bottom, s) == pytest.approx(by_hand, rel=1e-13)
    assert abs(evaluate(rational, s, values | {"Z_tweeter": 6.0})[0] / by_hand - 1) > 1e-3


def test_coupled_coils():
    """s M Z/(...) with M = k sqrt(L1 L2): L1 = L2 = 2, k = 1/2, so M = 1 (by hand)."""
    text = "* Invented\nL1 in 0 1mH\nL2 w 0 1mH\nK1 L1 L2 0.5\nXlow w 0 woofer\n"
    rational, _ = drive(text)
    top, bottom = numeric_polynomials(rational, {"L1": 2.0, "L2": 2.0, "K1": 0.5}, {"Z_woofer": 4.0})
    # s M Z / (s L1 (s L2 + Z) - s^2 M^2) = 4 s/(3 s^2 + 8 s), and s cancels.
    scale = bottom[0] / 3
    assert [c / scale for c in top] == [4]
    assert [c / scale for c in bottom] == [3, 8]


def test_missing_driver_is_named():
    rational, values = drive(LOW_PASS)
    with pytest.raises(OptionError, match="a value for Z_woofer"):
        numeric_polynomials(rational, values, {})
