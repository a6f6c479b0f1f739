"""Ratings: margins, the next usual size, and the card's own word. Expected values by hand."""

import math

import numpy as np
import pytest

from xover.amplifier.stress import RatingVerdict, rate_part, read_stress
from xover.errors import InputError
from xover.files.netlist import parse_netlist
from xover.network import build_network, solve

# The whole of table II, so that no part of the programme is lost.
GRID = np.geomspace(17.0, 23_000.0, 100)


def rating(card, name="R1", rms_v=10.0, load=5.0):
    network = build_network(parse_netlist(f"* invented\n{card}\nXlow a 0 woofer\n"))
    solution = solve(network, GRID, {"woofer": np.full(GRID.size, load + 0j)})
    part = network.part(name)
    return rate_part(part, read_stress(solution, {"in": rms_v}, 4.0).of(name))


@pytest.mark.parametrize(
    ("watts", "verdict", "words"),
    [
        ("", RatingVerdict.NOT_KNOWN, "needs 10 W; its card states no rating"),
        ("watts=10.1", RatingVerdict.ENOUGH, "needs 10 W: its rating of 10.1 W will do"),
        ("watts=9.9", RatingVerdict.THIN, "and with the usual margin needs 10 W: more than its rating of 9.9 W"),
        ("watts=4.9", RatingVerdict.OVER, "R1 turns 5 W into heat, over its rating of 4.9 W"),
    ],
)
def test_a_resistor_needs_twice_its_watts(watts, verdict, words):
    """5 ohm before 5 ohm at 10 V: 1 A, 5 W."""
    r = rating(f"R1 in a 5 {watts}")
    assert r.quantity == "power_w"
    assert (r.stress, r.needed) == (pytest.approx(5.0, rel=1e-9), pytest.approx(10.0, rel=1e-9))
    assert r.verdict is verdict
    assert words in r.sentence
    assert r.broken == (verdict in (RatingVerdict.THIN, RatingVerdict.OVER))


@pytest.mark.parametrize(("rms_v", "usual"), [(6.9, 5.0), (7.2, 10.0), (14.2, 50.0), (31.0, 100.0), (32.0, None)])
def test_the_next_usual_size(rms_v, usual):
    """Watts needed: V^2/10, from 4.8 to 102."""
    assert rating("R1 in a 5", rms_v=rms_v).usual == usual


@pytest.mark.parametrize(
    ("volts", "verdict"),
    [("volts=52.1", RatingVerdict.ENOUGH), ("volts=51.9", RatingVerdict.THIN), ("volts=39", RatingVerdict.OVER)],
)
def test_a_capacitor_needs_more_than_the_peak_of_a_full_sine(volts, verdict):
    """A small capacitor bears all of 40 V at the lowest frequency; 1.3 times that is 52 V."""
    r = rating(f"C1 in a 0.1uF {volts}", "C1")
    assert r.quantity == "voltage_v"
    assert (r.stress, r.needed) == (pytest.approx(40.0, rel=1e-6), pytest.approx(52.0, rel=1e-6))
    assert r.usual == 63.0
    assert r.verdict is verdict


@pytest.mark.parametrize(
    ("amps", "verdict"), [("amps=8.1", RatingVerdict.ENOUGH), ("amps=7.9A", RatingVerdict.OVER), ("", "not known")]
)
def test_a_coil_carries_the_peak_of_a_full_sine(amps, verdict):
    """40 V into 5 ohm, the coil being small: 8 A."""
    r = rating(f"L1 in a 1uH {amps}", "L1")
    assert r.quantity == "current_a"
    assert r.stress == r.needed == pytest.approx(8.0, rel=1e-3)
    assert r.usual is None
    assert r.verdict == verdict
    assert r.sentence.startswith("L1 carries 8 A at the peak of a full sine")
    assert "margin" not in r.sentence


def test_a_lamp_is_meant_to_get_hot():
    assert rating("R1 in a kind=lamp cold=1 watts=1") is None


def test_not_known_and_without_limit():
    network = build_network(parse_netlist("* invented\nC1 in a 1uF volts=100\nXlow a 0 woofer\n"))
    unknown = read_stress(solve(network, GRID, {"woofer": np.full(GRID.size, np.nan)}), {"in": 5.0}, 4.0).of("C1")
    r = rate_part(network.part("C1"), unknown)
    assert math.isnan(r.needed)
    assert r.usual is None
    assert r.verdict is RatingVerdict.NOT_KNOWN
    assert r.sentence == "C1: what it bears is not known"
    trap = build_network(parse_netlist("* invented\nL1 in a 1mH\nC1 a 0 10uF volts=50\nXlow in 0 woofer\n"))

    def at(f):
        return solve(trap, f, {"woofer": np.full(f.size, 8.0 + 0j)})

    r = rate_part(trap.part("C1"), read_stress(at(GRID), {"in": 5.0}, 4.0, refine=at).of("C1"))
    assert r.verdict is RatingVerdict.OVER
    assert "C1 bears any voltage at the peak of a full sine, over its rating of 50 V" in r.sentence


@pytest.mark.parametrize(("field", "words"), [("amps=lots", "L1, amps: 'lots'"), ("amps=0", "L1 has amps=0")])
def test_a_rating_that_is_no_number(field, words):
    with pytest.raises(InputError, match=words) as caught:
        rating(f"L1 in a 1mH {field}", "L1")
    assert caught.value.line == 2
