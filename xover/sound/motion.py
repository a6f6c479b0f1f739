"""A driver's moving part and coil as its sweep shows them: read up to the peak, whatever a model of it all makes.

Below and on its peaks the impedance is one rational function,

    Z = A + B s + sum_k (s/C_k + d_k) / (s^2 + s w_k/Q_k + w_k^2) + c / (s + p)

found by linear least squares, weighted anew with the last denominator (Sanathanan and Koerner 1963, from memory). Free
air and a closed box have one resonance, a vented box two, of which w_1 w_2/w_box is the driver's own in that box (Small
1973, from memory). All residues together are 1/C: the moving mass over the square of the pull, whatever the box. The
last term is what a leak makes of a closed box (derived: stiffness and leak in parallel give a third pole); without one
it takes what of the coil's losses the first two do not.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from functools import lru_cache
from typing import Final

import numpy as np
from numpy.typing import NDArray

from xover.curve import Complex, Curve, Float
from xover.rules.health import APART, COIL_FROM, DIRECT_SHARE, DULL_MASS, FAR_APART, MISFIT, ROWS_ON_PEAK, SKEW, WHITE
from xover.rules.margins import TWEETER_FS_HZ
from xover.sound.resonance import clear_peaks, rational

_ROUNDS: Final = 8
_FEWEST: Final = 6
_PER_OCTAVE: Final = 12
_Top = tuple[int, int, int]
"""Rows of the valley below, of the peak, and of the valley above."""
Rows = NDArray[np.intp]


@dataclass(frozen=True, eq=False)
class Motion:
    """What one sweep says of a driver. NaN where it does not say.

    Attributes
    ----------
    re_ohm : DC resistance, at the low end of the sweep. terms : peaks that were read, 0 where none stands clear.
    fs_hz, qms : resonance and Q of its losses, as mounted; in a vented box the driver's own in it, without a Q.
    rise : Zmax/Re. mass_f : moving mass over the square of the pull, farad; not known of a dull peak.
    cells : of each term 1/(2 pi C), its frequency and its width, Hz.
    scatter : rms of what the rows on the peaks jump about one smooth curve, as a share. grain : the same elsewhere.
    poles_hz, shares : of all terms, for s = j f.
    """

    curve: Curve = field(repr=False)
    re_ohm: float
    terms: int
    level_ohm: float = math.nan
    direct: bool = False
    fs_hz: float = math.nan
    qms: float = math.nan
    rise: float = math.nan
    mass_f: float = math.nan
    leak: float = math.nan
    scatter: float = math.nan
    grain: float = math.nan
    poles_hz: tuple[complex, ...] = field(default=(), repr=False)
    shares: tuple[complex, ...] = field(default=(), repr=False)

    @property
    def qes(self) -> float:
        """Q of the damping through Re, ws C Re."""
        return 2.0 * math.pi * self.fs_hz * self.mass_f * self.re_ohm

    def coil_ohm(self, frequency_hz: Float) -> Complex:
        """(n,) impedance without DC resistance and moving part; NaN where the sweep does not reach."""
        s = 1j * frequency_hz
        # Above, a term is its real part over s: what it is beside that is the coil's.
        moving = sum((r.real / (s - p) for p, r in zip(self.poles_hz, self.shares, strict=True)), 0.0 * s)
        return np.asarray(self.curve.at(frequency_hz) - self.re_ohm - moving, dtype=complex)


def coil_ratio(one: Motion, other: Motion) -> float:
    """How much more the first coil's impedance rises than the other's, where both sweeps show coils; NaN where none."""
    if not (one.poles_hz and other.poles_hz):
        return math.nan
    low = COIL_FROM * max(one.fs_hz, other.fs_hz)
    high = min(one.curve.highest_hz, other.curve.highest_hz)
    if not high >= 2.0 * low:
        return math.nan
    f = np.geomspace(low, high, 2 * _PER_OCTAVE)
    ratio = np.abs(one.coil_ohm(f)) / np.abs(other.coil_ohm(f))
    return float(np.exp(np.nanmean(np.log(ratio)))) if np.isfinite(ratio).any() else math.nan


@lru_cache(maxsize=64)
def motion_of(curve: Curve, most: int = 2, near_hz: float = math.nan, plain: bool = False) -> Motion:
    """Read a sweep, with at most so many peaks: the highest, or those nearest to a frequency; or `plain`, by three
    points of |Z|, as without a phase: of a woofer's two peaks the upper one. See `Motion`."""
    f, z = curve.frequency_hz, curve.value
    size = np.abs(z)
    tops = _peaks(f, size)
    if not tops:
        return Motion(curve, float(np.min(size)), 0, grain=_grain(z, np.arange(0)))
    tops.sort(key=lambda t: -size[t[1]] if math.isnan(near_hz) else abs(math.log(f[t[1]] / near_hz)))
    pair = len(tops) == 2 and 1.0 / FAR_APART < f[tops[0][1]] / f[tops[1][1]] < FAR_APART
    if plain or not curve.has_phase:
        upper = pair and f[max(tops)[1]] < TWEETER_FS_HZ
        return replace(_three_points(curve, max(tops)), terms=2) if upper else _three_points(curve, tops[0])
    if most > 1 and pair:
        both = _read(curve, tops)
        if both is not None:
            return both
    return _read(curve, tops[:1]) or _three_points(curve, tops[0])


def _peaks(f: Float, size: Float) -> list[_Top]:
    """The peaks that stand clear; those close together are one."""
    found: list[_Top] = []
    for low, i, high in clear_peaks(size):
        if found and f[i] < APART * f[found[-1][1]]:
            last = found.pop()
            top = max(last[1], i, key=lambda at: float(size[at]))
            found.append((min(last[0], low), top, max(last[2], high)))
        else:
            found.append((low, i, high))
    return found


def _span(size: Float, tops: list[_Top]) -> Rows:
    """Rows from the first to the last that stand over the geometric mean of peak and valley."""
    low, high = min(t[0] for t in tops), max(t[2] for t in tops)
    least = math.sqrt(min(size[low], size[high]) * min(float(size[t[1]]) for t in tops))
    over = np.flatnonzero(size[low : high + 1] >= least) + low
    first, last = min(t[1] for t in tops), max(t[1] for t in tops)
    below, above = np.setdiff1d(np.arange(low, first), over), np.setdiff1d(np.arange(last + 1, high + 1), over)
    return np.arange(below.max(initial=low - 1) + 1, above.min(initial=high + 1))


def _read(curve: Curve, tops: list[_Top]) -> Motion | None:
    """By the rational function; None where it has too few rows, no phase, or no resonances."""
    f, z = curve.frequency_hz, curve.value
    on_it, terms = _span(np.abs(z), tops), len(tops)
    rows = np.arange(on_it[-1] + 1)
    if not curve.has_phase or on_it.size < _FEWEST * terms:
        return None
    unit = float(f[tops[0][1]])
    at = np.asarray(1j * f[rows] / unit, dtype=complex)
    top, bottom = rational(at, z[rows], 2 * terms + 1, 1.0 / np.abs(z[rows]), _ROUNDS)
    poles = np.roots(bottom)
    share = np.polyval(top, poles) / np.polyval(np.polyder(bottom), poles)
    level = float(top[1] - top[0] * bottom[1])
    pairs = poles.imag > 0
    own, part = poles[pairs], share[pairs]
    if own.size != terms or np.any(own.real >= 0) or np.any(part.real <= 0) or level <= 0:
        return None
    if terms > 1 and np.any(np.abs(part.imag) > SKEW * part.real):
        return None
    fitted = np.polyval(top, at) / np.polyval(bottom, at)
    stands_off = fitted / z[rows] - 1.0
    highest = float(np.max(np.abs(fitted[on_it[0] :])))
    hz, total = np.abs(own) * unit, float(np.sum(share).real)
    lowest = float(np.min(hz))
    single = share[poles.imag == 0]
    # Poles at w_k with weights 1/C_k have their zero, the box, at w_B; w_s = w_1 w_2/w_B.
    box = math.sqrt(float(np.sum(part.real[::-1] * hz**2) / np.sum(part.real))) if terms == 2 else 1.0
    direct = bool(2.0 * f[0] < DIRECT_SHARE * lowest)
    re = float(np.median(z.real[f < 2.0 * f[0]])) if direct else level
    scatter, grain = _jumps(stands_off[on_it[0] :]), _grain(z, on_it)
    holds = float(np.sqrt(np.mean(np.abs(stands_off) ** 2))) < MISFIT
    if not holds and terms == 1:
        return replace(_three_points(curve, tops[0]), mass_f=math.nan, scatter=scatter, grain=grain)
    sound = holds and highest > DULL_MASS * re and total > 0
    return Motion(
        curve,
        re,
        terms,
        level_ohm=level,
        direct=direct,
        fs_hz=float(np.prod(hz)) / box,
        qms=float(np.abs(own[0]) / (-2.0 * own[0].real)) if terms == 1 else math.nan,
        rise=highest / re,
        mass_f=1.0 / (2.0 * math.pi * unit * total) if sound else math.nan,
        leak=max(0.0, -float(np.sum(single).real) / total) if terms == 1 and holds else math.nan,
        scatter=scatter,
        grain=grain,
        poles_hz=tuple(complex(p) * unit for p in poles),
        shares=tuple(complex(r) * unit for r in share),
    )


def _jumps(off: Complex) -> float:
    """Rms of what jumps from row to row: second differences, the squares of whose factors 1, 2 and 1 add up to 6. NaN
    where that is less than what the rows stand off by: then the peak has another shape, or is smeared, and smooth."""
    bend = float(np.sqrt(np.mean(np.abs(off[:-2] - 2.0 * off[1:-1] + off[2:]) ** 2) / 6.0))
    return bend if off.size >= ROWS_ON_PEAK and bend > WHITE * np.sqrt(np.mean(np.abs(off) ** 2)) else math.nan


def _grain(z: Complex, but: Rows) -> float:
    """Noise of a row from second differences of log Z (sums of squares 1, 4, 1), median, without some rows."""
    kept = np.setdiff1d(np.arange(1, z.size - 1), but)
    bend = np.log(z[kept - 1] * z[kept + 1] / z[kept] ** 2) if kept.size else np.zeros(0)
    return float(np.median(np.abs(bend)) / math.sqrt(6.0 * math.log(2.0))) if bend.size else math.nan


def _three_points(curve: Curve, top: _Top) -> Motion:
    """The classical reading: Re as the lowest |Z| below the peak, Zmax, and where |Z| is sqrt(Zmax Re) on either side
    (Small 1972, from memory). Where that Re is not a plain one, no mass is told."""
    f, size = curve.frequency_hz, np.abs(curve.value)
    low, at, high = top
    re = float(np.min(size[: at + 1]))
    direct = bool(2.0 * f[0] < DIRECT_SHARE * f[at])
    rise = float(size[at]) / re
    level = re * math.sqrt(rise)
    below = np.flatnonzero(size[low:at] < level)
    above = np.flatnonzero(size[at : high + 1] < level)
    read = Motion(curve, re, 1, direct=direct, fs_hz=float(f[at]), rise=rise)
    if not below.size or not above.size:
        return read
    i, j = low + int(below[-1]), at + int(above[0])
    first = _crossing(f[i], f[i + 1], size[i], size[i + 1], level)
    second = _crossing(f[j - 1], f[j], size[j - 1], size[j], level)
    fs = math.sqrt(first * second)
    qms = fs * math.sqrt(rise) / (second - first)
    told = direct and rise > DULL_MASS
    return replace(read, fs_hz=fs, qms=qms, mass_f=qms / (rise - 1.0) / (2.0 * math.pi * fs * re) if told else math.nan)


def _crossing(f1: float, f2: float, z1: float, z2: float, level: float) -> float:
    return float(f1 * (f2 / f1) ** (math.log(level / z1) / math.log(z2 / z1)))
