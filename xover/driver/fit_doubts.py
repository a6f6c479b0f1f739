"""What is doubtful about a fitted driver, one sentence each."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Final

from xover.driver.fit_refine import ReBelief
from xover.driver.fit_search import SEEN_SHARE
from xover.driver.fit_start import FitRows
from xover.driver.misfit import Misfit
from xover.driver.model import DriverModel
from xover.remark import About, Remark
from xover.rules.likeness import FIT_DOUBTFUL, FIT_FAILS, FIT_RE, LEAKY_QL

# A resonance nearer to an end of the data than this ratio shows one flank only.
EDGE_RATIO: Final = 1.4
# Re is read where |Z| has come down again: data that begin above this share of fs have not seen it below.
RE_SHARE: Final = 0.7
RE_LARGE_ERROR: Final = 0.05
LARGE_WORST: Final = 0.1
# Re Z below zero by this share of |Z| is no longer the noise of a lossless looking load.
ACTIVE_SHARE: Final = 0.03
# A second peak of this share of the first is no side effect.
SECOND_SHARE: Final = 0.25
_WHY: Final = {
    Misfit.PEAK: "another resonance stands there, of the box, the horn or the cone",
    Misfit.HUM: "look there for mains hum or a bad reading",
    Misfit.RATTLE: "the readings scatter there as with a rattle, a rubbing coil or a bad contact",
    Misfit.SHARP: "the resonance there is sharp for the steps of the sweep, so sweep it in finer ones, and slowly",
    Misfit.READING: "one reading stands out, so look there for a bad reading",
    Misfit.UNKNOWN: "nothing tells why it does not follow there",
}


@dataclass(frozen=True)
class FitResidual:
    """What a fit leaves: relative rms, the largest, where, and what it looks like there."""

    relative_rms: float
    worst: float
    worst_at_hz: float
    misfit: Misfit


def failure_of(rows: FitRows, model: DriverModel, left: FitResidual) -> str:
    """Why nothing may be read from a fit, in words; empty where it holds."""
    if left.relative_rms > FIT_FAILS:
        return (
            f"no model follows the impedance: the nearest misses it by {_percent(left.relative_rms)} on average and "
            f"{_percent(left.worst)} at {left.worst_at_hz:.4g} Hz; {_WHY[left.misfit]}"
        )
    least, plain = rows.least_ohm
    if plain and not FIT_RE[0] * least <= model.re_ohm <= FIT_RE[1] * least:
        return (
            f"no model is found: a DC resistance of {model.re_ohm:.2g} ohm does not go with the {least:.2g} ohm of "
            "resistance that the sweep shows at the least"
        )
    return ""


def fit_warnings(
    rows: FitRows,
    model: DriverModel,
    re: ReBelief,
    left: FitResidual,
    failure: str,
    relative_se: Mapping[str, float],
) -> tuple[Remark, ...]:
    """Say what is doubtful about a fit, one sentence each.

    Parameters
    ----------
    rows : the rows that were fitted.
    model : the result. re : what was known of its DC resistance. left : what it leaves. failure : as `failure_of`.
    relative_se : relative standard errors by parameter name.
    """
    out = [*_about_data(rows)] if failure else [*_about_data(rows), *_about_resonance(rows, model)]
    low = float(rows.frequency_hz[0])
    lowest = min((p.f_hz for r in model.resonances for p in r.peaks() if p.f_hz >= low), default=math.nan)
    if failure:
        return (*map(_remark, out), Remark(failure, About.IMPEDANCE))
    if relative_se["re_ohm"] > RE_LARGE_ERROR:
        out.append(
            f"the data do not show Re: it comes out as {model.re_ohm:.3g} ohm give or take "
            f"{_percent(relative_se['re_ohm'])}; measure it with a meter"
        )
    elif not re.metered and RE_SHARE * lowest < low < lowest:
        out.append(
            f"the sweep begins at {low:.4g} Hz, too near the resonance to see Re below it: {model.re_ohm:.3g} ohm "
            "rests on what lies above; measure it with a meter"
        )
    hidden = [n for n, error in relative_se.items() if error > SEEN_SHARE and n != "re_ohm" and "_box_" not in n]
    if hidden:
        out.append(f"the data do not determine {', '.join(hidden)}: no finding, only placeholders that fit")
    if left.relative_rms > FIT_DOUBTFUL:
        out.append(
            f"the model misses the data by {_percent(left.relative_rms)} on average and {_percent(left.worst)} at "
            f"{left.worst_at_hz:.4g} Hz: {_WHY[left.misfit]}"
        )
    elif left.worst > LARGE_WORST:
        out.append(
            f"the data stand out from the model by {_percent(left.worst)} at {left.worst_at_hz:.4g} Hz: "
            f"{_WHY[left.misfit]}"
        )
    return tuple(map(_remark, out))


def _remark(words: str) -> Remark:
    return words if isinstance(words, Remark) else Remark(words, About.IMPEDANCE)


def _about_data(rows: FitRows) -> Iterator[str]:
    if not rows.has_phase and not rows.rebuilt:
        yield "the sweep has no phase: only the magnitude was fitted, and the model's phase follows from it"
    elif rows.has_phase:
        active = (rows.impedance_ohm.real < -ACTIVE_SHARE * abs(rows.impedance_ohm)).nonzero()[0]
        if active.size:
            yield (
                f"the phase passes 90 degrees at {active.size} frequencies, the first at "
                f"{rows.frequency_hz[active[0]]:.4g} Hz: no driver does that, so check the sweep's calibration"
            )
    if rows.held:
        yield f"{rows.held} rows repeat the row before, value for value: each such run counts as one reading"


def _about_resonance(rows: FitRows, model: DriverModel) -> list[str]:
    low, high = float(rows.frequency_hz[0]), float(rows.frequency_hz[-1])
    band = f"from {low:.4g} to {high:.4g} Hz"
    if not model.resonances:
        return [f"the impedance never shows a resonance {band}: fs and Q are not known"]
    fs, box = model.fs_hz, model.resonances[0].box
    out: list[str] = []
    for below in (peak for peak in model.resonances if peak.f_hz < low and peak.box is None):
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
    if box is not None and box.tuned_hz > 0:
        both = " and ".join(f"{peak.f_hz:.4g}" for peak in model.resonances[0].peaks())
        words = (
            f"there are two resonances, {both} Hz, as of one driver in a vented box tuned to {box.tuned_hz:.3g} Hz: "
            "fs and Q are the driver's own, the box's air taken away"
        )
        out.append(Remark(words, About.TWO_RESONANCES))
        if box.tuned_hz < LEAKY_QL * box.leak_hz:
            out.append(
                f"the dip between the two resonances is shallow, as of a box that leaks (a QL of "
                f"{box.tuned_hz / box.leak_hz:.2g}, where 5 to 20 is usual): look for a leak"
            )
    for other in model.resonances[1:]:
        if other.f_hz >= low and other.r_ohm > SECOND_SHARE * model.resonances[0].own.r_ohm:
            words = (
                f"there are two resonances, {fs:.4g} and {other.f_hz:.4g} Hz, as with a vented box or a horn: "
                f"fs and Q are those of the taller peak, at {fs:.4g} Hz, and not of the driver alone"
            )
            out.append(Remark(words, About.TWO_RESONANCES))
    return out


def _percent(share: float) -> str:
    return f"{100.0 * share:.2g} %" if share < 1.0 else "100 % or more"
