"""Figure of where to cross: how uneven the sum behind an electronic crossover is, by corner and slope."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import numpy as np

from xover.curve import Float
from xover.drawing.labels import LineLabel, own_spots, write_labels
from xover.drawing.page import Panel, make_page
from xover.drawing.scales import ROOM, finite, size_axis
from xover.drawing.style import DROP, INK, QUIET, Stroke, driver_stroke, look, ring
from xover.drawing.text import cut
from xover.quantity import hertz
from xover.studies.change.bypass.crossover import CrossoverMap
from xover.studies.change.bypass.result import BypassStudy

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

LONGEST_NAME: Final = 28
MOST_TIMES: Final = 6.0
"""The axis holds so many times the flattest, at most: what is worse is no choice."""
READING_NOTE: Final = (
    "each point has its own best gain, delay and polarity; thin dots: so low that the upper driver's resonance is too "
    "near; ring: the flattest of the others"
)


def draw_bypass_map(study: BypassStudy) -> Figure:
    """Draw a panel for each corner: rms deviation of the sum over the corner, a line for each slope.

    Without maps there is one empty panel that says so.
    """
    f = _axis(study)
    low, high = study.band_hz
    with look():
        figure, panels = make_page(
            study.title,
            [
                f'drivers of network "{study.network}" behind an electronic crossover · at hand: '
                f"{study.crossover.slope.name} at {_corners(study)}",
            ],
            _notes(study),
            [
                Panel(
                    f"{cut(m.lower, LONGEST_NAME)} to {cut(m.upper, LONGEST_NAME)}: rms deviation of the sum from "
                    f"{hertz(low)} to {hertz(high)}, dB",
                    1.0,
                )
                for m in study.maps
            ]
            or [Panel("rms deviation of the sum, dB", 1.0)],
            f,
        )
        panels[-1].set_xlabel("corner frequency, Hz")
        for number, (axes, chart) in enumerate(zip(panels, study.maps, strict=False)):
            size_axis(axes, ROOM * _top(chart))
            write_labels(axes, _draw(axes, chart, study.crossover.corners_hz[number], study.crossover.slope.name))
        if not study.maps:
            size_axis(panels[0], 1.0)
            panels[0].text(0.5, 0.5, "not known", transform=panels[0].transAxes, ha="center", color=QUIET)
    return figure


def _axis(study: BypassStudy) -> Float:
    """Ends of the frequency axis: all corners that were tried."""
    tried = [m.frequency_hz for m in study.maps]
    ends = np.concatenate([*tried, study.crossover.corners_hz]) if tried else study.frequency_hz
    return np.array([float(np.min(ends)), float(np.max(ends))])


def _top(chart: CrossoverMap) -> float:
    known = chart.rms_deviation_db[np.isfinite(chart.rms_deviation_db)]
    if not known.size or known.max() <= 0.0:
        return 1.0
    return float(min(known.max(), MOST_TIMES * known.min())) if known.min() > 0.0 else float(known.max())


def _draw(axes: Axes, chart: CrossoverMap, at_hand_hz: float, slope_at_hand: str) -> list[LineLabel]:
    labels = []
    f, levels = chart.frequency_hz, list(chart.rms_deviation_db.T)
    for index, (slope, level) in enumerate(zip(chart.slopes, levels, strict=True)):
        stroke = driver_stroke(index)
        allowed = np.where(f >= chart.least_hz[index], level, np.nan)
        if slope == slope_at_hand:
            stroke = Stroke(stroke.colour, stroke.ink, stroke.dashes, 1.7 * stroke.width_points)
        (line,) = axes.plot(f, finite(allowed), label=slope, zorder=4, **stroke.options())
        lines = [line]
        barred = np.flatnonzero(f < chart.least_hz[index])
        if barred.size:
            near = np.where(np.arange(f.size) <= barred[-1] + 1, level, np.nan)
            dots = Stroke(stroke.colour, stroke.ink, (1.0, 2.5), 0.9)
            lines += axes.plot(f, finite(near), label=f"{slope}, too low", zorder=3.9, **dots.options())
        labels.append(LineLabel(slope, tuple(lines), stroke.ink, own_spots(f, levels, index)))
    (drop,) = axes.plot([at_hand_hz] * 2, axes.get_ylim(), label="corner at hand", zorder=2.5, **DROP.options())
    labels.append(LineLabel(f"at hand {hertz(at_hand_hz)}", (drop,), INK))
    if math.isfinite(chart.best_hz):
        (best,) = axes.plot([chart.best_hz], [chart.best_db], label="flattest", **ring(INK))
        words = f"flattest {chart.best_db:.2f} dB\n{chart.best_slope} at {hertz(chart.best_hz)}"
        labels.append(LineLabel(words, (best,), INK))
    return labels


def _corners(study: BypassStudy) -> str:
    from xover.studies.change.bypass.crossover import corners_words

    return corners_words(study.crossover.corners_hz)


def _notes(study: BypassStudy) -> list[str]:
    notes = [READING_NOTE] if study.maps else ["the sound of a driver is not known: no sum"]
    if study.maps and study.reached is not None:
        notes.append(
            f"as it is to be set now, {study.crossover.slope.name}: {study.reached.band.rms_deviation_db:.2f} dB"
        )
    if study.maps and not study.coherent:
        notes.append(f"sums are those with the best delays: {study.timing_reason}")
    if len(study.maps) > 1:
        notes.append("while one corner moves the others stay at hand")
    return [*notes, *study.warnings]
