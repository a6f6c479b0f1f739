"""The door to lcapy: what goes through it, and that nothing stays behind."""

from __future__ import annotations

import importlib
import subprocess
import sys
import warnings

import numpy as np
import pytest
import sympy
from symbolic_cases import network_of
from sympy.printing.printer import Printer
from sympy.printing.str import StrPrinter

from xover.errors import OptionError
from xover.network.lcapy_bridge import fenced, laplace_expression, poles_and_zeros, step_response
from xover.network.symbolic import solve_symbolic
from xover.network.symbols import numbers

pytest.importorskip("lcapy")

LOW_PASS = "* Invented\nL1 in w 0.5mH\nC1 w 0 8uF\nXlow w 0 woofer\n"
VALUES = {"L1": 0.5e-3, "C1": 8e-6}


def rational(text, key="woofer"):
    return solve_symbolic(network_of(text)).drive[key]


def traces():
    """Everything of sympy that lcapy is known to write to, and how some expressions print."""
    x = sympy.Symbol("x")
    return {
        "converter": dict(importlib.import_module("sympy.core.sympify").converter),
        "string": dict(StrPrinter._default_settings),
        "global": dict(Printer._global_settings),
        "assumptions": set(importlib.import_module("sympy.assumptions.assume").global_assumptions),
        "hook": sys.displayhook,
        "filters": list(warnings.filters),
        "printed": [f(x**2 + sympy.I * x + 1) for f in (str, sympy.latex, sympy.pretty)],
        "understood": [sympy.sympify(text) for text in ("j", "u", "x1 + s")],
    }


def test_nothing_stays_behind_in_sympy():
    before = traces()
    with fenced() as lcapy:
        assert lcapy.s.sympy.name == "s"
        assert traces() != before  # it does change them, or this test proves nothing
        lcapy.Circuit("R1 1 0 {x1}\n").impedance(1, 0)
    assert traces() == before


def test_the_first_import_too():
    """In a process of its own, where nothing has loaded lcapy yet."""
    code = (
        "import sys, sympy; x = sympy.Symbol('x'); hook = sys.displayhook\n"
        "def seen(): return [sympy.pretty(sympy.I*x**2), sympy.sympify('j'), sys.displayhook is hook]\n"
        "before = seen()\n"
        "from xover.network.lcapy_bridge import fenced\n"
        "assert 'lcapy' not in sys.modules\n"
        "with fenced() as lcapy: pass\n"
        "assert 'lcapy' in sys.modules and before[2]\n"
        "sys.exit(seen() != before)\n"
    )
    done = subprocess.run([sys.executable, "-W", "error", "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert done.stdout == ""


def test_symbols_of_one_use_are_gone_in_the_next():
    with fenced() as lcapy:
        lcapy.expr("x7**2 + 1")
        known = importlib.import_module("lcapy.state").state.symbols
        assert "x7" in known
    assert "x7" not in known
    assert "s" in known


def test_state_comes_back_after_an_error_too():
    before = traces()
    with pytest.raises(ZeroDivisionError), fenced():
        raise ZeroDivisionError
    assert traces() == before


def test_lcapy_warnings_are_silenced_inside_and_ours_are_not_outside():
    with fenced() as lcapy:
        warnings.warn("inside", UserWarning, stacklevel=1)
        lcapy.Circuit("V1 1 0 {s}\nR1 1 2 {x1}\nR2 2 0 {x2}\n").transfer(1, 0, 2, 0)
    with pytest.raises(UserWarning, match="outside"):
        warnings.warn("outside", UserWarning, stacklevel=1)


def test_missing_lcapy_is_said(monkeypatch):
    monkeypatch.setitem(sys.modules, "lcapy", None)
    with pytest.raises(OptionError, match="lcapy is not installed; install it with: python -m pip install"), fenced():
        pass


def test_a_settings_file_in_the_folder_changes_nothing(tmp_path):
    """lcapy reads `lcapyrc` from the current folder when it is imported; ours are its defaults."""
    code = (
        "from xover.network.lcapy_bridge import fenced\n"
        "with fenced() as lcapy: print(lcapy.rcParams['symbols.imaginary'], lcapy.rcParams['sympy.print_order'])\n"
    )
    (tmp_path / "lcapyrc").write_text("symbols.imaginary: i\nsympy.print_order: grlex\n")
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False, cwd=tmp_path)
    assert done.stdout.split() == ["j", "lex"], done.stderr
    (tmp_path / "lcapyrc").write_text("__import__('os'): 1\n")
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False, cwd=tmp_path)
    assert "is there a file lcapyrc in this folder? remove it" in done.stderr


def test_laplace_expression_is_the_hand_formula():
    """1/(1 + s L/R + s^2 L C) in floats that hold the values: 4/(s^2 + 2 s + 4)."""
    with fenced() as lcapy:
        found = laplace_expression(lcapy, rational(LOW_PASS), {"L1": 0.5, "C1": 0.5}, {"Z_woofer": 1.0})
        s = lcapy.s
        assert found == 4 / (s**2 + 2 * s + 4)
        assert str(found.limit(s, 0)) == "1"
        assert found.N.sympy == 4


def test_poles_and_zeros_by_hand():
    """s^2 + s/(R C) + 1/(L C) = 0, with R chosen so that 1/(R C) = w0/sqrt2."""
    w0 = 1 / np.sqrt(0.5e-3 * 8e-6)
    poles, zeros = poles_and_zeros(rational(LOW_PASS), VALUES, {"Z_woofer": np.sqrt(0.5e-3 / 8e-6) / np.sqrt(2) * 2})
    # 1/(R C) = w0/sqrt2 here, so the pair lies at w0 (-sqrt2 +- j sqrt14)/4.
    wanted = w0 * np.array([-np.sqrt(2) - 1j * np.sqrt(14), -np.sqrt(2) + 1j * np.sqrt(14)]) / 4
    np.testing.assert_allclose(sorted(poles, key=lambda p: p.imag), wanted, rtol=1e-12)
    assert zeros.size == 0
    poles, zeros = poles_and_zeros(
        rational("* Invented\nC1 in t 4uF\nL1 t 0 0.5mH\nXhigh t 0 tweeter\n", "tweeter"),
        {"L1": 0.5, "C1": 0.5},
        {"Z_tweeter": 0.5},
    )
    np.testing.assert_allclose(poles, [-2, -2], rtol=1e-12)  # s^2 + 4 s + 4
    np.testing.assert_array_equal(zeros, [0, 0])


def test_step_response_of_first_order_is_an_exponential():
    text = "* Invented\nL1 in w 0.5mH\nXlow w 0 woofer\n"
    t = np.array([1e-6, 1e-5, 1e-4, 5e-4])
    got = step_response(rational(text), {"L1": 0.5e-3}, {"Z_woofer": 8.0}, t)
    np.testing.assert_allclose(got, -np.expm1(-t * 8.0 / 0.5e-3), rtol=1e-12)
    high = step_response(rational("* Invented\nC1 in t 4uF\nXh t 0 tw\n", "tw"), {"C1": 4e-6}, {"Z_tw": 8.0}, t)
    np.testing.assert_allclose(high, np.exp(-t / (8.0 * 4e-6)), rtol=1e-12)


def test_step_response_of_second_order_rings_as_the_formula():
    """1 - e^{-at}(cos bt + a/b sin bt), a = 1/(2 R C), b^2 = 1/(L C) - a^2."""
    a = 1 / (2 * 12.0 * 8e-6)
    b = np.sqrt(1 / (0.5e-3 * 8e-6) - a * a)
    t = np.linspace(1e-5, 2e-3, 9)
    got = step_response(rational(LOW_PASS), VALUES, {"Z_woofer": 12.0}, t)
    np.testing.assert_allclose(got, 1 - np.exp(-a * t) * (np.cos(b * t) + a / b * np.sin(b * t)), rtol=1e-10)


def test_step_response_of_high_order_against_scipy():
    """A section of 10 parts with a resonant driver: order 8, the sweep of states integrated by scipy."""
    from scipy import signal
    from symbolic_cases import CIRCUITS, circuit

    network = circuit(next(p for p in CIRCUITS if p.stem == "two-way-fourth-order"))
    solution = solve_symbolic(network)
    w, q = 2 * np.pi * 900.0, 1.5
    # 5.4 + s 5e-5 + 6 (s w/q)/(s^2 + s w/q + w^2)
    upper = np.polyadd(np.polymul([5e-5, 5.4], [1, w / q, w * w]), [6 * w / q, 0])
    driver = {"Z_tweeter": (tuple(upper), (1.0, w / q, w * w))}
    t = np.linspace(0, 3e-3, 41)[1:]
    found = solution.drive["tweeter"]
    got = step_response(found, numbers(network), driver, t, loss_hz=1000.0)
    from xover.network.rational import numeric_polynomials

    top, bottom = numeric_polynomials(found, numbers(network), driver, 1000.0)
    # In units of 10 us, so that scipy's states are of one size.
    scale = 1e5
    top_, bottom_ = ([float(c * int(scale) ** (len(p) - 1 - k)) for k, c in enumerate(p)] for p in (top, bottom))
    _, wanted = signal.step((np.array(top_) / bottom_[0], np.array(bottom_) / bottom_[0]), T=np.r_[0, t * scale])
    assert len(bottom) >= 7
    np.testing.assert_allclose(got, wanted[1:], atol=1e-7 * np.max(np.abs(wanted)))
    assert np.max(np.abs(got)) > 0.1


def test_what_has_no_step_response_is_refused():
    text = "* Invented\nC1 in w 4uF\nXlow in 0 woofer\nR1 w 0 0\n"
    solution = solve_symbolic(network_of(text))
    with pytest.raises(OptionError, match="no step response"):
        step_response(solution.current("C1"), {"C1": 4e-6}, {"Z_woofer": 8.0}, [1e-3])
    twice = rational(LOW_PASS)
    with pytest.raises(OptionError, match="two poles of this function coincide"):
        step_response(twice, {"L1": 0.5, "C1": 0.5}, {"Z_woofer": 0.5}, [1.0])


def test_a_loss_angle_needs_its_frequency():
    found = rational(LOW_PASS.replace("8uF", "8uF df=0.02"))
    with pytest.raises(OptionError, match="C1_df is a constant loss angle"):
        step_response(found, VALUES | {"C1_df": 0.02}, {"Z_woofer": 8.0}, [1e-3])
