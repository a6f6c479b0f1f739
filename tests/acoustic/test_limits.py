from __future__ import annotations

import math

import numpy as np
import pytest

from xover.acoustic.limits import effective_range, read_corners
from xover.curve import log_grid

F = log_grid(20.0, 20000.0, 96)


def butterworth_band(low_hz: float, high_hz: float) -> np.ndarray:
    """90 dB between a second-order high-pass and a second-order low-pass, both Butterworth."""
    return 90.0 - 10.0 * np.log10(1.0 + (low_hz / F) ** 4) - 10.0 * np.log10(1.0 + (F / high_hz) ** 4)


def test_corners_of_a_butterworth_band() -> None:
    """-3 dB at (10^0.3 - 1)^-1/4 = 1.0012 of the corner, -10 dB at 9^-1/4 = 0.57735 of it (derived)."""
    level = butterworth_band(60.0, 6000.0)
    three, ten = read_corners(F, level, 90.0, 200.0, 2000.0)
    assert (three.drop_db, ten.drop_db) == (3.0, 10.0)
    assert three.low_hz == pytest.approx(60.0 * 1.00119, rel=1e-4)
    assert three.high_hz == pytest.approx(6000.0 / 1.00119, rel=1e-4)
    assert ten.low_hz == pytest.approx(60.0 * 0.57735, rel=1e-4)
    assert ten.high_hz == pytest.approx(6000.0 / 0.57735, rel=1e-4)
    assert (three.low_note, three.high_note, ten.low_note, ten.high_note) == ("", "", "", "")


def test_a_corner_beyond_the_data_is_not_reached() -> None:
    level = np.where((F > 70.0) & (F < 9000.0), butterworth_band(60.0, 6000.0), np.nan)
    three, ten = read_corners(F, level, 90.0, 200.0, 2000.0)
    assert three.high_hz == pytest.approx(6000.0 / 1.00119, rel=1e-4)
    assert three.low_hz is None
    assert three.low_note == f"not reached: the data end at {F[F > 70.0][0]:.3g} Hz"
    assert ten.high_hz is None
    assert ten.high_note.startswith("not reached: the data end at 8.9")


def test_a_corner_inside_the_band_is_found_from_its_end_inward() -> None:
    """The band begins at 30 Hz, where a 60 Hz high-pass is 12 dB down."""
    (three,) = read_corners(F, butterworth_band(60.0, 6000.0), 90.0, 30.0, 12000.0, drops_db=[3.0])
    assert three.low_hz == pytest.approx(60.0 * 1.00119, rel=1e-4)
    assert three.high_hz == pytest.approx(6000.0 / 1.00119, rel=1e-4)


def test_a_band_that_lies_low_has_no_corner() -> None:
    (three,) = read_corners(F, np.full(F.shape, 60.0), 90.0, 200.0, 2000.0, drops_db=[3.0])
    assert three.low_hz is None
    assert three.low_note == three.high_note == "not reached: nothing of the band rises above it"
    (blank,) = read_corners(F, np.full(F.shape, np.nan), 90.0, 200.0, 2000.0, drops_db=[3.0])
    assert blank.high_note == "not reached: nothing of the band is known"


def test_effective_range_of_a_butterworth_band() -> None:
    """The loudest octave is 90 dB, so the ends are the -10 dB corners."""
    got = effective_range(F, butterworth_band(60.0, 6000.0))
    assert got.reference_db == pytest.approx(90.0, abs=0.01)
    assert got.low_hz == pytest.approx(60.0 * 0.57735, rel=1e-3)
    assert got.high_hz == pytest.approx(6000.0 / 0.57735, rel=1e-3)
    assert got.neglected == ()
    assert got.octave_to_hz == pytest.approx(2.0 * got.octave_from_hz)


def test_the_reference_is_the_loudest_octave() -> None:
    """A plateau of 96 dB from 2 to 5 kHz sets the reference: 90 dB elsewhere still counts, 85 does not."""
    level = np.where((F > 2000.0) & (F < 5000.0), 96.0, np.where(F < 150.0, 85.0, 90.0))
    got = effective_range(F, level)
    assert got.reference_db == pytest.approx(96.0, abs=1e-9)
    assert got.low_hz == pytest.approx(150.0, rel=0.01)
    assert got.high_hz is None
    assert got.high_note == "not reached: the data end at 20 kHz"


@pytest.mark.parametrize(("octaves", "neglected"), [(0.10, True), (0.13, False)])
@pytest.mark.parametrize("centre_hz", [200.0, 5000.0])
def test_troughs_narrower_than_a_ninth_of_an_octave(centre_hz: float, octaves: float, neglected: bool) -> None:
    """1/9 octave is 0.111: a triangular trough of 20 dB is as wide at -10 dB as half its foot."""
    trough = np.maximum(0.0, 20.0 * (1.0 - np.abs(np.log2(F / centre_hz)) / octaves))
    level = np.where((F > 900.0) & (F < 2100.0), 90.001, 90.0) - trough
    got = effective_range(F, level)
    if neglected:
        ((low, high),) = got.neglected
        assert math.log2(high / low) == pytest.approx(octaves, abs=0.005)
        assert low < centre_hz < high
        assert (got.low_hz, got.high_hz) == (None, None)
    else:
        assert got.neglected == ()
        edge = got.low_hz if centre_hz < 1000.0 else got.high_hz
        inner = 2.0 ** (octaves / 2.0 if centre_hz < 1000.0 else -octaves / 2.0)
        assert edge == pytest.approx(centre_hz * inner, rel=2e-3)


def test_without_a_known_octave_there_is_no_range() -> None:
    got = effective_range(F, np.where((F > 1000.0) & (F < 1800.0), 90.0, np.nan))
    assert math.isnan(got.reference_db)
    assert got.low_hz is None
    assert got.low_note == got.high_note == "not reached: no octave is known throughout"


def test_a_gap_ends_the_data() -> None:
    level = butterworth_band(60.0, 6000.0)
    level[(F > 100.0) & (F < 120.0)] = np.nan
    got = effective_range(F, level)
    assert got.low_hz is None
    assert got.low_note == f"not reached: the data end at {F[F >= 120.0][0]:.3g} Hz"
    assert got.high_hz == pytest.approx(6000.0 / 0.57735, rel=1e-3)


def test_an_exact_null_is_a_fall() -> None:
    level = np.where(F < 100.0, -math.inf, 90.0)
    got = effective_range(F, level)
    assert got.low_hz == pytest.approx(100.0, rel=0.01)
