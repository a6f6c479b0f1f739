"""infer uses the rows where a driver's sweep does not reach, as far as its bound lets them say something."""

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))

from infer_cases import case, circuit, errors, formula_drivers

from xover.explain.problem import Jig, build_problem
from xover.explain.unknowns import NORMAL_95, unknowns
from xover.rules.margins import TIGHT_SHARE
from xover.studies.aged.infer.study import infer_network


def cut(curve, low, high=1e9):
    rows = (curve.frequency_hz >= low) & (curve.frequency_hz <= high)
    return replace(curve, frequency_hz=curve.frequency_hz[rows], value=curve.value[rows])


def shortened(c, **bands):
    return {name: cut(curve, *bands.get(name, (0.0,))) for name, curve in c.drivers.items()}


@pytest.fixture(scope="module")
def aged():
    return case(circuit("two-way-second-order-l-pad"), 9004, drivers=formula_drivers, noise=0.005)


def rows_of(c, drivers):
    return build_problem(c.drawn, drivers, unknowns(c.drawn), [c.sweep], Jig()).sweeps[0]


def test_rows_below_a_tweeters_sweep_are_kept_and_their_noise_is_widened(aged):
    rows = rows_of(aged, shortened(aged, tweeter=(302.0,)))
    below = rows.sweep.frequency_hz < 302.0
    assert rows.sweep.frequency_hz[0] == pytest.approx(10.0)
    assert np.all(rows.doubt[below] > 0)
    assert np.all(rows.doubt[~below] == 0)
    assert np.all(rows.doubt < 2e-3)
    for name, driver in rows.model.drivers.items():
        truth = aged.drivers[name].at(rows.sweep.frequency_hz)
        assert np.abs(driver.impedance_ohm / truth - 1.0).max() < 0.03


def test_rows_where_a_missing_impedance_matters_are_not_kept(aged):
    rows = rows_of(aged, shortened(aged, woofer=(0.0, 500.0)))
    beyond = rows.sweep.frequency_hz > 500.0
    assert np.all(rows.doubt[beyond] <= TIGHT_SHARE / NORMAL_95)
    # Behind its coil the woofer is most of the load up to the crossover.
    assert not np.any((rows.sweep.frequency_hz > 520.0) & (rows.sweep.frequency_hz < 1500.0))


def test_parts_are_found_as_with_the_whole_sweep(aged):
    """Without those rows the coil across the tweeter was four times as far off as with them (median of six)."""
    whole = infer_network(aged.drawn, aged.drivers, [aged.sweep])
    short = infer_network(aged.drawn, shortened(aged, tweeter=(302.0,)), [aged.sweep])
    for one, other in zip(errors(whole, aged.true), errors(short, aged.true), strict=True):
        assert other.covered
        assert other.relative == pytest.approx(one.relative, abs=0.005)
