"""How a driver's impedance moves where the driver has changed a little since it was measured: in fs, Q, Bl and Re.

A warmer coil, another climate, years of play. The measured curve stays; what is added is the difference that the change
makes to the driver's model. With M its motional impedance, L what the suspension is in it and R its losses,

    M' = b M / (1 + M (k - 1)/(jwL) + M (c - 1)/R)

whatever box or horn the cone works on: a suspension k times as stiff and losses c times as large are admittances beside
M, a force factor scales it by b. Derived; with the moving mass kept, k = fs'^2, c = fs'/Qms' and b = Bl'^2, each by
its old value; Qes follows from them, Re' fs'/b.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import NDArray

from xover.curve import Complex, Curve, Float, spaced_rows
from xover.driver.fit import fit_driver
from xover.driver.model import DriverModel
from xover.errors import InputError
from xover.rules.likeness import DRIFT_FITS, DRIVER_DRIFT, FIT_FAILS

MISSED: Final = 0.04
"""Share of a change that its model misses. The middle one of the invented drivers (tests/invented): 0.03."""
KNOBS: Final = ("fs", "Qms", "Bl", "Re")
# Rows in an octave that a model is fitted to: the change rests on its shape, and not on its last digit.
_ROWS: Final = 12
# The slope of a measured curve is taken over so many octaves to either side, as a single row is noise.
_SLOPE_OCTAVES: Final = 0.1


@dataclass(frozen=True, eq=False)
class DriftingDriver:
    """A measured impedance, and how it moves with ln fs, ln Qms, ln Bl and ln Re of its driver.

    Attributes
    ----------
    impedance_ohm : (n,) as measured.
    motional_ohm : (n,) M of its model, 0 without one. stiffness : (n,) 1/(jwL). loss : 1/R. re_ohm : DC resistance.
    shift : (n,) d Z/d ln f where no model holds and fs shifts the curve; else zeros.
    """

    impedance_ohm: Complex
    motional_ohm: Complex
    stiffness: Complex
    loss: float
    re_ohm: Complex
    shift: Complex
    spread: float = DRIVER_DRIFT

    @property
    def knobs(self) -> tuple[str, ...]:
        """What may have moved."""
        return KNOBS

    @property
    def spreads(self) -> tuple[float, ...]:
        """Standard deviation of the logarithm of each."""
        return (self.spread,) * len(KNOBS)

    def at(self, turned: Float) -> tuple[Complex, Complex]:
        """(k, n) ohm and (k, n, 4) relative derivatives, for logarithms (k, 4) of fs, Qms, Bl, Re."""
        fs, qms, bl, re = (turned[:, i, None] for i in range(4))
        stiff, lossy = np.exp(2.0 * fs), np.exp(fs - qms)
        beside = self.motional_ohm / (
            1.0 + self.motional_ohm * ((stiff - 1.0) * self.stiffness + (lossy - 1.0) * self.loss)
        )
        moving = np.exp(2.0 * bl) * beside
        ohm = self.impedance_ohm + (np.exp(re) - 1.0) * self.re_ohm + (moving - self.motional_ohm) - fs * self.shift
        by_loss = moving * beside * lossy * self.loss
        by_fs = -2.0 * moving * beside * stiff * self.stiffness - by_loss - self.shift
        slopes = np.stack([by_fs, by_loss, 2.0 * moving, np.exp(re) * self.re_ohm + 0.0 * moving], axis=-1)
        with np.errstate(invalid="ignore"):  # NaN where the driver is not known
            return np.asarray(ohm, dtype=complex), np.asarray(slopes / ohm[..., None], dtype=complex)

    @cached_property
    def missed(self) -> Float:
        """(n,) what the model may miss of such a change, relative to the impedance, one standard deviation."""
        slopes = self.at(np.zeros((1, len(KNOBS))))[1][0]
        return np.asarray(MISSED * self.spread * np.sqrt((np.abs(slopes) ** 2).sum(axis=-1)))

    def only(self, rows: NDArray[np.intp]) -> DriftingDriver:
        """The same at fewer frequencies."""
        names = ("impedance_ohm", "motional_ohm", "stiffness", "re_ohm", "shift")
        return replace(self, **{name: getattr(self, name)[rows] for name in names})


def moving_model(curve: Curve) -> DriverModel | None:
    """The model that tells how a driver's sweep moves; None where none does.

    One that misses by too much for a figure of the driver may serve, one with a DC resistance that cannot be does not.
    """
    try:
        fitted = fit_driver(_thinned(curve))
    except InputError:
        return None
    return fitted.model if fitted.holds or FIT_FAILS < fitted.relative_rms <= DRIFT_FITS else None


def drifting_driver(
    curve: Curve,
    frequency_hz: Float,
    model: DriverModel | None,
    spread: float = DRIVER_DRIFT,
    impedance_ohm: Complex | None = None,
) -> DriftingDriver:
    """A driver's sweep at (n,) other frequencies, with the changes that its model tells.

    NaN beyond the sweep, unless `impedance_ohm` says what it is.
    """
    ohm = curve.at(frequency_hz) if impedance_ohm is None else impedance_ohm
    nothing = np.zeros(frequency_hz.shape, dtype=complex)
    if model is None:
        shift = np.nan_to_num(ohm) * log_slope(curve.at, frequency_hz)
        return DriftingDriver(ohm, nothing, nothing, 0.0, ohm, shift, spread)
    peaks = model.resonances
    moving = np.asarray(sum((peak.impedance_ohm(frequency_hz) for peak in peaks), nothing), dtype=complex)
    # Far below every resonance M is jwL, L the sum of all.
    stiffness, loss = nothing, 0.0
    if peaks:
        stiffness = nothing + 1.0 / (2j * math.pi * frequency_hz * sum(peak.l_h for peak in peaks))
        loss = 1.0 / peaks[0].r_ohm
    re_ohm = np.full_like(nothing, model.re_ohm)
    return DriftingDriver(ohm, moving, stiffness, loss, re_ohm, nothing, spread)


def _thinned(curve: Curve) -> Curve:
    kept = spaced_rows(curve.frequency_hz, _ROWS)
    if kept.size < 4 * _ROWS:
        return curve
    return replace(curve, frequency_hz=curve.frequency_hz[kept], value=curve.value[kept])


def log_slope(impedance_ohm: Callable[[Float], Complex], frequency_hz: Float) -> Complex:
    """(n,) d ln Z/d ln f, one-sided at the ends of the sweep; 0 where it cannot be told."""
    step = 2.0**_SLOPE_OCTAVES
    below, here, above = (impedance_ohm(frequency_hz * x) for x in (1.0 / step, 1.0, step))
    rise, width = np.zeros_like(here), np.zeros(here.shape)
    for one, other in ((here, above), (below, here)):
        known = np.isfinite(one) & np.isfinite(other)
        rise[known] += np.log(other[known] / one[known])
        width[known] += math.log(step)
    return np.divide(rise, width, out=np.zeros_like(rise), where=width > 0)
