"""Figure of the sound off the axis: the sum at vertical angles above, at horizontal angles below."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from xover.acoustic.off_axis import VerticalNulls
from xover.drawing.labels import LineLabel, own_spots, write_labels
from xover.drawing.page import Panel, make_page
from xover.drawing.scales import LEVEL_SPAN_DB, finite, level_axis, level_window
from xover.drawing.style import DROP, INK, QUIET, SUM, Stroke, driver_stroke, look
from xover.quantity import hertz
from xover.studies.does.angles.study import AngleLevels, OffAxisStudy

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

COLOURS: Final = 5
LEAST_LEAN_DEG: Final = 0.5
"""A lobe that leans less than this points straight ahead, on paper."""


def draw_off_axis(study: OffAxisStudy) -> Figure:
    """Draw the levels at all angles, above the sums over each other, below those to the side, over one frequency axis.

    Both panels span 50 dB. An angle up and the same angle down have one colour and different dashes. Where nothing can
    be told off the axis the panels are empty and say so.
    """
    planes = (study.vertical, study.horizontal)
    window = level_window([level for plane in planes for level in plane.level_db], LEVEL_SPAN_DB, 100.0)
    what = "Sum" if study.of_sum == "sum" else "Highest sum"
    with look():
        figure, (upper, lower) = make_page(
            study.title,
            [
                f'network "{study.network}" · 2.83 V, {study.distance_m:g} m away, at the level of 1 m',
                _basis(study),
            ],
            _notes(study),
            [
                Panel(f"{what} above and below the axis, dB re 20 µPa", 1.0),
                Panel(f"{what} to the side, dB re 20 µPa", 1.0),
            ],
            study.frequency_hz,
        )
        for axes, plane, sides in (
            (upper, study.vertical, ("up", "down")),
            (lower, study.horizontal, ("right", "left")),
        ):
            level_axis(axes, *window)
            labels = _draw(axes, study, plane, sides)
            if axes is upper:
                labels += _lobes(axes, study.lobes)
            if not np.isfinite(plane.level_db).any():
                axes.text(0.5, 0.5, "not known", transform=axes.transAxes, ha="center", color=QUIET)
            write_labels(axes, labels)
    return figure


def _draw(axes: Axes, study: OffAxisStudy, plane: AngleLevels, sides: tuple[str, str]) -> list[LineLabel]:
    """A line for each angle."""
    sizes = sorted({abs(float(angle)) for angle in plane.angle_deg} - {0.0})
    levels = list(plane.level_db)
    labels = []
    for number, (angle, level) in enumerate(zip(plane.angle_deg, levels, strict=True)):
        name = angle_name(float(angle), sides)
        stroke = _stroke(float(angle), sizes)
        (line,) = axes.plot(
            study.frequency_hz, finite(level), label=name, zorder=3.5 if angle == 0.0 else 4.0, **stroke.options()
        )
        # At low frequencies all angles are one line: each is named where it goes its own way.
        labels.append(LineLabel(name, (line,), stroke.ink, own_spots(study.frequency_hz, levels, number)))
    return labels


def _stroke(angle_deg: float, sizes: list[float]) -> Stroke:
    if angle_deg == 0.0:
        return SUM
    rank = sizes.index(abs(angle_deg))
    turn = 2 * (rank // COLOURS) + (angle_deg < 0.0)
    return driver_stroke(COLOURS * turn + rank % COLOURS)


def angle_name(angle_deg: float, sides: tuple[str, str]) -> str:
    """An angle as it is written on its line: "axis", "15° up", "30° left"."""
    if angle_deg == 0.0:
        return "axis"
    return f"{abs(angle_deg):g}° {sides[0] if angle_deg > 0.0 else sides[1]}"


def _lobes(axes: Axes, lobes: tuple[VerticalNulls, ...]) -> list[LineLabel]:
    """A thin line at each crossover, with where the lobe leans there."""
    labels = []
    for lobe in lobes:
        if lobe.lobe_deg is None:
            continue
        (drop,) = axes.plot(
            [lobe.crossover_hz] * 2, axes.get_ylim(), label="crossover line", zorder=2.5, **DROP.options()
        )
        labels.append(LineLabel(f"{hertz(lobe.crossover_hz)}\n{lean_words(lobe.lobe_deg)}", (drop,), INK))
    return labels


def lean_words(lobe_deg: float) -> str:
    """Where a lobe points, in words."""
    if abs(lobe_deg) < LEAST_LEAN_DEG:
        return "lobe ahead"
    return f"lobe {abs(lobe_deg):.0f}° {'up' if lobe_deg > 0 else 'down'}"


def _basis(study: OffAxisStudy) -> str:
    sizes = [f"{d.key} {d.diameter_mm:g} mm" if d.diameter_mm else f"{d.key} not given" for d in study.drivers]
    return f"pistons in an infinite baffle: {', '.join(sizes)}"


def _notes(study: OffAxisStudy) -> list[str]:
    """What cannot be told first, then the minima, then the limits of the model."""
    notes = [f"not known: {words}" for words in study.unknown]
    for lobe in study.lobes:
        above, below = (
            f"none {side}" if angle is None else f"{abs(angle):.0f}° {side} ({depth:.0f} dB below the axis)"
            for angle, depth, side in (
                (lobe.above_deg, lobe.above_depth_db, "up"),
                (lobe.below_deg, lobe.below_depth_db, "down"),
            )
        )
        said = f"; {lobe.reason}" if lobe.reason else ""
        notes.append(f"first minima at {hertz(lobe.crossover_hz)}: {above}, {below}{said}")
    return [*notes, *study.warnings]
