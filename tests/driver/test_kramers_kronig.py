"""The causality check: sound sweeps pass, and each fault of a jig is named."""

import numpy as np
import pytest

from xover.curve import Curve, Unit, log_grid
from xover.driver.kramers_kronig import TOLERANCE, CausalChain, check_causality

F = log_grid(10.0, 20e3, 48)


def woofer(f, qm=7.0):
    """Semi-inductance, resonance of Q 7, breakup: causal by construction, of no lumped model."""
    return (
        6.0
        + 4.0 * (1j * f / 1e3) ** 0.65
        + 40.0 / (1 + 1j * qm * (f / 45.0 - 45.0 / f))
        + 1.0 / (1 + 7j * (f / 700.0 - 700.0 / f))
    )


def swept(z, f=F, has_phase=True):
    return Curve(f, z if has_phase else np.abs(z) + 0j, Unit.OHM, has_phase=has_phase)


def noisy(z, share, seed):
    random = np.random.default_rng(seed)
    return z * (1 + share * (random.standard_normal(z.size) + 1j * random.standard_normal(z.size)))


def test_what_a_causal_sweep_leaves_is_its_noise():
    clean = check_causality(swept(woofer(F)))
    assert clean.causal
    assert clean.residual < TOLERANCE / 5
    for share in (0.004, 0.01):
        found = check_causality(swept(noisy(woofer(F), share, 1)), share)
        assert found.causal
        assert found.residual == pytest.approx(np.hypot(share, clean.residual), rel=0.1)
        assert found.passive


def test_a_turned_sign_is_named():
    found = check_causality(swept(woofer(F).conj()))
    assert found.causal is False
    assert found.residual > 5 * TOLERANCE
    assert found.sign_turned
    assert found.advance_s is None


def test_a_voltage_that_runs_ahead_is_named_with_its_time():
    found = check_causality(swept(noisy(woofer(F), 0.003, 2) * np.exp(2j * np.pi * F * 20e-6)), 0.003)
    assert found.causal is False
    assert not found.sign_turned
    assert 16e-6 <= found.advance_s <= 24e-6


def test_a_phase_of_the_wrong_size_is_not_causal_and_not_explained():
    z = woofer(F)
    found = check_causality(swept(np.abs(z) * np.exp(1.25j * np.angle(z))))
    assert found.causal is False
    assert not found.sign_turned
    assert found.advance_s is None


def test_a_negative_real_part_is_not_passive():
    z = woofer(F)
    z = np.where((F > 8e3) & (F < 12e3), z - 2.0 * z.real, z)
    found = check_causality(swept(z), 0.004)
    assert found.passive is False
    assert 8e3 < found.negative_at_hz < 12e3
    assert check_causality(swept(woofer(F)), 0.004).negative_at_hz is None


def test_what_cannot_be_judged_is_said():
    magnitude = check_causality(swept(woofer(F), has_phase=False))
    assert magnitude.causal is None
    assert "no phase" in magnitude.reason
    f = log_grid(20.0, 20e3, 9)
    coarse = check_causality(swept(woofer(f), f))
    assert coarse.causal is None
    assert "rows in an octave" in coarse.reason
    assert np.isnan(coarse.residual)


def test_the_chain_follows_coil_capacitor_and_resistance_exactly_enough():
    chain = CausalChain(F, np.full(F.size, 10.0))
    z = 5.0 + 2j * np.pi * F * 1e-4 + 1 / (2j * np.pi * F * 2e-3)
    assert chain.misfit(z) < 2e-3
    # Twice what is not causal leaves twice as much.
    assert chain.misfit(2 * woofer(F).conj()) == pytest.approx(2 * chain.misfit(woofer(F).conj()), rel=1e-9)
