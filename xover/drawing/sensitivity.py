"""Figure of the sensitivity: what 1 % of the parts that matter most does to the sum, and to the load."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

from xover.curve import Float
from xover.drawing.labels import LineLabel, write_labels
from xover.drawing.page import Panel, make_page
from xover.drawing.scales import change_axis, finite
from xover.drawing.style import Stroke, driver_stroke, look, ring
from xover.drawing.text import LONGEST_NAME, cut
from xover.sound.change import Worst
from xover.sound.small_steps import LoadChange
from xover.studies.does.sensitivity.study import PartSensitivity, SensitivityStudy

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

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
            _notes(study, len(shown)),
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


def _notes(study: SensitivityStudy, shown: int) -> list[str]:
    left = len(study.parts) - shown
    notes = [READING_NOTE]
    if left:
        notes.append(f"{left} more part{'s' if left > 1 else ''} matter{'' if left > 1 else 's'} less, not shown here")
    if not study.total_known:
        notes.insert(0, "no sum is known: drives are shown")
    return [*notes, *reversed(study.warnings)]
