"""Degrees or radians: invented drivers whose phase is known must be told apart, and never mistaken."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from xover.curve import Complex, Float
from xover.errors import InputError
from xover.files.table_checks import compare_with_slope, fills_a_radian_turn
from xover.files.tables import parse_table


def driver_ohm(f: Float, re: float, fs: float, qms: float, qes: float, le: float) -> Complex:
    """Impedance of a driver on a lumped model (R. H. Small, JAES 1972): Re + motional resonance + j w Le."""
    s, w = 2j * np.pi * f, 2 * np.pi * fs
    return np.asarray(re + re * qms / qes * (s * w / qms) / (s * s + s * w / qms + w * w) + s * le)


def text_of(f: Float, magnitude: Float, phase: Float) -> str:
    return "\n".join(f"{a:.6g} {b:.6g} {c:.6g}" for a, b, c in zip(f, magnitude, phase, strict=True))


def invented(seed: int) -> tuple[Float, Complex]:
    rng = np.random.default_rng(seed)
    lowest = 10 ** rng.uniform(0.5, 2.5)
    f = np.geomspace(lowest, lowest * 10 ** rng.uniform(1.2, 2.7), int(rng.integers(30, 300)))
    fs = lowest * 10 ** rng.uniform(0.2, 0.9)
    z = driver_ohm(f, rng.uniform(3, 12), fs, rng.uniform(1, 10), rng.uniform(0.2, 1.2), 10 ** rng.uniform(-5, -3))
    noise = rng.standard_normal((2, f.size)) * 0.003
    return f, z * (1 + noise[0] + 1j * noise[1])


@pytest.mark.parametrize("seed", range(25))
def test_impedance_in_degrees_is_read_and_in_radians_refused(seed: int) -> None:
    f, z = invented(seed)
    table = parse_table(text_of(f, np.abs(z), np.degrees(np.angle(z))), Path("z.txt"), "ohm")
    assert table.warnings == ()
    with pytest.raises(InputError, match=r"z\.txt:1: the phase runs from .* which looks like radians"):
        parse_table(text_of(f, np.abs(z), np.angle(z)), Path("z.txt"), "ohm")
    declared = parse_table("Hz ohm rad\n" + text_of(f, np.abs(z), np.angle(z)), Path("z.txt"), "ohm")
    assert declared.phase_deg is not None
    np.testing.assert_allclose(declared.phase_deg, np.degrees(np.angle(z)), rtol=1e-5, atol=1e-4)


@pytest.mark.parametrize("seed", range(25))
def test_impedance_with_reversed_phase_is_warned_of(seed: int) -> None:
    f, z = invented(seed)
    table = parse_table(text_of(f, np.abs(z), -np.degrees(np.angle(z))), Path("z.txt"), "ohm")
    assert ["against the slope" in warning for warning in table.warnings] == [True]


@pytest.mark.parametrize("seed", range(10))
def test_resistor_with_small_phases_is_not_taken_for_radians(seed: int) -> None:
    rng = np.random.default_rng(seed)
    f = np.geomspace(20, 20000, 200)
    z = 8.2 * (1 + 0.002 * rng.standard_normal(f.size)) * np.exp(1j * 2e-6 * f)
    table = parse_table(text_of(f, np.abs(z), np.degrees(np.angle(z))), Path("z.txt"), "ohm")
    assert table.warnings == ()


@pytest.mark.parametrize("delay_s", [0.0, 1e-4, 3e-3])
def test_response_in_degrees_is_read_and_in_radians_refused(delay_s: float) -> None:
    f = np.geomspace(20, 20000, 400)
    s = 2j * np.pi * f
    h = (s / 400) ** 2 / ((s / 400) ** 2 + s / 400 + 1) / (1 + s / 60000) ** 2 * np.exp(-s * delay_s)
    level = 20 * np.log10(np.abs(h))
    assert parse_table(text_of(f, level, np.degrees(np.angle(h))), Path("h.txt"), "dB").warnings == ()
    unwrapped = np.degrees(np.unwrap(np.angle(h)))
    table = parse_table(text_of(f, level, unwrapped), Path("h.txt"), "dB")
    assert table.phase_deg is not None
    np.testing.assert_allclose(table.phase_deg, unwrapped, rtol=1e-5, atol=1e-3)
    with pytest.raises(InputError, match=r"h\.txt:1: the phase runs .* looks like radians; .*'Hz dB rad'"):
        parse_table(text_of(f, level, np.angle(h)), Path("h.txt"), "dB")


def test_flat_amplifier_with_few_degrees_is_not_taken_for_radians() -> None:
    f = np.geomspace(20, 20000, 200)
    h = 1 / (1 + 1j * f / 400e3) / (1 - 1j * 1.1 / f)  # 3 degrees at either end
    p = np.degrees(np.angle(h))
    assert np.abs(p).max() < 3.2
    table = parse_table(text_of(f, 20 * np.log10(np.abs(h)), p), Path("h.txt"), "dB")
    assert table.warnings == ()


def test_slope_of_a_coil_and_a_capacitor() -> None:
    # Exact by Bode's relation: |Z| rising 6 dB an octave has +90 degrees, falling -90.
    f = np.geomspace(10, 10000, 50)
    for sign in (1, -1):
        fit = compare_with_slope(f, sign * np.log(f), np.full(f.size, sign * 90.0))
        assert fit is not None
        assert fit.ratio == pytest.approx(1.0, rel=1e-9)
        assert fit.correlation == pytest.approx(1.0, rel=1e-9)
        assert fit.implied_deg == pytest.approx(90.0, rel=1e-9)


def test_window_mean_is_exact_on_a_linear_curve() -> None:
    # ln|Z| = u^2/2 has slope u = ln f at each window's middle: a phase of 90 u degrees fits with ratio 1.
    f = np.geomspace(2, 2000, 4001)
    fit = compare_with_slope(f, 0.5 * np.log(f) ** 2, 90.0 * np.log(f))
    assert fit is not None
    assert fit.ratio == pytest.approx(1.0, rel=1e-5)


def test_narrow_sweep_says_nothing() -> None:
    assert compare_with_slope(np.geomspace(100, 150, 20), np.linspace(0, 1, 20), np.zeros(20)) is None


def test_wrapped_radians() -> None:
    turn = np.linspace(0.0, -40.0, 300)
    wrapped = np.angle(np.exp(1j * turn))
    assert fills_a_radian_turn(wrapped)
    assert fills_a_radian_turn(np.mod(turn, 2 * np.pi))
    assert not fills_a_radian_turn(np.degrees(wrapped))
    assert not fills_a_radian_turn(np.linspace(3.1, -3.1, 300))
