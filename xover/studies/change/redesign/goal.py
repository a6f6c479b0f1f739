"""What a network is judged by on a grid: target, residuals, their sum of squares, and their exact derivatives."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import NDArray

from xover.acoustic.level import level_db
from xover.amplifier.load import epdr
from xover.curve import Complex, Float

# A driver's own slope counts less the deeper it lies.
_SLOPE_FLOOR_DB: Final = -30.0
_DB: Final = 20.0 / math.log(10.0)
# One per cent below the limit of the load, at one frequency in a hundred, counts as much as this many dB^2.
_LOAD_SCALE: Final = 100.0
_STEP: Final = 1e-6
_FAINTEST_DB: Final = 150.0

# Residuals (k, m) of one kind and their derivatives (p, m), None where none were asked for.
_Groups = Iterator[tuple[Float, Float | None]]


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
    heard : (c, n) where each drive is known; where it is not, it counts as silent. None: everywhere.
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
    heard: NDArray[np.bool_] | None = None

    @property
    def has_sum(self) -> bool:
        """Whether one sum is right for these drivers."""
        return self.response is not None

    @cached_property
    def slope_weight(self) -> Float:
        """(c, n) 1 at the top of a slope, falling to 0 thirty decibels down; 0 where it does not count."""
        return _slope_weight(self.slope_db)

    def known(self, drive: Complex) -> Complex:
        """Drives (k, c, n), silent where they are not known."""
        return drive if self.heard is None else np.where(self.heard, drive, 0.0)


def _slope_weight(slope_db: Float) -> Float:
    return np.nan_to_num(np.clip(1.0 - slope_db / _SLOPE_FLOOR_DB, 0.0, 1.0), nan=0.0)


@dataclass(frozen=True, eq=False)
class SlopeTable:
    """Slopes at many corner frequencies at once, to find those that suit a candidate best.

    Attributes
    ----------
    corners_hz : (t, w). slope_db : (t, c, n), as the goal's.
    """

    corners_hz: Float
    slope_db: Float

    @cached_property
    def _forms(self) -> tuple[Float, Float, Float]:
        """The square of what a level misses a slope by, as weights, weighted slopes, and what is left: (t, c n)."""
        weight = _slope_weight(self.slope_db).reshape(self.slope_db.shape[0], -1)
        weight /= np.maximum(weight.sum(axis=1, keepdims=True), 1e-12)
        slope = np.nan_to_num(self.slope_db).reshape(weight.shape)
        return weight, weight * slope, (weight * slope**2).sum(axis=1)

    def best(self, goal: Goal, drive: Complex) -> tuple[Float, NDArray[np.intp]]:
        """(k,) score of the slopes at the corners that suit best, and the row of those."""
        drive = goal.known(drive)
        weight, weighted, squares = self._forms
        level = _level(drive * goal.magnitude) - goal.shape_db
        if goal.response is not None:
            level = level - mean_level_db(goal, drive)[:, None, None]
        level = np.clip(level, -_FAINTEST_DB, _FAINTEST_DB).reshape(drive.shape[0], -1)
        missed = level**2 @ weight.T - 2.0 * level @ weighted.T + squares
        if goal.response is None:
            missed -= (level @ weight.T - weighted.sum(axis=1)) ** 2
        row = np.argmin(missed, axis=1)
        least = missed[np.arange(row.size), row]
        return np.asarray(goal.weights["slopes"] * np.nan_to_num(least, nan=np.inf)), row


def sum_pressure(goal: Goal, drive: Complex) -> Complex:
    """(k, n) pressure of the sum for drives (k, c, n)."""
    assert goal.response is not None
    return np.asarray(np.einsum("kcn,cn->kn", goal.known(drive), goal.response), dtype=complex)


def mean_level_db(goal: Goal, drive: Complex) -> Float:
    """(k,) mean of the sum's level over the band, less the target's shape; NaN without a sum."""
    if goal.response is None:
        return np.full(drive.shape[0], math.nan)
    level = level_db(sum_pressure(goal, drive))
    return np.asarray(np.mean((level - goal.shape_db)[:, goal.in_band], axis=1), dtype=float)


@dataclass(frozen=True, eq=False)
class Reading:
    """What a person reads off a design. All (k,).

    Attributes
    ----------
    deviation_db : largest distance of the sum from the target in the band, level fitted (half of the whole range).
    rms_db : root mean square of it.
    level_db : mean level in the band.
    lowest_ohm, lowest_epdr_ohm : of the load.
    """

    deviation_db: Float
    rms_db: Float
    level_db: Float
    lowest_ohm: Float
    lowest_epdr_ohm: Float


def read(goal: Goal, drive: Complex, load: Complex) -> Reading:
    """Read designs with drives (k, c, n) and loads (k, n)."""
    drive = goal.known(drive)
    unknown = np.full(drive.shape[0], math.nan)
    deviation, rms = unknown, unknown
    if goal.response is not None:
        off = (level_db(sum_pressure(goal, drive)) - goal.shape_db)[:, goal.in_band]
        deviation = (off.max(axis=1) - off.min(axis=1)) / 2.0
        rms = np.sqrt(np.mean((off - off.mean(axis=1, keepdims=True)) ** 2, axis=1))
    with np.errstate(invalid="ignore"):
        return Reading(
            np.asarray(deviation),
            np.asarray(rms),
            mean_level_db(goal, drive),
            np.fmin.reduce(np.abs(load), axis=1),
            np.fmin.reduce(epdr(load), axis=1),
        )


def residuals(goal: Goal, drive: Complex, load: Complex) -> Float:
    """(k, m) residuals in dB, each weighted by the root of its weight over its number.

    Parameters
    ----------
    drive : (k, c, n). load : (k, n).
    """
    return np.concatenate([part for part, _ in _parts(goal, drive, load, None, None)], axis=1)


def slopes_alone(goal: Goal, drive: Complex) -> Float:
    """(m,) the first of the residuals of one design (1, c, n): those of the slopes, the only ones that corners move."""
    drive = goal.known(drive)
    mean = mean_level_db(goal, drive)[:, None] if goal.has_sum else _own_mean(goal, drive, None)[0]
    return next((part[0] for part, _ in _slopes(goal, drive, None, mean, None)), np.empty(0))


def score(goal: Goal, drive: Complex, load: Complex) -> Float:
    """(k,) sum of the squares of the residuals: smaller is better; infinite where it is not known."""
    total = np.zeros(drive.shape[0])
    for part, _ in _parts(goal, drive, load, None, None):
        total += np.einsum("km,km->k", part, part)
    return np.where(np.isfinite(total), total, np.inf)


def broken_by(goal: Goal, drive: Complex, load: Complex) -> tuple[float, float]:
    """How far one design (1, ...) breaks its limits: share of the load that is lacking, dB too much at the tweeter."""
    lowest = float(np.fmin.reduce(np.abs(load[0])))
    lacks = 0.0 if math.isnan(goal.least_ohm) else max(goal.least_ohm / lowest - 1.0, 0.0)
    over = _level(goal.known(drive)[0]) - goal.most_drive_db
    return lacks, max(float(np.fmax.reduce(over, axis=None)), 0.0) if np.isfinite(over).any() else 0.0


def least_score(goal: Goal, drive: Complex) -> Float:
    """(k,) a part of the score that needs no load: the score is never smaller."""
    if goal.response is None:
        drive = goal.known(drive)
        mean, _ = _own_mean(goal, drive, None)
        total = np.zeros(drive.shape[0])
        for part, _ in _slopes(goal, drive, None, mean, None):
            total += np.einsum("km,km->k", part, part)
        return total
    response, inside = goal.response[:, goal.in_band], goal.known(drive)[:, :, goal.in_band]
    off = _level(np.einsum("kcn,cn->kn", inside, response)) - goal.shape_db[goal.in_band]
    return np.asarray(goal.weights["total"] * np.var(off, axis=1))


def residuals_and_slopes(
    goal: Goal, drive: Complex, load: Complex, drive_slope: Complex, load_slope: Complex
) -> tuple[Float, Float]:
    """Residuals (m,) and their derivatives (m, p), for one design.

    Parameters
    ----------
    drive : (c, n). load : (n,). drive_slope : (p, c, n) and load_slope : (p, n), derivatives to each variable.
    """
    parts = list(_parts(goal, drive[None], load[None], drive_slope, load_slope))
    value = np.concatenate([part[0] for part, _ in parts])
    slope = np.concatenate([s for _, s in parts if s is not None], axis=1)
    return value, slope.T


def _level(value: Complex) -> Float:
    """20 lg|value|, in half the time of the general one."""
    with np.errstate(divide="ignore"):
        return np.asarray(10.0 * np.log10(value.real**2 + value.imag**2), dtype=float)


def _parts(goal: Goal, drive: Complex, load: Complex, ddrive: Complex | None, dload: Complex | None) -> _Groups:
    """Yield each group of residuals (k, m) with its derivatives (p, m), None where none were asked for.

    Written once for both, so that value and derivative cannot come apart; `ddrive` needs k = 1.
    """
    band, weights = goal.in_band, goal.weights
    count = int(band.sum())
    drive, ddrive = goal.known(drive), None if ddrive is None else goal.known(ddrive)
    if goal.response is not None:
        response = goal.response[:, band]
        sound = drive[:, :, band] * response
        total = sound.sum(axis=1)
        level = _level(total)
        off = level - goal.shape_db[band]
        mean = off.mean(axis=1, keepdims=True)
        dlevel: Float | None = None
        dmean: Float | None = None
        dsound: Complex | None = None
        if ddrive is not None:
            dsound = ddrive[:, :, band] * response
            dlevel = _DB * np.real(dsound.sum(axis=1) / total[0])
            dmean = dlevel.mean(axis=1, keepdims=True)
        # First, so that `slopes_alone` tells which rows a corner moves.
        yield from _slopes(goal, drive, ddrive, mean, dmean)
        w = math.sqrt(weights["total"] / count)
        with np.errstate(invalid="ignore"):  # silence less silence is not known, and its score infinite
            strays = w * (off - mean)
        yield strays, None if dlevel is None or dmean is None else w * (dlevel - dmean)
        yield from _together(weights["together"] / count, sound, total, dsound, dlevel)
        yield from _at_angles(goal, drive, ddrive, mean, dmean, count)
        yield from _kept_level(goal, mean, dmean)
    else:
        mean, dmean = _own_mean(goal, drive, ddrive)
        yield from _slopes(goal, drive, ddrive, mean, dmean)
    yield from _load(goal, load, dload)
    yield from _below_resonance(goal, drive, ddrive)


def _together(weight: float, sound: Complex, total: Complex, dsound: Complex | None, dlevel: Float | None) -> _Groups:
    """What the sum lacks of drivers all in phase."""
    if weight <= 0 or sound.shape[1] == 1:
        return
    size = np.abs(sound)
    with np.errstate(divide="ignore", invalid="ignore"):
        whole = size.sum(axis=1)
        lack = _DB * np.log(whole / np.abs(total))
        slope = None
        if dsound is not None and dlevel is not None:
            dsize = np.real(dsound * np.conj(sound[0]) / np.where(size[0] > 0, size[0], 1.0))
            slope = math.sqrt(weight) * (_DB * dsize.sum(axis=1) / whole[0] - dlevel)
    yield math.sqrt(weight) * lack, slope


def _at_angles(
    goal: Goal, drive: Complex, ddrive: Complex | None, mean: Float, dmean: Float | None, count: int
) -> _Groups:
    """The sum at vertical angles, held to the same target and level as on the axis."""
    if goal.off_axis is None or goal.weights["off_axis"] <= 0:
        return
    angles = goal.off_axis.shape[0]
    w = math.sqrt(goal.weights["off_axis"] / (count * angles))
    for factor in goal.off_axis[:, :, goal.in_band]:
        total = np.einsum("kcn,cn->kn", drive[:, :, goal.in_band], factor)
        known = np.isfinite(factor).all(axis=0)
        with np.errstate(invalid="ignore"):
            off = np.where(known, _level(total) - goal.shape_db[goal.in_band] - mean, 0.0)
        # A null at an angle is one null: it must not outweigh all else.
        clipped = np.clip(off, -12.0, 12.0)
        slope = None
        if ddrive is not None and dmean is not None:
            moved = np.einsum("pcn,cn->pn", ddrive[:, :, goal.in_band], factor)
            with np.errstate(invalid="ignore", divide="ignore"):
                change = _DB * np.real(moved / total[0]) - dmean
            slope = w * np.where(known & (np.abs(off[0]) < 12.0), change, 0.0)
        yield w * clipped, slope


def _kept_level(goal: Goal, mean: Float, dmean: Float | None) -> _Groups:
    if math.isnan(goal.least_level_db) or goal.weights["level"] <= 0:
        return
    w = math.sqrt(goal.weights["level"])
    lost = np.maximum(goal.least_level_db - mean, 0.0)
    yield w * lost, None if dmean is None else np.where(lost[0] > 0, -w * dmean, 0.0)


def _own_mean(goal: Goal, drive: Complex, ddrive: Complex | None) -> tuple[Float, Float | None]:
    """Without a sum: the level that fits the slopes best, so that their common height is free."""
    weight = goal.slope_weight
    total = weight.sum()
    if total == 0:
        return np.zeros((drive.shape[0], 1)), None if ddrive is None else np.zeros((ddrive.shape[0], 1))
    level = _level(drive * goal.magnitude) - np.nan_to_num(goal.slope_db) - goal.shape_db
    mean = np.einsum("kcn,cn->k", np.where(weight > 0, level, 0.0), weight)[:, None] / total
    if ddrive is None:
        return mean, None
    with np.errstate(divide="ignore", invalid="ignore"):
        change = np.where(weight > 0, _DB * np.real(ddrive / drive), 0.0)
    return mean, np.einsum("pcn,cn->p", change, weight)[:, None] / total


def _slopes(goal: Goal, drive: Complex, ddrive: Complex | None, mean: Float, dmean: Float | None) -> _Groups:
    weight = goal.slope_weight
    if goal.weights["slopes"] <= 0 or not weight.any():
        return
    # The same rows whatever the corners are, so that residuals can be told apart by them.
    counted = np.isfinite(goal.slope_db)
    scaled = np.sqrt(goal.weights["slopes"] * weight[counted] / weight.sum())
    with np.errstate(divide="ignore", invalid="ignore"):
        off = _level(drive * goal.magnitude) - goal.slope_db - goal.shape_db - mean[:, :, None]
    value = np.clip(off[:, counted], -40.0, 40.0)
    slope = None
    if ddrive is not None and dmean is not None:
        with np.errstate(divide="ignore", invalid="ignore"):
            change = (_DB * np.real(ddrive / drive) - dmean[:, :, None])[:, counted]
        slope = scaled * np.where(np.abs(off[0][counted]) < 40.0, change, 0.0)
    yield scaled * value, slope


def _load(goal: Goal, load: Complex, dload: Complex | None) -> _Groups:
    known = np.isfinite(load).all(axis=0)
    w = _LOAD_SCALE * math.sqrt(goal.weights["load"] / max(load.shape[1], 1))
    if not math.isnan(goal.least_ohm):
        below = np.maximum(np.log(goal.least_ohm / np.abs(load[:, known])), 0.0)
        slope = None
        if dload is not None:
            slope = np.where(below[0] > 0, -w * np.real(dload[:, known] / load[0, known]), 0.0)
        yield w * below, slope
    if not math.isnan(goal.least_epdr_ohm):
        here = epdr(load[:, known])
        below = np.maximum(np.log(goal.least_epdr_ohm / here), 0.0)
        slope = None
        if dload is not None:
            z, dz = load[0, known], dload[:, known]
            step = _STEP * np.abs(z) / np.maximum(np.abs(dz), 1e-30)
            change = (np.log(epdr(z + step * dz)) - np.log(epdr(z - step * dz))) / (2.0 * step)
            slope = np.where(below[0] > 0, -w * change, 0.0)
        yield w * below, slope


def _below_resonance(goal: Goal, drive: Complex, ddrive: Complex | None) -> _Groups:
    counted = np.isfinite(goal.most_drive_db)
    if goal.weights["below_resonance"] <= 0 or not counted.any():
        return
    w = math.sqrt(goal.weights["below_resonance"] / counted.sum())
    over = np.maximum((_level(drive) - goal.most_drive_db)[:, counted], 0.0)
    slope = None
    if ddrive is not None:
        with np.errstate(divide="ignore", invalid="ignore"):
            change = (_DB * np.real(ddrive / drive))[:, counted]
        slope = np.where(over[0] > 0, w * change, 0.0)
    yield w * over, slope
