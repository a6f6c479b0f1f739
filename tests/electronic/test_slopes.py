"""Slopes by name, and as bands."""

from __future__ import annotations

import itertools
import string

import numpy as np
import pytest
from pydantic import ValidationError

from xover.electronic.biquad import (
    SLOPES,
    Band,
    BandKind,
    Side,
    band_pass,
    high_pass,
    low_pass,
    parse_slope,
    response,
    slope_bands,
)
from xover.errors import OptionError
from xover.files.speaker import Bypass


def test_every_slope_that_a_speaker_folder_may_name():
    allowed = []
    for letters, digit in itertools.product(["LR", "B", "Bessel", "C", "L"], string.digits):
        try:
            allowed.append(Bypass(frequency_hz=(1000.0,), slope=letters + digit).slope)
        except ValidationError:
            continue
    assert {"LR4", "B1"} <= set(allowed)
    for name in allowed:
        assert (parse_slope(name).name, parse_slope(name).order) == (name, int(name[-1]))


def test_spelling():
    assert parse_slope(" lr-4 ") is SLOPES["LR4"]
    assert parse_slope("Bessel 2") is SLOPES["Bessel2"]
    assert parse_slope("B3").words == "Butterworth, 18 dB per octave"


@pytest.mark.parametrize(
    ("text", "near"), [("LR5", "LR4"), ("LR12", "LR8"), ("B9", "B8"), ("Bessel7", "Bessel4"), ("Besel2", "Bessel2")]
)
def test_unknown_names_the_nearest(text, near):
    with pytest.raises(OptionError, match=f"called '{text}'; did you mean {near}. Known are LR2"):
        parse_slope(text)


def test_unknown_lists_all():
    with pytest.raises(OptionError, match="called 'steep'; known are LR2, LR4, LR6, LR8, B1"):
        parse_slope("steep")


@pytest.mark.parametrize("name", SLOPES)
def test_denominator_and_symmetry(name):
    slope = SLOPES[name]
    ratio = np.geomspace(0.1, 10, 41)
    low, high = low_pass(slope, 800.0, 800.0 * ratio, None), high_pass(slope, 800.0, 800.0 / ratio, None)
    assert low == pytest.approx(1 / np.polyval(slope.denominator, 1j * ratio), rel=1e-10)
    assert high == pytest.approx(np.conj(low), rel=1e-10)
    assert len(slope.denominator) == slope.order + 1
    low, high = low_pass(slope, 800.0, [800.0], None), high_pass(slope, 800.0, [800.0], None)
    if slope.quadrature:
        assert abs(np.degrees(np.angle(low / high)[0])) == pytest.approx(90.0, abs=2.0 if name == "Bessel3" else 1e-6)
    else:
        assert (low / high)[0].real * (-1 if slope.reverse_one else 1) > 0.99


def test_bands():
    assert slope_bands(SLOPES["LR2"], Side.LOW_PASS, 500.0) == (Band(BandKind.LOW_PASS, 500.0, 0.0, 0.5),)
    third = slope_bands(SLOPES["B3"], Side.HIGH_PASS, 500.0)
    assert third[0] == Band(BandKind.HIGH_PASS_1, 500.0)
    assert (third[1].kind, third[1].q) == (BandKind.HIGH_PASS, pytest.approx(1.0))


def test_band_pass():
    f = np.array([50.0, 400.0, 3000.0])
    slope = SLOPES["B2"]
    both = high_pass(slope, 300.0, f) * low_pass(slope, 2000.0, f)
    assert band_pass(slope, 300.0, 2000.0, f) == pytest.approx(both, rel=1e-12)
    assert band_pass(slope, None, 2000.0, f) == pytest.approx(low_pass(slope, 2000.0, f), rel=1e-12)
    assert band_pass(slope, None, None, f) == pytest.approx(response((), f))
