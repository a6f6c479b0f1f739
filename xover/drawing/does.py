"""Figures of what a network does: its load, its sound off the axis, its response in time, its sensitivity."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import numpy as np

from xover.acoustic.off_axis import VerticalNulls
from xover.amplifier.load import ASSUMPTION
from xover.curve import Float
from xover.drawing.labels import LineLabel, own_spots, write_labels
from xover.drawing.page import (
    LEVEL_SPAN_DB,
    Panel,
    change_axis,
    finite,
    level_axis,
    level_window,
    make_page,
    ohm_axis,
    ohm_window,
    phase_axis,
    signed_axis,
    time_axis,
)
from xover.drawing.style import (
    DROP,
    INK,
    LIMIT,
    LIMIT_STROKE,
    LONGEST_NAME,
    QUIET,
    SUM,
    Stroke,
    cut,
    driver_stroke,
    look,
    ring,
)
from xover.quantity import hertz, ohms
from xover.sound.change import Worst
from xover.sound.small_steps import LoadChange
from xover.studies.does.angles.study import AngleLevels, OffAxisStudy
from xover.studies.does.formula.response import ResponseStudy
from xover.studies.does.load.study import LoadStudy
from xover.studies.does.sensitivity.study import PartSensitivity, SensitivityStudy

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
            _load_notes(study, curves, window[1]),
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


def _load_notes(study: LoadStudy, curves: list[Float], top_ohm: float) -> list[str]:
    """The verdict first, then what the lines mean, then what holds for the network, then for single drivers."""
    several = len(study.channels) > 1
    notes = [
        (f"{cut(c.channel, LONGEST_NAME)}: " if several else "") + c.verdict.sentence for c in study.channels.values()
    ]
    if any(np.any(c[np.isfinite(c)] > top_ohm) for c in curves):
        notes.append(f"impedance above {ohms(top_ohm)} lies outside the figure")
    return [*notes, EPDR_NOTE, *reversed(study.warnings)]


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
            _angle_notes(study),
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


def _angle_notes(study: OffAxisStudy) -> list[str]:
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


SHOWN_FROM_S: Final = 10e-6
"""Earlier than half a period of 20 kHz there is only what a model's smallest inductance makes of the beginning."""


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


MOST_CURVES: Final = 5
"""As many as there are colours; the other parts matter less, and are counted in a note."""
LEAST_NAMED: Final = 0.05
"""A load curve below this share of the largest lies on the zero line, where no name could point at it alone."""
READING_NOTE: Final = (
    "a smaller part does the opposite, and twice the change does twice as much; rings: the largest change"
)


def draw_sensitivity(study: SensitivityStudy) -> Figure:
    """Draw the change of the sum above and of the load below, for the parts that matter most.

    Each part has one stroke in both panels. Where no sum is known, the upper panel shows for each part the drive
    that it moves most; with several channels the lower one the load that it moves most.
    """
    shown = study.parts[:MOST_CURVES]
    changes = [_upper(study, s) for s in shown]
    loads = [_most_moved_load(s) for s in shown]
    what = f"the {study.of_sum}" if study.total_known else "the drive that each moves most"
    with look():
        figure, (upper, lower) = make_page(
            study.title,
            [f'network "{study.network}" · each part 1 % larger by itself; the parts that matter most'],
            _sensitivity_notes(study, len(shown)),
            [Panel(f"Change of {what}, dB", 5.0), Panel("Change of the load, per cent of its ohms", 4.0)],
            study.frequency_hz,
        )
        change_axis(upper, [level for level, _, _ in changes])
        change_axis(lower, [load.percent for load in loads])
        least = LEAST_NAMED * max((_size(load.worst) for load in loads), default=0.0)
        above: list[LineLabel] = []
        below: list[LineLabel] = []
        for index, (s, (level, worst, of), load) in enumerate(zip(shown, changes, loads, strict=True)):
            stroke, f, name = driver_stroke(index), study.frequency_hz, cut(s.name, LONGEST_NAME)
            upper.plot(f, finite(level), label=f"level {s.name}", zorder=4, **stroke.options())
            (line,) = lower.plot(f, finite(load.percent), label=f"load {s.name}", zorder=4, **stroke.options())
            if _size(load.worst) > least:
                below.append(LineLabel(name, (line,), stroke.ink))
            above += _mark(upper, f"{name}{of}", s.name, worst, stroke)
        write_labels(upper, above)
        write_labels(lower, below)
    return figure


def _upper(study: SensitivityStudy, s: PartSensitivity) -> tuple[Float, Worst, str]:
    """Curve and largest change of the upper panel, and whose it is where that is not the sum's."""
    if study.total_known:
        return s.total.level_db, s.total.worst, ""
    key, worst = s.most_moved
    return s.drive[key].level_db, worst, f", {cut(key, LONGEST_NAME)}"


def _most_moved_load(s: PartSensitivity) -> LoadChange:
    return max(s.load.values(), key=lambda load: _size(load.worst))


def _size(worst: Worst) -> float:
    return abs(worst.change) if math.isfinite(worst.change) else 0.0


def _mark(axes: Axes, name: str, part: str, worst: Worst, stroke: Stroke) -> list[LineLabel]:
    """A ring at the largest change, with the part's name and the figures; nothing where nothing changes."""
    if not (math.isfinite(worst.change) and math.isfinite(worst.at_hz)):
        return []
    (mark,) = axes.plot([worst.at_hz], [worst.change], label=f"worst {part}", **ring(stroke.colour))
    size = f"{worst.change:+.2g}".replace("-", "\u2212")
    return [LineLabel(f"{name} {size} dB", (mark,), stroke.ink)]


def _sensitivity_notes(study: SensitivityStudy, shown: int) -> list[str]:
    left = len(study.parts) - shown
    notes = [READING_NOTE]
    if left:
        notes.append(f"{left} more part{'s' if left > 1 else ''} matter{'' if left > 1 else 's'} less, not shown here")
    if not study.total_known:
        notes.insert(0, "no sum is known: drives are shown")
    return [*notes, *reversed(study.warnings)]
