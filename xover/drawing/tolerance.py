"""Figure of the tolerances: how far builds lie from the nominal sum, and left from right."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from xover.curve import Float
from xover.drawing.labels import LineLabel, write_labels
from xover.drawing.page import Panel, make_page
from xover.drawing.scales import ROOM, change_axis, finite, size_axis
from xover.drawing.style import INK, LIMIT, LIMIT_STROKE, QUIET, SHADE, Stroke, driver_stroke, look
from xover.studies.bears.tolerance.study import ToleranceStudy

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

DARKER: Final = "#b4b4b4"
EDGE: Final = Stroke(INK, INK, None, 1.0)
INNER: Final = Stroke(QUIET, QUIET, None, 0.5)
MEDIAN: Final = Stroke(INK, INK, None, 2.2)
CORNER: Final = Stroke(QUIET, QUIET, (6.0, 2.0), 1.1)
READING_NOTE: Final = (
    "dark shade: 68 % of the builds; light: 95 %; line: the middle one. "
    "Below: one pair in 40 is farther apart than the thick line, one in two than the thin"
)


def draw_tolerance(study: ToleranceStudy) -> Figure:
    """Draw the change of the sum above, the difference between two builds below, over one frequency axis.

    The scales hold what happens within the band that is judged; beyond it lines may leave the panel.
    """
    with look():
        figure, (upper, lower) = make_page(
            study.title,
            [
                f'network "{study.network}" · {study.builds:,} builds, {study.distribution.words}; seed {study.seed}',
                _verdict(study),
            ],
            _notes(study),
            [
                Panel(f"The {study.of_sum}: how far builds lie from the nominal, dB", 5.0),
                Panel("Left against right: difference between two builds, dB", 4.0),
            ],
            study.frequency_hz,
        )
        above, below = _draw_sum(upper, study), _draw_pairs(lower, study)
        if not study.total_known:
            for axes in (upper, lower):
                axes.text(0.5, 0.6, "the sum is not known", transform=axes.transAxes, ha="center", color=QUIET)
        write_labels(upper, above)
        write_labels(lower, below)
    return figure


def _draw_sum(axes: Axes, study: ToleranceStudy) -> list[LineLabel]:
    f, total, corner = study.frequency_hz, study.total, study.corners.total
    low95, low68, middle, high68, high95 = (finite(c) for c in total.change_db)
    shown = [c[study.in_band] for c in (low95, high95)]
    corners = [] if corner is None else [finite(corner.lowest_db), finite(corner.highest_db)]
    change_axis(axes, [*shown, *(c[study.in_band] for c in corners), np.array([study.limit_db])])
    axes.fill_between(f, low95, high95, color=SHADE, linewidth=0.0, zorder=1.5)
    axes.fill_between(f, low68, high68, color=DARKER, linewidth=0.0, zorder=1.6)
    axes.plot(f, middle, label="median", zorder=4, **MEDIAN.options())
    labels = []
    # Of each band one edge is named: the upper of the wide one, the lower of the narrow one.
    for low, high, names, stroke, words in (
        (low95, high95, ("2.5 %", "97.5 %"), EDGE, "95 % of builds"),
        (low68, high68, ("16 %", "84 %"), INNER, "68 %"),
    ):
        edges = [
            axes.plot(f, curve, label=name, zorder=3, **stroke.options())[0]
            for curve, name in zip((low, high), names, strict=True)
        ]
        labels.append(LineLabel(words, (edges[1 if low is low95 else 0],), INK))
    for name, curve in zip(("lowest corner", "highest corner"), corners, strict=False):
        (line,) = axes.plot(f, curve, label=name, zorder=3, **CORNER.options())
        labels.append(LineLabel("worst corner", (line,), QUIET))
    judged = f[study.in_band][[0, -1]]
    for sign in (1.0, -1.0):
        level = sign * study.limit_db
        (line,) = axes.plot(judged, [level, level], label=f"limit {level:+g}", zorder=3.5, **LIMIT_STROKE.options())
        if sign > 0:
            labels.append(LineLabel(f"limit \u00b1{study.limit_db:g} dB", (line,), LIMIT))
    return labels


def _draw_pairs(axes: Axes, study: ToleranceStudy) -> list[LineLabel]:
    """Of two builds drawn apart, and of two with parts paired: the middle pair thin, one pair in forty beyond."""
    labels, top = [], 0.0
    apart, paired = driver_stroke(0), driver_stroke(1)
    for name, pair, stroke in (
        ("any two builds", study.independent, apart),
        (f"parts paired to {100 * study.match:g} %", study.matched, paired),
    ):
        rare, usual = finite(pair.difference_db[4]), finite(pair.difference_db[2])
        thin = Stroke(stroke.colour, stroke.ink, stroke.dashes, 0.7)
        (line,) = axes.plot(study.frequency_hz, rare, label=f"rare {name}", zorder=4, **stroke.options())
        axes.plot(study.frequency_hz, usual, label=f"usual {name}", zorder=4, **thin.options())
        labels.append(LineLabel(name, (line,), stroke.ink))
        top = max(top, _highest(rare[study.in_band]))
    size_axis(axes, ROOM * top if top > 0 else 1.0)
    return labels


def _highest(curve: Float) -> float:
    known = curve[np.isfinite(curve)]
    return float(known.max()) if known.size else 0.0


def _verdict(study: ToleranceStudy) -> str:
    if not study.total_known:
        return "the sum is not known in the band"
    p = study.passing
    return (
        f"{100 * p.share:.1f} % of them keep within \u00b1{study.limit_db:g} dB "
        f"({100 * p.low:.1f} to {100 * p.high:.1f} %, 95 % sure)"
    )


def _notes(study: ToleranceStudy) -> list[str]:
    """What the lines mean first, then what holds for this network, then what holds always."""
    return [READING_NOTE, *study.warnings[:1], study.shares.sentence, *study.warnings[1:]]
