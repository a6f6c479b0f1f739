"""The search between grid points, against functions whose extremum is known in closed form."""

import numpy as np
import pytest

from xover.amplifier.extremum import Sought, extremes, highest, lowest
from xover.curve import log_grid

GRID = log_grid(20, 20000, 12)


def series_modulus(resistance: float, inductance: float, capacitance: float):
    def modulus(f):
        w = 2 * np.pi * f
        return np.hypot(resistance, w * inductance - 1 / (w * capacitance))

    return modulus


@pytest.mark.parametrize("resistance", [3.0, 0.4, 1e-3, 1e-6])
def test_series_resonance_of_any_width_is_found(resistance):
    """A series RLC is lowest at 1/(2 pi sqrt(LC)), where it is R exactly (textbook)."""
    f = series_modulus(resistance, 0.35e-3, 8e-6)
    found = lowest(GRID, f(GRID), f)
    assert found.settled
    assert not found.runaway
    assert found.value == pytest.approx(resistance, rel=1e-6)
    assert found.at_hz == pytest.approx(1 / (2 * np.pi * np.sqrt(0.35e-3 * 8e-6)), rel=1e-3)


def test_without_losses_it_says_that_nothing_settled():
    """With R = 0 the modulus goes to 0: what is found is small against the grid's value, and marked."""
    f = series_modulus(0.0, 0.35e-3, 8e-6)
    found = lowest(GRID, f(GRID), f)
    assert found.runaway
    assert not found.settled
    assert 0 <= found.value < 1e-9
    assert found.at_hz == pytest.approx(1 / (2 * np.pi * np.sqrt(0.35e-3 * 8e-6)), rel=1e-9)


def test_narrow_resonance_beats_a_deeper_grid_row_elsewhere():
    """Two resonances: the sharp one is higher on the grid, yet lower in truth, so it must win."""
    sharp = series_modulus(0.01, 1e-3, 0.95e-6)
    broad = series_modulus(1.0, 0.1e-3, 1000e-6)

    def both(f):
        return np.minimum(sharp(f), broad(f))

    assert GRID[np.argmin(both(GRID))] < 1000
    found = lowest(GRID, both(GRID), both)
    assert found.value == pytest.approx(0.01, rel=1e-6)
    assert found.at_hz == pytest.approx(1 / (2 * np.pi * np.sqrt(0.95e-9)), rel=1e-6)


def test_highest_lies_between_points():
    """A bell in log frequency, 7 at 1234.5 Hz by construction."""

    def bell(f):
        return 7.0 * np.exp(-(np.log(f / 1234.5) ** 2))

    found = highest(GRID, bell(GRID), bell)
    assert found.settled
    assert found.value == pytest.approx(7.0, rel=1e-7)
    assert found.at_hz == pytest.approx(1234.5, rel=1e-3)
    assert bell(GRID).max() < 7.0 * (1 - 1e-5), "the grid alone would miss it"


def test_end_of_band_is_an_extremum_too():
    found = highest(GRID, GRID**2, lambda f: f**2)
    assert (found.value, found.at_hz, found.settled) == (4e8, 20000.0, True)
    found = lowest(GRID, GRID**2, lambda f: f**2)
    assert (found.value, found.at_hz) == (400.0, 20.0)


def test_without_function_the_grid_answers():
    found = lowest(np.array([20.0, 30.0, 50.0]), np.array([3.0, 2.0, 4.0]))
    assert (found.value, found.at_hz, found.settled) == (2.0, 30.0, False)


def test_unknown_rows_are_passed_over_and_not_crossed():
    """The function would be lowest at 40 Hz, where nothing is known: the search stays outside."""
    f = np.array([20.0, 30.0, 40.0, 50.0, 60.0])
    parabola = (f - 40.0) ** 2 + 5.0
    parabola[2] = np.nan
    found = lowest(f, parabola, lambda x: (x - 40.0) ** 2 + 5.0)
    assert found.value == pytest.approx(105.0)
    assert found.at_hz in (30.0, 50.0)


def test_nothing_known_gives_nan():
    found = highest(GRID, np.full(GRID.shape, np.nan), lambda f: f)
    assert np.isnan(found.value)
    assert np.isnan(found.at_hz)
    assert not found.settled


def test_lone_row_is_given_as_it_is():
    value = np.full(GRID.shape, np.nan)
    value[10] = 6.5
    found = highest(GRID, value, lambda f: 0 * f + 6.5)
    assert (found.value, found.at_hz) == (6.5, GRID[10])
    assert (found.settled, found.runaway) == (False, False)


def test_island_between_unknown_points_is_no_pole():
    """A function that is known at a single frequency only: the point is kept, and nothing is claimed of it."""

    def island(f):
        return np.where(f == 640.0, 3.0, np.nan)

    found = highest(np.array([600.0, 640.0, 680.0]), np.array([1.0, 3.0, 1.0]), island)
    assert (found.value, found.at_hz, found.settled, found.runaway) == (3.0, 640.0, False, False)


def test_singular_point_is_stepped_round():
    """A function that has no value exactly at its pole still gives the pole's place."""

    def pole(f):
        d = np.abs(f - 640.0)
        return np.divide(1.0, d, out=np.full(d.shape, np.nan), where=d > 0)

    grid = np.array([600.0, 620.0, 645.0, 660.0])
    found = highest(grid, pole(grid), pole)
    assert found.runaway
    assert found.value > 1e8
    assert found.at_hz == pytest.approx(640.0, rel=1e-9)


def test_flat_curve_settles_at_once():
    calls = []

    def flat(f):
        calls.append(f.size)
        return np.full(f.shape, 8.0)

    found = lowest(GRID, flat(GRID), flat)
    assert (found.value, found.settled) == (8.0, True)
    assert len(calls) == 2


def test_scale_lets_a_value_near_zero_settle():
    """A phase that peaks at 0 degrees would never settle relative to itself."""

    def phase(f):
        return -(np.log(f / 777.0) ** 2)

    found = highest(GRID, phase(GRID), phase, scale=90.0)
    assert found.settled
    assert found.value == pytest.approx(0.0, abs=1e-5)
    assert found.at_hz == pytest.approx(777.0, rel=1e-2)


def test_several_sought_together_share_every_step_and_come_out_as_each_alone():
    """A bell and a dip of one curve, and a bell elsewhere: each as by itself, with fewer evaluations than all apart."""
    calls = []

    def both(f):
        calls.append(f.size)
        return np.stack([7.0 * np.exp(-(np.log(f / 1234.5) ** 2)), 2.0 + np.log(f / 300.0) ** 2])

    here = both(GRID)
    sought = [
        Sought(here[0], lambda rows: rows[0]),
        Sought(here[1], lambda rows: rows[1], lowest=True),
        Sought(np.full(GRID.size, np.nan), lambda rows: rows[0]),
    ]
    calls.clear()
    bell, dip, nothing = extremes(GRID, sought, both)
    together = len(calls)
    assert (bell.value, bell.at_hz) == (pytest.approx(7.0, rel=1e-7), pytest.approx(1234.5, rel=1e-3))
    assert (dip.value, dip.at_hz) == (pytest.approx(2.0, rel=1e-7), pytest.approx(300.0, rel=1e-3))
    assert bell.settled
    assert dip.settled
    assert np.isnan(nothing.value)
    assert not nothing.settled
    calls.clear()
    assert highest(GRID, here[0], lambda f: both(f)[0]) == bell
    assert lowest(GRID, here[1], lambda f: both(f)[1]) == dip
    assert together < len(calls)
    alone = extremes(GRID, sought[:2], None)
    assert [e.value for e in alone] == [here[0].max(), here[1].min()]
    assert not any(e.settled for e in alone)
