"""Equivalent peak dissipation resistance: how hot a reactive load makes a linear output stage.

A load that stores energy asks for current while much voltage stands across the output device.
EPDR is the plain resistor that would heat the device as much at the worst instant. It is no
impedance that a meter can find, so it always stands beside the modulus, never in its place.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

Float = NDArray[np.float64]

ASSUMPTION: Final = (
    "an ideal class B push-pull output stage, supply rails equal to the peak output voltage, a steady sine; "
    "other classes heat differently, and class D hardly at all by this"
)

# A lossless load computed with rounding may show 90.00000000000001 degrees: that is still 90.
ROUNDING_DEG: Final = 1e-9


def epdr_over_modulus(phase_deg: ArrayLike) -> Float:
    """EPDR over |Z| for a load's phase angle.

    While a device conducts, it holds p = (V - V sin t) (V/|Z|) sin(t - phi). From dp/dt = 0,
    sin(2t - phi) = cos(t - phi), the peak is at t = 5 pi/6 + 2 phi/3, so

        EPDR/|Z| = 1/4 / [ (1 - sin(5 pi/6 + 2|phi|/3)) sin(5 pi/6 - |phi|/3) ]

    1 for a resistor, 1/(2 sqrt 2) at 45 degrees, 1/(3 sqrt 3) at 90 degrees. The notion is from
    E. Benjamin, JAES 42(9), 1994 (from memory); the formula is as published in a forum thread on
    EPDR, checked here by brute force.

    Parameters
    ----------
    phase_deg : any shape; even in its sign. NaN gives NaN.

    Returns
    -------
    Same shape. NaN beyond 90 degrees: the load would deliver power, so it is not passive.
    """
    phase = np.abs(np.asarray(phase_deg, dtype=float))
    with np.errstate(invalid="ignore"):
        passive = phase <= 90.0 + ROUNDING_DEG
    angle = np.radians(np.where(passive, np.minimum(phase, 90.0), 0.0))
    peak = (1.0 - np.sin(5 * np.pi / 6 + 2 * angle / 3)) * np.sin(5 * np.pi / 6 - angle / 3)
    return np.where(passive, 0.25 / peak, np.nan)


def epdr(impedance_ohm: ArrayLike) -> Float:
    """EPDR of a complex impedance, ohm.

    Parameters
    ----------
    impedance_ohm : complex, any shape.

    Returns
    -------
    Same shape, ohm, at most |Z|. NaN where the impedance is NaN or not passive (phase beyond 90
    degrees); 0 where it is 0.
    """
    z = np.asarray(impedance_ohm, dtype=complex)
    return np.asarray(np.abs(z) * epdr_over_modulus(np.degrees(np.angle(z))))
