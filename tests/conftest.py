"""What holds for all tests.

Hypothesis tries the same cases at every run, so that a red run can be run again. Search wider with
--hypothesis-profile=wide.
"""

import gc
import os
import pickle

# As the command line does, before numpy is loaded: each worker has a core, and threads of small solves only wait.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
gc.set_threshold(50_000)

import pytest  # noqa: E402
from hypothesis import settings  # noqa: E402

settings.register_profile("steady", derandomize=True, deadline=None)
settings.register_profile("wide", deadline=None, max_examples=1000)
settings.load_profile("steady")


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config, log):
    """Give each worker one run of neighbouring tests, which share what was worked out for them."""
    from xdist.scheduler import WorkStealingScheduling

    return WorkStealingScheduling(config, log) if config.getvalue("dist") == "load" else None


def _remembered(function, key=lambda *given, **named: (given, named)):
    kept = {}

    def once(*given, **named):
        of = pickle.dumps(key(*given, **named))
        if of not in kept:
            kept[of] = function(*given, **named)
        return kept[of]

    return once


@pytest.fixture(scope="session")
def remembered():
    """Make of a function without side effects one that works out the same thing once only.

    `key` says what its arguments stand for, where that is more than the arguments themselves.
    """
    return _remembered


@pytest.fixture(scope="session", autouse=True)
def drivers_fitted_once():
    """The same few sweeps of the examples are fitted for many tests. Tests of the fit itself call it directly."""
    from xover.driver.fit import fit_driver

    with pytest.MonkeyPatch.context() as patch:
        kept = _remembered(fit_driver)
        for user in ("desk.spice.study", "desk.check.drivers"):
            patch.setattr(f"xover.studies.{user}.fit_driver", kept)
        yield
