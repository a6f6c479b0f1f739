"""Figure of a bypass: the sum behind the network, its twin and the crossover; the voltage at the drivers."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Final

import numpy as np

from xover.acoustic.decibel import level_db
from xover.acoustic.level import BandLevel
from xover.acoustic.summing import AcousticSum
from xover.curve import Float
from xover.drawing.labels import LineLabel, write_labels
from xover.drawing.levels import same_lines
from xover.drawing.page import Panel, make_page
from xover.drawing.scales import finite, level_axis, level_window
from xover.drawing.style import DROP, ENVELOPE, INK, QUIET, SHADE, Stroke, driver_stroke, look
from xover.drawing.text import cut
from xover.quantity import hertz
from xover.studies.change.bypass.crossover import corners_words
from xover.studies.change.bypass.result import BypassStudy

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

LONGEST_NAME: Final = 28
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
    loads = ", ".join(f"{cut(n, LONGEST_NAME)} {c.load.reading.minimum_ohm:.3g} ohm" for n, c in study.channels.items())
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
        shown = ", ".join(f"{name} {band.rms_deviation_db:.2f} dB" for name, band in figures.items())
        low, high = hertz(study.passive.known_from_hz), hertz(study.passive.known_to_hz)
        notes.append(f"rms deviation of the sum from {low} to {high}: {shown}")
    return [*notes, *(f"not known: {words}" for words in study.unknown)]
