"""Local optima of a problem whose values are continuous: many starts, exact slopes, least squares in log values."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Final, Protocol

import numpy as np

from xover.curve import Float

SCATTERED: Final = 800
"""Random candidates that the starts are picked from."""
_SPREAD: Final = 0.7
"""Standard deviation of a scattered value's logarithm: about a factor of two either way."""
_APART: Final = 0.35
"""Starts, and results, nearer together than this (root mean square of ln) count as one."""
_EVALUATIONS: Final = 40


class StoppedError(KeyboardInterrupt):
    """Raised in place of a KeyboardInterrupt by a search that had something already.

    Attributes
    ----------
    partial : what it would have returned, as good as it was by then.
    """

    def __init__(self, partial: Any) -> None:
        super().__init__("stopped")
        self.partial = partial


class Problem(Protocol):
    """Positive values (p,) to be found, and how far they are from what is wanted."""

    def limits(self) -> tuple[Float, Float]:
        """(p,) lowest and highest values."""

    def scores(self, values: Float) -> Float:
        """(k,) sums of squared residuals of candidates (k, p)."""

    def residuals(self, values: Float) -> tuple[Float, Float]:
        """(m,) residuals for values (p,), and their derivatives (m, p) to the logarithms of the values."""


@dataclass(frozen=True, eq=False)
class Optimum:
    """A local optimum: values (p,) and the score, smaller is better."""

    values: Float
    score: float


def find_optima(
    problem: Problem,
    bases: Sequence[Float],
    *,
    starts: int = 12,
    scattered: int = SCATTERED,
    seed: int = 1,
    scores: Callable[[Float], Float] | None = None,
    progress: Callable[[float, float], None] = lambda _done, _best: None,
) -> tuple[Optimum, ...]:
    """Local optima, the best first, no two of them alike.

    Parameters
    ----------
    bases : (p,) values to scatter the starts around; each is itself a start.
    starts : random ones beside them, the best of `scattered` candidates, no two of them alike.
    scores : of the scattered candidates, where they come cheaper than by the problem's own.
    progress : told the share that is done and the best score so far; may raise KeyboardInterrupt to stop early.

    Raises
    ------
    StoppedError : stopped by the user after something was found; holds it.
    """
    low, high = (np.log(edge) for edge in problem.limits())
    rng = np.random.default_rng(seed)
    first = [np.clip(np.log(base), low, high) for base in bases]
    points = list(first)
    centres = np.stack(first)[rng.integers(len(first), size=scattered)]
    tried = np.clip(centres + _SPREAD * rng.standard_normal((scattered, low.size)), low, high)
    worth = (scores or problem.scores)(np.exp(tried))
    for index in np.argsort(worth, kind="stable"):
        if len(points) >= starts + len(first):
            break
        if all(_distance(tried[index], p) > _APART for p in points):
            points.append(tried[index])
    found: list[Optimum] = []
    try:
        for number, point in enumerate(points):
            found.append(_descend(problem, point, low, high))
            progress((number + 1) / len(points), min(o.score for o in found))
    except KeyboardInterrupt:
        if found:
            raise StoppedError(_distinct(found)) from None
        raise
    return _distinct(found)


def _descend(problem: Problem, point: Float, low: Float, high: Float) -> Optimum:
    """Levenberg-Marquardt-like descent within bounds (scipy's trust region reflective), in log values."""
    from scipy.optimize import least_squares

    memory: dict[bytes, tuple[Float, Float]] = {}

    def both(x: Float) -> tuple[Float, Float]:
        key = x.tobytes()
        if key not in memory:
            memory.clear()
            values, turned = problem.residuals(np.exp(x))
            memory[key] = (
                np.nan_to_num(values, nan=0.0, posinf=1e3, neginf=-1e3),
                np.nan_to_num(turned, nan=0.0, posinf=0.0, neginf=0.0),
            )
        return memory[key]

    def residuals(x: Float) -> Float:
        return both(x)[0]

    def slopes(x: Float) -> Float:
        return both(x)[1]

    inside = np.clip(point, low + 1e-6, high - 1e-6)

    result = least_squares(
        residuals,
        inside,
        jac=slopes,
        bounds=(low, high),
        max_nfev=_EVALUATIONS,
        x_scale=1.0,
        ftol=1e-5,
        xtol=1e-5,
        gtol=1e-7,
    )
    return Optimum(np.exp(result.x), float(2.0 * result.cost))


def _distance(one: Float, other: Float) -> float:
    return float(np.sqrt(np.mean((one - other) ** 2)))


def _distinct(found: Sequence[Optimum]) -> tuple[Optimum, ...]:
    kept: list[Optimum] = []
    for optimum in sorted(found, key=lambda o: o.score):
        if all(_distance(np.log(optimum.values), np.log(k.values)) > 0.02 for k in kept):
            kept.append(optimum)
    return tuple(kept)
