"""Independent pieces of work, shared between this process and others."""

from __future__ import annotations

import multiprocessing
import os
import signal
import sys
import threading
from collections import deque
from collections.abc import Callable, Sequence
from concurrent.futures import CancelledError, Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass
from multiprocessing.connection import wait
from multiprocessing.context import BaseContext
from types import TracebackType
from typing import Any, Final

from xover.drawing.page import inline_page
from xover.errors import NoSolutionError, OptionError
from xover.report.request import Request
from xover.report.works import NotKnown
from xover.report.workshop import Workshop, open_workshop


@dataclass(frozen=True)
class Job:
    """A piece of work: a function of a module that takes the workshop and what is given.

    Attributes
    ----------
    name : of the answer. words : what is going on.
    """

    name: str
    words: str
    work: Callable[..., Any]
    given: tuple[Any, ...] = ()


AHEAD: Final = 2
"""So many jobs each of the other processes has at hand: it need not load for one of them what it has for the other."""


class Crew:
    """Works jobs off, here and in `processes - 1` others.

    `expected` is about how many jobs there will be, for the progress that is told.

    A job that cannot be done with what the folder has gets `NotKnown` for an answer; a fault in a file is raised here.
    """

    def __init__(self, request: Request, processes: int, expected: int, progress: Callable[[float, str], None]) -> None:
        self._request = request
        self._expected, self._done = expected, 0
        self._others = max(processes - 1, 0)
        self._progress = progress
        self._executor: ProcessPoolExecutor | None = None

    def __enter__(self) -> Crew:
        if self._others:
            self._executor = ProcessPoolExecutor(self._others, _context(), initializer=_begin)
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._executor is not None:
            if kind is not None:
                for child in multiprocessing.active_children():
                    child.terminate()
            self._executor.shutdown(wait=kind is None, cancel_futures=True)

    def run(self, jobs: Sequence[Job], meanwhile: Callable[[], object] = lambda: None) -> dict[str, Any]:
        """Answers by name. The other processes take jobs from the front, this one from the end, until none is left.

        `meanwhile` is done here before the others are waited for.
        """
        waiting = deque(jobs)
        handed: list[tuple[Job, Future[Any]]] = []
        lock = threading.Lock()

        def hand_out(_: object = None) -> None:
            with lock:
                if not waiting or self._executor is None:
                    return
                try:
                    future = self._executor.submit(do, self._request, waiting[0])
                except RuntimeError:  # the other process has died, or all is being stopped: the rest is done here
                    return
                handed.append((waiting.popleft(), future))
            future.add_done_callback(hand_out)

        for _ in range(AHEAD * self._others):
            hand_out()
        answers: dict[str, Any] = {}
        while True:
            with lock:
                job = waiting.pop() if waiting else None
            if job is None:
                break
            self._say(job)
            answers[job.name] = do(self._request, job)
        meanwhile()
        for job, future in handed:
            self._say(job)
            answers[job.name] = self._answer(job, future)
        return answers

    def _answer(self, job: Job, future: Future[Any]) -> Any:
        """What the other process found; where it died, as for want of memory, the job is done here."""
        try:
            return future.result()
        except (BrokenProcessPool, CancelledError):
            return do(self._request, job)

    def _say(self, job: Job) -> None:
        self._progress(min(self._done / self._expected, 1.0), job.words)
        self._done += 1


def _context() -> BaseContext:
    """A copy of this process where that is safe, as it has everything loaded; else a new one.

    A copy of a process with threads may wait for ever for what one of them held.
    """
    alone = threading.active_count() == 1 and os.environ.get("OPENBLAS_NUM_THREADS") == "1"
    return multiprocessing.get_context("fork" if sys.platform == "linux" and alone else "spawn")


def do(request: Request, job: Job) -> Any:
    """Do one job in this process."""
    workshop: Workshop = open_workshop(request)
    try:
        with inline_page(notes=False):  # the page shows the notes of a figure as text
            return job.work(workshop, *job.given)
    except (OptionError, NoSolutionError) as fault:
        return NotKnown(" ".join(str(fault).split()))


def _begin() -> None:
    """A process of the crew ends with the one that started it, and leaves Ctrl-C to that one."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    parent = multiprocessing.parent_process()
    if parent is not None:
        threading.Thread(target=_end_with, args=(parent.sentinel,), daemon=True).start()


def _end_with(sentinel: int) -> None:
    wait([sentinel])
    os._exit(1)
