"""Left against right: how far two builds of the same speaker differ."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from xover.curve import Float
from xover.studies.bears.tolerance.bands import ascending, quantiles


@dataclass(frozen=True, eq=False)
class PairDifference:
    """Difference of level between two builds, whichever is the louder.

    Attributes
    ----------
    pairs : how many were looked at.
    difference_db : (5, n) quantiles at each frequency, those of `QUANTILES`.
    largest_db : (5,) the same of each pair's largest difference in the band; NaN where nothing is known there.
    """

    pairs: int
    difference_db: Float
    largest_db: Float

    @property
    def usual_db(self) -> float:
        """The largest difference in the band of the middle pair."""
        return float(self.largest_db[2])

    @property
    def rarely_over_db(self) -> float:
        """The largest difference in the band that 97.5 % of the pairs keep to."""
        return float(self.largest_db[4])


def pair_difference(left_db: Float, right_db: Float, in_band: NDArray[np.bool_]) -> PairDifference:
    """Compare the levels (k, n) of pairs of builds; `in_band` (n,) says where the largest difference counts."""
    with np.errstate(invalid="ignore"):  # two builds without any sound
        apart = np.abs(left_db - right_db)
    largest = largest_in_band(apart, in_band)
    return PairDifference(apart.shape[0], quantiles(ascending(apart)), quantiles(ascending(largest[:, None]))[:, 0])


def largest_in_band(size_db: Float, in_band: NDArray[np.bool_]) -> Float:
    """(k,) largest of sizes (k, n) over the band's known frequencies; NaN where none is known."""
    known = in_band & np.isfinite(size_db).all(axis=0)
    if not known.any():
        return np.full(size_db.shape[0], np.nan)
    return np.asarray(size_db[:, known].max(axis=1))
