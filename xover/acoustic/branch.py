"""The sound of one driver behind the network, and the ways that drivers of one band make."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from xover.acoustic.decibel import level_db
from xover.readable import Readable

Float = NDArray[np.float64]
Complex = NDArray[np.complex128]


@dataclass(frozen=True, eq=False, repr=False)
class Branch(Readable):
    """The sound of one driver card, for 2.83 V at the amplifier's terminals.

    Attributes
    ----------
    key : the driver's key in results.
    pressure : (n,) complex, re 20 uPa at 1 m on the design axis; NaN where the response does not reach.
    timing_known : the response shares a time reference with the others that say the same.
    position_mm : right, up, forward of the axis' foot, or None.
    diameter_mm : effective piston diameter, or None.
    drive_db : (n,) level at the driver over the amplifier's, dB, or None. It bounds the driver's
        part where its response was not measured (see `missing_bound`).
    group : branches of one group share a time reference among themselves: drivers of the same name
        at the same position. Empty: the key itself.
    """

    key: str
    pressure: Complex
    timing_known: bool = True
    position_mm: tuple[float, float, float] | None = None
    diameter_mm: float | None = None
    drive_db: Float | None = None
    group: str = ""

    def __post_init__(self) -> None:
        pressure = np.array(self.pressure, dtype=complex)
        if pressure.ndim != 1:
            raise ValueError(f"pressure of {self.key} must be (n,), not {pressure.shape}")
        pressure[~np.isfinite(pressure)] = complex(np.nan, np.nan)
        pressure.flags.writeable = False
        object.__setattr__(self, "pressure", pressure)
        if self.drive_db is not None:
            drive = np.array(self.drive_db, dtype=float)
            if drive.shape != pressure.shape:
                raise ValueError(f"drive_db of {self.key} is {drive.shape}, its pressure {pressure.shape}")
            drive.flags.writeable = False
            object.__setattr__(self, "drive_db", drive)
        if not self.group:
            object.__setattr__(self, "group", self.key)

    @property
    def level_db(self) -> Float:
        """(n,) 20 lg|pressure|, dB re 20 uPa; NaN where the response does not reach."""
        return level_db(self.pressure)


def make_branch(
    key: str,
    drive: ArrayLike,
    response: ArrayLike,
    *,
    timing_known: bool,
    position_mm: Sequence[float] | None = None,
    diameter_mm: float | None = None,
    group: str = "",
) -> Branch:
    """Make a branch from the voltage at a driver and the driver's response: pressure = drive x response.

    Parameters
    ----------
    key : the driver's key in results.
    drive : (n,) complex, voltage at the driver over the amplifier's, its polarity included.
    response : (n,) complex, re 20 uPa for 2.83 V at the driver, on the same frequencies; NaN where
        it was not measured. There the branch is NaN too.
    timing_known, position_mm, diameter_mm, group : as in `Branch`.
    """
    volts = np.asarray(drive, dtype=complex)
    answer = np.asarray(response, dtype=complex)
    if volts.ndim != 1 or volts.shape != answer.shape:
        raise ValueError(f"drive of {key} is {volts.shape}, its response {answer.shape}")
    place = None if position_mm is None else (float(position_mm[0]), float(position_mm[1]), float(position_mm[2]))
    return Branch(
        key=key,
        pressure=volts * answer,
        timing_known=timing_known,
        position_mm=place,
        diameter_mm=diameter_mm,
        drive_db=level_db(volts),
        group=group,
    )


def missing_bound(frequency_hz: Float, branch: Branch) -> Float:
    """Bound what a branch can be where its response was not measured.

    The level at the nearest measured frequency plus the change of drive since. That takes for
    granted that the driver itself is not louder, per volt, beyond its data than at their end: so
    for a roll-off, not for a peak just outside the sweep.

    Parameters
    ----------
    frequency_hz : (n,) rising, that of the branch.

    Returns
    -------
    (n,) pressure magnitude: 0 where the branch is known or its drive is zero; NaN where nothing
    bounds it (no drive given, no data at all, or no drive at the end of the data).
    """
    known = np.isfinite(branch.pressure)
    bound = np.zeros(known.shape)
    missing = np.flatnonzero(~known)
    if missing.size == 0:
        return bound
    bound[missing] = np.nan
    if branch.drive_db is None:
        return bound
    there = np.flatnonzero(known)
    if there.size:
        near = there[_nearest(np.log(frequency_hz[there]), np.log(frequency_hz[missing]))]
        with np.errstate(invalid="ignore"):
            level = branch.level_db[near] + (branch.drive_db[missing] - branch.drive_db[near])
        bound[missing] = 10.0 ** (level / 20.0)
    bound[missing[np.isneginf(branch.drive_db[missing])]] = 0.0
    return bound


def _nearest(rising: Float, wanted: Float) -> NDArray[np.intp]:
    """Index of the nearest of some rising numbers, for each of those wanted."""
    after = np.clip(np.searchsorted(rising, wanted), 0, rising.size - 1)
    before = np.maximum(after - 1, 0)
    return np.where(np.abs(rising[before] - wanted) <= np.abs(rising[after] - wanted), before, after)


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
