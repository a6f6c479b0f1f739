"""Fit the electrical model of a driver to its measured impedance, and say how far it can be trusted."""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from xover.curve import Complex, Curve, Float
from xover.driver.fit_refine import Refined, pack, refine
from xover.driver.fit_start import FitRows, StartSearch, overlap, rows_to_fit
from xover.driver.model import DriverModel, Resonance
from xover.readable import Readable
from xover.remark import About, Remark

MOST_RESONANCES: Final = 2
MOST_LOSSY: Final = 4
# A size is tried only where each of its parameters has this many real numbers behind it.
OBSERVATIONS_PER_PARAMETER: Final = 2
# A relative standard error over this means that the data do not show the parameter.
SEEN_SHARE: Final = 0.5
# No sweep is better than this; a residual under it is not worth another part.
FLOOR: Final = 1e-4
# Le is tried without where it adds less than this to |Z|.
IDLE_SHARE: Final = 1e-4
# A model with a parameter that is not seen is preferred only where the others miss the data by more than
# this and it halves that: then the smallest that comes near enough.
UNSEEN_RESIDUAL: Final = 0.01
UNSEEN_GAIN: Final = 0.5
UNSEEN_FLOOR: Final = 1e-3
FINAL_TOLERANCE: Final = 1e-12
# The only resonance may lie this far above the data, where its flank shows.
MOST_ABOVE: Final = 2.0
# Beside a flank below the data, a peak of less than this share of Re is not taken for the driver's own.
OWN_SHARE: Final = 0.5
# Duller than this a resonance does not swing, and may be a bent coil.
SWINGING_Q: Final = 0.5
LEAST_Q: Final = 0.25

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
    relative_rms: float
    criterion: float
    all_seen: bool


@dataclass(frozen=True, repr=False)
class DriverFit(Readable):
    """A driver's electrical model with its evidence.

    Attributes
    ----------
    model : the equivalent circuit; its first resonance is the driver's own.
    parameters : its values with standard errors, those of Qes and Qts last.
    fs_hz, qms, qes, qts : of the first resonance, as mounted; NaN where the data do not
        determine them or do not reach it.
    band_hz : lowest and highest frequency that was fitted.
    rows : rows that were fitted, after merging.
    phase_used : False if only the magnitude was fitted.
    relative_rms : root mean square of |model - data|/|data|.
    worst_residual, worst_at_hz : largest |model - data|/|data| and its frequency.
    tried : every model size that was compared, best criterion first.
    mounting_note : what fs and Q stand for.
    warnings : what is doubtful, one sentence each.
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
    tried: tuple[TriedModel, ...]
    mounting_note: str
    warnings: tuple[Remark, ...]

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


def fit_driver(curve: Curve, band_hz: tuple[float, float] | None = None) -> DriverFit:
    """Fit a driver model to an impedance sweep.

    Models with 0 to 2 resonances and 0 to 4 lossy cells are fitted to the relative residual, and the
    one with the lowest Bayesian information criterion is kept (Schwarz 1978, from memory), unless it
    holds a parameter that the data do not show. Start values come from a coarse search, so that no
    guess of the caller is needed. Without measured phase the magnitude alone is fitted.

    Parameters
    ----------
    curve : impedance, ohm.
    band_hz : lowest and highest frequency to use; the whole sweep if None.

    Raises InputError: not an impedance, or fewer than 8 rows in the band.
    """
    rows = rows_to_fit(curve, band_hz)
    low, high = float(rows.frequency_hz[0]), float(rows.frequency_hz[-1])
    candidates = _candidates(rows)
    tried = sorted(candidates, key=_criterion)
    chosen = refine(rows, _in_order(rows, _choose(tried).model), tolerance=FINAL_TOLERANCE)
    model = chosen.model
    error = np.abs(model.impedance_ohm(rows.frequency_hz) / rows.impedance_ohm - 1.0)
    if not rows.has_phase:
        error = np.abs(np.abs(model.impedance_ohm(rows.frequency_hz) / rows.impedance_ohm) - 1.0)
    worst = int(np.argmax(error))
    parameters = _parameters(chosen)
    shown = low <= model.fs_hz <= high
    known = {p.name: p.value for p in parameters if p.seen and shown}
    fit = DriverFit(
        model=model,
        parameters=parameters,
        fs_hz=known.get("resonance_1_f_hz", math.nan),
        qms=known.get("resonance_1_q", math.nan),
        qes=known.get("qes", math.nan),
        qts=known.get("qts", math.nan),
        band_hz=(low, high),
        rows=rows.frequency_hz.size,
        phase_used=rows.has_phase,
        relative_rms=float(np.sqrt(np.mean(error**2))),
        worst_residual=float(error[worst]),
        worst_at_hz=float(rows.frequency_hz[worst]),
        tried=tuple(
            TriedModel(c.size.resonances, c.size.lossy, c.size.has_le, c.relative_rms, _criterion(c), _all_seen(c))
            for c in tried
        ),
        mounting_note=MOUNTING_NOTE,
        warnings=(),
    )
    doubts = {p.name: p.relative_se for p in fit.parameters}
    return replace(
        fit, warnings=fit_warnings(rows, model, fit.relative_rms, fit.worst_residual, fit.worst_at_hz, doubts)
    )


def _candidates(rows: FitRows) -> list[Refined]:
    """Fit the sizes in turn; more lossy cells are tried only as long as the last one was worth it."""
    search = StartSearch(rows)
    found = []
    for count in range(MOST_RESONANCES + 1):
        resonances = search.resonances(count)
        best = math.inf
        for lossy in range(MOST_LOSSY + 1):
            start = search.model(resonances, lossy)
            if rows.observations < OBSERVATIONS_PER_PARAMETER * pack(start)[0].parameters:
                break
            fitted = refine(rows, start)
            if _le_is_idle(fitted, rows):
                fitted = min(fitted, refine(rows, replace(fitted.model, le_h=0.0)), key=_criterion)
            if not _plausible(fitted, rows):
                continue
            found.append(fitted)
            if _criterion(fitted) > best:
                break
            best = _criterion(fitted)
    return found


def _criterion(fitted: Refined, floor: float = FLOOR) -> float:
    """Bayesian information criterion, N ln(mean square) + k ln N over the N residuals."""
    n = fitted.observations
    square = float(np.sum(np.abs(fitted.residual) ** 2)) / n
    return n * math.log(max(square, floor**2)) + fitted.size.parameters * math.log(n)


def _plausible(fitted: Refined, rows: FitRows) -> bool:
    """Whether what the model calls a resonance is one, and not a bent coil."""
    low, high = rows.frequency_hz[0], rows.frequency_hz[-1]
    peaks = fitted.model.resonances
    # Below the data one may stand for whatever rises there; its Q means nothing.
    shown = [p for p in peaks if p.f_hz >= low]
    if any(overlap((a.f_hz, a.q), (b.f_hz, b.q)) for a, b in itertools.combinations(shown, 2)):
        return False
    alone = len(peaks) == 1
    if alone and peaks[0].q < SWINGING_Q and np.all(fitted.model.impedance_ohm(rows.frequency_hz).imag >= 0):
        # Too dull to swing, and never capacitive: resistors and inductors alone do that.
        return False
    least, highest = (LEAST_Q, MOST_ABOVE * high) if alone else (SWINGING_Q, high)
    return len(peaks) - len(shown) <= 1 and all(p.q >= least and p.f_hz <= highest for p in shown)


def _le_is_idle(fitted: Refined, rows: FitRows) -> bool:
    """Whether Le is not seen, or drowns in |Z| at the top of the data."""
    if not fitted.size.has_le:
        return False
    i = fitted.size.names.index("le_h")
    share = 2.0 * math.pi * rows.frequency_hz[-1] * fitted.model.le_h / abs(rows.impedance_ohm[-1])
    return bool(fitted.covariance[i, i] > SEEN_SHARE**2 or share < IDLE_SHARE)


def _all_seen(fitted: Refined) -> bool:
    return bool(np.all(np.diag(fitted.covariance) <= SEEN_SHARE**2))


def _choose(tried: list[Refined]) -> Refined:
    """Best criterion among models whose parameters are all seen, unless one that is not fits far better."""
    seen = [c for c in tried if _all_seen(c)]
    if not seen:
        return tried[0]
    miss = seen[0].relative_rms
    better = [c for c in tried if c.relative_rms < UNSEEN_GAIN * miss]
    if miss < UNSEEN_RESIDUAL or not better:
        return seen[0]
    return min(better, key=lambda c: _criterion(c, UNSEEN_FLOOR))


def _in_order(rows: FitRows, model: DriverModel) -> DriverModel:
    """Put the driver's own resonance first, and cells by their corner.

    Its own is the higher peak in the band; but a small one beside a flank that rises below the band is
    a mode of the cone or the surround, and the driver's own lies below.
    """
    low = rows.frequency_hz[0]
    flank = any(peak.f_hz < low for peak in model.resonances)

    def rank(peak: Resonance) -> tuple[int, float]:
        if peak.f_hz < low:
            return (1, 0.0)
        return (2 if flank and peak.r_ohm < OWN_SHARE * model.re_ohm else 0, -peak.r_ohm)

    return replace(
        model,
        lossy=tuple(sorted(model.lossy, key=lambda cell: cell.corner_hz)),
        resonances=tuple(sorted(model.resonances, key=rank)),
    )


def _parameters(fitted: Refined) -> tuple[FittedParameter, ...]:
    """Values with standard errors; those that are products of free parameters by propagation."""
    model, names = fitted.model, fitted.size.names
    unit = dict(zip(names, np.eye(len(names)), strict=True))
    wanted: list[tuple[str, float, Float]] = [("re_ohm", model.re_ohm, unit["re_ohm"])]
    if model.le_h > 0:
        wanted.append(("le_h", model.le_h, unit["le_h"]))
    for i, cell in enumerate(model.lossy, 1):
        r, corner = unit[f"lossy_{i}_r_ohm"], unit[f"lossy_{i}_corner_hz"]
        wanted += [(f"lossy_{i}_r_ohm", cell.r_ohm, r), (f"lossy_{i}_l_h", cell.l_h, r - corner)]
    for k, peak in enumerate(model.resonances, 1):
        for what, value in (("f_hz", peak.f_hz), ("r_ohm", peak.r_ohm), ("q", peak.q)):
            wanted.append((f"resonance_{k}_{what}", value, unit[f"resonance_{k}_{what}"]))
    if model.resonances:
        qes = unit["resonance_1_q"] + unit["re_ohm"] - unit["resonance_1_r_ohm"]
        # 1/Qts = 1/Qms + 1/Qes: the smaller Q has the greater say.
        qts = (model.qts / model.qms) * unit["resonance_1_q"] + (model.qts / model.qes) * qes
        wanted += [("qes", model.qes, qes), ("qts", model.qts, qts)]
    return tuple(_with_error(fitted, *each) for each in wanted)


def _with_error(fitted: Refined, name: str, value: float, weight: Float) -> FittedParameter:
    used = weight != 0
    part = fitted.covariance[np.ix_(used, used)]
    square = float(weight[used] @ part @ weight[used]) if np.all(np.isfinite(part)) else math.inf
    error = math.sqrt(max(square, 0.0))
    return FittedParameter(name, float(value), error, error <= SEEN_SHARE)


# A residual over this is more than a good sweep of a sound driver leaves.
LARGE_RESIDUAL: Final = 0.03
LARGE_WORST: Final = 0.1
# A resonance nearer to an end of the data than this ratio shows one flank only.
EDGE_RATIO: Final = 1.4
# Re is read where |Z| has come down again: data that begin above this share of fs have not seen it below.
RE_SHARE: Final = 0.7
RE_LARGE_ERROR: Final = 0.05
# Re Z below zero by this share of |Z| is no longer the noise of a lossless looking load.
ACTIVE_SHARE: Final = 0.03
# A second peak of this share of the first is no side effect.
SECOND_SHARE: Final = 0.25


def fit_warnings(
    rows: FitRows,
    model: DriverModel,
    relative_rms: float,
    worst_residual: float,
    worst_at_hz: float,
    relative_se: Mapping[str, float],
) -> tuple[Remark, ...]:
    """Say what is doubtful about a fit, one sentence each.

    Parameters
    ----------
    rows : the rows that were fitted.
    model : the result.
    relative_rms, worst_residual, worst_at_hz : its residual.
    relative_se : relative standard errors by parameter name.
    """
    out = [*_about_data(rows), *_about_resonance(rows, model)]
    low = float(rows.frequency_hz[0])
    if relative_se["re_ohm"] > RE_LARGE_ERROR:
        out.append(
            f"the data do not show Re: it comes out as {model.re_ohm:.3g} ohm give or take "
            f"{_percent(relative_se['re_ohm'])}; measure it with a meter"
        )
    elif model.resonances and RE_SHARE * model.fs_hz < low < model.fs_hz:
        out.append(
            f"the sweep begins at {low:.4g} Hz, too near the resonance to see Re below it: {model.re_ohm:.3g} ohm "
            "rests on what lies above; measure it with a meter"
        )
    hidden = [name for name, error in relative_se.items() if error > SEEN_SHARE and name != "re_ohm"]
    if hidden:
        out.append(f"the data do not determine {', '.join(hidden)}: no finding, only placeholders that fit")
    if relative_rms > LARGE_RESIDUAL:
        out.append(
            f"the model misses the data by {_percent(relative_rms)} on average and {_percent(worst_residual)} at "
            f"{worst_at_hz:.4g} Hz: look there for a rattle, a leak, a bad contact or mains hum"
        )
    elif worst_residual > LARGE_WORST:
        out.append(
            f"the data stand out from the model by {_percent(worst_residual)} at {worst_at_hz:.4g} Hz: look there for "
            "mains hum or a bad reading"
        )
    return tuple(w if isinstance(w, Remark) else Remark(w, About.IMPEDANCE) for w in out)


def _about_data(rows: FitRows) -> list[str]:
    out = []
    if not rows.has_phase:
        out.append("the sweep has no phase: only the magnitude was fitted, and the model's phase follows from it")
    else:
        active = np.flatnonzero(rows.impedance_ohm.real < -ACTIVE_SHARE * np.abs(rows.impedance_ohm))
        if active.size:
            out.append(
                f"the phase passes 90 degrees at {active.size} frequencies, the first at "
                f"{rows.frequency_hz[active[0]]:.4g} Hz: no driver does that, so check the sweep's calibration"
            )
    if rows.held:
        out.append(f"{rows.held} rows repeat the row before, value for value: each such run counts as one reading")
    return out


def _about_resonance(rows: FitRows, model: DriverModel) -> list[str]:
    low, high = float(rows.frequency_hz[0]), float(rows.frequency_hz[-1])
    band = f"from {low:.4g} to {high:.4g} Hz"
    if not model.resonances:
        return [f"the impedance never shows a resonance {band}: fs and Q are not known"]
    fs = model.fs_hz
    out: list[str] = []
    for below in (peak for peak in model.resonances if peak.f_hz < low):
        out.append(
            f"below {low:.4g} Hz the impedance rises as towards a resonance, or as with a capacitor of about "
            f"{1e6 * below.c_f:.2g} uF in series: measure lower, at the driver's own terminals"
        )
    if fs > high:
        return [
            f"the impedance never shows the top of a resonance {band}, only a flank that points to {fs:.3g} Hz",
            *out,
        ]
    if fs < low:
        return [f"the impedance never shows the top of a resonance {band}: fs and Q are not known", *out]
    for edge, name in ((low, "lower"), (high, "upper")):
        if max(fs / edge, edge / fs) < EDGE_RATIO:
            out.append(
                f"the resonance at {fs:.4g} Hz is at the {name} end of the data, {edge:.4g} Hz: fs and Q are uncertain"
            )
    for other in model.resonances[1:]:
        if other.f_hz >= low and other.r_ohm > SECOND_SHARE * model.resonances[0].r_ohm:
            words = (
                f"there are two resonances, {fs:.4g} and {other.f_hz:.4g} Hz, as with a vented box or a horn: "
                "fs and Q are those of the higher peak and not of the driver alone"
            )
            out.append(Remark(words, About.TWO_RESONANCES))
    return out


def _percent(share: float) -> str:
    return f"{100.0 * share:.2g} %" if share < 1.0 else "100 % or more"
