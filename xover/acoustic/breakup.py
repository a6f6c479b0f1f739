"""Peaks that stand out of a response: where a cone or dome breaks up."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

Float = NDArray[np.float64]

TREND_OCTAVES: Final = 1.0
"""The trend at a frequency is a straight line over log f through the octave to each side."""
LEAST_PEAK_DB: Final = 3.0
"""Less than this above the trend is no peak. Common practice, no published source."""


@dataclass(frozen=True)
class ResponsePeak:
    """One peak.

    Attributes
    ----------
    frequency_hz : of its highest row.
    height_db : above the trend: a little less than above the response without the peak, which lifts the trend itself.
    level_db : of the response there.
    """

    frequency_hz: float
    height_db: float
    level_db: float


def trend_db(frequency_hz: Float, level_db: Float, octaves: float = TREND_OCTAVES) -> Float:
    """(n,) straight line over log f through the rows within `octaves` to each side, taken in the middle.

    A response that falls by so many dB an octave is its own trend. Near the ends of the data the line leans on one
    side; NaN where fewer than four rows are known.
    """
    u = np.log2(np.asarray(frequency_hz, dtype=float))
    known = np.isfinite(level_db)
    out = np.full(u.shape, np.nan)
    for row in np.flatnonzero(known):
        near = known & (np.abs(u - u[row]) <= octaves)
        if np.count_nonzero(near) >= 4:
            x = u[near] - u[row]
            out[row] = np.polyfit(x, level_db[near], 1)[1]
    return out


def response_peaks(
    frequency_hz: Float, level_db: Float, from_hz: float, least_db: float = LEAST_PEAK_DB
) -> tuple[ResponsePeak, ...]:
    """Find the peaks at and above a frequency, lowest first.

    Parameters
    ----------
    frequency_hz, level_db : (n,) each, n rising; rows that are not finite count as unknown.
    from_hz : peaks below this are not looked for.
    least_db : height above the trend that makes a peak. Of several maxima without a fall back to the trend between
        them, the highest counts.
    """
    f = np.asarray(frequency_hz, dtype=float)
    level = np.where(np.isfinite(level_db), level_db, np.nan)
    above = level - trend_db(f, level)
    with np.errstate(invalid="ignore"):
        over = (above > 0) & np.isfinite(above)
    edges = np.flatnonzero(np.diff(over.astype(int), prepend=0, append=0))
    found = []
    for start, stop in zip(edges[::2], edges[1::2], strict=True):
        top = int(start + np.argmax(above[start:stop]))
        # A curve that still rises where the data end or begin shows no peak.
        inside = 0 < top < f.size - 1 and np.isfinite(above[top - 1]) and np.isfinite(above[top + 1])
        if inside and above[top] >= least_db and f[top] >= from_hz:
            found.append(ResponsePeak(float(f[top]), float(above[top]), float(level[top])))
    return tuple(found)
