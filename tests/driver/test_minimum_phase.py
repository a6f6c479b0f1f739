"""Minimum phase: exact cases, convergence, tails, refusals. The published table is in tests/outside."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.typing import NDArray

from xover.curve import Curve, Unit, log_grid
from xover.driver.minimum_phase import gain_phase_integral, minimum_phase, minimum_phase_curve
from xover.driver.model import DriverModel, LossyInductance, Resonance
from xover.errors import InputError

Float = NDArray[np.float64]
Complex = NDArray[np.complex128]

SIX = 20 * math.log10(2)


def high_pass(f: Float, f0: float, q: float) -> Complex:
    s = 1j * f / f0
    return np.asarray(s * s / (s * s + s / q + 1))


def lr4(f: Float, f0: float) -> Complex:
    s = 1j * f / f0
    return np.asarray(1 / (s * s + math.sqrt(2) * s + 1) ** 2)


def level(h: Complex) -> Float:
    return np.asarray(20 * np.log10(np.abs(h)))


def phase(h: Complex) -> Float:
    return np.degrees(np.unwrap(np.angle(h)))


def worst(h: Complex, f: Float, low: float | None, high: float | None) -> float:
    got = minimum_phase(f, level(h), low, high).phase_deg
    error = got - phase(h)
    return float(np.max(np.abs(error - 360 * np.round(np.median(error) / 360))))


def test_integral_against_quadrature() -> None:
    """The closed form against adaptive quadrature of its own definition."""
    from scipy.integrate import quad

    for u in (1e-3, 0.1, 1.0, 3.0, 20.0):
        expected, _ = quad(lambda x: -math.log(math.tanh(x / 2)), 0.0, u, limit=200, epsabs=1e-13)
        assert float(gain_phase_integral(u)) == pytest.approx(expected, rel=1e-9)
        assert float(gain_phase_integral(-u)) == pytest.approx(-expected, rel=1e-9)


def test_integral_ends_at_a_quarter_of_pi_squared() -> None:
    np.testing.assert_allclose(gain_phase_integral([-np.inf, 0.0, np.inf]), [-(math.pi**2) / 4, 0.0, math.pi**2 / 4])


@pytest.mark.parametrize("order", [-4, -1, 1, 2])
def test_a_straight_line_turns_ninety_degrees_for_each_order(order: int) -> None:
    # Bode: a constant slope of n x 6.02 dB per octave has n x 90 degrees, whatever the rows.
    f = np.array([20.0, 31.0, 100.0, 7777.0, 20000.0])
    got = minimum_phase(f, order * SIX * np.log2(f))
    np.testing.assert_allclose(got.phase_deg, 90.0 * order, rtol=1e-9)
    assert got.low_slope_db_per_octave == pytest.approx(order * SIX, rel=1e-9)


def test_second_order_high_pass() -> None:
    # 1000 Hz, Q 0.8, tails given, 48 points per octave: the straight lines alone cost under 0.005 degrees.
    f = log_grid(5.0, 80000.0, 48)
    assert worst(high_pass(f, 1000.0, 0.8), f, 2 * SIX, 0.0) < 0.005


def test_error_falls_with_the_square_of_the_spacing() -> None:
    errors = [worst(lr4(f, 800.0), f, 0.0, -4 * SIX) for f in (log_grid(5.0, 128000.0, n) for n in (12, 24, 48))]
    assert errors[0] / errors[1] == pytest.approx(4.0, rel=0.1)
    assert errors[1] / errors[2] == pytest.approx(4.0, rel=0.1)
    assert errors[2] < 0.003


@pytest.mark.parametrize(
    ("name", "limit_deg"),
    [("lr4 at 2500 Hz", 0.1), ("high-pass at 1000 Hz", 0.1), ("high-pass at 60 Hz", 0.3), ("both", 0.6)],
)
def test_fitted_tails_over_the_audio_band(name: str, limit_deg: float) -> None:
    """20 Hz to 20 kHz, 48 points per octave, nothing given: the tails' slopes cost most of the error."""
    f = log_grid(20.0, 20000.0, 48)
    h = {
        "lr4 at 2500 Hz": lr4(f, 2500.0),
        "high-pass at 1000 Hz": high_pass(f, 1000.0, 0.8),
        "high-pass at 60 Hz": high_pass(f, 60.0, 0.8),
        "both": high_pass(f, 60.0, 0.8) * lr4(f, 4000.0),
    }[name]
    assert worst(h, f, None, None) < limit_deg


DRIVER = DriverModel(6.2, 0.3e-3, (LossyInductance(4.0, 1e-3),), (Resonance(45.0, 40.0, 5.0),))


def test_impedance_of_a_driver_is_of_minimum_phase() -> None:
    f = log_grid(0.5, 2e6, 48)
    assert worst(DRIVER.impedance_ohm(f), f, 0.0, SIX) < 0.1


def test_impedance_over_the_audio_band() -> None:
    """The coil is not on its asymptote at 20 kHz: there the tail costs up to a few degrees, inside little."""
    f = log_grid(10.0, 20000.0, 48)
    z = DRIVER.impedance_ohm(f)
    error = np.abs(minimum_phase(f, level(z), low_slope_db_per_octave=0.0).phase_deg - phase(z))
    assert np.max(error[(f > 20.0) & (f < 10000.0)]) < 1.5
    assert np.max(error[(f > 30.0) & (f < 5000.0)]) < 0.9


def test_ripple_hardly_moves_a_fitted_slope() -> None:
    f = log_grid(20.0, 20000.0, 48)
    ripple = 0.5 * np.random.default_rng(4).standard_normal(f.size)
    got = minimum_phase(f, level(high_pass(f, 1000.0, 0.8)) + ripple)
    assert got.low_slope_db_per_octave == pytest.approx(2 * SIX, rel=0.1)


def test_what_a_wrong_tail_costs() -> None:
    """A tail one decibel per octave steeper turns the phase by what the closed form says."""
    f = log_grid(20.0, 20000.0, 24)
    h = level(high_pass(f, 60.0, 0.8))
    base, low, high = minimum_phase(f, h, 12.0, 0.0), minimum_phase(f, h, 13.0, 0.0), minimum_phase(f, h, 12.0, 1.0)
    u, neper, whole = np.log(f), np.log(10) / 20 / np.log(2), np.pi**2 / 4
    to_deg = 180.0 / np.pi**2 * neper
    below, above = to_deg * (whole + gain_phase_integral(u[0] - u)), to_deg * (whole - gain_phase_integral(u[-1] - u))
    np.testing.assert_allclose(low.phase_deg - base.phase_deg, below, rtol=1e-6)
    np.testing.assert_allclose(high.phase_deg - base.phase_deg, above, rtol=1e-6)
    # Half of the full 90/6.02 degrees at the end itself, derived from the symmetry of the integral.
    assert below[0] == pytest.approx(45.0 / SIX, rel=1e-9)


def test_the_tails_are_told_in_words() -> None:
    f = log_grid(20.0, 20000.0, 24)
    words = minimum_phase(f, level(lr4(f, 2500.0)), low_slope_db_per_octave=0.0).slopes_from
    assert words == "low tail +0 dB per octave, given; high tail -24.1 dB per octave, fitted from 14.2 kHz to 20 kHz"


def test_a_curve_gets_phase_and_keeps_its_level() -> None:
    f = log_grid(20.0, 20000.0, 48)
    size = np.abs(high_pass(f, 1000.0, 0.8)) * 1e4
    bare = Curve(f, size, Unit.PASCAL_20U, has_phase=False, source="woofer.csv")
    got, tails = minimum_phase_curve(bare, 2 * SIX, 0.0)
    assert got.has_phase
    assert got.source == "woofer.csv"
    np.testing.assert_allclose(np.abs(got.value), size, rtol=1e-12)
    np.testing.assert_allclose(np.degrees(np.angle(got.value)), tails.phase_deg, rtol=1e-9)


def test_a_constant_level_and_a_delay_change_nothing() -> None:
    f = log_grid(20.0, 20000.0, 24)
    h = level(lr4(f, 2500.0))
    np.testing.assert_allclose(minimum_phase(f, h + 90).phase_deg, minimum_phase(f, h).phase_deg, rtol=1e-6, atol=1e-9)


@pytest.mark.parametrize(
    ("f", "db", "words"),
    [
        ([20.0, 30.0, 40.0], [0.0, 0.0, 0.0], "needs 4 or more rows, each with one level, and has 3"),
        ([20.0, 30.0, 30.0, 40.0], [0.0, 0.0, 0.0, 0.0], "frequencies do not rise"),
        ([20.0, 30.0, 40.0, 50.0], [0.0, -math.inf, 0.0, 0.0], "no level at 30 Hz"),
    ],
)
def test_refusals(f: list[float], db: list[float], words: str) -> None:
    with pytest.raises(InputError, match=words):
        minimum_phase(f, db)


def test_a_tail_needs_a_finite_slope() -> None:
    with pytest.raises(InputError, match="a tail's slope of nan dB per octave"):
        minimum_phase([20.0, 30.0, 40.0, 50.0], np.zeros(4), math.nan)


def test_a_fault_in_a_curve_names_its_file() -> None:
    curve = Curve(np.array([20.0, 30.0, 40.0, 50.0]), np.array([1.0, 0.0, 1.0, 1.0]), Unit.PASCAL_20U, source="a.csv")
    with pytest.raises(InputError, match=r"a\.csv: there is no level at 30 Hz"):
        minimum_phase_curve(curve)
