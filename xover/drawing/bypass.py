"""Figures of a bypass: what each channel gets and the sum behind it, and a map of corners and slopes."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import TYPE_CHECKING, Final

import numpy as np

from xover.acoustic.level import BandLevel, level_db
from xover.acoustic.summing import AcousticSum
from xover.curve import Float
from xover.drawing.labels import LineLabel, own_spots, write_labels
from xover.drawing.levels import same_lines
from xover.drawing.page import ROOM, Panel, finite, level_axis, level_window, make_page, size_axis
from xover.drawing.style import DROP, ENVELOPE, INK, LONGEST_NAME, QUIET, SHADE, Stroke, cut, driver_stroke, look, ring
from xover.figures import written
from xover.quantity import hertz
from xover.studies.change.bypass.crossover import CrossoverMap, corners_words
from xover.studies.change.bypass.result import BypassStudy

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

SUM_SPAN_DB: Final = 30.0
DRIVE_SPAN_DB: Final = 35.0
OLD: Final = Stroke("#a8a8a8", INK, None, 4.0)
TWIN: Final = Stroke(INK, INK, None, 1.0)
AT_HAND: Final = Stroke("#a3123a", "#a3123a", (7.0, 2.0), 1.7)
BETTER: Final = Stroke("#7f4f9a", "#7f4f9a", None, 1.3)


def draw_bypass(study: BypassStudy) -> Figure:
    """Draw sums above, each against its own mean in the band; voltages at the drivers below, over one frequency axis.

    Where the timing between the drivers is not known, the sums of the network and of its twin are drawn as what they
    are, bands between best and worst, and the sum behind the crossover is that with the best delays.
    """
    sums = sums_of(study)
    drives = drives_of(study)
    window = level_window(list(sums.values()), SUM_SPAN_DB, 10.0)
    drive_window = level_window(list(drives.values()), DRIVE_SPAN_DB, 5.0)
    with look():
        figure, (upper, lower) = make_page(
            study.title,
            [f'network "{study.network}" · {_at_hand(study)} · {study.crossover.source}', _verdict(study)],
            _notes(study),
            [
                Panel("Sum, dB over its own mean in the band", window[1] - window[0]),
                Panel(
                    "Drive over the amplifier's, dB: network (line), crossover (dots)",
                    drive_window[1] - drive_window[0],
                ),
            ],
            study.frequency_hz,
        )
        level_axis(upper, *window)
        level_axis(lower, *drive_window)
        corners = _draw_corners(upper, lower, study)
        labels = _draw_sums(upper, study, sums, window[0])
        if not sums:
            words = "the sound of a driver is not known: no sum"
            upper.text(0.5, 0.5, words, transform=upper.transAxes, ha="center", color=QUIET)
        write_labels(upper, labels)
        write_labels(lower, [*_draw_drives(lower, study, drives), *corners])
    return figure


def sums_of(study: BypassStudy) -> dict[str, Float]:
    """(n,) level of every sum, less its mean in the band; of a sum without known timing the best and the worst."""
    out: dict[str, Float] = {}
    if study.passive is None or study.twin_sum is None or study.passive_total is None:
        return out
    for name, total, band in (
        ("old network", study.passive_total, study.passive),
        ("its twin", study.twin_sum.total, study.twin_sum.band),
    ):
        out |= _levels(name, total, band)
    for name, found in ((_at_hand(study), study.reached), ("with bands", study.better)):
        if found is not None and (name != "with bands" or any(s.bands for s in found.settings.values())):
            out[name] = found.total.level_db - found.band.mean_db
    return out


def _levels(name: str, total: AcousticSum, band: BandLevel) -> dict[str, Float]:
    if total.coherent:
        return {name: total.level_db - band.mean_db}
    return {
        f"{name} at best": total.best_level_db - band.mean_db,
        f"{name} at worst": total.worst_level_db - band.mean_db,
    }


def drives_of(study: BypassStudy) -> dict[str, Float]:
    """(n,) level at each channel's drivers behind the network, and behind the crossover at hand as it is to be set."""
    out = {f"network {name}": level_db(c.twin.target) for name, c in study.channels.items()}
    for name, c in study.channels.items():
        out[f"crossover {name}"] = level_db(c.slope if study.reached is None else study.reached.filters[name])
    return out


def _draw_sums(axes: Axes, study: BypassStudy, sums: Mapping[str, Float], bottom_db: float) -> list[LineLabel]:
    f = study.frequency_hz
    strokes = {"old network": OLD, "its twin": TWIN, _at_hand(study): AT_HAND, "with bands": BETTER}
    lines = {}
    if "old network at best" in sums:
        lowest = np.maximum(sums["old network at worst"], bottom_db - 10.0)
        axes.fill_between(f, lowest, sums["old network at best"], color=SHADE, linewidth=0.0, zorder=2)
    for name, level in sums.items():
        stroke = strokes.get(name, ENVELOPE if name.startswith("old network") else TWIN)
        (lines[name],) = axes.plot(f, finite(level), label=name, zorder=4, **stroke.options())
    return [
        LineLabel(" and ".join(group), tuple(lines[n] for n in group), strokes.get(group[0], ENVELOPE).ink)
        for group in same_lines(dict(sums))
    ]


def _draw_drives(axes: Axes, study: BypassStudy, drives: Mapping[str, Float]) -> list[LineLabel]:
    f = study.frequency_hz
    labels = []
    for i, name in enumerate(study.channels):
        stroke = driver_stroke(i)
        dots = Stroke(stroke.colour, stroke.ink, (1.0, 1.6), 1.4)
        whole = Stroke(stroke.colour, stroke.ink, None, stroke.width_points)
        (old,) = axes.plot(f, finite(drives[f"network {name}"]), label=f"network {name}", zorder=4, **whole.options())
        axes.plot(f, finite(drives[f"crossover {name}"]), label=f"crossover {name}", zorder=4, **dots.options())
        labels.append(LineLabel(cut(name, LONGEST_NAME), (old,), stroke.ink))
    return labels


def _draw_corners(upper: Axes, lower: Axes, study: BypassStudy) -> list[LineLabel]:
    """A thin line through both panels at every corner, its frequency at the lower one's."""
    labels = []
    for corner in study.crossover.corners_hz:
        for axes in (upper, lower):
            (drop,) = axes.plot([corner] * 2, axes.get_ylim(), label="corner", zorder=2.5, **DROP.options())
        labels.append(LineLabel(hertz(corner), (drop,), INK))
    return labels


def _at_hand(study: BypassStudy) -> str:
    return f"{study.crossover.slope.name} at {corners_words(study.crossover.corners_hz)}"


def _verdict(study: BypassStudy) -> str:
    loads = ", ".join(
        f"{cut(n, LONGEST_NAME)} {written('lowest load', c.load.reading.minimum_ohm, f'bare {n}', unit=True)}"
        for n, c in study.channels.items()
    )
    return f"{study.verdict} · lowest loads: {loads}"


def _notes(study: BypassStudy) -> list[str]:
    notes = [f"{f.about}: {f.text}" for f in study.stops]
    if study.passive is not None and study.twin_sum is not None and study.reached is not None:
        # Without a common time reference the sums of network and twin are one case among many: no figure is theirs.
        sure = {"old network": study.passive, "its twin": study.twin_sum.band} if study.coherent else {}
        delays = "" if study.coherent else " with the best delays"
        figures = {**sure, f"{_at_hand(study)}{delays}": study.reached.band}
        if study.better is not None and any(s.bands for s in study.better.settings.values()):
            figures["with bands"] = study.better.band
        shown = ", ".join(
            f"{name} {written('sum rms', band.rms_deviation_db, unit=True)}" for name, band in figures.items()
        )
        low, high = hertz(study.passive.known_from_hz), hertz(study.passive.known_to_hz)
        notes.append(f"rms deviation of the sum from {low} to {high}: {shown}")
    return [*notes, *(f"not known: {words}" for words in study.unknown)]


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
            _map_notes(study),
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


def _map_notes(study: BypassStudy) -> list[str]:
    notes = [READING_NOTE] if study.maps else ["the sound of a driver is not known: no sum"]
    if study.maps and study.reached is not None:
        notes.append(
            f"as it is to be set now, {study.crossover.slope.name}: "
            + written("sum rms", study.reached.band.rms_deviation_db, unit=True)
        )
    if study.maps and not study.coherent:
        notes.append(f"sums are those with the best delays: {study.timing_reason}")
    if len(study.maps) > 1:
        notes.append("while one corner moves the others stay at hand")
    return [*notes, *study.remarks]
