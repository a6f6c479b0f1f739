"""How the bench pages write readings."""

from __future__ import annotations

import math

from xover.quantity import QuantityKind, format_quantity, ohms


def number(value: float, digits: int = 2) -> str:
    """A figure without its unit, no exponent: 0.24, 5.6, 12."""
    return format_quantity(value, QuantityKind.PLAIN, digits)


def ohm_range(value: float, low: float, high: float) -> str:
    """A resistance with what it may be: "0.38 ohm (0.24 to 0.52)". Not known where the value is NaN."""
    if math.isnan(value):
        return "not known"
    if math.isnan(low) or math.isnan(high):
        return ohms(value)
    return f"{ohms(value)} ({_rounded(low)} to {_rounded(high)})"


def _rounded(resistance_ohm: float) -> str:
    """Two digits, but nothing finer than 10 mohm."""
    return number(round(resistance_ohm, 2))


def watts(value: float) -> str:
    """A power for a sentence: 0.4 W, 12 W."""
    return f"{number(value)} W"


def millimetres(metres: float) -> str:
    """A distance, rounded up to whole millimetres."""
    return f"{math.ceil(1e3 * metres - 1e-6):d} mm"
