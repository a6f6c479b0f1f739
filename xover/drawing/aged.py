"""Figures of what age did and what differs: condition, two curves, a build and its prediction, a pair."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from xover.curve import Float
from xover.drawing.does import MOST_CURVES
from xover.drawing.labels import LineLabel, write_labels
from xover.drawing.levels import LONGEST_LABEL, same_lines
from xover.drawing.page import Panel, change_axis, finite, make_page
from xover.drawing.style import (
    ENVELOPE,
    INK,
    LIMIT,
    LIMIT_STROKE,
    LONGEST_NAME,
    QUIET,
    SHADE,
    SUM,
    Stroke,
    cut,
    driver_stroke,
    look,
    ring,
)
from xover.quantity import hertz
from xover.rules.bands import COUNTS_WITHIN_DB
from xover.sound.change import Worst, size_of
from xover.studies.aged.compare.study import Comparison
from xover.studies.aged.condition.envelope import DriftEnvelope
from xover.studies.aged.condition.study import ConditionStudy
from xover.studies.aged.verify.result import PairStudy, VerifyStudy

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure


FAINT: Final = 0.18
"""Opacity of a range of assumed drift, so that ranges show through each other."""
EDGE_POINTS: Final = 1.1
MOST_RANGES: Final = 3
"""More ranges over each other cannot be told apart."""
LEAST_DB: Final = 0.02
"""Smaller effects lie on the zero line, where no name could point at them alone."""


@dataclass(frozen=True, eq=False)
class _Curve:
    """One curve, or the range between two where they differ.

    Attributes
    ----------
    label : its name for the program. name : for the reader, written at the marks; empty: not written.
    low_db, high_db : (n,), one and the same for a plain curve.
    marks : extremes to be ringed.
    """

    label: str
    name: str
    low_db: Float
    high_db: Float
    marks: tuple[Worst, ...]
    stroke: Stroke


def draw_condition(study: ConditionStudy) -> Figure:
    """Draw the change of each drive and of the sum above, and what single parts do to the sum below.

    Drives are drawn where they lie within 20 dB of their highest. Where drift is assumed, each change is a shaded
    range. Where the parts were not looked at one by one, or no sum is known, there is no lower panel.
    """
    whole = _whole(study)
    single = _single(study, len(whole))
    what = study.sum_word
    panels = [Panel(f"Change of the drives and of the {study.of_sum}, dB", 5.0)]
    if single:
        panels.append(Panel(f"Change of the {what} by one part at a time, all others as marked, dB", 4.0))
    with look():
        figure, axes = make_page(study.title, [_line(study)], _notes(study), panels, study.frequency_hz)
        for panel, curves in zip(axes, (whole, single), strict=False):
            change_axis(panel, [c for curve in curves for c in (curve.low_db, curve.high_db)])
            write_labels(panel, [label for curve in curves for label in _draw(panel, study.frequency_hz, curve)])
    return figure


def _draw(axes: Axes, frequency_hz: Float, curve: _Curve) -> list[LineLabel]:
    """A line, or a shaded range with its two edges; a ring at each extreme; and the name at each ring."""
    options = curve.stroke.options()
    low, high = finite(curve.low_db), finite(curve.high_db)
    if curve.low_db is curve.high_db:
        axes.plot(frequency_hz, high, label=curve.label, zorder=4, **options)
    else:
        options["linewidth"] = EDGE_POINTS
        axes.fill_between(frequency_hz, low, high, color=curve.stroke.colour, alpha=FAINT, linewidth=0.0, zorder=2)
        axes.plot(frequency_hz, high, label=f"{curve.label} high", zorder=4, **options)
        axes.plot(frequency_hz, low, label=f"{curve.label} low", zorder=4, **options)
    labels = []
    for number, worst in enumerate(curve.marks if curve.name else ()):
        if not math.isfinite(worst.at_hz) or abs(worst.change) < LEAST_DB:
            continue
        where = f"{curve.label} worst {number}"
        (mark,) = axes.plot([worst.at_hz], [worst.change], label=where, **ring(curve.stroke.colour))
        size = f"{worst.change:+.{1 if abs(worst.change) >= 0.95 else 2}f}".replace("-", "\u2212")
        labels.append(LineLabel(f"{curve.name} {size} dB", (mark,), curve.stroke.ink))
    return labels


def _whole(study: ConditionStudy) -> list[_Curve]:
    """The drives, those that coincide under one name, and the sum."""
    envelope = study.envelope
    curves = []
    for index, group in enumerate(
        same_lines(dict(study.drive_difference_db) if envelope is None else _spans(envelope))
    ):
        name = cut(" and ".join(cut(key, LONGEST_NAME) for key in group), LONGEST_LABEL)
        for key in group:
            low, high, marks = _drive(study, key)
            curves.append(
                _Curve(f"drive {key}", name if key == group[0] else "", low, high, marks, driver_stroke(index))
            )
    if envelope is None:
        total, worst = study.total_difference_db, study.total_worst
        return [*curves, _Curve("sum", study.sum_word, total, total, (worst,), SUM)]
    marks = (envelope.total_highest, envelope.total_lowest)
    low, high = envelope.total_low_db, envelope.total_high_db
    return [*curves, _Curve("sum", study.sum_word, low, high, marks, ENVELOPE)]


def _spans(envelope: DriftEnvelope) -> dict[str, Float]:
    """Both edges of each drive's range, end to end, to tell which coincide."""
    return {key: np.concatenate([low, envelope.drive_high_db[key]]) for key, low in envelope.drive_low_db.items()}


def _drive(study: ConditionStudy, key: str) -> tuple[Float, Float, tuple[Worst, ...]]:
    """Lowest and highest change of a drive where it counts, and its extremes."""
    near = study.near[key]
    envelope = study.envelope
    if envelope is None:
        change = np.where(near, study.drive_difference_db[key], np.nan)
        return change, change, (study.drive_worst[key],)
    low = np.where(near, envelope.drive_low_db[key], np.nan)
    high = np.where(near, envelope.drive_high_db[key], np.nan)
    return low, high, (envelope.drive_highest[key], envelope.drive_lowest[key])


def _single(study: ConditionStudy, taken: int) -> list[_Curve]:
    """The parts most to blame for the sum; strokes that the upper panel has `taken` come last."""
    if study.envelope is not None:
        reaches = [p for p in study.envelope.parts if size_of(p.most) >= LEAST_DB][:MOST_RANGES]
        return [
            _Curve(
                f"part {p.name}", cut(p.name, LONGEST_NAME), p.low_db, p.high_db, (p.most,), driver_stroke(taken + i)
            )
            for i, p in enumerate(reaches)
        ]
    parts = [p for p in (study.blame.parts if study.blame else ()) if size_of(p.alone) >= LEAST_DB][:MOST_CURVES]
    return [
        _Curve(
            f"part {p.name}", cut(p.name, LONGEST_NAME), p.alone_db, p.alone_db, (p.alone,), driver_stroke(taken + i)
        )
        for i, p in enumerate(parts)
    ]


def _line(study: ConditionStudy) -> str:
    band = f"{hertz(study.band_hz[0])} to {hertz(study.band_hz[1])}"
    if study.found is None:
        return f'network "{study.original}" · drift assumed, nothing measured · rings: the largest from {band}'
    return f'network "{study.found}", as measured, less "{study.original}", as marked · rings: the largest from {band}'


def _notes(study: ConditionStudy) -> list[str]:
    notes = [study.conclusion, f"drives are drawn where they lie within {COUNTS_WITHIN_DB:g} dB of their highest"]
    if study.envelope is not None:
        notes.append(
            f"shaded: all that drift within the ranges usual for each kind of part could do; {study.envelope.method}"
        )
    elif study.blame is None:
        notes.append(study.blame_reason)
    return [*notes, *study.warnings]


MEASURED: Final = Stroke(INK, INK, None, 1.8)
EDGE: Final = Stroke(QUIET, QUIET, None, 0.5)
LEFT_OVER: Final = driver_stroke(1)
BAND_NOTE: Final = "shade: what tolerances and noise explain, two standard deviations to either side"
MEAN_NOTE: Final = "rings: means over octave bands"
LONGEST: Final = 60
LEAST_SPAN_DB: Final = 0.2
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
    curves: list[Float] = [shown, np.array([LEAST_SPAN_DB])]
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
