"""Pairs of cells that stand for a resistance falling as 1/f."""

import math

import numpy as np
import pytest

from xover.network.loss_cells import MOST_PAIRS, falling_resistance, fewest_pairs

F = np.geomspace(20.0, 20e3, 20001)


def test_one_pair_by_hand():
    """x/(x^2 + k) on [k, 1] is largest at sqrt(k), 1/(2 sqrt k), and least at both ends, 1/(1 + k) (derived)."""
    found = falling_resistance(20.0, 20e3, 1)
    k = 1e-3
    most, least = 1 / (2 * math.sqrt(k)), 1 / (1 + k)
    assert found.corner_hz == pytest.approx([math.sqrt(20.0 * 20e3)], rel=1e-9)
    assert found.worst_error == pytest.approx((most - least) / (most + least), rel=1e-6)


@pytest.mark.parametrize("pairs", range(1, 9))
def test_no_sum_of_as_many_terms_comes_nearer(pairs):
    """Chebyshev's mark of the best approximation: the error takes its largest size 2 m + 1 times, alternating."""
    found = falling_resistance(20.0, 20e3, pairs)
    error = F * found.at(F) - 1.0
    assert np.max(np.abs(error)) == pytest.approx(found.worst_error, rel=1e-3)
    turns = np.flatnonzero(np.diff(np.sign(np.diff(error)))) + 1
    extremes = error[[0, *turns, -1]]
    assert extremes.size == 2 * pairs + 1
    np.testing.assert_allclose(np.abs(extremes), found.worst_error, rtol=1e-3)
    assert np.all(np.diff(np.sign(extremes)) != 0)


def test_every_pair_more_is_better():
    errors = [falling_resistance(20.0, 20e3, n).worst_error for n in range(1, MOST_PAIRS + 1)]
    ratios = np.array(errors[1:]) / np.array(errors[:-1])
    assert np.all(ratios < 0.42)
    # Each pair gains a constant factor, exp(-pi^2/ln(4/k)) with k the ratio of the band's ends (Zolotarev; derived).
    assert ratios[-1] == pytest.approx(math.exp(-(math.pi**2) / math.log(4e3)), rel=0.01)


def test_a_pair_is_a_resistance_at_every_frequency():
    """R || C in series with R || -C, as it is written, adds up to no reactance; outside the band too."""
    found = falling_resistance(20.0, 20e3, 5)
    f = np.geomspace(0.1, 1e6, 50)
    z = np.zeros(f.shape, dtype=complex)
    for share, corner in zip(found.share_s, found.corner_hz, strict=True):
        ohm = share / 2
        farad = 1 / (2 * np.pi * corner * ohm)
        for sign in (1, -1):
            z += 1 / (1 / ohm + 2j * np.pi * f * sign * farad)
    np.testing.assert_allclose(z.real, found.at(f), rtol=1e-12)
    assert np.max(np.abs(z.imag) / z.real) < 1e-12
    assert np.all(found.share_s > 0)
    assert np.all(np.diff(found.corner_hz) > 0)


def test_other_bands():
    found = falling_resistance(100.0, 5e3, 4)
    f = np.geomspace(100.0, 5e3, 999)
    assert np.max(np.abs(f * found.at(f) - 1)) == pytest.approx(found.worst_error, rel=1e-2)
    assert 1e-4 < found.worst_error < falling_resistance(20.0, 20e3, 4).worst_error


@pytest.mark.parametrize(("allowed", "pairs"), [(0.9, 1), (0.5, 2), (0.04, 4), (0.001, 7), (1e-12, MOST_PAIRS)])
def test_as_few_as_will_do(allowed, pairs):
    found = fewest_pairs(20.0, 20e3, allowed)
    assert found.corner_hz.size == pairs
    assert found.worst_error <= allowed or pairs == MOST_PAIRS
