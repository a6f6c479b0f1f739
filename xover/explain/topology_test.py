"""Does the network fit the sweeps? What is left over must be as rough as noise, and no part may be a stranger.

A wrong network leaves a residual that is smooth over frequency: it is larger at long periods than at short ones. So
the whitened residuals are taken apart by cosines over ln f (DCT-II), and their mean square at long periods is held
against that at short ones by Fisher's F. The test needs no stated noise, as the short periods are the noise.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from xover.curve import Float
from xover.explain.estimate import Fit
from xover.explain.f_tail import f_tail
from xover.explain.problem import CELLS_PER_OCTAVE

# Periods longer than this many octaves count as smooth.
LONGEST_ROUGH: Final = 1.0 / 3.0
# The chance of so smooth a residual with the right network, below which it is called wrong ...
CHANCE: Final = 1e-4
# ... if what is left over is also larger than this, relative: no driver repeats better (common practice).
MATTERS: Final = 0.003
# A value this many standard deviations of the prior away is a stranger.
STRANGE: Final = 3.3


@dataclass(frozen=True)
class TopologyTest:
    """Whether the network fits.

    Attributes
    ----------
    smooth_ratio : mean square of the residual at long periods over that at short ones; 1 for noise.
    chance : of so large a ratio with the right network.
    left_over : what is left over and smooth, rms of |dZ/Z|.
    noise_factor : rough residual over the noise that was reckoned with; 1 if that was right.
    strangers : unknowns so far from what is plausible that another fault is likelier.
    """

    smooth_ratio: float
    chance: float
    left_over: float
    noise_factor: float
    strangers: tuple[str, ...]

    @property
    def fits(self) -> bool:
        """The verdict."""
        return not self.strangers and not self.misfits

    @property
    def misfits(self) -> bool:
        """The shape of the residual speaks against the network."""
        return self.chance < CHANCE and self.left_over > MATTERS


def judge_topology(found: Fit) -> TopologyTest:
    """Judge a fit."""
    smooth = rough = variance = 0.0
    smooth_size = rough_size = start = 0
    for cells in _series(found):
        amplitude = cosines(found.whitened[start : start + cells])
        variance += float(np.median(found.weights.cell_deviation[start : start + cells]) ** 2) * cells
        start += cells
        count = min(cells - 1, math.ceil(2.0 * cells / (CELLS_PER_OCTAVE * LONGEST_ROUGH)))
        smooth += float(amplitude[:count] @ amplitude[:count])
        rough += float(amplitude[count:] @ amplitude[count:])
        smooth_size, rough_size = smooth_size + count, rough_size + cells - count
    freedom = max(1.0, smooth_size - found.effective_parameters)
    floor = rough / rough_size
    ratio = smooth / freedom / floor
    # Of |dZ/Z|: magnitude and phase together.
    extra = 2.0 * max(0.0, smooth - freedom * floor) / start * variance / start
    strangers = tuple(
        u.name
        for u, at in zip(found.problem.sought, found.at, strict=False)
        if u.is_value and u.spread < 5.0 and abs(at - u.centre) > STRANGE * max(u.spread, 0.3)
    )
    chance = f_tail(ratio, freedom, float(rough_size))
    return TopologyTest(ratio, chance, math.sqrt(extra), math.sqrt(floor), strangers)


def _series(found: Fit) -> list[int]:
    """Lengths of the series that the whitened residuals are made of: magnitudes, then phases."""
    sweeps = found.problem.sweeps
    return [s.first.size for s in sweeps] + [s.first.size for s in sweeps if s.sweep.curve.has_phase]


def cosines(values: Float) -> Float:
    """(n,) orthonormal DCT-II, the longest period first (Ahmed, Natarajan and Rao 1974, from memory)."""
    count = values.size
    rows = np.arange(count)
    table = np.cos(np.pi * rows[:, None] * (rows[None, :] + 0.5) / count) * math.sqrt(2.0 / count)
    table[0] /= math.sqrt(2.0)
    return np.asarray(table @ values)
