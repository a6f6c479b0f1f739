"""Figure of the stress: where in the spectrum the drivers get their watts, and the parts their heat."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from xover.amplifier.programme import third_octave_edges
from xover.amplifier.stress import ElementKind, ElementStress
from xover.curve import Float
from xover.drawing.labels import LineLabel, write_labels
from xover.drawing.page import Panel, make_page
from xover.drawing.scales import size_axis
from xover.drawing.style import QUIET, driver_stroke, look
from xover.drawing.text import LONGEST_NAME, cut
from xover.studies.bears.stress.study import StressStudy

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

MOST_CURVES: Final = 5
"""As many as there are colours; the other parts are cooler, and are counted in a note."""
ROOM: Final = 1.3
"""Room above the highest step, for its name."""
TINT: Final = 0.10
SAME: Final = 1e-6
LEAST_DRAWN: Final = 0.005
"""Steps below this share of the highest lie on the axis, where no line and no name could be told apart."""


def draw_stress(study: StressStudy) -> Figure:
    """Draw watts by third octaves at full level: the drivers above, the parts that get hottest below."""
    full = study.full.stress
    drivers = full.of_kind(ElementKind.DRIVER)
    heated = [e for e in full.elements if e.kind is not ElementKind.DRIVER and e.power_w > 0]
    heated.sort(key=lambda e: -e.power_w)
    shown = [e for e in heated[:MOST_CURVES] if e.band_power_w.max() >= LEAST_DRAWN * heated[0].band_power_w.max()]
    with look():
        figure, (upper, lower) = make_page(
            study.title,
            [f'network "{study.network}" · {study.spectrum_words}', study.full.sentence],
            _notes(study, len(heated) - len(shown)),
            [
                Panel("Drivers: watts in each third octave", 4.0),
                Panel("Parts: heat in each third octave, watts", 4.0),
            ],
            study.frequency_hz,
        )
        _draw(upper, drivers, "driver")
        _draw(lower, shown, "part")
    return figure


def _draw(axes: Axes, elements: Sequence[ElementStress], what: str) -> None:
    """Steps of each element, its name with its watts on them; a note where there is nothing to draw."""
    known = [e for e in elements if not math.isnan(e.power_w)]
    top = max((float(e.band_power_w.max()) for e in known), default=0.0)
    watt_axis(axes, top)
    if top <= 0.0:
        words = "not known" if elements else "no part turns power into heat"
        axes.text(0.5, 0.5, words, transform=axes.transAxes, ha="center", color=QUIET)
        return
    labels = []
    for index, group in enumerate(_alike(known)):
        stroke = driver_stroke(index)
        x, y = stairs(group[0].band_power_w)
        axes.fill_between(x, y, 0.0, color=stroke.colour, alpha=TINT, linewidth=0.0, zorder=2)
        off = _on_the_axis(group[0].band_power_w, top)
        lines = [
            axes.plot(x, np.where(off, np.nan, y), label=f"{what} {e.key}", zorder=4, **stroke.options())[0]
            for e in group
        ]
        if not off.all():
            names = " and ".join(cut(e.key, LONGEST_NAME) for e in group)
            each = " each" if len(group) > 1 else ""
            labels.append(LineLabel(f"{names} {_watts(group[0].power_w)}{each}", tuple(lines), stroke.ink))
    write_labels(axes, labels)


def _alike(elements: Sequence[ElementStress]) -> list[list[ElementStress]]:
    """Elements whose steps are one on paper share a stroke and a name."""
    groups: list[list[ElementStress]] = []
    for e in elements:
        for group in groups:
            if np.allclose(e.band_power_w, group[0].band_power_w, rtol=SAME, atol=0.0):
                group.append(e)
                break
        else:
            groups.append([e])
    return groups


def _on_the_axis(band_power_w: Float, top_w: float) -> NDArray[np.bool_]:
    """(62,) where the steps and those beside them lie on the axis: nothing is drawn, and no name put, there."""
    low = np.concatenate([[True], band_power_w < LEAST_DRAWN * top_w, [True]])
    return np.repeat(low[:-2] & low[1:-1] & low[2:], 2)


def stairs(band_power_w: Float) -> tuple[Float, Float]:
    """Corners of the steps of the third octaves: (62,) Hz and watts from (31,) watts."""
    edges = third_octave_edges()
    return np.repeat(edges, 2)[1:-1], np.repeat(band_power_w, 2)


def watt_axis(axes: Axes, top_w: float) -> None:
    """Scale the vertical axis from 0, with room above the highest step and round numbers."""
    size_axis(axes, top_w * ROOM if top_w > 0 else 1.0)


def _notes(study: StressStudy, left: int) -> list[str]:
    notes = [*study.limits_broken]
    if left > 0:
        notes.append(f"{left} more part{'s get' if left > 1 else ' gets'} less heat, not shown here")
    notes.append(
        f"{100.0 * study.outside_share:.1f} % of the programme's power lies outside the figure; "
        f"{_watts(study.full.stress.power_w)} in all"
    )
    return [*notes, *reversed(study.warnings)]


def _watts(value: float) -> str:
    return f"{value:.3g} W" if value >= 0.995 else f"{value:.2g} W"
