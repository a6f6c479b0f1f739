"""From many builds to bands: quantiles with the doubt that comes of the number of builds, and shares with theirs."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from xover.curve import Float
from xover.readable import Readable

QUANTILES: Final = (0.025, 0.16, 0.5, 0.84, 0.975)
"""Shares of the builds that lie below; the outer two hold 95 % between them, the inner two 68 %."""
CONFIDENCE: Final = 0.95
"""How sure the stated doubts are."""
_NORMAL_DEVIATE: Final = 1.959963984540054
"""The standard normal's 97.5 % quantile (tables)."""


@dataclass(frozen=True, eq=False, repr=False)
class Band(Readable):
    """How far a level strays from its nominal over many builds.

    Attributes
    ----------
    nominal_db : (n,) level with every part at its own value; NaN where it is not known.
    change_db : (5, n) quantiles of a build's level less the nominal, those of `QUANTILES`.
    lowest_db, highest_db : (n,) of all builds, less the nominal.
    doubt_db : (5, n) half the width of the 95 % interval of each quantile; NaN where too few builds lie beyond.
    """

    nominal_db: Float
    change_db: Float
    lowest_db: Float
    highest_db: Float
    doubt_db: Float

    @property
    def level_db(self) -> Float:
        """(5, n) the quantiles as levels."""
        return np.asarray(self.nominal_db + self.change_db)


@dataclass(frozen=True)
class Share:
    """A share of builds, with its 95 % interval.

    Attributes
    ----------
    count, of : builds that do, of all.
    share : count/of; low, high : the interval. NaN where nothing could be judged.
    """

    count: int
    of: int
    share: float
    low: float
    high: float


def level_band(level_db: Float, nominal_db: Float) -> Band:
    """Band of levels (builds, n) round a nominal (n,); a frequency where any build is NaN is NaN."""
    ordered = ascending(level_db)
    with np.errstate(invalid="ignore"):  # minus infinity less itself is not known
        return Band(
            nominal_db=nominal_db,
            change_db=quantiles(ordered) - nominal_db,
            lowest_db=ordered[:, 0] - nominal_db,
            highest_db=ordered[:, -1] - nominal_db,
            doubt_db=quantile_doubt(ordered),
        )


@dataclass(frozen=True)
class Widest:
    """Where a band is widest: its lower and upper edge there, less the nominal. NaN where nothing is known."""

    low_db: float
    high_db: float
    at_hz: float


def widest(low_db: Float, high_db: Float, frequency_hz: Float, where: NDArray[np.bool_]) -> Widest:
    """The widest place of a band between two edges (n,), among the frequencies `where`."""
    with np.errstate(invalid="ignore"):
        width = np.where(where & np.isfinite(low_db) & np.isfinite(high_db), high_db - low_db, np.nan)
    if not np.isfinite(width).any():
        return Widest(math.nan, math.nan, math.nan)
    row = int(np.nanargmax(width))
    return Widest(float(low_db[row]), float(high_db[row]), float(frequency_hz[row]))


def ascending(values: Float) -> Float:
    """(n, k) values (k, n) in order at each frequency, a row of NaN where any is NaN."""
    ordered = np.array(values.T, order="C")
    ordered.sort(axis=1)
    ordered[np.isnan(ordered[:, -1])] = np.nan  # NaN is sorted to the end
    return ordered


def quantiles(ordered: Float) -> Float:
    """(5, n) the quantiles of rows (n, k) in order, straight lines between neighbours (type 7 of Hyndman and Fan)."""
    last = ordered.shape[1] - 1
    found = []
    for share in QUANTILES:
        place = share * last
        below = math.floor(place)
        low, high = ordered[:, below], ordered[:, min(below + 1, last)]
        with np.errstate(invalid="ignore"):
            found.append(np.where(low == high, low, low + (place - below) * (high - low)))
    return np.asarray(found)


def quantile_doubt(ordered: Float) -> Float:
    """(5, n) half the width of the 95 % interval of each quantile of rows (n, k) in order.

    How many of k independent builds lie below a quantile is binomial, whatever the distribution, so two of the
    builds in order enclose it (David and Nagaraja, Order Statistics, 3rd ed. 2003, section 7.1; from memory).
    """
    found = []
    for share in QUANTILES:
        ranks = quantile_ranks(ordered.shape[1], share)
        if ranks is None:
            found.append(np.full(ordered.shape[0], np.nan))
            continue
        with np.errstate(invalid="ignore"):
            found.append((ordered[:, ranks[1] - 1] - ordered[:, ranks[0] - 1]) / 2.0)
    return np.asarray(found)


def quantile_ranks(count: int, share: float) -> tuple[int, int] | None:
    """Ranks, from 1, of the two values in order that enclose a quantile with at least 95 %, each tail 2.5 % at most.

    None where `count` values are too few for that.
    """
    k = np.arange(count + 1)
    # log of the binomial probabilities, from the logs of the factorials
    factorial = np.concatenate([[0.0], np.cumsum(np.log(np.arange(1, count + 1)))])
    log_p = factorial[count] - factorial[k] - factorial[count - k] + k * math.log(share) + k[::-1] * math.log1p(-share)
    below = np.cumsum(np.exp(log_p))
    tail = (1.0 - CONFIDENCE) / 2.0
    low = int(np.searchsorted(below, tail))
    high = int(np.searchsorted(below, 1.0 - tail)) + 1
    return (low, high) if low >= 1 and high <= count else None


def share_of(count: int, of: int) -> Share:
    """A share with its 95 % interval.

    Wilson's score interval (E. B. Wilson, JASA 22, 1927, p. 209; from memory). NaN for none of none.
    """
    if of == 0:
        return Share(0, 0, math.nan, math.nan, math.nan)
    p, z2 = count / of, _NORMAL_DEVIATE**2
    middle = (p + z2 / (2 * of)) / (1 + z2 / of)
    reach = _NORMAL_DEVIATE * math.sqrt(p * (1 - p) / of + z2 / (4 * of * of)) / (1 + z2 / of)
    low = 0.0 if count == 0 else middle - reach
    high = 1.0 if count == of else middle + reach
    return Share(count, of, p, low, high)
