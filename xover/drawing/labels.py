"""Write names on the lines themselves, where a box of the panel holds little line.

Each name is tried at many places along its line, on all sides. A place is better the less the name covers,
the nearer it is to its own line and the farther from others. Names never leave the panel, and they overlap
each other only where there is no other place left.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

from xover.curve import Float
from xover.drawing.page import POINTS, renderer_of
from xover.drawing.style import LABEL_POINTS, QUIET, drawable

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

_PARTS: Final = np.linspace(0.1, 1.0, LEADER_SPOTS)

ROUNDS: Final = 12
BLOCK: Final = 16
"""So many places are tried at once at first."""
FEW: Final = 20
"""How many good places tell whether a name is easily placed."""


@dataclass(frozen=True, eq=False)
class LineLabel:
    """A name and the line, or the lines that coincide, on which it is to stand.

    Attributes
    ----------
    spots : (m, 2) places of the line, in data, that are its own; None: it may be named anywhere.
    """

    text: str
    lines: tuple[Line2D, ...]
    ink: str
    spots: Float | None = None


def write_labels(axes: Axes, labels: Sequence[LineLabel]) -> list[Annotation]:
    """Write all names into a panel whose scales are final.

    A label whose lines are nowhere in the panel is left out.

    Returns the names that were written, in the order given.
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
        if least == 0.0:
            break  # everyone has the best place
        order = [order[int(np.argmax(losses))], *(s for s in order if s is not order[int(np.argmax(losses))])]
    return best


class _Search:
    """The places within the panel that one name may take, and what each costs.

    Attributes
    ----------
    anchor : (p, 2) on the line, pixels; offset : (p, 2) from there to the middle of the name; gap : (p,) points.
    bare : (p,) how much of that way the name itself leaves to be seen.
    box : (p, 4) what the name covers, pixels. cost : (p,). order : (p,) places, the cheapest first.
    """

    def __init__(
        self, axes: Axes, renderer: RendererAgg, label: LineLabel, paths: Mapping[Line2D, Float], scale: float
    ) -> None:
        self.axes, self.scale = axes, scale
        self.text = _annotation(axes, label)
        extent = self.text.get_window_extent(renderer)
        own = np.vstack([paths[line] for line in label.lines])
        other = [points for line, points in paths.items() if line not in label.lines]
        anchor = own[::ANCHOR_STEPS] if label.spots is None else _seen(axes, label.spots, own)
        offset, gap = _places(extent.width, extent.height, scale)
        half = np.array([extent.width, extent.height]) / 2.0 + PAD * scale
        with np.errstate(divide="ignore"):
            bare = 1.0 - (half / np.abs(offset)).min(axis=1)
        at, place, outside = _inside(axes, anchor, offset, half)
        self.anchor, self.offset, self.gap, self.bare = anchor[at], offset[place], gap[place], bare[place]
        middle = self.anchor + self.offset
        self.box = np.hstack([middle - half, middle + half])
        if outside:
            self.cost = np.full(1, np.inf)
        else:
            crowds = Crowd(axes, own, scale), Crowd(axes, np.vstack([own[:0], *other]), scale)
            self.cost = self._costs(*crowds, anchor, at)
        self.order = np.argsort(self.cost, kind="stable")
        self.cheapest = 0.0 if outside else float(self.cost[self.order[0]])
        self.need = float(self.cost[self.order[min(FEW, len(self.order) - 1)]])

    def _costs(self, own: Crowd, other: Crowd, anchor: Float, at: NDArray[np.intp]) -> Float:
        """(p,) cost of each place; `at` tells its anchor among all."""
        x0, y0, x1, y1 = self.box.T.copy()
        corners = other.corners(x0, y0, x1, y1)
        covered = other.count(corners)
        reach = (np.minimum(self.gap, APART) + 4.0) * self.scale
        around = other.corners(x0 - reach, y0 - reach, x1 + reach, y1 + reach)
        crowded = np.minimum(other.count(around) - covered, 40)
        near, close = APART * self.scale, TOGETHER * self.scale
        unsure = np.minimum(other.within(anchor - near, anchor + near), 60)[at]
        together = (other.within(anchor - close, anchor + close) > 0)[at]
        led = np.flatnonzero(self.gap >= LEADER_GAP)
        crossed = np.zeros(self.gap.shape)
        (x, y), (right, up) = self.anchor[led].T.copy(), (self.bare[led] * self.offset[led].T)
        for part in _PARTS:
            crossed[led] += other.touches(x + part * right, y + part * up)
        away = np.hypot(self.offset[:, 0], self.offset[:, 1]) * self.bare / self.scale
        cost = COVERS * (covered + own.count(corners)) + CROWDS * crowded + UNSURE * unsure
        cost = cost + COINCIDES * together
        return np.asarray(cost + FAR * away + (self.gap >= LEADER_GAP) * (LEADER + CROSSES * crossed))

    def choose(self, taken: Float) -> tuple[int, float]:
        """The cheapest place that is free, or of all if none is; and its price.

        Parameters
        ----------
        taken : (k, 4) boxes that hold names and leaders, pixels.
        """
        start, count = 0, BLOCK
        while start < len(self.order):
            rows = self.order[start : start + count]
            free = np.flatnonzero(self._are_free(rows, taken))
            if free.size:
                row = int(rows[free[0]])
                return row, float(self.cost[row])
            start, count = start + count, 4 * count
        return int(self.order[0]), float(self.cost[self.order[0]]) + OVERLAPS

    def takes(self, row: int) -> Float:
        """(j, 4) boxes that the name and its leader take at a place."""
        # Side by side, two names would read as one.
        name = self.box[row : row + 1] - np.array([SPACE, 0.0, -SPACE, 0.0]) * self.scale
        if self.gap[row] < LEADER_GAP:
            return name
        around = np.array([-1.0, -1.0, 1.0, 1.0]) * PAD * self.scale
        spots = self._leaders(np.array([row]))[0]
        return np.asarray(np.vstack([name, np.tile(spots, (1, 2)) + around]))

    def settle(self, row: int) -> None:
        """Write the name at a place."""
        self.text.xy = tuple(self.axes.transData.inverted().transform(self.anchor[row]))
        self.text.set_position(tuple(self.offset[row] / self.scale))
        if self.text.arrow_patch is not None:
            self.text.arrow_patch.set_visible(bool(self.gap[row] >= LEADER_GAP))

    def _are_free(self, rows: NDArray[np.intp], taken: Float) -> NDArray[np.bool_]:
        """Say of places whether neither the name nor its leader touches what is taken."""
        low, high = taken[:, :2], taken[:, 2:]
        box = self.box[rows, None, :]
        on_name = np.asarray((box[..., :2] < high) & (box[..., 2:] > low))
        free = ~np.any(np.all(on_name, axis=2), axis=1)
        led = free & (self.gap[rows] >= LEADER_GAP)
        spot = self._leaders(rows[led])[:, :, None, :]
        on_leader = np.asarray((spot > low) & (spot < high))
        free[led] = ~np.any(np.all(on_leader, axis=3), axis=(1, 2))
        return np.asarray(free)

    def _leaders(self, rows: NDArray[np.intp]) -> Float:
        """(r, j, 2) spots along the part of each leader that can be seen, pixels."""
        way = (self.bare[rows, None] * self.offset[rows])[:, None, :]
        return np.asarray(self.anchor[rows][:, None, :] + _PARTS[:, None] * way)


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


def _seen(axes: Axes, spots: Float, otherwise: Float) -> Float:
    """Those of some places, given in data, that lie within the panel, pixels; others if there are none."""
    frame = axes.get_window_extent()
    xy = np.asarray(axes.transData.transform(spots))
    within = (xy >= [frame.x0, frame.y0]) & (xy <= [frame.x1, frame.y1])
    seen = xy[within.all(axis=1)]
    return seen if seen.size else otherwise[::ANCHOR_STEPS]


def own_spots(frequency_hz: Float, curves: Sequence[Float], which: int) -> Float:
    """(m, 2) places where one of many curves lies apart from the others: by half of the most that it ever does.

    Parameters
    ----------
    curves : (n,) each, in the unit of the axis. which : of them.
    """
    apart = np.full(frequency_hz.shape, np.inf)
    with np.errstate(invalid="ignore"):
        for number, other in enumerate(curves):
            if number != which:
                apart = np.fmin(apart, np.abs(curves[which] - other))
    apart = np.where(np.isfinite(curves[which]) & np.isfinite(apart), apart, 0.0)
    rows = np.flatnonzero((apart >= 0.5 * apart.max()) & (apart > 0.0))
    return np.column_stack([frequency_hz[rows], curves[which][rows]])


def _places(width: float, height: float, scale: float) -> tuple[Float, Float]:
    """Middle of the name from its anchor (pixels), and gap (points): on all sides, at every gap."""
    across = (-1.0, -0.5, 0.0, 0.5, 1.0)
    sides = np.array([(sx, sy) for sy in (1.0, -1.0) for sx in across] + [(-1.0, 0.0), (1.0, 0.0)])
    gaps = np.array(GAPS)
    reach = np.array([width, height]) / 2.0 + (PAD + gaps[:, None]) * scale
    return (sides[None, :, :] * reach[:, None, :]).reshape(-1, 2), np.repeat(gaps, len(sides))


def _inside(axes: Axes, anchor: Float, offset: Float, half: Float) -> tuple[NDArray[np.intp], NDArray[np.intp], bool]:
    """Anchor and offset, by their rows, of every place where the name lies within the panel.

    Where it fits nowhere, the first place of all, and True.
    """
    frame = axes.get_window_extent()
    x, y = (anchor[:, None, k] + offset[None, :, k] for k in (0, 1))
    inside = (x >= frame.x0 + half[0]) & (x <= frame.x1 - half[0])
    inside &= (y >= frame.y0 + half[1]) & (y <= frame.y1 - half[1])
    at, place = np.nonzero(inside)
    if at.size == 0:
        first = np.zeros(1, dtype=np.intp)
        return first, first, True
    return at, place, False


Corners: TypeAlias = tuple[NDArray[np.intp], NDArray[np.intp], NDArray[np.intp], NDArray[np.intp]]


def line_points(axes: Axes, line: Line2D, scale: float) -> Float:
    """Points along a line as it lies in the panel, a point (1/72 inch) apart at most.

    Parameters
    ----------
    scale : pixels in a point.

    Returns (m, 2) pixels, only those within the panel. Gaps of the data stay gaps; of a line that is drawn as markers
    only, their middles and rims.
    """
    data = np.column_stack([np.asarray(part, dtype=float) for part in line.get_data(orig=False)])
    with np.errstate(invalid="ignore", divide="ignore"):
        xy = line.get_transform().transform(data)
    finite = np.isfinite(xy).all(axis=1)
    if line.get_linestyle() == "None" or len(xy) < 2:
        turn = np.linspace(0.0, 2.0 * np.pi, 12, endpoint=False)
        rim = line.get_markersize() / 2.0 * scale * np.column_stack([np.cos(turn), np.sin(turn)])
        points = np.vstack([xy[finite], (xy[finite][:, None, :] + rim).reshape(-1, 2)])
    else:
        whole = finite[:-1] & finite[1:]
        start, run = xy[:-1][whole], np.diff(xy, axis=0)[whole]
        count = np.clip(np.ceil(np.hypot(run[:, 0], run[:, 1]) / scale), 1, 20_000).astype(int)
        first = np.repeat(np.cumsum(count) - count, count)
        part = (np.arange(count.sum()) - first) / np.repeat(count, count)
        points = np.repeat(start, count, axis=0) + part[:, None] * np.repeat(run, count, axis=0)
        points = np.vstack([points, xy[finite]])
    frame = axes.get_window_extent()
    within = (points >= [frame.x0 - 0.5, frame.y0 - 0.5]) & (points <= [frame.x1 + 0.5, frame.y1 + 0.5])
    return np.asarray(points[within.all(axis=1)])


class Crowd:
    """Where in a panel lines run: a summed-area table over square cells.

    Parameters
    ----------
    points : (m, 2) pixels, from `line_points`.
    cell : side of a cell, pixels. A cell counts once however many points lie in it.
    """

    def __init__(self, axes: Axes, points: Float, cell: float) -> None:
        frame = axes.get_window_extent()
        self._corner, self._cell = (frame.x0, frame.y0), cell
        self._shape = math.ceil(frame.width / cell) + 1, math.ceil(frame.height / cell) + 1
        filled = np.zeros(self._shape, dtype=np.int32)
        at = ((points - self._corner) / cell).astype(int)
        filled[np.clip(at[:, 0], 0, self._shape[0] - 1), np.clip(at[:, 1], 0, self._shape[1] - 1)] = 1
        total = np.zeros((self._shape[0] + 1, self._shape[1] + 1), dtype=np.int32)
        total[1:, 1:] = filled.cumsum(axis=0, dtype=np.int32).cumsum(axis=1, dtype=np.int32)
        self._sum = total.ravel()
        # Whether a cell or one of the eight round it is filled.
        wide = np.zeros((self._shape[0] + 2, self._shape[1] + 2), dtype=bool)
        wide[1:-1, 1:-1] = filled
        tall = wide[:-2] | wide[1:-1] | wide[2:]
        self._near = (tall[:, :-2] | tall[:, 1:-1] | tall[:, 2:]).ravel()

    def corners(self, x0: Float, y0: Float, x1: Float, y1: Float) -> Corners:
        """Boxes given by their sides, (k,) pixels each, for `count`; the same for all crowds of a panel."""
        left, right = self._edge(x0, 0, np.floor), self._edge(x1, 0, np.ceil)
        foot, head = self._edge(y0, 1, np.floor), self._edge(y1, 1, np.ceil)
        pitch = self._shape[1] + 1
        left, right = left * pitch, right * pitch
        return right + head, left + head, right + foot, left + foot

    def count(self, corners: Corners) -> NDArray[np.int32]:
        """(k,) filled cells of each box."""
        a, b, c, d = corners
        table = self._sum
        return np.asarray(table[a] - table[b] - table[c] + table[d])

    def within(self, low: Float, high: Float) -> NDArray[np.int32]:
        """Count the filled cells of boxes from their lower left (k, 2) to their upper right corner (k, 2)."""
        return self.count(self.corners(low[:, 0], low[:, 1], high[:, 0], high[:, 1]))

    def touches(self, x: Float, y: Float) -> NDArray[np.bool_]:
        """Say of points of the panel, (k,) pixels each, whether a line runs through their cell or the next."""
        row, column = ((v - c) * (1.0 / self._cell) for v, c in zip((x, y), self._corner, strict=True))
        at = np.clip(row.astype(np.intp), 0, self._shape[0] - 1) * self._shape[1]
        return np.asarray(self._near[at + np.clip(column.astype(np.intp), 0, self._shape[1] - 1)])

    def _edge(self, pixels: Float, axis: int, to_cell: np.ufunc) -> NDArray[np.intp]:
        at = to_cell((pixels - self._corner[axis]) * (1.0 / self._cell)).astype(np.intp)
        return np.asarray(np.clip(at, 0, self._shape[axis], out=at))
