"""Minimum phase from a level: the gain-phase integral of Bode (1945), without numerical quadrature.

    phi(w0) = (1/pi) Int (d ln|H|/du) ln coth(|u|/2) du,   u = ln(w/w0)

The level is taken as straight lines between its rows over ln f, with a straight tail of constant
slope beyond each end. For a straight piece the integral has a closed form,

    G(u) = Int_0^u ln coth(|x|/2) dx = sign(u) (pi^2/4 - 2 chi_2(e^-|u|))

with Legendre's chi_2(x) = (Li_2(x) - Li_2(-x))/2, so the only approximations are the straight lines
and the tails.

That takes work with the square of the rows. Of a long sweep the level, straight between its rows, is averaged over
each step of a fine even grid over ln f, and the integral of the lines through these means is a convolution, done by
FFT. Nothing is lost but what a mean smooths away: noise from row to row where rows lie closer than the grid, and of a
ripple with a period of p steps the share 1 - sin(pi/p)/(pi/p), in level and phase alike. Against the closed form
(`tests/benchmarks/long_sweeps.py`): below 0.01 degrees on filters over linear and logarithmic rows; with noise, rms
over an audio band no more than `smoothed_deg`, which is told where it counts.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from xover.curve import Curve, Float, window_mean
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
# Rows by nodes that are evaluated at once, to bound the memory.
_BLOCK: Final = 250_000
# More rows than this go by FFT: about where that takes less time.
EXACT_ROWS: Final = 1024
# Steps of the grid in an octave and for each row, the finer of the two; and its most steps.
_STEPS_PER_OCTAVE: Final = 4096
_STEPS_PER_ROW: Final = 4
_MOST_STEPS: Final = 2**17
# So many degrees that the grid smoothes away are told with the answer.
TOLD_DEG: Final = 0.5


@dataclass(frozen=True, eq=False, repr=False)
class MinimumPhase(Readable):
    """Phase that goes with a level, and the tails it rests on.

    Attributes
    ----------
    phase_deg : (n,) degrees, continuous (not wrapped).
    low_slope_db_per_octave, high_slope_db_per_octave : slopes of the straight tails below and above
        the data; a second-order high-pass has +12 at the low end.
    slopes_from : where each slope comes from, in words.
    smoothed_deg : rms over the rows of the phase that goes with detail finer than the grid of a long sweep, which is
        left out: as much in radians as the level holds there in nepers, as the two are a Hilbert pair; 0 where all
        was counted.
    """

    phase_deg: Float
    low_slope_db_per_octave: float
    high_slope_db_per_octave: float
    slopes_from: str
    smoothed_deg: float = 0.0

    @property
    def smoothed(self) -> str:
        """What was smoothed away, behind a semicolon; empty where that is little."""
        if self.smoothed_deg <= TOLD_DEG:
            return ""
        return f"; noise from row to row was smoothed, which moves the phase by some {self.smoothed_deg:.1f} degrees"


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
    neper, ends = level * math.log(10.0) / 20.0, (low * _NEPER_PER_DB_OCTAVE, high * _NEPER_PER_DB_OCTAVE)
    if f.size <= EXACT_ROWS:
        return MinimumPhase(_bode(np.log(f), neper, *ends), low, high, words)
    phase_deg, smoothed_deg = _bode_by_fft(np.log(f), neper, *ends)
    return MinimumPhase(phase_deg, low, high, words, smoothed_deg)


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
    """(n,) phase in degrees at the rows; low and high are the tails' d ln|H|/d ln f."""
    bend = _bends(u, neper, low, high)
    turn = np.empty_like(u)
    step = max(1, _BLOCK // u.size)
    for start in range(0, u.size, step):
        block = slice(start, start + step)
        turn[block] = gain_phase_integral(u[None, :] - u[block, None]) @ bend
    return _degrees(turn, low, high)


def _bends(u: Float, neper: Float, low: float, high: float) -> Float:
    """(n,) change of slope at each row. Summed by parts each row counts with it, so G is needed once per pair."""
    outer = np.concatenate([[low], np.diff(neper) / np.diff(u), [high]])
    return np.asarray(outer[:-1] - outer[1:])


def _degrees(turn: Float, low: float, high: float) -> Float:
    return np.asarray(180.0 / math.pi**2 * (turn + _WHOLE * (low + high)))


def _bode_by_fft(u: Float, neper: Float, low: float, high: float) -> tuple[Float, float]:
    """The same for many rows, and the rms of what the grid smoothes away, degrees."""
    octaves = (u[-1] - u[0]) / math.log(2.0)
    steps = min(max(math.ceil(octaves * _STEPS_PER_OCTAVE), _STEPS_PER_ROW * u.size), _MOST_STEPS)
    width = (u[-1] - u[0]) / steps
    grid = u[0] + width * np.arange(steps + 1)
    tailed = np.concatenate([[u[0] - width], u, [u[-1] + width]])
    values = np.concatenate([[neper[0] - low * width], neper, [neper[-1] + high * width]])
    mean = window_mean(tailed, values, grid - 0.5 * width, grid + 0.5 * width)
    # G is odd: at lag k it is g[k], at -k it is -g[k]; the product of transforms wraps round at a length of over twice.
    length = 2 ** math.ceil(math.log2(2 * steps + 2))
    kernel, lags = np.zeros(length), gain_phase_integral(width * np.arange(steps + 1))
    kernel[: steps + 1], kernel[length - steps :] = -lags, lags[:0:-1]
    bend = np.fft.rfft(_bends(grid, mean, low, high), length)
    turn = np.fft.irfft(np.fft.rfft(kernel) * bend, length)[: steps + 1]
    fine = neper - np.interp(u, grid, mean)
    return np.interp(u, grid, _degrees(turn, low, high)), math.degrees(math.sqrt(float(np.mean(fine**2))))


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
