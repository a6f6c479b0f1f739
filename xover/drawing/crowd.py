"""How much line lies in a box of a panel: counted once into a grid, then read off for any box at once."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from xover.curve import Float

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.lines import Line2D


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
        self._corner, self._cell = np.array([frame.x0, frame.y0]), cell
        self._shape = np.ceil(np.array([frame.width, frame.height]) / cell).astype(int) + 1
        filled = np.zeros(self._shape)
        at = np.clip(((points - self._corner) / cell).astype(int), 0, self._shape - 1)
        filled[at[:, 0], at[:, 1]] = 1.0
        self._sum = np.zeros(self._shape + 1)
        self._sum[1:, 1:] = filled.cumsum(axis=0).cumsum(axis=1)

    def within(self, low: Float, high: Float) -> Float:
        """Count the filled cells of boxes from their lower left (k, 2) to their upper right corner (k, 2)."""
        a = np.clip(np.floor((low - self._corner) / self._cell).astype(int), 0, self._shape)
        b = np.clip(np.ceil((high - self._corner) / self._cell).astype(int), 0, self._shape)
        total = self._sum[b[:, 0], b[:, 1]] - self._sum[a[:, 0], b[:, 1]]
        return np.asarray(total - self._sum[b[:, 0], a[:, 1]] + self._sum[a[:, 0], a[:, 1]])
