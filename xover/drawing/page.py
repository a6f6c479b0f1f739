"""A page: title on top, panels over one frequency axis, notes at the foot.

There are two sizes. A page of its own is 8 by 7 inches. Within `inline_page()` pages are made for a document: small, so
that their type can still be read when they are printed 125 mm wide, and without a title, as the document has one.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from xover.curve import Float
from xover.drawing.scales import frequency_axis
from xover.drawing.style import (
    HEADING_POINTS,
    INK,
    LINE_POINTS,
    LONG_TITLE_POINTS,
    NOTE_POINTS,
    PAGE_DPI,
    PAGE_INCHES,
    QUIET,
    TITLE_POINTS,
)
from xover.drawing.text import SLACK, drawable, width_points, wrap

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.backends.backend_agg import RendererAgg
    from matplotlib.figure import Figure

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
    """One panel: what it shows, in words, and its share of the height."""

    heading: str
    share: float


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

    Returns
    -------
    The figure and one axes for each panel, scaled in frequency only.
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
