"""Questions about the wiring alone: what feeds a driver, what shorts a channel, what has no load."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from xover.network import Capacitor, Channel, DriverCard, Network, find_sections
from xover.network.network import Groups

SHORT_NOTE: Final = "direct short across the amplifier"
BRIDGE_NOTE: Final = "direct short between two amplifier channels"


def neighbourhood(network: Network, card: DriverCard) -> tuple[tuple[Channel, ...], frozenset[str]]:
    """The channels that feed a driver's section, and the names of the capacitors in it."""
    section = next(s for s in find_sections(network) if card.name in s.elements)
    elements = [e for e in (*network.parts, *network.drivers) if e.name in section.elements]
    nodes = {n for e in elements for n in (e.a, e.b)}
    channels = tuple(c for c in network.channels if c.plus in nodes)
    return channels or network.channels, frozenset(e.name for e in elements if isinstance(e, Capacitor))


def linked(network: Network, card: DriverCard) -> bool:
    """Whether 0 ohm links lie across a driver already."""
    wires = _wires(network)
    return wires.find(card.plus) == wires.find(card.minus)


def dead_short(network: Network) -> tuple[str, str] | None:
    """(channel, what is shorted) where 0 ohm links alone short a channel or join two of them."""
    wires = _wires(network)
    for channel in network.channels:
        plus, minus = wires.find(channel.plus), wires.find(channel.minus)
        if plus == minus:
            return channel.name, SHORT_NOTE
        others = {n for c in network.channels for n in (c.plus, c.minus)} - {channel.plus, channel.minus}
        if any(wires.find(n) == plus for n in others):
            return channel.name, BRIDGE_NOTE
    return None


def has_load(network: Network, channel: Channel) -> bool:
    """Whether a path leads from a channel's plus back to its minus."""
    groups = Groups()
    for element in (*network.parts, *network.drivers):
        groups.join(element.a, element.b)
    for other in network.channels:
        if other.name != channel.name:
            groups.join(other.plus, other.minus)
    return groups.find(channel.plus) == groups.find(channel.minus)


def with_connected_channels(network: Network) -> Network:
    """Leave out the channels whose plus nothing is connected to any more."""
    touched = {n for e in (*network.parts, *network.drivers) for n in (e.a, e.b)}
    return replace(network, channels=tuple(c for c in network.channels if c.plus in touched))


def _wires(network: Network) -> Groups:
    """Nodes that 0 ohm links make one."""
    groups = Groups()
    for part in network.resistors:
        if part.ohm == 0:
            groups.join(part.a, part.b)
    return groups
