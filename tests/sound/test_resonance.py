"""One resonance of a driver: true to the model it was made from, steady under noise, silent where there is none."""

from __future__ import annotations

import numpy as np
import pytest

from xover.curve import Curve, Evidence, Unit, log_grid
from xover.driver.model import DriverModel
from xover.sound.resonance import swept_resonance_hz

F = log_grid(20.0, 20_000.0, 24)


def sweep(fs_hz, noise=0.0, seed=1, re=6.0, qms=2.5, qes=1.5, le=0.05e-3, phase=True, f=F):
    z = DriverModel.from_thiele_small(re, fs_hz, qms, qes, le).impedance_ohm(f)
    rng = np.random.default_rng(seed)
    z = z * (1 + noise * (rng.standard_normal(f.size) + 1j * rng.standard_normal(f.size)))
    return Curve(f, z, Unit.OHM, Evidence.MEASURED, has_phase=phase)


@pytest.mark.parametrize("fs", [45.0, 160.0, 700.0, 1500.0])
def test_a_clean_sweep_gives_back_the_model(fs):
    """Re + s Le beside one resonance is the very function that is fitted."""
    assert swept_resonance_hz(sweep(fs)) == pytest.approx(fs, rel=1e-6)


def test_noise_moves_it_less_than_it_moves_the_highest_row():
    found = [swept_resonance_hz(sweep(1050.0, 0.004, seed)) for seed in range(30)]
    rows = [F[np.argmax(np.where(F < 5000.0, np.abs(sweep(1050.0, 0.004, seed).value), 0.0))] for seed in range(30)]
    assert np.max(np.abs(np.array(found) / 1050.0 - 1)) < 0.012
    assert np.std(found) < 0.5 * np.std(rows)


def test_without_phase_the_peak_itself_is_taken():
    curve = sweep(300.0, phase=False)
    magnitude = Curve(F, np.abs(curve.value), Unit.OHM, Evidence.MEASURED, has_phase=False)
    assert swept_resonance_hz(magnitude) == pytest.approx(300.0, rel=0.01)


def test_a_voice_coil_alone_has_none():
    assert np.isnan(swept_resonance_hz(Curve(F, 6.0 + 2j * np.pi * F * 0.5e-3, Unit.OHM, Evidence.MEASURED)))
