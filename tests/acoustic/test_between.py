from __future__ import annotations

import math

import numpy as np
import pytest

from xover.acoustic.level import between, larger_beside, lines_between
from xover.curve import log_grid

F = log_grid(100.0, 20000.0, 24)
NAN = complex(math.nan, math.nan)


def test_level_and_phase_between_rows_despite_flight_time() -> None:
    """Two curves 2.9 ms late; one falls by 12 dB an octave and leads by 90 degrees."""
    flight = np.exp(-2j * np.pi * F * 0.0029)
    pair = np.stack([1000.0 * flight, 1000.0j * (F / 1000.0) ** -2.0 * flight])
    wanted = np.array([150.0, 1234.5, 15001.0])
    got = between(F, pair, wanted, reference=0)
    assert got[0] == pytest.approx(1000.0 + 0j, rel=1e-9)
    assert got[1] == pytest.approx(1000.0j * (wanted / 1000.0) ** -2.0, rel=1e-9)


def test_a_known_row_stands_by_itself_and_nothing_is_made_up_beside_it() -> None:
    curve = np.array([[NAN, 2.0, 4.0, 0.0]])
    f = np.array([100.0, 200.0, 400.0, 800.0])
    got = between(f, curve, np.array([100.0, 150.0, 200.0, 300.0, 400.0, 600.0, 800.0]), reference=0)[0]
    assert np.isnan(got[:2]).all()
    assert got[[2, 4]] == pytest.approx(np.array([2.0, 4.0]))
    assert abs(got[3]) == pytest.approx(2.0 * 2.0 ** math.log2(1.5), rel=1e-9)
    assert got[5] == got[6] == 0.0


def test_nothing_outside() -> None:
    assert np.isnan(between(F, np.ones((1, F.size), dtype=complex), np.array([99.0, 20001.0]), 0)).all()


def test_last_row_turns_by_itself() -> None:
    f = np.array([100.0, 200.0])
    got = between(f, np.array([[1.0, 1.0], [NAN, 3.0j]]), np.array([200.0]), reference=0)
    assert got[1, 0] == pytest.approx(3.0j)


def test_lines_and_bounds() -> None:
    f = np.array([100.0, 400.0])
    assert lines_between(f, np.array([10.0, 30.0]), np.array([200.0])) == pytest.approx([20.0])
    assert larger_beside(f, np.array([[10.0, 30.0]]), np.array([101.0])) == pytest.approx([30.0])
