"""Where joblib does the work: what the caller has configured, else copies of this process, else joblib's own."""

from __future__ import annotations

import multiprocessing
import os
import signal
import sys
import threading
import time
from collections.abc import Callable
from concurrent.futures import Future, ProcessPoolExecutor
from typing import Any, Final

from joblib import Parallel, cpu_count
from joblib.parallel import LokyBackend, ParallelBackendBase, get_active_backend

LOOK_S: Final = 0.5
"""So often a process looks whether the one that started it still lives."""


def parallel(jobs: int) -> Parallel:
    """joblib's `Parallel` that gives results in the order in which they are done."""
    how: dict[str, Any] = {}
    if isinstance(get_active_backend()[0], LokyBackend):  # nobody has configured another one
        begin = {"initializer": _begin, "initargs": (os.getpid(),)}
        how = {"backend": Copies()} if _may_copy() else {"backend": "loky", "max_nbytes": None, **begin}
    return Parallel(n_jobs=jobs, return_as="generator_unordered", **how)


def _may_copy() -> bool:
    """Whether a copy of this process can work: one with threads may wait for ever for what one of them held."""
    alone = threading.active_count() == 1 and os.environ.get("OPENBLAS_NUM_THREADS") == "1"
    return sys.platform == "linux" and alone


class Copies(ParallelBackendBase):  # type: ignore[misc]  # joblib has no types
    """Processes that are copies of this one: they begin at once, with all loaded that this one has loaded."""

    supports_retrieve_callback = True

    def effective_n_jobs(self, n_jobs: int) -> int:
        """How many processes that is."""
        return int(cpu_count()) if n_jobs == -1 else n_jobs

    def configure(self, n_jobs: int = 1, parallel: Any = None, **_: object) -> int:
        """Make ready; the first work makes the copies."""
        self.parallel = parallel
        context = multiprocessing.get_context("fork")
        count = self.effective_n_jobs(n_jobs)
        self._executor = ProcessPoolExecutor(count, context, initializer=_begin, initargs=(os.getpid(),))
        return count

    def submit(self, func: Callable[[], Any], callback: Callable[[Future[Any]], object] | None = None) -> Future[Any]:
        """Hand a piece of work out."""
        future = self._executor.submit(func)
        if callback is not None:
            future.add_done_callback(callback)
        return future

    def retrieve_result_callback(self, out: Future[Any]) -> Any:
        """What came of it."""
        return out.result()

    def terminate(self) -> None:
        """End the copies."""
        self._executor.shutdown(cancel_futures=True)

    def abort_everything(self, ensure_ready: bool = True) -> None:
        """End the copies at once, whatever they are at.

        Nobody waits for the threads that serve them: one may read for ever what a copy had half written when it ended.
        """
        copies = multiprocessing.active_children()
        for copy in copies:
            copy.terminate()
        self._executor.shutdown(wait=False, cancel_futures=True)
        for copy in copies:
            copy.join(LOOK_S)
        if ensure_ready:
            self.configure(self.parallel.n_jobs, self.parallel)


def _begin(parent: int) -> None:
    """A process ends with the one that started it, and leaves Ctrl-C and a closed terminal to that one."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    signal.signal(signal.SIGTERM, signal.SIG_DFL)
    if hasattr(signal, "SIGHUP"):
        signal.signal(signal.SIGHUP, signal.SIG_IGN)
    if sys.platform != "win32":  # where the number of a parent stays when it has gone
        threading.Thread(target=_end_with, args=(parent,), daemon=True).start()


def _end_with(parent: int) -> None:
    while os.getppid() == parent:
        time.sleep(LOOK_S)
    os._exit(1)
