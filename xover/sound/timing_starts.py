"""Where a search for the timing of drivers begins: delays that fit the levels of recordings, with every polarity."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product
from typing import Final

import numpy as np

from xover.curve import Complex, Float

EIGHTH: Final = 0.125
"""Of a cycle where drivers meet: the step to other answers."""
_KEPT: Final = 5
_HUBER: Final = 0.25
"""Neper: what misses by more than 2 dB counts by its size, not by its square."""


@dataclass(frozen=True, eq=False)
class Recording:
    """Drivers that play together.

    Attributes
    ----------
    frequency_hz : (n,). value : (n,) complex, as recorded; real magnitudes without phase.
    parts : (d, n) what each driver adds by its own record and by what feeds it, 0 where it is silent.
    """

    frequency_hz: Float
    value: Complex
    has_phase: bool
    parts: Complex


def starts(recordings: Sequence[Recording], within_s: float) -> list[tuple[tuple[int, ...], Float]]:
    """The best delays of each polarity, by the levels alone."""
    drivers = recordings[0].parts.shape[0]
    grid = np.arange(-within_s, within_s * 1.0001, _step(recordings))
    found = []
    for signs in product((1, -1), repeat=drivers - 1):
        polarity = (1, *signs)
        tried: dict[tuple[int, ...], tuple[float, Float]] = {}
        chance = np.random.default_rng(drivers)
        for again in range(1 if drivers == 2 else 6):
            delay = np.zeros(drivers)
            delay[1:] = chance.uniform(-0.2, 0.2, drivers - 1) * within_s * (again > 0)
            for turn in range(1 if drivers == 2 else 3 * (drivers - 1)):
                k = 1 + turn % (drivers - 1)
                cost = _costs(recordings, polarity, delay, k, grid)
                low = np.flatnonzero((cost <= np.r_[np.inf, cost[:-1]]) & (cost <= np.r_[cost[1:], np.inf]))
                for at in low[np.argsort(cost[low])][:_KEPT]:
                    there = delay.copy()
                    there[k] = grid[at]
                    tried[tuple(np.round(there * 1e6).astype(int))] = float(cost[at]), there
                delay[k] = grid[np.argmin(cost)]
        best = sorted(tried.values(), key=lambda t: t[0])[: _KEPT + drivers - 2]
        found += [(polarity, delay) for _, delay in best]
    beside = EIGHTH / meeting_hz(recordings)
    beside[0] = 0.0
    return [(polarity, delay + by * beside) for polarity, delay in found for by in (-1.0, 0.0, 1.0)]


def meeting_hz(recordings: Sequence[Recording]) -> Float:
    """(d,) round which frequency each driver adds to others."""
    octaves = np.log2(np.concatenate([r.frequency_hz for r in recordings]))
    power = np.concatenate([np.abs(r.parts) ** 2 for r in recordings], axis=1)
    others = power.sum(axis=0) - power
    weight = np.minimum(power, others) / np.maximum(power, others) + 1e-12
    return np.asarray(2.0 ** ((weight * octaves).sum(axis=1) / weight.sum(axis=1)))


def _step(recordings: Sequence[Recording]) -> float:
    """An eighth of a cycle at the highest frequency at which two drivers add to a sum."""
    highest = 1000.0
    for r in recordings:
        size = np.sort(np.abs(r.parts), axis=0)
        both = r.frequency_hz[size[-2] > 0.25 * size[-1]]
        highest = max(highest, float(both.max(initial=0.0)))
    return 1.0 / (8.0 * highest)


def _costs(recordings: Sequence[Recording], polarity: tuple[int, ...], delay_s: Float, k: int, grid: Float) -> Float:
    """(t,) misfit of the levels with each delay of driver k: squares near, lines afar; each recording's level free."""
    cost = np.zeros(grid.size)
    for r in recordings:
        turn = np.exp(-2j * np.pi * r.frequency_hz * delay_s[:, None]) * np.array(polarity)[:, None]
        turn[k] = 0.0
        rest = (turn * r.parts).sum(axis=0)
        moved = rest + polarity[k] * r.parts[k] * np.exp(-2j * np.pi * grid[:, None] * r.frequency_hz)
        miss = np.log(np.abs(r.value)) - np.log(np.abs(moved) + 1e-9 * np.abs(rest).max())
        miss = np.abs(miss - np.median(miss, axis=1, keepdims=True))
        cost += np.where(miss < _HUBER, miss**2, _HUBER * (2.0 * miss - _HUBER)).mean(axis=1)
    return cost
