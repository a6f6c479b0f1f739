"""Inductance of windings: loops, sections, and how they scale."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from xover.parts.inductance import (
    by_formula_h,
    layered_coil_h,
    loop_h,
    mutual_of_circles_h,
    section_h,
    wire_correction_h,
)
from xover.parts.wire import Winding


def loop_sum_h(radius_m: object, position_m: object, wire_diameter_m: float) -> float:
    """All circles of a coil, each with each."""
    a = np.asarray(radius_m, dtype=float)
    z = np.asarray(position_m, dtype=float)
    one, other = np.triu_indices(a.size, 1)
    mutual = mutual_of_circles_h(a[one], a[other], z[one] - z[other])
    return float(np.sum(loop_h(a, wire_diameter_m)) + 2 * np.sum(mutual))


LENGTHS = st.floats(2e-3, 0.1)


@settings(max_examples=40)
@given(LENGTHS, LENGTHS, LENGTHS, st.floats(1.0, 500.0), st.floats(0.1, 10.0))
def test_turns_squared_and_size(inner, depth, length, turns, scale):
    once = section_h(Winding(inner, inner + depth, length, 1.0), 8)
    assert section_h(Winding(inner, inner + depth, length, turns), 8) == pytest.approx(turns**2 * once, rel=1e-12)
    larger = Winding(scale * inner, scale * (inner + depth), scale * length, 1.0)
    assert section_h(larger, 8) == pytest.approx(scale * once, rel=1e-9)
    # More than one turn pressed into a wire is less, spread out is more, and no formula is off by a factor.
    assert 0.4 < by_formula_h(Winding(inner, inner + depth, length, 1.0))["Wheeler 1928, multilayer"] / once < 1.6


@pytest.mark.parametrize("counts", [[1], [6], [5, 5, 3], [3, 3, 3, 3, 1], [1, 1, 1, 1]])
def test_layers_add_up_like_single_loops(counts):
    pitch, wire, inner = 1.1e-3, 1e-3, 9e-3
    radius = np.concatenate([[inner + (i + 0.5) * pitch] * n for i, n in enumerate(counts)])
    position = np.concatenate([np.arange(n) * pitch for n in counts])
    assert layered_coil_h(inner, pitch, counts, wire) == pytest.approx(loop_sum_h(radius, position, wire), rel=1e-12)


def test_two_loops_by_hand():
    """Radius 25 cm, 1 cm apart: M = 1036.6648 nH (Maxwell, DLMF 19.34 and Neumann's integral agree)."""
    own = 4e-7 * np.pi * 0.25 * (np.log(8 * 0.25 / 0.5e-3) - 1.75)
    assert float(loop_h(0.25, 1e-3)) == pytest.approx(own, rel=1e-12)
    assert loop_sum_h([0.25, 0.25], [0.0, 0.01], 1e-3) == pytest.approx(2 * own + 2 * 1036.6648e-9, rel=1e-7)


def test_one_loop_is_a_ring_of_round_section():
    """A square of equal mean distance (side = 0.7788 r/0.447049) is a ring of the same inductance, but for (r/a)^2."""
    wire = 1e-4
    side = np.exp(-0.25) * wire / 2 / 0.447049
    square = section_h(Winding(0.05 - side / 2, 0.05 + side / 2, side, 1.0))
    assert float(loop_h(0.05, wire)) == pytest.approx(square, rel=2e-6)


@pytest.mark.parametrize(("layers", "turns"), [(1, 20), (20, 1), (5, 5), (12, 12), (3, 30)])
def test_loops_are_the_section_and_the_gaps_between_wires(layers, turns):
    pitch, wire, inner = 1.094e-3, 1e-3, 15e-3
    loops = layered_coil_h(inner, pitch, [turns] * layers, wire)
    coil = Winding(inner, inner + layers * pitch, turns * pitch, layers * turns)
    assert section_h(coil) < loops
    assert section_h(coil) + wire_correction_h(coil, pitch, wire) == pytest.approx(loops, rel=1e-3)
