"""How far a curve reaches: its corners against a band's level, its effective range, and where a cone breaks up."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from xover.curve import Float
from xover.quantity import QuantityKind, format_quantity

EFFECTIVE_DROP_DB: Final = 10.0
TROUGH_OCTAVES: Final = 1.0 / 9.0


@dataclass(frozen=True)
class Corner:
    """Where a curve leaves a level, below and above the band that sets it.

    Attributes
    ----------
    drop_db : below `reference_db`.
    reference_db : level that it counts from.
    low_hz, high_hz : where the level crosses; None if it does not, and the note says why.
    low_note, high_note : empty, or "not reached: ...".
    """

    drop_db: float
    reference_db: float
    low_hz: float | None
    high_hz: float | None
    low_note: str
    high_note: str


@dataclass(frozen=True)
class EffectiveRange:
    """Effective frequency range.

    Attributes
    ----------
    reference_db : energetic mean over the loudest octave that is known throughout; NaN without one.
    octave_from_hz, octave_to_hz : that octave; NaN without one.
    low_hz, high_hz : where the level falls 10 dB below it for good; None if the data end before.
    low_note, high_note : empty, or "not reached: ...".
    neglected : (from, to) in Hz of troughs narrower than 1/9 octave that were passed over.
    """

    reference_db: float
    octave_from_hz: float
    octave_to_hz: float
    low_hz: float | None
    high_hz: float | None
    low_note: str
    high_note: str
    neglected: tuple[tuple[float, float], ...]


def read_corners(
    frequency_hz: Float,
    level_db: Float,
    reference_db: float,
    from_hz: float,
    to_hz: float,
    drops_db: Sequence[float] = (3.0, 10.0),
) -> tuple[Corner, ...]:
    """Corners of a curve, one for each drop.

    From the band's end outward to where the level first falls below reference - drop; if it is
    lower at the band's end already, inward to where it rises above.

    Parameters
    ----------
    frequency_hz, level_db : (n,) each; NaN counts as the end of the data.
    reference_db : such as the mean level of the band.
    from_hz, to_hz : the band.
    drops_db : each > 0.
    """
    u = np.log(np.asarray(frequency_hz, dtype=float))
    level = np.asarray(level_db, dtype=float)
    return tuple(_corner(u, level, reference_db, drop, math.log(from_hz), math.log(to_hz)) for drop in drops_db)


def effective_range(frequency_hz: Float, level_db: Float) -> EffectiveRange:
    """Effective frequency range after IEC 60268-5 clause 21.2 (from memory, the text was not read).

    The range in which the level is not more than 10 dB below its energetic mean over the octave of
    highest level; troughs narrower than 1/9 octave at that level are neglected.

    Parameters
    ----------
    frequency_hz, level_db : (n,) each, rows at most 1/9 octave apart; NaN counts as the end of the data.
    """
    u = np.log(np.asarray(frequency_hz, dtype=float))
    level = np.where(np.isfinite(level_db) | np.isneginf(level_db), level_db, np.nan)
    mean, start = _loudest_octave(u, level)
    if math.isnan(mean):
        note = "not reached: no octave is known throughout"
        return EffectiveRange(math.nan, math.nan, math.nan, None, None, note, note, ())
    inside = np.flatnonzero((u >= start) & (u <= start + math.log(2.0)))
    top = int(inside[np.argmax(level[inside])])
    threshold = mean - EFFECTIVE_DROP_DB
    low, low_gaps = _leave(-u[top::-1], level[top::-1], threshold)
    high, high_gaps = _leave(u[top:], level[top:], threshold)
    troughs = [(math.exp(-b), math.exp(-a)) for a, b in low_gaps] + [(math.exp(a), math.exp(b)) for a, b in high_gaps]
    known = np.isfinite(level)
    return EffectiveRange(
        reference_db=mean,
        octave_from_hz=math.exp(start),
        octave_to_hz=2.0 * math.exp(start),
        low_hz=None if low is None else math.exp(-low),
        high_hz=None if high is None else math.exp(high),
        low_note="" if low is not None else _end_note(u, known, top, -1),
        high_note="" if high is not None else _end_note(u, known, top, 1),
        neglected=tuple(sorted(troughs)),
    )


def _corner(u: Float, level: Float, reference: float, drop: float, bottom: float, top: float) -> Corner:
    inside = np.flatnonzero((u >= bottom) & (u <= top) & np.isfinite(level))
    threshold = reference - drop
    if inside.size == 0 or not math.isfinite(threshold):
        note = "not reached: nothing of the band is known"
        return Corner(drop, reference, None, None, note, note)
    first, last = int(inside[0]), int(inside[-1])
    low, low_note = _side(u, level, first, last, threshold)
    high, high_note = _side(u, level, last, first, threshold)
    return Corner(
        drop_db=drop,
        reference_db=reference,
        low_hz=low,
        high_hz=high,
        low_note=low_note,
        high_note=high_note,
    )


def _side(u: Float, level: Float, end: int, other_end: int, threshold: float) -> tuple[float | None, str]:
    """Find one corner in Hz, from the band's end outward, or inward to its other end; or why there is none."""
    step = 1 if end >= other_end else -1
    if level[end] >= threshold:
        outward = slice(end, None, step)
        place, _ = _leave(step * u[outward], level[outward], threshold, neglect=0.0)
        return (None, _end_note(u, np.isfinite(level), end, step)) if place is None else (math.exp(step * place), "")
    for row in range(end, other_end, -step):
        if level[row - step] >= threshold > level[row]:
            pair = [row - step, row]
            return math.exp(_between(u[pair], level[pair], 0, threshold)), ""
    return None, "not reached: nothing of the band rises above it"


def _leave(
    u: Float, level: Float, threshold: float, neglect: float = TROUGH_OCTAVES
) -> tuple[float | None, list[tuple[float, float]]]:
    """Walk along rising u to where the level falls below a threshold for good.

    Troughs narrower than `neglect` octaves are passed over and listed. None if the data end first.
    """
    passed: list[tuple[float, float]] = []
    row = 0
    while True:
        below = np.flatnonzero(~(level[row:] >= threshold))
        if below.size == 0:
            return None, passed
        fall = row + int(below[0])
        if math.isnan(level[fall]):
            return None, passed
        left = _between(u, level, fall - 1, threshold)
        back = np.flatnonzero(~(level[fall:] < threshold))
        if back.size == 0 or math.isnan(level[fall + int(back[0])]):
            return left, passed
        row = fall + int(back[0])
        right = _between(u, level, row - 1, threshold)
        if not right - left < neglect * math.log(2.0):
            return left, passed
        passed.append((left, right))


def _between(u: Float, level: Float, row: int, threshold: float) -> float:
    """Where the straight line from a row to the next meets the threshold."""
    low, high = float(level[row]), float(level[row + 1])
    if math.isinf(low) or math.isinf(high):
        # A fall to zero has no slope to follow: the last row that is known to be loud enough.
        return float(u[row] if low >= threshold else u[row + 1])
    return float(u[row] + (low - threshold) / (low - high) * (u[row + 1] - u[row]))


def _end_note(u: Float, known: NDArray[np.bool_], start: int, step: int) -> str:
    row = start
    while 0 <= row + step < u.size and known[row + step]:
        row += step
    return f"not reached: the data end at {format_quantity(float(np.exp(u[row])), QuantityKind.FREQUENCY)}"


def _loudest_octave(u: Float, level: Float) -> tuple[float, float]:
    """Highest energetic mean over an octave that begins at a row, and ln of its lowest frequency."""
    power = 10.0 ** (level / 10.0)
    best, at = math.nan, math.nan
    edges = np.flatnonzero(np.diff(np.isfinite(power).astype(int), prepend=0, append=0))
    for start, stop in zip(edges[::2], edges[1::2], strict=True):
        v, p = u[start:stop], power[start:stop]
        if v.size < 2 or v[-1] - v[0] < math.log(2.0) * (1 - 1e-9):
            continue
        area = np.concatenate([[0.0], np.cumsum(np.diff(v) * (p[:-1] + p[1:]) / 2.0)])
        begin = v[v <= v[-1] - math.log(2.0) * (1 - 1e-9)]
        mean = (np.interp(begin + math.log(2.0), v, area) - area[: begin.size]) / math.log(2.0)
        loudest = int(np.argmax(mean))
        if mean[loudest] > 0 and not 10.0 * math.log10(mean[loudest]) <= best:
            best, at = 10.0 * math.log10(float(mean[loudest])), float(begin[loudest])
    return best, at


TREND_OCTAVES: Final = 1.0
"""The trend at a frequency is a straight line over log f through the octave to each side."""
LEAST_PEAK_DB: Final = 3.0
"""Less than this above the trend is no peak. Common practice, no published source."""


@dataclass(frozen=True)
class ResponsePeak:
    """One peak.

    Attributes
    ----------
    frequency_hz : of its highest row.
    height_db : above the trend: a little less than above the response without the peak, which lifts the trend itself.
    level_db : of the response there.
    """

    frequency_hz: float
    height_db: float
    level_db: float


def trend_db(frequency_hz: Float, level_db: Float, octaves: float = TREND_OCTAVES) -> Float:
    """(n,) straight line over log f through the rows within `octaves` to each side, taken in the middle.

    A response that falls by so many dB an octave is its own trend. Near the ends of the data the line leans on one
    side; NaN where fewer than four rows are known.
    """
    u = np.log2(np.asarray(frequency_hz, dtype=float))
    known = np.isfinite(level_db)
    out = np.full(u.shape, np.nan)
    for row in np.flatnonzero(known):
        near = known & (np.abs(u - u[row]) <= octaves)
        if np.count_nonzero(near) >= 4:
            x = u[near] - u[row]
            out[row] = np.polyfit(x, level_db[near], 1)[1]
    return out


def response_peaks(
    frequency_hz: Float, level_db: Float, from_hz: float, least_db: float = LEAST_PEAK_DB
) -> tuple[ResponsePeak, ...]:
    """Find the peaks at and above a frequency, lowest first.

    Parameters
    ----------
    frequency_hz, level_db : (n,) each, n rising; rows that are not finite count as unknown.
    from_hz : peaks below this are not looked for.
    least_db : height above the trend that makes a peak. Of several maxima without a fall back to the trend between
        them, the highest counts.
    """
    f = np.asarray(frequency_hz, dtype=float)
    level = np.where(np.isfinite(level_db), level_db, np.nan)
    above = level - trend_db(f, level)
    with np.errstate(invalid="ignore"):
        over = (above > 0) & np.isfinite(above)
    edges = np.flatnonzero(np.diff(over.astype(int), prepend=0, append=0))
    found = []
    for start, stop in zip(edges[::2], edges[1::2], strict=True):
        top = int(start + np.argmax(above[start:stop]))
        # A curve that still rises where the data end or begin shows no peak.
        inside = 0 < top < f.size - 1 and np.isfinite(above[top - 1]) and np.isfinite(above[top + 1])
        if inside and above[top] >= least_db and f[top] >= from_hz:
            found.append(ResponsePeak(float(f[top]), float(above[top]), float(level[top])))
    return tuple(found)
