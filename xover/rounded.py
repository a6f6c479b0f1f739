"""Figures written as people read them: rounded, a dash for what is not known."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING

from xover.quantity import Kind, format_quantity

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

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


def octave_centres(low_hz: float, high_hz: float) -> list[float]:
    """Octave band centres (IEC 61260-1 nominal values) inside a band, as rows for a table."""
    nominal = [16.0, 31.5, 63.0, 125.0, 250.0, 500.0, 1000.0, 2000.0, 4000.0, 8000.0, 16000.0]
    return [f for f in nominal if low_hz <= f <= high_hz]


def at_octaves(frequency_hz: NDArray[np.float64]) -> list[tuple[float, int]]:
    """(octave band centre, index of the frequency nearest to it) as rows for a table; (n,) frequencies, rising."""
    centres = octave_centres(float(frequency_hz[0]), float(frequency_hz[-1]))
    return [(f, min(range(len(frequency_hz)), key=lambda i: abs(math.log(frequency_hz[i] / f)))) for f in centres]


def amount(value: float) -> str:
    """A figure of a table, three digits at most."""
    if math.isnan(value):
        return "-"
    if math.isinf(value):
        return "no limit"
    if value == 0.0:
        return "0"
    return f"{value:.0f}" if abs(value) >= 99.5 else f"{value:#.3g}" if abs(value) >= 9.95 else f"{value:#.2g}"


def place(path: Path) -> str:
    """A folder or file as one types it from here: its way from here where it lies below, else its whole path."""
    here = Path.cwd()
    return str(path.relative_to(here) if path.is_relative_to(here) else path)
