"""Which drivers belong to one way of the loudspeaker, and in which order the ways stand."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from xover.acoustic.branch import Branch

Float = NDArray[np.float64]

# Groups whose centroids lie closer than this play the same band (two woofers under different
# names) and are one way. Neighbouring ways of a crossover stand an octave and a half apart or more.
SAME_WAY_OCTAVES: Final = 0.5


@dataclass(frozen=True)
class Way:
    """Branches that play the same band.

    Attributes
    ----------
    keys : of its branches, sorted.
    rows : where they stand in the sequence of branches, in the order of `keys`.
    centroid_hz : centroid of |pressure|^2 over log frequency.
    """

    keys: tuple[str, ...]
    rows: tuple[int, ...]
    centroid_hz: float

    @property
    def name(self) -> str:
        """The keys in words."""
        return " and ".join(self.keys)


def order_ways(frequency_hz: Float, branches: Sequence[Branch]) -> tuple[Way, ...]:
    """Sort branches into ways, lowest first.

    Parameters
    ----------
    frequency_hz : (n,) rising.
    branches : those of one group are one way; groups with centroids within half an octave too.

    Returns
    -------
    The ways that sound. A branch without data or without drive belongs to none.
    """
    groups: dict[str, list[int]] = {}
    for row, branch in enumerate(branches):
        groups.setdefault(branch.group, []).append(row)
    placed = []
    for rows in groups.values():
        pressure = np.sum([np.nan_to_num(branches[r].pressure) for r in rows], axis=0)
        centroid = centroid_hz(frequency_hz, pressure)
        if math.isfinite(centroid):
            placed.append((centroid, min(branches[r].key for r in rows), rows))
    placed.sort()
    ways: list[Way] = []
    last = -math.inf
    for centroid, _, rows in placed:
        if ways and math.log2(centroid / last) < SAME_WAY_OCTAVES:
            ways[-1] = _way(branches, [*ways[-1].rows, *rows], ways[-1].centroid_hz)
        else:
            ways.append(_way(branches, rows, centroid))
        last = centroid
    return tuple(ways)


def _way(branches: Sequence[Branch], rows: Sequence[int], centroid: float) -> Way:
    ordered = sorted(rows, key=lambda r: branches[r].key)
    return Way(tuple(branches[r].key for r in ordered), tuple(ordered), centroid)


def centroid_hz(frequency_hz: Float, pressure: NDArray[np.complex128]) -> float:
    """Centroid of |p|^2 over log frequency, in Hz; NaN if the pressure is zero or NaN throughout.

    Parameters
    ----------
    frequency_hz, pressure : (n,) each; rows that are NaN carry no weight.
    """
    u = np.log(frequency_hz)
    power = np.nan_to_num(np.abs(pressure)) ** 2
    weight = power * (np.gradient(u) if u.size > 1 else 1.0)
    whole = float(np.sum(weight))
    return float(np.exp(np.sum(weight * u) / whole)) if whole > 0 else math.nan
