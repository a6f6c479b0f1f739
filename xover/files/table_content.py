"""Is it an impedance or a response? A table is known by its content, whatever its name ends in.

A passive impedance keeps its phase within 90 degrees, and its phase follows the slope of its magnitude (Bode; see
`table_checks`). It lies low over most of the band and rises in peaks and at the top end; a response lies high over most
of it and falls off at the ends. A table is refused only where all of this speaks against it; where some does, it is
warned of. The bounds are set between 42 invented drivers and 300 invented responses, which
tests/files/test_table_content.py counts; no published source.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from xover.curve import Float
from xover.files.table_checks import PASSIVE_PHASE_DEG, PHASE_NOISE_DEG, Sweep, compare_with_slope, within_half_turn

_POINTS = 200
_LOWEST_HZ = 20.0
"""Below lies only the noise of a response."""
# Of the band, in octaves: so much beyond 90 degrees is no noise of an impedance, and so little none of a response.
_MUCH_BEYOND, _LITTLE_BEYOND = 0.10, 0.02
# Where the median lies between the lowest and the highest value: of an impedance low, of a response high.
_LOW_MEDIAN, _HIGH_MEDIAN = 0.30, 0.35
# What a tenth of the band lies below: of a driver or a speaker in ohm less than the first; of sound in dB by habit more
# than the second.
_HIGHEST_FLOOR_OHM, _USUAL_FLOOR_DB, _LOUDEST_DB = 20.0, 45.0, 130.0
_LEAST_RANGE_DB, _PLATEAU_DB = 6.0, 12.0
_LEAST_CORRELATION = 0.7
# By how much nearer to 1 the ratio of phase to slope must be in ohm than in dB, as a factor.
_NEARER_IN_OHM = 1.35
_LEAST_PEAK = 2.0
# No response of a driver stays within so few dB above 0.
_LARGEST_LINEAR = 3.0


@dataclass(frozen=True)
class _Shape:
    """How the values lie, each octave counting alike.

    floor : what a tenth of the band lies below. median : 0 at the lowest value, 1 at the highest. beyond : share of
    the band where the phase is beyond 90 degrees; None without phase.
    """

    low: float
    high: float
    floor: float
    median: float
    beyond: float | None


def check_content(sweep: Sweep, declared: bool) -> tuple[str, ...]:
    """Warn of a sweep that may hold the other quantity than the one wanted.

    Parameters
    ----------
    declared : the header names the unit of the magnitude, which is believed: then nothing is refused.

    Raises InputError: with file: it clearly holds the other one.
    """
    shape = _shape(sweep)
    if shape.low <= 0.0:
        return ()  # an impedance that is so has been refused
    if sweep.quantity == "ohm":
        doubt, sure = _is_response(shape), _is_surely_response(shape)
        other, header = "a response in dB", "'Hz ohm deg' if ohm it is"
    else:
        doubt, sure = _is_impedance(shape), _is_surely_impedance(sweep)
        other, header = "an impedance in ohm", "'Hz dB deg' if dB it is"
    if not doubt:
        return () if declared else _linear(shape, sweep)
    most = "high" if sweep.quantity == "ohm" else "low"
    words = f"the values, from {shape.low:.3g} to {shape.high:.3g}, lie {most} over most of the band"
    if shape.beyond is not None:
        beyond = (
            f"is beyond 90 degrees over {100 * shape.beyond:.0f} % of it" if shape.beyond else "keeps within 90 degrees"
        )
        words += f" and the phase {beyond}"
    words += f", as of {other}"
    if sure and not declared:
        raise sweep.fault(words, f"check that the right file is named, or head the columns {header}")
    return (f"{words}: is the right file named?",)


def _shape(sweep: Sweep) -> _Shape:
    f, m = sweep.frequency_hz, sweep.magnitude
    lowest = max(f[0], _LOWEST_HZ) if f[-1] > 2.0 * _LOWEST_HZ else f[0]
    rows = np.searchsorted(np.sqrt(f[1:] * f[:-1]), np.geomspace(lowest, f[-1], _POINTS))
    values = np.sort(m[rows])  # np.median would load masked arrays
    low, high = float(m.min()), float(m.max())
    beyond = None
    if sweep.phase is not None:
        far = np.abs(within_half_turn(sweep.phase[rows])) > PASSIVE_PHASE_DEG + PHASE_NOISE_DEG
        beyond = float(np.mean(far))
    floor, middle = float(values[_POINTS // 10]), float(values[_POINTS // 2])
    return _Shape(low, high, floor, (middle - low) / (high - low) if high > low else 0.0, beyond)


def _linear(shape: _Shape, sweep: Sweep) -> tuple[str, ...]:
    """Warn of a level that may be no logarithm; three octaves or more."""
    f = sweep.frequency_hz
    if sweep.quantity == "ohm" or shape.high > _LARGEST_LINEAR or shape.low > 0.5 * shape.high or f[-1] < 8.0 * f[0]:
        return ()
    return (
        f"the level lies between {shape.low:.2g} and {shape.high:.2g} dB throughout: is it a magnitude, not in dB?",
    )


def _is_response(shape: _Shape) -> bool:
    ranges = shape.high - shape.low >= _LEAST_RANGE_DB and shape.high <= _LOUDEST_DB
    return ranges and shape.floor >= _HIGHEST_FLOOR_OHM and shape.median >= _HIGH_MEDIAN


def _is_surely_response(shape: _Shape) -> bool:
    if shape.beyond is not None:
        return shape.beyond >= _MUCH_BEYOND
    return shape.floor >= _USUAL_FLOOR_DB and shape.median >= 0.5 and shape.high - shape.low >= _PLATEAU_DB


def _is_impedance(shape: _Shape) -> bool:
    peaks = shape.floor < _HIGHEST_FLOOR_OHM and shape.high >= _LEAST_PEAK * shape.floor
    return peaks and shape.median <= _LOW_MEDIAN and (shape.beyond is None or shape.beyond <= _LITTLE_BEYOND)


def _is_surely_impedance(sweep: Sweep) -> bool:
    if sweep.phase is None:
        return False
    in_ohm, in_db = (
        compare_with_slope(sweep.frequency_hz, log, within_half_turn(sweep.phase), most)
        for log, most in ((np.log(sweep.magnitude), PASSIVE_PHASE_DEG), (_nepers(sweep.magnitude), np.inf))
    )
    if in_ohm is None or in_db is None or not in_ohm.correlation >= _LEAST_CORRELATION or in_db.ratio <= 0.0:
        return False
    ohm, level = abs(math.log(in_ohm.ratio)), abs(math.log(in_db.ratio))
    return level - ohm >= math.log(_NEARER_IN_OHM)


def _nepers(level_db: Float) -> Float:
    return np.asarray(level_db * (np.log(10.0) / 20.0), dtype=float)
