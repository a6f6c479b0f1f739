"""A resistance that falls as 1/f, from parts that any circuit simulator has.

A constant loss angle is a series resistance of df/(2 pi f C). Simulators have no such part, and no chain of plain R
and C can be one: a resistance that falls with frequency comes with a capacitance that falls too (Kramers-Kronig),
by 4 % per decade for a df of 0.03, while our capacitor keeps its value. What does it exactly is a pair:

    R || C in series with R || -C:   R/(1 + jx) + R/(1 - jx) = 2 R/(1 + x^2),  x = f/fc

a real resistance at every frequency. Sums of them come as near to 1/f as one likes: Zolotarev's best rational
approximation of sgn(x) on [-1, -k] and [k, 1], over x (Zolotarev 1877; Akhiezer, Elements of the theory of elliptic
functions; from memory). The negative capacitor makes the pair unstable in time: it is for small-signal analysis.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from xover.curve import Float

MOST_PAIRS: Final = 12
_CHECKED: Final = 4001


@dataclass(frozen=True, eq=False)
class FallingResistance:
    """Sum of share/(1 + (f/corner)^2), as near to 1/f as so many terms can come.

    Attributes
    ----------
    share_s : (m,) resistance of each term at 0 Hz, of a whole that is 1/f: ohm for an ohm hertz.
    corner_hz : (m,) rising.
    from_hz, to_hz : where it holds.
    worst_error : largest relative error there.
    """

    share_s: Float
    corner_hz: Float
    from_hz: float
    to_hz: float
    worst_error: float

    def at(self, frequency_hz: Float) -> Float:
        """(n,) the sum, near 1/f; inside and outside of its band."""
        x = np.asarray(frequency_hz, dtype=float)[:, None] / self.corner_hz
        return np.asarray((self.share_s / (1.0 + x * x)).sum(axis=1), dtype=float)


def falling_resistance(from_hz: float, to_hz: float, pairs: int) -> FallingResistance:
    """The best sum of a number of terms over a band, in the largest relative error.

    Parameters
    ----------
    from_hz, to_hz : 0 < from < to.
    pairs : number of terms, 1 or more.
    """
    from scipy.special import ellipj, ellipkm1

    k = from_hz / to_hz
    quarter = ellipkm1(k * k)
    sn, cn, _, _ = ellipj(np.arange(1, 2 * pairs) * quarter / (2 * pairs), 1.0 - k * k)
    squares = (k * sn / cn) ** 2
    poles, zeros = squares[0::2], squares[1::2]
    share = np.array([np.prod(zeros - p) / np.prod(np.delete(poles, i) - p) for i, p in enumerate(poles)]) / poles
    draft = FallingResistance(share / to_hz, np.sqrt(poles) * to_hz, from_hz, to_hz, 0.0)
    f = np.geomspace(from_hz, to_hz, _CHECKED)
    ratio = f * draft.at(f)
    middle = (ratio.max() + ratio.min()) / 2.0
    error = float(np.max(np.abs(ratio / middle - 1.0)))
    return FallingResistance(draft.share_s / middle, draft.corner_hz, from_hz, to_hz, error)


def fewest_pairs(from_hz: float, to_hz: float, allowed: float) -> FallingResistance:
    """The shortest sum whose relative error stays within `allowed`; the longest one where none does."""
    found = falling_resistance(from_hz, to_hz, 1)
    for pairs in range(2, MOST_PAIRS + 1):
        if found.worst_error <= allowed:
            break
        found = falling_resistance(from_hz, to_hz, pairs)
    return found
