"""Long lists cost n log n: the pairs, and what is tried of a list, are counted, not timed."""

import tracemalloc

import numpy as np
import pytest

from xover.files.stock import ItemKind
from xover.parts.preferred import combined, near_pairs, ways


def all_pairs(target, values, how, kind, most):
    """Distances of the best of all n^2 pairs."""
    i, j = np.triu_indices(len(values))
    return np.sort(np.round(np.abs(np.log(combined(values[i], values[j], how, kind) / target)), 9))[:most]


@pytest.mark.parametrize("how", ways(ItemKind.RESISTOR))
@pytest.mark.parametrize("seed", range(8))
def test_no_pair_of_all_is_nearer(how, seed):
    rng = np.random.default_rng(seed)
    values = np.round(10 ** rng.uniform(0, 2, 150), 1 if seed % 2 else 4)  # with equal values, and without
    found = near_pairs(12.3, values, how, ItemKind.RESISTOR, 20)
    assert [miss for miss, *_ in found] == all_pairs(12.3, values, how, ItemKind.RESISTOR, 20).tolist()
    assert len({(i, j) for *_, i, j in found}) == 20
    assert all(values[i] <= values[j] for *_, i, j in found)


@pytest.mark.parametrize("values", [np.geomspace(1, 100, 50_000), np.full(50_000, 6.15)], ids=["apart", "alike"])
def test_pairs_of_a_long_list_take_little_memory(values):
    """All pairs would be 1.25e9 numbers, 10 GB."""
    tracemalloc.start()
    found = near_pairs(12.3, values, "series", ItemKind.RESISTOR, 72)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert len(found) == 72
    assert found[0][0] < 1e-4
    assert peak < 60e6
