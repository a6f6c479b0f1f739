"""Descent to local optima where values are continuous, and exchange of entries where they are chosen from lists.

Descent: many starts, exact slopes, least squares in log values. Exchange: one place and two, until nothing betters.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Any, Final, Protocol

import numpy as np
from numpy.typing import NDArray

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
    settled: Callable[[Float], Float] = lambda values: values,
    progress: Callable[[float, float], None] = lambda _done, _best: None,
) -> tuple[Optimum, ...]:
    """Local optima, the best first, no two of them alike.

    Parameters
    ----------
    bases : (p,) values to scatter the starts around; each is itself a start.
    starts : random ones beside them, the best of `scattered` candidates, no two of them alike.
    scores : of the scattered candidates, where they come cheaper than by the problem's own.
    settled : betters the values (p,) of a start where that comes cheap.
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
            found.append(descend(problem, settled(np.exp(point))))
            progress((number + 1) / len(points), min(o.score for o in found))
    except KeyboardInterrupt:
        if found:
            raise StoppedError(_distinct(found)) from None
        raise
    return _distinct(found)


def descend(problem: Problem, start: Float, evaluations: int = _EVALUATIONS) -> Optimum:
    """Levenberg-Marquardt-like descent from values (p,) within bounds (scipy's trust region reflective), in logs."""
    from scipy.optimize import least_squares

    low, high = (np.log(edge) for edge in problem.limits())
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

    inside = np.clip(np.log(start), low + 1e-6, high - 1e-6)

    result = least_squares(
        residuals,
        inside,
        jac=slopes,
        bounds=(low, high),
        max_nfev=evaluations,
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


_GAIN: Final = 1e-9
_MOST_ROUNDS: Final = 200
_WORTH: Final = 0.6
"""Share of what all changes together would gain, at which fewer are enough."""


# (k,) entries of a list.
Places = NDArray[np.integer[Any]]


@dataclass(frozen=True, eq=False)
class Chosen:
    """A choice for every place.

    Attributes
    ----------
    index : entry in each place's list.
    merit : smaller is better.
    proved : whether no exchange at one place, nor at two, by any entries of their lists betters it.
    """

    index: Mapping[str, int]
    merit: float
    proved: bool


class Lists(Protocol):
    """A list for each place, and what a choice of theirs is worth."""

    @property
    def sizes(self) -> Mapping[str, int]:
        """Number of entries by place."""

    def merits(self, index: Mapping[str, int], varied: Mapping[str, Places], below: float = np.inf) -> Float:
        """(k,) merit of a choice with other entries (k,) at some places; infinite where it is not below `below`."""


def best_entries(
    lists: Lists, index: Mapping[str, int], names: Sequence[str], below: float = np.inf
) -> tuple[float, dict[str, int]]:
    """The best of all entries of some places together: merit, infinite where none is below `below`, and choice."""
    sizes = lists.sizes
    grid = np.meshgrid(*(np.arange(sizes[n]) for n in names), indexing="ij")
    varied = {n: p.ravel() for n, p in zip(names, grid, strict=True)}
    merits = lists.merits(index, varied, below)
    at = int(np.argmin(merits))
    return float(merits[at]), {**index, **{n: int(v[at]) for n, v in varied.items()}}


def merit_of(lists: Lists, index: Mapping[str, int]) -> float:
    """Merit of one choice."""
    name, at = next(iter(index.items()))
    return float(lists.merits(index, {name: np.array([at])})[0])


def improve(
    lists: Lists,
    start: Mapping[str, int],
    *,
    pairs: bool = True,
    progress: Callable[[float], None] = lambda _merit: None,
) -> Chosen:
    """Exchange always by what betters most, until nothing does.

    Parameters
    ----------
    pairs : exchanges of two as well; without them the answer is a start for those.
    progress : told the merit after each exchange; may raise KeyboardInterrupt.

    Raises
    ------
    StoppedError : stopped by the user; holds the best so far.
    """
    index, merit, proved = dict(start), merit_of(lists, start), False
    try:
        for _ in range(_MOST_ROUNDS):
            better = _best_single(lists, index, merit)
            if better is None and pairs:
                better = _first_pair(lists, index, merit)
            if better is None:
                proved = pairs
                break
            merit, index = better
            progress(merit)
    except KeyboardInterrupt:
        raise StoppedError(Chosen(index, merit, False)) from None
    return Chosen(index, merit, proved)


def _best_single(lists: Lists, index: Mapping[str, int], merit: float) -> tuple[float, dict[str, int]] | None:
    best: tuple[float, dict[str, int]] | None = None
    for name in index:
        below = merit if best is None else best[0]
        found = best_entries(lists, index, [name], below)
        if found[0] < below - _GAIN:
            best = found
    return best


def _first_pair(lists: Lists, index: Mapping[str, int], merit: float) -> tuple[float, dict[str, int]] | None:
    """The best exchange of the first pair that has one: waiting for the best of all pairs costs more than it gains."""
    for pair in combinations(index, 2):
        found = best_entries(lists, index, pair, merit)
        if found[0] < merit - _GAIN:
            return found
    return None


def least_change(lists: Lists, index: Mapping[str, int]) -> Chosen | None:
    """The smallest change, at one place or two, that is worth most of what all are; None where none betters."""
    merit = merit_of(lists, index)
    whole = merit - improve(lists, index, pairs=False).merit
    best: tuple[float, Mapping[str, int]] = (merit, index)
    for count in (1, 2):
        for some in combinations(index, count):
            found = best_entries(lists, index, some, best[0])
            if found[0] < best[0] - _GAIN:
                best = found
        if merit - best[0] >= _WORTH * whole:
            break
    return None if best[1] is index else Chosen(best[1], best[0], False)
