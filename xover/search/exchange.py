"""The best choice for every place out of lists: exchanges of one and of two until none betters the answer.

Each exchange of two is tried with every entry of both lists at once.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Any, Final, Protocol

import numpy as np
from numpy.typing import NDArray

from xover.curve import Float
from xover.search.descent import StoppedError

# (k,) entries of a list.
Places = NDArray[np.integer[Any]]
# Smaller gains are rounding.
_GAIN: Final = 1e-9
_MOST_ROUNDS: Final = 200
_WORTH: Final = 0.6
"""Share of what all changes together would gain, at which fewer are enough."""


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
