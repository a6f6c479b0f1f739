"""Networks held against the reference: what each driver's level and the sum do."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from xover.acoustic.decibel import level_db
from xover.curve import Float
from xover.network import Network, solve
from xover.readable import Readable
from xover.rules.bands import JUDGED_HZ
from xover.sound.change import band_rows, change_db, difference_db, largest_drive_change, largest_sum_change
from xover.sound.sums import sum_level_db
from xover.speaker import Speaker


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
        band = band_rows(frequency_hz)
        known = np.any(np.isfinite(np.stack([abs(d) for d in self._solution.drive.values()])), axis=0)
        self.band_hz = _reach(frequency_hz, known, band)

    def difference(self, network: Network) -> Difference:
        """What another network of the same drivers does differently."""
        there = solve(network, self._frequency_hz, self._ohm)
        worst, on = largest_drive_change(self._frequency_hz, self._solution.drive, there.drive, anywhere=True)
        sum_db = sum_level_db(self._speaker, network, there)
        level = math.nan
        if on and math.isfinite(worst.at_hz):
            index = int(np.argmin(np.abs(self._frequency_hz - worst.at_hz)))
            level = float(level_db(self._solution.drive[on])[index])
        return Difference(
            drive_db={key: change_db(drive, there.drive[key]) for key, drive in self._solution.drive.items()},
            sum_db=difference_db(self._sum_db, sum_db),
            worst_db=abs(worst.change),
            at_hz=worst.at_hz,
            on=on,
            level_there_db=level,
            worst_sum_db=abs(largest_sum_change(self._frequency_hz, self._sum_db, sum_db).change),
        )


def _reach(frequency_hz: Float, known: NDArray[np.bool_], band: NDArray[np.bool_]) -> tuple[float, float]:
    """The band, or what is known of it."""
    inside = np.flatnonzero(band)
    reached = np.flatnonzero(band & known)
    if reached.size == 0:
        return math.nan, math.nan
    low = JUDGED_HZ[0] if reached[0] == inside[0] and inside[0] > 0 else float(frequency_hz[reached[0]])
    high = JUDGED_HZ[1] if frequency_hz[reached[-1]] > JUDGED_HZ[1] * 0.98 else float(frequency_hz[reached[-1]])
    return low, high
