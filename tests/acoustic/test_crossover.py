from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from xover.acoustic.crossover import crossings_hz, read_crossovers
from xover.acoustic.summing import Branch
from xover.curve import log_grid

F = log_grid(20.0, 20000.0, 48)
NAN = complex(math.nan, math.nan)


def fourth_order(corner_hz: float) -> tuple[np.ndarray, np.ndarray]:
    """Linkwitz-Riley of fourth order: 1/(s^2 + sqrt2 s + 1)^2 and s^4 of it."""
    s = 1j * F / corner_hz
    square = (s**2 + math.sqrt(2.0) * s + 1.0) ** 2
    return 1e4 / square, 1e4 * s**4 / square


def pair(corner_hz: float = 2345.0) -> list[Branch]:
    low, high = fourth_order(corner_hz)
    return [Branch("low", low), Branch("high", high)]


def test_between_the_rows() -> None:
    """2345 Hz is no row of the grid: place, level and null are found between them."""
    assert 2345.0 not in F
    (reading,) = read_crossovers(F, pair(), coherent=True)
    assert reading.frequency_hz == pytest.approx(2345.0, rel=1e-4)
    assert reading.level_db == pytest.approx(80.0 - 6.0206, abs=5e-3)
    assert reading.level_re_sum_db == pytest.approx(-6.0206, abs=5e-3)
    assert reading.null_at_hz == pytest.approx(2345.0, rel=1e-3)
    assert reading.null_depth_db is not None
    assert reading.null_depth_db > 50.0
    assert reading.notes == ()


def test_flight_time_does_not_matter() -> None:
    """3 ms to the microphone turn the phase by more than half a turn from row to row at 10 kHz."""
    flight = np.exp(-2j * np.pi * F * 0.003)
    (still,) = read_crossovers(F, pair(9000.0), coherent=True)
    (late,) = read_crossovers(F, [replace(b, pressure=b.pressure * flight) for b in pair(9000.0)], coherent=True)
    assert late.phase_difference_deg == pytest.approx(still.phase_difference_deg, abs=1e-6)
    assert late.level_re_sum_db == pytest.approx(-6.0206, abs=5e-3)
    assert late.phase_spread_deg == pytest.approx(0.0, abs=1e-6)


def test_a_late_tweeter_leaves_phase_spread_and_a_shallow_null() -> None:
    """50 us late: the woofer leads by 360 f t = 42.2 degrees at 2345 Hz, more above and less below.

    LR4 branches lie within 10 dB of each other where |80 lg(f/fc)| <= 10, so from fc/1.3335 to
    1.3335 fc: spread 360 t fc (1.3335 - 1/1.3335). Reversed, |1 - e^jx| over |1 + e^jx| is
    tan(x/2) at fc: 8.27 dB, and a little deeper beside it.
    """
    low, high = pair()
    late = replace(high, pressure=high.pressure * np.exp(-2j * np.pi * F * 50e-6))
    (reading,) = read_crossovers(F, [low, late], coherent=True)
    assert reading.phase_difference_deg == pytest.approx(360.0 * 2345.0 * 50e-6, abs=0.05)
    wide = 10.0 ** (10.0 / 80.0)
    assert reading.phase_band_hz == pytest.approx((2345.0 / wide, 2345.0 * wide), rel=1e-3)
    assert reading.phase_spread_deg == pytest.approx(360.0 * 50e-6 * 2345.0 * (wide - 1.0 / wide), rel=5e-3)
    at_fc = -20.0 * math.log10(math.tan(math.radians(0.018 * 2345.0 / 2.0)))
    assert reading.null_depth_db is not None
    assert at_fc <= reading.null_depth_db < at_fc + 1.0
    assert reading.null_at_hz is not None
    assert 2345.0 / 1.3 < reading.null_at_hz < 2345.0


def test_wrong_polarity_reads_as_a_negative_depth_at_the_crossover() -> None:
    """As wired there is the null; reversed is louder within all of the octave around it."""
    low, high = pair()
    (reading,) = read_crossovers(F, [low, replace(high, pressure=-high.pressure)], coherent=True)
    assert abs(reading.phase_difference_deg or 0.0) == pytest.approx(180.0, abs=1e-6)
    assert reading.null_depth_db is not None
    assert reading.null_depth_db < 0.0
    assert reading.level_re_sum_db is not None
    assert reading.level_re_sum_db > 40.0


def test_three_way_has_two_crossovers_in_order() -> None:
    """The middle's upper low-pass turns its phase at 300 Hz already: by x = 2 atan(0.1 sqrt2/0.99).

    So the lower null is -20 lg tan(x/2) = 16.90 dB deep at 300 Hz, and the upper one is deep.
    """
    low, rest = fourth_order(300.0)
    mid, high = fourth_order(3000.0)
    branches = [Branch("t", 1e-4 * rest * high), Branch("w", low), Branch("m", 1e-4 * rest * mid)]
    first, second = read_crossovers(F, branches, coherent=True)
    assert (first.lower, first.upper) == (("w",), ("m",))
    assert (second.lower, second.upper) == (("m",), ("t",))
    assert first.frequency_hz == pytest.approx(300.0, rel=5e-4)
    assert second.frequency_hz == pytest.approx(3000.0, rel=5e-4)
    assert first.phase_difference_deg == pytest.approx(math.degrees(2.0 * math.atan(0.1 * 2**0.5 / 0.99)), abs=0.02)
    assert first.null_depth_db == pytest.approx(16.90, abs=0.1)
    assert second.null_depth_db is not None
    assert second.null_depth_db > 50.0


def test_timing_unknown_leaves_out_what_depends_on_it() -> None:
    (reading,) = read_crossovers(F, pair(), coherent=False)
    assert reading.frequency_hz == pytest.approx(2345.0, rel=1e-4)
    assert reading.lower_slope_db_per_octave == pytest.approx(-23.6, abs=0.1)
    assert reading.phase_difference_deg is None
    assert reading.phase_spread_deg is None
    assert reading.null_depth_db is None
    assert reading.level_re_sum_db is None
    assert any("timing unknown" in note for note in reading.notes)


def test_drivers_that_never_cross_say_why() -> None:
    low, high = pair()
    (reading,) = read_crossovers(F, [low, replace(high, pressure=1e-4 * high.pressure)], coherent=True)
    assert reading.frequency_hz is None
    assert reading.level_db is None
    assert reading.reason == "low is the louder of low and high throughout from 20 Hz to 20 kHz, where both are known"


def test_no_common_band_says_why() -> None:
    low, high = pair()
    apart = [
        replace(low, pressure=np.where(F < 1000.0, low.pressure, NAN)),
        replace(high, pressure=np.where(F > 4000.0, high.pressure, NAN)),
    ]
    (reading,) = read_crossovers(F, apart, coherent=True)
    assert reading.reason == "low and high have no measured band in common"


def hump(centre_hz: float, level_db: float) -> np.ndarray:
    """A level that falls by 6 dB times the square of the octaves from its centre."""
    return 10.0 ** ((level_db - 6.0 * np.log2(F / centre_hz) ** 2) / 20.0) + 0j


def test_a_crossing_far_below_another_driver_does_not_count() -> None:
    """Humps of 80 dB at 60 and 1500 Hz meet at 300 Hz at 47.65 dB; with a third of 85 dB all are 85.23 dB."""
    third = Branch("c", np.where(F > 250.0, 10.0**4.25, 1000.0) + 0j)
    first, second = read_crossovers(F, [Branch("a", hump(60.0, 80.0)), Branch("b", hump(1500.0, 80.0)), third], True)
    assert first.frequency_hz is None
    assert first.reason == "a and b meet at 300 Hz only, 38 dB below all drivers together"
    assert second.reason.startswith("c is the louder of b and c throughout")


def test_the_same_crossing_counts_without_the_third_driver() -> None:
    (reading,) = read_crossovers(F, [Branch("a", hump(60.0, 80.0)), Branch("b", hump(1500.0, 80.0))], True)
    assert reading.frequency_hz == pytest.approx(300.0, rel=1e-3)
    assert reading.level_db == pytest.approx(80.0 - 6.0 * math.log2(5.0) ** 2, abs=0.01)


def test_the_wrong_way_round_says_why() -> None:
    """The driver of the lower centroid overtakes the other from below, and stays above it."""
    low = Branch("low", np.where(F < 60.0, 50.0, np.where(F < 300.0, 1e4, 1200.0)) + 0j)
    high = Branch("high", np.full(F.shape, 1000.0 + 0j))
    (reading,) = read_crossovers(F, [high, low], coherent=True)
    assert reading.frequency_hz is None
    assert reading.reason == "nowhere from 20 Hz to 20 kHz does high overtake low with rising frequency"


def test_short_data_shorten_the_slope_or_leave_it_out() -> None:
    low, high = pair()
    (reading,) = read_crossovers(
        F, [replace(low, pressure=np.where(F < 7000.0, low.pressure, NAN)), high], coherent=True
    )
    assert reading.lower_slope_band_hz is not None
    assert reading.lower_slope_band_hz == pytest.approx((4690.0, 7000.0), rel=0.02)
    assert reading.lower_slope_db_per_octave == pytest.approx(-23.4, abs=0.2)
    (reading,) = read_crossovers(
        F, [replace(low, pressure=np.where(F < 4000.0, low.pressure, NAN)), high], coherent=True
    )
    assert reading.lower_slope_db_per_octave is None
    assert reading.lower_slope_band_hz is None
    assert reading.notes == ("no slope of low: too little data from 4.69 kHz to 9.38 kHz",)
    assert reading.upper_slope_db_per_octave == pytest.approx(23.6, abs=0.1)


def test_several_crossings_are_told() -> None:
    """A notch in the woofer below the crossover: it is read at the loudest, and the count is told."""
    low, high = pair()
    notch = 1.0 - 0.9 * np.exp(-((np.log2(F / 1600.0) * 12.0) ** 2))
    (reading,) = read_crossovers(F, [replace(low, pressure=low.pressure * notch), high], coherent=True)
    assert reading.frequency_hz == pytest.approx(2345.0, rel=0.02)
    assert any("cross 2 times" in note for note in reading.notes)


def test_a_single_way_has_no_crossover() -> None:
    assert read_crossovers(F, [pair()[0]], coherent=True) == ()


def test_a_missing_woofer_does_not_spoil_the_upper_null() -> None:
    """Three-way, woofer measured to 1 kHz only, its drive 48 dB an octave: its bound fills the null."""
    low, rest = fourth_order(150.0)
    mid, high = fourth_order(3000.0)
    drive_db = 20.0 * np.log10(np.abs(low) / 1e4) * 2.0
    woofer = Branch("w", np.where(F < 1000.0, 1e4 * 10 ** (drive_db / 20.0), NAN), drive_db=drive_db)
    branches = [woofer, Branch("m", 1e-4 * rest * mid), Branch("t", 1e-4 * rest * high)]
    _, upper = read_crossovers(F, branches, coherent=True)
    assert upper.null_depth_db is not None
    assert upper.null_depth_db > 30.0
    assert upper.null_at_hz == pytest.approx(3000.0, rel=0.02)


def test_crossings_are_straight_lines_over_log_f() -> None:
    """Levels 10 over 0 and 0 over 10 at 100 and 400 Hz meet at 200 Hz; a rising crossing is not one."""
    f = np.array([100.0, 400.0, 1600.0])
    assert crossings_hz(f, np.array([10.0, 0.0, 10.0]), np.array([0.0, 10.0, 0.0])) == pytest.approx([200.0])
    assert crossings_hz(f, np.array([10.0, math.nan, 0.0]), np.array([0.0, 10.0, 10.0])) == []
    assert crossings_hz(f, np.array([10.0, 5.0, 0.0]), np.array([0.0, 5.0, 10.0])) == [400.0]
