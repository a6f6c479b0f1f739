"""Networks held against the reference: what each driver's level and the sum do."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from xover.acoustic.decibel import level_db
from xover.curve import Complex, Float
from xover.network import Network, Solution, solve
from xover.readable import Readable
from xover.sound.sums import sum_level_db
from xover.speaker import Speaker

BAND_HZ: Final = (200.0, 20_000.0)
"""Where the drive is held to the reference."""


@dataclass(frozen=True, eq=False, repr=False)
class Difference(Readable):
    """A network held against the reference.

    Attributes
    ----------
    drive_db : (n,) change of each driver's level, by key. sum_db : (n,) of the sum; NaN where that is not known.
    worst_db : largest of the drives in the band, without sign; at_hz, on : where, and of which driver.
    level_there_db : the reference's drive there: how deep in the stop band that is.
    """

    drive_db: Mapping[str, Float]
    sum_db: Float
    worst_db: float
    at_hz: float
    on: str
    level_there_db: float
    worst_sum_db: float


class Comparison:
    """Networks held against the reference on one grid."""

    def __init__(self, speaker: Speaker, design: Network, frequency_hz: Float) -> None:
        self._speaker, self._frequency_hz = speaker, frequency_hz
        self._ohm = speaker.impedances_ohm(design, frequency_hz)
        self._solution = solve(design, frequency_hz, self._ohm)
        self._sum_db = sum_level_db(speaker, design, self._solution)
        self._band = np.asarray((frequency_hz >= BAND_HZ[0] * 0.999) & (frequency_hz <= BAND_HZ[1] * 1.001))
        known = np.any(np.isfinite(np.stack([abs(d) for d in self._solution.drive.values()])), axis=0)
        self.band_hz = _reach(frequency_hz, known, self._band)

    def difference(self, network: Network) -> Difference:
        """What another network of the same drivers does differently."""
        there = solve(network, self._frequency_hz, self._ohm)
        worst, at_hz, on = worst_change(self._solution, there, self._band)
        with np.errstate(invalid="ignore"):
            sums = sum_level_db(self._speaker, network, there) - self._sum_db
        level = math.nan
        if on and math.isfinite(at_hz):
            index = int(np.argmin(np.abs(self._frequency_hz - at_hz)))
            level = float(level_db(self._solution.drive[on])[index])
        in_band = np.abs(sums[self._band])
        return Difference(
            drive_db={key: change_db(drive, there.drive[key]) for key, drive in self._solution.drive.items()},
            sum_db=sums,
            worst_db=worst,
            at_hz=at_hz,
            on=on,
            level_there_db=level,
            worst_sum_db=float(np.nanmax(in_band)) if np.isfinite(in_band).any() else math.nan,
        )


def _reach(frequency_hz: Float, known: NDArray[np.bool_], band: NDArray[np.bool_]) -> tuple[float, float]:
    """The band, or what is known of it."""
    inside = np.flatnonzero(band)
    reached = np.flatnonzero(band & known)
    if reached.size == 0:
        return math.nan, math.nan
    low = BAND_HZ[0] if reached[0] == inside[0] and inside[0] > 0 else float(frequency_hz[reached[0]])
    high = BAND_HZ[1] if frequency_hz[reached[-1]] > BAND_HZ[1] * 0.98 else float(frequency_hz[reached[-1]])
    return low, high


def change_db(one: Complex, other: Complex) -> Float:
    with np.errstate(invalid="ignore"):
        return np.asarray(level_db(other) - level_db(one), dtype=float)


def worst_change(
    reference: Solution, other: Solution, band: np.ndarray, within_db: float = math.inf
) -> tuple[float, float, str]:
    """(largest change without sign, Hz, driver's key); NaN where nothing is known.

    within_db : only where the drive lies so near to its highest that it is heard.
    """
    best = (math.nan, math.nan, "")
    for key, drive in reference.drive.items():
        level = level_db(drive)
        heard = band & (level >= np.nanmax(np.where(np.isfinite(level), level, -np.inf)) - within_db)
        change = np.where(heard, np.abs(change_db(drive, other.drive[key])), np.nan)
        if not np.isfinite(change).any():
            continue
        index = int(np.nanargmax(change))
        if not change[index] <= best[0]:
            best = (float(change[index]), float(reference.frequency_hz[index]), key)
    return best
