"""Octave and third-octave bands: base-ten centres of IEC 61260-1, and averages over them.

    f_m = 1000 Hz G^(k/b), edges f_m G^(-1/2b) and f_m G^(+1/2b), G = 10^(3/10), b = 1 or 3

(IEC 61260-1:2014, clauses 5.2 to 5.5, from memory.)
"""

from __future__ import annotations

import math
from typing import Final

import numpy as np

from xover.acoustic.level import band_level
from xover.curve import Float

G: Final = 10.0**0.3
LEAST_KNOWN: Final = 0.5
"""A band of which less than this share is known has no average."""
POINTS_IN_BAND: Final = 8
_NOMINAL: Final = (1.0, 1.25, 1.6, 2.0, 2.5, 3.15, 4.0, 5.0, 6.3, 8.0)


def whole_bands(from_hz: float, to_hz: float, per_octave: int) -> Float:
    """(b,) exact centres of the bands that lie between two frequencies, to 1 % of a band; 1 or 3 in an octave."""
    half = G ** (0.5 / per_octave)
    low, high = (per_octave * math.log(f / 1000.0) / math.log(G) for f in (from_hz * half, to_hz / half))
    first, last = math.ceil(low - 0.01), math.floor(high + 0.01)
    return np.asarray(1000.0 * G ** (np.arange(first, last + 1) / per_octave), dtype=float)


def bands_touched(from_hz: float, to_hz: float, per_octave: int) -> Float:
    """(b,) exact centres of the bands that reach into a range of frequencies."""
    low, high = (per_octave * math.log(f / 1000.0) / math.log(G) for f in (from_hz, to_hz))
    first, last = math.floor(low + 0.5 + 1e-9), math.ceil(high - 0.5 - 1e-9)
    return np.asarray(1000.0 * G ** (np.arange(first, last + 1) / per_octave), dtype=float)


def nominal_hz(centre_hz: float) -> float:
    """The name of a third-octave or octave band: 2000 for 1995 Hz, 31.5 for 31.62 Hz."""
    step = round(10.0 * math.log10(centre_hz))
    return float(f"{_NOMINAL[step % 10] * 10.0 ** (step // 10):.3g}")


def mean_over_bands(frequency_hz: Float, change_db: Float, centres_hz: Float, per_octave: int) -> Float:
    """(b,) mean over log f of a difference (n,) in dB in each band; NaN where less than half of it is known."""
    half = G ** (0.5 / per_octave)
    bands = [band_level(frequency_hz, change_db, centre / half, centre * half) for centre in centres_hz]
    return np.array([b.mean_db if b.known_share >= LEAST_KNOWN else math.nan for b in bands])


def points_in_bands(centres_hz: Float, per_octave: int) -> Float:
    """(b, 8) frequencies that divide each band evenly in log f, for `band_level_db`."""
    steps = (np.arange(POINTS_IN_BAND) + 0.5) / POINTS_IN_BAND - 0.5
    return np.asarray(centres_hz[:, None] * G ** (steps / per_octave), dtype=float)


def band_level_db(level_db: Float) -> Float:
    """(..., b) level of pink noise in each band: mean of power over its points (..., b, 8); NaN where one is."""
    return np.asarray(10.0 * np.log10(np.mean(10.0 ** (level_db / 10.0), axis=-1)), dtype=float)
