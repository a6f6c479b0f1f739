"""Figures of what changes: a redesign, a refresh, and a decision between several options."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Final

import numpy as np

from xover.acoustic.level import band_level
from xover.curve import Float
from xover.drawing.labels import LineLabel, write_labels
from xover.drawing.levels import LONGEST_LABEL, same_lines
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
    value_axis,
)
from xover.drawing.style import INK, LIMIT, LIMIT_STROKE, LONGEST_NAME, QUIET, SUM, Stroke, cut, driver_stroke, look
from xover.figures import written
from xover.quantity import hertz, ohms
from xover.rules.margins import DEVIATION_DB
from xover.rules.triage import Rung
from xover.studies.change.decide.study import Decision
from xover.studies.change.redesign.result import NetworkCurves, RedesignStudy
from xover.studies.change.refresh.result import Difference, RefreshStudy

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure


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
            _redesign_notes(study, loads, ohms_window[1]),
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


def _redesign_notes(study: RedesignStudy, loads: Mapping[str, Float], top_ohm: float) -> list[str]:
    notes = [study.headline]
    if any(np.any(load[np.isfinite(load)] > top_ohm) for load in loads.values()):
        notes.append(f"loads above {ohms(top_ohm)} lie outside the figure")
    return [*notes, *study.warnings]


SHORT_NAME: Final = 24
SAME_DB: Final = 0.005
"""Changes that stay this close are one line on paper."""
_NAIVE: Final = Stroke(QUIET, QUIET, (1.5, 2.0), 1.2)
_LEAST: Final = 0.02
"""A curve that stays below this many dB lies on the zero line: it is named in a note."""


def draw_refresh(study: RefreshStudy) -> Figure:
    """Above what is heard today and what a plain swap would do, below what the refresh leaves: changes in dB."""
    before = study.before if study.before is not None else study.naive
    title = f"'{study.found}' now" if study.before is not None else "Plain swap"
    design = cut(study.reference, SHORT_NAME)
    with look():
        figure, (upper, lower) = make_page(
            study.title,
            [f'refresh to "{design}" · differences of level from it', study.source],
            _refresh_notes(study),
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
            name = cut(" and ".join(cut(key, SHORT_NAME) for key in group), LONGEST_LABEL)
            labels.append(LineLabel(name, tuple(lines), stroke.ink))
    if np.isfinite(shown.sum_db).any():
        (line,) = axes.plot(f, finite(shown.sum_db), label="sum", zorder=5, **SUM.options())
        curves.append(shown.sum_db)
        if _largest(shown.sum_db) > _LEAST:
            labels.append(LineLabel("sum", (line,), SUM.ink))
    for other in others:
        if np.isfinite(other.sum_db).any():
            (line,) = axes.plot(f, finite(other.sum_db), label="plain swap, sum", zorder=3, **_NAIVE.options())
            labels.append(LineLabel("sum, plain swap", (line,), _NAIVE.ink))
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


def _refresh_notes(study: RefreshStudy) -> list[str]:
    notes = [study.headline]
    notes.append(f"plain swap: {written('drive moved', study.naive.worst_db, 'plain swap')} dB")
    if not np.isfinite(study.refreshed.sum_db).any():
        notes.append("no one sum is right for these drivers: drives alone are shown")
    return notes


SUM_SPAN_DB: Final = 20.0
LEAST_CHANGE_DB: Final = 2.5
MOST_CHANGE_DB: Final = 10.0
"""The lower panel spans so much to both sides, before its margin."""
_WIDE: Final = 1.9
"""How much wider the recommended option's line is."""


def draw_decide(decision: Decision) -> Figure:
    """Above the sums of the steps that matter, each less its own mean in the band; below their changes from the design.

    Steps whose sum is not known have no line. The widest line is the recommended step.
    """
    shown = steps_shown(decision)
    sums, changes = ({n: c for n, c in of.items() if n in shown} for of in (sums_of(decision), changes_of(decision)))
    window = level_window(list(sums.values()), SUM_SPAN_DB, 10.0)
    band = f"{hertz(decision.band_hz[0])} to {hertz(decision.band_hz[1])}"
    with look():
        figure, (upper, lower) = make_page(
            decision.title,
            [f"recommended: {decision.answer}", *decision.reasons[:1]],
            _decide_notes(decision, sums),
            [
                Panel(f"Sum, dB over its own mean from {band}", 5.0),
                Panel(
                    f"Change from '{cut(decision.reference or 'the design', SHORT_NAME)}', dB, means made equal", 4.0
                ),
            ],
            decision.frequency_hz,
        )
        level_axis(upper, *window)
        limits = _limits(upper, decision) if sums else []
        write_labels(upper, [*_lines(upper, decision, sums), *limits])
        within = [np.clip(c, -MOST_CHANGE_DB, MOST_CHANGE_DB) for c in changes.values()]
        change_axis(lower, [*within, np.array([LEAST_CHANGE_DB])])
        write_labels(lower, _lines(lower, decision, changes))
        for axes, drawn, words in (
            (upper, sums, "no sum is known"),
            (lower, changes, "no change of the sum from the design is known"),
        ):
            if not drawn:
                axes.text(0.5, 0.6, words, transform=axes.transAxes, ha="center", color=QUIET)
    return figure


def steps_shown(decision: Decision) -> tuple[str, ...]:
    """The steps that have a line: what is there, the recommended one, and the larger ones that it is held against."""
    larger = Rung.REVALUE if Rung.REVALUE is decision.recommendation else Rung.REDESIGN
    if larger not in decision.options or not decision.options[larger].available:
        larger = Rung.REVALUE
    wanted = {Rung.LEAVE, decision.recommendation, Rung.REFRESH, Rung.BYPASS, larger}
    return tuple(str(name) for name, option in decision.options.items() if name in wanted and option.available)


def sums_of(decision: Decision) -> dict[str, Float]:
    """(n,) level of each sum that is known, less its mean in the band."""
    return {
        str(name): _levelled(decision, option.level_db)
        for name, option in decision.options.items()
        # How a driver sounds that is still to be found, nobody knows.
        if np.isfinite(option.level_db).any() and not (name is Rung.DRIVER and option.network is None)
    }


def changes_of(decision: Decision) -> dict[str, Float]:
    """(n,) the same less that of the design."""
    if not np.isfinite(decision.design_level_db).any():
        return {}
    design = _levelled(decision, decision.design_level_db)
    with np.errstate(invalid="ignore"):
        return {name: level - design for name, level in sums_of(decision).items()}


def _levelled(decision: Decision, level_db: Float) -> Float:
    return np.asarray(level_db - band_level(decision.frequency_hz, level_db, *decision.band_hz).mean_db)


def _lines(axes: Axes, decision: Decision, curves: Mapping[str, Float]) -> list[LineLabel]:
    labels = []
    for index, name in enumerate(steps_shown(decision)):
        if name not in curves:
            continue
        stroke = driver_stroke(index)
        if name == decision.recommendation:
            stroke = Stroke(stroke.colour, stroke.ink, stroke.dashes, stroke.width_points * _WIDE)
        (line,) = axes.plot(decision.frequency_hz, finite(curves[name]), label=str(name), zorder=4, **stroke.options())
        labels.append(LineLabel(str(name), (line,), stroke.ink))
    return labels


def _limits(axes: Axes, decision: Decision) -> list[LineLabel]:
    labels = []
    for level in (DEVIATION_DB, -DEVIATION_DB):
        (line,) = axes.plot(
            decision.band_hz, [level, level], label=f"limit {level:+g}", zorder=2, **LIMIT_STROKE.options()
        )
        if level > 0:
            labels.append(LineLabel(f"limit \u00b1{DEVIATION_DB:g} dB", (line,), LIMIT))
    return labels


def _decide_notes(decision: Decision, sums: Mapping[str, Float]) -> list[str]:
    notes = list(decision.rests_on)
    missing = [name for name in steps_shown(decision) if name not in sums]
    if missing:
        notes.append(f"no sum is known of: {', '.join(missing)}")
    notes.append("the limit to pass is common practice; the widest line: recommended")
    return notes + list(decision.unknown)
