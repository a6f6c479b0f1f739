"""Figures written as people read them: rounded, a dash for what is not known."""

from __future__ import annotations

import math

from xover.quantity import Kind, format_quantity

DASH = "-"


def db(value: float | None, digits: int = 1, signed: bool = False) -> str:
    """A level, or a dash where it is not known."""
    if value is None or math.isnan(value):
        return DASH
    if math.isinf(value):
        return "-inf" if value < 0 else "inf"
    rounded = round(value, digits) + 0.0  # no minus zero
    return f"{rounded:+.{digits}f}" if signed else f"{rounded:.{digits}f}"


def hertz(value: float | None) -> str:
    """A frequency as people say it, or a dash."""
    return DASH if value is None or not math.isfinite(value) else format_quantity(value, Kind.FREQUENCY)


def ohm(value: float | None, digits: int = 1) -> str:
    """A resistance for a column, or a dash."""
    return DASH if value is None or not math.isfinite(value) else f"{value:.{digits}f}"


def degrees(value: float | None) -> str:
    """An angle for a column, or a dash."""
    return DASH if value is None or not math.isfinite(value) else f"{round(value) + 0:d}"


def money(value: float | None) -> str:
    """A price or a cost in the list's own money, or a dash."""
    return DASH if value is None else f"{value:.2f}"
