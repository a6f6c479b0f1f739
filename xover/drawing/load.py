"""Figure of a load: impedance and EPDR against the lowest load that the amplifier allows, and the phase."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import numpy as np

from xover.amplifier.load import ASSUMPTION
from xover.curve import Float
from xover.drawing.labels import LineLabel, write_labels
from xover.drawing.page import Panel, make_page
from xover.drawing.scales import finite, ohm_axis, ohm_window, phase_axis
from xover.drawing.style import INK, LIMIT, LIMIT_STROKE, QUIET, Stroke, driver_stroke, look, ring
from xover.drawing.text import LONGEST_NAME, cut
from xover.quantity import hertz, ohms
from xover.studies.does.load.study import LoadStudy

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

ALONE: Final = Stroke(INK, INK, None, 2.2)
EPDR_DASHES: Final = (4.0, 2.0)
EPDR_NOTE: Final = (
    f"EPDR: the resistor that would heat an output device as much at its worst instant; it assumes {ASSUMPTION}"
)


def draw_load(study: LoadStudy) -> Figure:
    """Draw impedance and EPDR above, phase below, each channel with lines of its own."""
    readings = {name: channel.reading for name, channel in study.channels.items()}
    limits = _limits(study)
    curves = [c for r in readings.values() for c in (r.impedance_ohm, r.epdr_ohm)]
    window = ohm_window(curves, list(limits))
    with look():
        figure, (upper, lower) = make_page(
            study.title,
            [f'network "{study.network}" · the load that the amplifier sees'],
            _notes(study, curves, window[1]),
            [Panel("Impedance and EPDR, ohm", 5.0), Panel("Phase, degrees: inductive above 0, capacitive below", 3.0)],
            study.frequency_hz,
        )
        ohm_axis(upper, *window)
        phase_axis(lower, [r.phase_deg for r in readings.values()])
        lower.axhline(0.0, color=QUIET, linewidth=0.8, zorder=1, label="zero")
        labels = _draw_limits(upper, limits, len(readings))
        phases = []
        for index, (name, reading) in enumerate(readings.items()):
            alone = len(readings) == 1
            stroke = ALONE if alone else driver_stroke(index)
            said = "" if alone else f"{cut(name, LONGEST_NAME)} "
            labels += _draw_channel(upper, study, name, stroke, said)
            (phase,) = lower.plot(
                study.frequency_hz, finite(reading.phase_deg), label=f"phase {name}", zorder=4, **stroke.options()
            )
            if not alone:
                phases.append(LineLabel(cut(name, LONGEST_NAME), (phase,), stroke.ink))
        write_labels(upper, labels)
        write_labels(lower, phases)
    return figure


def _draw_channel(axes: Axes, study: LoadStudy, name: str, stroke: Stroke, said: str) -> list[LineLabel]:
    """Impedance and EPDR of one channel, with a ring at the lowest of each."""
    r, f = study.channels[name].reading, study.frequency_hz
    thin = Stroke(stroke.colour, stroke.ink, EPDR_DASHES, 0.55 * stroke.width_points)
    (whole,) = axes.plot(f, finite(r.impedance_ohm), label=f"impedance {name}", zorder=4, **stroke.options())
    (epdr,) = axes.plot(f, finite(r.epdr_ohm), label=f"epdr {name}", zorder=4, **thin.options())
    labels = [
        LineLabel(said.strip() or "impedance", (whole,), stroke.ink),
        LineLabel(f"{said}EPDR", (epdr,), stroke.ink),
    ]
    for what, word, ohm, at_hz, size in (
        ("minimum", "", r.minimum_ohm, r.minimum_at_hz, 6.0),
        ("lowest epdr", "EPDR ", r.lowest_epdr_ohm, r.lowest_epdr_at_hz, 4.0),
    ):
        if math.isfinite(ohm):
            (mark,) = axes.plot([at_hz], [ohm], label=f"{what} {name}", **ring(stroke.colour, size))
            labels.append(LineLabel(f"lowest {word}{ohms(ohm)} at {hertz(at_hz)}", (mark,), stroke.ink))
    return labels


def _limits(study: LoadStudy) -> dict[float, list[str]]:
    """Channels by the lowest load that their amplifier allows, ohm."""
    limits: dict[float, list[str]] = {}
    for name, channel in study.channels.items():
        if channel.verdict.minimum_load_ohm is not None:
            limits.setdefault(channel.verdict.minimum_load_ohm, []).append(name)
    return limits


def _draw_limits(axes: Axes, limits: dict[float, list[str]], channels: int) -> list[LineLabel]:
    """One line for each limit; it names its channels unless it holds for all of them."""
    labels = []
    for ohm, names in limits.items():
        ends = np.array(axes.get_xlim())
        (line,) = axes.plot(ends, [ohm, ohm], label=f"limit {ohm:g}", zorder=3, **LIMIT_STROKE.options())
        whose = f" ({', '.join(cut(n, LONGEST_NAME) for n in names)})" if len(names) < channels else ""
        labels.append(LineLabel(f"amplifier's minimum load {ohms(ohm)}{whose}", (line,), LIMIT))
    return labels


def _notes(study: LoadStudy, curves: list[Float], top_ohm: float) -> list[str]:
    """The verdict first, then what the lines mean, then what holds for the network, then for single drivers."""
    several = len(study.channels) > 1
    notes = [
        (f"{cut(c.channel, LONGEST_NAME)}: " if several else "") + c.verdict.sentence for c in study.channels.values()
    ]
    if any(np.any(c[np.isfinite(c)] > top_ohm) for c in curves):
        notes.append(f"impedance above {ohms(top_ohm)} lies outside the figure")
    return [*notes, EPDR_NOTE, *reversed(study.warnings)]
