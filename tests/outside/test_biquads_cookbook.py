"""Biquads against the published cookbook, typed anew here, and against scipy's filters.

Source: R. Bristow-Johnson, "Cookbook formulae for audio EQ biquad filter coefficients" (public note, also W3C), from
memory, in its digital form: w0, alpha = sin(w0)/(2Q), A = 10^(gain/40). The project computes from the analogue
prototypes instead, so the two share no formula. First order: bilinear transform with prewarping by scipy.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import signal

from xover.electronic.biquad import Band, BandKind, coefficients, response

K = BandKind
FREQUENCY_HZ = np.geomspace(10.0, 20_000.0, 97)
BANDS = [
    Band(K.PEAKING, 1000.0, 6.0, 1.4),
    Band(K.PEAKING, 90.0, -9.5, 7.0),
    Band(K.PEAKING, 14_000.0, 3.3, 0.6),
    Band(K.LOW_SHELF, 200.0, 5.0, 0.707),
    Band(K.LOW_SHELF, 60.0, -12.0, 1.1),
    Band(K.HIGH_SHELF, 4000.0, 4.5, 0.5),
    Band(K.HIGH_SHELF, 12_000.0, -7.0, 0.9),
    Band(K.LOW_PASS, 2600.0, 0.0, 0.707),
    Band(K.LOW_PASS, 17_000.0, 0.0, 2.0),
    Band(K.HIGH_PASS, 3000.0, 0.0, 0.54),
    Band(K.HIGH_PASS, 35.0, 0.0, 1.3),
    Band(K.ALL_PASS, 700.0, 0.0, 0.8),
    Band(K.NOTCH, 433.0, 0.0, 5.0),
]


def published(band: Band, sample_rate_hz: float) -> tuple[list[float], list[float]]:
    """b0, b1, b2 and a0, a1, a2 as the note prints them."""
    assert band.q is not None
    a = 10 ** (band.gain_db / 40)
    w0 = 2 * math.pi * band.frequency_hz / sample_rate_hz
    c, alpha = math.cos(w0), math.sin(w0) / (2 * band.q)
    r = 2 * math.sqrt(a) * alpha
    all_pole = [1 + alpha, -2 * c, 1 - alpha]
    return {
        K.LOW_PASS: ([(1 - c) / 2, 1 - c, (1 - c) / 2], all_pole),
        K.HIGH_PASS: ([(1 + c) / 2, -(1 + c), (1 + c) / 2], all_pole),
        K.NOTCH: ([1, -2 * c, 1], all_pole),
        K.ALL_PASS: ([1 - alpha, -2 * c, 1 + alpha], all_pole),
        K.PEAKING: ([1 + alpha * a, -2 * c, 1 - alpha * a], [1 + alpha / a, -2 * c, 1 - alpha / a]),
        K.LOW_SHELF: (
            [
                a * ((a + 1) - (a - 1) * c + r),
                2 * a * ((a - 1) - (a + 1) * c),
                a * ((a + 1) - (a - 1) * c - r),
            ],
            [(a + 1) + (a - 1) * c + r, -2 * ((a - 1) + (a + 1) * c), (a + 1) + (a - 1) * c - r],
        ),
        K.HIGH_SHELF: (
            [
                a * ((a + 1) + (a - 1) * c + r),
                -2 * a * ((a - 1) + (a + 1) * c),
                a * ((a + 1) + (a - 1) * c - r),
            ],
            [(a + 1) - (a - 1) * c + r, 2 * ((a - 1) - (a + 1) * c), (a + 1) - (a - 1) * c - r],
        ),
    }[band.kind]


@pytest.mark.parametrize("sample_rate_hz", [48_000.0, 96_000.0])
@pytest.mark.parametrize("band", BANDS, ids=lambda b: f"{b.kind}-{b.frequency_hz:g}")
def test_second_order(band, sample_rate_hz):
    b, a = published(band, sample_rate_hz)
    row = coefficients([band], sample_rate_hz)[0]
    assert row == pytest.approx(np.concatenate([b, a]) / a[0], rel=1e-9, abs=1e-13)
    _, expected = signal.freqz(b, a, FREQUENCY_HZ, fs=sample_rate_hz)
    # abs: the notch and the passes fall to nothing, where the polynomial of freqz cancels.
    assert response([band], FREQUENCY_HZ, sample_rate_hz) == pytest.approx(expected, rel=1e-7, abs=1e-8)


# Analogue prototypes in s over w0, highest power first: numerator, denominator.
FIRST = {K.LOW_PASS_1: ([1.0], [1.0, 1.0]), K.HIGH_PASS_1: ([1.0, 0.0], [1.0, 1.0])}


@pytest.mark.parametrize("kind", FIRST)
@pytest.mark.parametrize("frequency_hz", [80.0, 2500.0, 15_000.0])
def test_first_order_by_bilinear_transform(kind, frequency_hz):
    fs = 48_000.0
    w0 = 2 * fs * math.tan(math.pi * frequency_hz / fs)
    scaled = [np.array(p) / w0 ** np.arange(len(p))[::-1] for p in FIRST[kind]]
    b, a = signal.bilinear(*scaled, fs=fs)
    row = coefficients([Band(kind, frequency_hz)], fs)[0]
    assert row == pytest.approx([*b, 0.0, *a, 0.0], rel=1e-12)
    _, expected = signal.freqz(b, a, FREQUENCY_HZ, fs=fs)
    assert response([Band(kind, frequency_hz)], FREQUENCY_HZ, fs) == pytest.approx(expected, rel=1e-9)


def test_analogue_prototypes_by_bilinear_transform():
    """The note's H(s), typed anew, as analogue responses and through scipy's own bilinear transform."""
    a, q, f0, fs = 10 ** (4.0 / 40), 1.2, 5000.0, 48_000.0
    printed = {
        K.PEAKING: ([1, a / q, 1], [1, 1 / (a * q), 1]),
        K.LOW_SHELF: ([a, a**1.5 / q, a * a], [a, a**0.5 / q, 1]),
        K.HIGH_SHELF: ([a * a, a**1.5 / q, a], [1, a**0.5 / q, a]),
    }
    for kind, polynomials in printed.items():
        band = Band(kind, f0, 4.0, q)
        analogue = [np.array(p) / (2 * math.pi * f0) ** np.array([2, 1, 0]) for p in polynomials]
        _, expected = signal.freqs(*analogue, worN=2 * math.pi * FREQUENCY_HZ)
        assert response([band], FREQUENCY_HZ, None) == pytest.approx(expected, rel=1e-10)
        bent = [np.array(p) / (2 * fs * math.tan(math.pi * f0 / fs)) ** np.array([2, 1, 0]) for p in polynomials]
        _, expected = signal.freqz(*signal.bilinear(*bent, fs=fs), FREQUENCY_HZ, fs=fs)
        assert response([band], FREQUENCY_HZ, fs) == pytest.approx(expected, rel=1e-7)


def test_cascade_by_sections():
    _, expected = signal.sosfreqz(coefficients(BANDS), FREQUENCY_HZ, fs=48_000.0)
    assert response(BANDS, FREQUENCY_HZ) == pytest.approx(expected, rel=1e-6, abs=1e-9)
    assert np.max(np.abs(expected)) > 0.01
