"""One change between two networks: its sign, its largest, and where it counts."""

from __future__ import annotations

import math

import numpy as np
import pytest

from xover.curve import log_grid
from xover.rules.bands import JUDGED_HZ
from xover.sound.change import change_db, largest_drive_change, largest_sum_change
from xover.sound.deviation import sum_deviation

F = log_grid(20.0, 20_000.0, 12)


def test_the_sign_is_after_less_before():
    one = np.ones(F.size, dtype=complex)
    assert change_db(one, 2.0 * one) == pytest.approx(20 * math.log10(2.0))


def test_the_largest_is_looked_for_where_it_counts():
    before = {"w": np.where(F < 2000.0, 1.0, 0.01).astype(complex)}
    after = {"w": before["w"] * np.where(F < 100.0, 4.0, np.where(F > 2000.0, 3.0, np.where(F > 1000.0, 1.1, 1.0)))}
    worst, on = largest_drive_change(F, before, after)
    assert on == "w"
    assert worst.change == pytest.approx(20 * math.log10(1.1))
    assert 1000.0 < worst.at_hz < 2000.0


def test_no_drive_in_common_is_not_known():
    worst, on = largest_drive_change(F, {"a": np.ones(F.size, complex)}, {"b": np.ones(F.size, complex)})
    assert (math.isnan(worst.change), on) == (True, "")


def test_a_sum_is_judged_in_the_one_band():
    before = np.zeros(F.size)
    after = np.where(F < 190.0, 9.0, np.where(F > 19_000.0, -2.0, 1.0))
    worst = largest_sum_change(F, before, after)
    assert (worst.change, worst.at_hz) == (-2.0, 20_000.0)


def test_a_deviation_has_one_reading():
    """A straight line of 3 dB an octave strays by half of its rise; its mean is its middle."""
    level = 3.0 * np.log2(F / 1000.0)
    read = sum_deviation(F, level)
    octaves = math.log2(JUDGED_HZ[1] / JUDGED_HZ[0])
    assert read.half_range_db == pytest.approx(1.5 * octaves)
    assert read.rms_deviation_db == pytest.approx(3.0 * octaves / math.sqrt(12.0))
    short = sum_deviation(F[F < 5000.0], level[F < 5000.0])
    assert short.to_hz == F[F < 5000.0][-1]
    assert sum_deviation(F, level, (1000.0, 4000.0)).half_range_db == pytest.approx(3.0)
