"""Preferred numbers: the values that resistors, capacitors and coils are made in.

Source: IEC 60063, series E3 to E192. E3, E6 and E12 are every eighth, fourth and second value of E24. E48, E96 and
E192 are 10^(i/N) rounded to three digits. Where the printed lists differ from the rule, the lists are right.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from functools import cache
from types import MappingProxyType
from typing import Final

import numpy as np

from xover.curve import Float
from xover.errors import OptionError

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

    Raises
    ------
    OptionError
        No such series.
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

    Raises
    ------
    OptionError
        No such series, or limits that are not in order.
    """
    if not _LOWEST <= low <= high <= _HIGHEST:
        raise OptionError(f"there are no preferred numbers from {low:g} to {high:g}", "give two values above 0, rising")
    decades = range(math.floor(math.log10(low)) - 1, math.floor(math.log10(high)) + 2)
    # Through text, as 4.7 * 1e-6 is not 4.7e-6.
    values = np.array([float(f"{m}e{decade - 2}") for decade in decades for m in mantissas(series)])
    return values[(values >= low) & (values <= high)]


def neighbours(value: float, series: str) -> tuple[float, float]:
    """The largest value of a series not above, and the smallest not below; both `value` itself if it is in.

    Raises
    ------
    OptionError
        No such series, or a value that is not above 0.
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

    Raises
    ------
    OptionError
        No such series, or a value that is not above 0.
    """
    below, above = neighbours(value, series)
    return above if above / value < value / below else below
