"""Find a highest or lowest value between the points of a grid, however narrow it is.

A load's minimum, and above all a series resonance with hardly any loss, is far narrower than any
grid that is pleasant to plot. Every local extremum of the grid is followed on finer and finer
local grids until its neighbours agree with it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Float = NDArray[np.float64]

# Neighbours that agree this well with the extremum end the search. A smooth extremum then lies
# within a quarter of it: well under the 1e-6 that is promised.
AGREE = 1e-7
# The narrowest bracket, relative to its frequency: some thousand rounding steps of a float.
NARROWEST = 1e-12
# Points on each side of the best point of a local grid; the bracket shrinks by this factor.
SIDE_POINTS = 8
# Local extrema that are followed, best first. More than these are rounding noise on a flat curve.
MOST_CANDIDATES = 40


@dataclass(frozen=True)
class Extremum:
    """One highest or lowest value and where it lies.

    Attributes
    ----------
    value : in the unit of what was searched; NaN if nothing is known.
    at_hz : its frequency; NaN if nothing is known.
    settled : whether local grids were used and the neighbours agree within 1e-7.
    runaway : whether the value still changed on the narrowest local grid: it is a zero or a pole,
        as a network without losses has. Neither is True where only the given grid was used.
    """

    value: float
    at_hz: float
    settled: bool = False
    runaway: bool = False


def highest(
    frequency_hz: Float,
    value: Float,
    evaluate: Callable[[Float], Float] | None = None,
    scale: float = 0.0,
) -> Extremum:
    """Find the highest value over a grid and, if `evaluate` is given, between its points.

    Parameters
    ----------
    frequency_hz : (n,) rising.
    value : (n,) real; what is not finite is passed over, and no search crosses it.
    evaluate : gives the value at other frequencies, (m,) -> (m,), or None.
    scale : size under which agreement counts relative to `scale`, for values that may pass
        through zero (degrees, decibels); 0 counts relative to the value alone.
    """
    known = np.isfinite(value)
    if not known.any():
        return Extremum(float("nan"), float("nan"))
    filled = np.where(known, value, -np.inf)
    if evaluate is None:
        best = int(np.argmax(filled))
        return Extremum(float(value[best]), float(frequency_hz[best]))
    brackets = [_Bracket.around(frequency_hz, filled, i) for i in _local_peaks(filled)]
    _narrow(brackets, evaluate, scale)
    winner = max(brackets, key=lambda b: b.best)
    return Extremum(winner.best, winner.centre, winner.settled, winner.runaway)


def lowest(
    frequency_hz: Float,
    value: Float,
    evaluate: Callable[[Float], Float] | None = None,
    scale: float = 0.0,
) -> Extremum:
    """Find the lowest value, in the way that `highest` finds the highest."""
    mirrored = None if evaluate is None else lambda f: -evaluate(f)
    found = highest(frequency_hz, -value, mirrored, scale)
    return Extremum(-found.value, found.at_hz, found.settled, found.runaway)


def _local_peaks(filled: Float) -> list[int]:
    """Rows that are higher than the row before and not lower than the row after, best first."""
    before = np.concatenate([[-np.inf], filled[:-1]])
    after = np.concatenate([filled[1:], [-np.inf]])
    rows = np.flatnonzero((filled > before) & (filled >= after))
    order = np.argsort(-filled[rows], kind="stable")
    return [int(i) for i in rows[order[:MOST_CANDIDATES]]]


@dataclass
class _Bracket:
    """A peak that is being narrowed down: its two neighbours and the best point so far."""

    low: float
    centre: float
    high: float
    best: float
    settled: bool = False
    runaway: bool = False

    @classmethod
    def around(cls, frequency_hz: Float, filled: Float, row: int) -> _Bracket:
        last = filled.size - 1
        low = row - 1 if row > 0 and np.isfinite(filled[row - 1]) else row
        high = row + 1 if row < last and np.isfinite(filled[row + 1]) else row
        return cls(float(frequency_hz[low]), float(frequency_hz[row]), float(frequency_hz[high]), float(filled[row]))

    @property
    def done(self) -> bool:
        return self.settled or self.runaway or self.low == self.high

    def grid(self) -> Float:
        left = np.linspace(self.low, self.centre, SIDE_POINTS + 1)[:-1] if self.low < self.centre else np.empty(0)
        right = np.linspace(self.centre, self.high, SIDE_POINTS + 1)[1:] if self.high > self.centre else np.empty(0)
        return np.concatenate([left, [self.centre], right])

    def take(self, grid: Float, value: Float, scale: float) -> None:
        filled = np.where(np.isfinite(value), value, -np.inf)
        best = int(np.argmax(filled))
        if filled[best] < self.best:
            # The centre itself can no longer be evaluated (it fell on a singular point): keep it.
            filled[np.argmin(np.abs(grid - self.centre))] = self.best
            best = int(np.argmax(filled))
        low, high = max(best - 1, 0), min(best + 1, grid.size - 1)
        self.low, self.centre, self.high = float(grid[low]), float(grid[best]), float(grid[high])
        self.best = float(filled[best])
        beside = [float(filled[i]) for i in (low, high) if i != best and np.isfinite(filled[i])]
        if not beside:
            self.low = self.high = self.centre
            return
        self.settled = self.best - min(beside) <= AGREE * max(abs(self.best), scale)
        self.runaway = not self.settled and self.high - self.low <= NARROWEST * self.centre


def _narrow(brackets: list[_Bracket], evaluate: Callable[[Float], Float], scale: float) -> None:
    """Narrow all brackets down together: one call of `evaluate` serves one step of all of them."""
    while active := [b for b in brackets if not b.done]:
        grids = [b.grid() for b in active]
        values = np.split(evaluate(np.concatenate(grids)), np.cumsum([g.size for g in grids])[:-1])
        for bracket, grid, value in zip(active, grids, values, strict=True):
            bracket.take(grid, value, scale)
