"""Each driver's sound behind the network, the ways that drivers of one band make, and what they all add up to.

Where a driver has no data, it must neither wipe out the sum nor count as zero unsaid. The rule: its part is bounded by
its level at the nearest measured frequency plus the change of its drive since (`missing_bound`). If all that is missing
stays 30 dB or more below the sum of the others, it counts as absent (the sum is then off by at most 0.28 dB) and the
band is stated in `gaps` and `notes`. Else the sum is NaN there. The rule holds for each curve by itself: where a null
is deep, less is needed to matter.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from xover.acoustic.level import level_db, phase_deg, ratio
from xover.curve import Complex, Float
from xover.errors import InputError
from xover.quantity import hertz
from xover.readable import Readable
from xover.remark import About, Remark
from xover.rules.margins import TIGHT_DB


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
    way : branches that bear the same play one band behind one filter, and are turned over together; it says nothing
        of their timing. Empty: the group.
    bounded : (n,) complex centre and (n,) radius that hold the pressure where it is not known, or None.
    """

    key: str
    pressure: Complex
    timing_known: bool = True
    position_mm: tuple[float, float, float] | None = None
    diameter_mm: float | None = None
    drive_db: Float | None = None
    group: str = ""
    way: str = ""
    bounded: tuple[Complex, Float] | None = None

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
        if not self.way:
            object.__setattr__(self, "way", self.group)

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
    way: str = "",
    within: tuple[Complex, Float] | None = None,
) -> Branch:
    """Make a branch from the voltage at a driver and the driver's response: pressure = drive x response.

    Parameters
    ----------
    key : the driver's key in results.
    drive : (n,) complex, voltage at the driver over the amplifier's, its polarity included.
    response : (n,) complex, re 20 uPa for 2.83 V at the driver, on the same frequencies; NaN where
        it was not measured. There the branch is NaN too.
    timing_known, position_mm, diameter_mm, group, way : as in `Branch`.
    within : (n,) centre and (n,) radius of the drive where it is not known, or None; infinite: no bound.
    """
    volts = np.asarray(drive, dtype=complex)
    answer = np.asarray(response, dtype=complex)
    if volts.ndim != 1 or volts.shape != answer.shape:
        raise ValueError(f"drive of {key} is {volts.shape}, its response {answer.shape}")
    most, bounded = np.abs(volts), None
    if within is not None:
        centre, radius = within
        most = np.where(np.isfinite(volts) | ~np.isfinite(radius), most, np.abs(centre) + radius)
        bounded = centre * answer, radius * np.abs(answer)
    place = None if position_mm is None else (float(position_mm[0]), float(position_mm[1]), float(position_mm[2]))
    return Branch(
        key=key,
        pressure=volts * answer,
        timing_known=timing_known,
        position_mm=place,
        diameter_mm=diameter_mm,
        drive_db=level_db(most),
        group=group,
        way=way,
        bounded=bounded,
    )


def missing_bound(frequency_hz: Float, branch: Branch) -> Float:
    """Bound what a branch can be where its response was not measured.

    The level at the nearest measured frequency plus the change of drive since. That takes for
    granted that the driver itself is not louder, per volt, beyond its data than at their end: so
    for a roll-off, not for a peak just outside the sweep.

    Parameters
    ----------
    frequency_hz : (n,) rising, that of the branch.

    Returns (n,) pressure magnitude: 0 where the branch is known or its drive is zero; NaN where nothing bounds it (no
    drive given, no data at all, or no drive at the end of the data).
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
    branches : those that bear one way's name are one; ways with centroids within half an octave too.

    Returns the ways that sound. A branch without data or without drive belongs to none.
    """
    groups: dict[str, list[int]] = {}
    for row, branch in enumerate(branches):
        groups.setdefault(branch.way, []).append(row)
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


ABSENT_DB: Final = 30.0
"""What is missing counts as absent if it stays this far below the rest."""


@dataclass(frozen=True)
class DataGap:
    """A band in which a driver has no data.

    Attributes
    ----------
    key : the driver's key.
    from_hz, to_hz : first and last frequency of the band.
    counted_absent : True: it cannot matter there, and the sum is given without it. False: no sum.
    """

    key: str
    from_hz: float
    to_hz: float
    counted_absent: bool

    @property
    def note(self) -> str:
        """The gap in one sentence."""
        band = f"{self.key} is not known from {hertz(self.from_hz)} to {hertz(self.to_hz)}"
        if self.counted_absent:
            words = f"{band}: left out there, as its drive keeps it {ABSENT_DB:g} dB or more below the rest"
            return Remark(words, About.FAINT)
        return f"{band} and may matter there: no sum"


@dataclass(frozen=True, eq=False, repr=False)
class AcousticSum(Readable):
    """The sound of all drivers together, on the design axis at 1 m for 2.83 V.

    Attributes
    ----------
    frequency_hz : (n,).
    pressure : (n,) complex sum, re 20 uPa; NaN where a driver that may matter has no data.
    reversed_pressure : (n,) the same with every other way reversed; equal to it with one way.
    reversed_keys : the drivers that are reversed there.
    best_level_db, worst_level_db : (n,) what any timing between the groups could give at most and at
        least; -inf where they could cancel. They hold what is missing at its bound.
    coherent : False where the drivers' timing is unknown: then `pressure` is one case among many, and
        only the envelope is sure.
    gaps : bands without data.
    notes : what a reader must know, in sentences.
    doubt : (n,) how far the sum may be off by drives that are bounded only, relative; 0 where none is.
    """

    frequency_hz: Float
    pressure: Complex
    reversed_pressure: Complex
    reversed_keys: tuple[str, ...]
    best_level_db: Float
    worst_level_db: Float
    coherent: bool
    gaps: tuple[DataGap, ...]
    notes: tuple[str, ...]
    doubt: Float | float = 0.0

    @property
    def level_db(self) -> Float:
        """(n,) level of the sum, dB re 20 uPa."""
        return level_db(self.pressure)

    @property
    def reversed_level_db(self) -> Float:
        """(n,) level of the reversed sum, dB re 20 uPa."""
        return level_db(self.reversed_pressure)

    def plain(self) -> dict[str, Any]:
        """Level and phase in place of complex numbers."""
        return {
            "sum": {"level_db": self.level_db, "phase_deg": phase_deg(self.pressure)},
            "reversed_sum": {"level_db": self.reversed_level_db, "phase_deg": phase_deg(self.reversed_pressure)},
            "reversed_keys": self.reversed_keys,
            "best_level_db": self.best_level_db,
            "worst_level_db": self.worst_level_db,
            "coherent": self.coherent,
            "gaps": self.gaps,
            "notes": self.notes,
        }


def known_sum(pressure: Complex, bound: Float) -> Complex:
    """Add what is known; NaN where what is missing may matter.

    Parameters
    ----------
    pressure : (b, ...) complex, NaN where missing.
    bound : (b, ...) magnitude that a missing value cannot exceed, NaN where nothing bounds it; not
        looked at where the pressure is known.

    Returns (...) complex. NaN where nothing is known, or where the missing ones together are not 30 dB below the
    magnitude of the sum.
    """
    known = np.isfinite(pressure)
    total = np.where(known, pressure, 0.0).sum(axis=0)
    missing = np.where(known, 0.0, bound).sum(axis=0)
    given = known.any(axis=0) & (missing <= np.abs(total) * ratio(-ABSENT_DB))
    return np.where(given, total, complex(np.nan, np.nan))


def sum_branches(frequency_hz: Float, branches: Sequence[Branch], coherent: bool) -> AcousticSum:
    """Add the branches of all drivers.

    Parameters
    ----------
    frequency_hz : (n,) rising.
    branches : each (n,).
    coherent : the responses share one time reference. It counts only if every branch says so itself;
        branches of one group are always coherent among themselves.

    Raises InputError: there is no branch.

    Notes
    -----
    Reversed are the second, fourth, .. way in order of the centroid of |p|^2 over log frequency
    (two-way: the upper one; three-way: the middle one), so that every crossover shows its null.
    """
    if not branches:
        raise InputError("no driver has a response", "give response = or a datasheet sensitivity_db in speaker.toml")
    f = np.asarray(frequency_hz, dtype=float)
    for branch in branches:
        if branch.pressure.shape != f.shape:
            raise ValueError(f"{branch.key} has {branch.pressure.shape}, frequencies {f.shape}")
    pressure, doubt = (np.stack(of) for of in zip(*map(_held, branches), strict=True))
    bound = np.stack([missing_bound(f, b) for b in branches])
    total = _told(known_sum(pressure, bound), doubt)
    reversed_rows = sorted(r for way in order_ways(f, branches)[1::2] for r in way.rows)
    flip = np.ones((len(branches), 1))
    flip[reversed_rows] = -1.0
    best, worst = _envelope(pressure, bound, doubt, [b.group for b in branches])
    sure = len({b.group for b in branches}) == 1 or (coherent and all(b.timing_known for b in branches))
    gaps = _gaps(f, branches, np.isfinite(total))
    notes = [gap.note for gap in gaps]
    if not sure:
        notes.insert(
            0,
            "the drivers' timing against each other is unknown: the sum is one case among many, "
            "the truth lies between the worst and the best level",
        )
    return AcousticSum(
        frequency_hz=f,
        pressure=total,
        reversed_pressure=_told(known_sum(flip * pressure, bound), doubt),
        reversed_keys=tuple(branches[r].key for r in reversed_rows),
        best_level_db=level_db(best),
        worst_level_db=level_db(worst),
        coherent=sure,
        gaps=gaps,
        notes=tuple(notes),
        doubt=_share(doubt, total),
    )


def _held(branch: Branch) -> tuple[Complex, Float]:
    """(n,) pressure, where it is not known but bounded the middle of what it can be; and (n,) how far off that is."""
    if branch.bounded is None:
        return branch.pressure, np.zeros(branch.pressure.shape)
    centre, radius = branch.bounded
    held = ~np.isfinite(branch.pressure) & np.isfinite(centre) & np.isfinite(radius)
    return np.where(held, centre, branch.pressure), np.where(held, radius, 0.0)


def _share(doubt: Float, total: Complex) -> Float:
    """(n,) of a sum by which (b, n) doubts may move it; 0 where there is none."""
    off = doubt.sum(axis=0)
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(off > 0, off / np.abs(total), 0.0)


def _told(total: Complex, doubt: Float) -> Complex:
    """(n,) sum, NaN where (b, n) doubts may move it by more than is told."""
    return np.where(_share(doubt, total) <= 1.0 - ratio(-TIGHT_DB), total, complex(np.nan, np.nan))


def _envelope(pressure: Complex, bound: Float, doubt: Float, groups: Sequence[str]) -> tuple[Float, Float]:
    """Highest and lowest magnitude that any phases between the groups allow.

    Highest: all add. Lowest: all others against the largest. What is missing counts at its bound,
    on the far side each time; where it is not 30 dB below the highest, both are NaN.
    """
    known = np.isfinite(pressure)
    filled = np.where(known, pressure, 0.0)
    names = sorted(set(groups))
    size = np.abs([filled[[g == name for g in groups]].sum(axis=0) for name in names])
    whole, largest = size.sum(axis=0), size.max(axis=0)
    missing = np.where(known, doubt, bound).sum(axis=0)
    given = known.any(axis=0) & (missing <= whole * ratio(-ABSENT_DB))
    best = np.where(given, whole + missing, np.nan)
    # largest - (whole - largest), in an order that is exactly 0 for two equal groups
    worst = np.where(given, np.maximum(largest - (whole - largest) - missing, 0.0), np.nan)
    return best, worst


def _gaps(frequency_hz: Float, branches: Sequence[Branch], given: NDArray[np.bool_]) -> tuple[DataGap, ...]:
    """Bands in which a branch has no data, split where the sum begins or ends to be given."""
    gaps = []
    for branch in branches:
        # 0 known or bounded, 1 missing and the sum is given, 2 missing and it is not
        known = np.isfinite(np.where(given, _held(branch)[0], branch.pressure))
        state = np.where(known, 0, np.where(given, 1, 2))
        edges = [0, *(np.flatnonzero(np.diff(state)) + 1), state.size]
        for start, stop in pairwise(edges):
            if state[start]:
                low, high = float(frequency_hz[start]), float(frequency_hz[stop - 1])
                gaps.append(DataGap(branch.key, low, high, bool(state[start] == 1)))
    return tuple(gaps)
