"""Figure of the condition: what age did to each drive and to the sum, and which part did it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from xover.curve import Float
from xover.drawing.labels import LineLabel, write_labels
from xover.drawing.levels import LONGEST_LABEL, same_lines
from xover.drawing.page import Panel, make_page
from xover.drawing.scales import change_axis, finite
from xover.drawing.sensitivity import MOST_CURVES
from xover.drawing.style import ENVELOPE, SUM, Stroke, driver_stroke, look, ring
from xover.drawing.text import LONGEST_NAME, cut
from xover.quantity import hertz
from xover.rules.bands import COUNTS_WITHIN_DB
from xover.sound.change import Worst, size_of
from xover.studies.aged.condition.envelope import DriftEnvelope
from xover.studies.aged.condition.study import ConditionStudy

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
