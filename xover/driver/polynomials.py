"""A driver's electrical model as a ratio of two polynomials in s."""

from __future__ import annotations

import math

import numpy as np

from xover.curve import Float
from xover.driver.model import DriverModel


def impedance_polynomials(model: DriverModel) -> tuple[Float, Float]:
    """Numerator and denominator of Z(s), highest power of s first.

    Re + s Le + sum s R L/(R + s L) + sum of resonances R (s w0/Q)/(s^2 + s w0/Q + w0^2).
    """
    top, bottom = np.array([model.le_h, model.re_ohm]), np.array([1.0])
    cells = [(np.array([c.r_ohm * c.l_h, 0.0]), np.array([c.l_h, c.r_ohm])) for c in model.lossy]
    for peak in model.resonances:
        omega = 2.0 * math.pi * peak.f_hz
        width = omega / peak.q
        cells.append((np.array([peak.r_ohm * width, 0.0]), np.array([1.0, width, omega**2])))
    for numerator, denominator in cells:
        top = np.polyadd(np.polymul(top, denominator), np.polymul(numerator, bottom))
        bottom = np.polymul(bottom, denominator)
    return np.trim_zeros(top, "f"), bottom
