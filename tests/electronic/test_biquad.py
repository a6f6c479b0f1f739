"""Bands: what they do at the places that are known, what they refuse, and that they are stable."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from xover.electronic.biquad import Band, BandKind, coefficients, response
from xover.errors import OptionError
from xover.plain import to_plain

K = BandKind


def level(band, frequency_hz, sample_rate_hz=48_000.0):
    return 20 * math.log10(abs(response([band], [frequency_hz], sample_rate_hz)[0]))


@pytest.mark.parametrize("sample_rate_hz", [None, 48_000.0, 96_000.0])
def test_where_the_value_is_known(sample_rate_hz):
    """By the definitions: gain at the centre, half of it in the middle of a shelf, Q at the corner of a pass."""
    assert level(Band(K.PEAKING, 900, -7.0, 3.0), 900, sample_rate_hz) == pytest.approx(-7.0, rel=1e-9)
    low, high = Band(K.LOW_SHELF, 300, 5.0, 0.8), Band(K.HIGH_SHELF, 3000, -6.0, 0.6)
    assert level(low, 300, sample_rate_hz) == pytest.approx(2.5, rel=1e-9)
    assert level(low, 1.0, sample_rate_hz) == pytest.approx(5.0, rel=1e-3)
    assert level(high, 3000, sample_rate_hz) == pytest.approx(-3.0, rel=1e-9)
    assert level(high, 23_999.0, sample_rate_hz) == pytest.approx(-6.0, abs=0.1)
    f = 1234.0
    corner = {
        K.LOW_PASS: -1.3j,
        K.HIGH_PASS: 1.3j,
        K.ALL_PASS: -1.0,
        K.LOW_PASS_1: 1 / (1 + 1j),
        K.HIGH_PASS_1: 1j / (1 + 1j),
    }
    for kind, value in corner.items():
        band = Band(kind, f, 0.0, 1.3 if kind.has_q else None)
        assert response([band], [f], sample_rate_hz)[0] == pytest.approx(value, rel=1e-9), kind
    assert abs(response([Band(K.NOTCH, f, 0.0, 2.0)], [f], sample_rate_hz)[0]) < 1e-12


def test_no_band_is_one_and_bands_multiply():
    f = np.array([0.0, 100.0, 24_000.0, 24_001.0])
    assert response([], f)[:3] == pytest.approx(np.ones(3))
    assert np.isnan(response([], f)[3])
    a, b = Band(K.PEAKING, 900, 4.0, 1.0), Band(K.LOW_PASS_1, 500)
    got = response([a, b], [100.0, 800.0])
    assert got == pytest.approx(response([a], [100.0, 800.0]) * response([b], [100.0, 800.0]), rel=1e-12)


def test_nothing_above_half_the_sample_rate():
    got = response([Band(K.PEAKING, 900, 4.0, 1.0)], [1000.0, 30_000.0])
    assert np.isfinite(got[0])
    assert np.isnan(got[1])
    assert np.isfinite(response([Band(K.PEAKING, 900, 4.0, 1.0)], [30_000.0], 96_000.0)[0])
    assert np.isfinite(response([Band(K.PEAKING, 900, 4.0, 1.0)], [30_000.0], None)[0])


@settings(max_examples=60)
@given(
    kind=st.sampled_from(list(BandKind)),
    share=st.floats(1e-4, 0.499),
    gain=st.floats(-30, 30),
    q=st.floats(0.05, 50),
    rate=st.sampled_from([44_100.0, 48_000.0, 96_000.0]),
)
def test_stable_and_as_the_coefficients_say(kind, share, gain, q, rate):
    band = Band(kind, share * rate, gain if kind.has_gain else 0.0, q if kind.has_q else None)
    row = coefficients([band], rate)[0]
    assert np.all(np.abs(np.roots(row[3:])) < 1.0)
    z = np.exp(-2j * np.pi * np.array([0.3, 0.11]))
    by_hand = (row[0] + row[1] * z + row[2] * z**2) / (1 + row[4] * z + row[5] * z**2)
    assert response([band], np.array([0.3, 0.11]) * rate, rate) == pytest.approx(by_hand, rel=1e-6, abs=1e-7)


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda: Band(K.PEAKING, 0.0, 1.0, 1.0), "peaking band has a frequency of 0 Hz"),
        (lambda: Band(K.PEAKING, math.nan, 1.0, 1.0), "frequency of nan Hz"),
        (lambda: Band(K.PEAKING, 1e3, math.inf, 1.0), "gain of inf dB"),
        (lambda: Band(K.LOW_PASS, 1e3, 3.0, 0.7), "gain of 3 dB; only peaking and shelf"),
        (lambda: Band(K.LOW_SHELF, 1e3, 3.0, -0.7), "low shelf band has a Q of -0.7"),
        (lambda: Band(K.LOW_PASS, 1e3), "Q of None; give a Q above 0"),
        (lambda: Band(K.LOW_PASS_1, 1e3, 0.0, 0.7), "1st order band has a Q of 0.7; leave the Q out"),
        (lambda: response([Band(K.LOW_PASS_1, 3e4)], [1e3]), "at 30 kHz does not exist at a sample rate of 48 kHz"),
        (lambda: response([Band(K.LOW_PASS_1, 3e4)], [1e3], -1.0), "sample rate is -1 Hz"),
        (lambda: coefficients([Band(K.PEAKING, 1e-9, 3.0, 1e6)]), "too low and sharp for double precision"),
    ],
)
def test_refused(make, words):
    with pytest.raises(OptionError, match=words):
        make()


def test_plain():
    band = Band(K.LOW_PASS_1, 500.0)
    assert to_plain(band) == {"kind": "low_pass_1", "frequency_hz": 500.0, "gain_db": 0.0, "q": None}
