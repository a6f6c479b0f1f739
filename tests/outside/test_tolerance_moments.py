"""Draws, intervals and shares of the tolerance study against exact moments, tables and scipy."""

import math

import numpy as np
import pytest
import scipy.stats

from xover.files.netlist import parse_netlist
from xover.network import build_network
from xover.search.builds import Distribution, built_values, part_spreads, standard_draws
from xover.studies.bears.tolerance.bands import ascending, quantile_doubt, quantile_ranks, share_of
from xover.studies.bears.tolerance.corners import corner_signs

pytestmark = pytest.mark.outside

N = 200_000
RC = "* RC corner\nR1 in w 8 tol=5%\nC1 w 0 10uF tol=10%\nXlow w 0 woofer\n"


@pytest.fixture(scope="module")
def spreads():
    return part_spreads(build_network(parse_netlist(RC)))


def corner_hz(values):
    return 1 / (2 * np.pi * values["R1"] * values["C1"])


def test_corner_of_an_rc_filter_has_its_exact_moments(spreads):
    """Derived: E[1/u] = ln((1+t)/(1-t))/(2t) and E[1/u^2] = 1/(1-t^2) for u uniform within 1 +- t, so for
    8 ohm +-5 % and 10 uF +-10 % f0 = 1989.4368 Hz, mean f/f0 1.0041909, standard deviation 0.0650639."""
    draws = standard_draws(np.random.default_rng(11), N, 2, Distribution.UNIFORM)
    ratio = corner_hz(built_values(spreads, draws)) / 1989.4368
    assert ratio.mean() == pytest.approx(1.0041909, abs=4 * 0.0650639 / math.sqrt(N))
    # The standard error of a standard deviation; a spread flatter than a bell keeps below that of the bell.
    assert ratio.std() == pytest.approx(0.0650639, abs=4 * 0.0650639 / math.sqrt(2 * N))


def test_worst_corners_of_an_rc_filter(spreads):
    """Derived: 1722.4561 and 2326.8267 Hz, -13.4199 % and +16.9591 %."""
    found = corner_hz(built_values(spreads, corner_signs(2)))
    assert found.size == 4
    assert found.min() == pytest.approx(1722.4561, abs=1e-4)
    assert found.max() == pytest.approx(2326.8267, abs=1e-4)


def test_the_normal_distribution_is_cut_at_the_tolerance():
    """A standard normal cut at +-3: variance 1 - 6 phi(3)/(2 Phi(3) - 1) (textbook; scipy.stats.truncnorm)."""
    draws = standard_draws(np.random.default_rng(12), N, 1, Distribution.NORMAL)[:, 0]
    exact = scipy.stats.truncnorm(-3, 3, scale=1 / 3).std()
    assert np.abs(draws).max() <= 1
    assert draws.mean() == pytest.approx(0, abs=4 * exact / math.sqrt(N))
    assert draws.std() == pytest.approx(exact, abs=4 * exact / math.sqrt(2 * N))
    # 0.27 % is cut off, so that the plain standard deviation of 1/3 would not do.
    assert scipy.stats.kstest(draws, scipy.stats.truncnorm(-3, 3, scale=1 / 3).cdf).pvalue > 0.01


@pytest.mark.parametrize(("count", "share"), [(10_000, 0.025), (10_000, 0.5), (10_000, 0.975), (300, 0.16), (100, 0.5)])
def test_ranks_that_enclose_a_quantile(count, share):
    binomial = scipy.stats.binom(count, share)
    low, high = quantile_ranks(count, share)
    assert (low, high) == (binomial.ppf(0.025), binomial.ppf(0.975) + 1)
    assert binomial.cdf(high - 1) - binomial.cdf(low - 1) >= 0.95


def test_ranks_of_the_median_of_a_hundred():
    """Tables of distribution-free intervals give ranks 40 and 61 (from memory)."""
    assert quantile_ranks(100, 0.5) == (40, 61)


def test_too_few_values_enclose_nothing():
    assert quantile_ranks(100, 0.025) is None
    assert np.isnan(quantile_doubt(ascending(np.arange(100.0)[:, None]))[0]).all()


def test_the_interval_holds_the_quantile_as_often_as_it_says():
    rng = np.random.default_rng(13)
    low, high = quantile_ranks(200, 0.84)
    ordered = np.sort(rng.uniform(0, 1, (2000, 200)), axis=1)
    held = np.mean((ordered[:, low - 1] <= 0.84) & (ordered[:, high - 1] > 0.84))
    binomial = scipy.stats.binom(200, 0.84)
    exact = binomial.cdf(high - 1) - binomial.cdf(low - 1)
    assert held == pytest.approx(exact, abs=4 * math.sqrt(exact * (1 - exact) / 2000))
    doubt = quantile_doubt(ordered)[3]
    np.testing.assert_allclose(doubt, (ordered[:, high - 1] - ordered[:, low - 1]) / 2, rtol=1e-12)


@pytest.mark.parametrize(
    ("count", "of", "low", "high"),
    [(81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 20, 0.0, 0.1611), (1, 29, 0.0061, 0.1718)],
)
def test_interval_of_a_share(count, of, low, high):
    """R. G. Newcombe, Statistics in Medicine 17 (1998) 857-872, table I, score method without continuity
    correction (from memory)."""
    found = share_of(count, of)
    assert (found.count, found.of) == (count, of)
    assert found.share == pytest.approx(count / of, rel=1e-12)
    assert found.low == pytest.approx(low, abs=5e-5)
    assert found.high == pytest.approx(high, abs=5e-5)
    other = share_of(of - count, of)
    assert (other.low, other.high) == pytest.approx((1 - found.high, 1 - found.low), abs=1e-12)
