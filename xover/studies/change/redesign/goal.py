"""The target on a grid: everything about the speaker and the wish that does not depend on the network's values."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import NDArray

from xover.acoustic.decibel import level_db
from xover.curve import Complex, Float

# A driver's own slope counts less the deeper it lies.
_SLOPE_FLOOR_DB: Final = -30.0


@dataclass(frozen=True, eq=False)
class Goal:
    """What a network of known drives and load is judged by.

    Shapes: n frequencies, c driver cards, a angles.

    Attributes
    ----------
    keys : (c,) drivers, in the order of the arrays.
    response : (c, n) sound of each driver for one unit of drive, delays included; None where the drivers share no
        time reference or have no response: then the slopes alone are judged.
    shape_db : (n,) the target, any constant apart. in_band : (n,) where the sum counts.
    magnitude : (c, n) |sound| of each driver for one unit of drive; 1 where no response is known.
    slope_db : (c, n) what each driver's own sound should be, against the target; NaN where it does not count.
    off_axis : (a, c, n) factors of the response, or None.
    least_ohm, least_epdr_ohm : or NaN.
    least_level_db : mean level in the band that must be kept; NaN without.
    most_drive_db : (c, n) highest drive below a tweeter's resonance; NaN elsewhere.
    """

    frequency_hz: Float
    keys: tuple[str, ...]
    driver_ohm: Mapping[str, Complex]
    response: Complex | None
    magnitude: Float
    shape_db: Float
    in_band: NDArray[np.bool_]
    slope_db: Float
    off_axis: Complex | None
    least_ohm: float
    least_epdr_ohm: float
    least_level_db: float
    most_drive_db: Float
    weights: Mapping[str, float]

    @property
    def has_sum(self) -> bool:
        """Whether one sum is right for these drivers."""
        return self.response is not None

    def slope_weight(self) -> Float:
        """(c, n) 1 at the top of a slope, falling to 0 thirty decibels down; 0 where it does not count."""
        return self._slope_weight

    @cached_property
    def _slope_weight(self) -> Float:
        weight = np.clip(1.0 - self.slope_db / _SLOPE_FLOOR_DB, 0.0, 1.0)
        return np.nan_to_num(weight, nan=0.0)


def sum_pressure(goal: Goal, drive: Complex) -> Complex:
    """(k, n) pressure of the sum for drives (k, c, n)."""
    assert goal.response is not None
    return np.asarray(np.einsum("kcn,cn->kn", drive, goal.response), dtype=complex)


def mean_level_db(goal: Goal, drive: Complex) -> Float:
    """(k,) mean of the sum's level over the band, less the target's shape; NaN without a sum."""
    if goal.response is None:
        return np.full(drive.shape[0], math.nan)
    level = level_db(sum_pressure(goal, drive))
    return np.asarray(np.mean((level - goal.shape_db)[:, goal.in_band], axis=1), dtype=float)
