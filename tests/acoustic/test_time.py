from __future__ import annotations

import math

import numpy as np
import pytest

from xover.acoustic.time import bulk_delay_s, group_delay_s, step_response
from xover.curve import log_grid

F = log_grid(20.0, 20000.0, 48)
NAN = complex(math.nan, math.nan)


def late(delay_s: float, f: np.ndarray = F) -> np.ndarray:
    return np.exp(-2j * np.pi * f * delay_s)


@pytest.mark.parametrize("delay_s", [0.003, -0.003, 0.0291, 1e-5])
def test_a_pure_delay(delay_s: float) -> None:
    """10 m of air turn the phase by 8 turns from row to row at 20 kHz; a log grid still tells."""
    assert bulk_delay_s(F, late(delay_s)) == pytest.approx(delay_s, abs=1e-8)
    assert group_delay_s(F, 500.0 * late(delay_s)) == pytest.approx(delay_s, abs=1e-9)


def test_a_pure_delay_on_even_rows_is_the_shortest() -> None:
    f = np.arange(100.0, 20000.0, 100.0)
    assert group_delay_s(f, late(0.001, f)) == pytest.approx(0.001, rel=1e-6)
    assert group_delay_s(f, late(-0.001, f)) == pytest.approx(-0.001, rel=1e-6)


@pytest.mark.parametrize("flight_s", [0.0, 0.003])
def test_first_order_all_pass(flight_s: float) -> None:
    """(1 - s)/(1 + s): delay 2/w0/(1 + (f/f0)^2); at 0 Hz 0.3183099 ms for 1 kHz (derived)."""
    s = 1j * F / 1000.0
    got = group_delay_s(F, (1.0 - s) / (1.0 + s) * late(flight_s)) - flight_s
    expected = 2.0 / (2.0 * math.pi * 1000.0) / (1.0 + (F / 1000.0) ** 2)
    assert got[:5] == pytest.approx(0.3183099e-3, rel=1e-3)
    # Second order: the error at 48 rows an octave is 2e-4 of the largest, for all rows.
    assert got == pytest.approx(expected, abs=2e-4 * expected[0])


def test_second_order_high_pass() -> None:
    """s^2/(s^2 + sqrt2 s + 1): delay sqrt2/w0 (1 + x^2)/(1 + x^4) (derived)."""
    x = F / 100.0
    s = 1j * x
    got = group_delay_s(F, s**2 / (s**2 + math.sqrt(2.0) * s + 1.0))
    expected = math.sqrt(2.0) / (2.0 * math.pi * 100.0) * (1.0 + x**2) / (1.0 + x**4)
    assert got == pytest.approx(expected, abs=5e-4 * expected.max())


def test_polarity_does_not_matter() -> None:
    s = 1j * F / 1000.0
    curve = (1.0 - s) / (1.0 + s)
    assert group_delay_s(F, -curve) == pytest.approx(group_delay_s(F, curve), abs=1e-12)


def test_gaps_and_zeros_stay_unknown() -> None:
    curve = late(0.003)
    curve[100:110] = NAN
    curve[112] = 0.0
    got = group_delay_s(F, curve)
    # Rows 110 and 111 are a run of two: too short.
    assert np.isnan(got[100:113]).all()
    assert np.delete(got, np.s_[100:113]) == pytest.approx(0.003, abs=1e-9)
    assert np.isnan(group_delay_s(F, np.full(F.shape, NAN))).all()


def step_of_high_pass(time_s: np.ndarray, corner_hz: float) -> np.ndarray:
    """Butterworth, second order: e^-at (cos at - sin at), a = w0/sqrt2 (derived, Laplace tables)."""
    a = 2.0 * math.pi * corner_hz / math.sqrt(2.0)
    return np.exp(-a * time_s) * (np.cos(a * time_s) - np.sin(a * time_s))


@pytest.mark.parametrize("flight_s", [0.0, 0.0029])
def test_step_of_a_second_order_high_pass(flight_s: float) -> None:
    """What is missing below the band is worth (f1/f0)^2/pi at most, with the ramp up to sqrt2 f1 (derived).

    Above it is the integral of the step's spectrum from f2/sqrt2 on, which dies out as the band's
    end is smooth: after ten periods of f2 less than 1e-3.
    """
    s = 1j * F / 300.0
    got = step_response(F, 200.0 * s**2 / (s**2 + math.sqrt(2.0) * s + 1.0) * late(flight_s), after_s=0.008)
    assert got is not None
    time = got.time_s - flight_s
    settled = time > 10.0 / 20000.0
    limit = (20.0 / 300.0) ** 2 / math.pi + 1e-3
    expected = step_of_high_pass(time, 300.0)
    assert np.max(np.abs(got.step[settled] / 200.0 - expected[settled])) < limit
    assert np.max(np.abs(got.step[time < -10.0 / 20000.0] / 200.0)) < limit
    # It does rise to the full step, falls through zero and undershoots by 4.3 per cent (e^-pi).
    assert np.max(got.step) / 200.0 == pytest.approx(1.0, abs=0.15)
    assert np.min(got.step[settled]) / 200.0 == pytest.approx(expected[settled].min(), abs=limit)


def test_step_states_its_band() -> None:
    curve = np.where((F > 50.0) & (F < 10000.0), 1.0, NAN)
    got = step_response(F, curve)
    assert got is not None
    assert got.from_hz == pytest.approx(50.0, rel=0.02)
    assert got.to_hz == pytest.approx(10000.0, rel=0.02)
    assert got.note.startswith("made from 50")
    assert got.time_s[0] == pytest.approx(-0.001, abs=2e-5)
    assert got.time_s[-1] == pytest.approx(0.01, abs=2e-5)


def test_step_takes_the_widest_unbroken_band() -> None:
    curve = np.ones(F.shape, dtype=complex)
    curve[(F > 60.0) & (F < 80.0)] = NAN
    got = step_response(F, curve)
    assert got is not None
    assert (got.from_hz, got.to_hz) == (pytest.approx(80.0, rel=0.02), 20000.0)


def test_too_narrow_a_band_has_no_step() -> None:
    assert step_response(F, np.where((F > 1000.0) & (F < 3900.0), 1.0, NAN)) is None
    assert step_response(F, np.full(F.shape, NAN)) is None
