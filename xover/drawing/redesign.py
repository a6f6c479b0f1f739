"""Figure of a redesign: the sum before and after against its target, and the load that comes of it."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Final

import numpy as np

from xover.curve import Float
from xover.drawing.labels import LineLabel, write_labels
from xover.drawing.levels import same_lines
from xover.drawing.page import Panel, make_page
from xover.drawing.scales import LEVEL_SPAN_DB, finite, level_axis, level_window, ohm_axis, ohm_window, value_axis
from xover.drawing.style import INK, LIMIT, LIMIT_STROKE, QUIET, Stroke, driver_stroke, look
from xover.drawing.text import LONGEST_NAME, cut
from xover.quantity import hertz, ohms
from xover.studies.change.redesign.result import NetworkCurves, RedesignStudy

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

LONGEST_LABEL: Final = 60
LEAST_SPAN_DB: Final = 12.0
MOST_SPAN_DB: Final = 30.0
"""Proposals differ by decibels: the usual 50 dB would hide them."""
PRESENT: Final = Stroke(QUIET, INK, (4.0, 2.0), 1.3)
TARGET: Final = Stroke(INK, INK, None, 0.8)
PICKED_POINTS: Final = 2.4


def draw_redesign(study: RedesignStudy, curves: Sequence[NetworkCurves], number: int = 1) -> Figure:
    """Draw the sums above, the moduli of the loads below; without a sum, each driver's own sound above.

    Parameters
    ----------
    curves : from `redesign_curves`, the present network first.
    number : of the proposal that is picked, from 1; its lines are heavy, and the target lies at its level.
    """
    now = f"{cut(study.present, LONGEST_NAME)}, now"
    sums = {now: study.before.level_curve_db, **_named(study, [p.judged.level_curve_db for p in study.proposals])}
    loads = {now: curves[0].load_ohm, **_named(study, [c.load_ohm for c in curves[1:]])}
    strokes = {name: _stroke(k, number) for k, name in enumerate(sums)}
    known = any(np.isfinite(level).any() for level in sums.values())
    limit = study.wish.minimum_load_ohm
    ohms_window = ohm_window(list(loads.values()), [] if limit is None else [limit])
    above = "Sum, enlarged" if known else "Each driver's own sound, as no one sum is right"
    with look():
        figure, (upper, lower) = make_page(
            study.title,
            [f'redesign of "{cut(study.present, LONGEST_NAME)}" · {_target_words(study)}', study.source],
            _notes(study, loads, ohms_window[1]),
            [Panel(f"{above}, dB re 20 µPa", 5.0), Panel("Load: modulus of the impedance, ohm", 3.5)],
            study.frequency_hz,
        )
        if known:
            _sums(upper, study, sums, strokes, number)
        else:
            _drivers(upper, study, curves, number)
        _loads(lower, study, loads, strokes, ohms_window)
    return figure


def _named(study: RedesignStudy, of: Sequence[Float]) -> dict[str, Float]:
    return {f"{k} {p.name}": curve for k, (p, curve) in enumerate(zip(study.proposals, of, strict=True), 1)}


def _stroke(k: int, number: int) -> Stroke:
    if k == 0:
        return PRESENT
    stroke = driver_stroke(k - 1)
    return Stroke(stroke.colour, stroke.ink, stroke.dashes, PICKED_POINTS) if k == number else stroke


def _sums(
    axes: Axes, study: RedesignStudy, sums: Mapping[str, Float], strokes: Mapping[str, Stroke], number: int
) -> None:
    f = study.frequency_hz
    band = (f >= study.wish.band_hz[0]) & (f <= study.wish.band_hz[1])
    _decibel_axis(axes, [level[band] for level in sums.values()])
    labels = _curves(axes, f, sums, same_lines(dict(sums)), strokes, "sum")
    target = _target_db(study, number)
    (line,) = axes.plot(f[band], target[band], label="target", zorder=3.5, **TARGET.options())
    write_labels(axes, [*labels, LineLabel("target", (line,), TARGET.ink)])


def _decibel_axis(axes: Axes, curves_db: Sequence[Float]) -> None:
    """Scale the vertical axis to what is heard in the band: numbers every 5 dB, lines every one."""
    shown = np.concatenate([curve[np.isfinite(curve)] for curve in curves_db])
    top = math.ceil(float(shown.max()) + 2.0)
    bottom = max(min(top - LEAST_SPAN_DB, math.floor(float(shown.min()) - 2.0)), top - MOST_SPAN_DB)
    ones = range(math.ceil(bottom), top + 1)
    value_axis(axes, bottom, top, {t: f"{t:d}".replace("-", "\u2212") for t in ones if t % 5 == 0}, ones)


def _target_db(study: RedesignStudy, number: int) -> Float:
    """(n,) the target at the mean level of the proposal that is picked."""
    f = study.frequency_hz
    level = study.proposals[number - 1].judged.level_curve_db
    counted = (f >= study.wish.band_hz[0]) & (f <= study.wish.band_hz[1]) & np.isfinite(level)
    apart = float(np.mean((level - study.target_db)[counted])) if counted.any() else math.nan
    return np.asarray(study.target_db + apart)


def _drivers(axes: Axes, study: RedesignStudy, curves: Sequence[NetworkCurves], number: int) -> None:
    """Each driver today, thin, and with the proposal that is picked, heavy."""
    f = study.frequency_hz
    shown = {0: curves[0].driver_level_db, number: curves[number].driver_level_db}
    everything = [level for levels in shown.values() for level in levels.values()]
    level_axis(axes, *level_window(everything, LEVEL_SPAN_DB, 100.0))
    labels = []
    for k, levels in shown.items():
        for index, (key, level) in enumerate(levels.items()):
            stroke = driver_stroke(index)
            if k == 0:
                stroke = Stroke(stroke.colour, stroke.ink, (4.0, 2.0), 1.0)
            else:
                stroke = Stroke(stroke.colour, stroke.ink, None, PICKED_POINTS)
            whose = "now" if k == 0 else f"{k} {study.proposals[k - 1].name}"
            (line,) = axes.plot(f, finite(level), label=f"driver {key} {k}", zorder=4, **stroke.options())
            labels.append(LineLabel(f"{cut(key, LONGEST_NAME)}, {whose}", (line,), stroke.ink))
    write_labels(axes, labels)
    if not any(np.isfinite(level).any() for level in everything):
        axes.text(0.5, 0.5, "the sound of no driver is known", transform=axes.transAxes, ha="center", color=QUIET)


def _loads(
    axes: Axes,
    study: RedesignStudy,
    loads: Mapping[str, Float],
    strokes: Mapping[str, Stroke],
    window: tuple[float, float],
) -> None:
    ohm_axis(axes, *window)
    with np.errstate(divide="ignore"):
        groups = same_lines({name: 20.0 * np.log10(load) for name, load in loads.items()})
    labels = _curves(axes, study.frequency_hz, loads, groups, strokes, "load")
    limit = study.wish.minimum_load_ohm
    if limit is not None:
        ends = np.array(axes.get_xlim())
        (line,) = axes.plot(ends, [limit, limit], label="limit", zorder=3, **LIMIT_STROKE.options())
        labels.append(LineLabel(f"lowest load allowed {ohms(limit)}", (line,), LIMIT))
    write_labels(axes, labels)


def _curves(
    axes: Axes,
    frequency_hz: Float,
    curves: Mapping[str, Float],
    groups: Sequence[tuple[str, ...]],
    strokes: Mapping[str, Stroke],
    what: str,
) -> list[LineLabel]:
    """A line for each curve, a name for each that can be told apart."""
    lines = {}
    for name, curve in curves.items():
        options = strokes[name].options()
        # Dashed and thin, the present one lies over those that it would else vanish under.
        level = 4.5 if strokes[name] is PRESENT else 4.0
        (lines[name],) = axes.plot(frequency_hz, finite(curve), label=f"{what} {name}", zorder=level, **options)
    return [
        LineLabel(cut(" and ".join(group), LONGEST_LABEL), tuple(lines[n] for n in group), strokes[group[0]].ink)
        for group in groups
    ]


def _target_words(study: RedesignStudy) -> str:
    wish = study.wish
    shape = "flat" if wish.voicing is None else f'the sum of "{cut(wish.voicing, LONGEST_NAME)}"'
    if wish.tilt_db_per_octave:
        shape += f" {wish.tilt_db_per_octave:+g} dB per octave"
    slopes = "slopes free" if wish.slope is None else f"slopes {wish.slope}"
    return f"target {shape} from {hertz(wish.band_hz[0])} to {hertz(wish.band_hz[1])}, {slopes}"


def _notes(study: RedesignStudy, loads: Mapping[str, Float], top_ohm: float) -> list[str]:
    notes = [study.headline]
    if any(np.any(load[np.isfinite(load)] > top_ohm) for load in loads.values()):
        notes.append(f"loads above {ohms(top_ohm)} lie outside the figure")
    return [*notes, *study.warnings]
