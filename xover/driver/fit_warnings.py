"""What a person must know before trusting a driver fit, in words."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import numpy as np

from xover.driver.fit_rows import FitRows
from xover.driver.model import DriverModel
from xover.remark import About, Remark

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
SEEN_SHARE: Final = 0.5


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
