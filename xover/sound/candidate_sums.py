"""The sum of many candidates at once: drives of the same network with other values, added up as a prediction does."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from xover.acoustic.branch import Branch, missing_bound
from xover.acoustic.decibel import level_db, ratio
from xover.acoustic.summing import ABSENT_DB, known_sum
from xover.curve import Complex, Float
from xover.sound.changes import HEARD_DB, Worst, responses
from xover.sound.prediction import Sound
from xover.speaker import Speaker

Rows = NDArray[np.bool_]
_CHUNK = 128


@dataclass(frozen=True, eq=False)
class Listener:
    """What turns drives into the level of the sum.

    Attributes
    ----------
    branches : sound of each driver for one volt at the driver itself. bound : (b, n) what it may be at most
        where it is not known.
    coherent : True: the sum itself; False: the highest that any timing between the drivers allows.
    """

    branches: tuple[Branch, ...]
    bound: Float
    coherent: bool

    def levels_db(self, drive: Mapping[str, Complex]) -> Float:
        """(k, n) level of the sum for (k or 1, n) drives by driver's key; NaN where it is not known."""
        count = max(value.shape[0] for value in drive.values())
        parts = [self._level_db(drive, slice(start, start + _CHUNK)) for start in range(0, count, _CHUNK)]
        return np.concatenate(parts)

    def _level_db(self, drive: Mapping[str, Complex], rows: slice) -> Float:
        chosen = {key: value if value.shape[0] == 1 else value[rows] for key, value in drive.items()}
        volts = np.stack(np.broadcast_arrays(*(chosen[b.key] for b in self.branches)))
        pressure = volts * np.stack([b.pressure for b in self.branches])[:, None, :]
        bound = np.abs(volts) * self.bound[:, None, :]
        if self.coherent:
            return level_db(known_sum(pressure, bound))
        known = np.isfinite(pressure)
        filled = np.where(known, pressure, 0.0)
        names = dict.fromkeys(b.group for b in self.branches)
        whole = sum(np.abs(filled[[b.group == name for b in self.branches]].sum(axis=0)) for name in names)
        missing = np.where(known, 0.0, bound).sum(axis=0)
        given = known.any(axis=0) & (missing <= whole * ratio(-ABSENT_DB))
        return level_db(np.where(given, whole + missing, np.nan))


def listener(speaker: Speaker, sound: Sound, coherent: bool) -> Listener:
    """Make the listener of a network that was solved."""
    branches = responses(speaker, sound)
    f = sound.solution.frequency_hz
    return Listener(branches, np.stack([missing_bound(f, b) for b in branches]), coherent)


def change_db(now: Complex, then: Complex) -> Float:
    """Change of level between two drives, dB, broadcast; NaN where either is not known or both are zero."""
    with np.errstate(invalid="ignore"):
        return level_db(now) - level_db(then)


def difference_db(now_db: Float, then_db: Float) -> Float:
    """Difference of two levels; NaN where both are a full cancellation."""
    with np.errstate(invalid="ignore"):
        return np.asarray(now_db - then_db, dtype=float)


def near_highest(*drives: Complex) -> Rows:
    """(n,) where any of the drives (n,) lies within 20 dB of its highest."""
    near = np.zeros(drives[0].shape, dtype=bool)
    for drive in drives:
        size = np.where(np.isfinite(drive), np.abs(drive), 0.0)
        near |= (size > 0) & (size >= size.max(initial=0.0) * ratio(-HEARD_DB))
    return near


def band_rows(frequency_hz: Float, band_hz: tuple[float, float]) -> Rows:
    """Rows of a band, its ends included."""
    return (frequency_hz >= band_hz[0] * (1 - 1e-9)) & (frequency_hz <= band_hz[1] * (1 + 1e-9))


def largest(frequency_hz: Float, change: Float, rows: Rows) -> Worst:
    """The largest change with its sign, and where; 0 and NaN Hz where nothing changes, both NaN where not known."""
    size = np.where(rows & ~np.isnan(change), np.abs(change), -1.0)
    row = int(np.argmax(size))
    if size[row] < 0:
        return Worst(math.nan, math.nan)
    return Worst(float(change[row]), float(frequency_hz[row])) if size[row] > 0 else Worst(0.0, math.nan)


def size_of(worst: Worst) -> float:
    """How much, -1 where it is not known: for ranking."""
    return -1.0 if math.isnan(worst.change) else abs(worst.change)
