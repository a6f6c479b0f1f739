"""Figure of a decision: the sums of all options over each other, and what each changes of the design."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Final

import numpy as np

from xover.acoustic.level import band_level
from xover.curve import Float
from xover.drawing.labels import LineLabel, write_labels
from xover.drawing.page import Panel, make_page
from xover.drawing.scales import change_axis, finite, level_axis, level_window
from xover.drawing.style import LIMIT, LIMIT_STROKE, QUIET, Stroke, driver_stroke, look
from xover.drawing.text import cut
from xover.quantity import hertz
from xover.rules.margins import DEVIATION_DB
from xover.studies.change.decide.study import Decision

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

SUM_SPAN_DB: Final = 20.0
LEAST_CHANGE_DB: Final = 2.5
MOST_CHANGE_DB: Final = 10.0
"""The lower panel spans so much to both sides, before its margin."""
LONGEST_NAME: Final = 24
_WIDE: Final = 1.9
"""How much wider the recommended option's line is."""


def draw_decide(decision: Decision) -> Figure:
    """Above the sum of each option, less its own mean in the band; below its change from the design, likewise.

    Options whose sum is not known have no line. The widest line is the recommended option.
    """
    sums, changes = sums_of(decision), changes_of(decision)
    window = level_window(list(sums.values()), SUM_SPAN_DB, 10.0)
    band = f"{hertz(decision.band_hz[0])} to {hertz(decision.band_hz[1])}"
    with look():
        figure, (upper, lower) = make_page(
            decision.title,
            [f"recommended: {decision.answer}", *decision.reasons[:1]],
            _notes(decision, sums),
            [
                Panel(f"Sum, dB over its own mean from {band}", 5.0),
                Panel(
                    f"Change from '{cut(decision.reference or 'the design', LONGEST_NAME)}', dB, means made equal", 4.0
                ),
            ],
            decision.frequency_hz,
        )
        level_axis(upper, *window)
        limits = _limits(upper, decision) if sums else []
        write_labels(upper, [*_lines(upper, decision, sums), *limits])
        shown = [np.clip(c, -MOST_CHANGE_DB, MOST_CHANGE_DB) for c in changes.values()]
        change_axis(lower, [*shown, np.array([LEAST_CHANGE_DB])])
        write_labels(lower, _lines(lower, decision, changes))
        for axes, drawn, words in (
            (upper, sums, "no sum is known"),
            (lower, changes, "no change of the sum from the design is known"),
        ):
            if not drawn:
                axes.text(0.5, 0.6, words, transform=axes.transAxes, ha="center", color=QUIET)
    return figure


def sums_of(decision: Decision) -> dict[str, Float]:
    """(n,) level of each sum that is known, less its mean in the band."""
    return {
        str(name): _levelled(decision, option.level_db)
        for name, option in decision.options.items()
        if np.isfinite(option.level_db).any()
    }


def changes_of(decision: Decision) -> dict[str, Float]:
    """(n,) the same less that of the design."""
    if not np.isfinite(decision.design_level_db).any():
        return {}
    design = _levelled(decision, decision.design_level_db)
    with np.errstate(invalid="ignore"):
        return {name: level - design for name, level in sums_of(decision).items()}


def _levelled(decision: Decision, level_db: Float) -> Float:
    return np.asarray(level_db - band_level(decision.frequency_hz, level_db, *decision.band_hz).mean_db)


def _lines(axes: Axes, decision: Decision, curves: Mapping[str, Float]) -> list[LineLabel]:
    labels = []
    for index, name in enumerate(decision.options):
        if name not in curves:
            continue
        stroke = driver_stroke(index)
        if name == decision.recommendation:
            stroke = Stroke(stroke.colour, stroke.ink, stroke.dashes, stroke.width_points * _WIDE)
        (line,) = axes.plot(decision.frequency_hz, finite(curves[name]), label=str(name), zorder=4, **stroke.options())
        labels.append(LineLabel(str(name), (line,), stroke.ink))
    return labels


def _limits(axes: Axes, decision: Decision) -> list[LineLabel]:
    labels = []
    for level in (DEVIATION_DB, -DEVIATION_DB):
        (line,) = axes.plot(
            decision.band_hz, [level, level], label=f"limit {level:+g}", zorder=2, **LIMIT_STROKE.options()
        )
        if level > 0:
            labels.append(LineLabel(f"limit \u00b1{DEVIATION_DB:g} dB", (line,), LIMIT))
    return labels


def _notes(decision: Decision, sums: Mapping[str, Float]) -> list[str]:
    notes = list(decision.rests_on)
    missing = [str(name) for name in decision.options if name not in sums]
    if missing:
        notes.append(f"no sum is known of: {', '.join(missing)}")
    notes.append("the limit to pass is common practice; the widest line: recommended")
    return notes + list(decision.unknown)
