"""Names on lines: each on its own line, none on another, on lines nobody chose."""

from itertools import combinations

import numpy as np
import pytest
from matplotlib.text import Text

from xover.drawing.labels import Crowd, LineLabel, line_points, write_labels
from xover.drawing.page import Panel, level_axis, make_page, renderer_of
from xover.drawing.style import INK, driver_stroke, look

GRID = np.geomspace(20.0, 20_000.0, 200)


def panel():
    with look():
        figure, (axes,) = make_page("", [], [], [Panel("", 1.0)], GRID)
        level_axis(axes, 40.0, 90.0)
    return figure, axes


def boxes(figure, axes):
    with look():
        figure.draw_without_rendering()
    return [Text.get_window_extent(t, renderer_of(figure)) for t in axes.texts]


def overlap(a, b):
    return min(a.x1, b.x1) > max(a.x0, b.x0) and min(a.y1, b.y1) > max(a.y0, b.y0)


@pytest.mark.parametrize("seed", range(12))
def test_names_never_overlap_nor_leave_the_panel(seed):
    random = np.random.default_rng(seed)
    figure, axes = panel()
    labels = []
    for i in range(6):
        bend = random.normal(size=5).cumsum() * 6.0
        y = 65.0 + np.interp(np.linspace(0, 4, GRID.size), range(5), bend) + random.normal(0, 0.3, GRID.size)
        (line,) = axes.plot(GRID, y, **driver_stroke(i).options())
        labels.append(LineLabel(f"driver number {i}", (line,), INK))
    written = write_labels(axes, labels)
    shown = [k for k, label in enumerate(labels) if np.any(np.abs(label.lines[0].get_ydata() - 65.0) < 25.0)]
    assert sorted(t.get_text() for t in written) == [f"driver number {k}" for k in shown]
    frame = axes.get_window_extent()
    for box in boxes(figure, axes):
        assert frame.x0 <= box.x0 < box.x1 <= frame.x1
        assert frame.y0 <= box.y0 < box.y1 <= frame.y1
    for a, b in combinations(boxes(figure, axes), 2):
        assert not overlap(a, b)


def test_a_name_stands_by_its_own_line():
    figure, axes = panel()
    labels = []
    for level in (50.0, 60.0, 70.0, 80.0):
        (line,) = axes.plot(GRID, np.full(GRID.size, level))
        labels.append(LineLabel(f"{level:g} dB", (line,), INK))
    write_labels(axes, labels)
    for text, box in zip(axes.texts, boxes(figure, axes), strict=True):
        middle = axes.transData.inverted().transform([(box.x0 + box.x1) / 2, (box.y0 + box.y1) / 2])[1]
        assert abs(middle - float(text.get_text().split()[0])) < 4.0
        assert not text.arrow_patch.get_visible()


def test_a_name_avoids_where_lines_coincide():
    figure, axes = panel()
    apart = np.where(GRID > 5000.0, 15.0, 0.0)
    (one,) = axes.plot(GRID, 60.0 + apart)
    (two,) = axes.plot(GRID, 60.0 - apart)
    write_labels(axes, [LineLabel("one", (one,), INK), LineLabel("two", (two,), INK)])
    for text in axes.texts:
        assert text.xy[0] > 4500.0
    assert len(boxes(figure, axes)) == 2


def test_lines_outside_the_panel_have_no_name():
    _, axes = panel()
    (below,) = axes.plot(GRID, np.full(GRID.size, 10.0))
    (nowhere,) = axes.plot(GRID, np.full(GRID.size, np.nan))
    (seen,) = axes.plot(GRID, np.full(GRID.size, 70.0))
    written = write_labels(
        axes, [LineLabel(n, (x,), INK) for n, x in (("below", below), ("nowhere", nowhere), ("seen", seen))]
    )
    assert [t.get_text() for t in written] == ["seen"]
    assert [t.get_text() for t in axes.texts] == ["seen"]


def test_points_follow_the_line_and_keep_its_gaps():
    figure, axes = panel()
    y = np.where((GRID > 200.0) & (GRID < 2000.0), np.nan, 65.0)
    (line,) = axes.plot(GRID, y)
    points = line_points(axes, line, 150 / 72)
    data = axes.transData.inverted().transform(points)
    assert data[:, 1] == pytest.approx(np.full(len(data), 65.0), rel=1e-9)
    assert not ((data[:, 0] > 210.0) & (data[:, 0] < 1900.0)).any()
    assert data[:, 0].min() == pytest.approx(20.0, rel=1e-6)
    assert data[:, 0].max() == pytest.approx(20_000.0, rel=1e-6)
    # no two neighbours farther apart than a point of 150/72 pixels, the gap aside
    steps = np.sort(np.diff(np.sort(points[:, 0])))
    assert steps[-2] <= 150 / 72 + 1e-9
    assert steps[-1] > 100.0
    assert figure.dpi == 150


def test_a_crowd_counts_cells():
    _, axes = panel()
    frame = axes.get_window_extent()
    corner = np.array([frame.x0, frame.y0])
    points = corner + np.array([[1.0, 1.0], [1.2, 1.1], [11.0, 1.0], [55.0, 43.0]])
    crowd = Crowd(axes, points, 2.0)

    def within(low, high):
        return crowd.within(corner + np.array([low]), corner + np.array([high])).tolist()

    assert within([0.0, 0.0], [2.0, 2.0]) == [1.0]  # two points of one cell
    assert within([0.0, 0.0], [20.0, 2.0]) == [2.0]
    assert within([0.0, 0.0], [60.0, 60.0]) == [3.0]
    assert within([20.0, 20.0], [40.0, 40.0]) == [0.0]
    assert within([-500.0, -500.0], [9000.0, 9000.0]) == [3.0]
