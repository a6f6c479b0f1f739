"""What the amplifier's output resistance does to the response: with a valve amplifier, decibels."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from xover.amplifier.extremum import highest, lowest
from xover.amplifier.load import check_grid
from xover.errors import InputError
from xover.readable import Readable
from xover.rules.bands import AUDIO_BAND_HZ

Float = NDArray[np.float64]
Complex = NDArray[np.complex128]

REFERENCE: Final = "its own mean in dB over log frequency, in the part of the band where the load is known"


@dataclass(frozen=True, eq=False, repr=False)
class SourceEffect(Readable):
    """Response change by the output resistance, against an amplifier that has none.

    Attributes
    ----------
    output_ohm : the amplifier's output resistance, cable included if the user added it.
    frequency_hz : (n,) as given.
    response_db : (n,) 20 lg |Z/(Z + Ro)| less `mean_db`; NaN where the load is not known or is 0.
    mean_db : level lost on the whole, at or below 0: what the volume control takes back.
    highest_db, highest_at_hz : most lifted within the band.
    lowest_db, lowest_at_hz : most lowered within the band.
    swing_db : highest less lowest: this no volume control takes back.
    band_hz, covered_hz : band asked for, and where in it the load is known.
    reference : what 0 dB of `response_db` is, in words.
    """

    output_ohm: float
    frequency_hz: Float
    response_db: Float
    mean_db: float
    highest_db: float
    highest_at_hz: float
    lowest_db: float
    lowest_at_hz: float
    swing_db: float
    band_hz: tuple[float, float]
    covered_hz: tuple[float, float]
    reference: str = REFERENCE


def divider_db(impedance_ohm: Complex, output_ohm: float) -> Float:
    """Level at the load over the amplifier's open voltage, 20 lg |Z/(Z + Ro)|, dB.

    Parameters
    ----------
    impedance_ohm : (n,) complex. NaN gives NaN; so does 0 ohm, whose level is minus infinity,
        unless the output resistance is 0 as well: an ideal source gives 0 dB into anything.
        Infinite impedance, no load, gives 0 dB.
    output_ohm : >= 0.
    """
    z = np.asarray(impedance_ohm, dtype=complex)
    if output_ohm == 0:
        return np.where(np.isnan(z), np.nan, 0.0)
    magnitude = np.abs(z)
    total = np.abs(z + output_ohm)
    usable = np.isfinite(magnitude) & (magnitude > 0) & (total > 0)
    ratio = np.divide(magnitude, total, out=np.full(magnitude.shape, np.nan), where=usable)
    return np.where(np.isinf(z), 0.0, 20.0 * np.log10(ratio))


def source_effect(
    frequency_hz: Float,
    impedance_ohm: Complex,
    output_ohm: float,
    refine: Callable[[Float], Complex] | None = None,
    band_hz: tuple[float, float] = AUDIO_BAND_HZ,
) -> SourceEffect:
    """Tell how the amplifier's output resistance bends the response.

    Every drive of a channel scales by Z/(Z + Ro), so the whole acoustic response bends alike.

    Parameters
    ----------
    frequency_hz : (n,) Hz, rising, above 0.
    impedance_ohm : (n,) complex ohm, what the amplifier sees; NaN where it is not known.
    output_ohm : output resistance, ohm, the same at all frequencies.
    refine : gives the impedance between the grid's points, as in `read_load`, or None.
    band_hz : band of the mean and of the extremes.

    Raises
    ------
    InputError : the grid is faulty, or output_ohm is negative or not finite.
    """
    f = np.asarray(frequency_hz, dtype=float)
    z = np.asarray(impedance_ohm, dtype=complex)
    check_grid(f, z)
    if not (math.isfinite(output_ohm) and output_ohm >= 0):
        raise InputError(f"[amplifier] output_ohm is {output_ohm:g}", "give 0 or more; a valve amplifier has ohms")
    inside = (f >= band_hz[0]) & (f <= band_hz[1])
    level = divider_db(z, output_ohm)
    mean = _log_mean(f[inside], level[inside])
    between = None if refine is None else lambda x: divider_db(refine(x), output_ohm) - mean
    top = highest(f[inside], level[inside] - mean, between, scale=1.0)
    bottom = lowest(f[inside], level[inside] - mean, between, scale=1.0)
    known = f[inside][np.isfinite(level[inside])]
    return SourceEffect(
        output_ohm=float(output_ohm),
        frequency_hz=f,
        response_db=level - mean,
        mean_db=mean,
        highest_db=top.value,
        highest_at_hz=top.at_hz,
        lowest_db=bottom.value,
        lowest_at_hz=bottom.at_hz,
        swing_db=top.value - bottom.value,
        band_hz=band_hz,
        covered_hz=(float(known[0]), float(known[-1])) if known.size else (float("nan"), float("nan")),
    )


def _log_mean(frequency_hz: Float, level_db: Float) -> float:
    """Mean over ln f by trapezia, only between neighbours that are both known; NaN if there are none."""
    known = np.isfinite(level_db)
    if np.count_nonzero(known) == 1:
        return float(level_db[known][0])
    pair = known[:-1] & known[1:]
    width = np.diff(np.log(frequency_hz))[pair]
    if width.size == 0:
        return float("nan")
    height = (level_db[:-1][pair] + level_db[1:][pair]) / 2.0
    return float(np.sum(width * height) / np.sum(width))
