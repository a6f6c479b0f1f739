"""Spread independent pieces of work over processes, where that is asked for.

One process needs nothing. More need joblib, whose backends include a cluster's: inside
`with joblib.parallel_config(backend="dask"):` the same call runs there.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import TypeVar

from xover.errors import OptionError

Item = TypeVar("Item")
Result = TypeVar("Result")


def each(work: Callable[[Item], Result], items: Sequence[Item], jobs: int = 1) -> Iterator[Result]:
    """Results of `work` on each item, in the order of the items, as they come.

    Parameters
    ----------
    work : must be a function of a module, or a partial of one, so that it can travel to another process.
    jobs : processes; 1 works here, -1 takes every core.

    Raises
    ------
    OptionError : more than one process without joblib, or a number that is none.
    """
    if jobs == 0 or jobs < -1:
        raise OptionError(f"{jobs} processes cannot work", "give 1 or more, or -1 for every core")
    if jobs == 1 or len(items) < 2:
        for item in items:
            yield work(item)
        return
    try:
        from joblib import Parallel, delayed
    except ImportError:
        raise OptionError("more than one process needs joblib", "install it: pip install joblib") from None
    yield from Parallel(n_jobs=jobs, return_as="generator")(delayed(work)(item) for item in items)
