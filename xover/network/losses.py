"""Capacitor loss from series-resistance readings: constant-phase part plus a fixed resistance."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from xover.curve import Float


@dataclass(frozen=True)
class LossFit:
    """Series resistance R(f) = fixed + df / (2 pi f C).

    Attributes
    ----------
    fixed_ohm : leads, foil and electrolyte; the same at all frequencies.
    dissipation_factor : of the part with a constant loss angle.
    worst_ohm : largest distance of a reading from the fit; 0 with one or two readings that fit exactly.
    """

    fixed_ohm: float
    dissipation_factor: float
    worst_ohm: float


def fit_loss(resistance_ohm: Float, frequency_hz: Float, farad: float) -> LossFit:
    """Fit both terms, neither below zero, to one or more readings (least squares).

    One reading is taken as constant loss angle alone: at other frequencies that is the more cautious
    reading of an electrolytic, whose series resistance falls with frequency.

    Parameters
    ----------
    resistance_ohm, frequency_hz : (n,) readings of an LCR meter in series mode.
    farad : capacitance.
    """
    falling = 1.0 / (2.0 * np.pi * frequency_hz * farad)
    if resistance_ohm.size == 1:
        return LossFit(0.0, float(resistance_ohm[0] / falling[0]), 0.0)
    best: tuple[float, float, float, float] | None = None
    # Two unknowns that may not be negative: the free fit, or the better of the two edges.
    candidates = [np.linalg.lstsq(np.column_stack([np.ones_like(falling), falling]), resistance_ohm, rcond=None)[0]]
    candidates.append(np.array([max(float(np.mean(resistance_ohm)), 0.0), 0.0]))
    candidates.append(np.array([0.0, max(float(falling @ resistance_ohm / (falling @ falling)), 0.0)]))
    for fixed, factor in candidates:
        if fixed < 0 or factor < 0:
            continue
        miss = resistance_ohm - fixed - factor * falling
        if best is None or miss @ miss < best[0]:
            best = (float(miss @ miss), float(fixed), float(factor), float(np.max(np.abs(miss))))
    assert best is not None  # the edges are never negative
    return LossFit(best[1], best[2], best[3])
