"""Scales of the axes: hertz by the trade's own steps, decibels by tens, ohms by the steps of ratings."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, Final

import numpy as np

from xover.curve import Float
from xover.drawing.style import GRID, QUIET

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
USUAL_HZ: Final = (20.0, 20_000.0)
NEAR_USUAL: Final = 0.03
"""An axis that ends within 3 % of the usual ends ends there."""
ROOM: Final = 1.25
"""Room above and below the largest change, for its name."""
MOST_TICKS: Final = 5
"""Numbers on either side of zero, at most."""
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
    """Scale the horizontal axis from the first to the last frequency; write its numbers where `written`.

    A sweep that just misses 20 Hz or 20 kHz is shown on the usual axis.
    """
    low, high = float(frequency_hz[0]), float(frequency_hz[-1])
    if low == high:  # a single frequency needs some room
        low, high = low / 2.0, high * 2.0
    low, high = _usual(low, USUAL_HZ[0]), _usual(high, USUAL_HZ[1])
    axes.set_xscale("log")
    axes.minorticks_off()
    axes.set_xlim(low, high)
    ticks = frequency_ticks(low, high)
    axes.set_xticks(ticks if written else [], [frequency_text(t) for t in ticks] if written else [])
    _rule(axes, "x", ticks, frequency_lines(low, high))
    if written:
        axes.set_xlabel("frequency, Hz")


def time_axis(axes: Axes, first_s: float, last_s: float, written: bool) -> None:
    """Scale the horizontal axis in time, even in log; write its numbers in ms where `written`."""
    axes.set_xscale("log")
    axes.minorticks_off()
    axes.set_xlim(first_s, last_s)
    ticks = frequency_ticks(first_s, last_s)
    axes.set_xticks(ticks if written else [], [f"{1e3 * t:g}" for t in ticks] if written else [])
    _rule(axes, "x", ticks, frequency_lines(first_s, last_s))
    if written:
        axes.set_xlabel("time, ms")


def _usual(end_hz: float, usual_hz: float) -> float:
    return usual_hz if abs(math.log(end_hz / usual_hz)) <= NEAR_USUAL else end_hz


def value_axis(
    axes: Axes, bottom: float, top: float, numbers: Mapping[float, str], between: Iterable[float] = ()
) -> None:
    """Scale the vertical axis; write its numbers, with a line at each, and thinner lines between."""
    axes.set_ylim(bottom, top)
    axes.set_yticks(list(numbers), list(numbers.values()))
    _rule(axes, "y", numbers, between)


def _rule(axes: Axes, which: str, thick: Iterable[float], thin: Iterable[float]) -> None:
    """Draw the lines of the grid across the panel, as one path for each width; they replace older ones.

    Ticks would do it too, each of them made of five artists: they took half of the time that a figure takes.
    """
    from matplotlib.patches import PathPatch
    from matplotlib.path import Path

    for old in [p for p in axes.patches if p.get_label() == f"grid {which}"]:
        old.remove()
    thick = sorted(thick)
    for places, width in ((sorted(set(thin) - set(thick)), 0.35), (thick, 0.7)):
        ends = np.array([[[at, 0.0], [at, 1.0]] for at in places]).reshape(-1, 2)
        path = Path(ends if which == "x" else ends[:, ::-1], np.tile([Path.MOVETO, Path.LINETO], len(places)))
        across = axes.get_xaxis_transform() if which == "x" else axes.get_yaxis_transform()
        patch = PathPatch(path, transform=across, facecolor="none", edgecolor=GRID, linewidth=width, zorder=0.5)
        patch.set_label(f"grid {which}")
        axes.add_artist(patch)  # add_patch would first ask for its extent, for scales that are given here


def level_axis(axes: Axes, bottom_db: float, top_db: float) -> None:
    """Scale the vertical axis in dB: numbers every 10, lines every 5."""
    tens = np.arange(math.ceil(bottom_db / 10.0), math.floor(top_db / 10.0) + 1) * 10.0
    fives = np.arange(math.ceil(bottom_db / 5.0), math.floor(top_db / 5.0) + 1) * 5.0
    value_axis(axes, bottom_db, top_db, {t: f"{t:.0f}".replace("-", "\u2212") for t in tens}, fives)


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
    """Scale the vertical axis by doublings, on which ratings lie: 2, 4, 8, 16 ohm; 3, 6, 12 between."""
    axes.set_yscale("log")
    axes.minorticks_off()
    doublings = np.arange(round(math.log2(bottom_ohm)), round(math.log2(top_ohm)) + 1)
    numbers = np.sort(np.concatenate([2.0**doublings, 1.5 * 2.0 ** doublings[:-1]]))
    value_axis(axes, bottom_ohm, top_ohm, {n: f"{n:g}" for n in numbers})


def phase_axis(axes: Axes, curves_deg: Sequence[Float]) -> None:
    """Scale the vertical axis in degrees: 90 to both sides, 180 where a curve needs it."""
    known = [c[np.isfinite(c)] for c in curves_deg]
    most = max((float(np.max(np.abs(c))) for c in known if c.size), default=0.0)
    end = 90 if most <= 90.0 + ROUNDING_DEG else 180
    numbers = {float(t): f"{t}°".replace("-", "\u2212") for t in range(-end, end + 1, end // 2)}
    value_axis(axes, -end, end, numbers, range(-end, end + 1, 15 if end == 90 else 45))


def change_axis(axes: Axes, curves: Sequence[Float]) -> None:
    """Scale the vertical axis alike to both sides of zero, and draw the zero line."""
    sizes = [float(np.max(np.abs(c[np.isfinite(c)]))) for c in curves if np.isfinite(c).any()]
    end = max([s for s in sizes if s > 0], default=1.0) * ROOM
    step = round_step(end, MOST_TICKS)
    count = math.floor(end / step)
    ticks = np.round(step * np.arange(-count, count + 1), 12)
    value_axis(axes, -end, end, {t: f"{t:+g}".replace("-", "\u2212") if t else "0" for t in ticks})
    axes.axhline(0.0, color=QUIET, linewidth=0.8, zorder=1, label="zero")


def signed_axis(axes: Axes, curves: Sequence[Float]) -> None:
    """Scale the vertical axis from the lowest value to the highest, and draw the zero line, which is always shown."""
    low, high = min(0.0, *(float(np.min(c)) for c in curves)), max(0.0, *(float(np.max(c)) for c in curves))
    room = (ROOM - 1.0) / 2.0 * (high - low or 1.0)
    step = round_step(high - low + 2.0 * room, 2 * MOST_TICKS)
    ticks = np.round(step * np.arange(math.ceil((low - room) / step), math.floor((high + room) / step) + 1), 12)
    value_axis(axes, low - room, high + room, {t: f"{t:g}".replace("-", "\u2212") for t in ticks})
    axes.axhline(0.0, color=QUIET, linewidth=0.8, zorder=1, label="zero")


def size_axis(axes: Axes, top: float) -> None:
    """Scale the vertical axis from zero upward, with numbers at round steps."""
    step = round_step(top, MOST_TICKS + 1)
    ticks = np.round(step * np.arange(math.floor(top / step) + 1), 12)
    value_axis(axes, 0.0, top, {t: f"{t:g}" for t in ticks})


def round_step(end: float, most: int) -> float:
    """Smallest round step (1, 2, 5 and their tens) of which no more than `most` go into a length."""
    decade = math.floor(math.log10(end)) - 1
    steps = (digit * 10.0**power for power in range(decade, decade + 3) for digit in (1, 2, 5))
    return next(step for step in steps if end / step <= most)
