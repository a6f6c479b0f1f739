"""The best values if every value existed: many starts, exact gradients, least squares."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from xover.curve import Complex, Float
from xover.studies.change.redesign.design import Design, bounds
from xover.studies.change.redesign.score import residuals_and_slopes, score
from xover.studies.change.redesign.stopped import StoppedError

SCATTERED: Final = 800
"""Random candidates that the starts are picked from."""
_SPREAD: Final = 0.7
"""Standard deviation of a scattered value's logarithm: about a factor of two either way."""
_APART: Final = 0.35
"""Starts, and results, nearer together than this (root mean square of ln) count as one."""
_BATCH: Final = 400
_EVALUATIONS: Final = 40


@dataclass(frozen=True, eq=False)
class Optimum:
    """A local optimum: values (p,) and the score, smaller is better."""

    values: Float
    score: float


@dataclass(eq=False)
class SolvedCloud:
    """Candidates solved once for all polarities, and all goals, that scatter them round the same values."""

    _key: object = None
    _plus: tuple[str, ...] = ()
    _drive: Complex = field(default_factory=lambda: np.empty((0, 0, 0), dtype=complex))
    _load: Complex = field(default_factory=lambda: np.empty((0, 0), dtype=complex))

    def scores(self, design: Design, values: Float) -> Float:
        """(k,) scores of candidates (k, p)."""
        network, goal = design.network, design.goal
        cards = [network.driver_card(key) for key in goal.keys]
        key = (
            network.parts,
            network.couplings,
            network.channels,
            tuple((c.name, c.driver, frozenset((c.plus, c.minus))) for c in cards),
            tuple(design.dcr_at.items()),
            goal.frequency_hz.tobytes(),
            tuple(np.asarray(ohm).tobytes() for ohm in goal.driver_ohm.values()),
            values.tobytes(),
        )
        plus = tuple(c.plus for c in cards)
        batches = [slice(at, at + _BATCH) for at in range(0, values.shape[0], _BATCH)]
        if key != self._key:
            solved = [design.solve(values[rows]) for rows in batches]
            self._drive, self._load = (np.concatenate(both) for both in zip(*solved, strict=True))
            self._key, self._plus = key, plus
        # A driver turned round gets the same voltage with the other sign.
        sign = np.array([1.0 if one == other else -1.0 for one, other in zip(plus, self._plus, strict=True)])
        return np.concatenate([score(goal, self._drive[rows] * sign[:, None], self._load[rows]) for rows in batches])


def find_optima(
    design: Design,
    bases: Sequence[Float],
    *,
    starts: int = 12,
    scattered: int = SCATTERED,
    seed: int = 1,
    cloud: SolvedCloud | None = None,
    progress: Callable[[float, float], None] = lambda _done, _best: None,
) -> tuple[Optimum, ...]:
    """Local optima, the best first, no two of them alike.

    Parameters
    ----------
    bases : (p,) values to scatter the starts around; each is itself a start.
    starts : random ones beside them, the best of `scattered` candidates, no two of them alike.
    cloud : what was solved for another polarity or goal.
    progress : told the share that is done and the best score so far; may raise KeyboardInterrupt to stop early.

    Raises
    ------
    StoppedError : stopped by the user after something was found; holds it.
    """
    low, high = (np.log(edge) for edge in bounds(design.network.part(n) for n in design.open_parts))
    rng = np.random.default_rng(seed)
    first = [np.clip(np.log(base), low, high) for base in bases]
    points = list(first)
    centres = np.stack(first)[rng.integers(len(first), size=scattered)]
    tried = np.clip(centres + _SPREAD * rng.standard_normal((scattered, low.size)), low, high)
    worth = (cloud or SolvedCloud()).scores(design, np.exp(tried))
    for index in np.argsort(worth, kind="stable"):
        if len(points) >= starts + len(first):
            break
        if all(_distance(tried[index], p) > _APART for p in points):
            points.append(tried[index])
    found: list[Optimum] = []
    try:
        for number, point in enumerate(points):
            found.append(_descend(design, point, low, high))
            progress((number + 1) / len(points), min(o.score for o in found))
    except KeyboardInterrupt:
        if found:
            raise StoppedError(_distinct(found)) from None
        raise
    return _distinct(found)


def _descend(design: Design, point: Float, low: Float, high: Float) -> Optimum:
    """Levenberg-Marquardt-like descent within bounds (scipy's trust region reflective), in log values."""
    from scipy.optimize import least_squares

    memory: dict[bytes, tuple[Float, Float]] = {}

    def both(x: Float) -> tuple[Float, Float]:
        key = x.tobytes()
        if key not in memory:
            memory.clear()
            values, slopes = residuals_and_slopes(design.goal, *design.solve_with_slopes(np.exp(x)))
            memory[key] = (
                np.nan_to_num(values, nan=0.0, posinf=1e3, neginf=-1e3),
                np.nan_to_num(slopes, nan=0.0, posinf=0.0, neginf=0.0),
            )
        return memory[key]

    inside = np.clip(point, low + 1e-6, high - 1e-6)

    def residuals(x: Float) -> Float:
        return both(x)[0]

    def slopes_of(x: Float) -> Float:
        return both(x)[1]

    result = least_squares(
        residuals,
        inside,
        jac=slopes_of,
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
