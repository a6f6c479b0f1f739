"""Which textbook alignment is a branch nearest to, and how far from it?"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from xover.curve import Float

# Coefficients of the low-pass denominators, highest power first; s -> 1/s gives the high-pass.
# Butterworth and Linkwitz-Riley (its square) by their definitions; Bessel 2 as Q = 1/sqrt 3, Chebyshev 2
# as Q = 1 by the usual crossover tables (see tests/outside/test_textbook_networks.py for sources).
ALIGNMENTS: Final[dict[str, tuple[float, ...]]] = {
    "B1": (1.0, 1.0),
    "B2": (1.0, math.sqrt(2.0), 1.0),
    "LR2": (1.0, 2.0, 1.0),
    "Bessel 2": (1.0, math.sqrt(3.0), 1.0),
    "Chebyshev 2 (Q = 1)": (1.0, 1.0, 1.0),
    "B3": (1.0, 2.0, 2.0, 1.0),
    "B4": (1.0, math.sqrt(4 + 2 * math.sqrt(2)), 2 + math.sqrt(2), math.sqrt(4 + 2 * math.sqrt(2)), 1.0),
    "LR4": (1.0, 2 * math.sqrt(2), 4.0, 2 * math.sqrt(2), 1.0),
}
# Compared down to here: below, losses and cone break-up decide, not the alignment.
FLOOR_DB: Final = -24.0


@dataclass(frozen=True)
class Nearest:
    """The nearest textbook alignment.

    Attributes
    ----------
    name : such as "LR2"; low_pass : which half of it.
    frequency_hz : its corner, fitted.
    rms_db, worst_db : distance of the level from it, where the alignment is above -24 dB.
    """

    name: str
    low_pass: bool
    frequency_hz: float
    rms_db: float
    worst_db: float


def nearest_alignment(frequency_hz: Float, level_db: Float, order: int, low_pass: bool) -> Nearest | None:
    """Find the alignment of an order that a branch's level is nearest to.

    Parameters
    ----------
    frequency_hz : (n,) evenly spaced in log; level_db : (n,) re the pass band.
    order : asymptotic order, 1 to 4; None comes back for others.
    """
    fits = [
        _fitted(name, denominator, frequency_hz, level_db, low_pass)
        for name, denominator in ALIGNMENTS.items()
        if len(denominator) == order + 1
    ]
    return min(fits, key=lambda fit: fit.rms_db, default=None)


def _fitted(name: str, denominator: tuple[float, ...], f: Float, level: Float, low_pass: bool) -> Nearest:
    """Move the corner over the grid, then between its rows, to the least rms distance."""
    centres = np.log(f)
    width = float(np.median(np.diff(centres)))
    best = min(centres, key=lambda c: _distance(denominator, f, level, c, low_pass)[0])
    for _ in range(12):
        trial = best + width * np.linspace(-1, 1, 9)
        best = min(trial, key=lambda c: _distance(denominator, f, level, c, low_pass)[0])
        width /= 4
    rms, worst = _distance(denominator, f, level, best, low_pass)
    return Nearest(name, low_pass, float(np.exp(best)), rms, worst)


def _distance(
    denominator: tuple[float, ...], f: Float, level: Float, centre: float, low_pass: bool
) -> tuple[float, float]:
    ratio = f / np.exp(centre)
    s = 1j * (ratio if low_pass else 1.0 / ratio)
    wanted = -20.0 * np.log10(np.abs(np.polyval(denominator, s)))
    near = wanted >= FLOOR_DB
    miss = (level - wanted)[near]
    # A corner at the end of the grid would be compared over its pass band alone.
    if near.all() or near.sum() < 8:
        return math.inf, math.inf
    return float(np.sqrt(np.mean(miss**2))), float(np.max(np.abs(miss)))
