"""Where to begin: a damped search ends in the nearest hollow, and a network of eight parts has several."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import numpy as np

from xover.curve import Float
from xover.explain.estimate import Fit, fit
from xover.explain.least_squares import LONGEST_STEP
from xover.explain.problem import Index, Problem, SweepRows

# The coarse problem keeps this many rows in an octave.
COARSE: Final = 10
# Places to begin at, the middle of the prior among them.
STARTS: Final = 16
# Values are drawn with this spread at most: without a prior there is no middle to draw round.
_WIDEST: Final = 0.35
STEPS: Final = 30
# Standard deviations to which places are drawn.
_REACH: Final = 1.7
# Ends are told apart by more than this in the sum of squares.
_SAME: Final = 1e-2


def search(problem: Problem, starts: int = STARTS, seed: int = 1) -> Fit:
    """Fit from several places on few rows, all at once, then on all rows from the best end.

    Raises
    ------
    NoSolutionError : the network has no unique solution at a frequency.
    """
    at, cost = coarse_ends(problem, starts, seed)
    return fit(problem, at[int(np.argmin(cost))])


def coarse_ends(problem: Problem, starts: int = STARTS, seed: int = 1, steps: int = STEPS) -> tuple[Float, Float]:
    """(k, p) ends of coarse fits from several places, and (k,) -2 ln of the posterior at each, up to a constant.

    The places lie evenly (Latin hypercube, McKay 1979, from memory) over what the prior allows the values.

    Raises
    ------
    NoSolutionError : as `search`.
    """
    return _descend(thinned(problem, COARSE), _places(problem, starts, seed), steps)


def _places(problem: Problem, count: int, seed: int) -> Float:
    """(k, p) starting coordinates, the middle first."""
    random = np.random.default_rng(seed)
    places = np.tile(problem.centre, (count, 1))
    for column, unknown in enumerate(problem.sought):
        if unknown.is_value and count > 1:
            strata = (random.permutation(count - 1) + random.random(count - 1)) / (count - 1)
            places[1:, column] += _REACH * min(unknown.spread, _WIDEST) * (2.0 * strata - 1.0)
    return places


def _descend(problem: Problem, at: Float, steps: int) -> tuple[Float, Float]:
    """(k, p) and (k,): as `fit`, every place by itself but all in one solve; rows weighed by their own noise."""
    damping = np.full(at.shape[0], 1e-2)
    cost, gradient, curvature = _sums(problem, at)
    diagonal = np.arange(at.shape[1])
    for _ in range(steps):
        free = ~((at <= problem.floor) & (gradient < 0))
        inner = np.where(free[:, :, None] & free[:, None, :], curvature, 0.0)
        inner[:, diagonal, diagonal] = np.where(free, inner[:, diagonal, diagonal] * (1.0 + damping[:, None]), 1.0)
        step = np.linalg.solve(inner, np.where(free, gradient, 0.0)[:, :, None])[:, :, 0]
        step *= np.minimum(1.0, LONGEST_STEP / np.maximum(np.abs(step).max(axis=1), 1e-300))[:, None]
        step = np.maximum(at + step, problem.floor) - at
        promised = 2.0 * (step * gradient).sum(axis=1) - np.einsum("ki,kij,kj->k", step, curvature, step)
        if np.all((promised < _SAME) | (damping > 1e6)):
            break
        trial = _sums(problem, at + step)
        better = np.isfinite(trial[0]) & (trial[0] < cost)
        damping = np.where(better, np.maximum(damping * 0.2, 1e-8), damping * 6.0)
        at = np.where(better[:, None], at + step, at)
        cost = np.where(better, trial[0], cost)
        gradient = np.where(better[:, None], trial[1], gradient)
        curvature = np.where(better[:, None, None], trial[2], curvature)
    return at, cost


def _sums(problem: Problem, at: Float) -> tuple[Float, Float, Float]:
    """(k,), (k, p) and (k, p, p): -2 ln of the posterior, half of its downhill slope, and its curvature."""
    found = problem.residuals(at)
    away = (problem.centre - at) / problem.spread
    cost, gradient = (away**2).sum(axis=1), away / problem.spread
    curvature = np.tile(np.diag(problem.spread**-2.0), (at.shape[0], 1, 1))
    for sweep, rows, slopes, share in zip(problem.sweeps, found.rows, found.slopes, found.shares, strict=True):
        drivers = sum((np.abs(share[n]) ** 2 * problem.driver_noise[n] ** 2 for n in share), np.zeros(rows.shape))
        noise = sweep.sweep.noise
        parts = [(rows.real, slopes.real, noise.magnitude)]
        if sweep.sweep.curve.has_phase:
            parts.append((rows.imag, slopes.imag, noise.phase_rad))
        for r, j, own in parts:
            variance = own**2 + drivers
            weighted = j / variance[:, :, None]
            cost = cost + (r**2 / variance + np.log(variance)).sum(axis=1)
            gradient = gradient + np.einsum("knp,kn->kp", weighted, r)
            curvature = curvature + weighted.transpose(0, 2, 1) @ j
    return cost, gradient, curvature


def thinned(problem: Problem, per_octave: float) -> Problem:
    """The same problem with fewer rows of each sweep."""
    return replace(problem, sweeps=tuple(_thinned(rows, per_octave) for rows in problem.sweeps))


def _thinned(rows: SweepRows, per_octave: float) -> SweepRows:
    octaves = np.log2(rows.sweep.frequency_hz)
    kept: Index = np.unique(np.floor((octaves - octaves[0]) * per_octave + 1e-6).astype(int), return_index=True)[1]
    curve = rows.sweep.curve
    shorter = replace(curve, frequency_hz=curve.frequency_hz[kept], value=curve.value[kept])
    model = rows.model
    drivers = {name: z[kept] for name, z in model.drivers_ohm.items()}
    return replace(
        rows,
        sweep=replace(rows.sweep, curve=shorter),
        model=replace(model, frequency_hz=model.frequency_hz[kept], drivers_ohm=drivers),
        cell=np.arange(kept.size),
        rests_on={name: (left[kept], share[kept]) for name, (left, share) in rows.rests_on.items()},
    )
