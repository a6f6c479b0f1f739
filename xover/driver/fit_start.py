"""The rows of a sweep that a driver model is fitted to, and what to add to a model next.

What a model leaves is held against many shapes, resonances and coil cells over coarse grids, each less what a small
change of the model's own values does as well: the one that takes most of the rest away is the best start (orthogonal
matching pursuit: Pati and others 1993, from memory). Humps that are no peaks are found as well as peaks.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Final

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from xover.curve import Complex, Curve, Float, Unit, spaced_rows
from xover.driver.minimum_phase import minimum_phase
from xover.driver.model import LossyInductance, Resonance
from xover.errors import InputError

FEWEST_ROWS: Final = 8
# Rows closer than this are averaged: finer detail than any part of a driver, and mere speed.
MOST_ROWS_PER_OCTAVE: Final = 96
# Re is read where the impedance is resistance for more than this share.
MOSTLY: Final = 0.7


@dataclass(frozen=True, eq=False)
class FitRows:
    """Rows to fit.

    Attributes
    ----------
    frequency_hz : (n,).
    impedance_ohm : (n,) complex; without phase, the magnitude with its minimum phase, for start values only.
    has_phase : whether the phase was measured and counts.
    held : rows left out because they repeat the row before, value for value.
    rebuilt : who reads the sweep knows already that it has no phase: it got one by its magnitude.
    """

    frequency_hz: Float
    impedance_ohm: Complex
    has_phase: bool
    held: int
    rebuilt: bool = False

    @property
    def observations(self) -> int:
        """Number of real numbers that were measured: two for a row with phase."""
        return self.frequency_hz.size * (2 if self.has_phase else 1)

    @cached_property
    def least_ohm(self) -> tuple[float, bool]:
        """Lowest resistance that is shown, and whether that is where resistance is most of the impedance.

        Of the middle of five rows each, so that noise does not count as low.
        """
        real, size = self.impedance_ohm.real, np.abs(self.impedance_ohm)
        middle = np.median(sliding_window_view(np.pad(real, 2, mode="edge"), 5), axis=1)
        plain = middle > MOSTLY * size
        least = float(np.min(middle[plain])) if np.any(plain) else float(np.min(middle))
        return (least, bool(np.any(plain))) if least > 0 else (float(np.min(size)), False)

    def thinned(self, per_octave: float) -> FitRows:
        """The same with no more rows than about that in an octave; those that stay are as they were."""
        kept = spaced_rows(self.frequency_hz, per_octave)
        return replace(self, frequency_hz=self.frequency_hz[kept], impedance_ohm=self.impedance_ohm[kept])


def rows_to_fit(curve: Curve, band_hz: tuple[float, float] | None) -> FitRows:
    """Cut, merge and thin a sweep.

    Rows that repeat the row before are one reading held over several frequencies, as some
    analysers write below their own resolution; they become one row at the middle, in log frequency. Magnitudes alone
    repeat by rounding where they are flat.

    Raises InputError: not an impedance, fewer than 8 rows in the band, or a value of 0 ohm.
    """
    where = curve.source or None
    if curve.unit is not Unit.OHM:
        raise InputError(
            f"a driver is fitted to its impedance, and this curve is in {curve.unit.value}", "give ohm", where
        )
    f, z, has_phase = curve.frequency_hz, curve.as_swept.value, curve.as_swept.has_phase
    if band_hz is not None:
        inside = (f >= band_hz[0]) & (f <= band_hz[1])
        f, z = f[inside], z[inside]
    band = "" if band_hz is None else f" from {band_hz[0]:g} to {band_hz[1]:g} Hz"
    if f.size < FEWEST_ROWS:
        raise InputError(
            f"{f.size} rows of impedance{band} are too few to fit a driver to", f"measure {FEWEST_ROWS} or more", where
        )
    if np.any(z == 0):
        raise InputError(f"the impedance at {f[z == 0][0]:g} Hz is 0 ohm", "remove that row", where)
    first = np.concatenate([[True], (z[1:] != z[:-1]) | (not has_phase)])
    held = int(z.size - np.count_nonzero(first))
    if np.count_nonzero(first) >= FEWEST_ROWS:
        f, z = _mean_over(np.cumsum(first) - 1, f, z)
    else:
        held = 0
    f, z = merged_rows(f, z)
    if not has_phase:
        # An impedance of passive parts is of minimum phase. It levels out at Re below the data.
        phase = minimum_phase(f, 20.0 * np.log10(np.abs(z)), low_slope_db_per_octave=0.0).phase_deg
        z = np.abs(z) * np.exp(1j * np.radians(phase))
    return FitRows(f, z, has_phase, held, curve.phase_rebuilt)


def merged_rows(f: Float, z: Complex) -> tuple[Float, Complex]:
    """Rows that stand closer than `MOST_ROWS_PER_OCTAVE` as their mean; (n,) rising and (n,) to (k,) each."""
    step = np.floor(np.log2(f / f[0]) * MOST_ROWS_PER_OCTAVE)
    return _mean_over(np.cumsum(np.concatenate([[True], np.diff(step) > 0])) - 1, f, z)


def _mean_over(group: NDArray[np.intp], f: Float, z: Complex) -> tuple[Float, Complex]:
    """Geometric mean of the frequencies and mean of the values over runs of rows numbered 0, 0, 1, .."""
    count = np.bincount(group)
    mean = (np.bincount(group, z.real) + 1j * np.bincount(group, z.imag)) / count
    return np.asarray(np.exp(np.bincount(group, np.log(f)) / count)), np.asarray(mean, dtype=complex)


# Shapes tried: resonances for each octave, and the Qs tried at each; corners of R || L cells over the whole band.
_PER_OCTAVE: Final = 6
_QS: Final = (0.6, 1.2, 2.5, 5.0, 10.0, 22.0)
_CORNERS: Final = 16
# How far below the data the one resonance that is tried there lies.
_BELOW: Final = (2.0, 30.0)
# A part that is added starts at this share of |Z| at the least.
_SMALL: Final = 1e-3

Part = Resonance | LossyInductance


class Shapes:
    """Parts of one ohm to hold against what a model leaves.

    Parameters
    ----------
    rows : the sweep, of not too many rows.
    """

    def __init__(self, rows: FitRows) -> None:
        self._rows = rows
        f, z = rows.frequency_hz, rows.impedance_ohm
        low, high = float(f[0]), float(f[-1])
        grid = np.geomspace(low, high, max(4, round(_PER_OCTAVE * math.log2(high / low))) + 1)
        tried: list[Part] = [Resonance(f0, 1.0, q) for f0 in grid.tolist() for q in _QS]
        # Rising towards the low end: a resonance far below the data, or a capacitor in series, which looks alike.
        tried += [Resonance(low / below, 1.0, 1.0) for below in _BELOW]
        # Eddy currents bend an impedance within a few octaves of the top, or not at all.
        corners = np.geomspace(max(low * 3.0, high / 300.0), 3.0 * high, _CORNERS).tolist()
        tried += [LossyInductance(1.0, 1.0 / (2.0 * math.pi * corner)) for corner in corners]
        self._tried = tried
        over = np.array([part.impedance_ohm(f) for part in tried]) / z
        self._columns: Float = np.concatenate([over.real, over.imag], axis=1) if rows.has_phase else over.real

    def best(self, residual: Complex, slopes: Float, count: int, cells: bool = True) -> list[Part]:
        """The `count` parts that would take most away, no two alike.

        Parameters
        ----------
        residual : (n,) model less data over data. slopes : (m, k) real, of that, by the model's parameters.
        cells : whether R || L cells may be among them.
        """
        left = -np.concatenate([residual.real, residual.imag]) if self._rows.has_phase else -residual.real
        span, _ = np.linalg.qr(slopes)
        columns = self._columns - (self._columns @ span) @ span.T
        square = np.maximum(np.sum(columns**2, axis=1), 1e-4 * np.sum(self._columns**2, axis=1))
        ohms = columns @ left / square
        gain = np.where(ohms > 0, ohms**2 * square, 0.0)
        out: list[Part] = []
        for i in np.argsort(-gain).tolist():
            part = self._tried[i]
            if gain[i] <= 0 or len(out) == count:
                break
            if isinstance(part, LossyInductance):
                if cells and not any(isinstance(o, LossyInductance) for o in out):
                    out.append(LossyInductance(float(ohms[i]), part.l_h * float(ohms[i])))
            elif not any(isinstance(o, Resonance) and abs(math.log(o.f_hz / part.f_hz)) < 0.5 for o in out):
                out.append(Resonance(part.f_hz, float(ohms[i]), part.q))
        return out


def overlap(one: Resonance, other: Resonance) -> bool:
    """Whether two resonances stand closer than the width of the sharper: they show as one peak."""
    return abs(math.log(one.f_hz / other.f_hz)) < 1.0 / max(one.q, other.q)
