"""What a driver's impedance can be where its sweep does not reach: a disc of the complex plane, never a guess.

Near the sweep the fitted model goes on, and its error is bounded: below the lowest resonance, where an octave or more
of its flank was swept (so that no second peak of a vented box can hide below), and above the sweep's end, where the
coil's rise has begun. The bound is a floor, a multiple of the model's residual (that near the end, if it is larger),
and a share of what the model itself moves beyond the end; half an octave to two octaves away it held for 98 of 100
ends and more of the invented drivers that it was set by (tests/driver/test_beyond.py prints the figures). Elsewhere
only this is taken for granted: a driver is its DC resistance in series with something passive, so that the real part
never falls below that resistance. The half plane is cut to a disc that holds every parallel resonance of up to `WIDE`
times that resistance, and any coil's rise so high.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from xover.curve import Complex, Curve, Float
from xover.driver.minimum_phase import minimum_phase, minimum_phase_curve
from xover.errors import InputError

if TYPE_CHECKING:
    from xover.driver.fit import DriverFit

LEAST_FLANK: Final = 2.0
"""The lowest resonance lies this far above the sweep's beginning, or the model is not followed below it."""
FARTHEST_OCTAVES: Final = 2.0
"""Above its end the model is followed so far: further was not found to hold."""
MOST_SHARE: Final = 0.5
"""A bound wider than this share of the impedance says less than passivity does."""
_BELOW: Final = (0.005, 2.0, 0.1, 0.0)
_ABOVE: Final = (0.03, 3.0, 0.25, 0.05)
"""Floor, multiple of the residual, share of the model's own move, and what goes with the square of the octaves."""
_WITHOUT_PHASE: Final = 2.0
"""Magnitudes alone tell less: the bound below is so many times as wide, and above none is told but passivity's."""
_NEAR_OCTAVES: Final = 0.25
"""The residual is that of the whole sweep, or that of its last rows where it is larger."""
_SWEPT_SHARE, _METERED_SHARE = 0.5, 0.8
"""The DC resistance is at least these shares of the lowest real part that was swept, and of what is read or printed."""
WIDE: Final = 100.0


def beyond(curve: Curve, frequency_hz: Float, re_ohm: float | None = None) -> tuple[Complex, Float]:
    """Give the disc that holds a driver's impedance, at any frequency.

    Parameters
    ----------
    curve : impedance sweep, ohm. frequency_hz : (n,) > 0. re_ohm : DC resistance by a meter, where known.

    Returns
    -------
    (n,) complex centre and (n,) radius, ohm; where the sweep reaches, its value and 0.
    """
    f = np.asarray(frequency_hz, dtype=float)
    centre, radius = curve.at(f), np.zeros(f.shape)
    outside = (f < curve.lowest_hz) | (f > curve.highest_hz)
    if not outside.any():
        return centre, radius
    by_level = curve.phase_rebuilt or not curve.has_phase
    smallest = float(np.min(np.abs(curve.value)))
    lowest = smallest if by_level else max(float(np.min(curve.value.real)), 0.0)
    least = _SWEPT_SHARE * lowest if re_ohm is None else _METERED_SHARE * min(re_ohm, lowest)
    radius[outside] = 0.5 * WIDE * smallest
    centre[outside] = least + radius[outside]
    fit = _fitted(curve)
    if fit is None:
        return centre, radius
    for rows, edge, shares in ((f < curve.lowest_hz, 0, _BELOW), (f > curve.highest_hz, -1, _ABOVE)):
        end = float(curve.frequency_hz[edge])
        if not rows.any() or not _goes_on(fit, end, edge) or (edge and by_level):
            continue
        near = np.abs(np.log2(curve.frequency_hz / end)) <= _NEAR_OCTAVES
        ratio = fit.model.impedance_ohm(curve.frequency_hz[near]) / curve.value[near]
        there = np.abs((np.abs(ratio) if by_level else ratio) - 1.0)
        missed = max(fit.relative_rms, float(np.sqrt(np.mean(there**2))))
        z = fit.model.impedance_ohm(f[rows])
        floor, residual, moved, square = shares
        octaves = np.abs(np.log2(f[rows] / end))
        bound = floor + residual * missed + square * octaves**2
        bound = bound + moved * np.abs(1.0 - fit.model.impedance_ohm(np.array([end])) / z)
        if by_level:
            bound = _WITHOUT_PHASE * bound
        good = (bound < MOST_SHARE) & ((edge == 0) | (octaves <= FARTHEST_OCTAVES))
        at: NDArray[np.intp] = np.flatnonzero(rows)[good]
        centre[at], radius[at] = z[good], (bound * np.abs(z))[good]
    return centre, radius


def with_minimum_phase(curve: Curve) -> tuple[Curve, str]:
    """Give an impedance without a phase its minimum phase, and say what that rests on beyond the sweep's ends.

    Where a model holds it goes on as that does: the phase is the model's, and the minimum phase of what the model
    misses of the magnitude. Else straight tails go on. Raises InputError: as `minimum_phase_curve`.
    """
    fit = _fitted(curve)
    if fit is None or not fit.holds:
        rebuilt, found = minimum_phase_curve(curve)
        return rebuilt, found.slopes_from + found.smoothed
    model = fit.model.impedance_ohm(curve.frequency_hz)
    missed_db = 20.0 * np.log10(np.abs(curve.value / model))
    found = minimum_phase(curve.frequency_hz, missed_db, 0.0, 0.0)
    angle = np.angle(model) + np.radians(found.phase_deg)
    value = np.abs(curve.value) * np.exp(1j * angle)
    words = f"beyond the ends of its sweep as its fitted model goes on{found.smoothed}"
    return replace(curve, value=value, has_phase=True, phase_rebuilt=True), words


def _goes_on(fit: DriverFit, end_hz: float, edge: int) -> bool:
    """Whether the model may be followed beyond an end of the sweep."""
    peaks = [peak.f_hz for resonance in fit.model.resonances for peak in resonance.peaks()]
    if not fit.holds or not peaks:
        return False
    if edge == 0:
        return min(peaks) >= LEAST_FLANK * end_hz
    return bool(fit.model.impedance_ohm(np.array([end_hz]))[0].imag > 0)


def _fitted(curve: Curve) -> DriverFit | None:
    """None where it cannot be fitted."""
    from xover.driver.fit import fit_driver  # takes a while to load, and most sweeps reach

    try:
        return fit_driver(curve)
    except InputError:
        return None
