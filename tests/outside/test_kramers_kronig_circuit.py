"""Kramers-Kronig on circuits whose impedance is known in closed form.

X(w0) = (2 w0/pi) PV Int (R(w) - R(w0))/(w^2 - w0^2) dw for a minimum-reactance impedance (Bode 1945, from memory).
"""

import numpy as np
import pytest

from xover.curve import Curve, Float, Unit, log_grid
from xover.driver.kramers_kronig import _CELLS, _CELLS_PER_ROW, _cells, check_causality

pytestmark = pytest.mark.outside


def reactance_from_resistance(frequency_hz: Float, resistance_ohm: Float) -> Float:
    """(n,) reactance of the minimum-reactance impedance with this real part: no coil or capacitor in series.

    Cells are fitted to the real part alone, and their imaginary part is read; trust it in the middle of the band, as
    what lies beyond is guessed by the cells there.

    Parameters
    ----------
    frequency_hz : (n,) rising. resistance_ohm : (n,).
    """
    rows = frequency_hz.size / float(np.log2(frequency_hz[-1] / frequency_hz[0]))
    cells = np.column_stack([np.ones(frequency_hz.size), _cells(frequency_hz, min(_CELLS, _CELLS_PER_ROW * rows))])
    inner = cells.real.T @ cells.real
    inner[np.diag_indices_from(inner)] += 1e-6 * np.trace(inner) / inner.shape[0]
    return np.asarray(cells.imag @ np.linalg.solve(inner, cells.real.T @ resistance_ohm))


def test_resistor_and_capacitor_in_parallel():
    # 10 ohm, 5 uF: at w0 = 1/(R C) the reactance is -R/2 = -5 ohm, exactly.
    w0 = 1.0 / (10.0 * 5e-6)
    f = log_grid(w0 / 2 / np.pi / 256.0, w0 / 2 / np.pi * 256.0, 24)
    z = 10.0 / (1 + 2j * np.pi * f / w0)
    found = reactance_from_resistance(f, z.real)
    middle = int(np.argmin(np.abs(f - w0 / 2 / np.pi)))
    assert f[middle] == pytest.approx(w0 / 2 / np.pi, rel=1e-9)
    assert found[middle] == pytest.approx(-5.0, rel=0.004)
    inside = slice(48, -48)
    assert np.max(np.abs(found[inside] - z.imag[inside])) < 0.03 * 10.0


def test_resonance_by_the_integral_done_numerically():
    """The integral itself, by the trapezoidal rule with its singular point left out symmetrically over ln w."""
    r, hz, q = 30.0, 300.0, 3.0
    f = log_grid(hz / 200.0, hz * 200.0, 48)

    def impedance(f):
        return 5.0 + r / (1 + 1j * q * (f / hz - hz / f))

    found = reactance_from_resistance(f, impedance(f).real)
    fine = log_grid(hz / 1e5, hz * 1e5, 4000)
    for at in (150.0, 250.0, 420.0, 900.0):
        u = np.log(fine / at)
        # dw = w du; the grid is shifted so that it straddles w0 evenly.
        step = u[1] - u[0]
        w = at * np.exp((np.arange(-40_000, 40_000) + 0.5) * step)
        difference = impedance(w).real - impedance(np.array([at])).real
        integral = (2 * at / np.pi) * np.sum(difference / (w**2 - at**2) * w) * step
        assert integral == pytest.approx(impedance(np.array([at])).imag[0], rel=2e-3)
        nearest = int(np.argmin(np.abs(f - at)))
        assert found[nearest] == pytest.approx(impedance(f[nearest : nearest + 1]).imag[0], rel=0.03)


def test_a_loudspeaker_with_its_crossover_is_causal_and_its_conjugate_is_not():
    """Lumped woofer behind L and C, by series and parallel arithmetic."""
    f = log_grid(10.0, 20e3, 48)
    jw = 2j * np.pi * f
    woofer = 5.8 + 0.6e-3 * jw + 1 / (1 / 26.0 + jw * 0.4e-3 + 1 / (jw * 22e-3))
    z = 0.4 + 1.8e-3 * jw + 1 / (1 / woofer + jw * 6.8e-6)
    sound = check_causality(Curve(f, z, Unit.OHM))
    assert sound.causal
    assert sound.passive
    assert sound.residual < 0.004
    turned = check_causality(Curve(f, z.conj(), Unit.OHM))
    assert turned.causal is False
    assert turned.sign_turned
