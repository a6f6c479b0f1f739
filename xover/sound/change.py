"""What changes between two networks: of each drive, of the sum; and the largest of it, where it counts."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from xover.acoustic.level import level_db, ratio
from xover.curve import Complex, Float
from xover.rules.bands import CHANGES_HZ, COUNTS_WITHIN_DB, LEAST_KNOWN_OF_CHANGE, Band
from xover.rules.margins import ROUNDING

Rows = NDArray[np.bool_]


@dataclass(frozen=True)
class Worst:
    """The largest change on the grid, with its sign, and where: NaN Hz where nothing changes, both where unknown."""

    change: float
    at_hz: float


UNKNOWN: Final = Worst(math.nan, math.nan)


def change_db(before: Complex, after: Complex) -> Float:
    """Change of level from one drive to another, dB, broadcast; NaN where either is not known or both are zero."""
    return difference_db(level_db(before), level_db(after))


def difference_db(before_db: Float, after_db: Float) -> Float:
    """Change between two levels; NaN where both are a full cancellation."""
    with np.errstate(invalid="ignore"):
        return np.asarray(after_db - before_db, dtype=float)


def mean_round_db(frequency_hz: Float, change_db: Float, at_hz: float) -> float:
    """A change (n,) on average over the octave round a frequency; NaN where nothing of it is known there."""
    near = (np.abs(np.log2(frequency_hz / at_hz)) <= 0.5) & np.isfinite(change_db)
    return float(change_db[near].mean()) if near.any() else math.nan


def near_highest(*drives: Complex) -> Rows:
    """(n,) where any of the drives (n,) lies within 20 dB of its highest."""
    near = np.zeros(drives[0].shape, dtype=bool)
    for drive in drives:
        size = np.where(np.isfinite(drive), np.abs(drive), 0.0)
        near |= (size > 0) & (size >= size.max(initial=0.0) * ratio(-COUNTS_WITHIN_DB))
    return near


def band_rows(frequency_hz: Float, band_hz: Band = CHANGES_HZ) -> Rows:
    """Rows of a band, its ends included."""
    return (frequency_hz >= band_hz[0] * (1 - 1e-9)) & (frequency_hz <= band_hz[1] * (1 + 1e-9))


def largest(frequency_hz: Float, change: Float, rows: Rows) -> Worst:
    """The largest change with its sign, and where; 0 and NaN Hz where nothing changes, both NaN where not known.

    What is no more than rounding is no change.
    """
    size = np.where(rows & ~np.isnan(change), np.abs(change), -1.0)
    row = int(np.argmax(size))
    if size[row] < 0:
        return UNKNOWN
    return Worst(float(change[row]), float(frequency_hz[row])) if size[row] > ROUNDING else Worst(0.0, math.nan)


def size_of(worst: Worst) -> float:
    """How much, -1 where it is not known: for ranking."""
    return -1.0 if math.isnan(worst.change) else abs(worst.change)


def largest_sum_change(frequency_hz: Float, before_db: Float, after_db: Float) -> Worst:
    """The largest change of a sum in the judged band; NaN where it is known in too little of that to stand for it."""
    change, band = difference_db(before_db, after_db), band_rows(frequency_hz)
    return largest(frequency_hz, change, band) if known_share(change, band) >= LEAST_KNOWN_OF_CHANGE else UNKNOWN


def known_share(change: Float, rows: Rows) -> float:
    """Share of the rows, 0..1, at which a change (n,) is known; 0 where there are none."""
    return float(np.mean(~np.isnan(change[rows]))) if rows.any() else 0.0


def largest_drive_change(
    frequency_hz: Float, before: Mapping[str, Complex], after: Mapping[str, Complex]
) -> tuple[Worst, str]:
    """The largest change of a drive in the judged band where it lies within 20 dB of its highest, and whose it is.

    Parameters
    ----------
    before, after : (n,) drive by driver's key; those of both are held together.

    Returns
    -------
    Both NaN, and "" where no drive of both is known.
    """
    band = band_rows(frequency_hz)
    found = UNKNOWN, ""
    for key in (k for k in before if k in after):
        rows = band & near_highest(before[key], after[key])
        worst = largest(frequency_hz, change_db(before[key], after[key]), rows)
        if size_of(worst) > size_of(found[0]):
            found = worst, key
    return found
