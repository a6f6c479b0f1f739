"""Integral theorems of network theory, which a passive, causal, minimum-phase model must obey.

Resistance and reactance integrals, Kramers-Kronig and the gain-phase integral (H. W. Bode, Network Analysis
and Feedback Amplifier Design, 1945; from memory). The table of the gain-phase integral is of the
fourth-order Linkwitz-Riley low-pass, whose true phase is known in closed form.
"""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from scipy.integrate import quad

from xover.curve import log_grid
from xover.driver.minimum_phase import minimum_phase
from xover.driver.model import DriverModel, LossyInductance, Resonance

pytestmark = pytest.mark.outside

# No series inductance: at the top the impedance tends to a resistance, as the theorems ask. Invented.
MODEL = DriverModel(
    6.2, 0.0, (LossyInductance(4.0, 1e-3), LossyInductance(15.0, 0.4e-3)), (Resonance(45.0, 40.0, 5.0),)
)


def z(f: float) -> complex:
    return complex(MODEL.impedance_ohm([f])[0])


def over_log_frequency(value: object, low: float = 1e-7, high: float = 1e12) -> float:
    """Integral over ln f; pieces end at the resonance and the corners, where the integrand turns."""
    assert callable(value)
    ends = [low, 1.0, 40.0, 45.0, 50.0, 500.0, 5e3, 5e4, high]
    return sum(
        quad(lambda u: value(math.exp(u)), math.log(a), math.log(b), limit=300, epsabs=1e-11, epsrel=1e-10)[0]
        for a, b in itertools.pairwise(ends)
    )


def test_reactance_integral() -> None:
    """Int X d ln w = (pi/2)(R_inf - R_0), with R_inf - R_0 = 4 + 15 ohm."""
    assert over_log_frequency(lambda f: z(f).imag) == pytest.approx(math.pi / 2 * 19.0, rel=1e-6)


def test_resistance_integral() -> None:
    """Int Re Z dw = pi/(2 C) for a two-pole that is shunted by C at infinity: here the resonance alone."""
    peak = MODEL.resonances[0]
    # Qms = w C R, so C = 5/(2 pi 45 x 40) = 442.097 uF.
    total = over_log_frequency(lambda f: 2 * math.pi * f * complex(peak.impedance_ohm([f])[0]).real)
    assert total == pytest.approx(math.pi / (2 * 442.0970641e-6), rel=1e-6)


@pytest.mark.parametrize("f0", [20.0, 44.0, 60.0, 900.0, 12000.0])
def test_kramers_kronig(f0: float) -> None:
    """X(w0) = (2 w0/pi) PV Int (R(w) - R(w0))/(w^2 - w0^2) dw: the reactance from the resistance alone.

    Over ln w the kernel is w w0/(w^2 - w0^2), and both sides of w0 are taken together, so nothing is singular.
    """
    r0 = z(f0).real

    def both(v: float) -> float:
        up, down = z(f0 * math.exp(v)).real, z(f0 * math.exp(-v)).real
        # w w0/(w^2 - w0^2) = 1/(2 sinh v) above, and its negative below.
        return ((up - r0) - (down - r0)) / (2 * math.sinh(v))

    ends = [1e-9, 0.01, 0.1, 0.5, 1.0, 2.0, 4.0, 8.0, 30.0]
    total = sum(quad(both, a, b, limit=300, epsabs=1e-12)[0] for a, b in itertools.pairwise(ends))
    assert 2 / math.pi * total == pytest.approx(z(f0).imag, rel=1e-5)


@pytest.mark.parametrize(
    ("ratio", "phase_deg"),
    [(0.25, -41.3253), (0.5, -86.6277), (1.0, -180.0000), (2.0, -273.3723), (4.0, -318.6747)],
)
def test_gain_phase_table(ratio: float, phase_deg: float) -> None:
    """Fourth-order Linkwitz-Riley low-pass at 1 kHz: |H| = 1/(1 + (w/w0)^4), tails 0 and -24.08 dB per octave."""
    f = log_grid(1000.0 / 256, 256000.0, 96)
    level = -20 * np.log10(1 + (f / 1000.0) ** 4)
    found = minimum_phase(f, level, 0.0, -80 * math.log10(2))
    got = float(np.interp(math.log(1000.0 * ratio), np.log(f), found.phase_deg))
    assert got == pytest.approx(phase_deg, abs=1e-3)
