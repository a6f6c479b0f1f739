"""How much line lies in a box of a panel: counted once into a grid, then read off for any box at once."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, TypeAlias

import numpy as np
from numpy.typing import NDArray

from xover.curve import Float

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.lines import Line2D

Corners: TypeAlias = tuple[NDArray[np.intp], NDArray[np.intp], NDArray[np.intp], NDArray[np.intp]]


def line_points(axes: Axes, line: Line2D, scale: float) -> Float:
    """Points along a line as it lies in the panel, a point (1/72 inch) apart at most.

    Parameters
    ----------
    scale : pixels in a point.

    Returns
    -------
    (m, 2) pixels, only those within the panel. Gaps of the data stay gaps; of a line that is drawn as
    markers only, their middles and rims.
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
