"""Work over several processes gives what one gives."""

import sys
from functools import partial
from pathlib import Path

import numpy as np
import pytest

from xover.curve import log_grid
from xover.errors import OptionError
from xover.search.spread import each
from xover.speaker import open_speaker
from xover.studies.bears.tolerance.study import study_tolerance

ATTIC = Path(__file__).parents[2] / "examples" / "attic-two-way" / "left"


def test_in_the_order_of_the_items():
    assert list(each(partial(pow, 3), [1, 2, 5])) == [3, 9, 243]
    assert list(each(partial(pow, 3), [1, 2, 5], jobs=2)) == [3, 9, 243]
    assert list(each(partial(pow, 3), [], jobs=2)) == []


@pytest.mark.parametrize("jobs", [0, -2])
def test_numbers_that_are_none(jobs):
    with pytest.raises(OptionError, match="1 or more"):
        list(each(partial(pow, 3), [1, 2], jobs))


def test_without_joblib_it_says_what_to_install(monkeypatch):
    monkeypatch.setitem(sys.modules, "joblib", None)
    with pytest.raises(OptionError, match="pip install joblib"):
        list(each(partial(pow, 3), [1, 2], 2))
    assert list(each(partial(pow, 3), [1, 2], 1)) == [3, 9]


def test_builds_are_the_same_on_two_processes():
    speaker = open_speaker(ATTIC)
    f = log_grid(100, 10_000, 6)
    one, two = (study_tolerance(speaker, "found", f, builds=400, seed=5, jobs=jobs) for jobs in (1, 2))
    np.testing.assert_array_equal(one.total.change_db, two.total.change_db)
    assert one.passing == two.passing
