"""When a fit explains a sweep, when a part stands where it has no business, and which fits cannot be told apart."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

import numpy as np

from xover.curve import Float
from xover.explain.fault_fit import Fits
from xover.explain.terminals import SIGMAS, Knob, KnobKind, State, Terminals
from xover.studies.aged.verify.words import knob_words

MISFIT: Final = 1.5
"""A fit leaves noise only, up to so many times the noise."""
CHANCE: Final = 1e-4
"""What noise and spreads do as rarely as this or more rarely, they did not do."""
CLEAR: Final = math.log(1e4)
"""A fault or change that is so many times likelier than none (natural logarithm) is to blame."""
TIE_CHI_SQUARE: Final = 9.0
TIE_ODDS: Final = math.log(1e3)
"""Two are tied where fitted curves lie within three standard deviations of noise of each other, all rows together, and
neither needs so much less likely parts."""
OUTSIDE_OTHERS: Final = 3.0
"""Standard deviations beyond which a driver, a loss or the jig is not what it is taken for."""
MOST_TOLERANCE: Final = 0.9
FREE: Final = 3.0
"""A spread so many times the usual is that of something sought, which is nowhere out of place."""
FARTHEST: Final = 4
LN10: Final = math.log(10.0)


def beyond(terminals: Terminals, state: State, fits: Fits, row: int) -> list[tuple[Knob, str]]:
    """The knobs that stand, for certain, where they have no business, farthest first, with it in words.

    A part beyond its tolerance, anything else beyond three standard deviations, by more than twice the doubt of the
    fit. If none does, but all together stand farther off than chance has it, the farthest are told.
    """
    far, strain, count = [], 0.0, 0
    for column, knob in enumerate(terminals.knobs):
        spread = state.spreads.get(knob.name, knob.spread)
        if spread == 0.0 or spread > FREE * knob.spread:
            continue
        turned, doubt = float(fits.turned[row, column]), float(fits.doubt[row, column])
        strain, count = strain + (turned / spread) ** 2, count + 1
        outside = abs(turned) - 2.0 * doubt > _limit(knob, spread, turned)
        far.append((abs(turned) / spread, outside, (knob, knob_words(knob, turned))))
    far.sort(key=lambda each: -each[0])
    found = [each for _, outside, each in far if outside]
    if not found and strain > chi_square(count):
        found = [each for _, _, each in far[:FARTHEST]]
    return found


def _limit(knob: Knob, spread: float, turned: float) -> float:
    """How far a knob may stand: of a part the logarithm of its tolerance, to that side."""
    if knob.kind is not KnobKind.PART:
        return OUTSIDE_OTHERS * spread
    tolerance = min(SIGMAS * spread, MOST_TOLERANCE)
    return math.log1p(tolerance) if turned > 0 else -math.log1p(-tolerance)


def chi_square(freedom: int) -> float:
    """What a sum of squares of that many standard normal numbers exceeds with the probability CHANCE."""
    from scipy.special import chdtri

    return float(chdtri(freedom, CHANCE))


def number_ties(costs: Sequence[float], apart_from: Sequence[Float]) -> list[int]:
    """Number what cannot be told apart alike, 0 first, each group about its likeliest.

    Parameters
    ----------
    costs : (m,) rising. apart_from : for each of them the chi-square (m,) between it and all.
    """
    numbers: dict[int, int] = {}
    for leader, cost in enumerate(costs):
        if leader in numbers:
            continue
        number = max(numbers.values(), default=-1) + 1
        near = (np.asarray(apart_from[leader]) < TIE_CHI_SQUARE) & (np.asarray(costs) - cost < TIE_ODDS)
        for other in (leader, *np.flatnonzero(near)):
            numbers.setdefault(int(other), number)
    return [numbers[i] for i in range(len(costs))]
