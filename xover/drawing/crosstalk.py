"""Figure of the crosstalk between coils: the drives with and without it, what it adds to each, and the sum's change."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Final

import numpy as np

from xover.drawing.labels import LineLabel, write_labels
from xover.drawing.levels import same_lines
from xover.drawing.page import Panel, make_page
from xover.drawing.scales import change_axis, finite, level_axis, level_window
from xover.drawing.style import INK, LIMIT, LIMIT_STROKE, QUIET, SUM, Stroke, driver_stroke, look
from xover.drawing.text import LONGEST_NAME, cut
from xover.quantity import hertz
from xover.rules.bands import CHANGES_HZ
from xover.sound.change import size_of
from xover.studies.bears.crosstalk.study import Case, Crosstalk

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

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
            _notes(study, len(cases)),
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


def _drives(axes: Axes, study: Crosstalk, worst: Case | None) -> list[LineLabel]:
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


def _changes(axes: Axes, study: Crosstalk, cases: Sequence[Case]) -> list[LineLabel]:
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


def _name(case: Case) -> str:
    """Its couplings in short: "L1:L2 +0.02"."""
    return ", ".join(f"{c.name} {c.k:+.2g}".replace("-", "\u2212") for c in case.couples)


def _judged(study: Crosstalk) -> str:
    return "the drive that moves most" if study.judged_by == "drives" else f"the {study.judged_by}"


def _sentence(study: Crosstalk, worst: Case | None) -> str:
    if worst is None:
        return "no coupling up to 0.5 between any two coils matters" if study.pairs else "no two coils to couple"
    couples = ", ".join(f"k = {c.k:+.2g} of {c.name}" for c in worst.couples)
    if not study.cases:
        return f"{couples}: as much as the pair that allows least may have"
    if size_of(worst.total) < 0:
        return f"worst case {couples}"
    where = f" at {hertz(worst.total.at_hz)}" if worst.total.change else ""
    return f"worst case {couples}: {_judged(study)} changes by {worst.total.change:+.2f} dB{where}"


def _notes(study: Crosstalk, cases: int) -> list[str]:
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
