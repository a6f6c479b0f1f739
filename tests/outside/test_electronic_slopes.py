"""Electronic slopes against the textbook: levels, sums, closed forms, and scipy's own Butterworth and Bessel.

Levels and sums: derived from the published denominators, twice (see test_textbook_networks.py). Flat all-pass sum
at -6 dB each: D. Bohn, "Linkwitz-Riley Crossovers: A Primer", RaneNote 160; S. Linkwitz, JAES 24(1) 1976.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import signal

from xover.electronic.biquad import Side, high_pass, low_pass, parse_slope, slope_bands

CORNER_HZ = 1000.0
RATIOS = np.array([0.5, 1.0, 2.0, 4.0, 10.0])
# Low-pass level in dB at f/fc = 0.5, 1, 2, 4, 10.
LEVEL_DB = {
    "B1": (-0.9691, -3.0103, -6.9897, -12.3045, -20.0432),
    "B2": (-0.2633, -3.0103, -12.3045, -24.0993, -40.0004),
    "LR2": (-1.9382, -6.0206, -13.9794, -24.6090, -40.0864),
    "Bessel2": (-1.1810, -4.7712, -13.2222, -24.3616, -40.0436),
    "B3": (-0.0673, -3.0103, -18.1291, -36.1247, -60.0000),
    "B4": (-0.0169, -3.0103, -24.0993, -48.1649, -80.0000),
    "LR4": (-0.5266, -6.0206, -24.6090, -48.1987, -80.0009),
}
# Branch at fc, phase between the halves, then normal and reversed sum at fc in dB (None: a null), over 0.01..100 fc
# the least and greatest of the reversed or normal sum that is no null, and of the power sum.
SUMS = {
    "B1": (-3.010, 270.0, 0.000, 0.000, (-0.000, 0.000), (-0.000, 0.000)),
    "B2": (-3.010, 180.0, None, 3.010, (0.001, 3.010), (-0.000, 0.000)),
    "LR2": (-6.021, 180.0, None, 0.000, (-0.000, 0.000), (-3.010, -0.001)),
    "B3": (-3.010, 90.0, 0.000, 0.000, (-0.000, 0.000), (-0.000, 0.000)),
    "B4": (-3.010, 0.0, 3.010, None, (0.000, 3.010), (-0.000, 0.000)),
    "LR4": (-6.021, 0.0, 0.000, None, (-0.000, 0.000), (-3.010, -0.000)),
    "Bessel2": (-4.771, 180.0, None, 1.249, (0.000, 1.249), (-1.761, -0.000)),
}


def db(value):
    return 20 * np.log10(np.abs(value))


@pytest.mark.parametrize("name", LEVEL_DB)
def test_levels(name):
    slope = parse_slope(name)
    assert db(low_pass(slope, CORNER_HZ, RATIOS * CORNER_HZ, None)) == pytest.approx(LEVEL_DB[name], abs=6e-5)
    assert db(high_pass(slope, CORNER_HZ, CORNER_HZ / RATIOS, None)) == pytest.approx(LEVEL_DB[name], abs=6e-5)


@pytest.mark.parametrize("sample_rate_hz", [None, 48_000.0])
@pytest.mark.parametrize("name", SUMS)
def test_sums(name, sample_rate_hz):
    branch, phase, normal, turned, whole, power = SUMS[name]
    slope = parse_slope(name)
    top = 100 * CORNER_HZ if sample_rate_hz is None else 0.45 * sample_rate_hz
    f = np.concatenate([[CORNER_HZ], np.geomspace(0.01 * CORNER_HZ, top, 2001)])
    low, high = (side(slope, CORNER_HZ, f, sample_rate_hz) for side in (low_pass, high_pass))
    assert db(low[0]) == pytest.approx(branch, abs=6e-4)
    assert db(high[0]) == pytest.approx(branch, abs=6e-4)
    apart = np.exp(1j * np.radians(phase))
    assert low[0] / high[0] == pytest.approx(apart, abs=1e-9)
    for total, expected in ((low + high, normal), (low - high, turned)):
        if expected is None:
            assert abs(total[0]) < 1e-12
        else:
            assert db(total[0]) == pytest.approx(expected, abs=6e-4)
    flat = db(low - high if slope.reverse_one else low + high)
    both = 10 * np.log10(np.abs(low) ** 2 + np.abs(high) ** 2)
    # The ends of a digital filter's band are not those of the table: only what lies in between is compared.
    assert (np.min(flat), np.max(flat)) == pytest.approx(whole, abs=2e-3)
    assert (np.min(both), np.max(both)) == pytest.approx(power, abs=2e-3)


def test_closed_forms():
    """LR2 reversed (1-s)/(1+s); B3 reversed the same; LR4 (s^2 - sqrt2 s + 1)/(s^2 + sqrt2 s + 1)."""
    ratio = np.geomspace(0.01, 100, 301)
    s, f = 1j * ratio, CORNER_HZ * ratio

    def halves(name):
        slope = parse_slope(name)
        return low_pass(slope, CORNER_HZ, f, None), high_pass(slope, CORNER_HZ, f, None)

    first = (1 - s) / (1 + s)
    for name in ("LR2", "B3"):
        low, high = halves(name)
        assert low - high == pytest.approx(first, rel=1e-10)
    low, high = halves("LR4")
    root = math.sqrt(2)
    assert low + high == pytest.approx((s * s - root * s + 1) / (s * s + root * s + 1), rel=1e-10)


@pytest.mark.parametrize("order", range(1, 9))
@pytest.mark.parametrize("side", list(Side))
def test_butterworth_by_scipy(order, side):
    f = np.geomspace(20, 20_000, 61)
    kind = "low" if side is Side.LOW_PASS else "high"
    sections = signal.butter(order, CORNER_HZ, kind, fs=48_000.0, output="sos")
    _, expected = signal.sosfreqz(sections, f, fs=48_000.0)
    half = low_pass if side is Side.LOW_PASS else high_pass
    assert half(parse_slope(f"B{order}"), CORNER_HZ, f) == pytest.approx(expected, rel=1e-5, abs=1e-9)
    if order <= 4:  # Linkwitz-Riley is Butterworth of half the order, twice
        twice = half(parse_slope(f"LR{2 * order}"), CORNER_HZ, f)
        assert twice == pytest.approx(expected**2, rel=1e-5, abs=1e-9)


@pytest.mark.parametrize("order", [2, 3, 4])
def test_bessel_by_scipy(order):
    """Corner where the asymptotes meet: scipy's norm='phase'. The high-pass is the mirrored low-pass."""
    ratio = np.geomspace(0.05, 20, 61)
    _, expected = signal.freqs(*signal.bessel(order, 1.0, analog=True, norm="phase"), worN=ratio)
    slope = parse_slope(f"Bessel{order}")
    assert low_pass(slope, CORNER_HZ, CORNER_HZ * ratio, None) == pytest.approx(expected, rel=1e-9)
    assert high_pass(slope, CORNER_HZ, CORNER_HZ / ratio, None) == pytest.approx(np.conj(expected), rel=1e-9)


def test_fourth_order_qs():
    """Published Qs: Butterworth 4 has 0.5412 and 1.3066, Linkwitz-Riley 4 twice 0.7071 (filter tables, from memory)."""
    assert [b.q for b in slope_bands(parse_slope("B4"), Side.LOW_PASS, 500.0)] == pytest.approx(
        [0.5412, 1.3066], abs=5e-5
    )
    assert [b.q for b in slope_bands(parse_slope("LR4"), Side.HIGH_PASS, 500.0)] == pytest.approx(
        [0.7071] * 2, abs=5e-5
    )
