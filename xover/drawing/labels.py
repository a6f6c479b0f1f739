"""Write names on the lines themselves.

Each name is tried at many places along its line, on all sides. A place is better the less the name covers,
the nearer it is to its own line and the farther from others. Names never leave the panel, and they overlap
each other only where there is no other place left.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from xover.curve import Float
from xover.drawing.crowd import Crowd, line_points
from xover.drawing.page import POINTS, renderer_of
from xover.drawing.style import LABEL_POINTS, QUIET
from xover.drawing.text import drawable

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.backends.backend_agg import RendererAgg
    from matplotlib.lines import Line2D
    from matplotlib.text import Annotation

# Lengths in points.
ANCHOR_STEPS: Final = 6
"""A name is tried at every sixth point along its line."""
PAD: Final = 1.5
GAPS: Final = (2.0, 5.0, 10.0, 20.0, 35.0, 60.0)
"""Distances of a name from its line."""
LEADER_GAP: Final = 9.0
"""From this distance on, a thin leader joins name and line."""
SPACE: Final = 5.0
LEADER_SPOTS: Final = 12
APART: Final = 12.0
"""A place on a line is its own where no other line comes nearer than this."""
TOGETHER: Final = 2.0
"""Two lines are one where they come nearer than this: a name there would be wrong for one of them."""

# What a place costs, per point of line that is in the way; only the proportions matter.
COVERS: Final = 6.0
CROWDS: Final = 0.6
UNSURE: Final = 0.35
COINCIDES: Final = 40.0
FAR: Final = 0.4
LEADER: Final = 14.0
CROSSES: Final = 4.0
OVERLAPS: Final = 10_000.0

ROUNDS: Final = 12
FEW: Final = 20
"""How many good places tell whether a name is easily placed."""


@dataclass(frozen=True, eq=False)
class LineLabel:
    """A name and the line, or the lines that coincide, on which it is to stand."""

    text: str
    lines: tuple[Line2D, ...]
    ink: str


def write_labels(axes: Axes, labels: Sequence[LineLabel]) -> list[Annotation]:
    """Write all names into a panel whose scales are final.

    A label whose lines are nowhere in the panel is left out.

    Returns
    -------
    The names that were written, in the order given.
    """
    renderer = renderer_of(axes.figure)
    scale = renderer.dpi / POINTS
    paths = {line: line_points(axes, line, scale) for line in axes.lines}
    waiting = [
        _Search(axes, renderer, label, paths, scale)
        for label in labels
        if any(paths[line].size for line in label.lines)
    ]
    for search, row in _arrange(waiting):
        search.settle(row)
    return [search.text for search in waiting]


def _arrange(waiting: Sequence[_Search]) -> list[tuple[_Search, int]]:
    """Choose a place for each name.

    One after the other they take the cheapest place that is free, first those with few good places. Whoever
    had to give way most goes first in the next round; the best round counts.
    """
    order = sorted(waiting, key=lambda search: -search.need)
    best: list[tuple[_Search, int]] = []
    least = np.inf
    for _ in range(ROUNDS if order else 0):
        taken = np.empty((0, 4))
        places, losses = [], []
        for search in order:
            row, price = search.choose(taken)
            places.append((search, row))
            losses.append(price - search.cheapest)
            taken = np.vstack([taken, search.takes(row)])
        if not best or sum(losses) < least:
            best, least = places, sum(losses)
        order = [order[int(np.argmax(losses))], *(s for s in order if s is not order[int(np.argmax(losses))])]
    return best


class _Search:
    """The places that one name may take, and what each costs."""

    def __init__(
        self, axes: Axes, renderer: RendererAgg, label: LineLabel, paths: Mapping[Line2D, Float], scale: float
    ) -> None:
        self.axes, self.scale = axes, scale
        self.text = _annotation(axes, label)
        extent = self.text.get_window_extent(renderer)
        own = np.vstack([paths[line] for line in label.lines])
        other = [points for line, points in paths.items() if line not in label.lines]
        self.anchor, self.offset, self.gap = _places(own[::ANCHOR_STEPS], extent.width, extent.height, scale)
        half = np.array([extent.width, extent.height]) / 2.0 + PAD * scale
        # Of the way from the line to the middle of the name, what the name itself leaves to be seen.
        with np.errstate(divide="ignore"):
            self.bare = 1.0 - (half / np.abs(self.offset)).min(axis=1)
        middle = self.anchor + self.offset
        self.box = np.hstack([middle - half, middle + half])
        self.cost = self._costs(Crowd(axes, own, scale), Crowd(axes, np.vstack([own[:0], *other]), scale))
        inside = [int(row) for row in np.argsort(self.cost, kind="stable") if np.isfinite(self.cost[row])]
        self.order = inside or [0]
        self.cheapest = float(self.cost[self.order[0]]) if inside else 0.0
        self.need = float(self.cost[self.order[min(FEW, len(self.order) - 1)]])

    def _costs(self, own: Crowd, other: Crowd) -> Float:
        frame = self.axes.get_window_extent()
        low, high = self.box[:, :2], self.box[:, 2:]
        inside = (low >= [frame.x0, frame.y0]).all(axis=1) & (high <= [frame.x1, frame.y1]).all(axis=1)
        covered = other.within(low, high)
        reach = (np.minimum(self.gap, APART) + 4.0)[:, None] * self.scale
        crowded = np.minimum(other.within(low - reach, high + reach) - covered, 40.0)
        near = APART * self.scale
        unsure = np.minimum(other.within(self.anchor - near, self.anchor + near), 60.0)
        close = TOGETHER * self.scale
        together = other.within(self.anchor - close, self.anchor + close) > 0
        leader = self.gap >= LEADER_GAP
        crossed = np.zeros(self.gap.shape)
        for part in np.linspace(0.1, 1.0, LEADER_SPOTS):
            spot = self.anchor + (part * self.bare)[:, None] * self.offset
            crossed += other.within(spot - self.scale, spot + self.scale) > 0
        away = np.hypot(self.offset[:, 0], self.offset[:, 1]) * self.bare / self.scale
        cost = COVERS * (covered + own.within(low, high)) + CROWDS * crowded + UNSURE * unsure
        cost = cost + COINCIDES * together
        cost = cost + FAR * away + leader * (LEADER + CROSSES * crossed)
        return np.where(inside, cost, np.inf)

    def choose(self, taken: Float) -> tuple[int, float]:
        """The cheapest place that is free, or of all if none is; and its price.

        Parameters
        ----------
        taken : (k, 4) boxes that hold names and leaders, pixels.
        """
        for row in self.order:
            if self._is_free(row, taken):
                return row, float(self.cost[row])
        return self.order[0], float(self.cost[self.order[0]]) + OVERLAPS

    def takes(self, row: int) -> Float:
        """(j, 4) boxes that the name and its leader take at a place."""
        # Side by side, two names would read as one.
        name = self.box[row : row + 1] - np.array([SPACE, 0.0, -SPACE, 0.0]) * self.scale
        if self.gap[row] < LEADER_GAP:
            return name
        around = np.array([-1.0, -1.0, 1.0, 1.0]) * PAD * self.scale
        return np.asarray(np.vstack([name, np.tile(self._leader(row), (1, 2)) + around]))

    def settle(self, row: int) -> None:
        """Write the name at a place."""
        self.text.xy = tuple(self.axes.transData.inverted().transform(self.anchor[row]))
        self.text.set_position(tuple(self.offset[row] / self.scale))
        if self.text.arrow_patch is not None:
            self.text.arrow_patch.set_visible(bool(self.gap[row] >= LEADER_GAP))

    def _is_free(self, row: int, taken: Float) -> bool:
        """Say whether neither the name nor its leader touches what is taken."""
        low, high = taken[:, :2], taken[:, 2:]
        if ((self.box[row, :2] < high) & (self.box[row, 2:] > low)).all(axis=1).any():
            return False
        if self.gap[row] < LEADER_GAP:
            return True
        spot = self._leader(row)[:, None, :]
        return not ((spot > low) & (spot < high)).all(axis=2).any()

    def _leader(self, row: int) -> Float:
        """(j, 2) spots along the part of a leader that can be seen, pixels."""
        part = np.linspace(0.1, 1.0, LEADER_SPOTS)[:, None]
        return np.asarray(self.anchor[row] + part * self.bare[row] * self.offset[row])


def _annotation(axes: Axes, label: LineLabel) -> Annotation:
    """The name, still without a place."""
    return axes.annotate(
        "\n".join(drawable(line) for line in label.text.split("\n")),
        xy=(0.0, 0.0),
        xytext=(0.0, 0.0),
        textcoords="offset points",
        horizontalalignment="center",
        verticalalignment="center",
        fontsize=LABEL_POINTS,
        color=label.ink,
        parse_math=False,
        annotation_clip=False,
        linespacing=1.15,
        bbox={"boxstyle": "square,pad=0.08", "facecolor": "white", "edgecolor": "none", "alpha": 0.85},
        zorder=10,
        arrowprops={"arrowstyle": "-", "color": QUIET, "linewidth": 0.6, "shrinkA": 0.0, "shrinkB": 1.0},
    )


def _places(anchor: Float, width: float, height: float, scale: float) -> tuple[Float, Float, Float]:
    """Anchor on the line, middle of the name from there (pixels), and gap (points): on all sides, at every gap."""
    across = (-1.0, -0.5, 0.0, 0.5, 1.0)
    sides = np.array([(sx, sy) for sy in (1.0, -1.0) for sx in across] + [(-1.0, 0.0), (1.0, 0.0)])
    gaps = np.array(GAPS)
    reach = np.array([width, height]) / 2.0 + (PAD + gaps[:, None]) * scale
    offset = (sides[None, :, :] * reach[:, None, :]).reshape(-1, 2)
    return (
        np.repeat(anchor, len(offset), axis=0),
        np.tile(offset, (len(anchor), 1)),
        np.tile(np.repeat(gaps, len(sides)), len(anchor)),
    )
