"""Minimum phase from a level: the gain-phase integral of Bode (1945), without numerical quadrature.

    phi(w0) = (1/pi) Int (d ln|H|/du) ln coth(|u|/2) du,   u = ln(w/w0)

The level is taken as straight lines between its rows over ln f, with a straight tail of constant
slope beyond each end. For a straight piece the integral has a closed form,

    G(u) = Int_0^u ln coth(|x|/2) dx = sign(u) (pi^2/4 - 2 chi_2(e^-|u|))

with Legendre's chi_2(x) = (Li_2(x) - Li_2(-x))/2, so the only approximations are the straight lines
and the tails.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from xover.curve import Curve, Float
from xover.errors import InputError
from xover.quantity import hertz
from xover.readable import Readable

# Where a tail is not given, its slope is fitted over this much at the end of the data.
TAIL_OCTAVES: Final = 0.5
# Rows that a tail's slope is fitted to at the least, however thin the data are.
TAIL_ROWS: Final = 4
# d ln|H|/d ln f of a slope of one decibel per octave.
_NEPER_PER_DB_OCTAVE: Final = math.log(10.0) / 20.0 / math.log(2.0)
_WHOLE: Final = math.pi**2 / 4.0
# Where e^-v = tanh(v/2) = sqrt(2) - 1: neither argument of the series is ever larger than that.
_CROSSING: Final = math.log(1.0 + math.sqrt(2.0))
# Terms of the series that are worth a bit there: 0.172^21 is 1e-16.
_TERMS: Final = 22
# Rows by nodes that are evaluated at once, to bound the memory of a long sweep.
_BLOCK: Final = 2_000_000


@dataclass(frozen=True, eq=False, repr=False)
class MinimumPhase(Readable):
    """Phase that goes with a level, and the tails it rests on.

    Attributes
    ----------
    phase_deg : (n,) degrees, continuous (not wrapped).
    low_slope_db_per_octave, high_slope_db_per_octave : slopes of the straight tails below and above
        the data; a second-order high-pass has +12 at the low end.
    slopes_from : where each slope comes from, in words.
    """

    phase_deg: Float
    low_slope_db_per_octave: float
    high_slope_db_per_octave: float
    slopes_from: str


def minimum_phase(
    frequency_hz: ArrayLike,
    level_db: ArrayLike,
    low_slope_db_per_octave: float | None = None,
    high_slope_db_per_octave: float | None = None,
) -> MinimumPhase:
    """Rebuild the minimum phase of a level.

    Parameters
    ----------
    frequency_hz : (n,) Hz, rising, above 0, n >= 4.
    level_db : (n,) dB re anything.
    low_slope_db_per_octave, high_slope_db_per_octave : slope of the level below the first and above
        the last row. Where None, it is the median of the slopes between all pairs of rows in the
        last half octave (Theil-Sen, so that ripple hardly moves it), at least 4 rows. It is not
        rounded to a multiple of 6: a level is seldom on its asymptote where the data end.

    Raises InputError: fewer than 4 rows, rows that do not match or rise, a level or slope that is not finite.

    Notes
    -----
    Delay, all-pass parts and right-half-plane zeros are not seen in a level, and so not in this phase.
    Source of the integral: H. W. Bode, Network Analysis and Feedback Amplifier Design (1945), from
    memory; the closed form is derived from d chi_2/dx = artanh(x)/x.
    """
    f, level = np.asarray(frequency_hz, dtype=float), np.asarray(level_db, dtype=float)
    _check(f, level)
    given = (low_slope_db_per_octave, high_slope_db_per_octave)
    for slope in given:
        if slope is not None and not math.isfinite(slope):
            raise InputError(f"a tail's slope of {slope:g} dB per octave has no phase", "give a finite slope")
    octaves = np.log2(f)
    rows = (_tail(octaves, low=True), _tail(octaves, low=False))
    low, high = (
        _median_slope(octaves[r], level[r]) if s is None else float(s) for s, r in zip(given, rows, strict=True)
    )
    words = "; ".join(
        f"{end} tail {slope:+.3g} dB per octave, "
        + (f"fitted from {hertz(f[r][0])} to {hertz(f[r][-1])}" if told is None else "given")
        for end, slope, told, r in zip(("low", "high"), (low, high), given, rows, strict=True)
    )
    return MinimumPhase(_bode(np.log(f), level * math.log(10.0) / 20.0, low, high), low, high, words)


def minimum_phase_curve(
    curve: Curve,
    low_slope_db_per_octave: float | None = None,
    high_slope_db_per_octave: float | None = None,
) -> tuple[Curve, MinimumPhase]:
    """Give a curve its minimum phase; a phase that it has is replaced.

    Returns
    -------
    The curve with the same magnitudes and `has_phase`, and the phase with the tails it rests on.

    Raises InputError: as `minimum_phase`, with the curve's source as path.
    """
    try:
        found = minimum_phase(curve.frequency_hz, curve.level_db, low_slope_db_per_octave, high_slope_db_per_octave)
    except InputError as fault:
        raise fault.at(curve.source or None, None) from fault
    value = np.abs(curve.value) * np.exp(1j * np.radians(found.phase_deg))
    return replace(curve, value=value, has_phase=True, phase_rebuilt=True), found


def gain_phase_integral(u: ArrayLike) -> Float:
    """G(u), the integral of ln coth(|x|/2) from 0 to u: odd, and +-pi^2/4 at +-infinity.

    Parameters
    ----------
    u : any shape.
    """
    x = np.asarray(u, dtype=float)
    return np.asarray(np.sign(x) * (_WHOLE - 2.0 * _chi_2_of_exp(np.abs(x))), dtype=float)


def _chi_2_of_exp(v: Float) -> Float:
    """Legendre's chi_2(e^-v) for v >= 0, to rounding.

    The series where e^-v is small; elsewhere by
    chi_2(x) + chi_2((1 - x)/(1 + x)) = pi^2/8 + ln x ln((1 + x)/(1 - x))/2
    (L. Lewin, Polylogarithms and Associated Functions, 1981; from memory), whose second argument is tanh(v/2).
    scipy has the dilogarithm too, but loading scipy.special takes longer than a prediction.
    """
    far = v > _CROSSING
    half = np.tanh(np.where(far, 1.0, v) / 2.0)
    argument = np.where(far, np.exp(-v), half)
    square = argument * argument
    series = np.zeros(v.shape)
    for k in range(_TERMS - 1, -1, -1):
        series = series * square + 1.0 / (2 * k + 1) ** 2
    series = series * argument
    product = np.where(half > 0, 0.5 * v * np.log(np.where(half > 0, half, 1.0)), 0.0)
    return np.where(far, series, math.pi**2 / 8.0 + product - series)


def _bode(u: Float, neper: Float, low: float, high: float) -> Float:
    """(n,) phase in degrees at the rows."""
    slopes = np.diff(neper) / np.diff(u)
    outer = np.concatenate([[low * _NEPER_PER_DB_OCTAVE], slopes, [high * _NEPER_PER_DB_OCTAVE]])
    # Summed by parts: each row counts with the change of slope there, so G is needed once per pair.
    bend = outer[:-1] - outer[1:]
    turn = np.empty_like(u)
    step = max(1, _BLOCK // u.size)
    for start in range(0, u.size, step):
        block = slice(start, start + step)
        turn[block] = gain_phase_integral(u[None, :] - u[block, None]) @ bend
    return np.asarray(180.0 / math.pi**2 * (turn + _WHOLE * (outer[0] + outer[-1])))


def _tail(octaves: Float, low: bool) -> slice:
    """Rows of the last half octave at one end, and enough of them."""
    if low:
        return slice(0, max(TAIL_ROWS, int(np.searchsorted(octaves, octaves[0] + TAIL_OCTAVES, side="right"))))
    return slice(min(octaves.size - TAIL_ROWS, int(np.searchsorted(octaves, octaves[-1] - TAIL_OCTAVES))), octaves.size)


def _median_slope(octaves: Float, level: Float) -> float:
    # A long linear sweep has thousands of rows in its top half octave: every k-th pair serves as well.
    every = max(1, octaves.size // 200)
    x, y = octaves[::every], level[::every]
    i, j = np.triu_indices(x.size, 1)
    return float(np.median((y[j] - y[i]) / (x[j] - x[i])))


def _check(f: Float, level: Float) -> None:
    if f.ndim != 1 or f.shape != level.shape or f.size < TAIL_ROWS:
        raise InputError(
            f"a minimum phase needs {TAIL_ROWS} or more rows, each with one level, and has {f.size}",
            "measure more rows",
        )
    if not np.all(np.isfinite(f)) or f[0] <= 0 or np.any(np.diff(f) <= 0):
        raise InputError("frequencies do not rise from above 0 Hz", "sort the rows by frequency")
    bad = np.flatnonzero(~np.isfinite(level))
    if bad.size:
        raise InputError(f"there is no level at {f[bad[0]]:g} Hz, so no phase belongs to it", "leave that row out")
