"""Why a driver's model misses its sweep where it misses it most, as far as what is left there tells."""

from __future__ import annotations

import math
from collections.abc import Sequence
from enum import StrEnum
from typing import Final

import numpy as np
from numpy.typing import NDArray

from xover.curve import Complex, Float
from xover.driver.fit_start import FitRows, Shapes
from xover.driver.model import Resonance


class Misfit(StrEnum):
    """What the residual looks like at its worst place."""

    PEAK = "another resonance"
    HUM = "mains hum"
    RATTLE = "scatter"
    READING = "one reading"
    SHARP = "a resonance sharp for the steps"
    UNKNOWN = "unknown"


MAINS_HZ: Final = (50.0, 60.0, 100.0, 120.0, 150.0, 180.0)
MAINS_SHARE: Final = 0.03
"""Hum stands within this of the mains or its first harmonics."""
NARROW_OCTAVES: Final = 1.0 / 12.0
NEAR_OCTAVES: Final = 0.5
"""What is narrower than the first, to either side, and stands alone within the second, is no part of a driver."""
ALONE: Final = 3.0
"""So many times what is left beside it."""
SCATTER: Final = 4.0
SCATTERED_ROWS: Final = 5
"""Rows that differ from the middle of their neighbours by so many times what is usual in the sweep, so many of them
within `NEAR_OCTAVES`: no smooth curve goes through them."""
ROWS_ACROSS: Final = 4.0
"""Fewer rows across the width of a resonance, f/Q, do not show how it is shaped."""
PEAK_SHARE: Final = 0.5
LEAST_Q: Final = 1.0
INSIDE: Final = 1.2
"""A resonance that leaves no more than the first share within `NEAR_OCTAVES`, swings, and lies so far inside of the
data, stands there."""


def misfit_of(rows: FitRows, residual: Complex, slopes: Float, peaks: Sequence[Resonance]) -> Misfit:
    """What is left of the data at the worst row looks like.

    Parameters
    ----------
    residual : (n,) model less data over data; real, of ln|Z|, without phase.
    slopes : (m, k) real, of that, by the model's parameters. peaks : of the model, as the terminals show them.
    """
    f, size = rows.frequency_hz, np.abs(residual)
    worst = int(np.argmax(size))
    if any(_sharp(f, worst, peak) for peak in peaks):
        return Misfit.SHARP
    away = np.abs(np.log2(f / f[worst]))
    near = away <= NEAR_OCTAVES
    if _scattered(residual, near):
        return Misfit.RATTLE
    beside = near & (away > NARROW_OCTAVES)
    if np.any(beside) and _rms(residual[beside]) * ALONE < size[worst]:
        if any(abs(f[worst] / hz - 1.0) < MAINS_SHARE for hz in MAINS_HZ):
            return Misfit.HUM
        if np.count_nonzero(size[near] > size[worst] / ALONE) == 1:
            return Misfit.READING
    for part in Shapes(rows).best(np.where(near, residual, 0.0), slopes, 1, cells=False):
        assert isinstance(part, Resonance)
        shape = part.impedance_ohm(f) / rows.impedance_ohm
        shape = shape if rows.has_phase else shape.real.astype(complex)
        stands = part.q >= LEAST_Q and f[0] * INSIDE < part.f_hz < f[-1] / INSIDE
        taken = _energy((residual + shape)[near]) < PEAK_SHARE * _energy(residual[near])
        if stands and taken and abs(math.log2(part.f_hz / f[worst])) < NEAR_OCTAVES:
            return Misfit.PEAK
    return Misfit.UNKNOWN


def _sharp(f: Float, at: int, peak: Resonance) -> bool:
    """Whether a row stands on a resonance that few rows cross."""
    width = 1.0 / (peak.q * math.log(2.0))
    step = math.log2(f[min(at + 1, f.size - 1)] / f[max(at - 1, 0)]) / 2.0
    return abs(math.log2(f[at] / peak.f_hz)) < 2.0 * width < 2.0 * ROWS_ACROSS * step


def _scattered(residual: Complex, near: NDArray[np.bool_]) -> bool:
    off = np.abs(residual[1:-1] - 0.5 * (residual[:-2] + residual[2:]))
    usual = float(np.median(off[~near[1:-1]])) if np.any(~near[1:-1]) else 0.0
    return int(np.count_nonzero(off[near[1:-1]] > SCATTER * usual)) >= SCATTERED_ROWS and _rough(residual[near])


def _rough(residual: Complex) -> bool:
    """Whether neighbours differ by as much as what is left there."""
    return _energy(np.diff(residual)) > _energy(residual)


def _energy(residual: Complex) -> float:
    return float(np.sum(np.abs(residual) ** 2))


def _rms(residual: Complex) -> float:
    return math.sqrt(_energy(residual) / residual.size)
