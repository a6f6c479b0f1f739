"""Level and phase of a complex pressure, as they are shown."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Float = NDArray[np.float64]


def level_db(pressure: ArrayLike) -> Float:
    """20 lg|pressure|, dB re the unit of `pressure`; -inf at zero, NaN at NaN, same shape."""
    with np.errstate(divide="ignore"):
        return np.asarray(20.0 * np.log10(np.abs(np.asarray(pressure))), dtype=float)


def phase_deg(pressure: ArrayLike) -> Float:
    """Phase in degrees, -180..180; NaN where the pressure is zero or NaN, same shape."""
    p = np.asarray(pressure, dtype=complex)
    return np.where(p == 0, np.nan, np.degrees(np.angle(p)))


def ratio(decibels: float) -> float:
    """Pressure ratio of a level difference, 10^(dB/20)."""
    return float(10.0 ** (decibels / 20.0))
