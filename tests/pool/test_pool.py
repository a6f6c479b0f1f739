"""Work over several processes, or on a cluster, gives what one process gives."""

import os
import signal
import subprocess
import sys
from functools import partial
from pathlib import Path

import joblib
import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))
from left_behind import CAN_SEE, MARK, marked, wait_until

from xover.curve import log_grid
from xover.errors import OptionError
from xover.parts.catalogue import Catalogue
from xover.plain import to_plain
from xover.pool import Pool, each
from xover.speaker import open_speaker
from xover.studies.bears.tolerance.study import study_tolerance
from xover.studies.change.redesign.study import redesign
from xover.studies.change.redesign.wish import Wish

ATTIC = Path(__file__).parents[2] / "examples" / "attic-two-way" / "left"
PROGRAM = Path(__file__).with_name("work_to_spread.py")
THREADS = {"copies of the program": {"OPENBLAS_NUM_THREADS": "1"}, "joblib's own": {"OPENBLAS_NUM_THREADS": "2"}}


def test_in_the_order_of_the_items():
    assert list(each(partial(pow, 3), [1, 2, 5])) == [3, 9, 243]
    assert list(each(partial(pow, 3), [1, 2, 5], jobs=2)) == [3, 9, 243]
    assert list(each(partial(pow, 3), [], jobs=2)) == []


def test_as_they_come_each_has_its_number():
    with Pool(2) as pool:
        for items in ([1, 2, 5], [4, 3]):  # a pool may be asked again
            assert sorted(pool.as_they_come(partial(pow, 3), items)) == [(n, 3**i) for n, i in enumerate(items)]


@pytest.mark.parametrize("jobs", [0, -2])
def test_numbers_that_are_none(jobs):
    with pytest.raises(OptionError, match="1 or more"):
        list(each(partial(pow, 3), [1, 2], jobs))


def test_one_process_loads_nothing():
    code = "import sys; from xover.pool import each; list(each(abs, [1, 2])); sys.exit('joblib' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


def test_builds_are_the_same_on_two_processes():
    speaker = open_speaker(ATTIC)
    f = log_grid(100, 10_000, 6)
    one, two = (study_tolerance(speaker, "found", f, builds=400, seed=5, jobs=jobs) for jobs in (1, 2))
    np.testing.assert_array_equal(one.total.change_db, two.total.change_db)
    assert one.passing == two.passing


@pytest.mark.parametrize("threads", THREADS.values(), ids=THREADS)
def test_what_a_killed_process_had_is_done_here(threads):
    done = subprocess.run(
        [sys.executable, PROGRAM, "die"], env={**os.environ, **threads}, capture_output=True, text=True, check=True
    )
    assert done.stdout == "[1, 4, 9, 16, 25] after 0\n"


@pytest.mark.skipif(not CAN_SEE, reason="needs /proc to see what is left")
@pytest.mark.parametrize("how", [signal.SIGKILL, signal.SIGINT, signal.SIGTERM])
@pytest.mark.parametrize("threads", THREADS.values(), ids=THREADS)
def test_nothing_is_left_behind(threads, how):
    mark = f"{os.getpid()}-{how}-{threads['OPENBLAS_NUM_THREADS']}"
    with subprocess.Popen(
        [sys.executable, PROGRAM, "wait"],
        env={**os.environ, **threads, MARK: mark},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    ) as started:
        try:
            assert [started.stdout.readline() for _ in range(2)] == ["at work\n"] * 2
            tell = os.killpg if how == signal.SIGINT else os.kill  # a terminal tells all of them
            tell(started.pid, how)
            assert started.wait(10.0) == (128 + how if how == signal.SIGTERM else -how)
            assert wait_until(lambda: not marked(mark), 5.0), f"left behind: {marked(mark)}"
            told = started.stderr.read()
            assert told.count("Traceback") == (how == signal.SIGINT), told
        finally:
            started.kill()


def test_a_redesign_on_a_cluster(tmp_path):
    """A local one with two workers: the call that `xover redesign --jobs 2` makes, and the answer of one process."""
    import dask
    from distributed import Client, LocalCluster

    speaker, wish = open_speaker(ATTIC), Wish(band_hz=(500.0, 10_000.0))
    circuits = ("two-way-first-order", "two-way-woofer-no-coil")

    def searched(jobs):
        return redesign(speaker, Catalogue(), wish, circuits=circuits, starts=0, alternatives=False, jobs=jobs)

    with (
        dask.config.set({"temporary-directory": str(tmp_path)}),
        LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None) as cluster,
        Client(cluster) as client,
        joblib.parallel_config(backend="dask"),
    ):
        there = searched(jobs=2)
        worked = client.run(lambda: "xover.studies.change.redesign.study" in __import__("sys").modules)
    assert list(worked.values()) == [True, True], "a worker of the cluster had nothing to do"
    assert to_plain(there) == to_plain(searched(jobs=1))
