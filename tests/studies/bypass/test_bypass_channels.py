"""Which drivers share a channel, and how they hang on it."""

from pathlib import Path

import numpy as np
import pytest

from xover.files.netlist import read_netlist
from xover.network import build_network, solve
from xover.sound.meeting import WayOfDrivers
from xover.sound.prediction import sound_of
from xover.sound.resonance import impedance_peak_hz
from xover.studies.change.bypass.channels import _wire, amplifier_for, bare_drivers, minimum_load

F = np.geomspace(20.0, 20e3, 121)


@pytest.fixture
def network(tmp_path):
    def build(cards):
        path = Path(tmp_path / "n.cir")
        path.write_text("* t\n" + cards)
        return build_network(read_netlist(path))

    return build


def wired(network, cards):
    """Load of the woofers' channel for 8 ohm each, their voltages, and the wiring in words."""
    net = network(cards)
    made, wiring = _wire(net, WayOfDrivers(("woofer",), tuple(c.key for c in net.drivers)))
    from xover.network import Channel, Network

    bare = Network("", (), tuple(made), (Channel("c", "woofer plus", "0"),))
    solved = solve(bare, np.array([100.0]), {"woofer": np.array([8.0 + 0j])})
    return solved.impedance_ohm["c"][0].real, {k: v[0].real for k, v in solved.drive.items()}, wiring


@pytest.mark.parametrize(
    ("cards", "ohm", "share", "how"),
    [
        ("L1 in w 1mH\nXa w 0 woofer\n", 8.0, {"woofer": 1.0}, "alone"),
        ("L1 in w 1mH\nXa w 0 woofer\nXb w 0 woofer\n", 4.0, {"a": 1.0, "b": 1.0}, "in parallel"),
        ("L1 in w 1mH\nXa w m woofer\nXb m 0 woofer\n", 16.0, {"a": 0.5, "b": 0.5}, "in series"),
        ("L1 in w 1mH\nXa 0 w woofer\n", 8.0, {"woofer": 1.0}, "alone"),  # reversed: set in the crossover
        ("L1 in w 1mH\nXa w 0 woofer\nXb 0 w woofer\n", 4.0, {"a": 1.0, "b": -1.0}, "in parallel"),
        (
            "L1 in w 1mH\nXa w m woofer\nXb m 0 woofer\nXc w n woofer\nXd n 0 woofer\n",
            8.0,
            dict.fromkeys("abcd", 0.5),
            "in series",
        ),
        (
            "L1 in w 1mH\nXa w m woofer\nXb m 0 woofer\nXc m 0 woofer\n",
            12.0,
            {"a": 2 / 3, "b": 1 / 3, "c": 1 / 3},
            "in series and parallel",
        ),
    ],
)
def test_drivers_of_one_name_are_joined_as_in_the_network(network, cards, ohm, share, how):
    load, volts, wiring = wired(network, cards)
    assert load == pytest.approx(ohm, rel=1e-9)
    assert volts == pytest.approx(share)
    assert (wiring.how, wiring.assumed) == (how, False)


def test_drivers_fed_through_parts_of_their_own_are_taken_in_parallel_and_that_is_said(network):
    load, volts, wiring = wired(network, "L1 in w 1mH\nXa w 0 woofer\nL2 in v 4mH\nXb v 0 woofer\n")
    assert load == pytest.approx(4.0)
    assert volts == pytest.approx({"a": 1.0, "b": 1.0})
    assert (wiring.how, wiring.assumed, wiring.words) == ("in parallel", True, "a and b in parallel")


def test_the_lowest_channel_is_the_one_that_plays_lowest(make):
    split = "* t\nC1 in t 4.7uF\nL2 t 0 0.3mH\nXhigh t 0 tweeter\nL1 in w 2mH\nXlow w 0 woofer\n"
    for levels in ((90.0, 90.0), None):  # by sound, and by drive where no sound is known
        speaker = make(split, levels=levels)
        assert bare_drivers(speaker, sound_of(speaker, "original", F), "original").names == ("woofer", "tweeter")


def test_a_channel_without_a_rating_of_its_own_has_the_amplifiers(make):
    more = "[bypass.channels.woofer]\nrated_power_w = 20\n[bypass.channels.tweeter]\nminimum_load_ohm = 3"
    speaker = make(more=more)
    assert minimum_load(speaker, ("woofer",)) == (6.0, "[amplifier]")
    assert minimum_load(speaker, ("tweeter",)) == (3.0, "[bypass.channels.tweeter]")
    assert amplifier_for(speaker, ("woofer",))[0].rated_power_w == 20.0


def resonant(f, peak_ohm, at_hz, q):
    x = f / at_hz
    return 6.0 + 2j * np.pi * f * 0.1e-3 + peak_ohm / (1 + 1j * q * (x - 1 / x))


def test_the_resonance_is_the_peak_that_stands_clear():
    z = resonant(F, 10.0, 900.0, 2.0)
    assert impedance_peak_hz(F, z, lambda x: resonant(x, 10.0, 900.0, 2.0)) == pytest.approx(900.0, rel=0.01)
    assert np.isnan(impedance_peak_hz(F, 6.0 + 2j * np.pi * F * 0.5e-3))  # a voice coil's rise is no peak
    assert np.isnan(impedance_peak_hz(F, resonant(F, 0.3, 900.0, 2.0)))  # too flat to tell
    assert np.isnan(impedance_peak_hz(F, np.full(F.size, np.nan, dtype=complex)))
