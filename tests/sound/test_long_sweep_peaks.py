"""Peaks that stand clear, in one pass: as each peak's own walk to its valleys finds them."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from xover.sound.resonance import LEAST_RISE, clear_peaks


def walked(size: list[float]) -> list[tuple[int, int, int]]:
    """From each peak row by row, both ways, until the curve stands higher or ends; the nearest of equal valleys."""
    found = []
    for i in range(1, len(size) - 1):
        if not size[i - 1] < size[i] >= size[i + 1]:
            continue
        ends = []
        for step in (-1, 1):
            at = lowest = i
            while 0 <= at < len(size) and size[at] <= size[i]:
                lowest = at if size[at] < size[lowest] else lowest
                at += step
            ends.append(lowest)
        if size[i] >= LEAST_RISE * max(size[k] for k in ends):
            found.append((ends[0], i, ends[1]))
    return found


@given(st.lists(st.integers(1, 12), max_size=40))
@settings(max_examples=100)
def test_as_each_peak_walks(rows: list[int]) -> None:
    assert clear_peaks(np.array(rows, dtype=float)) == walked([float(row) for row in rows])


def test_every_row_a_peak_is_one_pass() -> None:
    """A falling saw whose every tooth stands clear: the walk's work would go with the square of the rows."""
    teeth = np.geomspace(1e6, 1.0, 100_000)
    size = np.column_stack([0.5 * teeth, teeth]).ravel()
    found = clear_peaks(size)
    assert len(found) == teeth.size - 1
    assert found[0] == (0, 1, size.size - 2)
