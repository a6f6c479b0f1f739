"""Which part to buy tighter: how much of the spread of the sum each part explains."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from xover.curve import Float
from xover.search.builds import PartSpread, draw_names

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
