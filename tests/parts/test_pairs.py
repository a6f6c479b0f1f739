"""Two parts as one. Oracles: every pair tried one after the other in plain Python, every corner written out,
and worked examples by the laws of Ohm and Kirchhoff."""

import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from xover.errors import OptionError
from xover.files.stock import ItemKind
from xover.network.parts import Capacitor, Inductor, Resistor
from xover.parts.preferred import best_pairs, combined, shares, worst_case

R, L, C = ItemKind.RESISTOR, ItemKind.INDUCTOR, ItemKind.CAPACITOR


def by_hand(a, b, how, kind):
    adds = (how == "parallel") == (kind is C)
    return a + b if adds else 1 / (1 / a + 1 / b)


@settings(max_examples=50)
@given(
    data=st.data(),
    kind=st.sampled_from(ItemKind),
    values=st.lists(st.integers(10, 9999), min_size=1, max_size=14, unique=True),
    most=st.integers(1, 6),
)
def test_best_pairs_are_those_of_trying_all(data, kind, values, most):
    target = data.draw(st.integers(5, 20_000)) * 1e-9
    listed = [v * 1e-9 for v in values]
    lone = data.draw(st.lists(st.booleans(), min_size=len(values), max_size=len(values)))
    every = sorted(
        abs(math.log(by_hand(a, b, how, kind) / target))
        for (i, a), (j, b) in itertools.combinations_with_replacement(enumerate(listed), 2)
        for how in ("series", "parallel")
        if i != j or not lone[i]
    )
    found = best_pairs(target, listed, kind, most=most, single=lone)
    assert [abs(math.log(p.value / target)) for p in found] == pytest.approx(every[:most], abs=2e-9)
    assert len({(p.at, p.how) for p in found}) == len(found)
    for p in found:
        assert p.values == (listed[p.at[0]], listed[p.at[1]])
        assert p.values[0] <= p.values[1]
        assert p.at[0] != p.at[1] or not lone[p.at[0]]
        assert p.value == pytest.approx(by_hand(*p.values, p.how, kind), rel=1e-12)
        assert p.error == pytest.approx(p.value / target - 1, abs=1e-12)


def test_equal_errors_prefer_equal_parts():
    found = best_pairs(10.0, [5.0, 1.0, 9.0, 4.0, 6.0], R, most=3)
    assert [p.values for p in found] == [(5.0, 5.0), (4.0, 6.0), (1.0, 9.0)]
    assert {p.how for p in found} == {"series"}
    (only,) = best_pairs(10.0, [1.0, 9.0, 5.0, 4.0, 6.0], R, most=1)
    assert only.values == (5.0, 5.0)


@pytest.mark.parametrize(
    ("kind", "how", "value"),
    [(R, "series", 6.9), (R, "parallel", 1.498551), (L, "series", 6.9), (C, "parallel", 6.9), (C, "series", 1.498551)],
)
def test_2_2_and_4_7(kind, how, value):
    """2.2 * 4.7 / 6.9 = 1.498551 (derived)."""
    assert float(combined(2.2, 4.7, how, kind)) == pytest.approx(value, rel=1e-6)


@pytest.mark.parametrize("how", ["series", "parallel"])
def test_impedances_agree(how):
    """The pair as one part has the impedance of both parts together, at 1 kHz."""
    omega = 2 * np.pi * 1000.0
    for kind, part in (
        (R, lambda v: Resistor("R", "a", "b", v)),
        (L, lambda v: Inductor("L", "a", "b", v * 1e-3)),
        (C, lambda v: Capacitor("C", "a", "b", v * 1e-6)),
    ):
        first, second = (part(v).impedance_ohm(omega) for v in (3.3, 8.2))
        both = first + second if how == "series" else first * second / (first + second)
        assert part(float(combined(3.3, 8.2, how, kind))).impedance_ohm(omega) == pytest.approx(both, rel=1e-12)


@settings(max_examples=40)
@given(
    a=st.floats(0.1, 100),
    b=st.floats(0.1, 100),
    first=st.floats(0, 0.9),
    second=st.floats(0, 0.9),
    kind=st.sampled_from(ItemKind),
    how=st.sampled_from(["series", "parallel"]),
)
def test_worst_case_is_that_of_all_corners_and_holds_inside(a, b, first, second, kind, how):
    corners = [by_hand(a * (1 + s * first), b * (1 + t * second), how, kind) for s in (-1, 1) for t in (-1, 1)]
    assert worst_case(a, b, (first, second), how, kind) == pytest.approx((min(corners), max(corners)), rel=1e-12)
    inside = combined(
        a * (1 + first * np.linspace(-1, 1, 21))[:, None], b * (1 + second * np.linspace(-1, 1, 21)), how, kind
    )
    assert inside.min() >= min(corners) * (1 - 1e-12)
    assert inside.max() <= max(corners) * (1 + 1e-12)


def test_one_tolerance_stays_and_spread_shrinks():
    """Two equal 10 % parts: still 10 % at worst, 10 % / sqrt(2) = 7.07 % where they are off independently (derived)."""
    pair = best_pairs(10e-6, [5e-6], C, tolerance=0.10, most=1)[0]
    assert pair.how == "parallel"
    assert (pair.worst_low, pair.worst_high) == pytest.approx((9e-6, 11e-6), rel=1e-12)
    assert pair.rss == pytest.approx(0.070711, rel=1e-5)


def test_spread_of_unequal_parts_agrees_with_drawing_lots():
    """A Monte Carlo of 200,000 pairs with standard deviations of 2 and 1 %: the spread of the value, to 1 %."""
    pair = best_pairs(3.197, [4.7, 10.0], R, tolerance=[0.02, 0.01], most=1)[0]
    assert pair.how == "parallel"
    lots = np.random.default_rng(7).normal(size=(2, 200_000))
    drawn = combined(4.7 * (1 + 0.02 * lots[0]), 10.0 * (1 + 0.01 * lots[1]), "parallel", R)
    assert pair.rss == pytest.approx(float(np.std(drawn) / np.mean(drawn)), rel=0.01)


def test_unknown_tolerance_is_not_guessed():
    pair = best_pairs(10.0, [4.0, 6.0], R, tolerance=[0.05, None], single=[True, True], most=1)[0]
    assert pair.values == (4.0, 6.0)
    assert all(math.isnan(x) for x in (pair.worst_low, pair.worst_high, pair.rss))


def test_tolerance_of_all_of_it_reaches_zero():
    assert worst_case(3.0, 6.0, (1.0, 1.0), "parallel", R) == pytest.approx((0.0, 4.0), abs=1e-15)


def test_shares():
    """Same charge on both: 12 V over 1 uF and 3 uF in series are 9 V and 3 V; resistors the other way round."""
    assert shares(1e-6, 3e-6, "series", C) == pytest.approx((0.75, 0.25))
    assert shares(1.0, 3.0, "series", R) == pytest.approx((0.25, 0.75))
    assert shares(1.0, 3.0, "parallel", R) == pytest.approx((0.75, 0.25))
    assert shares(1e-6, 3e-6, "parallel", C) == pytest.approx((0.25, 0.75))


def test_nothing_to_pair():
    assert best_pairs(1.0, [], R) == ()
    assert best_pairs(1.0, [1.0], R, single=[True]) == ()


@pytest.mark.parametrize(("target", "values"), [(0.0, [1.0]), (math.nan, [1.0]), (1.0, [1.0, 0.0]), (1.0, [-1.0])])
def test_only_values_above_zero(target, values):
    with pytest.raises(OptionError, match="above 0"):
        best_pairs(target, values, R)
