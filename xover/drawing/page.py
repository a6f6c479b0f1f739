"""A page: title on top, panels over one frequency axis, notes at the foot."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from xover.curve import Float
from xover.drawing.scales import frequency_axis
from xover.drawing.style import (
    GRID,
    INK,
    LINE_POINTS,
    LONG_TITLE_POINTS,
    NOTE_POINTS,
    PAGE_DPI,
    PAGE_INCHES,
    QUIET,
    TITLE_POINTS,
)
from xover.drawing.text import drawable, wrap

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
LEADING: Final = 1.32
"""From one line of text to the next, in heights of the type."""
POINTS: Final = 72.0


@dataclass(frozen=True)
class Panel:
    """One panel: what it shows, in words, and its share of the height."""

    heading: str
    share: float


def make_page(
    title: str, lines: Sequence[str], notes: Sequence[str], panels: Sequence[Panel], frequency_hz: Float
) -> tuple[Figure, tuple[Axes, ...]]:
    """Lay out a page of 8 by 7 inches.

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

    figure = Figure(figsize=PAGE_INCHES, dpi=PAGE_DPI, facecolor="white")
    FigureCanvasAgg(figure)
    width, height = PAGE_INCHES
    top = height - EDGE
    for text, points, weight, colour in _head(figure, title, lines):
        _write(figure, text, LEFT, top, points, weight, colour)
        top -= points * LEADING / POINTS
    foot = _foot(figure, notes)
    bottom = EDGE + len(foot) * NOTE_POINTS * LEADING / POINTS
    for row, text in enumerate(foot):
        _write(figure, text, LEFT, bottom - row * NOTE_POINTS * LEADING / POINTS, NOTE_POINTS, "normal", QUIET)
    bottom += FREQUENCIES
    room = top - bottom - HEADING * len(panels)
    whole = sum(panel.share for panel in panels)
    drawn: list[Axes] = []
    for panel in panels:
        tall = room * panel.share / whole
        top -= HEADING + tall
        box = (LEFT / width, top / height, (width - LEFT - RIGHT) / width, tall / height)
        axes = figure.add_axes(box)
        axes.set_title(panel.heading, loc="left", pad=4.0, parse_math=False)
        axes.set_axisbelow(True)
        axes.grid(True, which="major", color=GRID, linewidth=0.7)
        axes.grid(True, which="minor", color=GRID, linewidth=0.35)
        axes.tick_params(which="both", length=0.0)
        axes.tick_params(axis="x", which="both", pad=6.5)  # clear of the lowest number of the other axis
        frequency_axis(axes, frequency_hz, written=panel is panels[-1])
        drawn.append(axes)
    return figure, tuple(drawn)


def renderer_of(figure: object) -> RendererAgg:
    """What measures the text of a page. Raises ValueError for a figure that make_page did not make."""
    canvas: Any = getattr(figure, "canvas", None)
    if not hasattr(canvas, "get_renderer"):
        raise ValueError("the figure was not made by make_page")
    renderer: RendererAgg = canvas.get_renderer()
    return renderer


def _head(figure: Figure, title: str, lines: Sequence[str]) -> list[tuple[str, float, str, str]]:
    """Text, size, weight and colour of each line above the panels."""
    shown = drawable(title)
    points = TITLE_POINTS if _fits(figure, TITLE_POINTS, "bold")(shown) else LONG_TITLE_POINTS
    head = [(text, points, "bold", INK) for text in wrap(shown, _fits(figure, points, "bold"), MOST_TITLE_LINES)]
    fits = _fits(figure, LINE_POINTS, "normal")
    return head + [
        (text, LINE_POINTS, "normal", QUIET) for line in lines for text in wrap(drawable(line), fits, MOST_LINES)
    ]


def _foot(figure: Figure, notes: Sequence[str]) -> list[str]:
    """The notes in lines. What does not fit is counted in a line of its own."""
    fits = _fits(figure, NOTE_POINTS, "normal")
    wrapped = [wrap(drawable(note), fits, MOST_NOTE_LINES) for note in notes]
    foot: list[str] = []
    for done, lines in enumerate(wrapped):
        last = done + 1 == len(wrapped)
        if len(foot) + len(lines) > (MOST_NOTE_LINES if last else MOST_NOTE_LINES - 1):
            left = len(wrapped) - done
            return [*foot, f"… and {left} more note{'s' if left > 1 else ''}, not shown here"]
        foot += lines
    return foot


def _fits(figure: Figure, points: float, weight: str) -> Callable[[str], bool]:
    """Say of a line of text whether it fits between the margins."""
    from matplotlib.font_manager import FontProperties

    measure: Any = renderer_of(figure).get_text_width_height_descent
    font = FontProperties(size=points, weight=weight)
    room = (PAGE_INCHES[0] - LEFT - RIGHT) * figure.dpi

    def fits(text: str) -> bool:
        return float(measure(text, font, ismath=False)[0]) <= room

    return fits


def _write(figure: Figure, text: str, x: float, top: float, points: float, weight: str, colour: str) -> None:
    """Write one line, its upper left corner given in inches."""
    width, height = PAGE_INCHES
    figure.text(
        x / width,
        top / height,
        text,
        fontsize=points,
        fontweight=weight,
        color=colour,
        verticalalignment="top",
        parse_math=False,
    )
