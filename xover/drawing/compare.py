"""Figures of what differs: two curves, a build and its prediction, two speakers of a pair."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Final

import numpy as np

from xover.curve import Float
from xover.drawing.labels import LineLabel, write_labels
from xover.drawing.page import Panel, make_page
from xover.drawing.scales import change_axis, finite
from xover.drawing.style import INK, LIMIT, LIMIT_STROKE, QUIET, SHADE, Stroke, driver_stroke, look, ring
from xover.drawing.text import cut
from xover.quantity import hertz
from xover.studies.aged.compare.study import Comparison
from xover.studies.aged.verify.result import PairStudy, VerifyStudy

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

MEASURED: Final = Stroke(INK, INK, None, 1.8)
EDGE: Final = Stroke(QUIET, QUIET, None, 0.5)
LEFT_OVER: Final = driver_stroke(1)
BAND_NOTE: Final = "shade: what tolerances and noise explain, two standard deviations to either side"
MEAN_NOTE: Final = "rings: means over octave bands"
LONGEST: Final = 60
LEAST_DB: Final = 0.2
"""A panel shows so much to either side, however small the difference: below is noise."""


def draw_comparison(c: Comparison) -> Figure:
    """Draw the difference above, with its octave means, and the difference of phase below where both have one."""
    ohms = c.percent is not None
    panels = [Panel("Difference of the impedance, per cent" if ohms else "Difference of the level, dB", 5.0)]
    if c.phase_difference_deg is not None:
        panels.append(Panel("Difference of the phase, degrees", 3.0))
    with look():
        figure, axes = make_page(c.title, [_compared(c)], _comparison_notes(c), panels, c.frequency_hz)
        change = c.percent if c.percent is not None else c.difference_db
        labels = _difference(axes[0], c.frequency_hz, change, None, "difference")
        if not ohms:
            known = np.array([[o.centre_hz, o.difference_db] for o in c.octaves if np.isfinite(o.difference_db)])
            if known.size:
                axes[0].plot(known[:, 0], known[:, 1], label="octaves", **ring(INK))
            labels += _thresholds(axes[0], c.frequency_hz, c.threshold_db)
        write_labels(axes[0], labels)
        if c.phase_difference_deg is not None:
            _difference(axes[1], c.frequency_hz, _unwrapped_gaps(c.phase_difference_deg), None, "phase")
    return figure


def draw_verification(v: VerifyStudy) -> Figure:
    """Draw the impedance against its band above, the phase or the sound below; and what the first fault leaves."""
    z, sound = v.terminals, v.sound
    panels = [Panel("Impedance, measured less predicted, per cent", 5.0)]
    if sound is not None:
        panels.append(Panel("Sound, measured less predicted, third octaves, level matched, dB", 4.0))
    elif z.phase_deg is not None:
        panels.append(Panel("Phase of the impedance, measured less predicted, degrees", 4.0))
    lines = [f'network "{v.network}" · {v.headline}']
    first = v.faults[0].words if v.faults else ""
    with look():
        figure, axes = make_page(v.title, lines, [BAND_NOTE, *v.warnings], panels, z.frequency_hz)
        labels = _difference(axes[0], z.frequency_hz, z.percent, z.band_percent, "measured")
        if z.left_percent is not None:
            labels += _left_over(axes[0], z.frequency_hz, z.left_percent, first)
        write_labels(axes[0], labels)
        if sound is not None:
            labels = _difference(axes[1], sound.centre_hz, sound.difference_db, sound.band_db, "measured")
            if sound.left_db is not None:
                labels += _left_over(axes[1], sound.centre_hz, sound.left_db, first)
            write_labels(axes[1], labels)
        elif z.phase_deg is not None:
            write_labels(axes[1], _difference(axes[1], z.frequency_hz, z.phase_deg, z.band_deg, "measured"))
    return figure


def draw_pair(p: PairStudy) -> Figure:
    """Draw the second sweep less the first above, what the first explanation leaves with it, and the phase below."""
    panels = [Panel("Impedance, second less first, per cent", 5.0)]
    if p.phase_deg is not None:
        panels.append(Panel("Phase of the impedance, second less first, degrees", 3.0))
    noise = 200.0 * float(np.hypot(*p.noise)) * np.ones_like(p.frequency_hz)
    with look():
        figure, axes = make_page(
            p.title,
            [f'network "{p.network}" · {p.headline}'],
            ["shade: noise of both sweeps, two standard deviations to either side", *p.warnings],
            panels,
            p.frequency_hz,
        )
        labels = _difference(axes[0], p.frequency_hz, p.percent, noise, "second less first")
        if p.left_percent is not None:
            labels += _left_over(axes[0], p.frequency_hz, p.left_percent, p.explanations[0].words)
        write_labels(axes[0], labels)
        if p.phase_deg is not None:
            _difference(axes[1], p.frequency_hz, p.phase_deg, None, "phase")
    return figure


def _difference(axes: Axes, frequency_hz: Float, change: Float, band: Float | None, name: str) -> list[LineLabel]:
    """One difference on an axis alike to both sides of zero, and the band that it may keep to."""
    shown = finite(change)
    curves: list[Float] = [shown, np.array([LEAST_DB])]
    if band is not None:
        curves.append(finite(band))
        axes.fill_between(frequency_hz, -finite(band), finite(band), color=SHADE, linewidth=0.0, zorder=1.5)
        for edge, side in ((-finite(band), "low"), (finite(band), "high")):
            axes.plot(frequency_hz, edge, label=f"band {side}", zorder=1.6, **EDGE.options())
    change_axis(axes, curves)
    (line,) = axes.plot(frequency_hz, shown, label=name, zorder=4, **MEASURED.options())
    if not np.isfinite(shown).any():
        axes.text(0.5, 0.6, "not known", transform=axes.transAxes, ha="center", color=QUIET)
    return [LineLabel(name, (line,), INK)]


def _left_over(axes: Axes, frequency_hz: Float, left: Float, fault: str) -> list[LineLabel]:
    (line,) = axes.plot(frequency_hz, finite(left), label="left over", zorder=5, **LEFT_OVER.options())
    return [LineLabel(cut(f"what is left with {fault}", LONGEST), (line,), LEFT_OVER.ink)]


def _thresholds(axes: Axes, frequency_hz: Float, threshold_db: float) -> list[LineLabel]:
    labels: list[LineLabel] = []
    low, high = axes.get_ylim()
    for level in (threshold_db, -threshold_db):
        if low < level < high:
            ends = frequency_hz[[0, -1]]
            (line,) = axes.plot(ends, [level, level], label=f"threshold {level:+g}", **LIMIT_STROKE.options())
            if level > 0:
                labels.append(LineLabel(f"threshold \u00b1{threshold_db:g} dB", (line,), LIMIT))
    return labels


def _unwrapped_gaps(phase_deg: Float) -> Float:
    """A gap where the phase jumps by a turn."""
    out = phase_deg.copy()
    with np.errstate(invalid="ignore"):
        out[1:][np.abs(np.diff(phase_deg)) > 180.0] = np.nan
    return out


def _compared(c: Comparison) -> str:
    if c.match_band_hz is None:
        how = "as they are"
    else:
        low, high = (hertz(f) for f in c.match_band_hz)
        how = f"matched from {low} to {high}: {c.offset_db:+.2f} dB taken off"
    return f"{c.first.evidence} less {c.second.evidence} · {how} · rms {c.rms_db:.2f} dB"


def _comparison_notes(c: Comparison) -> Sequence[str]:
    return [*([] if c.percent is not None else [MEAN_NOTE]), *c.warnings]
