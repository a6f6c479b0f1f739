"""Refine a driver model: least squares of the relative residual in the logarithms of its parameters, with priors."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import NDArray

from xover.curve import Complex, Float
from xover.driver.fit_start import FitRows
from xover.driver.model import COIL_HZ, BoxAir, DriverModel, LossyInductance, PowerCoil, Resonance

# A parameter may move by a factor of e^30 from 1 before it is held: only to keep exp() finite.
_MOST_LOG: Final = 30.0
# Neighbouring residuals are never taken to hang together more than this.
_MOST_RHO: Final = 0.98
# A direction with less than this share of the best one's news is lost in rounding.
_HIDDEN: Final = 1e-13
# Steps of the solver. A size that has not settled by then is one that the data do not need.
_MOST_STEPS: Final = 60
# What is believed beforehand: the middle of a parameter and the standard deviation of its logarithm, wide enough that
# a sweep of some octaves overrules it. Common practice, no published source.
_BELIEVED: Final = {"coil_power": (0.65, 0.3), "q": (3.0, 1.5), "box_stiffness": (1.0, 1.2), "box_port_q": (50.0, 1.0)}
# A power of 1 is an inductance without losses, which is another part.
LARGEST_POWER: Final = 0.999
_HELD: Final = 1e4
_RESONANCE: Final = ("f_hz", "r_ohm", "q")


@dataclass(frozen=True)
class Size:
    """How many parts a model has.

    Attributes
    ----------
    boxes : of the first resonances, which have a box: "leak" or "port".
    """

    resonances: int
    lossy: int
    has_le: bool
    has_power: bool = False
    boxes: tuple[str, ...] = ()

    @property
    def parameters(self) -> int:
        """Number of free parameters."""
        return len(self.names)

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the free parameters, in the order of the vector that is fitted."""
        names = ["re_ohm"] + ["le_h"] * self.has_le + ["coil_ohm", "coil_power"] * self.has_power
        names += [f"lossy_{i}_{what}" for i in range(1, self.lossy + 1) for what in ("r_ohm", "corner_hz")]
        for k in range(1, self.resonances + 1):
            box = self.boxes[k - 1] if k <= len(self.boxes) else ""
            what = [
                *_RESONANCE,
                *(("box_stiffness", "box_leak_hz") if box else ()),
                *(("box_tuned_hz", "box_port_q") if box == "port" else ()),
            ]
            names += [f"resonance_{k}_{w}" for w in what]
        return tuple(names)


@dataclass(frozen=True)
class ReBelief:
    """What is known of Re besides the sweep: its middle, ohm, and the standard deviation of its logarithm."""

    ohm: float
    share: float
    metered: bool = False


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
    slopes : (m, k) of the stacked real residual by each log parameter.
    """

    size: Size
    log_parameters: Float
    residual: Complex
    observations: int
    covariance: Float
    slopes: Float

    @cached_property
    def model(self) -> DriverModel:
        """The model itself, its parts in the order of the parameters."""
        return model_of(self.size, np.exp(self.log_parameters))

    @cached_property
    def relative_rms(self) -> float:
        """Root of the mean squared relative residual |Zmodel - Z|/|Z|."""
        return float(np.sqrt(np.mean(np.abs(self.residual) ** 2)))

    @cached_property
    def rho(self) -> float:
        """How far neighbouring residuals hang together: their correlation at a distance of one row."""
        return correlation(self.residual)


def correlation(residual: Complex) -> float:
    """Lag-one correlation, 0 to nearly 1."""
    energy = float(np.sum(np.abs(residual) ** 2))
    rho = float(np.sum((residual[1:] * residual[:-1].conj()).real)) / energy if energy else 0.0
    return min(max(rho, 0.0), _MOST_RHO)


def pack(model: DriverModel) -> tuple[Size, Float]:
    """Turn a model, those of its resonances that have a box first, into its size and its vector of log parameters."""
    boxes = tuple("port" if p.box.tuned_hz > 0 else "leak" for p in model.resonances if p.box is not None)
    size = Size(len(model.resonances), len(model.lossy), bool(model.le_h > 0), model.coil is not None, boxes)
    values = [model.re_ohm] + [model.le_h] * size.has_le
    if model.coil is not None:
        values += [model.coil.ohm, model.coil.power]
    for cell in model.lossy:
        values += [cell.r_ohm, cell.corner_hz]
    for peak in model.resonances:
        values += [peak.f_hz, peak.r_ohm, peak.q]
        if peak.box is not None:
            values += [peak.box.stiffness, peak.box.leak_hz]
            if peak.box.tuned_hz > 0:
                values += [peak.box.tuned_hz, peak.box.port_q]
    return size, np.log(values)


def refine(
    rows: FitRows,
    start: DriverModel,
    re: ReBelief,
    noise: float,
    tolerance: float = 1e-6,
    steps: int = _MOST_STEPS,
    *,
    held: bool = False,
) -> Refined:
    """Move every parameter of `start` to the least squares of the relative residual.

    Parameters
    ----------
    re : what is believed of Re. noise : relative rms that the residual is held to, against what is believed.
    tolerance : step of the log parameters that ends the search.
    held : whether a coil's power stays as it is believed: where a peak is missing it would stand for that.
    """
    size, p = pack(start)
    middle, weight = _beliefs(size, re, noise)
    if held and size.has_power:
        weight[size.names.index("coil_power")] = _HELD

    def at(p: Float) -> tuple[Complex, Float, Float]:
        z, slopes = impedance_and_slopes(size, p, rows.frequency_hz)
        left = _relative(rows, z)
        over = slopes / rows.impedance_ohm if rows.has_phase else (slopes / z).real.astype(complex)
        return left, _stack(rows, left), _stack(rows, over)

    left, r, jacobian = at(p)
    cost = float(r @ r + np.sum((weight * (p - middle)) ** 2))
    damping = 1e-3
    for _ in range(steps):
        normal = jacobian.T @ jacobian + np.diag(weight**2)
        slope = jacobian.T @ r + weight**2 * (p - middle)
        while damping < 1e8:
            step = np.linalg.solve(normal + damping * np.diag(np.diag(normal) + 1e-12 * np.trace(normal)), -slope)
            step = np.clip(step, -1.0, 1.0)
            if np.max(np.abs(step)) < tolerance:
                damping = math.inf
                break
            tried = np.clip(p + step, -_MOST_LOG, _MOST_LOG)
            new = at(tried)
            new_cost = float(new[1] @ new[1] + np.sum((weight * (tried - middle)) ** 2))
            if new_cost <= cost:
                break
            damping *= 5.0
        if damping >= 1e8:
            break
        gained = cost - new_cost
        p, cost, (left, r, jacobian) = tried, new_cost, new
        damping = max(damping / 8.0, 1e-12)
        if np.max(np.abs(step)) < tolerance or gained <= 1e-3 * tolerance * cost:
            break
    return Refined(size, p, left, rows.observations, _covariance(jacobian, left, weight / noise), jacobian)


def _beliefs(size: Size, re: ReBelief, noise: float) -> tuple[Float, Float]:
    """(k,) middle of each log parameter, and its weight beside residuals; 0 where nothing is believed."""
    middle, weight = np.zeros(size.parameters), np.zeros(size.parameters)
    for i, name in enumerate(size.names):
        believed = _BELIEVED.get(name, _BELIEVED.get(name.split("_", 2)[-1]))
        if name == "re_ohm":
            believed = re.ohm, re.share
        if believed is not None:
            middle[i], weight[i] = math.log(believed[0]), noise / believed[1]
    return middle, weight


def model_of(size: Size, values: Float) -> DriverModel:
    """The model of (k,) values, in the order of `size.names`."""
    v = dict(zip(size.names, values.tolist(), strict=True))
    peaks = []
    for k in range(1, size.resonances + 1):
        of = f"resonance_{k}_"
        f, r, q = (v[of + what] for what in _RESONANCE)
        box = None
        if of + "box_stiffness" in v:
            port = v.get(of + "box_tuned_hz", 0.0), v.get(of + "box_port_q", math.inf)
            box = BoxAir(v[of + "box_stiffness"], v[of + "box_leak_hz"], *port)
        peaks.append(Resonance(f, r, q, box))
    cells = [(v[f"lossy_{i}_r_ohm"], v[f"lossy_{i}_corner_hz"]) for i in range(1, size.lossy + 1)]
    return DriverModel(
        re_ohm=v["re_ohm"],
        le_h=v.get("le_h", 0.0),
        lossy=tuple(LossyInductance(r, r / (2.0 * math.pi * fc)) for r, fc in cells),
        resonances=tuple(peaks),
        coil=PowerCoil(v["coil_ohm"], min(v["coil_power"], LARGEST_POWER)) if size.has_power else None,
    )


def impedance_and_slopes(size: Size, p: Float, f: Float) -> tuple[Complex, Complex]:
    """Impedance (n,) and its derivative (k, n) by each log parameter, p (k,) in the order of `size.names`."""
    values = np.exp(np.clip(p, -_MOST_LOG, _MOST_LOG))
    slopes = np.empty((values.size, f.size), dtype=complex)
    slopes[0] = values[0]
    at = 1
    if size.has_le:
        slopes[1] = 2j * math.pi * f * values[1]
        at = 2
    z = slopes[:at].sum(axis=0)
    if size.has_power:
        turn = np.log(f / COIL_HZ) + 0.5j * math.pi
        slopes[at] = values[at] * np.exp(values[at + 1] * turn)
        slopes[at + 1] = slopes[at] * values[at + 1] * turn
        z = z + slopes[at]
        at += 2
    for _ in range(size.lossy):
        r, corner = values[at : at + 2]
        x = 1j * f / corner
        cell = r * x / (1.0 + x)
        slopes[at], slopes[at + 1] = cell, -cell / (1.0 + x)
        z = z + cell
        at += 2
    for k in range(size.resonances):
        f0, r, q = values[at : at + 3]
        mass, spring = 1j * q * f / f0, -1j * q * f0 / f
        box = size.boxes[k] if k < len(size.boxes) else ""
        if box:
            stiffness, leak = values[at + 3 : at + 5]
            tuned, port_q = values[at + 5 : at + 7] if box == "port" else (0.0, math.inf)
            loss = 1j * f + tuned / port_q
            port = tuned**2 / (1j * f * loss)
            air = 1.0 / (1.0 - 1j * leak / f + port)
            own, spring = spring, spring * (1.0 + stiffness * air)
        below = 1.0 + mass + spring
        peak = r / below
        by = -peak / below
        slopes[at], slopes[at + 1], slopes[at + 2] = by * (spring - mass), peak, by * (mass + spring)
        if box:
            slopes[at + 3] = by * own * stiffness * air
            slopes[at + 4] = by * own * stiffness * air**2 * 1j * leak / f
            if box == "port":
                slopes[at + 6] = -by * own * stiffness * air**2 * port * tuned / port_q / loss
                slopes[at + 5] = -by * own * stiffness * air**2 * port * 2.0 - slopes[at + 6]
        z = z + peak
        at += 3 + 2 * bool(box) + 2 * (box == "port")
    return z, slopes


def _relative(rows: FitRows, z: Complex) -> Complex:
    if rows.has_phase:
        return (z - rows.impedance_ohm) / rows.impedance_ohm
    return np.log(np.abs(z) / np.abs(rows.impedance_ohm)).astype(complex)


def _stack(rows: FitRows, complex_rows: Complex) -> Float:
    """(n,) or (k, n) complex to real rows (2n,) or (2n, k); without phase the real half alone."""
    parts = (complex_rows.real, complex_rows.imag) if rows.has_phase else (complex_rows.real,)
    return np.concatenate(parts, axis=-1).T


def _repeated(residual: Complex) -> float:
    """How many rows say what one would: 1 + 2 sum of the correlations up to the first that is not above 0.

    Geyer 1992, from memory.
    """
    energy, total = float(np.sum(np.abs(residual) ** 2)), 1.0
    for lag in range(1, residual.size // 2):
        rho = float(np.sum((residual[lag:] * residual[:-lag].conj()).real)) / energy
        if rho <= 0.0:
            break
        total += 2.0 * rho
    return total


def _covariance(jacobian: Float, residual: Complex, precision: Float) -> Float:
    """Covariance of the log parameters, widened where neighbouring residuals hang together.

    Residuals that are model error rather than noise go up and down in long waves: rows then bring
    less news than their number says (`_repeated`).

    precision : (k,) 1 over the standard deviation that is believed beforehand; 0 without one.
    """
    n, k = jacobian.shape
    energy = float(np.sum(np.abs(residual) ** 2))
    if n <= k:
        return np.full((k, k), math.inf)
    if energy == 0.0:
        return np.zeros((k, k))
    spread = energy / (n - k) * _repeated(residual)
    news, turn = np.linalg.eigh(jacobian.T @ jacobian / spread + np.diag(precision**2))
    seen: NDArray[np.bool_] = news > news[-1] * _HIDDEN
    covariance = (turn[:, seen] / news[seen]) @ turn[:, seen].T
    # What the data leave free altogether shows in the directions of no news.
    free = np.sum(turn[:, ~seen] ** 2, axis=1) > 1e-6
    covariance[free, :] = covariance[:, free] = math.inf
    return np.asarray(covariance)
