"""Start values for a driver fit, found in the data without guessing where a peak is.

With the frequencies and Qs held, the model is linear in its resistances and its inductance, and these
are not negative: non-negative least squares gives the one best answer. So the few held values are tried
over coarse grids, and no start can be far off: humps that are no peaks are found as well as peaks.

The rows of a sweep that a driver model is fitted to.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from xover.curve import Complex, Curve, Float, Unit
from xover.driver.minimum_phase import minimum_phase
from xover.driver.model import DriverModel, LossyInductance, Resonance
from xover.errors import InputError

FEWEST_ROWS: Final = 8
# Rows closer than this are averaged: finer detail than any part of a driver, and mere speed.
MOST_ROWS_PER_OCTAVE: Final = 96


@dataclass(frozen=True, eq=False)
class FitRows:
    """Rows to fit.

    Attributes
    ----------
    frequency_hz : (n,).
    impedance_ohm : (n,) complex; without phase, the magnitude with its minimum phase, for start values only.
    has_phase : whether the phase was measured and counts.
    held : rows left out because they repeat the row before, value for value.
    """

    frequency_hz: Float
    impedance_ohm: Complex
    has_phase: bool
    held: int

    @property
    def observations(self) -> int:
        """Number of real numbers that were measured: two for a row with phase."""
        return self.frequency_hz.size * (2 if self.has_phase else 1)


def rows_to_fit(curve: Curve, band_hz: tuple[float, float] | None) -> FitRows:
    """Cut, merge and thin a sweep.

    Rows that repeat the row before are one reading held over several frequencies, as some
    analysers write below their own resolution; they become one row at the middle, in log frequency.

    Raises InputError: not an impedance, fewer than 8 rows in the band, or a value of 0 ohm.
    """
    where = curve.source or None
    if curve.unit is not Unit.OHM:
        raise InputError(
            f"a driver is fitted to its impedance, and this curve is in {curve.unit.value}", "give ohm", where
        )
    f, z = curve.frequency_hz, curve.value
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
    first = np.concatenate([[True], z[1:] != z[:-1]])
    held = int(z.size - np.count_nonzero(first))
    if np.count_nonzero(first) >= FEWEST_ROWS:
        f, z = _mean_over(np.cumsum(first) - 1, f, z)
    else:
        held = 0
    step = np.floor(np.log2(f / f[0]) * MOST_ROWS_PER_OCTAVE)
    f, z = _mean_over(np.cumsum(np.concatenate([[True], np.diff(step) > 0])) - 1, f, z)
    if not curve.has_phase:
        # An impedance of passive parts is of minimum phase. It levels out at Re below the data.
        phase = minimum_phase(f, 20.0 * np.log10(np.abs(z)), low_slope_db_per_octave=0.0).phase_deg
        z = np.abs(z) * np.exp(1j * np.radians(phase))
    return FitRows(f, z, curve.has_phase, held)


def _mean_over(group: NDArray[np.intp], f: Float, z: Complex) -> tuple[Float, Complex]:
    """Geometric mean of the frequencies and mean of the values over runs of rows numbered 0, 0, 1, .."""
    count = np.bincount(group)
    mean = (np.bincount(group, z.real) + 1j * np.bincount(group, z.imag)) / count
    return np.asarray(np.exp(np.bincount(group, np.log(f)) / count)), np.asarray(mean, dtype=complex)


# Resonances tried for each octave, and the Qs tried at each.
_PER_OCTAVE: Final = 4
_QS: Final = (0.6, 1.5, 4.0, 10.0)
# Highest rows of |Z| that are tried as centres besides the grid.
_PEAKS: Final = 10
# How far below the data the one resonance that is tried there lies.
_BELOW: Final = 30.0
# Rows that the coarse search looks at, about.
_ROWS: Final = 100
# Corners of R || L cells that are tried, for each band.
_CORNERS: Final = 7
# A part that the coarse search sets to zero starts at this share of Re.
_SMALL: Final = 1e-2


class StartSearch:
    """Coarse search over one sweep.

    Parameters
    ----------
    rows : the sweep.
    """

    def __init__(self, rows: FitRows) -> None:
        step = max(1, rows.frequency_hz.size // _ROWS)
        self._f = rows.frequency_hz[::step]
        self._z = rows.impedance_ohm[::step]
        low, high = float(rows.frequency_hz[0]), float(rows.frequency_hz[-1])
        # Eddy currents bend an impedance within a few octaves of the top, or not at all.
        self._corners = np.geomspace(max(low * 3.0, high / 300.0), 3.0 * high, _CORNERS)
        x = 1j * self._f / self._corners[:, None]
        self._lossy = self._relative(x / (1.0 + x))
        self._series = self._relative(np.stack([np.ones_like(self._z), 2j * math.pi * self._f]))
        grid = np.geomspace(low, high, max(4, round(_PER_OCTAVE * math.log2(high / low))) + 1)
        magnitude = np.abs(self._z)
        peaks = np.flatnonzero((magnitude[1:-1] > magnitude[:-2]) & (magnitude[1:-1] >= magnitude[2:])) + 1
        best = peaks[np.argsort(-magnitude[peaks])][:_PEAKS]
        centres = np.unique(np.concatenate([grid, self._f[best]])).tolist()
        # The last one stands for a resonance far below the data, or a capacitor in series: both look alike.
        self._tried = [(f0, q) for f0 in centres for q in _QS] + [(low / _BELOW, 1.0)]
        self._shapes = self._relative(self._unit_peaks(self._tried))
        self._known: dict[tuple[int, ...], int] = {}

    def resonances(self, count: int) -> tuple[tuple[float, float], ...]:
        """Best (frequency, Q) of `count` resonances; each is sought anew once all are in."""
        chosen: list[int] = []
        for _ in range(count):
            chosen.append(self._best_next(chosen))
        if count > 1:
            for i in range(count):
                chosen[i] = self._best_next(chosen[:i] + chosen[i + 1 :])
        return tuple(self._tried[i] for i in chosen)

    def model(self, resonances: tuple[tuple[float, float], ...], lossy: int) -> DriverModel:
        """Best model with given resonances and `lossy` cells R || L, all parts above zero."""
        peaks = self._relative(self._unit_peaks(list(resonances)))
        sets = [list(each) for each in itertools.combinations(range(_CORNERS), lossy)]
        solved = [self._solve(self._series, self._lossy[each], peaks) for each in sets]
        best = int(np.argmin([left for _, left in solved]))
        weights = solved[best][0]
        corners = self._corners[sets[best]]
        re = float(weights[0]) or float(np.min(np.abs(self._z)))
        rest = [float(w) if w > 0 else _SMALL * re for w in weights[2:]]
        return DriverModel(
            re_ohm=re,
            le_h=float(weights[1]) or _SMALL * re / (2.0 * math.pi * float(self._f[-1])),
            lossy=tuple(
                LossyInductance(r, r / (2.0 * math.pi * float(c))) for r, c in zip(rest[:lossy], corners, strict=True)
            ),
            resonances=tuple(Resonance(f0, r, q) for r, (f0, q) in zip(rest[lossy:], resonances, strict=True)),
        )

    def _unit_peaks(self, each: list[tuple[float, float]]) -> Complex:
        """(k, n) resonances of 1 ohm, given as (frequency, Q)."""
        rows = [Resonance(f0, 1.0, q).impedance_ohm(self._f) for f0, q in each]
        return np.array(rows, dtype=complex).reshape(len(each), self._f.size)

    def _relative(self, columns: Complex) -> Float:
        """(k, n) complex over the data, real and imaginary parts side by side: (k, 2n)."""
        over = columns / self._z
        return np.concatenate([over.real, over.imag], axis=1)

    def _solve(self, *blocks: Float) -> tuple[Float, float]:
        """Non-negative weights whose sum comes closest to 1, the data over themselves, and what is left."""
        from scipy.optimize import nnls

        goal = np.concatenate([np.ones(self._z.size), np.zeros(self._z.size)])
        weights, left = nnls(np.concatenate(blocks).T, goal)
        return weights, float(left)

    def _best_next(self, others: list[int]) -> int:
        """Row of the resonance that leaves least beside the coil and the others."""
        key = tuple(sorted(others))
        if key not in self._known:
            fixed = np.concatenate([self._series, self._lossy[1::2], self._shapes[others]])
            self._known[key] = int(np.argmin([self._left(fixed, others, k) for k in range(len(self._tried))]))
        return self._known[key]

    def _left(self, fixed: Float, others: list[int], k: int) -> float:
        if any(overlap(self._tried[i], self._tried[k]) for i in others):
            return math.inf
        return self._solve(fixed, self._shapes[k : k + 1])[1]


def overlap(one: tuple[float, float], other: tuple[float, float]) -> bool:
    """Whether two resonances (frequency, Q) stand closer than half the sum of their widths: they show as one peak."""
    return abs(math.log(one[0] / other[0])) < 0.5 * (1.0 / one[1] + 1.0 / other[1])
