"""The charging time of a meter that a reading would need."""

from __future__ import annotations

import math

from xover.parts.capacitor_loss import REFERENCE_HZ, dispersion
from xover.parts.meter import constant_of_farad


def charge_time_s(reading_over_1khz: float, dissipation_factor: float) -> float:
    """Charging time from rest at constant current that makes a reading so many times the capacitance at 1 kHz.

    NaN without loss, as then no time does, and for a reading below what any time explains above zero.
    From C = Q Gamma(1+a) t^(1-a).
    """
    n = float(dispersion(dissipation_factor))
    if n == 0 or not reading_over_1khz > 0:
        return math.nan
    scale = float(constant_of_farad(1.0 - n, REFERENCE_HZ)) * math.gamma(2.0 - n)
    return float((reading_over_1khz / scale) ** (1.0 / n))
