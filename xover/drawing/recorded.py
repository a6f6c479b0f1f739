"""Figures of a recording: a response with its gate, and what a driver adds to the sweep."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Final

import numpy as np

from xover.acoustic.level import NEPER_DB
from xover.curve import Float
from xover.drawing.labels import LineLabel, write_labels
from xover.drawing.page import (
    LEVEL_SPAN_DB,
    Panel,
    finite,
    level_axis,
    level_window,
    make_page,
    moments_axis,
    signed_axis,
)
from xover.drawing.style import (
    DROP,
    ENVELOPE,
    INK,
    LIMIT,
    LIMIT_STROKE,
    QUIET,
    SHADE,
    driver_stroke,
    look,
    ring,
)
from xover.errors import InputError
from xover.quantity import hertz
from xover.recordings.gate import gate_at
from xover.recordings.rattle import Distortion
from xover.recordings.transfer import HARMONICS
from xover.rules.recordings import OVERLOAD_DB, RATTLE_DB

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from xover.studies.desk.jig.study import JigStudy
    from xover.studies.desk.response.result import RecordedResponse

SPAN_DB: Final = 80.0
_BESIDE_S: Final = 0.2e-3
_ORDINAL: Final = {2: "second", 3: "third", 4: "fourth", 5: "fifth"}
_NOTES: Final = (
    "dB beside the tone that plays, which stands at 0 dB; drawn where the tone is not far below its loudest",
    "a smooth driver leaves little above its fifth harmonic: a narrow peak there, well above the noise, may be "
    "something that rubs, buzzes or rattles, or a noise from outside; record again, and see whether it comes back",
)


def draw_distortion(study: JigStudy) -> Figure:
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
        labels = _harmonics(upper, d)
        _scaled(upper, [*d.harmonics_db[:, d.loud], np.array([OVERLOAD_DB])])
        write_labels(upper, [*labels, _limit(upper, d, OVERLOAD_DB, "a tenth: driven too hard")])
        (noise,) = lower.plot(d.frequency_hz, _shown(d, d.floor_db), label="noise", zorder=3, **DROP.options())
        stroke = driver_stroke(0)
        (above,) = lower.plot(d.frequency_hz, _shown(d, d.higher_db), label="above", zorder=4, **stroke.options())
        _scaled(lower, [d.higher_db[d.loud], d.floor_db[d.loud], np.array([RATTLE_DB])])
        labels = [LineLabel("noise", (noise,), QUIET), _limit(lower, d, RATTLE_DB, "looked at from here on")]
        write_labels(lower, [LineLabel("above the fifth", (above,), stroke.ink), *labels])
    return figure


def draw_recorded(got: RecordedResponse) -> Figure:
    """Draw the impulse response with its gate above, the level and its noise, and below what the driver adds.

    What lies below 1/gate, where there is no near field, is shaded: nothing is known there.
    """
    d = got.distortion
    panels = [Panel("Impulse response, over its peak", 3.0, own_axis=True), Panel("Level, dB", 4.0)]
    if any(_has_line(_shown(d, curve)) for curve in (*d.harmonics_db, d.higher_db)):
        panels.append(Panel("Harmonics, and all above the fifth, beside the tone, dB", 3.0))
    _, *first, last, level = got.conditions
    with look():
        figure, axes = make_page(
            Path(got.source).name,
            [" · ".join(first), f"{last} · {level}"],
            [f"dotted: noise, at most {2 * got.noise_db.max():.2f} dB of the level; shaded: what the gate cuts off"],
            panels,
            np.array([min(d.frequency_hz[0], got.frequency_hz[0]), max(d.frequency_hz[-1], got.frequency_hz[-1])]),
        )
        write_labels(axes[0], _impulse(axes[0], got))
        write_labels(axes[1], _level(axes[1], got))
        for added in axes[2:]:
            labels = _harmonics(added, d)
            stroke = driver_stroke(len(HARMONICS))
            (line,) = added.plot(d.frequency_hz, _shown(d, d.higher_db), label="above", zorder=4, **stroke.options())
            _scaled(added, [*d.harmonics_db[:, d.loud], d.higher_db[d.loud]])
            if _has_line(_shown(d, d.higher_db)):
                labels.append(LineLabel("above the fifth", (line,), stroke.ink))
            write_labels(added, labels)
    return figure


def _impulse(axes: Axes, got: RecordedResponse) -> list[LineLabel]:
    t, values = got.impulse
    moments_axis(axes, float(t[0]), float(t[-1]))
    signed_axis(axes, [values, np.array([-1.0, 1.0])])
    axes.plot(t, values, label="impulse response", zorder=3, **ENVELOPE.options())
    labels = []
    if got.gate_s < t[-1]:
        (gate,) = axes.plot(t, gate_at(t, got.gate_s), label="gate", zorder=4, **LIMIT_STROKE.options())
        labels.append(LineLabel(f"gate {1e3 * got.gate_s:.2f} ms", (gate,), LIMIT))
    late = got.arrival.reflection_s
    marks = [(0.0, "direct sound")]
    if late is not None and late < t[-1] and not got.near_alone:
        marks.append((late, f"first reflection {1e3 * late:.2f} ms"))
    for at, name in marks:
        # The arrival is that of the envelope, which peaks beside the wave.
        peak = int(np.argmax(np.where(np.abs(t - at) < _BESIDE_S, np.abs(values), -1.0)))
        (mark,) = axes.plot([t[peak]], [values[peak]], label=name, **ring(INK))
        labels.append(LineLabel(name, (mark,), INK))
    return labels


def _level(axes: Axes, got: RecordedResponse) -> list[LineLabel]:
    f, level = got.frequency_hz, got.level_db
    level_axis(axes, *level_window([level], LEVEL_SPAN_DB, 0.0))
    (line,) = axes.plot(f, level, label="level", zorder=4, **ENVELOPE.options())
    off = np.nan_to_num(got.gate_db)
    axes.fill_between(f, level - off, level + off, color=SHADE, linewidth=0.0, zorder=2)
    with np.errstate(divide="ignore"):
        hidden = level + 20.0 * np.log10(2.0 * got.noise_db / NEPER_DB)
    (noise,) = axes.plot(f, finite(hidden), label="noise", zorder=3, **DROP.options())
    labels = [LineLabel("level", (line,), INK), LineLabel("noise", (noise,), QUIET)]
    bottom, top = axes.get_ylim()
    first = 1.0 / got.gate_s
    if got.splice is not None:
        at, words = got.splice.at_hz, f"near field up to {hertz(got.splice.at_hz)}"
    elif not got.near_alone:
        at, words = first, f"1/gate = {hertz(first)}"
        axes.axvspan(axes.get_xlim()[0], first, color=SHADE, linewidth=0.0, zorder=0.4, label="unknown")
    else:
        return labels
    (edge,) = axes.plot([at, at], [bottom, top], label="edge", zorder=2, **LIMIT_STROKE.options())
    return [*labels, LineLabel(words, (edge,), LIMIT)]


def _harmonics(axes: Axes, d: Distortion) -> list[LineLabel]:
    labels = []
    for index, (order, level) in enumerate(zip(HARMONICS, d.harmonics_db, strict=True)):
        stroke = driver_stroke(index)
        (line,) = axes.plot(d.frequency_hz, _shown(d, level), label=f"harmonic {order}", zorder=4, **stroke.options())
        if _has_line(_shown(d, level)):
            labels.append(LineLabel(_ORDINAL[order], (line,), stroke.ink))
    return labels


def _has_line(curve: Float) -> bool:
    """Whether there is more to it than single points, which no name could point at."""
    known = np.isfinite(curve)
    return bool((known[1:] & known[:-1]).any())


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
