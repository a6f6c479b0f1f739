"""The gain, delay and polarity of every channel with which a sum is flattest, for many crossovers at once."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Final, Protocol

import numpy as np
from numpy.typing import NDArray

from xover.curve import Complex, Float

REACH_CYCLES: Final = 7.0 / 24.0
"""Delays are tried this far, in cycles of the corner frequency, to both sides of where the phases of two neighbours
turn alike. A quarter with either polarity meets every phase at the corner; half a cycle more may meet it too, but
there the two run apart on both sides."""
BEYOND_DB: Final = 50.0
"""What a cycle beyond that reach counts for."""
STEPS_PER_CYCLE: Final = 24
APART_DB: Final = 0.5
"""What 90 degrees between neighbours count for where they overlap, as against dB of rms deviation: a sum that is
flat on the axis by drivers that pull apart is not flat anywhere else."""
PHASE_OCTAVES: Final = 0.7
"""Round a corner, where the slope of the phase between two drivers is read."""
FIRST_STEP: Final = 1.0
LAST_STEP: Final = 1.0 / 128.0
COARSE_STEP: Final = 1.0 / 8.0
"""Where a search over many crossovers ends: 0.06 dB, a four-hundredth of a cycle."""
GAIN_STEP_DB: Final = 0.5
DELAY_STEP_CYCLES: Final = 1.0 / 48.0
MOST_ROUNDS: Final = 100


class Ways(Protocol):
    """The ways to be added up, lowest first: pressure (k, n) at frequencies (n,), and the band that counts."""

    @property
    def frequency_hz(self) -> Float: ...
    @property
    def pressure(self) -> Complex: ...
    @property
    def band_hz(self) -> tuple[float, float]: ...


@dataclass(frozen=True, eq=False)
class Alignments:
    """The best settings for each of c crossovers of k channels, lowest channel first.

    Attributes
    ----------
    gain_db : (c, k), the highest of each crossover 0. delay_s : (c, k), the lowest 0.
    polarity : (c, k) +1 or -1, that of the lowest channel +1.
    rms_db : (c,) deviation of the sum from its mean level, over log frequency, on the rows that were searched.
    """

    gain_db: Float
    delay_s: Float
    polarity: NDArray[np.int_]
    rms_db: Float


def align(
    heard: Ways,
    filtered: Complex,
    corners_hz: Float,
    quadrature: NDArray[np.bool_],
    stride: int,
    last_step: float = LAST_STEP,
) -> Alignments:
    """Find gain, delay and polarity of all channels of many crossovers.

    Best is the least of the rms deviation plus 0.5 dB x (1 - cos of the phase between neighbours, where they
    overlap); slopes of odd order hold them 90 degrees apart by design, for them the deviation alone counts. Gains
    start from the mean level of every channel in its own band; delay and polarity of each channel against those
    below are searched on a grid of delays; then all gains and delays are moved in ever smaller steps until that
    helps no more. Rows that are not known count as silence: what the sum is worth
    there is for the caller to say.

    Parameters
    ----------
    filtered : (c, k, n) pressure of each channel behind its slopes.
    corners_hz : (c, k - 1) rising.
    quadrature : (c,) whether the slopes hold neighbours 90 degrees apart.
    stride : every so many rows of the grid are looked at.
    last_step : where the steps end, in units of 0.5 dB and 1/48 cycle.
    """
    f = heard.frequency_hz
    rows = np.flatnonzero((f >= heard.band_hz[0]) & (f <= heard.band_hz[1]))[::stride]
    fb = f[rows]
    p = np.nan_to_num(filtered[:, :, rows])
    start = _levels_db(heard, corners_hz)
    gain = start.max(axis=1, keepdims=True) - start
    gain = gain - gain.max(axis=1, keepdims=True)
    cells, count = p.shape[:2]
    delay = np.zeros((cells, count))
    polarity = np.ones((cells, count), dtype=int)
    slopes = _turning_s(heard, corners_hz)
    apart_db = np.where(quadrature, 0.0, APART_DB)
    total = p[:, 0] * _ratio(gain[:, :1])
    for k in range(1, count):
        counted = np.ones((cells, fb.size))
        if k < count - 1:  # what the next channel is to fill does not count yet
            counted = (fb <= corners_hz[:, k, None] / np.sqrt(2.0)).astype(float)
        own = p[:, k] * _ratio(gain[:, k : k + 1])
        centre = delay[:, k - 1] + slopes[:, k - 1]
        delay[:, k], polarity[:, k], total = _place(total, own, fb, centre, corners_hz[:, k - 1], counted, apart_db)
    gain, delay, rms = _refine(p * polarity[:, :, None], fb, gain, delay, slopes, corners_hz, apart_db, last_step)
    return Alignments(
        gain_db=gain - gain.max(axis=1, keepdims=True),
        delay_s=delay - delay.min(axis=1, keepdims=True),
        polarity=polarity * polarity[:, :1],
        rms_db=rms,
    )


def rms_deviation_db(total: Complex, weight: Float | None = None) -> Float:
    """(...) rms deviation of the level (..., n) from its mean, dB; infinite where the sum is 0 somewhere."""
    with np.errstate(divide="ignore", invalid="ignore"):
        level = 20.0 * np.log10(np.abs(total))
        w = np.ones(level.shape[-1]) if weight is None else weight
        level = np.where(w > 0, level, 0.0)
        whole = np.sum(w, axis=-1)
        mean = np.sum(w * level, axis=-1) / whole
        square = np.sum(w * (level - mean[..., None]) ** 2, axis=-1) / whole
    return np.asarray(np.where(np.isfinite(square), np.sqrt(square), np.inf), dtype=float)


def _ratio(gain_db: Float) -> Float:
    return np.asarray(10.0 ** (gain_db / 20.0), dtype=float)


def _levels_db(heard: Ways, corners_hz: Float) -> Float:
    """(c, k) mean level of each channel in its own part of the band, half an octave clear of the corners.

    Where it is not known there, its highest level in the band; 0 where nothing is known.
    """
    f = heard.frequency_hz
    with np.errstate(divide="ignore"):
        level = 20.0 * np.log10(np.abs(heard.pressure))
    cells = corners_hz.shape[0]
    low = np.concatenate([np.full((cells, 1), heard.band_hz[0]), corners_hz * np.sqrt(2.0)], axis=1)
    high = np.concatenate([corners_hz / np.sqrt(2.0), np.full((cells, 1), heard.band_hz[1])], axis=1)
    inside = (f >= low[:, :, None]) & (f <= high[:, :, None]) & np.isfinite(level)
    number = inside.sum(axis=2)
    total = np.where(inside, np.where(np.isfinite(level), level, 0.0), 0.0).sum(axis=2)
    in_band = (f >= heard.band_hz[0]) & (f <= heard.band_hz[1]) & np.isfinite(level)
    top = np.max(np.where(in_band, level, -np.inf), axis=1)
    fallback = np.broadcast_to(np.where(np.isfinite(top), top, 0.0), number.shape)
    return np.where(number > 0, total / np.maximum(number, 1), fallback)


def _turning_s(heard: Ways, corners_hz: Float) -> Float:
    """(c, k - 1) delay of the upper driver with which the phase between two neighbours stays constant round a corner.

    0 where too little of the two is known together.
    """
    f = heard.frequency_hz
    out = np.zeros(corners_hz.shape)
    for k in range(corners_hz.shape[1]):
        turn = heard.pressure[k + 1] * np.conj(heard.pressure[k])
        for corner in np.unique(corners_hz[:, k]):
            near = (np.abs(np.log2(f / corner)) <= PHASE_OCTAVES) & np.isfinite(turn)
            if np.count_nonzero(near) >= 3:
                phase = np.unwrap(np.angle(turn[near]))
                out[corners_hz[:, k] == corner, k] = np.polyfit(f[near], phase, 1)[0] / (2.0 * np.pi)
    return out


def _place(
    total: Complex, own: Complex, frequency_hz: Float, centre_s: Float, corner_hz: Float, heard: Float, apart_db: Float
) -> tuple[Float, NDArray[np.int_], Complex]:
    """Delay (c,) and polarity (c,) with which a channel (c, n) joins those below best, and the sum of all (c, n)."""
    reach = round(REACH_CYCLES * STEPS_PER_CYCLE)
    cycles = np.arange(-reach, reach + 1) / STEPS_PER_CYCLE
    delays = centre_s[:, None] + cycles / corner_hz[:, None]
    turned = own[:, None, :] * np.exp(-2j * np.pi * delays[:, :, None] * frequency_hz)
    cost = np.stack(
        [
            rms_deviation_db(total[:, None, :] + sign * turned, heard[:, None, :])
            + apart_db[:, None] * apart(total[:, None, :], sign * turned)
            for sign in (1, -1)
        ],
        axis=1,
    ).reshape(total.shape[0], -1)
    best = np.argmin(cost, axis=1)
    sign = np.where(best < cycles.size, 1, -1)
    cell = np.arange(total.shape[0])
    column = best % cycles.size
    return delays[cell, column], sign, total + sign[:, None] * turned[cell, column]


def apart(one: Complex, other: Complex) -> Float:
    """(...) mean of 1 - cos of the phase between two ways (..., n), weighted by how much they overlap.

    The weight is the product of their shares of the power, squared: 1 where they are alike, a tenth where they lie 7 dB
    apart. 0 where they never overlap.
    """
    cross = (one.real * other.real) + (one.imag * other.imag)
    one_power, other_power = one.real**2 + one.imag**2, other.real**2 + other.imag**2
    product = one_power * other_power
    both = one_power + other_power
    with np.errstate(divide="ignore", invalid="ignore"):
        weight = np.where(both > 0, 16.0 * product * product / (both * both) ** 2, 0.0)
        cosine = np.where(product > 0, np.minimum(cross / np.sqrt(product), 1.0), 1.0)
    whole = weight.sum(axis=-1)
    lost = (weight * (1.0 - cosine)).sum(axis=-1)
    return np.asarray(np.divide(lost, whole, out=np.zeros(whole.shape), where=whole > 0), dtype=float)


def _refine(
    pressure: Complex,
    frequency_hz: Float,
    gain_db: Float,
    delay_s: Float,
    centre_s: Float,
    corners_hz: Float,
    apart_db: Float,
    last_step: float,
) -> tuple[Float, Float, Float]:
    """Move gains and delays of all but the lowest channel while that helps; steps halve where it does not.

    Returns gains, delays and the rms deviation.
    """
    cells, count = pressure.shape[:2]
    unit = np.concatenate([np.full((cells, count - 1), GAIN_STEP_DB), DELAY_STEP_CYCLES / corners_hz], axis=1)
    point = np.concatenate([gain_db[:, 1:] - gain_db[:, :1], delay_s[:, 1:] - delay_s[:, :1]], axis=1)

    def ways(at: Float, rows: NDArray[np.intp], which: _Moves) -> list[Complex]:
        """What each channel gives for each move of its own, (cells, own moves, n)."""
        out = [pressure[rows, 0][:, None, :]]
        for k in range(count - 1):
            delays, gains = at[:, which.delay_first[k], count - 1 + k], at[:, which.own_first[k], k]
            turn = np.exp(-2j * np.pi * delays[..., None] * frequency_hz)
            out.append(pressure[rows, k + 1][:, None] * (turn[:, which.delay[k]] * _ratio(gains)[..., None]))
        return out

    def cost(at: Float, rows: NDArray[np.intp], which: _Moves) -> Float:
        own = ways(at, rows, which)
        parts = [own[0], *(own[k + 1][:, which.own[k]] for k in range(count - 1))]
        total = parts[0]
        for part in parts[1:]:
            total = total + part
        # The lowest channel does not move, so how far the next is apart from it is a matter of that one's moves.
        lost = apart(own[0], own[1])[:, which.own[0]] + sum(apart(a, b) for a, b in pairwise(parts[1:]))
        step_s = np.diff(at[..., count - 1 :], axis=-1, prepend=0.0)
        off = np.abs(step_s - centre_s[rows, None]) * corners_hz[rows, None] - REACH_CYCLES
        beyond = BEYOND_DB * np.maximum(off, 0.0).sum(axis=-1)
        return np.asarray(rms_deviation_db(total) + apart_db[rows, None] * lost + beyond, dtype=float)

    moves, still = _Moves.of(_moves(count - 1)), _Moves.of(np.zeros((1, 2 * (count - 1))))
    every = np.arange(cells)
    best = cost(point[:, None, :], every, still)[:, 0]
    step = np.full(cells, FIRST_STEP)
    for _ in range(MOST_ROUNDS):
        rows = np.flatnonzero(step >= last_step)
        if rows.size == 0:
            break
        tried = point[rows, None, :] + step[rows, None, None] * unit[rows, None, :] * moves.table
        costs = cost(tried, rows, moves)
        choice = np.argmin(costs, axis=1)
        least = costs[np.arange(rows.size), choice]
        better = least < best[rows]
        point[rows[better]] = tried[better, choice[better]]
        best[rows[better]] = least[better]
        step[rows[~better]] /= 2.0
    zero = np.zeros((cells, 1))
    return (
        np.concatenate([zero, point[:, : count - 1]], axis=1),
        np.concatenate([zero, point[:, count - 1 :]], axis=1),
        rms_deviation_db(np.sum(ways(point[:, None, :], every, still), axis=0))[:, 0],
    )


@dataclass(frozen=True, eq=False)
class _Moves:
    """Moves (m, 2 p) of p gains, then p delays, and which of them are alike for one channel.

    Attributes
    ----------
    own, own_first : for each channel the number (m,) of its own move, and a move (a,) with each number.
    delay, delay_first : for each channel the number (a,) of its delay's step, and a move (b,) with each number.
    """

    table: Float
    own: tuple[NDArray[np.intp], ...]
    own_first: tuple[NDArray[np.intp], ...]
    delay: tuple[NDArray[np.intp], ...]
    delay_first: tuple[NDArray[np.intp], ...]

    @classmethod
    def of(cls, table: Float) -> _Moves:
        pairs = table.shape[1] // 2
        found = []
        for k in range(pairs):
            _, first, own = np.unique(table[:, [k, pairs + k]], axis=0, return_index=True, return_inverse=True)
            _, row, delay = np.unique(table[first, pairs + k], return_index=True, return_inverse=True)
            found.append((own.ravel(), first, delay.ravel(), first[row]))
        columns = [tuple(column) for column in zip(*found, strict=True)]
        return cls(table, columns[0], columns[1], columns[2], columns[3])


def _moves(pairs: int) -> Float:
    """Steps of gains and delays: each alone, and gain with delay of the same channel, to both sides."""
    moves = []
    for k in range(pairs):
        for gain, delay in ((1, 0), (0, 1), (1, 1), (1, -1)):
            move = np.zeros(2 * pairs)
            move[k], move[pairs + k] = gain, delay
            moves += [move, -move]
    return np.array(moves)
