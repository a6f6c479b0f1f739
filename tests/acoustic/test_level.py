from __future__ import annotations

import math

import numpy as np
import pytest

from xover.acoustic.level import band_level, sensitivity
from xover.curve import log_grid
from xover.errors import InputError

F = log_grid(20.0, 20000.0, 24)


def test_a_straight_tilt_has_its_mean_in_the_middle() -> None:
    """80 + 3 dB an octave from 100 Hz, over 100..1600 Hz: mean 86, +-6, rms 12/sqrt 12 (derived)."""
    got = band_level(F, 80.0 + 3.0 * np.log2(F / 100.0), 100.0, 1600.0)
    assert got.mean_db == pytest.approx(86.0, rel=1e-12)
    assert got.highest_deviation_db == pytest.approx(6.0, rel=1e-9)
    assert got.lowest_deviation_db == pytest.approx(-6.0, rel=1e-9)
    assert got.highest_at_hz == pytest.approx(1600.0)
    assert got.lowest_at_hz == pytest.approx(100.0)
    assert got.rms_deviation_db == pytest.approx(12.0 / math.sqrt(12.0), rel=1e-9)
    assert got.known_share == pytest.approx(1.0)
    assert (got.from_hz, got.to_hz) == (100.0, 1600.0)


def test_the_spacing_of_the_rows_does_not_count() -> None:
    """The same tilt on rows that crowd at the top."""
    f = np.concatenate([[50.0, 300.0, 700.0], np.linspace(1000.0, 1700.0, 200)])
    got = band_level(f, 80.0 + 3.0 * np.log2(f / 100.0), 100.0, 1600.0)
    assert got.mean_db == pytest.approx(86.0, rel=1e-12)
    assert got.rms_deviation_db == pytest.approx(12.0 / math.sqrt(12.0), rel=1e-9)


def test_what_is_unknown_is_left_out_and_told() -> None:
    """Known from 400 Hz on: mean of 86..92 is 89; half of the four octaves is known."""
    level = np.where(F >= 399.9, 80.0 + 3.0 * np.log2(F / 100.0), np.nan)
    level[F > 1600.1] = np.nan
    f = F.copy()
    f[int(np.argmin(np.abs(F - 400.0)))] = 400.0
    f[int(np.argmin(np.abs(F - 1600.0)))] = 1600.0
    level = np.where((f >= 400.0) & (f <= 1600.0), 80.0 + 3.0 * np.log2(f / 100.0), np.nan)
    got = band_level(f, level, 100.0, 1600.0)
    assert got.mean_db == pytest.approx(89.0, rel=1e-9)
    assert (got.known_from_hz, got.known_to_hz) == (pytest.approx(400.0), pytest.approx(1600.0))
    assert got.known_share == pytest.approx(0.5, rel=1e-9)


def test_a_band_without_data_is_nan() -> None:
    got = band_level(F, np.full(F.shape, np.nan), 100.0, 1600.0)
    assert math.isnan(got.mean_db)
    assert math.isnan(got.rms_deviation_db)
    assert got.known_share == 0.0
    assert math.isnan(band_level(F, np.ones(F.shape), 30000.0, 40000.0).mean_db)


def test_sensitivity_is_an_energetic_mean() -> None:
    """L = 80 + 6.0206 dB an octave, i.e. p^2 = c f^2: mean over ln f of one octave is 3/(2 ln 2) of the start."""
    f = log_grid(100.0, 10000.0, 96)
    got = sensitivity(f, 80.0 + 20.0 * np.log10(f / 1000.0), 1000.0, 2000.0)
    assert got.level_db == pytest.approx(80.0 + 10.0 * math.log10(3.0 / (2.0 * math.log(2.0))), abs=1e-3)
    assert got.level_1w_db is None


@pytest.mark.parametrize(
    ("resistance_ohm", "change_db"), [(8.0, -0.0048), (4.0, -3.0151), (16.0, 3.0055), (2.83**2, 0.0)]
)
def test_one_watt(resistance_ohm: float, change_db: float) -> None:
    """2.83 V gives 1.0011 W in 8 ohm; half the resistance takes 3.0103 dB less for the watt (derived)."""
    got = sensitivity(F, np.full(F.shape, 88.0), resistance_ohm=resistance_ohm)
    assert got.level_db == pytest.approx(88.0, rel=1e-12)
    assert got.level_1w_db == pytest.approx(88.0 + change_db, abs=6e-5)
    assert (got.from_hz, got.to_hz) == (200.0, 4000.0)


def test_sensitivity_within_what_is_known() -> None:
    level = np.where(F >= 1000.0, 90.0, np.nan)
    got = sensitivity(F, level)
    assert got.level_db == pytest.approx(90.0)
    assert got.known_from_hz == pytest.approx(1000.0, rel=0.03)
    assert got.known_to_hz == pytest.approx(4000.0)
    # 3 to 4 kHz is less than an octave.
    assert math.isnan(sensitivity(F, np.where(F >= 3000.0, 90.0, np.nan), resistance_ohm=8.0).level_db)


def test_faults_are_named() -> None:
    with pytest.raises(InputError, match="from 400 to 200 Hz has no width"):
        band_level(F, np.ones(F.shape), 400.0, 200.0)
    with pytest.raises(InputError, match="1 W cannot be had in 0 ohm"):
        sensitivity(F, np.ones(F.shape), resistance_ohm=0.0)
