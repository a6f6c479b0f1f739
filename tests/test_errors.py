"""Errors travel between processes whole."""

import pickle

import pytest

from xover.errors import InputError, NoSolutionError, OptionError
from xover.files.faults import InputFaults

SINGLE = InputError("is torn", "mend it", "some/file.cir", 7)
ERRORS = [
    SINGLE,
    InputError("is torn", "mend it"),
    OptionError("--x is y", "give z"),
    NoSolutionError("node a floats", "tie it"),
    InputFaults([SINGLE, InputError("is bent", "straighten it", "some/file.cir", 9)]),
]


@pytest.mark.parametrize("error", ERRORS, ids=lambda e: type(e).__name__)
def test_an_error_comes_back_as_it_went(error):
    back = pickle.loads(pickle.dumps(error))
    assert type(back) is type(error)
    assert str(back) == str(error)
    assert (back.problem, back.remedy) == (error.problem, error.remedy)
    assert getattr(back, "line", None) == getattr(error, "line", None)
    assert str(back).count("\n") == 0


def test_faults_keep_each_fault():
    back = pickle.loads(pickle.dumps(ERRORS[-1]))
    assert [f.line for f in back.faults] == [7, 9]
