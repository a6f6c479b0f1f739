"""The rows of a sweep that a driver model is fitted to."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from xover.curve import Complex, Curve, Float, Unit
from xover.driver.minimum_phase import minimum_phase
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

    Raises
    ------
    InputError : not an impedance, fewer than 8 rows in the band, or a value of 0 ohm.
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
