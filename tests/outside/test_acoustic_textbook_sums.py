"""Sums of textbook crossovers against their published behaviour.

Linkwitz (JAES 24(1) 1976, from memory) and Bohn (RaneNote 160, 2005): Linkwitz-Riley sums flat, 6 dB
down at the corner; Butterworth of odd order sums flat, of even order to +3 dB; the wrong polarity of
an even order gives a null. The figures are derived from the polynomials, printed to 0.001 dB.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from textbook_filters import low_and_high

from xover.acoustic.crossover import read_crossovers
from xover.acoustic.summing import Branch, sum_branches
from xover.acoustic.time import group_delay_s

FC = 1000.0
GRID = FC * 10.0 ** (np.arange(-400, 401) / 200.0)
AT_FC = 400
# Drivers of 90 dB, so that a flat sum is 90 and not a zero that anything could give.
DRIVER_DB = 90.0
SCALE = 10.0 ** (DRIVER_DB / 20.0)
# Half of the last printed digit.
PRINTED = 5.1e-4
NULL = -math.inf

# filter: branch dB at fc, phase of low less high, normal at fc, its range, reversed at fc, its range
TABLE = {
    "B1": (-3.010, 270.0, 0.000, (0.000, 0.000), 0.000, (0.000, 0.000)),
    "B2": (-3.010, 180.0, NULL, (NULL, -0.001), 3.010, (0.001, 3.010)),
    "LR2": (-6.021, 180.0, NULL, (NULL, -0.002), 0.000, (0.000, 0.000)),
    "B3": (-3.010, 90.0, 0.000, (0.000, 0.000), 0.000, (0.000, 0.000)),
    "B4": (-3.010, 0.0, 3.010, (0.000, 3.010), NULL, (NULL, 0.000)),
    "LR4": (-6.021, 0.0, 0.000, (0.000, 0.000), NULL, (NULL, 0.000)),
    "Bessel2": (-4.771, 180.0, NULL, (NULL, -0.001), 1.249, (0.000, 1.249)),
}


def branches_of(name: str) -> list[Branch]:
    low, high = low_and_high(name, GRID / FC)
    return [Branch("woofer", SCALE * low), Branch("tweeter", SCALE * high)]


def check_level(got_db: float, printed_db: float) -> None:
    """A null of rounding only (140 dB below the drivers) is a null."""
    if printed_db == NULL:
        assert got_db < DRIVER_DB - 140.0
    else:
        assert got_db - DRIVER_DB == pytest.approx(printed_db, abs=PRINTED)
        assert got_db == pytest.approx(DRIVER_DB + printed_db, abs=PRINTED)


@pytest.mark.parametrize("name", TABLE)
def test_normal_and_reversed_sum(name: str) -> None:
    _, _, normal, normal_range, flipped, flipped_range = TABLE[name]
    total = sum_branches(GRID, branches_of(name), coherent=True)
    assert total.reversed_keys == ("tweeter",)
    assert total.coherent
    check_level(total.level_db[AT_FC], normal)
    check_level(total.reversed_level_db[AT_FC], flipped)
    check_level(total.level_db.min(), normal_range[0])
    check_level(total.level_db.max(), normal_range[1])
    check_level(total.reversed_level_db.min(), flipped_range[0])
    check_level(total.reversed_level_db.max(), flipped_range[1])


@pytest.mark.parametrize("name", TABLE)
def test_crossover_is_found_where_it_was_put(name: str) -> None:
    branch_db, phase, normal, _, flipped, _ = TABLE[name]
    (reading,) = read_crossovers(GRID, branches_of(name), coherent=True)
    assert reading.reason == ""
    assert (reading.lower, reading.upper) == (("woofer",), ("tweeter",))
    assert reading.frequency_hz == pytest.approx(FC, rel=1e-6)
    assert reading.level_db == pytest.approx(DRIVER_DB + branch_db, abs=PRINTED)
    assert reading.phase_difference_deg is not None
    # On the circle: 180 and -180 are one.
    assert math.cos(math.radians(reading.phase_difference_deg - phase)) == pytest.approx(1.0, abs=1e-9)
    # These drivers keep their phase difference at all frequencies (LP/HP = s^-n).
    assert reading.phase_spread_deg == pytest.approx(0.0, abs=1e-6)
    if normal != NULL:
        assert reading.level_re_sum_db == pytest.approx(branch_db - normal, abs=2 * PRINTED)
    if flipped == NULL:
        assert reading.null_depth_db is not None
        assert reading.null_depth_db > 140.0
        assert reading.null_at_hz == pytest.approx(FC, rel=1e-6)
    elif normal == NULL:
        assert reading.null_depth_db is not None
        assert reading.null_depth_db < 0.0


@pytest.mark.parametrize("name", ["B1", "B2", "LR2", "B3", "B4", "LR4"])
def test_slope_of_the_second_octave(name: str) -> None:
    """Least-squares line over an octave by its integral, slope = 12 Int_0^1 (x - 1/2) y dx (derived)."""
    x = (np.arange(20000) + 0.5) / 20000.0
    low, _ = low_and_high(name, 2.0 * 2.0**x)
    slope = 12.0 * float(np.mean((x - 0.5) * 20.0 * np.log10(np.abs(low))))
    (reading,) = read_crossovers(GRID, branches_of(name), coherent=True)
    assert reading.lower_slope_db_per_octave == pytest.approx(slope, rel=1e-3)
    assert reading.upper_slope_db_per_octave == pytest.approx(-slope, rel=1e-3)
    assert reading.lower_slope_band_hz == pytest.approx((2 * FC, 4 * FC), rel=0.02)
    assert reading.upper_slope_band_hz == pytest.approx((FC / 4, FC / 2), rel=0.02)


@pytest.mark.parametrize(
    ("name", "flip", "delay_ms"),
    [("LR4", False, 0.4501582), ("LR2", True, 0.3183099), ("B3", False, 0.3183099), ("B3", True, 0.3183099)],
)
def test_delay_of_the_sum_at_0_hz(name: str, flip: bool, delay_ms: float) -> None:
    """LR4: 2 sqrt2/w0. LR2 reversed and B3 in either polarity: 2/w0 (derived, fc = 1 kHz)."""
    total = sum_branches(GRID, branches_of(name), coherent=True)
    curve = total.reversed_pressure if flip else total.pressure
    # 0.01 fc stands for 0 Hz: the delay has changed by 1e-4 of itself there.
    assert 1000.0 * group_delay_s(GRID, curve)[3] == pytest.approx(delay_ms, rel=5e-4)
