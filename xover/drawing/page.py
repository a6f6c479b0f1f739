"""A page: title on top, panels over one frequency axis with scales of the trade's own steps, notes at the foot.

There are two sizes. A page of its own is 8 by 7 inches. Within `inline_page()` pages are made for a document: small, so
that their type can still be read when they are printed 125 mm wide, and without a title, as the document has one.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from xover.curve import Float
from xover.drawing.style import (
    GRID,
    HEADING_POINTS,
    INK,
    LINE_POINTS,
    LONG_TITLE_POINTS,
    NOTE_POINTS,
    PAGE_DPI,
    PAGE_INCHES,
    QUIET,
    SLACK,
    TITLE_POINTS,
    drawable,
    width_points,
    wrap,
)

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.backends.backend_agg import RendererAgg
    from matplotlib.figure import Figure


LEVEL_SPAN_DB: Final = 50.0
"""A level is read on 50 dB, the usual span for loudspeakers (the habit of IEC 60263; common practice)."""
DRIVE_SPAN_DB: Final = 30.0
HEADROOM_DB: Final = 2.0
LEAST_SHOWN_DB: Final = 10.0
"""Every curve is shown from its highest point this far down at least."""
MOST_DOUBLINGS: Final = 6
"""An ohm axis spans a factor of 64 at most: a capacitor alone would squeeze all else flat."""
ROUNDING_DEG: Final = 0.1
USUAL_HZ: Final = (20.0, 20_000.0)
NEAR_USUAL: Final = 0.03
"""An axis that ends within 3 % of the usual ends ends there."""
ROOM: Final = 1.25
"""Room above and below the largest change, for its name."""
MOST_TICKS: Final = 5
"""Numbers on either side of zero, at most."""
ROOM_BELOW: Final = 1.4
"""Room for words below the lowest line of an ohm axis, half an octave at least."""


def finite(curve: Float) -> Float:
    """(n,) the curve with a gap where it is not finite: no line leads to infinity."""
    return np.where(np.isfinite(curve), curve, np.nan)


def frequency_ticks(from_hz: float, to_hz: float) -> list[float]:
    """Frequencies to write on an axis: 20 50 100 .. 20k; every digit where the axis is short."""
    for digits in ((1, 2, 5), range(1, 10)):
        ticks = _steps(from_hz, to_hz, digits)
        if len(ticks) >= 3:
            break
    return ticks


def frequency_lines(from_hz: float, to_hz: float) -> list[float]:
    """Frequencies of the thin lines between: 20 30 40 .. 90 100 200 .."""
    return _steps(from_hz, to_hz, range(1, 10))


def _steps(from_hz: float, to_hz: float, digits: Sequence[int]) -> list[float]:
    decades = range(math.floor(math.log10(from_hz)) - 1, math.ceil(math.log10(to_hz)) + 1)
    steps = (digit * 10.0**decade for decade in decades for digit in digits)
    return [hz for hz in steps if from_hz * (1 - 1e-9) <= hz <= to_hz * (1 + 1e-9)]


def frequency_text(frequency_hz: float) -> str:
    """Write a frequency for an axis: 200, 2k, 20k."""
    return f"{frequency_hz:g}" if frequency_hz < 1000 else f"{frequency_hz / 1000:g}k"


def frequency_axis(axes: Axes, frequency_hz: Float, written: bool) -> None:
    """Scale the horizontal axis from the first to the last frequency; write its numbers where `written`.

    A sweep that just misses 20 Hz or 20 kHz is shown on the usual axis.
    """
    low, high = float(frequency_hz[0]), float(frequency_hz[-1])
    if low == high:  # a single frequency needs some room
        low, high = low / 2.0, high * 2.0
    low, high = _usual(low, USUAL_HZ[0]), _usual(high, USUAL_HZ[1])
    axes.set_xscale("log")
    axes.minorticks_off()
    axes.set_xlim(low, high)
    ticks = frequency_ticks(low, high)
    axes.set_xticks(ticks if written else [], [frequency_text(t) for t in ticks] if written else [])
    _rule(axes, "x", ticks, frequency_lines(low, high))
    if written:
        axes.set_xlabel("frequency, Hz")


def time_axis(axes: Axes, first_s: float, last_s: float, written: bool) -> None:
    """Scale the horizontal axis in time, even in log; write its numbers in ms where `written`."""
    axes.set_xscale("log")
    axes.minorticks_off()
    axes.set_xlim(first_s, last_s)
    ticks = frequency_ticks(first_s, last_s)
    axes.set_xticks(ticks if written else [], [f"{1e3 * t:g}" for t in ticks] if written else [])
    _rule(axes, "x", ticks, frequency_lines(first_s, last_s))
    if written:
        axes.set_xlabel("time, ms")


def moments_axis(axes: Axes, first_s: float, last_s: float) -> None:
    """Scale the horizontal axis evenly in time, through 0, and write its numbers in ms."""
    axes.set_xscale("linear")
    axes.set_xlim(first_s, last_s)
    step = 1e-3 * round_step(1e3 * (last_s - first_s), 2 * MOST_TICKS)
    ticks = step * np.arange(math.ceil(first_s / step - 1e-9), math.floor(last_s / step + 1e-9) + 1)
    axes.set_xticks(ticks, [f"{1e3 * t + 0.0:g}".replace("-", "\u2212") for t in np.round(ticks, 9)])
    _rule(axes, "x", ticks, ())
    axes.set_xlabel("time, ms")


def _usual(end_hz: float, usual_hz: float) -> float:
    return usual_hz if abs(math.log(end_hz / usual_hz)) <= NEAR_USUAL else end_hz


def value_axis(
    axes: Axes, bottom: float, top: float, numbers: Mapping[float, str], between: Iterable[float] = ()
) -> None:
    """Scale the vertical axis; write its numbers, with a line at each, and thinner lines between."""
    axes.set_ylim(bottom, top)
    axes.set_yticks(list(numbers), list(numbers.values()))
    _rule(axes, "y", numbers, between)


def _rule(axes: Axes, which: str, thick: Iterable[float], thin: Iterable[float]) -> None:
    """Draw the lines of the grid across the panel, as one path for each width; they replace older ones.

    Ticks would do it too, each of them made of five artists: they took half of the time that a figure takes.
    """
    from matplotlib.patches import PathPatch
    from matplotlib.path import Path

    for old in [p for p in axes.patches if p.get_label() == f"grid {which}"]:
        old.remove()
    thick = sorted(thick)
    for places, width in ((sorted(set(thin) - set(thick)), 0.35), (thick, 0.7)):
        ends = np.array([[[at, 0.0], [at, 1.0]] for at in places]).reshape(-1, 2)
        path = Path(ends if which == "x" else ends[:, ::-1], np.tile([Path.MOVETO, Path.LINETO], len(places)))
        across = axes.get_xaxis_transform() if which == "x" else axes.get_yaxis_transform()
        patch = PathPatch(path, transform=across, facecolor="none", edgecolor=GRID, linewidth=width, zorder=0.5)
        patch.set_label(f"grid {which}")
        axes.add_artist(patch)  # add_patch would first ask for its extent, for scales that are given here


def level_axis(axes: Axes, bottom_db: float, top_db: float) -> None:
    """Scale the vertical axis in dB: numbers every 10, lines every 5."""
    tens = np.arange(math.ceil(bottom_db / 10.0), math.floor(top_db / 10.0) + 1) * 10.0
    fives = np.arange(math.ceil(bottom_db / 5.0), math.floor(top_db / 5.0) + 1) * 5.0
    value_axis(axes, bottom_db, top_db, {t: f"{t:.0f}".replace("-", "\u2212") for t in tens}, fives)


def level_window(curves_db: Sequence[Float], span_db: float, empty_top_db: float) -> tuple[float, float]:
    """Lowest and highest level to show, multiples of 5 dB.

    Parameters
    ----------
    curves_db : (n,) each; what is not finite is not looked at.
    span_db : difference of the two; more only where a curve would lie below the window.
    empty_top_db : highest level where no curve has a value.
    """
    peaks = [float(np.max(c[np.isfinite(c)])) for c in curves_db if np.isfinite(c).any()]
    if not peaks:
        return empty_top_db - span_db, empty_top_db
    top = 5.0 * math.ceil((max(peaks) + HEADROOM_DB) / 5.0)
    lowest = 5.0 * math.floor((min(peaks) - LEAST_SHOWN_DB) / 5.0)
    return min(top - span_db, lowest), top


def ohm_window(curves_ohm: Sequence[Float], limits_ohm: Sequence[float]) -> tuple[float, float]:
    """Lowest and highest resistance to show, powers of two; 2 to 32 ohm where nothing is known."""
    shown = np.concatenate([np.asarray(limits_ohm, dtype=float), *curves_ohm])
    shown = shown[np.isfinite(shown) & (shown > 0)]
    if shown.size == 0:
        return 2.0, 32.0
    low = math.floor(math.log2(float(shown.min()) / ROOM_BELOW))
    high = math.ceil(math.log2(float(shown.max()) * 1.15))
    return 2.0**low, 2.0 ** min(max(high, low + 3), low + MOST_DOUBLINGS)


def ohm_axis(axes: Axes, bottom_ohm: float, top_ohm: float) -> None:
    """Scale the vertical axis by doublings, on which ratings lie: 2, 4, 8, 16 ohm; 3, 6, 12 between."""
    axes.set_yscale("log")
    axes.minorticks_off()
    doublings = np.arange(round(math.log2(bottom_ohm)), round(math.log2(top_ohm)) + 1)
    numbers = np.sort(np.concatenate([2.0**doublings, 1.5 * 2.0 ** doublings[:-1]]))
    value_axis(axes, bottom_ohm, top_ohm, {n: f"{n:g}" for n in numbers})


def phase_axis(axes: Axes, curves_deg: Sequence[Float]) -> None:
    """Scale the vertical axis in degrees: 90 to both sides, 180 where a curve needs it."""
    known = [c[np.isfinite(c)] for c in curves_deg]
    most = max((float(np.max(np.abs(c))) for c in known if c.size), default=0.0)
    end = 90 if most <= 90.0 + ROUNDING_DEG else 180
    numbers = {float(t): f"{t}°".replace("-", "\u2212") for t in range(-end, end + 1, end // 2)}
    value_axis(axes, -end, end, numbers, range(-end, end + 1, 15 if end == 90 else 45))


def change_axis(axes: Axes, curves: Sequence[Float]) -> None:
    """Scale the vertical axis alike to both sides of zero, and draw the zero line."""
    sizes = [float(np.max(np.abs(c[np.isfinite(c)]))) for c in curves if np.isfinite(c).any()]
    end = max([s for s in sizes if s > 0], default=1.0) * ROOM
    step = round_step(end, MOST_TICKS)
    count = math.floor(end / step)
    ticks = np.round(step * np.arange(-count, count + 1), 12)
    value_axis(axes, -end, end, {t: f"{t:+g}".replace("-", "\u2212") if t else "0" for t in ticks})
    axes.axhline(0.0, color=QUIET, linewidth=0.8, zorder=1, label="zero")


def signed_axis(axes: Axes, curves: Sequence[Float]) -> None:
    """Scale the vertical axis from the lowest value to the highest, and draw the zero line, which is always shown."""
    low, high = min(0.0, *(float(np.min(c)) for c in curves)), max(0.0, *(float(np.max(c)) for c in curves))
    room = (ROOM - 1.0) / 2.0 * (high - low or 1.0)
    step = round_step(high - low + 2.0 * room, 2 * MOST_TICKS)
    ticks = np.round(step * np.arange(math.ceil((low - room) / step), math.floor((high + room) / step) + 1), 12)
    value_axis(axes, low - room, high + room, {t: f"{t:g}".replace("-", "\u2212") for t in ticks})
    axes.axhline(0.0, color=QUIET, linewidth=0.8, zorder=1, label="zero")


def size_axis(axes: Axes, top: float) -> None:
    """Scale the vertical axis from zero upward, with numbers at round steps."""
    step = round_step(top, MOST_TICKS + 1)
    ticks = np.round(step * np.arange(math.floor(top / step) + 1), 12)
    value_axis(axes, 0.0, top, {t: f"{t:g}" for t in ticks})


def round_step(end: float, most: int) -> float:
    """Smallest round step (1, 2, 5 and their tens) of which no more than `most` go into a length."""
    decade = math.floor(math.log10(end)) - 1
    steps = (digit * 10.0**power for power in range(decade, decade + 3) for digit in (1, 2, 5))
    return next(step for step in steps if end / step <= most)


MOST_TITLE_LINES: Final = 3
MOST_LINES: Final = 2
MOST_NOTE_LINES: Final = 6

# All in inches.
LEFT: Final = 0.55
RIGHT: Final = 0.25
EDGE: Final = 0.14
HEADING: Final = 0.30
FREQUENCIES: Final = 0.47
LEAST_HEADING_POINTS: Final = 7.5
BELOW_POINTS: Final = 20.0
"""From the panel down to the words below its numbers."""
LEADING: Final = 1.32
"""From one line of text to the next, in heights of the type."""
POINTS: Final = 72.0

INLINE_WIDTH: Final = 6.0
INLINE_EDGE: Final = 0.04
INLINE_ROOM: Final = 3.2
"""Height of all panels together: an inline page grows with its words, not its panels."""


@dataclass(frozen=True)
class _Inline:
    """How pages of a document are made."""

    notes: bool


_inline: ContextVar[_Inline | None] = ContextVar("inline", default=None)


@contextmanager
def inline_page(notes: bool = True) -> Iterator[None]:
    """Make pages for a document that has headings of its own: 6 inches wide, no title.

    Parameters
    ----------
    notes : whether the notes stand at the foot. Without, the document must show them: `words_of` has all of them.
    """
    token = _inline.set(_Inline(notes))
    try:
        yield
    finally:
        _inline.reset(token)


@dataclass(frozen=True)
class PageWords:
    """What a page says in words, uncut: title, lines below it, notes."""

    title: str
    lines: tuple[str, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True)
class Panel:
    """One panel: what it shows, in words; its share of the height; whether it has a horizontal axis of its own."""

    heading: str
    share: float
    own_axis: bool = False


def make_page(
    title: str, lines: Sequence[str], notes: Sequence[str], panels: Sequence[Panel], frequency_hz: Float
) -> tuple[Figure, tuple[Axes, ...]]:
    """Lay out a page.

    Parameters
    ----------
    title : of the speaker; three lines at most, in smaller type where one line does not hold it.
    lines : below the title: what was drawn, on what evidence.
    notes : at the foot, one sentence each; those without room are counted, not left out unsaid.
    panels : from top to bottom.
    frequency_hz : (n,) the first and the last are the ends of the axis.

    Returns the figure and one axes for each panel, scaled in frequency only.
    """
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    inline = _inline.get()
    edge = EDGE if inline is None else INLINE_EDGE
    width = PAGE_INCHES[0] if inline is None else INLINE_WIDTH
    room_points = (width - LEFT - RIGHT) * POINTS
    head = _head(title if inline is None else "", lines, room_points)
    foot = _foot(notes if inline is None or inline.notes else (), room_points)
    above = edge + sum(points for _, points, _, _ in head) * LEADING / POINTS + HEADING * len(panels)
    above += FREQUENCIES * sum(panel.own_axis for panel in panels)
    below = edge + len(foot) * NOTE_POINTS * LEADING / POINTS + FREQUENCIES
    height = PAGE_INCHES[1] if inline is None else above + INLINE_ROOM + below
    figure: Any = Figure(figsize=(width, height), dpi=PAGE_DPI, facecolor="white")
    figure.page_words = PageWords(title, tuple(lines), tuple(notes))
    FigureCanvasAgg(figure)
    top = height - edge
    for text, points, weight, colour in head:
        _write(figure, text, top, points, weight, colour)
        top -= points * LEADING / POINTS
    bottom = edge + len(foot) * NOTE_POINTS * LEADING / POINTS
    for row, text in enumerate(foot):
        _write(figure, text, bottom - row * NOTE_POINTS * LEADING / POINTS, NOTE_POINTS, "normal", QUIET)
    room = height - above - below
    whole = sum(panel.share for panel in panels)
    drawn: list[Axes] = []
    for panel in panels:
        tall = room * panel.share / whole
        top -= HEADING + tall
        box = (LEFT / width, top / height, (width - LEFT - RIGHT) / width, tall / height)
        axes = figure.add_axes(box)
        # Places that are given need not be looked for at each drawing.
        heading, points = _heading(panel.heading, room_points)
        axes.set_title(heading, loc="left", pad=4.0, y=1.0, fontsize=points, parse_math=False)
        axes.yaxis.set_label_coords(-LEFT / 2.0 / width, 0.5)
        axes.xaxis.set_label_coords(0.5, -BELOW_POINTS / POINTS / tall)
        axes.tick_params(which="both", length=0.0)
        axes.tick_params(axis="x", which="both", pad=6.5)  # clear of the lowest number of the other axis
        frequency_axis(axes, frequency_hz, written=panel is panels[-1])
        top -= FREQUENCIES * panel.own_axis
        drawn.append(axes)
    return figure, tuple(drawn)


def words_of(figure: object) -> PageWords:
    """What a page says in words, also what had no room on it. Raises ValueError as `renderer_of`."""
    words: PageWords | None = getattr(figure, "page_words", None)
    if words is None:
        raise ValueError("the figure was not made by make_page")
    return words


def renderer_of(figure: object) -> RendererAgg:
    """What measures the text of a page. Raises ValueError for a figure that make_page did not make."""
    canvas: Any = getattr(figure, "canvas", None)
    if not hasattr(canvas, "get_renderer"):
        raise ValueError("the figure was not made by make_page")
    renderer: RendererAgg = canvas.get_renderer()
    return renderer


def _head(title: str, lines: Sequence[str], room_points: float) -> list[tuple[str, float, str, str]]:
    """Text, size, weight and colour of each line above the panels."""
    shown = drawable(title)
    long = not _fits(shown, TITLE_POINTS, True, room_points)
    points = LONG_TITLE_POINTS if long else TITLE_POINTS
    titles = wrap(shown, lambda text: _fits(text, points, True, room_points), MOST_TITLE_LINES)
    below = [
        text
        for line in lines
        for text in wrap(drawable(line), lambda text: _fits(text, LINE_POINTS, False, room_points), MOST_LINES)
    ]
    return [(text, points, "bold", INK) for text in titles] + [(text, LINE_POINTS, "normal", QUIET) for text in below]


def _heading(text: str, room_points: float) -> tuple[str, float]:
    """The heading of a panel on one line, in smaller type where it must be; and the size of the type."""
    shown = drawable(text)
    points = HEADING_POINTS
    while points > LEAST_HEADING_POINTS and not _fits(shown, points, True, room_points):
        points -= 0.25
    return wrap(shown, lambda part: _fits(part, points, True, room_points), 1)[0] if shown.strip() else "", points


def _foot(notes: Sequence[str], room_points: float) -> list[str]:
    """The notes in lines. What does not fit is counted in a line of its own."""
    wrapped = [
        wrap(drawable(note), lambda text: _fits(text, NOTE_POINTS, False, room_points), MOST_NOTE_LINES)
        for note in notes
    ]
    foot: list[str] = []
    for done, lines in enumerate(wrapped):
        last = done + 1 == len(wrapped)
        if len(foot) + len(lines) > (MOST_NOTE_LINES if last else MOST_NOTE_LINES - 1):
            left = len(wrapped) - done
            return [*foot, f"… and {left} more note{'s' if left > 1 else ''}, not shown here"]
        foot += lines
    return foot


def _fits(text: str, points: float, bold: bool, room_points: float) -> bool:
    """Say of a line of text whether it fits between the margins."""
    return SLACK * width_points(text, points, bold) <= room_points


def _write(figure: Figure, text: str, top: float, points: float, weight: str, colour: str) -> None:
    """Write one line at the left margin, its upper edge given in inches from the foot."""
    width, height = figure.get_size_inches()
    figure.text(
        LEFT / width,
        top / height,
        text,
        fontsize=points,
        fontweight=weight,
        color=colour,
        verticalalignment="top",
        parse_math=False,
    )
