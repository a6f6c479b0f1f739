"""Driver model and fit against published parameter sets (makers' and models' names withheld).

1. A maker's published measured parameter sheet, at its printed precision.
2. The parameter file of a lumped driver in a general-purpose FEM package's application library, whose voice
   coil is a semi-inductance Le (jw)^n; its outputs are recomputed, as the file prints none.
3. The method of the two half-way points (Small 1972, from memory), with a derived example.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.typing import NDArray

from xover.curve import Curve, Unit, log_grid
from xover.driver.datasheet import DatasheetValues
from xover.driver.fit import fit_driver
from xover.driver.model import DriverModel

pytestmark = pytest.mark.outside

Float = NDArray[np.float64]
Complex = NDArray[np.complex128]

SHEET = {
    "re": 6.18,
    "fs": 110.3,
    "qms": 4.537,
    "qes": 1.297,
    "qts": 1.009,
    "res": 21.62,
    "lces": 6.88e-3,
    "cmes": 302.84e-6,
}


def test_sheet_q_values_give_the_printed_circuit() -> None:
    elements = {
        e.name: e.value
        for e in DriverModel.from_thiele_small(SHEET["re"], SHEET["fs"], SHEET["qms"], SHEET["qes"]).rlc_elements()
    }
    assert elements["Re"] == SHEET["re"]
    assert elements["Rres1"] == pytest.approx(SHEET["res"], rel=1e-3)
    assert elements["Lres1"] == pytest.approx(SHEET["lces"], rel=1e-3)
    assert elements["Cres1"] == pytest.approx(SHEET["cmes"], rel=1e-3)


def test_sheet_total_q_and_peak() -> None:
    model = DriverModel.from_thiele_small(SHEET["re"], SHEET["fs"], SHEET["qms"], SHEET["qes"])
    assert model.qts == pytest.approx(SHEET["qts"], rel=1e-3)
    assert model.re_ohm + model.resonances[0].r_ohm == pytest.approx(27.80, rel=1e-3)
    assert DatasheetValues(SHEET["re"], SHEET["fs"], SHEET["qms"], SHEET["qes"]).qts == pytest.approx(
        SHEET["qts"], rel=1e-3
    )


def test_a_sweep_of_the_printed_circuit_gives_the_printed_values() -> None:
    """The printed R, L and C as a circuit (written here by hand), swept and fitted: the printed fs and Qs."""
    f = log_grid(20.0, 20000.0, 48)
    w = 2j * math.pi * f
    z = SHEET["re"] + 1 / (1 / SHEET["res"] + 1 / (w * SHEET["lces"]) + w * SHEET["cmes"])
    fit = fit_driver(Curve(f, z, Unit.OHM))
    assert fit.fs_hz == pytest.approx(SHEET["fs"], rel=1e-3)
    assert fit.qms == pytest.approx(SHEET["qms"], rel=1e-3)
    assert fit.qes == pytest.approx(SHEET["qes"], rel=1e-3)
    assert fit.qts == pytest.approx(SHEET["qts"], rel=1e-3)


# --- semi-inductance ---------------------------------------------------------------------------------------

RE, LE, ORDER = 7.0, 6.89e-3, 0.7
BL, RMS, CMS, MMS = 11.4, 1.85, 1.18e-3, 44.4592e-3
# Recomputed table: f, Re Z, Im Z.
SEMI = (
    (10.0, 9.0979, 11.9106),
    (100.0, 7.6230, -4.3065),
    (300.0, 7.6483, -0.3539),
    (1000.0, 8.4287, 2.3324),
    (5000.0, 11.3983, 8.5388),
    (10000.0, 14.1449, 13.9760),
    (20000.0, 18.6068, 22.7564),
)


def coil(f: Float) -> Complex:
    return np.asarray(RE + LE * (2j * math.pi * f) ** ORDER)


def semi_inductive(f: Float) -> Complex:
    w = 2j * math.pi * f
    return np.asarray(coil(f) + BL**2 / (RMS + w * MMS + 1 / (w * CMS)))


def test_the_formula_here_is_the_published_one() -> None:
    f, real, imaginary = np.array(SEMI).T
    np.testing.assert_allclose(semi_inductive(f), real + 1j * imaginary, rtol=2e-5)


def test_the_model_follows_the_semi_inductance() -> None:
    """10 Hz to 20 kHz: 0.2 % rms and under 1 % anywhere, with R || L cells in place of (jw)^0.7."""
    f = log_grid(10.0, 20000.0, 48)
    fit = fit_driver(Curve(f, semi_inductive(f), Unit.OHM))
    assert fit.relative_rms < 0.0025
    assert fit.worst_residual < 0.007
    at, real, imaginary = np.array(SEMI).T
    np.testing.assert_allclose(fit.model.impedance_ohm(at), real + 1j * imaginary, rtol=0.007)
    assert fit.fs_hz == pytest.approx(21.9735, rel=1e-3)
    assert fit.qms == pytest.approx(3.3179, rel=0.005)
    # The coil's own losses are part of Re to the terminals: Re 1.5 % high, and Qes and Qts with it.
    assert fit.qes == pytest.approx(0.33062, rel=0.02)
    assert fit.qts == pytest.approx(0.30066, rel=0.02)
    assert fit.model.re_ohm == pytest.approx(7.0, rel=0.02)


def test_the_coil_alone_keeps_its_constant_angle() -> None:
    """Leach 2002: K (jw)^n has n x 90 degrees; at 1 kHz |Z| 3.140112 ohm at 63 degrees, without Re."""
    f = log_grid(20.0, 20000.0, 48)
    fit = fit_driver(Curve(f, coil(f), Unit.OHM))
    assert fit.relative_rms < 0.003
    assert fit.model.resonances == ()
    z = fit.model.impedance_ohm([1000.0])[0] - RE
    assert abs(z) == pytest.approx(3.140112, rel=0.02)
    assert math.degrees(math.atan2(z.imag, z.real)) == pytest.approx(63.0, rel=0.02)


# --- half-way points ---------------------------------------------------------------------------------------


def test_half_way_points() -> None:
    """Re 6, fs 50, Qms 5, Qes 0.5: |Z| is sqrt(Re Zmax) at f1 and f2, f1 f2 = fs^2; the phase is extreme there."""
    model = DriverModel.from_thiele_small(6.0, 50.0, 5.0, 0.5)
    assert model.re_ohm + model.resonances[0].r_ohm == pytest.approx(66.0, rel=1e-12)
    assert model.qts == pytest.approx(0.454545, rel=2e-6)
    z = model.impedance_ohm([36.09514, 69.26139])
    np.testing.assert_allclose(np.abs(z), 19.89975, rtol=1e-6)
    np.testing.assert_allclose(np.angle(z, deg=True), [56.442690, -56.442690], rtol=1e-6)


def test_fit_agrees_with_the_half_way_method() -> None:
    """The method itself, applied to rows that are read off the sweep, and the fit of the same sweep."""
    f = log_grid(10.0, 1000.0, 480)
    z = DriverModel.from_thiele_small(6.0, 50.0, 5.0, 0.5).impedance_ohm(f)
    size = np.abs(z)
    top = int(np.argmax(size))
    half = math.sqrt(6.0 * size[top])
    f1 = float(np.interp(half, size[:top], f[:top]))
    f2 = float(np.interp(-half, -size[top:], f[top:]))
    qms = f[top] / (f2 - f1) * math.sqrt(size[top] / 6.0)
    fit = fit_driver(Curve(f, z, Unit.OHM))
    assert qms == pytest.approx(5.0, rel=2e-3)
    assert fit.qms == pytest.approx(qms, rel=2e-3)
    assert fit.qes == pytest.approx(qms / (size[top] / 6.0 - 1), rel=2e-3)
