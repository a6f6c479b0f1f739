"""Levels of third octaves of noise, as they were typed: how sure they are, alone and beside each other.

Nothing here has a phase. Doubts are one standard deviation; twice that is told as +-.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from xover.acoustic.level import NEPER_DB
from xover.curve import Float
from xover.files.band_levels import BandTable, Word
from xover.rules.instruments import SIGMAS
from xover.rules.phone import (
    BAND_SHARE,
    FEWEST_ROUND,
    FIELD_DB,
    FIELD_MODES,
    LEAST_ABOVE_DB,
    MEDIAN_OF_SIGMA,
    POOLED_BANDS,
    PUT_BACK_DB,
    ROOM_LINES,
    SLIP_LEAST_DB,
    SLIP_SIGMAS,
    T_95,
    T_95_OF_MANY,
)


def middle_hz(band_hz: ArrayLike) -> Float:
    """(n,) exact middles of bands (n,) by name: 1000 * 10^(k/10), IEC 61260-1."""
    return np.asarray(1000.0 * 10.0 ** (np.round(10.0 * np.log10(np.asarray(band_hz, dtype=float) / 1000.0)) / 10.0))


def scatter_db(band_hz: ArrayLike, seconds: float, periodic: bool = False) -> Float:
    """(n,) how a level that was averaged for some seconds scatters: 10 lg(e)/sqrt(B T); 0 of whole periods."""
    middle = middle_hz(band_hz)
    return np.asarray(np.zeros_like(middle) if periodic else NEPER_DB / 2.0 / np.sqrt(BAND_SHARE * middle * seconds))


def reading_doubt_db(band_hz: ArrayLike, seconds: float, step_db: float, periodic: bool = False) -> Float:
    """(n,) doubt of one reading: its scatter in a room, and the step it was shown in (evenly spread, step^2/12)."""
    return np.asarray(np.hypot(ROOM_LINES * scatter_db(band_hz, seconds, periodic), step_db / np.sqrt(12.0)))


def place_scatter_db(band_hz: ArrayLike, reverberation_s: float) -> Float:
    """(n,) how levels at places in a room scatter, far from the speaker."""
    return np.asarray(FIELD_DB / np.sqrt(1.0 + FIELD_MODES * BAND_SHARE * middle_hz(band_hz) * reverberation_s))


@dataclass(frozen=True, eq=False)
class Levels:
    """(n,) levels or differences of levels, dB, and the doubt of each; NaN where not known."""

    level_db: Float
    doubt_db: Float

    @property
    def within_db(self) -> Float:
        """(n,) +-, 95 %."""
        return SIGMAS * self.doubt_db


def without_silence(level: Levels, silence: Levels) -> Levels:
    """Take what sounds without the speaker off: -10 lg(1 - 10^(-D/10)) for a level D dB above it.

    NaN where it stands less than 6 dB above; as it is where the silence was not read.
    """
    read = np.isfinite(silence.level_db)
    above = np.where(read, level.level_db - silence.level_db, np.inf)
    share = 10.0 ** (-np.maximum(above, LEAST_ABOVE_DB) / 10.0)
    quiet = np.where(read, silence.doubt_db, 0.0)
    doubt = np.hypot(level.doubt_db, share * quiet) / (1.0 - share)
    good = above >= LEAST_ABOVE_DB
    net = level.level_db + 10.0 * np.log10(1.0 - share)
    return Levels(np.where(good, net, np.nan), np.where(good, doubt, np.nan))


def levels_of(table: BandTable, column: str) -> Levels:
    """A column of a table, its silence taken off where the table has one."""
    doubt = reading_doubt_db(table.band_hz, table.seconds, table.step_db, table.periodic)
    level = Levels(table.columns[column], doubt)
    if Word.SILENCE not in table.columns or column == Word.SILENCE:
        return level
    # Silence is no noise of ours: it does not repeat, not within a level of noise that does either.
    silence = Levels(table.columns[Word.SILENCE], reading_doubt_db(table.band_hz, table.seconds, table.step_db))
    if table.periodic:
        share = np.nan_to_num(10.0 ** (np.minimum(silence.level_db - level.level_db, 0.0) / 10.0))
        level = Levels(level.level_db, np.hypot(doubt, share * silence.doubt_db))
    return without_silence(level, silence)


def difference(first: Levels, second: Levels, repeat_db: ArrayLike = 0.0) -> Levels:
    """First less second: u^2 = u1^2 + u2^2 + repeat^2, that is 2 sigma^2 + 2 step^2/12 + repeat^2 of like readings."""
    doubt = np.sqrt(first.doubt_db**2 + second.doubt_db**2 + np.square(repeat_db))
    return Levels(first.level_db - second.level_db, doubt)


def repeat_db(table: BandTable) -> Float:
    """(n,) doubt that putting the phone back adds to a difference, by the column `again`.

    Of all bands within an octave, what they differ by beyond scatter and step; larger, where few bands tell, by
    Student's t. No less than is usual: `put_back_db`. Nothing where the phone was fixed and not read again. Slips of
    typing are left out.
    """
    moved, slips = _moved(table), again_slips(table)
    repeat = np.zeros(table.band_hz.shape) if table.fixed else put_back_db(table.band_hz)
    for row in range(repeat.size):
        near = _round(table, row) & np.isfinite(moved.level_db) & ~slips
        if near.any():
            wide = T_95[int(near.sum()) - 1] / T_95_OF_MANY
            beyond = np.mean((wide * moved.level_db[near]) ** 2 - moved.doubt_db[near] ** 2)
            repeat[row] = max(repeat[row], np.sqrt(max(0.0, float(beyond))))
    return repeat


def put_back_db(band_hz: Float) -> Float:
    """(n,) what putting a phone back usually adds to a difference."""
    hz, usual = np.array(PUT_BACK_DB).T
    return np.asarray(np.interp(np.log(band_hz), np.log(hz), usual))


def again_slips(table: BandTable) -> NDArray[np.bool_]:
    """(n,) bands in which `again` and its column differ far more than in the bands round them."""
    moved = _moved(table)
    size = np.abs(np.nan_to_num(moved.level_db))
    slips = np.zeros(size.shape, dtype=bool)
    for row in range(size.size):
        near = _round(table, row) & np.isfinite(moved.level_db)
        if size[row] > SLIP_LEAST_DB and near.sum() > FEWEST_ROUND:
            usual = np.hypot(np.median(size[near]) / MEDIAN_OF_SIGMA, moved.doubt_db[row])
            slips[row] = size[row] > SLIP_SIGMAS * usual
    return slips


def _moved(table: BandTable) -> Levels:
    """`again` less its column; NaN without one."""
    if table.again_of is None:
        return Levels(np.full(table.band_hz.shape, np.nan), np.full(table.band_hz.shape, np.nan))
    return difference(levels_of(table, Word.AGAIN), levels_of(table, table.again_of))


def _round(table: BandTable, row: int) -> NDArray[np.bool_]:
    """(n,) the bands within an octave of one."""
    place = np.round(10.0 * np.log10(table.band_hz / 1000.0))
    return np.asarray(np.abs(place - place[row]) <= POOLED_BANDS // 2)


def sums_differ(normal: Levels, reversed_: Levels, low: Levels, high: Levels, repeat_db: ArrayLike = 0.0) -> Levels:
    """By how much (E_N + E_R)/2 lies over E_L + E_H, dB: nothing, in any room and with any microphone.

    `repeat_db` : doubt of a difference of two by putting the phone back; each level has half its square.
    """
    pairs = [(normal, reversed_), (low, high)]
    energy = [[10.0 ** (one.level_db / 10.0) for one in pair] for pair in pairs]
    level = 10.0 * np.log10((energy[0][0] + energy[0][1]) / 2.0 / (energy[1][0] + energy[1][1]))
    square = np.zeros_like(level)
    for pair, parts in zip(pairs, energy, strict=True):
        for one, part in zip(pair, parts, strict=True):
            square += (part / (parts[0] + parts[1])) ** 2 * (one.doubt_db**2 + np.square(repeat_db) / 2.0)
    return Levels(level, np.sqrt(square))


def mean_cosine(normal: Float, reversed_: Float, low: Float, high: Float) -> Float:
    """(n,) mean cosine of the phase between two drivers, by four levels: (E_N - E_R)/(4 sqrt(E_L E_H))."""
    n, r, a, b = (10.0 ** (level / 10.0) for level in (normal, reversed_, low, high))
    return np.asarray((n - r) / (4.0 * np.sqrt(a * b)))


def plain_slopes_db() -> dict[str, float]:
    """Normal less reversed in the third octave at the corner, dB: two even drivers behind plain slopes, no room."""
    half = math.log(10.0) / 20.0
    s = 1j * np.exp(np.linspace(-half, half, 2001))
    butterworth = {1: 1.0 + s, 2: 1.0 + math.sqrt(2.0) * s + s**2, 3: (1.0 + s) * (1.0 + s + s**2)}
    slopes = {
        "LR4": (4, butterworth[2] ** 2),
        "LR2": (2, butterworth[1] ** 2),
        "Butterworth 1": (1, butterworth[1]),
        "Butterworth 3": (3, butterworth[3]),
    }
    energy = {
        name: [float(np.trapezoid(np.abs((1.0 + sign * s**order) / below) ** 2)) for sign in (1.0, -1.0)]
        for name, (order, below) in slopes.items()
    }
    return {name: 10.0 * math.log10(normal / turned) for name, (normal, turned) in energy.items()}
