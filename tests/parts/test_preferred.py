"""Preferred numbers: the nearest one, its traps, and what is refused. The lists themselves: tests/outside."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from xover.errors import OptionError
from xover.parts.preferred import SERIES, mantissas, nearest, neighbours, series_values


@pytest.mark.parametrize(
    ("value", "series", "expected"),
    [
        (4.73e-6, "E12", 4.7e-6),
        (4.7e-6, "E12", 4.7e-6),
        (2.72, "E6", 3.3),  # 2.2 by difference
        (2.69, "E6", 2.2),
        (9.6, "E24", 10.0),  # the next decade; sqrt(9.1 * 10) = 9.539
        (9.5, "E24", 9.1),
        (0.98e-3, "e12", 1e-3),
        (919.0, "E192", 920.0),
    ],
)
def test_nearest(value, series, expected):
    assert nearest(value, series) == expected


@settings(max_examples=60)
@given(exponent=st.floats(-11.5, 5.5), series=st.sampled_from(SERIES))
def test_no_value_of_the_list_is_nearer(exponent, series):
    value = 10.0**exponent
    found = nearest(value, series)
    decade = math.floor(exponent)
    every = np.array([m * 10.0 ** (d - 2) for d in range(decade - 1, decade + 3) for m in mantissas(series)])
    distance = np.abs(np.log(every / value))
    assert abs(math.log(found / value)) <= distance.min() + 1e-12
    assert np.isclose(every, found, rtol=1e-12).any()
    below, above = neighbours(value, series)
    assert below <= value <= above
    assert not ((every > below * (1 + 1e-12)) & (every < above * (1 - 1e-12))).any()


def test_both_ends_are_included():
    assert series_values("E6", 4.7e-6, 22e-6).tolist() == [4.7e-6, 6.8e-6, 10e-6, 15e-6, 22e-6]
    assert series_values("E6", 4.71e-6, 6.79e-6).tolist() == []


def test_a_value_of_the_series_is_its_own_neighbour():
    assert neighbours(0.33e-3, "E24") == (0.33e-3, 0.33e-3)


@pytest.mark.parametrize(
    ("name", "message"),
    [
        ("E13", "no series 'E13' of preferred numbers; did you mean E12?"),
        ("100", "did you mean E96?"),
        ("e25", "did you mean E24?"),
        ("many", "give one of E3, E6, E12, E24, E48, E96, E192"),
        ("", "give one of"),
    ],
)
def test_unknown_series(name, message):
    with pytest.raises(OptionError) as caught:
        nearest(1.0, name)
    assert message in str(caught.value)


@pytest.mark.parametrize("value", [0.0, -4.7e-6, math.nan, math.inf])
def test_only_values_above_zero(value):
    with pytest.raises(OptionError, match="give a value above 0"):
        nearest(value, "E12")
    with pytest.raises(OptionError, match="rising"):
        series_values("E12", value, 1.0)
    with pytest.raises(OptionError, match="rising"):
        series_values("E12", 2.0, 1.0)
