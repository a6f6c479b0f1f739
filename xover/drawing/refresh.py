"""Figure of a refresh: the drives and the sum before and after, held against the design."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Final

import numpy as np

from xover.curve import Float
from xover.drawing.labels import LineLabel, write_labels
from xover.drawing.levels import LONGEST_LABEL, same_lines
from xover.drawing.page import Panel, make_page
from xover.drawing.scales import change_axis, finite
from xover.drawing.style import LIMIT, LIMIT_STROKE, QUIET, SUM, Stroke, driver_stroke, look
from xover.drawing.text import cut
from xover.figures import written
from xover.studies.change.refresh.result import Difference, RefreshStudy

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

LONGEST_NAME: Final = 24
SAME_DB: Final = 0.005
"""Changes that stay this close are one line on paper."""
_NAIVE: Final = Stroke(QUIET, QUIET, (1.5, 2.0), 1.2)
_LEAST: Final = 0.02
"""A curve that stays below this many dB lies on the zero line: it is named in a note."""


def draw_refresh(study: RefreshStudy) -> Figure:
    """Above what is heard today and what a naive swap would do, below what the refresh leaves: changes in dB."""
    before = study.before if study.before is not None else study.naive
    title = f"'{study.found}' now" if study.before is not None else "Naive swap"
    design = cut(study.reference, LONGEST_NAME)
    with look():
        figure, (upper, lower) = make_page(
            study.title,
            [f'refresh to "{design}" · differences of level from it', study.source],
            _notes(study),
            [Panel(f"{cut(title, 40)}, dB from the design", 5.0), Panel("Refreshed, dB from the design", 4.0)],
            study.frequency_hz,
        )
        _panel(upper, study, before, [study.naive] if study.before is not None else [], None)
        _panel(lower, study, study.refreshed, [], study.tolerance_db)
    return figure


def _panel(
    axes: Axes, study: RefreshStudy, shown: Difference, others: Sequence[Difference], tolerance_db: float | None
) -> None:
    f = study.frequency_hz
    labels: list[LineLabel] = []
    curves: list[Float] = []
    for index, group in enumerate(same_lines(dict(shown.drive_db), SAME_DB)):
        stroke = driver_stroke(index)
        lines = []
        for key in group:
            change = shown.drive_db[key]
            lines += axes.plot(f, finite(change), label=f"{key} drive", zorder=4, **stroke.options())
            curves.append(change)
        if _largest(shown.drive_db[group[0]]) > _LEAST:
            name = cut(" and ".join(cut(key, LONGEST_NAME) for key in group), LONGEST_LABEL)
            labels.append(LineLabel(name, tuple(lines), stroke.ink))
    if np.isfinite(shown.sum_db).any():
        (line,) = axes.plot(f, finite(shown.sum_db), label="sum", zorder=5, **SUM.options())
        curves.append(shown.sum_db)
        if _largest(shown.sum_db) > _LEAST:
            labels.append(LineLabel("sum", (line,), SUM.ink))
    for other in others:
        if np.isfinite(other.sum_db).any():
            (line,) = axes.plot(f, finite(other.sum_db), label="naive sum", zorder=3, **_NAIVE.options())
            labels.append(LineLabel("sum, naive swap", (line,), _NAIVE.ink))
            curves.append(other.sum_db)
    if tolerance_db is not None:
        for level in (tolerance_db, -tolerance_db):
            (line,) = axes.plot(
                study.band_hz, [level, level], label=f"tolerance {level:+g}", zorder=2, **LIMIT_STROKE.options()
            )
            if level > 0:
                labels.append(LineLabel(f"tolerance \u00b1{tolerance_db:g} dB", (line,), LIMIT))
        curves.append(np.array([1.2 * tolerance_db]))
    change_axis(axes, curves)
    write_labels(axes, labels)


def _largest(change: Float) -> float:
    known = change[np.isfinite(change)]
    return float(np.max(np.abs(known))) if known.size else 0.0


def _notes(study: RefreshStudy) -> list[str]:
    notes = [study.headline]
    if study.simple is not None:
        notes.append(
            f"with series resistors only: "
            f"{written('drive moved', study.simple.difference.worst_db, 'series resistors only')} dB"
        )
    notes.append(f"naive swap: {written('drive moved', study.naive.worst_db, 'naive swap')} dB")
    if not np.isfinite(study.refreshed.sum_db).any():
        notes.append("no one sum is right for these drivers: drives alone are shown")
    return notes
