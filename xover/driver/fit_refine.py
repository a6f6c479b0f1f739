"""Refine a driver model: least squares of the relative residual in the logarithms of its parameters."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from xover.curve import Complex, Float
from xover.driver.fit_start import FitRows
from xover.driver.model import DriverModel, LossyInductance, Resonance

# A parameter may move by a factor of e^30 from 1 before it is held: only to keep exp() finite.
_MOST_LOG: Final = 30.0
# Neighbouring residuals are never taken to hang together more than this.
_MOST_RHO: Final = 0.98
# A direction with less than this share of the best one's news is lost in rounding.
_HIDDEN: Final = 1e-13
# Steps of the solver. A size that has not settled by then is one that the data do not need.
_MOST_STEPS: Final = 60


@dataclass(frozen=True)
class Size:
    """How many parts a model has."""

    resonances: int
    lossy: int
    has_le: bool

    @property
    def parameters(self) -> int:
        """Number of free parameters."""
        return 1 + int(self.has_le) + 2 * self.lossy + 3 * self.resonances

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the free parameters, in the order of the vector that is fitted."""
        names = ["re_ohm"] + ["le_h"] * self.has_le
        names += [f"lossy_{i}_{what}" for i in range(1, self.lossy + 1) for what in ("r_ohm", "corner_hz")]
        names += [f"resonance_{k}_{what}" for k in range(1, self.resonances + 1) for what in ("f_hz", "r_ohm", "q")]
        return tuple(names)


@dataclass(frozen=True, eq=False)
class Refined:
    """A model at its least squares.

    Attributes
    ----------
    log_parameters : (k,) natural logarithms, in the order of `size.names`.
    residual : (n,) complex relative residual, or real ln|Z| residual where there is no phase.
    observations : number of real numbers in the residual, two for a row with phase.
    covariance : (k, k) of the log parameters: its diagonal's root is a relative standard error.
        Infinite where the data do not determine a parameter at all.
    """

    size: Size
    log_parameters: Float
    residual: Complex
    observations: int
    covariance: Float

    @property
    def model(self) -> DriverModel:
        """The model itself, its parts in the order of the parameters."""
        return _model(self.size, np.exp(self.log_parameters))

    @property
    def relative_rms(self) -> float:
        """Root of the mean squared relative residual |Zmodel - Z|/|Z|."""
        return float(np.sqrt(np.mean(np.abs(self.residual) ** 2)))


def pack(model: DriverModel) -> tuple[Size, Float]:
    """Turn a model into its size and its vector of log parameters."""
    size = Size(len(model.resonances), len(model.lossy), bool(model.le_h > 0))
    values = [model.re_ohm] + [model.le_h] * size.has_le
    for cell in model.lossy:
        values += [cell.r_ohm, cell.corner_hz]
    for peak in model.resonances:
        values += [peak.f_hz, peak.r_ohm, peak.q]
    return size, np.log(values)


def refine(rows: FitRows, start: DriverModel, tolerance: float = 1e-7) -> Refined:
    """Move every parameter of `start` to the least squares of the relative residual.

    Parameters
    ----------
    tolerance : relative change of the sum of squares, and of the parameters, that ends the search.
    """
    from scipy.optimize import least_squares

    size, p0 = pack(start)

    def residual(p: Float) -> Float:
        return _stack(rows, _relative(rows, _impedance(size, p, rows.frequency_hz)[0]))

    def jacobian(p: Float) -> Float:
        z, slopes = _impedance(size, p, rows.frequency_hz)
        if rows.has_phase:
            return _stack(rows, slopes / rows.impedance_ohm)
        return np.asarray((slopes / z).real.T)

    found = least_squares(
        residual, p0, jac=jacobian, method="lm", max_nfev=_MOST_STEPS, xtol=tolerance, ftol=tolerance, gtol=tolerance
    )
    p = np.clip(found.x, -_MOST_LOG, _MOST_LOG)
    left = _relative(rows, _impedance(size, p, rows.frequency_hz)[0])
    slopes = jacobian(p)
    return Refined(size, p, left, rows.observations, _covariance(slopes, left))


def _model(size: Size, values: Float) -> DriverModel:
    rest = values[1 + int(size.has_le) :].tolist()
    cells, peaks = rest[: 2 * size.lossy], rest[2 * size.lossy :]
    return DriverModel(
        re_ohm=float(values[0]),
        le_h=float(values[1]) if size.has_le else 0.0,
        lossy=tuple(
            LossyInductance(r, r / (2.0 * math.pi * fc)) for r, fc in zip(cells[::2], cells[1::2], strict=True)
        ),
        resonances=tuple(Resonance(f, r, q) for f, r, q in zip(peaks[::3], peaks[1::3], peaks[2::3], strict=True)),
    )


def _impedance(size: Size, p: Float, f: Float) -> tuple[Complex, Complex]:
    """Impedance (n,) and its derivative (k, n) by the log of each parameter."""
    values = np.exp(np.clip(p, -_MOST_LOG, _MOST_LOG))
    slopes = np.empty((values.size, f.size), dtype=complex)
    slopes[0] = values[0]
    at = 1
    if size.has_le:
        slopes[1] = 2j * math.pi * f * values[1]
        at = 2
    z = slopes[:at].sum(axis=0)
    for _ in range(size.lossy):
        r, corner = values[at : at + 2]
        x = 1j * f / corner
        cell = r * x / (1.0 + x)
        slopes[at], slopes[at + 1] = cell, -cell / (1.0 + x)
        z = z + cell
        at += 2
    for _ in range(size.resonances):
        f0, r, q = values[at : at + 3]
        up, down = f / f0, f0 / f
        below = 1.0 + 1j * q * (up - down)
        peak = r / below
        slopes[at] = peak / below * 1j * q * (up + down)
        slopes[at + 1] = peak
        slopes[at + 2] = -peak / below * 1j * q * (up - down)
        z = z + peak
        at += 3
    return z, slopes


def _relative(rows: FitRows, z: Complex) -> Complex:
    if rows.has_phase:
        return (z - rows.impedance_ohm) / rows.impedance_ohm
    return np.log(np.abs(z) / np.abs(rows.impedance_ohm)).astype(complex)


def _stack(rows: FitRows, complex_rows: Complex) -> Float:
    """(n,) or (k, n) complex to real rows (2n,) or (2n, k); without phase the real half alone."""
    parts = (complex_rows.real, complex_rows.imag) if rows.has_phase else (complex_rows.real,)
    return np.concatenate(parts, axis=-1).T


def _covariance(jacobian: Float, residual: Complex) -> Float:
    """Covariance of the log parameters, widened where neighbouring residuals hang together.

    Residuals that are model error rather than noise go up and down in long waves: rows then bring
    less news than their number says. With a lag-one correlation rho, n rows count as n (1 - rho)/(1 + rho).
    """
    n, k = jacobian.shape
    energy = float(np.sum(np.abs(residual) ** 2))
    if n <= k:
        return np.full((k, k), math.inf)
    if energy == 0.0:
        return np.zeros((k, k))
    rho = float(np.sum((residual[1:] * residual[:-1].conj()).real)) / energy
    rho = min(max(rho, 0.0), _MOST_RHO)
    spread = energy / (n - k) * (1.0 + rho) / (1.0 - rho)
    news, turn = np.linalg.eigh(jacobian.T @ jacobian)
    seen = news > news[-1] * _HIDDEN
    covariance = (turn[:, seen] / news[seen]) @ turn[:, seen].T * spread
    # What the data leave free altogether shows in the directions of no news.
    free = np.sum(turn[:, ~seen] ** 2, axis=1) > 1e-6
    covariance[free, :] = covariance[:, free] = math.inf
    return np.asarray(covariance)
