"""The fit: the most plausible values given the sweeps and the prior, and where to begin to look for them.

Weights depend on the answer. A damped search ends in the nearest hollow, and a network of eight parts has several, so
it begins in many places at once.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Final, TypeVar

import numpy as np

from xover.curve import Float, spaced_rows
from xover.explain.problem import Problem, Residual, SweepRows
from xover.explain.weights import Whitener, row_weights, whitener

# The longest step of one coordinate: as a logarithm, or in ohms and the like.
LONGEST_STEP: Final = 0.7
_STEPS: Final = 60
# Ended where a step would lower the sum of squares by less than this.
_CONVERGED: Final = 1e-4

Found = TypeVar("Found")
# At (p,) coordinates: (c,) residuals in standard deviations, (c, p) slopes so that a step is found from
# slopes * step = residuals, and whatever else belongs to the point.
Evaluate = Callable[[Float], tuple[Float, Float, Found]]


def least_squares(
    evaluate: Evaluate[Found],
    start: Float,
    centre: Float,
    spread: Float,
    floor: Float,
    converged: float = _CONVERGED,
) -> tuple[Float, Found]:
    """Find the coordinates of the smallest sum of squares of residuals and of (at - centre) / spread.

    Levenberg (1944) and Marquardt (1963), from memory: Gauss-Newton steps with a damping that grows where a step does
    not pay. The prior is a row for each coordinate, so that the search is not singular while a prior is there.

    Parameters
    ----------
    start : (p,) where to begin. centre, spread : (p,) of the prior; an infinite spread is none.
    floor : (p,) coordinates that would go below it rest there.
    converged : ended where a step would lower the sum of squares by less.

    Returns
    -------
    (p,) coordinates, and what `evaluate` said of them.
    """
    at = start
    residual, slope, found = evaluate(at)
    cost, gradient, curvature = _sums(residual, slope, at, centre, spread)
    damping = 1e-3
    for _ in range(_STEPS):
        step = _steps(curvature[None], gradient[None], np.array([damping]), (floor - at)[None])[0]
        promised = float(2.0 * step @ gradient - step @ curvature @ step)
        if promised < converged and damping < 1e-2:
            break
        residual, slope, trial = evaluate(at + step)
        new = _sums(residual, slope, at + step, centre, spread)
        if np.isfinite(new[0]) and new[0] < cost:
            damping = max(damping * (0.1 if cost - new[0] > 0.5 * promised else 0.5), 1e-9)
            at, found, (cost, gradient, curvature) = at + step, trial, new
        elif damping > 1e8:
            break
        else:
            damping *= 8.0
    return at, found


def _steps(curvature: Float, gradient: Float, damping: Float, lowest: Float) -> Float:
    """(k, p) damped steps, none below `lowest` (k, p): what would go there is held, and the others go with it."""
    held = (lowest >= 0) & (gradient < 0)
    diagonal = np.arange(gradient.shape[1])
    for _ in diagonal:
        step = np.where(held, lowest, 0.0)
        wanted = gradient - np.einsum("kij,kj->ki", curvature, step)
        inner = np.where(held[:, :, None] | held[:, None, :], 0.0, curvature)
        own = curvature[:, diagonal, diagonal] * (1.0 + damping[:, None])
        inner[:, diagonal, diagonal] = np.where(held, 1.0, own)
        step = step + np.linalg.solve(inner, np.where(held, 0.0, wanted)[:, :, None])[:, :, 0]
        below = ~held & (step < lowest)
        if not below.any():
            break
        held |= below
    step = np.maximum(step, lowest)
    return np.asarray(step * np.minimum(1.0, LONGEST_STEP / np.maximum(np.abs(step).max(axis=1), 1e-300))[:, None])


def _sums(residual: Float, slope: Float, at: Float, centre: Float, spread: Float) -> tuple[float, Float, Float]:
    """Sum of squares, half of its downhill slope, and its curvature."""
    away = (centre - at) / spread
    curvature = slope.T @ slope
    curvature[np.diag_indices_from(curvature)] += spread**-2.0
    return float(residual @ residual + away @ away), slope.T @ residual + away / spread, curvature


def posterior_covariance(slope: Float, spread: Float, scale: float = 1.0) -> Float:
    """(p, p) covariance of the coordinates (Gauss-Newton), as if none could reach its floor.

    Parameters
    ----------
    slope : (c, p) of the residuals in standard deviations. spread : (p,) of the prior; infinite for none.
    scale : standard deviation that the residuals are taken to have, in place of 1.
    """
    precision = slope.T @ slope / scale**2
    precision[np.diag_indices_from(precision)] += spread**-2.0
    size = np.sqrt(np.diag(precision))
    return np.asarray(np.linalg.inv(precision / np.outer(size, size)) / np.outer(size, size))


# Weights depend on the answer, so the fit is done this often at the most.
_ROUNDS: Final = 4
# Rounds end where no unknown moves by more than this share of its standard deviation.
_SETTLED: Final = 0.05


@dataclass(frozen=True, eq=False)
class SweepFit:
    """The most plausible values, and how sharply they are known.

    Attributes
    ----------
    at : (p,) coordinates, unknowns of the network first, then the measurement's.
    jacobian : (c, p) slopes of the whitened residuals there, without the prior.
    whitened : (c,) residuals in standard deviations, uncorrelated if network and noise are right.
    found : the residuals by rows.
    weights : what whitened them.
    chi_square : of the residuals. prior_square : the same of the prior.
    """

    problem: Problem
    at: Float
    jacobian: Float
    whitened: Float
    found: Residual
    weights: Whitener
    chi_square: float
    prior_square: float

    @cached_property
    def covariance(self) -> Float:
        """(p, p) of the coordinates, sweeps and prior together; as if a loss could go below zero."""
        return posterior_covariance(self.jacobian, self.problem.spread)

    @property
    def deviation(self) -> Float:
        """(p,) standard deviation of each coordinate."""
        return np.sqrt(np.diag(self.covariance))

    @property
    def log_evidence(self) -> float:
        """Natural logarithm of the evidence, up to a constant of the data (Laplace's method, from memory)."""
        spread = self.problem.spread
        _, volume = np.linalg.slogdet(self.covariance / np.outer(spread, spread))
        return -0.5 * (self.chi_square + self.prior_square + self.weights.log_determinant - float(volume))

    @property
    def effective_parameters(self) -> float:
        """How many parameters the sweeps themselves determine: the trace of what they say over what is known."""
        return float(np.trace(self.covariance @ (self.jacobian.T @ self.jacobian)))


def fit(
    problem: Problem, start: Float | None = None, rounds: int = _ROUNDS, row_weight: list[Float] | None = None
) -> SweepFit:
    """Fit.

    Parameters
    ----------
    start : (p,) coordinates; the prior's centre if None.
    row_weight : (n,) for each sweep; looked for if None.

    Raises
    ------
    NoSolutionError : the network has no unique solution at a frequency.
    """
    at = problem.centre if start is None else np.array(start, dtype=float)
    found = problem.residual(at)
    weight = row_weight if row_weight is not None else [np.ones(r.size) for r in found.rows]
    for turn in range(rounds):
        before = at
        weights = whitener(problem, found.shares, weight)
        at, found = _settle(problem, weights, at)
        if row_weight is None:
            weight = row_weights(problem, found)
        if turn and np.all(np.abs(at - before) < _SETTLED * _fit(problem, at, found, weights).deviation):
            break
    return _fit(problem, at, found, whitener(problem, found.shares, weight))


def _fit(problem: Problem, at: Float, found: Residual, weights: Whitener) -> SweepFit:
    whitened = weights.whitened(problem, found.rows)
    prior = (at - problem.centre) / problem.spread
    return SweepFit(
        problem,
        at,
        weights.whitened(problem, found.slopes),
        whitened,
        found,
        weights,
        float(whitened @ whitened),
        float(prior @ prior),
    )


def _settle(problem: Problem, weights: Whitener, at: Float) -> tuple[Float, Residual]:
    """Least squares with the weights as they are."""

    def evaluate(at: Float) -> tuple[Float, Float, Residual]:
        found = problem.residual(at)
        return weights.whitened(problem, found.rows), weights.whitened(problem, found.slopes), found

    return least_squares(evaluate, at, problem.centre, problem.spread, problem.floor)


# The coarse problem keeps this many rows in an octave.
COARSE: Final = 10
# Places to begin at, the middle of the prior among them.
STARTS: Final = 16
# Values are drawn with this spread at most: without a prior there is no middle to draw round.
_WIDEST: Final = 0.35
STEPS: Final = 30
# Standard deviations to which places are drawn.
_REACH: Final = 1.7
# Before a network is refused, values are pushed and drawn this far, and so many ends are fitted to all rows.
_PUSH: Final = 0.7
_FAR: Final = 0.6
_REFINED: Final = 3
# So many steps show which places are worth going on from.
_FIRST_STEPS: Final = 6
_HOPEFUL: Final = 12
# Another end: its values differ by more, as logarithms, and it is no worse by more than this in the sum of squares.
_ELSEWHERE: Final = 0.05
_NEARLY: Final = 6.0
# Values are exchanged where their logarithms differ by more.
_APART: Final = 0.26
# Ends are told apart by more than this in the sum of squares.
_SAME: Final = 1e-2


def search(problem: Problem, starts: int = STARTS, seed: int = 1) -> SweepFit:
    """Fit from several places on few rows, all at once, then on all rows from the best end.

    Raises
    ------
    NoSolutionError : the network has no unique solution at a frequency.
    """
    at, cost = coarse_ends(problem, starts, seed)
    return fit(problem, at[int(np.argmin(cost))])


def search_anew(found: SweepFit) -> SweepFit:
    """Fit once more from the neighbours of an answer and from far away; the best of all, the answer itself among them.

    Neighbours: each value pushed far up and down, and any two like values exchanged, as a network often fits nearly
    as well with two capacitors in each other's place. Drivers and jig begin as they are believed to be.

    Raises
    ------
    NoSolutionError : as `search`.
    """
    problem = found.problem
    values = [i for i, u in enumerate(problem.sought) if u.is_value]
    middle = problem.centre.copy()
    middle[values] = found.at[values]
    places = [middle]
    for i in values:
        for push in (-_PUSH, _PUSH):
            places.append(middle.copy())
            places[-1][i] += push
    for i, j in itertools.combinations(values, 2):
        if problem.sought[i].kind is problem.sought[j].kind and abs(middle[i] - middle[j]) > _APART:
            places.append(middle.copy())
            places[-1][[i, j]] = middle[[j, i]]
    far = _places(problem, STARTS, 2, _FAR)[1:]
    coarse = thinned(problem, COARSE)
    ends, cost = _descend(coarse, np.concatenate([places, far]), _FIRST_STEPS)
    hopeful = np.concatenate([found.at[None], ends[np.argsort(cost)[:_HOPEFUL]]])
    ends, cost = _descend(coarse, hopeful, STEPS)
    elsewhere = np.abs(ends[:, values] - ends[0, values]).max(axis=1, initial=0.0) > _ELSEWHERE
    best = found
    for i in np.argsort(cost)[:_REFINED]:
        if elsewhere[i] and cost[i] < cost[0] + _NEARLY:
            other = fit(problem, ends[i])
            best = min(best, other, key=lambda f: f.chi_square + f.prior_square + f.weights.log_determinant)
    return best


def coarse_ends(problem: Problem, starts: int = STARTS, seed: int = 1, steps: int = STEPS) -> tuple[Float, Float]:
    """(k, p) ends of coarse fits from several places, and (k,) -2 ln of the posterior at each, up to a constant.

    The places lie evenly (Latin hypercube, McKay 1979, from memory) over what the prior allows the values.

    Raises
    ------
    NoSolutionError : as `search`.
    """
    return _descend(thinned(problem, COARSE), _places(problem, starts, seed), steps)


def _places(problem: Problem, count: int, seed: int, widest: float = _WIDEST) -> Float:
    """(k, p) starting coordinates, the middle first."""
    random = np.random.default_rng(seed)
    places = np.tile(problem.centre, (count, 1))
    for column, unknown in enumerate(problem.sought):
        if unknown.is_value and count > 1:
            strata = (random.permutation(count - 1) + random.random(count - 1)) / (count - 1)
            places[1:, column] += _REACH * min(unknown.spread, widest) * (2.0 * strata - 1.0)
    return places


def _descend(problem: Problem, at: Float, steps: int) -> tuple[Float, Float]:
    """(k, p) and (k,): as `fit`, every place by itself but all in one solve; rows weighed by their own noise."""
    damping = np.full(at.shape[0], 1e-2)
    cost, gradient, curvature = _posterior(problem, at)
    for _ in range(steps):
        step = _steps(curvature, gradient, damping, problem.floor - at)
        promised = 2.0 * (step * gradient).sum(axis=1) - np.einsum("ki,kij,kj->k", step, curvature, step)
        if np.all((promised < _SAME) | (damping > 1e6)):
            break
        trial = _posterior(problem, at + step)
        better = np.isfinite(trial[0]) & (trial[0] < cost)
        damping = np.where(better, np.maximum(damping * 0.2, 1e-8), damping * 6.0)
        at = np.where(better[:, None], at + step, at)
        cost = np.where(better, trial[0], cost)
        gradient = np.where(better[:, None], trial[1], gradient)
        curvature = np.where(better[:, None, None], trial[2], curvature)
    return at, cost


def _posterior(problem: Problem, at: Float) -> tuple[Float, Float, Float]:
    """(k,), (k, p) and (k, p, p): -2 ln of the posterior, half of its downhill slope, and its curvature."""
    found = problem.residuals(at)
    away = (problem.centre - at) / problem.spread
    cost, gradient = (away**2).sum(axis=1), away / problem.spread
    curvature = np.tile(np.diag(problem.spread**-2.0), (at.shape[0], 1, 1))
    for sweep, rows, slopes, share in zip(problem.sweeps, found.rows, found.slopes, found.shares, strict=True):
        drivers = sum((np.abs(share[n]) ** 2 * problem.driver_noise[n] ** 2 for n in share), sweep.doubt**2)
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
    kept = spaced_rows(rows.sweep.frequency_hz, per_octave)
    curve = rows.sweep.curve
    shorter = replace(curve, frequency_hz=curve.frequency_hz[kept], value=curve.value[kept])
    model = rows.model
    drivers = {name: driver.only(kept) for name, driver in model.drivers.items()}
    return replace(
        rows,
        sweep=replace(rows.sweep, curve=shorter),
        model=replace(model, frequency_hz=model.frequency_hz[kept], drivers=drivers),
        cell=np.arange(kept.size),
        rests_on={name: (left[kept], share[kept]) for name, (left, share) in rows.rests_on.items()},
        doubt=rows.doubt[kept],
    )
