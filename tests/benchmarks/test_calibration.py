"""A small share of calibration.py: enough that a broken engine fails, too little to cite.

Seeds are fixed, so these are the same boards at every run. An engine whose intervals know nothing of aged losses holds
70 % of "esr", one that takes drivers to stay as they were swept refuses half of "drift".
"""

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[1]))

from invented.inferred import run

COUNT = 6


@pytest.fixture(scope="module")
def right():
    return {kind: [run(kind, number) for number in range(COUNT)] for kind in ("esr", "drift")}


@pytest.mark.parametrize("kind", ["esr", "drift"])
def test_right_boards_are_not_refused(right, kind):
    assert [o.number for o in right[kind] if not o.fits] == []
    assert [o.number for o in right[kind] if o.told] == []


def test_intervals_hold_the_truth_and_say_something(right):
    """Of some 80 values; 87 % lies three standard deviations below 95."""
    both = [o for found in right.values() for o in found]
    values = [v for o in both for v in o.values]
    assert len(values) > 0.6 * sum(o.parts for o in both)
    assert sum(v.holds for v in values) > 0.87 * len(values)
    halves = sorted(0.5 * (v.high - v.low) / v.truth for v in values)
    assert halves[len(halves) // 2] < 0.07


def test_wrong_boards_are_refused():
    """So that a gate that lets everything pass fails."""
    assert [n for n in range(4) if run("drift", n, wrong=True).fits] == []
