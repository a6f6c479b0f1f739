"""A share of extreme_numbers.py, and what every option of every question makes of numbers that no quantity has."""

import math
import random

import numpy as np
import pytest
from benchmarks import extreme_numbers

from xover.declare import Ask, asked_of
from xover.errors import OptionError
from xover.studies import HOMES, question

NUMERIC = [
    pytest.param(a.name, a.ask, id=f"{name}-{a.name}")
    for name in HOMES
    for a in asked_of(question(name))
    if isinstance(a.ask, Ask) and (a.ask.unit.metavar in (*extreme_numbers.SHAPES, *extreme_numbers.PLAIN))
]


def test_most_options_with_numbers_are_tried():
    assert len(NUMERIC) > 70


@pytest.mark.parametrize(("parameter", "ask"), NUMERIC)
def test_no_option_reads_a_number_that_is_none(parameter, ask):
    """From the command line as a text, in Python as a number."""
    for shape in extreme_numbers.SHAPES.get(ask.unit.metavar, ("{}",)):
        for text in extreme_numbers.NOTHING:
            typed = shape.format(text, text)
            if not ask.unit.exact:
                with pytest.raises(OptionError):
                    ask.value(parameter, [typed] if ask.many else typed)
    for number in (1e308, -1e308, 5e-324, -1e-300, math.nan, math.inf, np.float64(1e300), np.float32(1e38)):
        for given in (number, [number], (number, number), {"total": number}, {number: 1.0}, [("a", number)]):
            if takes(ask, given):
                with pytest.raises(OptionError):
                    ask.value(parameter, given)


def takes(ask, given):
    """Whether such a thing is given for it in Python at all."""
    several, pair = len(ask.unit.of) == 1 or (ask.many and not ask.unit.of), len(ask.unit.of) == 2
    if isinstance(given, dict):
        return (pair and ask.many and (ask.unit.of[0] is None) == ("total" in given)) or (
            "total" in given and ask.unit.metavar.startswith("NAME=")
        )
    if isinstance(given, list):
        return isinstance(given[0], tuple) == (pair and ask.unit.of[0] is None) and (several or pair) and ask.many
    if isinstance(given, tuple):
        return pair and ask.unit.of[0] is not None and not ask.many
    return not ask.unit.of and not ask.many and not ask.unit.exact


def test_minus_zero_is_zero():
    told = [
        ask.value(p, -0.0)
        for p, ask in (n.values for n in NUMERIC)
        if takes(ask, 0.0) and ask.low <= 0 > max(ask.above, ask.unit.above)
    ]
    assert len(told) > 3
    assert not any(math.copysign(1.0, value) < 0 for value in told)


@pytest.mark.parametrize("name", ["jig", "values", "coil", "capacitor", "pad"])
def test_extremes_end_in_an_answer_or_one_line(name):
    extreme_numbers.write_ratio()
    lines = [*extreme_numbers.lines(name, ("1e308", "5e-324", "-0.0"))]
    rng = random.Random(name)
    done = [
        extreme_numbers.run(name, line)
        for line in [*rng.sample(lines, min(25, len(lines))), *extreme_numbers.drawn(name, 25, rng)]
    ]
    assert [o for o in done if o.wrong] == []
    assert {o.status for o in done} == {0, 2}
