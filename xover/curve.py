"""Curve: complex values on a frequency grid, with unit, reference and evidence.

A curve never invents values: outside the measured band it answers NaN (null in JSON).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import StrEnum
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray

from xover.errors import InputError
from xover.ledger import Ledger
from xover.readable import Readable

Float = NDArray[np.float64]
Complex = NDArray[np.complex128]


class Evidence(StrEnum):
    """What a value rests on, from best to worst."""

    MEASURED = "measured"
    DATASHEET = "datasheet"
    ASSUMED = "assumed"


class Unit(StrEnum):
    """What a curve's complex value means.

    OHM is an impedance. PASCAL_20U is a sound pressure over 20 uPa, so that 20 lg|value| is
    the level in dB, for 2.83 V at the terminals and 1 m on the design axis. RATIO is a voltage ratio.
    """

    OHM = "ohm"
    PASCAL_20U = "20 uPa at 2.83 V, 1 m"
    RATIO = "V/V"


@dataclass(frozen=True, eq=False)
class StatedError:
    """How sure a table says that its rows are: (n,) bound of the relative error; NaN where it does not say."""

    frequency_hz: Float
    share: Float

    def worst(self, lowest_hz: float = 0.0, highest_hz: float = np.inf) -> tuple[float, float] | None:
        """Largest within a band, and its frequency; None where nothing is said there."""
        known = (self.frequency_hz >= lowest_hz) & (self.frequency_hz <= highest_hz) & np.isfinite(self.share)
        if not known.any():
            return None
        at = int(np.argmax(np.where(known, self.share, -1.0)))
        return float(self.share[at]), float(self.frequency_hz[at])


@dataclass(frozen=True, eq=False, repr=False)
class Curve(Readable):
    """Complex values over frequency, e^{+jwt}, peak-free (ratios or rms phasors).

    Attributes
    ----------
    frequency_hz : (n,) strictly rising, > 0.
    value : (n,) complex. Without phase the values are real magnitudes.
    unit : what the value means.
    evidence : what it rests on.
    has_phase : False where only the magnitude was measured. phase_rebuilt : True where it has one by its magnitude.
    source : file or words to name it in messages.
    ledger : what became of every line of that file; None where there is none.
    stated : how sure the file says that it is; None where it does not.
    """

    frequency_hz: Float
    value: Complex
    unit: Unit
    evidence: Evidence = Evidence.MEASURED
    has_phase: bool = True
    source: str = ""
    phase_rebuilt: bool = False
    ledger: Ledger | None = None
    stated: StatedError | None = None

    def __post_init__(self) -> None:
        f = np.array(self.frequency_hz, dtype=float)
        v = np.array(self.value, dtype=complex)
        if f.ndim != 1 or f.shape != v.shape or f.size < 2:
            raise InputError(
                "a curve needs two or more frequencies, each with one value", "check the table", self.source or None
            )
        if not (np.all(np.isfinite(f)) and np.all(np.isfinite(v))):
            raise InputError("a curve holds a value that is not finite", "remove that row", self.source or None)
        if f[0] <= 0 or np.any(np.diff(f) <= 0):
            raise InputError(
                "frequencies do not rise from above 0 Hz", "sort the rows by frequency", self.source or None
            )
        f.flags.writeable = False
        v.flags.writeable = False
        object.__setattr__(self, "frequency_hz", f)
        object.__setattr__(self, "value", v)

    @property
    def lowest_hz(self) -> float:
        """Lowest frequency that the curve holds."""
        return float(self.frequency_hz[0])

    @property
    def highest_hz(self) -> float:
        """Highest frequency that the curve holds."""
        return float(self.frequency_hz[-1])

    @property
    def level_db(self) -> Float:
        """(n,) 20 lg|value|, dB re 1 of the unit; -inf where the value is zero."""
        with np.errstate(divide="ignore"):
            return 20.0 * np.log10(np.abs(self.value))

    @property
    def phase_deg(self) -> Float:
        """(n,) phase in degrees, unwrapped from row to row."""
        return np.degrees(np.unwrap(np.angle(self.value)))

    @cached_property
    def as_swept(self) -> Curve:
        """What was measured: without a phase that was rebuilt from the magnitude."""
        if not self.phase_rebuilt:
            return self
        return replace(self, value=np.abs(self.value), has_phase=False, phase_rebuilt=False)

    def at(self, frequency_hz: ArrayLike) -> Complex:
        """Interpolate at other frequencies; NaN outside the band that was measured.

        Modified Akima pieces (xover/interpolate.py) over ln f, of ln|value| and the unwrapped phase: so the
        magnitude never falls to zero between rows. Largest error on driver impedances that are known
        everywhere (tests/driver/test_interpolation_error.py): 48 rows in an octave 0.07 % on a woofer of
        Qms 5 and 0.23 % of Qms 10, 24 rows 0.23 and 0.83 %, 12 rows 0.83 and 6.3 %; domes less.

        Parameters
        ----------
        frequency_hz : (m,) > 0.

        Returns
        -------
        (m,) complex, NaN where the curve does not reach.
        """
        wanted = np.asarray(frequency_hz, dtype=float)
        if wanted.shape == self.frequency_hz.shape and np.array_equal(wanted, self.frequency_hz):
            return self.value.copy()
        # The logarithm of the same number is the same number, so the ends stay inside.
        got = self._interpolant(np.log(np.atleast_1d(wanted)))
        return np.asarray(np.exp(got[..., 0] + 1j * got[..., 1]), dtype=complex).reshape(wanted.shape)

    @cached_property
    def _interpolant(self) -> Makima:
        """Columns over ln f: ln|value| and unwrapped phase."""
        log_magnitude = np.log(np.maximum(np.abs(self.value), np.finfo(float).tiny))
        columns = [log_magnitude, np.unwrap(np.angle(self.value))]
        return Makima(np.log(self.frequency_hz), np.column_stack(columns))

    def interpolation_error(self) -> float:
        """Estimate the largest relative error of `at` between rows, from the data alone.

        Every second row is left out, interpolated from the others and compared. The rows kept
        stand twice as far apart as in use, so for a smooth curve the true error is smaller (at
        least two times on the models tried); on a noisy curve the figure is the noise. Returns NaN
        below five rows.
        """
        if self.frequency_hz.size < 5:
            return float("nan")
        coarse = replace(self, frequency_hz=self.frequency_hz[::2], value=self.value[::2])
        left_out = self.frequency_hz[1::2]
        guess = coarse.at(left_out)
        known = np.isfinite(guess)
        scale = np.abs(self.value[1::2][known])
        return float(np.max(np.abs(guess[known] - self.value[1::2][known]) / scale)) if known.any() else float("nan")

    def covers(self, lowest_hz: float, highest_hz: float) -> bool:
        """Say whether the curve reaches over the whole of a band."""
        return self.lowest_hz <= lowest_hz and self.highest_hz >= highest_hz


def spaced_rows(frequency_hz: Float, per_octave: float) -> NDArray[np.intp]:
    """(k,) those of (n,) rising rows that stay where no more than about so many in an octave are wanted."""
    step = np.floor(np.log2(frequency_hz / frequency_hz[0]) * per_octave + 1e-6)
    return np.flatnonzero(np.diff(step, prepend=-1.0))


def log_grid(from_hz: float, to_hz: float, per_octave: float) -> Float:
    """Frequencies evenly spaced in log, both ends included.

    Parameters
    ----------
    from_hz, to_hz : ends, 0 < from < to.
    per_octave : least number of points in an octave; the spacing is rounded down so that both ends are met.
    """
    steps = max(1, int(np.ceil(np.log2(to_hz / from_hz) * per_octave - 1e-9)))
    grid = from_hz * (to_hz / from_hz) ** (np.arange(steps + 1) / steps)
    grid[-1] = to_hz
    return np.asarray(grid, dtype=float)


def window_mean(u: Float, y: Float, lower: Float, upper: Float) -> Float:
    """Mean of the piecewise linear curve through (u, y) between two bounds, exactly."""
    area = np.concatenate([[0.0], np.cumsum(0.5 * (y[1:] + y[:-1]) * np.diff(u))])

    def up_to(x: Float) -> Float:
        i = np.clip(np.searchsorted(u, x, side="right") - 1, 0, u.size - 2)
        here = np.interp(x, u, y)
        return np.asarray(area[i] + 0.5 * (y[i] + here) * (x - u[i]), dtype=float)

    return (up_to(upper) - up_to(lower)) / (upper - lower)


class Makima:
    """Interpolant of the columns of y over x; the slopes are worked out once.

    A slope depends on the two secants to either side, the steadier side counting more: so a peak is
    rounded as it should be, and noise in one row does not ring over its neighbours as with a spline.

    Parameters
    ----------
    x : (n,) strictly rising, n >= 2; y : (n, c).

    Source: H. Akima, J. ACM 17 (1970) 589-602, with the modified weights that scipy and others use; from memory.
    """

    def __init__(self, x: Float, y: Float) -> None:
        self._x, self._y = x, y
        self._slope = _slopes(np.diff(x)[:, None], y)

    def __call__(self, at: Float) -> Float:
        """(m, c) values at (m,) places, NaN outside x[0]..x[-1]."""
        x, y, slope = self._x, self._y, self._slope
        left = np.clip(np.searchsorted(x, at, side="right") - 1, 0, x.size - 2)
        width = (x[left + 1] - x[left])[:, None]
        t = (at - x[left])[:, None] / width
        value = (
            (1 + 2 * t) * (1 - t) ** 2 * y[left]
            + t * (1 - t) ** 2 * width * slope[left]
            + t**2 * (3 - 2 * t) * y[left + 1]
            + t**2 * (t - 1) * width * slope[left + 1]
        )
        value[(at < x[0]) | (at > x[-1]) | np.isnan(at)] = np.nan
        return np.asarray(value, dtype=float)


def _slopes(step: Float, y: Float) -> Float:
    """(n, c) slope at each row."""
    inner = np.diff(y, axis=0) / step
    if inner.shape[0] == 1:
        return np.repeat(inner, 2, axis=0)
    # Two secants are made up beyond each end, going on as the last two do.
    before, after = 2 * inner[0] - inner[1], 2 * inner[-1] - inner[-2]
    secant = np.concatenate([[2 * before - inner[0]], [before], inner, [after], [2 * after - inner[-1]]])
    change = np.abs(np.diff(secant, axis=0)) + 0.5 * np.abs(secant[1:] + secant[:-1])
    left, right = change[2:], change[:-2]
    weight = left + right
    flat = weight == 0  # all four secants are zero
    mixed = (left * secant[1:-2] + right * secant[2:-1]) / np.where(flat, 1.0, weight)
    return np.asarray(np.where(flat, 0.0, mixed), dtype=float)
