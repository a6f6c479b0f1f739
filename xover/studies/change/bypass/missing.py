"""What the passive network also did, beyond the slopes that an electronic crossover replaces."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from xover.acoustic.decibel import level_db
from xover.curve import Complex, Float
from xover.electronic.biquad import Band, BandKind
from xover.quantity import hertz
from xover.rules.bands import BAFFLE_HZ, BASS_HZ
from xover.rules.margins import PAD_DB, PASS_DB, STEP_DB
from xover.search.equaliser import fit_equaliser

MOST_BANDS: Final = 3
STRIDE: Final = 4
HEARD_SHARE: Final = 0.1
"""Rows where a channel lies 20 dB below the sum do not count."""
MOST_DB: Final = 12.0
NOTCH_Q: Final = 1.4


@dataclass(frozen=True)
class Missing:
    """What one channel lacks on top of the electronic crossover's slopes, gain and bands.

    Attributes
    ----------
    gain_db : level that the network passed, before the bands. pad_db : its highest level where the channel counts:
        what was padded away, 0 or less for a network without a transformer.
    bands : to add so that the level at the driver is what it was.
    before_db, worst_db : largest weighted error with the gain alone, and with the bands.
    words : the same in words, one sentence each.
    """

    gain_db: float
    pad_db: float
    bands: tuple[Band, ...]
    before_db: float
    worst_db: float
    words: tuple[str, ...]


def read_missing(
    frequency_hz: Float,
    target: Complex,
    slope: Complex,
    weight: Float,
    top_corner_hz: float | None,
    sample_rate_hz: float,
) -> Missing:
    """Read what the network did to one channel and the slope at hand does not.

    Parameters
    ----------
    target : (n,) complex voltage that the network puts on the channel. slope : (n,) of the electronic crossover.
    weight : (n,) the channel's share of the sum.
    top_corner_hz : of the lowest channel, which has the baffle step; None for the others.
    """
    few = slice(None, None, STRIDE)
    with np.errstate(divide="ignore", invalid="ignore"):
        wanted = level_db(target) - level_db(slope)
    heard = (weight >= HEARD_SHARE) & (level_db(slope) >= PASS_DB) & np.isfinite(wanted)
    fit = fit_equaliser(
        frequency_hz[few],
        wanted[few],
        np.where(heard, weight, 0.0)[few],
        MOST_BANDS,
        sample_rate_hz,
        most_boost_db=MOST_DB,
    )
    if math.isnan(fit.gain_db):
        return Missing(math.nan, math.nan, (), math.nan, math.nan, ())
    pad = float(np.max(level_db(target)[heard]))
    step = math.nan if top_corner_hz is None else _step_db(frequency_hz, wanted, top_corner_hz)
    return Missing(
        gain_db=fit.gain_db,
        pad_db=pad,
        bands=fit.bands,
        before_db=fit.before_db,
        worst_db=fit.worst_db,
        words=tuple(_words(fit.bands, pad, step)),
    )


def _words(bands: tuple[Band, ...], pad_db: float, step_db: float) -> list[str]:
    said = []
    if pad_db <= -PAD_DB:
        said.append(f"padded down by {-pad_db:.1f} dB")
    stepped = step_db >= STEP_DB
    if stepped:
        said.append(f"held the bass {step_db:.1f} dB above the octave below the corner: baffle-step correction")
    return said + [_band_words(band) for band in bands if not (stepped and _is_step(band))]


def _is_step(band: Band) -> bool:
    """Whether a band is the baffle step's, told of already."""
    if band.kind is BandKind.PEAKING:
        fits = band.gain_db < 0 and (band.q or 0.0) < NOTCH_Q
    else:
        fits = (band.gain_db > 0) == (band.kind is BandKind.LOW_SHELF)
    return fits and BAFFLE_HZ[0] <= band.frequency_hz <= BAFFLE_HZ[1]


def _step_db(frequency_hz: Float, level: Float, corner_hz: float) -> float:
    """Mean level of the bass over that of the octave below the corner, dB; NaN where the two do not lie apart."""
    low = (frequency_hz >= BASS_HZ[0]) & (frequency_hz <= BASS_HZ[1])
    high = (frequency_hz >= corner_hz / 2.0) & (frequency_hz <= corner_hz)
    if corner_hz / 2.0 <= 2.0 * BASS_HZ[1] or not np.isfinite(level[low]).any() or not np.isfinite(level[high]).any():
        return math.nan
    return float(np.nanmean(level[low]) - np.nanmean(level[high]))


def _band_words(band: Band) -> str:
    size = f"{abs(band.gain_db):.1f} dB"
    where = hertz(band.frequency_hz)
    if band.kind is BandKind.PEAKING:
        narrow = (band.q or 0.0) >= NOTCH_Q
        if band.gain_db < 0:
            return f"a {'notch' if narrow else 'broad dip'} of {size} at {where}"
        return f"a {'peak' if narrow else 'broad lift'} of {size} at {where}"
    end = "below" if band.kind is BandKind.LOW_SHELF else "above"
    return f"{'lifted' if band.gain_db > 0 else 'lowered'} by {size} {end} {where}"
