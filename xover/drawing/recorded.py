"""Figure of what a driver adds to the sweep of a recording: harmonics, and what lies above them."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Final

import numpy as np

from xover.curve import Float
from xover.drawing.labels import LineLabel, write_labels
from xover.drawing.page import Panel, finite, level_axis, make_page
from xover.drawing.style import DROP, LIMIT, LIMIT_STROKE, QUIET, driver_stroke, look
from xover.errors import InputError
from xover.recordings.rattle import Distortion
from xover.recordings.transfer import HARMONICS
from xover.rules.recordings import OVERLOAD_DB, RATTLE_DB

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from xover.studies.desk.jig.study import JigStudy
    from xover.studies.desk.response.result import RecordedResponse

SPAN_DB: Final = 80.0
_ORDINAL: Final = {2: "second", 3: "third", 4: "fourth", 5: "fifth"}
_NOTES: Final = (
    "dB beside the tone that plays, which stands at 0 dB; drawn where the tone is not far below its loudest",
    "a smooth driver leaves little above its fifth harmonic: a narrow peak there, well above the noise, may be "
    "something that rubs, buzzes or rattles, or a noise from outside; record again, and see whether it comes back",
)


def draw_distortion(study: JigStudy | RecordedResponse) -> Figure:
    """Draw the harmonics above, and what lies above the fifth of them below, over the frequency that was played."""
    d = study.distortion
    if d is None:
        raise InputError("is no recording, and tells no distortion", "give a recording of a sweep", study.source)
    with look():
        figure, (upper, lower) = make_page(
            Path(study.source).name,
            ["distortion, from the sweep"],
            _NOTES,
            [Panel("Harmonics beside the tone, dB", 4.0), Panel("All above the fifth harmonic, dB", 4.0)],
            d.frequency_hz,
        )
        labels = []
        for index, (order, level) in enumerate(zip(HARMONICS, d.harmonics_db, strict=True)):
            stroke = driver_stroke(index)
            (line,) = upper.plot(
                d.frequency_hz, _shown(d, level), label=f"harmonic {order}", zorder=4, **stroke.options()
            )
            labels.append(LineLabel(_ORDINAL[order], (line,), stroke.ink))
        _scaled(upper, [*d.harmonics_db[:, d.loud], np.array([OVERLOAD_DB])])
        write_labels(upper, [*labels, _limit(upper, d, OVERLOAD_DB, "a tenth: driven too hard")])
        (noise,) = lower.plot(d.frequency_hz, _shown(d, d.floor_db), label="noise", zorder=3, **DROP.options())
        stroke = driver_stroke(0)
        (above,) = lower.plot(d.frequency_hz, _shown(d, d.higher_db), label="above", zorder=4, **stroke.options())
        _scaled(lower, [d.higher_db[d.loud], d.floor_db[d.loud], np.array([RATTLE_DB])])
        labels = [LineLabel("noise", (noise,), QUIET), _limit(lower, d, RATTLE_DB, "looked at from here on")]
        write_labels(lower, [LineLabel("above the fifth", (above,), stroke.ink), *labels])
    return figure


def _shown(d: Distortion, level: Float) -> Float:
    return finite(np.where(d.loud, level, np.nan))


def _scaled(axes: Axes, curves: list[Float]) -> None:
    """From the highest of all down by a span."""
    top = 10.0 * np.ceil((max(float(np.nanmax(c, initial=-np.inf)) for c in curves) + 5.0) / 10.0)
    level_axis(axes, top - SPAN_DB, top)


def _limit(axes: Axes, d: Distortion, level_db: float, words: str) -> LineLabel:
    ends = [float(d.frequency_hz[0]), float(d.frequency_hz[-1])]
    (line,) = axes.plot(ends, [level_db, level_db], label="limit", zorder=2, **LIMIT_STROKE.options())
    return LineLabel(words, (line,), LIMIT)
