"""Figures of what a network bears: its parts' stress and tolerances, and coupling between its coils."""

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
from xover.drawing.levels import same_lines
from xover.drawing.page import ROOM, Panel, change_axis, finite, level_axis, level_window, make_page, size_axis
from xover.drawing.style import (
    INK,
    LIMIT,
    LIMIT_STROKE,
    LONGEST_NAME,
    QUIET,
    SHADE,
    SUM,
    Stroke,
    cut,
    driver_stroke,
    look,
)
from xover.quantity import hertz
from xover.rules.bands import CHANGES_HZ
from xover.sound.change import size_of
from xover.studies.bears.crosstalk.study import CoupledCase, Crosstalk
from xover.studies.bears.stress.study import StressStudy
from xover.studies.bears.tolerance.study import ToleranceStudy

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure


MOST_CURVES: Final = 5
"""As many as there are colours; the other parts are cooler, and are counted in a note."""
NAME_ROOM: Final = 1.3
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
            _stress_notes(study, len(heated) - len(shown)),
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
    size_axis(axes, top_w * NAME_ROOM if top_w > 0 else 1.0)


def _stress_notes(study: StressStudy, left: int) -> list[str]:
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


DARKER: Final = "#b4b4b4"
EDGE: Final = Stroke(INK, INK, None, 1.0)
INNER: Final = Stroke(QUIET, QUIET, None, 0.5)
MEDIAN: Final = Stroke(INK, INK, None, 2.2)
CORNER: Final = Stroke(QUIET, QUIET, (6.0, 2.0), 1.1)
READING_NOTE: Final = (
    "dark shade: 68 % of the builds; light: 95 %; line: the middle one. "
    "Below: one pair in 40 is farther apart than the thick line, one in two than the thin"
)


def draw_tolerance(study: ToleranceStudy) -> Figure:
    """Draw the change of the sum above, the difference between two builds below, over one frequency axis.

    The scales hold what happens within the band that is judged; beyond it lines may leave the panel.
    """
    with look():
        figure, (upper, lower) = make_page(
            study.title,
            [
                f'network "{study.network}" · {study.builds:,} builds, {study.distribution.words}; seed {study.seed}',
                _verdict(study),
            ],
            _tolerance_notes(study),
            [
                Panel(f"The {study.of_sum}: how far builds lie from the nominal, dB", 5.0),
                Panel("Left against right: difference between two builds, dB", 4.0),
            ],
            study.frequency_hz,
        )
        above, below = _draw_sum(upper, study), _draw_pairs(lower, study)
        if not study.total_known:
            for axes in (upper, lower):
                axes.text(0.5, 0.6, "the sum is not known", transform=axes.transAxes, ha="center", color=QUIET)
        write_labels(upper, above)
        write_labels(lower, below)
    return figure


def _draw_sum(axes: Axes, study: ToleranceStudy) -> list[LineLabel]:
    f, total, corner = study.frequency_hz, study.total, study.corners.total
    low95, low68, middle, high68, high95 = (finite(c) for c in total.change_db)
    shown = [c[study.in_band] for c in (low95, high95)]
    corners = [] if corner is None else [finite(corner.lowest_db), finite(corner.highest_db)]
    change_axis(axes, [*shown, *(c[study.in_band] for c in corners), np.array([study.limit_db])])
    axes.fill_between(f, low95, high95, color=SHADE, linewidth=0.0, zorder=1.5)
    axes.fill_between(f, low68, high68, color=DARKER, linewidth=0.0, zorder=1.6)
    axes.plot(f, middle, label="median", zorder=4, **MEDIAN.options())
    labels = []
    # Of each band one edge is named: the upper of the wide one, the lower of the narrow one.
    for low, high, names, stroke, words in (
        (low95, high95, ("2.5 %", "97.5 %"), EDGE, "95 % of builds"),
        (low68, high68, ("16 %", "84 %"), INNER, "68 %"),
    ):
        edges = [
            axes.plot(f, curve, label=name, zorder=3, **stroke.options())[0]
            for curve, name in zip((low, high), names, strict=True)
        ]
        labels.append(LineLabel(words, (edges[1 if low is low95 else 0],), INK))
    for name, curve in zip(("lowest corner", "highest corner"), corners, strict=False):
        (line,) = axes.plot(f, curve, label=name, zorder=3, **CORNER.options())
        labels.append(LineLabel("worst corner", (line,), QUIET))
    judged = f[study.in_band][[0, -1]]
    for sign in (1.0, -1.0):
        level = sign * study.limit_db
        (line,) = axes.plot(judged, [level, level], label=f"limit {level:+g}", zorder=3.5, **LIMIT_STROKE.options())
        if sign > 0:
            labels.append(LineLabel(f"limit \u00b1{study.limit_db:g} dB", (line,), LIMIT))
    return labels


def _draw_pairs(axes: Axes, study: ToleranceStudy) -> list[LineLabel]:
    """Of two builds drawn apart, and of two with parts paired: the middle pair thin, one pair in forty beyond."""
    labels, top = [], 0.0
    apart, paired = driver_stroke(0), driver_stroke(1)
    for name, pair, stroke in (
        ("any two builds", study.independent, apart),
        (f"parts paired to {100 * study.match:g} %", study.matched, paired),
    ):
        rare, usual = finite(pair.difference_db[4]), finite(pair.difference_db[2])
        thin = Stroke(stroke.colour, stroke.ink, stroke.dashes, 0.7)
        (line,) = axes.plot(study.frequency_hz, rare, label=f"rare {name}", zorder=4, **stroke.options())
        axes.plot(study.frequency_hz, usual, label=f"usual {name}", zorder=4, **thin.options())
        labels.append(LineLabel(name, (line,), stroke.ink))
        top = max(top, _highest(rare[study.in_band]))
    size_axis(axes, ROOM * top if top > 0 else 1.0)
    return labels


def _highest(curve: Float) -> float:
    known = curve[np.isfinite(curve)]
    return float(known.max()) if known.size else 0.0


def _verdict(study: ToleranceStudy) -> str:
    if not study.total_known:
        return "the sum is not known in the band"
    p = study.passing
    return (
        f"{100 * p.share:.1f} % of them keep within \u00b1{study.limit_db:g} dB "
        f"({100 * p.low:.1f} to {100 * p.high:.1f} %, 95 % sure)"
    )


def _tolerance_notes(study: ToleranceStudy) -> list[str]:
    """What the lines mean first, then what holds for this network, then what holds always."""
    return [READING_NOTE, *study.warnings[:1], study.shares.sentence, *study.warnings[1:]]


SPAN_DB: Final = 50.0
MOST_CASES: Final = 4
"""As many sums as there are colours beside the worst; the others are counted in a note."""


def draw_crosstalk(study: Crosstalk) -> Figure:
    """Draw the drives above, without and with the worst case, and the change of the sum for every sign below.

    Where no coupling was given, the pair of coils that allows least is shown with as much as it may just have. Where
    no coupling matters there is nothing to draw beside the drives.
    """
    cases = sorted(study.cases or ([study.at_limit] if study.at_limit else []), key=lambda c: -size_of(c.total))
    worst = cases[0] if cases else None
    shown = [*study.drive_db.values(), *(worst.stray_db.values() if worst else ())]
    window = level_window(shown, SPAN_DB, 5.0)
    with look():
        figure, (upper, lower) = make_page(
            study.title,
            [f'network "{study.network}" · coupling between coils', _sentence(study, worst)],
            _crosstalk_notes(study, len(cases)),
            [
                Panel("Drive over the amplifier's, dB: without coupling (line), with (dashes)", 5.0),
                Panel(f"Change of {_judged(study)}, dB", 4.0),
            ],
            study.frequency_hz,
        )
        level_axis(upper, *window)
        write_labels(upper, _drives(upper, study, worst))
        write_labels(lower, _changes(lower, study, cases[: 1 + MOST_CASES]))
    return figure


def _drives(axes: Axes, study: Crosstalk, worst: CoupledCase | None) -> list[LineLabel]:
    """Each drive, the same with the coupling, and thin what the coupling alone adds."""
    f = study.frequency_hz
    labels = []
    for index, group in enumerate(same_lines(dict(study.drive_db))):
        stroke = driver_stroke(index)
        name = cut(" and ".join(cut(key, LONGEST_NAME) for key in group), 60)
        whole = Stroke(stroke.colour, stroke.ink, None, 1.3)
        lines, strays = [], []
        for key in group:
            (line,) = axes.plot(f, finite(study.drive_db[key]), label=f"{key} without", zorder=4, **whole.options())
            lines.append(line)
            if worst is None:
                continue
            dashed = Stroke(stroke.colour, stroke.ink, (4.0, 2.5), 2.2)
            axes.plot(f, finite(worst.drive_db[key]), label=f"{key} with", zorder=4.1, **dashed.options())
            thin = Stroke(stroke.colour, stroke.ink, (1.2, 1.6), 1.0)
            (stray,) = axes.plot(f, finite(worst.stray_db[key]), label=f"{key} stray", zorder=3.9, **thin.options())
            strays.append(stray)
        labels.append(LineLabel(name, tuple(lines), stroke.ink))
        if strays:
            labels.append(LineLabel(f"stray at {name}", tuple(strays), stroke.ink))
    return labels


def _changes(axes: Axes, study: Crosstalk, cases: Sequence[CoupledCase]) -> list[LineLabel]:
    """The change of the sum for each case; where no sum is known, of the drive that the worst case moves most."""
    f, limit = study.frequency_hz, study.limit_db
    curves = {}
    for case in cases:
        if study.judged_by != "drives":
            curves[_name(case)] = case.total_db
            continue
        moved = max(case.drive, key=lambda d: size_of(d.pass_band))
        with np.errstate(invalid="ignore"):
            curves[f"{_name(case)}, {cut(moved.key, LONGEST_NAME)}"] = (
                case.drive_db[moved.key] - study.drive_db[moved.key]
            )
    judged = (f >= CHANGES_HZ[0] * (1 - 1e-9)) & (f <= CHANGES_HZ[1] * (1 + 1e-9))
    change_axis(axes, [*(c[judged] for c in curves.values()), np.array([limit])])
    labels = []
    for index, (name, change) in enumerate(curves.items()):
        stroke = Stroke(INK, INK, None, 0.7 * SUM.width_points) if index == 0 else driver_stroke(index - 1)
        (line,) = axes.plot(f, finite(change), label=name, zorder=4, **stroke.options())
        labels.append(LineLabel(name, (line,), stroke.ink))
    ends = [max(f[0], CHANGES_HZ[0]), min(f[-1], CHANGES_HZ[1])]
    for sign in (1.0, -1.0):
        (line,) = axes.plot(ends, [sign * limit] * 2, label=f"limit {sign * limit:+g}", **LIMIT_STROKE.options())
        if sign > 0:
            labels.append(LineLabel(f"limit \u00b1{limit:g} dB", (line,), LIMIT))
    if not any(np.isfinite(c).any() for c in curves.values()):
        words = "no coupling to show" if not cases else "not known"
        axes.text(0.5, 0.6, words, transform=axes.transAxes, ha="center", color=QUIET)
    return labels


def _name(case: CoupledCase) -> str:
    """Its couplings in short: "L1:L2 +0.02"."""
    return ", ".join(f"{c.name} {c.k:+.2g}".replace("-", "\u2212") for c in case.couples)


def _judged(study: Crosstalk) -> str:
    return "the drive that moves most" if study.judged_by == "drives" else f"the {study.judged_by}"


def _sentence(study: Crosstalk, worst: CoupledCase | None) -> str:
    if worst is None:
        return "no coupling up to 0.5 between any two coils matters" if study.pairs else "no two coils to couple"
    couples = ", ".join(f"k = {c.k:+.2g} of {c.name}" for c in worst.couples)
    if not study.cases:
        return f"{couples}: as much as the pair that allows least may have"
    if size_of(worst.total) < 0:
        return f"worst case {couples}"
    where = f" at {hertz(worst.total.at_hz)}" if worst.total.change else ""
    return f"worst case {couples}: {_judged(study)} changes by {worst.total.change:+.2f} dB{where}"


def _crosstalk_notes(study: Crosstalk, cases: int) -> list[str]:
    notes = ["stray: the voltage that the coupling alone adds at a driver, whatever its phase"]
    left = cases - 1 - MOST_CASES
    if left > 0:
        notes.append(f"{left} more combination{'s' if left > 1 else ''} of signs change less, not shown here")
    limits = [f"{p.name} {p.smaller:.2g}" for p in study.pairs if np.isfinite(p.smaller)]
    if limits:
        notes.append(f"coupling that moves {_judged(study)} by {study.limit_db:g} dB: {', '.join(limits)}")
    if study.skipped:
        notes.append(f"coupled already by K cards, which stay as they are: {', '.join(study.skipped)}")
    return [*notes, *study.warnings]
