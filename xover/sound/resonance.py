"""A driver's resonance as its impedance shows it: the highest peak that stands clear on both sides."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from enum import StrEnum
from functools import lru_cache
from typing import Final

import numpy as np
from numpy.typing import NDArray

from xover.amplifier.extremum import highest
from xover.curve import Complex, Curve, Float
from xover.network import Network
from xover.rules.margins import TWEETER_FS_HZ
from xover.rules.typical import HIGH_WORDS, LOW_WORDS
from xover.sound.driver_fit import fit_sweep
from xover.speaker import Speaker, SpeakerDriver

LEAST_RISE: Final = 1.1
"""A peak stands clear where it is a tenth higher than the valleys beside it. Common practice, no published source."""
_SHARE: Final = 0.6
"""Rows round a peak that stand as high as this, at least, say where the resonance lies."""
_FEWEST: Final = 8
_ROUNDS: Final = 4
_FARTHEST: Final = 1.1
"""A resonance lies within this factor of its peak; a voice coil's rise moves them apart by less."""


def driver_resonance_hz(driver: SpeakerDriver) -> float:
    """Resonance as the sweep shows it, else as the datasheet says; NaN where neither does."""
    swept = math.nan if driver.impedance is None else _swept_once(driver.impedance)
    return driver.datasheet.fs_hz if math.isnan(swept) and driver.datasheet is not None else swept


@lru_cache(maxsize=64)
def _swept_once(curve: Curve) -> float:
    """A curve never changes, and is asked for its resonance by whoever reads a network."""
    return swept_resonance_hz(curve)


def swept_resonance_hz(curve: Curve) -> float:
    """Resonance of the highest clear peak of an impedance sweep, Hz; NaN where there is none.

    The peak of |Z| itself is flat, so noise of half a per cent moves its highest row by two, and the voice coil draws
    it down. One resonance beside a coil, (b0 + b1 s + b2 s^2 + b3 s^3)/(w0^2 + a1 s + s^2), is fitted to the rows on
    the peak by linear least squares, weighted anew with the last denominator (Sanathanan and Koerner 1963, from
    memory). Without a measured phase, or with few rows, the peak between the rows is taken.
    """
    f, z = curve.frequency_hz, curve.value
    peak = impedance_peak_hz(f, z, curve.at)
    if math.isnan(peak) or not curve.has_phase:
        return peak
    row = int(np.argmin(np.abs(f - peak)))
    on_it = _around(np.abs(z) >= _SHARE * np.abs(z[row]), row)
    fitted = _fitted(f[on_it] / peak, z[on_it]) if on_it.size >= _FEWEST else math.nan
    return peak * fitted if 1.0 / _FARTHEST < fitted < _FARTHEST else peak


def _around(high: NDArray[np.bool_], row: int) -> NDArray[np.intp]:
    """The rows beside each other that are high, one of them given."""
    low = np.flatnonzero(~high)
    first = low[low < row].max(initial=-1) + 1
    last = low[low > row].min(initial=high.size)
    return np.arange(first, last)


def _fitted(at: Float, z: Complex) -> float:
    """Where the resonance of one rational function through these rows lies, in units of `at`; NaN where none does."""
    _, bottom = rational(np.asarray(1j * at, dtype=complex), z, 2, np.ones(at.shape), _ROUNDS)
    return math.sqrt(bottom[2]) if bottom[2] > 0 else math.nan


def rational(s: Complex, z: Complex, order: int, weight: Float, rounds: int) -> tuple[Float, Float]:
    """Fit a ratio of polynomials to an impedance, weighted anew with the last denominator in each round.

    Parameters
    ----------
    s : (n,) j times the frequency, in units of it that keep its powers near 1. z : (n,) ohm.
    order : of the denominator; the numerator's is one more. weight : (n,) of the rows.

    Returns
    -------
    Numerator and denominator in s, highest power first, the denominator's being 1.
    """
    bottom = np.ones(1)
    for _ in range(rounds):
        w = weight / np.abs(np.polyval(bottom, s))
        columns = [s**k for k in range(order + 2)] + [-z * s**k for k in range(order)]
        left, right = np.stack(columns, axis=1) * w[:, None], z * s**order * w
        found = np.linalg.lstsq(np.concatenate([left.real, left.imag]), np.concatenate([right.real, right.imag]), None)
        bottom = np.append(1.0, found[0][: order + 1 : -1])
    return found[0][order + 1 :: -1], bottom


def impedance_peak_hz(
    frequency_hz: Float, impedance_ohm: Complex, refine: Callable[[Float], Complex] | None = None
) -> float:
    """Frequency of the highest clear peak of |Z| of any load, Hz; NaN where there is none.

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
    clear = clear_peaks(z)
    if not clear:
        return math.nan
    best = max((top for _, top, _ in clear), key=lambda i: float(z[i]))
    if refine is None:
        return float(f[best])
    near = f[best - 1 : best + 2]
    return highest(near, np.abs(refine(near)), lambda x: np.abs(refine(x))).at_hz


def clear_peaks(size: Float) -> list[tuple[int, int, int]]:
    """Rows of the valley below, of the peak, and of the valley above, of each peak of |Z| that stands clear.

    A valley is the lowest row on the way from the peak to where the curve stands higher than it, or to the end.
    """
    rises = np.diff(size) > 0
    peaks = np.flatnonzero(rises[:-1] & ~rises[1:]) + 1
    # From one peak to the next the curve falls or stays, then rises: the lowest row stands where it begins to rise.
    bottoms = np.flatnonzero(rises & ~np.append(False, rises[:-1]))
    if bottoms.size == peaks.size:
        bottoms = np.append(bottoms, size.size - 1)
    begins = np.maximum.accumulate(np.where(np.append(True, np.diff(size) != 0), np.arange(size.size), 0))
    low = _valleys(size[peaks], size[bottoms[:-1]], bottoms[:-1])
    high = _valleys(size[peaks[::-1]], size[bottoms[:0:-1]], begins[bottoms[:0:-1]])[::-1]
    clear = size[peaks] >= LEAST_RISE * np.maximum(size[low], size[high])
    return list(zip(low[clear].tolist(), peaks[clear].tolist(), high[clear].tolist(), strict=True))


def _valleys(peak: Float, bottom: Float, row: NDArray[np.intp]) -> NDArray[np.intp]:
    """(n,) row of the lowest bottom before each peak, back to a peak that is higher; bottom i stands before peak i.

    Peaks that a later one overtops are looked at once (a stack of those that are not), for a long sweep with noise.
    """
    found: list[int] = []
    seen: list[tuple[float, float, int]] = []
    for top, lowest, at in zip(peak.tolist(), bottom.tolist(), row.tolist(), strict=True):
        while seen and seen[-1][0] <= top:
            _, other, there = seen.pop()
            if other < lowest:
                lowest, at = other, there
        seen.append((top, lowest, at))
        found.append(at)
    return np.array(found, dtype=np.intp)


class Role(StrEnum):
    """What a driver plays."""

    HIGH = "tweeter or horn"
    MID = "mid"
    LOW = "woofer"


def driver_role(driver: SpeakerDriver) -> Role:
    """By the resonance where it is known (above 300 Hz a tweeter, below 150 Hz a woofer), else by the name.

    Where the two disagree and no model follows the sweep, its peak is no resonance: the name counts.
    """
    fs, name = driver_resonance_hz(driver), driver.name.lower()
    if not math.isnan(fs) and any(word in name for word in (LOW_WORDS if fs > TWEETER_FS_HZ else HIGH_WORDS)):
        fit = fit_sweep(driver)
        fs = math.nan if fit is not None and not fit.holds else fs
    if fs > TWEETER_FS_HZ or (math.isnan(fs) and any(word in name for word in HIGH_WORDS)):
        return Role.HIGH
    low = fs < 0.5 * TWEETER_FS_HZ or (math.isnan(fs) and any(word in name for word in LOW_WORDS))
    return Role.LOW if low else Role.MID


def roles(speaker: Speaker, network: Network) -> Mapping[str, Role]:
    """The role of each driver card, by its key."""
    by_name = {name: driver_role(speaker.drivers[name]) for name in network.driver_names}
    return {card.key: by_name[card.driver] for card in network.drivers}


def keys_of(found: Mapping[str, Role], *wanted: Role) -> tuple[str, ...]:
    """The driver cards of some roles, by key."""
    return tuple(key for key, role in found.items() if role in wanted)
