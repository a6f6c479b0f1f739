"""Level of a curve over a band: its mean, how far it strays, and the sensitivity."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from xover.acoustic.between import lines_between
from xover.errors import InputError

Float = NDArray[np.float64]

STATED_VOLTAGE_V: Final = 2.83
DEFAULT_BAND_HZ: Final = (200.0, 4000.0)
LEAST_OCTAVES: Final = 1.0
"""A sensitivity needs known data over no less than this."""


@dataclass(frozen=True)
class BandLevel:
    """Level of a curve over a band. NaN where nothing of the band is known.

    Attributes
    ----------
    from_hz, to_hz : the band that was asked for.
    known_from_hz, known_to_hz : what of it is known.
    known_share : known part of the band, in octaves over octaves, 0..1.
    mean_db : mean of the dB values over log f. It is the level of a straight ruler laid through the
        curve; an energetic mean follows peaks more than troughs.
    highest_deviation_db, highest_at_hz : highest level less the mean (>= 0), and where.
    lowest_deviation_db, lowest_at_hz : lowest level less the mean (<= 0), and where.
    rms_deviation_db : root mean square of the deviation over log f.
    """

    from_hz: float
    to_hz: float
    known_from_hz: float
    known_to_hz: float
    known_share: float
    mean_db: float
    highest_deviation_db: float
    highest_at_hz: float
    lowest_deviation_db: float
    lowest_at_hz: float
    rms_deviation_db: float


@dataclass(frozen=True)
class Sensitivity:
    """Sensitivity over a band, 1 m on the axis.

    Attributes
    ----------
    level_db : energetic mean over log f (as for pink noise) of the level for 2.83 V, dB re 20 uPa.
        NaN where less than an octave of the band is known.
    level_1w_db : the same for 1 W into `resistance_ohm`; None if that is not given.
    resistance_ohm : the resistance that 1 W is counted in.
    from_hz, to_hz : the band that was asked for.
    known_from_hz, known_to_hz : what of it is known and went into the mean.
    """

    level_db: float
    level_1w_db: float | None
    resistance_ohm: float | None
    from_hz: float
    to_hz: float
    known_from_hz: float
    known_to_hz: float


def band_level(frequency_hz: Float, level_db: Float, from_hz: float, to_hz: float) -> BandLevel:
    """Mean level over a band, and the deviation from it.

    Straight lines over log f between rows, so that neither the spacing of the rows nor where the
    band's ends fall between them counts. Exact for such lines.

    Parameters
    ----------
    frequency_hz, level_db : (n,) each; rows that are not finite count as unknown.
    from_hz, to_hz : the band, 0 < from < to.

    Raises
    ------
    InputError : the band's ends are not in order.
    """
    f, level = _inside(frequency_hz, level_db, from_hz, to_hz)
    known = np.isfinite(level)
    width = np.where(known[:-1] & known[1:], np.diff(np.log(f)), 0.0)
    whole = float(width.sum())
    if whole == 0.0:
        nan = math.nan
        return BandLevel(from_hz, to_hz, nan, nan, 0.0, nan, nan, nan, nan, nan, nan)
    filled = np.where(known, level, 0.0)
    mean = float(np.sum(width * (filled[:-1] + filled[1:]))) / 2.0 / whole
    off = filled - mean
    square = float(np.sum(width * (off[:-1] ** 2 + off[:-1] * off[1:] + off[1:] ** 2))) / 3.0 / whole
    rows = np.flatnonzero(known)
    high, low = rows[np.argmax(level[rows])], rows[np.argmin(level[rows])]
    return BandLevel(
        from_hz=from_hz,
        to_hz=to_hz,
        known_from_hz=float(f[rows[0]]),
        known_to_hz=float(f[rows[-1]]),
        known_share=min(whole / math.log(to_hz / from_hz), 1.0),
        mean_db=mean,
        highest_deviation_db=float(off[high]),
        highest_at_hz=float(f[high]),
        lowest_deviation_db=float(off[low]),
        lowest_at_hz=float(f[low]),
        rms_deviation_db=math.sqrt(square),
    )


def sensitivity(
    frequency_hz: Float,
    level_db: Float,
    from_hz: float = DEFAULT_BAND_HZ[0],
    to_hz: float = DEFAULT_BAND_HZ[1],
    resistance_ohm: float | None = None,
) -> Sensitivity:
    """Characteristic sensitivity over a stated band: the level of pink noise limited to that band.

    10 lg of the mean of 10^(L/10) over log f; and for 1 W into R, 10 lg(R/2.83^2) more. After IEC
    60268-5 clause 20 (from memory, the text was not read).

    Parameters
    ----------
    frequency_hz, level_db : (n,) each; the level for 2.83 V at 1 m. Rows that are not finite count
        as unknown.
    from_hz, to_hz : the band.
    resistance_ohm : resistance for the level at 1 W, or None.

    Raises
    ------
    InputError : the band's ends are not in order, or the resistance is not above 0.
    """
    if resistance_ohm is not None and not (math.isfinite(resistance_ohm) and resistance_ohm > 0):
        raise InputError(f"1 W cannot be had in {resistance_ohm:g} ohm", "give a resistance above 0")
    f, level = _inside(frequency_hz, level_db, from_hz, to_hz)
    known = np.isfinite(level)
    width = np.where(known[:-1] & known[1:], np.diff(np.log(f)), 0.0)
    whole = float(width.sum())
    mean_db = math.nan
    if whole >= LEAST_OCTAVES * math.log(2.0) * (1 - 1e-9):
        power = np.where(known, 10.0 ** (np.where(known, level, 0.0) / 10.0), 0.0)
        mean_db = 10.0 * math.log10(float(np.sum(width * (power[:-1] + power[1:]))) / 2.0 / whole)
    rows = np.flatnonzero(known)
    watt = None if resistance_ohm is None else mean_db + 10.0 * math.log10(resistance_ohm / STATED_VOLTAGE_V**2)
    return Sensitivity(
        level_db=mean_db,
        level_1w_db=watt,
        resistance_ohm=resistance_ohm,
        from_hz=from_hz,
        to_hz=to_hz,
        known_from_hz=float(f[rows[0]]) if rows.size else math.nan,
        known_to_hz=float(f[rows[-1]]) if rows.size else math.nan,
    )


def _inside(frequency_hz: Float, level_db: Float, from_hz: float, to_hz: float) -> tuple[Float, Float]:
    """Frequency and level of the rows inside a band and at its two ends; NaN where not known."""
    if not 0 < from_hz < to_hz < math.inf:
        raise InputError(f"a band from {from_hz:g} to {to_hz:g} Hz has no width", "give two rising frequencies in Hz")
    f = np.asarray(frequency_hz, dtype=float)
    level = np.where(np.isfinite(level_db), level_db, np.nan)
    inner = (f > from_hz) & (f < to_hz)
    ends = lines_between(f, level, np.array([from_hz, to_hz]))
    return np.concatenate([[from_hz], f[inner], [to_hz]]), np.concatenate([ends[:1], level[inner], ends[1:]])
