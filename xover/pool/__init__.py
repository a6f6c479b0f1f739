"""The one pool of processes: independent pieces of work, spread by joblib.

Inside `with joblib.parallel_config(backend="dask"):`, or any other backend that gives results as they come, the same
call runs there. Else the processes are copies of this one where that is safe, and joblib's own where it is not.
"""

from __future__ import annotations

import threading
import warnings
from collections.abc import Callable, Iterator, Sequence
from typing import Any, TypeVar

from xover.errors import OptionError

Item = TypeVar("Item")
Result = TypeVar("Result")


class Pool:
    """Processes that begin with their first work and end with the `with` block; 1 works here, -1 takes every core.

    Raises
    ------
    OptionError : a number of processes that is none.
    """

    def __init__(self, jobs: int) -> None:
        if jobs == 0 or jobs < -1:
            raise OptionError(f"{jobs} processes cannot work", "give 1 or more, or -1 for every core")
        self._jobs = jobs
        self._parallel: Any = None

    def __enter__(self) -> Pool:
        return self

    def __exit__(self, *why: object) -> None:
        if self._parallel is not None:
            self._parallel.__exit__(*why)

    def as_they_come(self, work: Callable[[Item], Result], items: Sequence[Item]) -> Iterator[tuple[int, Result]]:
        """The number of an item, from 0, and the result of `work` on it, in the order in which they are done.

        `work` must be a function of a module, or a partial of one, so that it can travel to another process. Where a
        process dies, as for want of memory, what is left is done here.
        """
        left = dict(enumerate(items))
        if self._jobs != 1 and len(items) > 1:
            from concurrent.futures import BrokenExecutor

            from joblib import delayed

            if self._parallel is None:
                from xover.pool.backend import parallel

                self._parallel = parallel(self._jobs).__enter__()
            try:
                work_out = self._parallel(delayed(_numbered)(work, *item) for item in enumerate(items))
                for number, result, warned in work_out:
                    del left[number]
                    for one in warned:
                        warnings.warn_explicit(*one)
                    yield number, result
            except BrokenExecutor:
                pass
        for number, item in left.items():
            yield number, work(item)


def each(work: Callable[[Item], Result], items: Sequence[Item], jobs: int = 1) -> Iterator[Result]:
    """Results of `work` on each item, in the order of the items, as they come; see `Pool.as_they_come`."""
    with Pool(jobs) as pool:
        come: dict[int, Result] = {}
        told = 0
        for number, result in pool.as_they_come(work, items):
            come[number] = result
            while told in come:
                yield come.pop(told)
                told += 1


def _numbered(work: Callable[[Item], Result], number: int, item: Item) -> tuple[int, Result, list[Any]]:
    """What came of it, and its warnings, for the one who asked: another process has nobody to tell."""
    if threading.current_thread() is not threading.main_thread():  # filters of warnings are of all threads together
        return number, work(item), []
    with warnings.catch_warnings(record=True) as raised:
        result = work(item)
    return number, result, [(w.message, w.category, w.filename, w.lineno) for w in raised]
