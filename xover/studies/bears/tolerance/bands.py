"""Many builds: run through the solver, told as bands and shares with their doubt, paired, and explained by part."""

from __future__ import annotations

import math
import os
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray

from xover.curve import Float
from xover.pool import each
from xover.readable import Readable
from xover.search.builds import BuildSolver, PartSpread, SumRule, draw_names, magnitude_db

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


_CHUNK: Final = 256
"""Builds solved at a time; what they need stays small."""


@dataclass(frozen=True, eq=False)
class Run:
    """All builds: levels (builds, n) of the sum and of each drive, lowest load (builds,) by channel."""

    sum_db: Float
    drive_db: dict[str, Float]
    lowest_ohm: dict[str, Float]


def run_builds(
    solver: BuildSolver,
    rule: SumRule,
    values: Mapping[str, Float],
    builds: int,
    load_known: Mapping[str, NDArray[np.bool_]],
    done: Callable[[float], None],
    jobs: int = 1,
) -> Run:
    """All builds; with several processes each takes a block of them."""
    if jobs == 1:
        return _run_block(solver, rule, load_known, done, values)
    count = 2 * (os.cpu_count() or 1) if jobs < 0 else 2 * jobs
    edges = np.linspace(0, builds, min(count, builds) + 1).astype(int)
    blocks = [{name: v[a:b] for name, v in values.items()} for a, b in pairwise(edges)]
    runs: list[Run] = []
    for run in each(partial(_run_block, solver, rule, load_known, _silent), blocks, jobs):
        runs.append(run)
        done(len(runs) / len(blocks))
    return Run(
        np.concatenate([run.sum_db for run in runs]),
        {key: np.concatenate([run.drive_db[key] for run in runs]) for key in runs[0].drive_db},
        {name: np.concatenate([run.lowest_ohm[name] for run in runs]) for name in runs[0].lowest_ohm},
    )


def _silent(_share: float) -> None:
    """Nobody to tell in another process."""


def _run_block(
    solver: BuildSolver,
    rule: SumRule,
    load_known: Mapping[str, NDArray[np.bool_]],
    done: Callable[[float], None],
    values: Mapping[str, Float],
) -> Run:
    builds = next(iter(values.values())).size
    n = solver.frequency_hz.size
    keys = [d.key for d in solver.network.drivers]
    run = Run(
        np.empty((builds, n)),
        {key: np.empty((builds, n)) for key in keys},
        {name: np.full(builds, np.nan) for name, known in load_known.items() if known.any()},
    )
    for start in range(0, builds, _CHUNK):
        rows = slice(start, start + _CHUNK)
        drive, ohm = solver.at({name: v[rows] for name, v in values.items()}, loads=True)
        run.sum_db[rows] = rule.level_db(drive)
        for key in keys:
            run.drive_db[key][rows] = magnitude_db(drive[key])
        for name, lowest in run.lowest_ohm.items():
            lowest[rows] = np.sqrt((ohm[name].real ** 2 + ohm[name].imag ** 2)[:, load_known[name]].min(axis=1))
        done(min(1.0, rows.stop / builds))
    return run


def sum_levels(
    solver: BuildSolver, rule: SumRule, values: Mapping[str, Float], builds: int, done: Callable[[float], None]
) -> Float:
    """(builds, n) level of the sum alone."""
    level = np.empty((builds, solver.frequency_hz.size))
    for start in range(0, builds, _CHUNK):
        rows = slice(start, start + _CHUNK)
        level[rows] = rule.level_db(solver.at({name: v[rows] for name, v in values.items()}, loads=False)[0])
        done(min(1.0, rows.stop / builds))
    return level


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


HOW: Final = (
    "by regression of the sum's level in dB on the parts' draws at each frequency (least squares, first order); "
    "variances are averaged over the band's frequencies"
)


@dataclass(frozen=True)
class PartShare:
    """What one part, or the coils on one core, adds to the spread of the sum.

    Attributes
    ----------
    name : the parts that share the draw.
    tolerance : fraction; of several coils the largest.
    share : of the variance in the band, 0..1; NaN where the sum is not known.
    spread_db : standard deviation in the band that it alone would leave, dB rms over the frequencies.
    """

    name: str
    tolerance: float
    share: float
    spread_db: float


@dataclass(frozen=True)
class Shares:
    """The spread of the sum in the band, and where it comes from.

    Attributes
    ----------
    parts : ranked, the largest first.
    rest : share of the variance that no part explains by itself in a straight line.
    spread_db : standard deviation of the sum, dB rms over the band's frequencies.
    """

    parts: tuple[PartShare, ...]
    rest: float
    spread_db: float

    @property
    def sentence(self) -> str:
        """Which part to buy tighter, and what that would do."""
        first = self.parts[0]
        if math.isnan(first.share):
            return "which part matters is not known, as the sum is not known"
        if first.spread_db == 0.0:
            return "no part moves the sum"
        # Half the tolerance leaves a quarter of the variance.
        left = self.spread_db * math.sqrt(1.0 - 0.75 * first.share)
        return (
            f"buy {first.name} tighter first: {100 * first.share:.0f} % of the variance comes from it; at half its "
            f"tolerance the sum's spread falls from {self.spread_db:.2g} to {left:.2g} dB rms (first order)"
        )


def part_shares(spreads: Sequence[PartSpread], draws: Float, level_db: Float) -> Shares:
    """Split the variance of levels among the draws.

    Parameters
    ----------
    draws : (k, count) in the order of `draw_names`. level_db : (k, m) of the sum at the band's m known frequencies.
    """
    names = draw_names(spreads)
    labels = [" + ".join(s.part for s in spreads if s.draw == name) for name in names]
    wide = [max(s.tolerance for s in spreads if s.draw == name) for name in names]
    level_db = level_db[:, np.isfinite(level_db).all(axis=0)]
    if level_db.shape[1] == 0:
        nothing = tuple(PartShare(n, t, math.nan, math.nan) for n, t in zip(labels, wide, strict=True))
        return Shares(nothing, math.nan, math.nan)
    centred = draws - draws.mean(axis=0)
    slope = np.linalg.solve(centred.T @ centred, centred.T @ level_db)  # (count, m) dB for a draw of 1
    explained = centred.var(axis=0) * (slope**2).mean(axis=1)
    whole = float(level_db.var(axis=0).mean())
    found = [
        PartShare(label, t, float(v / whole) if whole > 0 else 0.0, math.sqrt(v))
        for label, t, v in zip(labels, wide, explained, strict=True)
    ]
    residual = level_db - level_db.mean(axis=0) - centred @ slope
    rest = float(residual.var(axis=0).mean() / whole) if whole > 0 else 0.0
    return Shares(tuple(sorted(found, key=lambda p: -p.spread_db)), rest, math.sqrt(whole))
