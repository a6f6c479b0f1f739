"""A driver's resonance as its impedance shows it: the highest peak that stands clear on both sides."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Final

import numpy as np

from xover.amplifier.extremum import highest
from xover.curve import Complex, Float

LEAST_RISE: Final = 1.1
"""A peak stands clear where it is a tenth higher than the valleys beside it. Common practice, no published source."""


def impedance_peak_hz(
    frequency_hz: Float, impedance_ohm: Complex, refine: Callable[[Float], Complex] | None = None
) -> float:
    """Frequency of the highest clear peak of |Z|, Hz; NaN where there is none.

    The rise of a voice coil towards high frequencies ends at the end of the data and is no peak. A vented woofer
    or a horn has several: the highest is taken.

    Parameters
    ----------
    frequency_hz : (n,) rising.
    impedance_ohm : (n,) complex; NaN where it is not known.
    refine : gives the impedance at other frequencies, to find the peak between the rows.
    """
    size = np.abs(impedance_ohm)
    known = np.isfinite(size)
    f, z = frequency_hz[known], size[known]
    if z.size < 3:
        return math.nan
    inner = np.flatnonzero((z[1:-1] > z[:-2]) & (z[1:-1] >= z[2:])) + 1
    clear = [i for i in inner if z[i] >= LEAST_RISE * max(_valley(z[i::-1]), _valley(z[i:]))]
    if not clear:
        return math.nan
    best = max(clear, key=lambda i: float(z[i]))
    if refine is None:
        return float(f[best])
    near = f[best - 1 : best + 2]
    return highest(near, np.abs(refine(near)), lambda x: np.abs(refine(x))).at_hz


def _valley(size: Float) -> float:
    """Lowest value on the way from a peak to where the curve stands higher than it, or to the end."""
    higher = np.flatnonzero(size > size[0])
    return float(np.min(size[: higher[0]] if higher.size else size))
