"""The schematic as a matplotlib figure, for PNG and PDF.

A canvas that schemdraw's segments can draw on, without pyplot: no window system is chosen, no figure is kept.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, Final

from xover.drawing.schematic.geometry import Layout, Role
from xover.drawing.schematic.lettering import LETTERS
from xover.drawing.schematic.symbols import UNIT, build_figures
from xover.drawing.style import PAGE_DPI, driver_stroke, look

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

LARGEST_PIXELS: Final = 16_000
"""Of a side; a very large network is drawn with fewer dots an inch."""


def make_figure(layout: Layout) -> Figure:
    """The schematic on a page of its own size, 1 point to 1/72 inch."""
    from matplotlib.figure import Figure

    inches = (layout.width_pt / 72.0, layout.height_pt / 72.0)
    with look():
        figure = Figure(figsize=inches, dpi=min(PAGE_DPI, LARGEST_PIXELS / max(inches)))
        axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
        axes.set_axis_off()
        axes.set_xlim(0.0, layout.width_pt / UNIT)
        axes.set_ylim(-layout.height_pt / UNIT, 0.0)
        paper = _Paper(axes)
        for part in build_figures(layout):
            for element in part.elements:
                for segment in element.segments:
                    segment.draw(paper, element.transform, **element.params)
        symbols = {s.name: s for s in layout.symbols}
        for text in layout.texts:
            letters = LETTERS[text.role]
            is_driver = text.role is Role.DRIVER
            axes.text(
                text.at.x / UNIT,
                -text.at.y / UNIT,
                text.content,
                family=["DejaVu Sans"],
                fontsize=letters.points,
                fontweight="bold" if letters.bold else "normal",
                color=driver_stroke(symbols[text.of].index).ink if is_driver else letters.colour,
                ha={"start": "left", "middle": "center", "end": "right"}[text.anchor],
                va="baseline",
                parse_math=False,
            )
    return figure


class _Paper:
    """What schemdraw's segments ask of a canvas."""

    def __init__(self, axes: Axes) -> None:
        self._axes = axes

    def plot(self, x: Sequence[float], y: Sequence[float], **style: Any) -> None:
        """A line; NaN breaks it."""
        from matplotlib.lines import Line2D

        self._axes.add_line(
            Line2D(
                x,
                y,
                color=style["color"],
                linewidth=style["lw"],
                solid_capstyle="round",
                solid_joinstyle="round",
                zorder=style["zorder"],
            )
        )

    def poly(self, verts: Sequence[tuple[float, float]], closed: bool = True, **style: Any) -> None:
        """A polygon, or an open chain of lines."""
        from matplotlib.patches import Polygon

        self._axes.add_patch(Polygon(verts, closed=closed, **self._edge(style)))

    def circle(self, center: tuple[float, float], radius: float, **style: Any) -> None:
        """A ring or a disc."""
        from matplotlib.patches import Circle

        self._axes.add_patch(Circle(center, radius, **self._edge(style)))

    def arc(self, center: tuple[float, float], width: float, height: float, **style: Any) -> None:
        """Part of an ellipse."""
        from matplotlib.patches import Arc

        angles = {key: style[key] for key in ("theta1", "theta2", "angle")}
        edge = {"color": style["color"], "linewidth": style["lw"], "zorder": style["zorder"]}
        self._axes.add_patch(Arc(center, width, height, **angles, **edge))

    def _edge(self, style: dict[str, Any]) -> dict[str, Any]:
        fill = style.get("fill")
        return {
            "edgecolor": style["color"],
            "facecolor": fill or "none",
            "linewidth": style["lw"],
            "joinstyle": "round",
            "zorder": style["zorder"],
        }
