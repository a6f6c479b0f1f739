"""Figure of a prediction: what each driver gives, their sum, and the voltage that reaches each driver."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Final

import numpy as np

from xover.acoustic.crossover import CrossoverReading
from xover.acoustic.level import level_db
from xover.curve import Float
from xover.drawing.labels import LineLabel, write_labels
from xover.drawing.page import DRIVE_SPAN_DB, LEVEL_SPAN_DB, Panel, finite, level_axis, level_window, make_page
from xover.drawing.style import (
    DROP,
    ENVELOPE,
    INK,
    LONGEST_NAME,
    QUIET,
    REVERSED,
    SHADE,
    SUM,
    Stroke,
    cut,
    driver_stroke,
    look,
    ring,
)
from xover.figures import written
from xover.sound.prediction import Prediction

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

LONGEST_LABEL: Final = 60
SAME_DB: Final = 0.3
"""Curves that stay this close are one line on paper, and share their stroke and label."""
LEAST_NULL_DB: Final = 3.0
"""Less than this is no null. Common practice, no published source."""


def draw_prediction(prediction: Prediction) -> Figure:
    """Draw levels above, drive below, over one frequency axis.

    Where the timing between the drivers is unknown, the sum is drawn as what it is: a band between its
    best and its worst case, and no line. Where nothing is known, lines have a gap and a note says so.
    Both panels have the same decibels to the inch, so that slopes compare.
    """
    p = prediction
    levels = {b.key: b.level_db for b in p.branches}
    drives = {key: level_db(value) for key, value in p.drive.items()}
    total = p.total
    sums = [total.level_db, total.reversed_level_db] if total.coherent else [total.best_level_db]
    window = level_window([*sums, *levels.values()], LEVEL_SPAN_DB, 100.0)
    drive_window = level_window(list(drives.values()), DRIVE_SPAN_DB, 5.0)
    with look():
        figure, (upper, lower) = make_page(
            p.title,
            [f'network "{p.network}" · {_conditions(p)}', evidence_line(p)],
            _notes(p, drives),
            [
                Panel("Level, dB re 20 µPa", window[1] - window[0]),
                Panel("Drive: voltage at the driver over the amplifier's, dB", drive_window[1] - drive_window[0]),
            ],
            p.frequency_hz,
        )
        level_axis(upper, *window)
        level_axis(lower, *drive_window)
        strokes = _strokes(levels)
        labels = _draw_sum(upper, p, window[0]) if len(p.branches) > 1 else []
        labels += _draw_curves(upper, p.frequency_hz, levels, strokes)
        labels += _draw_crossovers(upper, lower, p.crossovers)
        write_labels(upper, labels)
        if all(np.isnan(level).all() for level in levels.values()):
            upper.text(0.5, 0.5, "the sound of no driver is known", transform=upper.transAxes, ha="center", color=QUIET)
        write_labels(lower, _draw_curves(lower, p.frequency_hz, drives, strokes))
    return figure


def same_lines(curves: dict[str, Float], same: float = SAME_DB) -> list[tuple[str, ...]]:
    """Group the keys of curves that cannot be told apart on paper: that stay within `same` of each other."""
    groups: list[list[str]] = []
    for key, curve in curves.items():
        for group in groups:
            first = curves[group[0]]
            known = np.isfinite(first)
            if known.any() and np.array_equal(known, np.isfinite(curve)):
                apart = float(np.max(np.abs(first[known] - curve[known])))
                if apart <= same:
                    group.append(key)
                    break
        else:
            groups.append([key])
    return [tuple(group) for group in groups]


def evidence_line(prediction: Prediction) -> str:
    """What the curves rest on, in one line: impedance measured, responses measured (..)."""
    silent = {b.group for b in prediction.branches if np.isnan(b.level_db).all()}
    impedance = {name: words["impedance"] for name, words in prediction.evidence.items()}
    response = {
        name: "not known" if name in silent else words["response"] for name, words in prediction.evidence.items()
    }
    if set(impedance.values()) == set(response.values()) and len(set(impedance.values())) == 1:
        line = f"impedance and responses {next(iter(impedance.values()))}"
    else:
        line = f"{_share('impedance', impedance)}; {_share('responses', response)}"
    timing = prediction.timing_reason if prediction.total.coherent else "timing between the drivers not known"
    return f"{line}; {timing}"


def _share(what: str, words: dict[str, str]) -> str:
    kinds = list(dict.fromkeys(words.values()))
    if len(kinds) == 1:
        return f"{what} {kinds[0]}"
    parts = [f"{kind} ({', '.join(cut(n, LONGEST_NAME) for n, w in words.items() if w == kind)})" for kind in kinds]
    return f"{what} {', '.join(parts)}"


def _conditions(prediction: Prediction) -> str:
    where = "2.83 V, 1 m, on the design axis"
    if prediction.output_ohm > 0:
        where += f", behind an amplifier's output of {prediction.output_ohm:.3g} ohm (levels only)"
    return where


def _notes(prediction: Prediction, drives: dict[str, Float]) -> list[str]:
    """Gaps first, then what holds for the network as a whole, then what holds for single drivers."""
    total = prediction.total
    notes = [gap.note for gap in total.gaps]
    notes += [f"no voltage reaches {key}" for key, drive in drives.items() if np.isneginf(drive).all()]
    notes += [f"no crossover: {c.reason}" for c in prediction.crossovers if c.frequency_hz is None]
    return notes + [said for said in reversed(prediction.warnings) if said not in notes]


def _strokes(levels: dict[str, Float]) -> dict[str, Stroke]:
    return {key: driver_stroke(i) for i, group in enumerate(same_lines(levels)) for key in group}


def _draw_curves(
    axes: Axes, frequency_hz: Float, curves: dict[str, Float], strokes: dict[str, Stroke]
) -> list[LineLabel]:
    """One line for each driver, one label for each that can be told apart."""
    lines = {}
    for key, curve in curves.items():
        (lines[key],) = axes.plot(
            frequency_hz, finite(curve), label=f"driver {key}", zorder=4, **strokes[key].options()
        )
    return [
        LineLabel(
            cut(" and ".join(cut(key, LONGEST_NAME) for key in group), LONGEST_LABEL),
            tuple(lines[key] for key in group),
            strokes[group[0]].ink,
        )
        for group in same_lines(curves)
    ]


def _draw_sum(axes: Axes, prediction: Prediction, bottom_db: float) -> list[LineLabel]:
    total, f = prediction.total, prediction.frequency_hz
    if total.coherent:
        (whole,) = axes.plot(f, finite(total.level_db), label="sum", zorder=3, **SUM.options())
        labels = [LineLabel("sum", (whole,), INK)]
        if total.reversed_keys:
            names = " and ".join(cut(key, LONGEST_NAME) for key in total.reversed_keys)
            turned = finite(total.reversed_level_db)
            (null,) = axes.plot(f, turned, label="reversed sum", zorder=3.5, **REVERSED.options())
            labels.append(LineLabel(f"sum, {cut(names, LONGEST_LABEL)} reversed", (null,), INK))
        return labels
    # A full cancellation is -inf: the shade then reaches to the foot of the panel.
    lowest = np.maximum(total.worst_level_db, bottom_db - 10.0)
    axes.fill_between(f, lowest, total.best_level_db, color=SHADE, linewidth=0.0, zorder=2)
    (best,) = axes.plot(f, finite(total.best_level_db), label="best", zorder=3, **ENVELOPE.options())
    (worst,) = axes.plot(f, finite(total.worst_level_db), label="worst", zorder=3, **ENVELOPE.options())
    return [LineLabel("sum at best", (best,), INK), LineLabel("sum at worst", (worst,), INK)]


def _draw_crossovers(upper: Axes, lower: Axes, crossovers: Sequence[CrossoverReading]) -> list[LineLabel]:
    """A ring where the levels cross, and a thin line from there down through both panels."""
    labels = []
    for c in crossovers:
        if c.frequency_hz is None or c.level_db is None:
            continue
        bottom, top = lower.get_ylim()
        foot = upper.get_ylim()[0]
        twice = [c.frequency_hz, c.frequency_hz]
        (drop,) = upper.plot(twice, [c.level_db, foot], label="crossover line", zorder=2.5, **DROP.options())
        lower.plot(twice, [top, bottom], label="crossover line", zorder=2.5, **DROP.options())
        upper.plot([c.frequency_hz], [c.level_db], label="crossover", **ring(INK))
        labels.append(LineLabel(_crossover_text(c.frequency_hz, c.null_depth_db), (drop,), INK))
    return labels


def _crossover_text(frequency_hz: float, null_db: float | None) -> str:
    text = f"crossover\n{written('crossover', frequency_hz)}"
    if null_db is None:
        return text
    if math.isinf(null_db):
        return f"{text}\nfull null"
    return f"{text}\n" + (
        f"null {written('null depth', null_db, unit=True)}" if null_db >= LEAST_NULL_DB else "no null"
    )
