"""The schematic as a matplotlib figure, for PNG and PDF; without pyplot, so that no window system is chosen."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

from xover.drawing.schematic.geometry import Layout, Role
from xover.drawing.schematic.lettering import LETTERS
from xover.drawing.schematic.symbols import Bow, Chain, build_figures
from xover.drawing.schematic.symbols import Figure as Lines
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
        axes.set_xlim(0.0, layout.width_pt)
        axes.set_ylim(layout.height_pt, 0.0)
        for lines in build_figures(layout):
            _draw(lines, axes)
        symbols = {s.name: s for s in layout.symbols}
        for text in layout.texts:
            letters = LETTERS[text.role]
            is_driver = text.role is Role.DRIVER
            axes.text(
                text.at.x,
                text.at.y,
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


def _draw(lines: Lines, axes: Axes) -> None:
    from matplotlib.lines import Line2D
    from matplotlib.patches import Arc, Circle

    colour, width = lines.colour, lines.width_pt
    for stroke in lines.strokes:
        if isinstance(stroke, Chain):
            x, y = zip(*stroke.points, strict=True)
            line = Line2D(x, y, color=colour, linewidth=width)
            line.set_solid_capstyle("round")
            line.set_solid_joinstyle("round")
            axes.add_line(line)
        elif isinstance(stroke, Bow):
            (x0, y0), (x1, y1) = stroke.start, stroke.end
            middle, across = ((x0 + x1) / 2, (y0 + y1) / 2), math.dist(stroke.start, stroke.end)
            begins = math.degrees(math.atan2(y0 - middle[1], x0 - middle[0]))
            arc = Arc(middle, across, across, theta1=begins, theta2=begins + 180.0, color=colour, linewidth=width)
            axes.add_patch(arc)
        else:
            axes.add_patch(Circle(stroke.at, stroke.radius, edgecolor=colour, facecolor=stroke.fill, linewidth=width))
