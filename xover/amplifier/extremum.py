"""Find a highest or lowest value between the points of a grid, however narrow it is.

A load's minimum, and above all a series resonance with hardly any loss, is far narrower than any
grid that is pleasant to plot. Every local extremum of the grid is followed on finer and finer
local grids until its neighbours agree with it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Generic, TypeVar

import numpy as np
from numpy.typing import NDArray

Float = NDArray[np.float64]
S = TypeVar("S")

# Neighbours that agree this well with the extremum end the search. A smooth extremum then lies
# within a quarter of it: well under the 1e-6 that is promised.
AGREE = 1e-7
# The narrowest bracket, relative to its frequency: some thousand rounding steps of a float.
NARROWEST = 1e-12
# Points on each side of the best point of a local grid; the bracket shrinks by this factor.
SIDE_POINTS = 8
_STEPS = np.arange(SIDE_POINTS + 1, dtype=float)
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


@dataclass(frozen=True, eq=False)
class Sought(Generic[S]):
    """One extremum among several that are sought together.

    Attributes
    ----------
    value : (n,) real over the grid; what is not finite is passed over, and no search crosses it.
    read : the same value at other frequencies, (m,) from whatever is worked out there for all that is sought.
    lowest : the lowest is sought instead of the highest.
    scale : size under which agreement counts relative to `scale`, for values that may pass through zero (degrees,
        decibels); 0 counts relative to the value alone.
    """

    value: Float
    read: Callable[[S], Float]
    lowest: bool = False
    scale: float = 0.0

    @property
    def sign(self) -> float:
        """What turns the extremum into a highest value."""
        return -1.0 if self.lowest else 1.0


def extremes(
    frequency_hz: Float, sought: Sequence[Sought[S]], work_out: Callable[[Float], S] | None
) -> tuple[Extremum, ...]:
    """Find several highest or lowest values over a grid and, if `work_out` is given, between its points.

    Parameters
    ----------
    frequency_hz : (n,) rising.
    work_out : gives what all of them are read from at (m,) other frequencies; one call serves one step of all.
    """
    brackets: list[list[_Bracket]] = []
    for one in sought:
        known = np.isfinite(one.value)
        filled = np.where(known, one.sign * one.value, -np.inf)
        if not known.any():
            brackets.append([])
        elif work_out is None:
            brackets.append([_Bracket.alone(frequency_hz, filled)])
        else:
            brackets.append([_Bracket.around(frequency_hz, filled, i) for i in _local_peaks(filled)])
    if work_out is not None:
        _narrow(sought, brackets, work_out)
    return tuple(_best(one, own) for one, own in zip(sought, brackets, strict=True))


def highest(
    frequency_hz: Float,
    value: Float,
    evaluate: Callable[[Float], Float] | None = None,
    scale: float = 0.0,
) -> Extremum:
    """Find the highest value over a grid and, if `evaluate` is given, between its points.

    Parameters
    ----------
    frequency_hz, value, scale : as for `extremes` and `Sought`.
    evaluate : gives the value at other frequencies, (m,) -> (m,), or None.
    """
    return extremes(frequency_hz, [Sought[Float](value, _itself, False, scale)], evaluate)[0]


def lowest(
    frequency_hz: Float,
    value: Float,
    evaluate: Callable[[Float], Float] | None = None,
    scale: float = 0.0,
) -> Extremum:
    """Find the lowest value, in the way that `highest` finds the highest."""
    return extremes(frequency_hz, [Sought[Float](value, _itself, True, scale)], evaluate)[0]


def _itself(value: Float) -> Float:
    return value


def _best(sought: Sought[S], brackets: Sequence[_Bracket]) -> Extremum:
    if not brackets:
        return Extremum(float("nan"), float("nan"))
    winner = max(brackets, key=lambda b: b.best)
    return Extremum(sought.sign * winner.best, winner.centre, winner.settled, winner.runaway)


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

    @classmethod
    def alone(cls, frequency_hz: Float, filled: Float) -> _Bracket:
        """The best point of the grid, not to be narrowed down."""
        at = int(np.argmax(filled))
        return cls(float(frequency_hz[at]), float(frequency_hz[at]), float(frequency_hz[at]), float(filled[at]))

    @property
    def done(self) -> bool:
        return self.settled or self.runaway or self.low == self.high

    def grid(self) -> Float:
        # As np.linspace, in a fifth of its time.
        left = right = np.empty(0)
        if self.low < self.centre:
            left = _STEPS[:-1] * ((self.centre - self.low) / SIDE_POINTS) + self.low
        if self.high > self.centre:
            right = _STEPS[1:] * ((self.high - self.centre) / SIDE_POINTS) + self.centre
            right[-1] = self.high
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


def _narrow(
    sought: Sequence[Sought[S]], brackets: Sequence[Sequence[_Bracket]], work_out: Callable[[Float], S]
) -> None:
    """Narrow all brackets down together: one call of `work_out` serves one step of all of them."""
    while active := [[b for b in some if not b.done] for some in brackets]:
        grids = [b.grid() for some in active for b in some]
        if not grids:
            return
        ends = np.cumsum([g.size for g in grids])
        there = work_out(np.concatenate(grids))
        at = 0
        for one, some in zip(sought, active, strict=True):
            if some:
                values = np.split(one.sign * one.read(there), ends[:-1])
                for bracket in some:
                    bracket.take(grids[at], values[at], one.scale)
                    at += 1
