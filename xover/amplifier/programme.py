"""How the power of music-like noise spreads over frequency: what each part of a network is heated with.

A sine at full power burns what music never would, and an average hides what it does: stress is told for noise
with the long-term spectrum of programme, or for pink noise, whichever is asked for.
"""

from __future__ import annotations

import math
from enum import StrEnum
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from xover.errors import InputError

Float = NDArray[np.float64]
Complex = NDArray[np.complex128]


class Spectrum(StrEnum):
    """Which noise stands for the programme."""

    PROGRAMME = "programme"
    PINK = "pink"


SPECTRUM_WORDS: Final = {
    Spectrum.PROGRAMME: "noise with the spectrum of programme (IEC 60268-1:1985, table II)",
    Spectrum.PINK: "pink noise from 20 Hz to 20 kHz",
}

FIRST_BAND: Final = -17
# Relative level of the third-octave bands 1000 x 10^(n/10) Hz from n = -17 (20 Hz) to 13 (20 kHz), dB:
# IEC 60268-1:1985 clause 7, table II, simulated programme signal.
TABLE_II_DB: Final = (
    *(-13.5, -10.2, -7.4, -5.2, -3.5, -2.3, -1.4, -0.9, -0.5, -0.2, -0.1),
    *(0.0, 0.0, 0.0, 0.0, 0.0, 0.0, -0.1, -0.3, -0.6, -1.0, -1.6, -2.5, -3.7),
    *(-5.1, -7.0, -9.4, -11.9, -14.8, -18.2, -21.6),
)
PINK_BAND_HZ: Final = (20.0, 20_000.0)


def third_octave_centres() -> Float:
    """(31,) exact middles of the third-octave bands, 20 Hz to 20 kHz: 1000 x 10^(n/10)."""
    return np.asarray(1000.0 * 10.0 ** (np.arange(FIRST_BAND, FIRST_BAND + len(TABLE_II_DB)) / 10.0))


def third_octave_edges() -> Float:
    """(32,) edges of these bands, from 17.783 Hz to 22387 Hz."""
    rows = np.arange(FIRST_BAND, FIRST_BAND + len(TABLE_II_DB) + 1) - 0.5
    return np.asarray(1000.0 * 10.0 ** (rows / 10.0))


def band_shares() -> Float:
    """(31,) share of the programme's power in each third-octave band; they add up to 1."""
    power = 10.0 ** (np.asarray(TABLE_II_DB) / 10.0)
    return np.asarray(power / power.sum())


def power_below(frequency_hz: ArrayLike, spectrum: Spectrum = Spectrum.PROGRAMME) -> Float:
    """Share of the power that lies below each frequency.

    Within a band the power is spread evenly over the logarithm of frequency, as that of pink noise is.

    Parameters
    ----------
    frequency_hz : (n,) above 0.

    Returns
    -------
    (n,) from 0, below the lowest band, to 1, above the highest.

    Raises
    ------
    InputError : a frequency is not above 0.
    """
    f = np.atleast_1d(np.asarray(frequency_hz, dtype=float))
    if not np.all(f > 0):
        raise InputError("a frequency is not above 0 Hz", "give frequencies in Hz above 0")
    if spectrum is Spectrum.PINK:
        edges, below = np.asarray(PINK_BAND_HZ), np.array([0.0, 1.0])
    else:
        edges, below = third_octave_edges(), np.concatenate([[0.0], np.cumsum(band_shares())])
        below[-1] = 1.0
    return np.asarray(np.interp(np.log(f), np.log(edges), below))


def programme_weights(frequency_hz: ArrayLike, spectrum: Spectrum = Spectrum.PROGRAMME) -> Float:
    """Share of the power that each point of a grid stands for.

    A point stands for the span to the middle, in log f, between it and its neighbours; the first and the last
    for nothing beyond themselves. What lies outside the grid is therefore in no weight: `share_outside`.

    Parameters
    ----------
    frequency_hz : (n,) rising, two or more.

    Returns
    -------
    (n,) >= 0, adding up to 1 less the share outside.

    Raises
    ------
    InputError : fewer than two frequencies, or they do not rise from above 0.
    """
    return np.diff(power_below(_cell_edges(frequency_hz), spectrum))


def band_weights(frequency_hz: ArrayLike, spectrum: Spectrum = Spectrum.PROGRAMME) -> Float:
    """The same weights, split up by the third-octave bands: (31, n), rows in the order of the bands.

    Raises
    ------
    InputError : as for `programme_weights`.
    """
    cells = _cell_edges(frequency_hz)
    bands = third_octave_edges()
    low = np.maximum(cells[None, :-1], bands[:-1, None])
    high = np.minimum(cells[None, 1:], bands[1:, None])
    shares = power_below(np.maximum(high, low).reshape(-1), spectrum) - power_below(low.reshape(-1), spectrum)
    return shares.reshape(low.shape)


def share_outside(frequency_hz: ArrayLike, spectrum: Spectrum = Spectrum.PROGRAMME) -> float:
    """Share of the power below the first and above the last frequency of a grid.

    Raises
    ------
    InputError : as for `programme_weights`.
    """
    below = power_below(_cell_edges(frequency_hz)[[0, -1]], spectrum)
    return float(below[0] + 1.0 - below[1])


def _cell_edges(frequency_hz: ArrayLike) -> Float:
    """(n + 1,) where the spans of the points of a grid meet."""
    f = np.asarray(frequency_hz, dtype=float)
    if f.ndim != 1 or f.size < 2 or not (f[0] > 0 and math.isfinite(f[-1]) and np.all(np.diff(f) > 0)):
        raise InputError("the frequencies do not rise from above 0 Hz", "give two or more rising frequencies")
    return np.concatenate([f[:1], np.sqrt(f[:-1] * f[1:]), f[-1:]])
