"""A small share of calibration.py: enough that a broken engine fails, too little to cite."""

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[1]))

from invented.inferred import run

# Seeds are fixed, so these are the same boards at every run.
COUNT = 8


@pytest.fixture(scope="module")
def right():
    return {kind: [run(kind, number) for number in range(COUNT)] for kind in ("control", "scale")}


@pytest.mark.parametrize("kind", ["control", "scale"])
def test_right_boards_are_not_refused(right, kind):
    assert [o.number for o in right[kind] if not o.fits] == []
    assert [o.number for o in right[kind] if o.told] == []


@pytest.mark.parametrize("kind", ["control", "scale"])
def test_intervals_hold_the_truth_and_say_something(right, kind):
    """Of some 50 values; 85 % lies three standard deviations below 95."""
    values = [v for o in right[kind] for v in o.values]
    assert len(values) > 0.6 * sum(o.parts for o in right[kind])
    assert sum(v.holds for v in values) > 0.85 * len(values)
    halves = sorted(0.5 * (v.high - v.low) / v.truth for v in values)
    assert halves[len(halves) // 2] < 0.06


def test_wrong_boards_are_refused():
    """So that a gate that lets everything pass fails."""
    found = [run("control", number, wrong=True) for number in range(6)]
    assert sum(not o.fits for o in found) >= 5
