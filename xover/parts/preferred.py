"""Preferred numbers: the values that resistors, capacitors and coils are made in.

Source: IEC 60063, series E3 to E192. E3, E6 and E12 are every eighth, fourth and second value of E24. E48, E96 and
E192 are 10^(i/N) rounded to three digits. Where the printed lists differ from the rule, the lists are right.

Two parts that make one: which pair of values comes nearest to a target, and how far it may be off.

Resistors and coils add in series and by reciprocals in parallel; capacitors the other way round. Two coils do so only
where they are not coupled: mounted apart, one axis at a right angle to the other and aimed at its middle.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from types import MappingProxyType
from typing import Any, Final, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from xover.curve import Float
from xover.errors import OptionError
from xover.files.stock import ItemKind

SERIES: Final = ("E3", "E6", "E12", "E24", "E48", "E96", "E192")

# Where the printed list differs from the rule: {rule: printed}, in tenths and in hundredths.
_E24_EXCEPTIONS: Final[Mapping[int, int]] = MappingProxyType(
    {26: 27, 29: 30, 32: 33, 35: 36, 38: 39, 42: 43, 46: 47, 83: 82}
)
_E192_EXCEPTIONS: Final[Mapping[int, int]] = MappingProxyType({919: 920})
# Far beyond any part; inside, every value of a series is a plain float.
_LOWEST: Final = 1e-30
_HIGHEST: Final = 1e30


def series_name(name: str) -> str:
    """Give the series its proper name ("e12" is E12). Raises OptionError naming the nearest."""
    upper = name.strip().upper()
    if upper in SERIES:
        return upper
    number = re.fullmatch(r"E?([1-9][0-9]{0,3})", upper)
    if number is None:
        remedy = "give one of " + ", ".join(SERIES)
    else:
        remedy = f"did you mean {min(SERIES, key=lambda known: abs(math.log(int(known[1:]) / int(number[1]))))}?"
    raise OptionError(f"there is no series '{name[:40]}' of preferred numbers", remedy)


@cache
def mantissas(series: str) -> tuple[int, ...]:
    """The values of one decade, rising, in hundredths: 100 to 999.

    Raises OptionError: no such series.
    """
    count = int(series_name(series)[1:])
    whole, steps, exceptions = (24, 10, _E24_EXCEPTIONS) if count <= 24 else (192, 100, _E192_EXCEPTIONS)
    rule = [round(steps * 10 ** (i / whole)) for i in range(0, whole, whole // count)]
    return tuple(exceptions.get(value, value) * 100 // steps for value in rule)


def series_values(series: str, low: float, high: float) -> Float:
    """Every value of a series from `low` to `high`, both included.

    Parameters
    ----------
    series : "E3" to "E192".
    low, high : of one unit, 1e-30 to 1e30.

    Returns
    -------
    (n,) rising; each is the float nearest to its decimal, so 4.7 uF is 4.7e-6 to the last bit. Empty
    where no value lies in between.

    Raises OptionError: no such series, or limits that are not in order.
    """
    if not _LOWEST <= low <= high <= _HIGHEST:
        raise OptionError(f"there are no preferred numbers from {low:g} to {high:g}", "give two values above 0, rising")
    decades = range(math.floor(math.log10(low)) - 1, math.floor(math.log10(high)) + 2)
    # Through text, as 4.7 * 1e-6 is not 4.7e-6.
    values = np.array([float(f"{m}e{decade - 2}") for decade in decades for m in mantissas(series)])
    return values[(values >= low) & (values <= high)]


def neighbours(value: float, series: str) -> tuple[float, float]:
    """The largest value of a series not above, and the smallest not below; both `value` itself if it is in.

    Raises OptionError: no such series, or a value that is not above 0.
    """
    if not _LOWEST * 100 <= value <= _HIGHEST / 100:
        raise OptionError(f"{value:g} has no preferred number near it", "give a value above 0")
    values = series_values(series, value / 20, value * 20)
    return float(values[values <= value][-1]), float(values[values >= value][0])


def nearest(value: float, series: str) -> float:
    """The value of a series that is nearest by ratio, the lower of two equally near.

    Ratio and difference do not always agree: for 2.72 in E6 it is 3.3 by ratio (the limit is sqrt(2.2 * 3.3) = 2.694)
    and would be 2.2 by difference. A part acts by ratio: a capacitor 10 % too large moves a corner as far down as one
    that is 1/1.1 of its value moves it up. The next decade counts: 9.6 in E24 is 10.

    Raises OptionError: no such series, or a value that is not above 0.
    """
    below, above = neighbours(value, series)
    return above if above / value < value / below else below


How = Literal["series", "parallel"]

# Distances alike to so many digits are equal: 2.2 + 2.5 is 4.7 however its last bit falls.
_SAME_DIGITS: Final = 9


@dataclass(frozen=True)
class Pair:
    """Two parts taken as one.

    Attributes
    ----------
    values : of the two parts in ohm, henry or farad, the smaller first.
    at : their places in the list that was searched.
    how : "series" or "parallel".
    value : of the pair.
    error : value over target, minus 1.
    shares : what each part takes: of the voltage in series, of the current in parallel. For resistors that
        is the share of the power too. Capacitors in series share an alternating voltage so, the
        smaller taking more; a steady voltage is shared by their leakage, which no value tells.
    worst_low, worst_high : value with both parts at one end of their tolerance; NaN where one has none.
    rss : spread of the value as a fraction, where the two are off independently of each other: root of the sum of
        squares of share times tolerance; NaN where one has none.
    """

    values: tuple[float, float]
    at: tuple[int, int]
    how: How
    value: float
    error: float
    shares: tuple[float, float]
    worst_low: float
    worst_high: float
    rss: float


def ways(kind: ItemKind) -> tuple[How, How]:
    """The way in which values add, then the way in which their reciprocals do."""
    return ("parallel", "series") if kind is ItemKind.CAPACITOR else ("series", "parallel")


def combined(a: ArrayLike, b: ArrayLike, how: How, kind: ItemKind) -> Float:
    """Value of two parts taken as one.

    Parameters
    ----------
    a, b : arrays of any shapes that broadcast, zero or more, in one unit.
    """
    a, b = np.asarray(a, dtype=float), np.asarray(b, dtype=float)
    total = a + b
    if how == ways(kind)[0]:
        return np.asarray(total)
    # As smaller / (1 + ratio): the product of two small capacitances would lose digits. Two zeros make zero.
    small, large = np.minimum(a, b), np.maximum(a, b)
    return np.asarray(small / (1 + small / np.where(large > 0, large, 1.0)))


def shares(a: float, b: float, how: How, kind: ItemKind) -> tuple[float, float]:
    """What each of two parts takes of the voltage (series) or of the current (parallel); both above 0.

    It is also each one's weight in the pair: the relative change of the pair's value for one of the part's (derived).
    """
    first = a / (a + b)
    return (first, 1 - first) if how == ways(kind)[0] else (1 - first, first)


def worst_case(a: float, b: float, tolerances: tuple[float, float], how: How, kind: ItemKind) -> tuple[float, float]:
    """Lowest and highest value of a pair; tolerances are fractions from 0 to 1.

    Exact: the value rises with either part, so its ends lie where both are low and where both are high. Two parts
    of one tolerance keep it.
    """
    low, high = (
        combined(a * (1 + sign * tolerances[0]), b * (1 + sign * tolerances[1]), how, kind) for sign in (-1, 1)
    )
    return float(low), float(high)


def best_pairs(
    target: float,
    values: ArrayLike,
    kind: ItemKind,
    *,
    most: int = 5,
    tolerance: float | Sequence[float | None] | None = None,
    single: Sequence[bool] | None = None,
) -> tuple[Pair, ...]:
    """The pairs of a list that come nearest to a target, in series or in parallel.

    Parameters
    ----------
    target : ohm, henry or farad, above 0.
    values : (n,) above 0, in any order.
    most : how many pairs at most.
    tolerance : fraction, of all or of each; None where it is not known.
    single : for each value, whether there is but one, so that it cannot be paired with itself; None: never.

    Returns
    -------
    Pairs by distance as a ratio, |log(value / target)|, the nearest first; of two that are as near, the one with
    less spread, which is the one of more equal parts.

    Raises OptionError: a target or a value that is not above 0.
    """
    listed = np.asarray(values, dtype=float)
    if not 0 < target < np.inf or not np.all((listed > 0) & (listed < np.inf)):
        raise OptionError("a pair needs a target and values above 0", "leave out what is zero or negative")
    lone = np.zeros(len(listed), dtype=bool) if single is None else np.asarray(single, dtype=bool)
    each = tolerance if isinstance(tolerance, Sequence) else [tolerance] * len(listed)
    known = np.array([np.nan if t is None else t for t in each], dtype=float)
    if not len(listed) or most < 1:
        return ()
    found = [near_pairs(target, listed, how, kind, most, lone) for how in ways(kind)]
    order = sorted((row, how) for rows, how in zip(found, ways(kind), strict=True) for row in rows)
    return tuple(_pair(target, listed, known, i, j, how, kind) for (*_, i, j), how in order[:most])


def near_pairs(
    target: float, values: Float, how: How, kind: ItemKind, most: int, lone: NDArray[np.bool_] | None = None
) -> list[tuple[float, float, int, int]]:
    """(distance, spread for equal tolerances, i, j) of the best pairs of one way, the best first; n log n in time.

    Every pair is a value and a partner. The pair's value rises with the partner, so for each value the best partners
    are those on both sides of the one that would be exact. A best pair is of values whose own best pairs are among the
    first: each of those is of two values at most, so twice as many values as pairs are enough.

    Parameters
    ----------
    values : (n,) above 0. lone : (n,) whether there is but one, so that it is no pair with itself; None: never.
    """
    rising = np.argsort(values, kind="stable")
    ordered = values[rising]
    if how == ways(kind)[0]:
        exact = target - ordered
    else:
        over = ordered - target
        exact = np.where(over > 0, target * ordered / np.where(over > 0, over, 1.0), np.inf)
    middle = np.searchsorted(ordered, exact)

    def pairs(rows: NDArray[np.intp], reach: int) -> tuple[NDArray[Any], ...]:
        """Distance, spread and places, the smaller value's first, in order; and the row that each is of."""
        window = middle[rows, None] + np.arange(-reach, reach)
        i, j = np.nonzero((window >= 0) & (window < len(values)))
        one, other = rising[rows[i]], rising[window[i, j]]
        allowed = np.ones(one.size, dtype=bool) if lone is None else (one != other) | ~lone[one]
        one, other, row = one[allowed], other[allowed], rows[i[allowed]]
        swap = (values[one] > values[other]) | ((values[one] == values[other]) & (one > other))
        first, second = np.where(swap, other, one), np.where(swap, one, other)
        a, b = values[first], values[second]
        distance = np.round(np.abs(np.log(combined(a, b, how, kind) / target)), _SAME_DIGITS)
        spread = np.round(np.hypot(a, b) / (a + b), _SAME_DIGITS)
        order = np.lexsort((second, first, spread, distance))
        return distance[order], spread[order], first[order], second[order], row[order]

    # One more on each side than asked for, as a value may have to leave itself out.
    of = pairs(np.arange(len(values)), 2)[-1]
    _, at = np.unique(of, return_index=True)
    found = pairs(of[np.sort(at)[: 2 * most]], most + 1)[:-1]
    return list(dict.fromkeys(zip(*(column.tolist() for column in found), strict=True)))[:most]


def _pair(target: float, values: Float, tolerances: Float, i: int, j: int, how: How, kind: ItemKind) -> Pair:
    a, b = float(values[i]), float(values[j])
    both = (float(tolerances[i]), float(tolerances[j]))
    value = float(combined(a, b, how, kind))
    parts = shares(a, b, how, kind)
    low, high = worst_case(a, b, both, how, kind)
    rss = float(np.hypot(parts[0] * both[0], parts[1] * both[1]))
    return Pair((a, b), (i, j), how, value, value / target - 1, parts, low, high, rss)
