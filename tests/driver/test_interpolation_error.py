"""How far a curve is off between its rows, on driver impedances that are known everywhere.

The models are invented. A bound is the largest relative error over eight alignments of the rows with
the peak; the grid that is compared never falls on the rows alone.
"""

from __future__ import annotations

import numpy as np
import pytest

from xover.curve import Curve, Unit, log_grid
from xover.driver.model import DriverModel, LossyInductance, Resonance

COIL = (LossyInductance(4.0, 1e-3), LossyInductance(15.0, 0.4e-3))
WOOFER = DriverModel(6.2, 0.3e-3, COIL, (Resonance(45.0, 60.0, 5.0),))
SHARP_WOOFER = DriverModel(6.8, 0.2e-3, COIL, (Resonance(51.0, 180.0, 10.0),))
DOME = DriverModel.from_thiele_small(5.4, 1100.0, 3.0, 1.2, 0.05e-3)
FLUID_DOME = DriverModel.from_thiele_small(5.4, 900.0, 1.0, 1.6, 0.03e-3)
MODELS = {"woofer": WOOFER, "sharp woofer": SHARP_WOOFER, "dome": DOME, "fluid dome": FLUID_DOME}


def sweeps(model: DriverModel, per_octave: int) -> list[Curve]:
    out = []
    for shift in np.arange(8) / 8:
        by = 2.0 ** (shift / per_octave)
        f = log_grid(10.0 * by, 20000.0 * by, per_octave)
        out.append(Curve(f, model.impedance_ohm(f), Unit.OHM))
    return out


def between(curve: Curve, per_octave: int) -> np.ndarray:
    f = log_grid(curve.lowest_hz, curve.highest_hz, 16 * per_octave + 1)
    return f[(f >= curve.lowest_hz) & (f <= curve.highest_hz)]


def true_error(model: DriverModel, curve: Curve, per_octave: int) -> float:
    f = between(curve, per_octave)
    return float(np.max(np.abs(curve.at(f) / model.impedance_ohm(f) - 1)))


@pytest.mark.parametrize(
    ("name", "per_octave", "limit"),
    [
        ("woofer", 48, 0.0008),
        ("woofer", 24, 0.0025),
        ("woofer", 12, 0.0090),
        ("sharp woofer", 48, 0.0025),
        ("sharp woofer", 24, 0.0090),
        ("sharp woofer", 12, 0.065),
        ("dome", 48, 0.00027),
        ("dome", 24, 0.0010),
        ("dome", 12, 0.0030),
        ("fluid dome", 48, 0.000021),
        ("fluid dome", 24, 0.000080),
        ("fluid dome", 12, 0.00030),
    ],
)
def test_true_error(name: str, per_octave: int, limit: float) -> None:
    worst = max(true_error(MODELS[name], curve, per_octave) for curve in sweeps(MODELS[name], per_octave))
    assert worst < limit


@pytest.mark.parametrize("per_octave", [48, 24, 12])
@pytest.mark.parametrize("name", MODELS)
def test_the_estimate_from_the_data_is_no_less_than_the_true_error(name: str, per_octave: int) -> None:
    for curve in sweeps(MODELS[name], per_octave):
        true = true_error(MODELS[name], curve, per_octave)
        assert 2.0 * true <= curve.interpolation_error() < 20.0 * true


@pytest.mark.parametrize("per_octave", [48, 12])
@pytest.mark.parametrize("name", MODELS)
def test_a_passive_sweep_stays_passive_between_its_rows(name: str, per_octave: int) -> None:
    for curve in sweeps(MODELS[name], per_octave):
        z = curve.at(between(curve, per_octave))
        # The models hold at least Re at every frequency, and so must what is read between the rows.
        assert np.all(z.real >= MODELS[name].re_ohm)
