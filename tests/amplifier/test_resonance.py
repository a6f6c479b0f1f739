"""Extremes of solved networks, with and without losses."""

import math

import numpy as np
import pytest

from xover.amplifier.extremum import Sweep, interpolated
from xover.curve import log_grid
from xover.errors import NoSolutionError, OptionError
from xover.files.netlist import parse_netlist
from xover.network import Network, build_network, solve

GRID = log_grid(20, 20000, 12)
# Resonance of 1 mH and 1 uF.
F0 = 1 / (2 * math.pi * math.sqrt(1e-9))


def network(text: str) -> Network:
    return build_network(parse_netlist("* Invented\n" + text))


def eight_ohm(f):
    return {"tweeter": np.full(f.shape, 8 + 0j), "woofer": np.full(f.shape, 8 + 0j)}


def has_solution(net: Network, frequency_hz: float) -> bool:
    try:
        solve(net, np.array([frequency_hz]), {})
    except NoSolutionError:
        return False
    return True


def sweep(text: str, without: str | None = None, grid=GRID) -> Sweep:
    net = network(text)
    return Sweep(net if without is None else net.without(without), grid, eight_ohm)


def test_series_resonance_across_the_amplifier():
    """1 mH + 0.5 ohm and 1 uF + 0.2 ohm in series beside 8 ohm: 0.7 || 8 ohm at 5032.92 Hz (textbook)."""
    got = sweep("C1 in t 1uF esr=0.2\nL1 t 0 1mH dcr=0.5\nXfull in 0 woofer\n").lowest_impedance("in")
    assert got.settled
    assert got.value == pytest.approx(0.7 * 8 / 8.7, rel=1e-6)
    assert got.at_hz == pytest.approx(5032.92, rel=1e-5)


def test_lossless_resonance_runs_away_and_names_its_parts():
    """The coil of the low-pass has no loss either, but carries none of the resonance's current."""
    got = sweep("C1 in t 1uF\nL1 t 0 1mH\nL3 in w 0.2mH\nXfull w 0 woofer\n")
    least = got.lowest_impedance("in")
    assert least.runaway
    assert least.value < 1e-8
    assert least.at_hz == pytest.approx(5032.92121, rel=1e-8)
    most = got.highest_voltages(["C1"])["C1"]
    assert most.runaway
    assert most.at_hz == pytest.approx(5032.92121, rel=1e-8)
    assert got.lossless_parts(least.at_hz) == ("C1", "L1")


@pytest.mark.parametrize(
    ("cards", "names"),
    [
        ("C1 in t 1uF df=0.001\nL1 t 0 1mH", ("L1",)),
        ("C1 in t 1uF esr=0.01\nL1 t 0 1mH", ("L1",)),
        ("C1 in t 1uF\nL1 t 0 1mH dcr=0.1", ("C1",)),
    ],
)
def test_parts_with_any_loss_are_not_named(cards, names):
    assert sweep(cards + "\nXfull in 0 woofer\n").lossless_parts(5032.92) == names


def test_single_frequency_without_solution_is_read_beside():
    """At some floats the admittances of 1 mH and 1 uF cancel to the last bit: 1e-9 beside, 2 X 1e-9 ohm remain."""
    got = sweep("C1 in t 1uF\nL1 t 0 1mH\nXhigh t 0 tweeter\n", without="Xhigh")
    f = np.unique(F0 * (1 + np.arange(-60, 61) * 1.2e-16))
    singular = [x for x in f if not has_solution(got.network, x)]
    assert singular, "no float hits the singular point on this machine: choose other parts"
    value = got.impedance("in", np.array([1000.0, singular[0], 9000.0]))
    w = 2 * math.pi * np.array([1000.0, 9000.0])
    np.testing.assert_allclose(value[[0, 2]], np.abs(w * 1e-3 - 1 / (w * 1e-6)), rtol=1e-9)
    assert value[1] == pytest.approx(2e-9 * math.sqrt(1e-3 / 1e-6), rel=1e-4)


def test_singular_grid_point_does_not_hide_the_runaway():
    """The grid itself stands on the resonance: it is still found as a fall to 0 ohm."""
    text = "C1 in t 1uF\nL1 t 0 1mH\nXhigh t 0 tweeter\n"
    near = np.unique(F0 * (1 + np.arange(-60, 61) * 1.2e-16))
    singular = next(x for x in near if not has_solution(sweep(text, without="Xhigh").network, x))
    got = sweep(text, without="Xhigh", grid=np.sort(np.concatenate([GRID, [singular]])))
    least = got.lowest_impedance("in")
    assert least.runaway
    assert least.at_hz == pytest.approx(F0, rel=1e-8)


def test_wiring_without_solution_is_refused_at_birth():
    net = network("C1 in t 1uF\nXhigh t 0 tweeter\n")
    with pytest.raises(NoSolutionError, match=r"channel in is shorted by Xhigh \(0 ohm\)"):
        Sweep(network("Xhigh in 0 tweeter\n").with_short("Xhigh"), GRID, eight_ohm)
    assert Sweep(net, GRID, eight_ohm).network is net


def test_driver_without_impedance_is_refused():
    with pytest.raises(OptionError, match="no impedance is known for the driver mid"):
        sweep("C1 in t 1uF\nXmid t 0 mid\n").lowest_impedance("in")


def test_interpolated_meets_the_rows_and_stays_inside():
    f = np.array([100.0, 200.0, 400.0, 800.0])
    at = interpolated(f, {"a": np.array([5 + 1j, 6 + 2j, 7 + 3j, np.nan]), "b": np.array([np.nan, 4, np.nan, np.nan])})
    got = at(np.array([100.0, 141.4213562, 400.0, 500.0]))
    np.testing.assert_allclose(got["a"][[0, 2]], [5 + 1j, 7 + 3j])
    assert abs(5 + 1j) < abs(got["a"][1]) < abs(6 + 2j)
    assert np.angle(5 + 1j) < np.angle(got["a"][1]) < np.angle(6 + 2j)
    assert np.isnan(got["a"][3])
    assert np.isnan(got["b"]).all()
