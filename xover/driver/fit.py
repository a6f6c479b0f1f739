"""Fit the electrical model of a driver to its measured impedance, and say how far it can be trusted."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike

from xover.curve import Complex, Curve, Float
from xover.driver.fit_doubts import FitResidual, failure_of, fit_warnings
from xover.driver.fit_refine import ReBelief, Refined, model_of, refine
from xover.driver.fit_search import SEEN_SHARE, Search, all_seen, criterion, noise_of
from xover.driver.fit_start import FitRows, rows_to_fit
from xover.driver.misfit import Misfit, misfit_of
from xover.driver.model import BoxAir, DriverModel, Resonance
from xover.plain import fields_of
from xover.readable import Readable
from xover.remark import Remark
from xover.rules.likeness import ABOVE_SWEEP, BELOW_SWEEP, METER_OHM, METER_RE, METER_SHARE

FINAL_TOLERANCE: Final = 1e-9
# Beside a flank below the data, a peak of less than this share of Re is not taken for the driver's own.
OWN_SHARE: Final = 0.5
# Without a meter: Re lies about so far below the lowest resistance of the sweep, and within about that of it.
RE_MIDDLE: Final = 0.95
RE_WIDTH: Final = 0.1
RE_HIDDEN: Final = 0.5
_NUDGE: Final = 1e-4

MOUNTING_NOTE: Final = (
    "fs and Q are those of the driver as it was measured: in its cabinet and through its leads, not in free air"
)


@dataclass(frozen=True)
class FittedParameter:
    """One value of the model and its uncertainty.

    Attributes
    ----------
    name : what it is, with its unit.
    value : in that unit.
    relative_se : standard error over value; infinite where the data say nothing.
    seen : False where `relative_se` is over 50 %: the value is then a placeholder, not a finding.
    """

    name: str
    value: float
    relative_se: float
    seen: bool


@dataclass(frozen=True)
class TriedModel:
    """A model size that was tried: its number of parts, residual and information criterion (BIC, lower is better)."""

    resonances: int
    lossy: int
    has_le: bool
    has_power: bool
    boxes: tuple[str, ...]
    relative_rms: float
    criterion: float
    all_seen: bool


@dataclass(frozen=True, repr=False)
class DriverFit(Readable):
    """A driver's electrical model with its evidence.

    Attributes
    ----------
    model : the equivalent circuit; its first resonance is the driver's own.
    parameters : its values with standard errors, those of fs, Qms, Qes and Qts last.
    fs_hz, qms, qes, qts : of the first resonance, as mounted; behind a port without the box; NaN where the data do not
        determine them or do not reach it, or the fit fails.
    band_hz : lowest and highest frequency that was fitted.
    rows : rows that were fitted, after merging.
    phase_used : False if only the magnitude was fitted.
    relative_rms : root mean square of |model - data|/|data|.
    worst_residual, worst_at_hz : largest |model - data|/|data| and its frequency.
    misfit : what the residual looks like there.
    failure : why nothing may be read from it: no circuit, no corner, no value of the driver; empty where it holds.
    tried : every model size that was compared, best criterion first.
    mounting_note : what fs and Q stand for.
    warnings : what is doubtful, one sentence each.
    refined : the model as it was fitted, with its covariance.
    """

    model: DriverModel
    parameters: tuple[FittedParameter, ...]
    fs_hz: float
    qms: float
    qes: float
    qts: float
    band_hz: tuple[float, float]
    rows: int
    phase_used: bool
    relative_rms: float
    worst_residual: float
    worst_at_hz: float
    misfit: Misfit
    failure: str
    tried: tuple[TriedModel, ...]
    mounting_note: str
    warnings: tuple[Remark, ...]
    refined: Refined

    @property
    def holds(self) -> bool:
        """Whether the model may stand for the driver."""
        return not self.failure

    def plain(self) -> dict[str, Any]:
        """All but the workings."""
        return fields_of(self, refined=None) | {"holds": self.holds}

    @property
    def box(self) -> BoxAir | None:
        """Air behind the driver as the sweep shows it: a port's, a leak's or a suspension that creeps; None without."""
        return self.model.resonances[0].box if self.model.resonances else None

    def impedance_ohm(self, frequency_hz: ArrayLike) -> Complex:
        """(n,) complex ohm of the model inside the band that was fitted; NaN outside."""
        f = np.asarray(frequency_hz, dtype=float)
        inside = (f >= self.band_hz[0]) & (f <= self.band_hz[1])
        return np.where(inside, self.model.impedance_ohm(f), complex(math.nan, math.nan))

    def parameter(self, name: str) -> FittedParameter:
        """One parameter by its name. Raises KeyError."""
        for found in self.parameters:
            if found.name == name:
                return found
        raise KeyError(name)


def fit_driver(curve: Curve, band_hz: tuple[float, float] | None = None, re_ohm: float | None = None) -> DriverFit:
    """Fit a driver model to an impedance sweep.

    Parts are added one by one to the relative residual, resonances put together as a driver in a box, and parts taken
    out again, as the Bayesian information criterion says (Schwarz 1978, from memory) with rows counted for less where
    what is left hangs together. No guess of the caller is needed. Without measured phase the magnitude alone is fitted:
    a phase that was rebuilt rests on how the sweep goes on beyond its ends, and is not believed.
    Several readings of one answer, and of one folder that is opened again, ask for a sweep's fit: the last are kept.

    Parameters
    ----------
    curve : impedance, ohm.
    band_hz : lowest and highest frequency to use; the whole sweep if None.
    re_ohm : DC resistance as read with a meter. Left out of the fit where the sweep contradicts it.

    Raises InputError: not an impedance, or fewer than 8 rows in the band.
    """
    return _fit(_Sweep(curve), band_hz, re_ohm)


class _Sweep:
    """A curve that is the same as another of the same numbers, wherever they were read."""

    def __init__(self, curve: Curve) -> None:
        own = curve.as_swept
        self.curve = curve
        self._numbers = own.frequency_hz.tobytes(), own.value.tobytes(), own.has_phase, own.unit

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Sweep) and self._numbers == other._numbers

    def __hash__(self) -> int:
        return hash(self._numbers)


@lru_cache(maxsize=64)
def _fit(sweep: _Sweep, band_hz: tuple[float, float] | None, re_ohm: float | None) -> DriverFit:
    rows = rows_to_fit(sweep.curve, band_hz)
    low, high = float(rows.frequency_hz[0]), float(rows.frequency_hz[-1])
    re = _belief(rows, re_ohm)
    search = Search(rows, re)
    found = search.best()
    ordered = _in_order(rows, found.model)
    chosen = refine(rows, ordered, re, noise_of(found), FINAL_TOLERANCE)
    model = chosen.model
    error = np.abs(chosen.residual) if rows.has_phase else np.abs(np.expm1(chosen.residual.real))
    worst = int(np.argmax(error))
    peaks = [peak for resonance in model.resonances for peak in resonance.peaks()]
    misfit = misfit_of(rows, chosen.residual, chosen.slopes, peaks)
    left = FitResidual(float(np.sqrt(np.mean(error**2))), float(error[worst]), float(rows.frequency_hz[worst]), misfit)
    parameters = _parameters(_with_doubtful_re(chosen, low, re.share if re.metered else math.inf))
    failure = failure_of(rows, model, left)
    shown = low <= model.fs_hz <= high and not failure
    known = {p.name: p.value for p in parameters if p.seen and shown}
    sizes = {c.size: c for c in sorted(search.tried, key=lambda c: -c.relative_rms)}
    tried = sorted(sizes.values(), key=lambda c: criterion(c, found))
    doubts = {p.name: p.relative_se for p in parameters}
    return DriverFit(
        model=model,
        parameters=parameters,
        fs_hz=known.get("fs_hz", math.nan),
        qms=known.get("qms", math.nan),
        qes=known.get("qes", math.nan),
        qts=known.get("qts", math.nan),
        band_hz=(low, high),
        rows=rows.frequency_hz.size,
        phase_used=rows.has_phase,
        relative_rms=left.relative_rms,
        worst_residual=left.worst,
        worst_at_hz=left.worst_at_hz,
        misfit=misfit,
        failure=failure,
        tried=tuple(
            TriedModel(
                *(c.size.resonances, c.size.lossy, c.size.has_le, c.size.has_power, c.size.boxes),
                *(c.relative_rms, criterion(c, found), all_seen(c, rows)),
            )
            for c in tried
        ),
        mounting_note=MOUNTING_NOTE,
        warnings=fit_warnings(rows, model, re, left, failure, doubts),
        refined=chosen,
    )


def _belief(rows: FitRows, metered_ohm: float | None) -> ReBelief:
    """What is known of Re: a meter's reading that the sweep bears out, warmth apart; else the lowest resistance."""
    least = float(np.min(np.abs(rows.impedance_ohm)))
    if metered_ohm is not None and BELOW_SWEEP * least <= metered_ohm <= ABOVE_SWEEP * least:
        # Half widths of 95 % are two standard deviations.
        share = 0.5 * math.hypot(METER_SHARE, METER_OHM / metered_ohm, METER_RE)
        return ReBelief(metered_ohm, share, True)
    lowest, plain = rows.least_ohm
    return ReBelief(RE_MIDDLE * lowest, RE_WIDTH if plain else RE_HIDDEN)


def _with_doubtful_re(fitted: Refined, lowest_hz: float, most: float) -> Refined:
    """With Re as open as the coil's law below the sweep: the resistance that the coil has left at the lowest row may go
    down with that law, or stay, or be less than the law says; a meter leaves it open by `most`."""
    model, at = fitted.model, fitted.size.names.index("re_ohm")
    bare = replace(model, resonances=()).impedance_ohm(np.array([lowest_hz])).real[0] / model.re_ohm - 1.0
    covariance = fitted.covariance.copy()
    covariance[at, at] += min(bare, most) ** 2
    return replace(fitted, covariance=covariance)


def _in_order(rows: FitRows, model: DriverModel) -> DriverModel:
    """Put the driver's own resonance first, and cells by their corner.

    Its own is the one with a box, else the higher peak in the band; but a small one beside a flank that rises below the
    band is a mode of the cone or the surround, and the driver's own lies below.
    """
    low = rows.frequency_hz[0]
    flank = any(peak.f_hz < low and peak.box is None for peak in model.resonances)

    def rank(peak: Resonance) -> tuple[int, float]:
        if peak.box is not None:
            return (0, 0.0)
        if peak.f_hz < low:
            return (2, 0.0)
        return (3 if flank and peak.r_ohm < OWN_SHARE * model.re_ohm else 1, -peak.r_ohm)

    return replace(
        model,
        lossy=tuple(sorted(model.lossy, key=lambda cell: cell.corner_hz)),
        resonances=tuple(sorted(model.resonances, key=rank)),
    )


def _parameters(fitted: Refined) -> tuple[FittedParameter, ...]:
    """Values with standard errors; those that are made of free parameters by propagation."""
    model, names = fitted.model, fitted.size.names
    unit = dict(zip(names, np.eye(len(names)), strict=True))
    values = dict(zip(names, np.exp(fitted.log_parameters).tolist(), strict=True))
    wanted: list[tuple[str, float, Float]] = []
    for name, value in values.items():
        if name.endswith("corner_hz"):
            cell = name.removesuffix("corner_hz")
            wanted.append(
                (f"{cell}l_h", values[f"{cell}r_ohm"] / (2.0 * math.pi * value), unit[f"{cell}r_ohm"] - unit[name])
            )
        else:
            wanted.append((name, value, unit[name]))
    if model.resonances:
        slopes = np.zeros((len(_readings(model)), len(names)))
        for i, name in enumerate(names):
            if name == "re_ohm" or name.startswith("resonance_1_"):
                up, down = (
                    _readings(model_of(fitted.size, np.exp(fitted.log_parameters + sign * _NUDGE * unit[name])))
                    for sign in (1.0, -1.0)
                )
                slopes[:, i] = [math.log(up[k] / down[k]) / (2.0 * _NUDGE) for k in up]
        wanted += [(name, value, slope) for (name, value), slope in zip(_readings(model).items(), slopes, strict=True)]
    return tuple(_with_error(fitted, *each) for each in wanted)


def _readings(model: DriverModel) -> dict[str, float]:
    return {"fs_hz": model.fs_hz, "qms": model.qms, "qes": model.qes, "qts": model.qts}


def _with_error(fitted: Refined, name: str, value: float, weight: Float) -> FittedParameter:
    used = np.abs(weight) > _NUDGE**2
    part = fitted.covariance[np.ix_(used, used)]
    square = float(weight[used] @ part @ weight[used]) if np.all(np.isfinite(part)) else math.inf
    error = math.sqrt(max(square, 0.0))
    return FittedParameter(name, float(value), error, error <= SEEN_SHARE)
