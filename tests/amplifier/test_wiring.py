"""Questions of wiring, each on a network small enough to see the answer."""

import pytest

from xover.amplifier.extremum import (
    BRIDGE_NOTE,
    SHORT_NOTE,
    dead_short,
    has_load,
    linked,
    neighbourhood,
    with_connected_channels,
)
from xover.files.netlist import parse_netlist
from xover.network import Network, build_network

TWO_WAY = """* Invented
L1 in w 1mH
C1 w 0 10uF
Xlow w 0 woofer
C2 in t 5uF
Xhigh t 0 tweeter
"""
BIAMP = """* Invented
Vbass lo 0
Vtreble hi 0
L1 lo w 1mH
C1 w 0 10uF
Xlow w 0 woofer
C2 hi t 5uF
Xhigh t 0 tweeter
"""


def network(text: str) -> Network:
    return build_network(parse_netlist(text))


@pytest.mark.parametrize(
    ("text", "card", "channels", "capacitors"),
    [
        (TWO_WAY, "Xhigh", ["in"], {"C2"}),
        (TWO_WAY, "Xlow", ["in"], {"C1"}),
        (BIAMP, "Xhigh", ["treble"], {"C2"}),
        (BIAMP, "Xlow", ["bass"], {"C1"}),
        ("* Invented\nVa a 0\nVb b 0\nC1 a m 1uF\nC2 b m 1uF\nXone m 0 w\n", "Xone", ["a", "b"], {"C1", "C2"}),
        ("* Invented\nXone in 0 w\nC1 in t 1uF\nXtwo t 0 v\n", "Xone", ["in"], set()),
    ],
)
def test_neighbourhood(text, card, channels, capacitors):
    net = network(text)
    feeding, names = neighbourhood(net, net.driver_card(card))
    assert [c.name for c in feeding] == channels
    assert names == capacitors


def test_linked_driver():
    net = network("* Invented\nL1 in w 1mH\nXlow w x woofer\nR1 w y 0\nR2 y x 0\nR3 x 0 4\nXhigh in 0 tweeter\n")
    assert linked(net, net.driver_card("Xlow"))
    assert not linked(net, net.driver_card("Xhigh"))


def test_dead_shorts():
    assert dead_short(network(TWO_WAY)) is None
    assert dead_short(network(TWO_WAY).with_short("Xhigh")) is None
    direct = network("* Invented\nXlow in 0 woofer\n")
    assert dead_short(direct) is None
    assert dead_short(direct.with_short("Xlow")) == ("in", SHORT_NOTE)
    behind_link = network("* Invented\nR1 in w 0\nXlow w 0 woofer\n")
    assert dead_short(behind_link.with_short("Xlow")) == ("in", SHORT_NOTE)
    bridge = network("* Invented\nVa a 0\nVb b 0\nXone a b woofer\n")
    assert dead_short(bridge) is None
    assert dead_short(bridge.with_short("Xone")) == ("a", BRIDGE_NOTE)


def test_load_or_none():
    net = network(BIAMP)
    bass, treble = net.channels
    assert has_load(net, bass)
    assert has_load(net, treble)
    assert not has_load(net.without("Xhigh"), treble), "the capacitor alone leads nowhere"
    assert has_load(net.without("Xlow"), bass), "C1 still closes the circuit"
    bridge = network("* Invented\nVa a 0\nVb b 0\nXone a b woofer\n")
    assert has_load(bridge, bridge.channels[0]), "through the other amplifier"
    assert not has_load(bridge.without("Xone"), bridge.channels[0])


def test_bare_channel_is_left_out():
    net = network("* Invented\nVa a 0\nVb b 0\nXone a 0 woofer\nXtwo b 0 tweeter\n")
    assert [c.name for c in with_connected_channels(net.without("Xone")).channels] == ["b"]
    assert with_connected_channels(net) == net
