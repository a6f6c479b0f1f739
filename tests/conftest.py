"""What holds for all tests.

Hypothesis tries the same cases at every run, so that a red run can be run again: nothing is drawn by chance, nothing
is remembered from the last run, and what is drawn does not depend on which modules other tests have loaded.
XOVER_HYPOTHESIS=wide draws other cases at every run; a failure prints the line that brings its case back.
"""

import gc
import os
import pickle
import sys
from pathlib import Path

# For `from invented.drivers import ...`, whichever test is run.
sys.path.insert(0, str(Path(__file__).parent))

# As the command line does, before numpy is loaded: each worker has a core, and threads of small solves only wait.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
gc.set_threshold(50_000)
# Hundreds of processes are started: what the first of them compiles serves all, whatever is set for other work.
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
sys.dont_write_bytecode = False

import pytest  # noqa: E402
import typer.main  # noqa: E402
from hypothesis import HealthCheck, settings  # noqa: E402
from hypothesis.internal.conjecture import providers  # noqa: E402

import xover.cli.main  # noqa: E402

# The slow first draw of a cold start is no fault.
settings.register_profile(
    "steady",
    derandomize=True,
    database=None,
    print_blob=True,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow],
)
settings.register_profile(
    "wide",
    settings.get_profile("steady"),
    derandomize=False,
    max_examples=300,
)
settings.load_profile(os.environ.get("XOVER_HYPOTHESIS", "steady"))
# Hypothesis mixes the numbers that stand in the source of all modules loaded so far into what it draws. On another
# number of cores other tests, with other modules, come first: the same test would then draw other cases.
if hasattr(providers, "_get_local_constants"):
    providers._get_local_constants = providers.Constants


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
def commands_built_once():
    """Build the tree of commands once, not at each of some thousand calls."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(xover.cli.main, "app", typer.main.get_command(xover.cli.main.app))
        yield
