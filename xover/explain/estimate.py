"""The fit: the most plausible values given the sweeps and the prior, with weights that depend on the answer."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np

from xover.curve import Float
from xover.explain.least_squares import least_squares, posterior_covariance
from xover.explain.problem import Problem, Residual
from xover.explain.weights import Whitener, row_weights, whitener

# Weights depend on the answer, so the fit is done this often at the most.
_ROUNDS: Final = 4
# Rounds end where no unknown moves by more than this share of its standard deviation.
_SETTLED: Final = 0.05


@dataclass(frozen=True, eq=False)
class Fit:
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
) -> Fit:
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


def _fit(problem: Problem, at: Float, found: Residual, weights: Whitener) -> Fit:
    whitened = weights.whitened(problem, found.rows)
    prior = (at - problem.centre) / problem.spread
    return Fit(
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
