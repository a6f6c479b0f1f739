"""Scales of the axes: hertz by the trade's own steps, decibels by tens, ohms by the steps of ratings."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Final

import numpy as np

from xover.curve import Float

if TYPE_CHECKING:
    from matplotlib.axes import Axes

LEVEL_SPAN_DB: Final = 50.0
"""A level is read on 50 dB, the usual span for loudspeakers (the habit of IEC 60263; common practice)."""
DRIVE_SPAN_DB: Final = 30.0
HEADROOM_DB: Final = 2.0
LEAST_SHOWN_DB: Final = 10.0
"""Every curve is shown from its highest point this far down at least."""
MOST_DOUBLINGS: Final = 6
"""An ohm axis spans a factor of 64 at most: a capacitor alone would squeeze all else flat."""
ROUNDING_DEG: Final = 0.1
ROOM_BELOW: Final = 1.4
"""Room for words below the lowest line of an ohm axis, half an octave at least."""


def finite(curve: Float) -> Float:
    """(n,) the curve with a gap where it is not finite: no line leads to infinity."""
    return np.where(np.isfinite(curve), curve, np.nan)


def frequency_ticks(from_hz: float, to_hz: float) -> list[float]:
    """Frequencies to write on an axis: 20 50 100 .. 20k; every digit where the axis is short."""
    for digits in ((1, 2, 5), range(1, 10)):
        ticks = _steps(from_hz, to_hz, digits)
        if len(ticks) >= 3:
            break
    return ticks


def frequency_lines(from_hz: float, to_hz: float) -> list[float]:
    """Frequencies of the thin lines between: 20 30 40 .. 90 100 200 .."""
    return _steps(from_hz, to_hz, range(1, 10))


def _steps(from_hz: float, to_hz: float, digits: Sequence[int]) -> list[float]:
    decades = range(math.floor(math.log10(from_hz)) - 1, math.ceil(math.log10(to_hz)) + 1)
    steps = (digit * 10.0**decade for decade in decades for digit in digits)
    return [hz for hz in steps if from_hz * (1 - 1e-9) <= hz <= to_hz * (1 + 1e-9)]


def frequency_text(frequency_hz: float) -> str:
    """Write a frequency for an axis: 200, 2k, 20k."""
    return f"{frequency_hz:g}" if frequency_hz < 1000 else f"{frequency_hz / 1000:g}k"


def frequency_axis(axes: Axes, frequency_hz: Float, written: bool) -> None:
    """Scale the horizontal axis from the first to the last frequency; write its numbers where `written`."""
    low, high = float(frequency_hz[0]), float(frequency_hz[-1])
    if low == high:  # a single frequency needs some room
        low, high = low / 2.0, high * 2.0
    axes.set_xscale("log")
    axes.set_xlim(low, high)
    ticks = frequency_ticks(low, high)
    axes.set_xticks(ticks, [frequency_text(t) for t in ticks] if written else [""] * len(ticks))
    lines = [f for f in frequency_lines(low, high) if f not in ticks]
    axes.set_xticks(lines, [""] * len(lines), minor=True)
    if written:
        axes.set_xlabel("frequency, Hz")


def level_axis(axes: Axes, bottom_db: float, top_db: float) -> None:
    """Scale the vertical axis in dB: numbers every 10, lines every 5."""
    axes.set_ylim(bottom_db, top_db)
    tens = np.arange(math.ceil(bottom_db / 10.0), math.floor(top_db / 10.0) + 1) * 10.0
    fives = np.arange(math.ceil(bottom_db / 5.0), math.floor(top_db / 5.0) + 1) * 5.0
    axes.set_yticks(tens, [f"{t:.0f}".replace("-", "\u2212") for t in tens])
    axes.set_yticks(np.setdiff1d(fives, tens), minor=True)


def level_window(curves_db: Sequence[Float], span_db: float, empty_top_db: float) -> tuple[float, float]:
    """Lowest and highest level to show, multiples of 5 dB.

    Parameters
    ----------
    curves_db : (n,) each; what is not finite is not looked at.
    span_db : difference of the two; more only where a curve would lie below the window.
    empty_top_db : highest level where no curve has a value.
    """
    peaks = [float(np.max(c[np.isfinite(c)])) for c in curves_db if np.isfinite(c).any()]
    if not peaks:
        return empty_top_db - span_db, empty_top_db
    top = 5.0 * math.ceil((max(peaks) + HEADROOM_DB) / 5.0)
    lowest = 5.0 * math.floor((min(peaks) - LEAST_SHOWN_DB) / 5.0)
    return min(top - span_db, lowest), top


def ohm_window(curves_ohm: Sequence[Float], limits_ohm: Sequence[float]) -> tuple[float, float]:
    """Lowest and highest resistance to show, powers of two; 2 to 32 ohm where nothing is known."""
    shown = np.concatenate([np.asarray(limits_ohm, dtype=float), *curves_ohm])
    shown = shown[np.isfinite(shown) & (shown > 0)]
    if shown.size == 0:
        return 2.0, 32.0
    low = math.floor(math.log2(float(shown.min()) / ROOM_BELOW))
    high = math.ceil(math.log2(float(shown.max()) * 1.15))
    return 2.0**low, 2.0 ** min(max(high, low + 3), low + MOST_DOUBLINGS)


def ohm_axis(axes: Axes, bottom_ohm: float, top_ohm: float) -> None:
    """Scale the vertical axis by doublings, on which ratings lie: 2, 4, 8, 16 ohm; thinner 3, 6, 12 between."""
    axes.set_yscale("log")
    axes.set_ylim(bottom_ohm, top_ohm)
    doublings = np.arange(round(math.log2(bottom_ohm)), round(math.log2(top_ohm)) + 1)
    axes.set_yticks(2.0**doublings, [f"{2.0**d:g}" for d in doublings])
    between = 1.5 * 2.0 ** doublings[:-1]
    axes.set_yticks(between, [f"{b:g}" for b in between], minor=True)


def phase_axis(axes: Axes, curves_deg: Sequence[Float]) -> None:
    """Scale the vertical axis in degrees: 90 to both sides, 180 where a curve needs it."""
    known = [c[np.isfinite(c)] for c in curves_deg]
    most = max((float(np.max(np.abs(c))) for c in known if c.size), default=0.0)
    end = 90 if most <= 90.0 + ROUNDING_DEG else 180
    ticks = range(-end, end + 1, end // 2)
    axes.set_ylim(-end, end)
    axes.set_yticks(list(ticks), [f"{t}°".replace("-", "\u2212") for t in ticks])
    axes.set_yticks(range(-end, end + 1, 15 if end == 90 else 45), minor=True)
