"""Figure of a response in time: every drive, even in log of time, so that woofer and tweeter both can be read."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from xover.drawing.labels import LineLabel, write_labels
from xover.drawing.page import Panel, make_page
from xover.drawing.scales import signed_axis, time_axis
from xover.drawing.style import driver_stroke, look
from xover.drawing.text import cut
from xover.studies.does.formula.response import ResponseStudy

if TYPE_CHECKING:
    from matplotlib.figure import Figure

SHOWN_FROM_S: Final = 10e-6
"""Earlier than half a period of 20 kHz there is only what a model's smallest inductance makes of the beginning."""
LONGEST_NAME: Final = 28


def draw_response(study: ResponseStudy) -> Figure:
    """Draw each drive over time."""
    shown = study.time_s >= SHOWN_FROM_S * 0.999
    t = study.time_s[shown]
    response = "a step" if study.stimulus == "step" else "an impulse"
    with look():
        figure, (axes,) = make_page(
            study.title,
            [f'network "{study.network}" · what reaches each driver in time'],
            [*(f"{d.name}: {d.check}" for d in study.drives.values()), *study.warnings],
            [Panel(f"Response to {response}, {study.unit}", 1.0)],
            t,
        )
        time_axis(axes, float(t[0]), float(t[-1]), True)
        signed_axis(axes, [d.values[shown] for d in study.drives.values()])
        labels = []
        for index, (key, drive) in enumerate(study.drives.items()):
            stroke = driver_stroke(index)
            (line,) = axes.plot(t, drive.values[shown], label=key, zorder=4, **stroke.options())
            labels.append(LineLabel(cut(key, LONGEST_NAME), (line,), stroke.ink))
        write_labels(axes, labels)
    return figure
