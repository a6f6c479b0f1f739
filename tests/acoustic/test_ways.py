from __future__ import annotations

import math

import numpy as np
import pytest

from xover.acoustic.summing import Branch, centroid_hz, order_ways
from xover.curve import log_grid

F = log_grid(20.0, 20000.0, 48)


def band(low_hz: float, high_hz: float, level: float = 1.0) -> np.ndarray:
    return np.where((low_hz <= F) & (high_hz >= F), level, 0.0).astype(complex)


def test_centroid_is_the_middle_over_log_f() -> None:
    """sqrt(20 x 20000) = 632.456 Hz for a flat curve."""
    assert centroid_hz(F, np.ones(F.shape, dtype=complex)) == pytest.approx(632.456, rel=1e-3)
    assert centroid_hz(F, 7.0 * band(100.0, 1600.0)) == pytest.approx(400.0, rel=0.02)


def test_centroid_of_silence_is_unknown() -> None:
    assert math.isnan(centroid_hz(F, np.zeros(F.shape, dtype=complex)))
    assert math.isnan(centroid_hz(F, np.full(F.shape, complex(math.nan, math.nan))))


def test_order_is_by_frequency_whatever_the_order_of_the_cards() -> None:
    ways = order_ways(
        F, [Branch("high", band(3000, 20000, 9.0)), Branch("low", band(40, 400)), Branch("mid", band(400, 3000))]
    )
    assert [way.keys for way in ways] == [("low",), ("mid",), ("high",)]
    assert [way.rows for way in ways] == [(1,), (2,), (0,)]


def test_one_group_is_one_way() -> None:
    """A woofer and a half: the same driver twice, with different drive."""
    cards = [
        Branch("bass", band(30, 200), group="woofer"),
        Branch("low", band(30, 2500), group="woofer"),
        Branch("high", band(2500, 20000)),
    ]
    assert [way.keys for way in order_ways(F, cards)] == [("bass", "low"), ("high",)]


def test_the_same_band_under_two_names_is_one_way() -> None:
    cards = [Branch("top", band(60, 2000)), Branch("high", band(2500, 20000)), Branch("bottom", band(60, 2200))]
    ways = order_ways(F, cards)
    assert [way.keys for way in ways] == [("bottom", "top"), ("high",)]
    assert ways[0].name == "bottom and top"


def test_a_silent_driver_has_no_place() -> None:
    ways = order_ways(F, [Branch("low", band(40, 400)), Branch("dead", np.zeros(F.shape, dtype=complex))])
    assert [way.keys for way in ways] == [("low",)]
