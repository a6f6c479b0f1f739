"""Faults that leave a network without one solution, each named with the card at fault and the remedy."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

import numpy as np

from xover.errors import InputError
from xover.network.network import GROUND, Groups, Network, reached_nodes
from xover.network.parts import Channel, Coupling, DriverCard, Part, Resistor

OWN_WORDS: Final = ("sum", "reversed_sum", "load")
"""Keys that stand beside those of the drivers."""


def topology_faults(network: Network) -> Iterator[InputError]:
    """Everything that would make the equations singular or the names ambiguous, with the line of the card at fault."""
    yield from _same_node(network)
    yield from _channels(network)
    yield from _unconnected(network)
    yield from _zero_ohm(network)
    yield from _couplings(network)
    yield from _keys(network)


def _at(card: Part | DriverCard | Channel | Coupling, problem: str, remedy: str) -> InputError:
    return InputError(problem, remedy, None, card.line)


def _same_node(network: Network) -> Iterator[InputError]:
    for element in (*network.parts, *network.drivers):
        if element.a == element.b:
            yield _at(
                element,
                f"{element.name} has both ends on node {element.a}",
                "give its two ends different nodes, or remove it",
            )


def _channels(network: Network) -> Iterator[InputError]:
    pluses: dict[str, str] = {}
    minuses = {c.minus for c in network.channels}
    touched = {n for e in (*network.parts, *network.drivers) for n in (e.a, e.b)}
    for channel in network.channels:
        if channel.plus == channel.minus:
            yield _at(
                channel,
                f"channel {channel.name} is shorted by its own nodes",
                "name its plus and its minus",
            )
        elif channel.plus in pluses:
            yield _at(
                channel,
                f"channels {pluses[channel.plus]} and {channel.name} share the plus node {channel.plus}",
                "two amplifier outputs must never be joined: give each channel a node of its own",
            )
        elif channel.plus in minuses or channel.plus == GROUND:
            yield _at(
                channel,
                f"the plus of channel {channel.name} is the minus of a channel or ground",
                "swap its nodes, or give it a node of its own",
            )
        elif channel.plus not in touched:
            yield _at(
                channel,
                f"nothing is connected to node {channel.plus}, the plus of channel {channel.name}",
                f"begin a part at node {channel.plus}, or name the amplifier's plus with a card such as 'Vmain node 0'",
            )
        pluses.setdefault(channel.plus, channel.name)


def _unconnected(network: Network) -> Iterator[InputError]:
    reached = reached_nodes(network)
    for element in (*network.parts, *network.drivers):
        if element.a not in reached:
            yield _at(
                element,
                f"{element.name} is unconnected: node {element.a} floats, no path leads to the amplifier",
                "check the node names on that line, or join the part to the network",
            )
            return


def _zero_ohm(network: Network) -> Iterator[InputError]:
    """Wires (0 ohm) that short a channel, join two channels, or close a loop in which any current could flow."""
    wires = Groups()
    sources = Groups()
    for channel in network.channels:
        sources.join(channel.plus, channel.minus)
    ends = [n for c in network.channels for n in (c.plus, c.minus)]
    for part in network.parts:
        if not (isinstance(part, Resistor) and part.ohm == 0):
            continue
        if not wires.join(part.a, part.b):
            yield _at(
                part,
                f"{part.name} (0 ohm) lies parallel to other 0 ohm links, so its current is not defined",
                "keep one of the links",
            )
        for channel in network.channels:
            if wires.find(channel.plus) == wires.find(channel.minus):
                yield _at(
                    part,
                    f"channel {channel.name} is shorted by {part.name} (0 ohm)",
                    "remove that link, or name the nodes that it really joins",
                )
                return
            for end in ends:
                if end not in (channel.plus, channel.minus) and wires.find(end) == wires.find(channel.plus):
                    yield _at(
                        part,
                        f"{part.name} (0 ohm) joins channel {channel.name} to another channel",
                        "remove that link: two amplifier outputs must never be joined",
                    )
                    return


def _couplings(network: Network) -> Iterator[InputError]:
    pairs: dict[frozenset[str], str] = {}
    coils = {c.name.lower(): c for c in network.coils}
    for coupling in network.couplings:
        pair = frozenset((coupling.first.lower(), coupling.second.lower()))
        if pair in pairs:
            yield _at(
                coupling,
                f"{coupling.name} couples the coils of {pairs[pair]} again",
                "keep one of the two",
            )
        for name in (coupling.first, coupling.second):
            if name.lower() not in coils:
                known = ", ".join(c.name for c in network.coils) or "no coil"
                yield _at(
                    coupling,
                    f"{coupling.name} names the coil {name}, which is not there",
                    f"the network has {known}",
                )
        if len(pair) == 1:
            yield _at(coupling, f"{coupling.name} couples a coil with itself", "name two coils")
        pairs[pair] = coupling.name
    yield from _energy(network)


def _energy(network: Network) -> Iterator[InputError]:
    """Couplings of three or more coils must leave no current with negative magnetic energy."""
    coils = [c.name.lower() for c in network.coils]
    known = [c for c in network.couplings if {c.first.lower(), c.second.lower()} <= set(coils)]
    if len(known) < 2:
        return
    matrix = np.eye(len(coils))
    for coupling in known:
        i, j = coils.index(coupling.first.lower()), coils.index(coupling.second.lower())
        matrix[i, j] = matrix[j, i] = coupling.k
    if np.linalg.eigvalsh(matrix)[0] < -1e-9:
        last = known[-1]
        yield _at(
            last,
            f"the couplings {', '.join(c.name for c in known)} cannot all be: some currents would have negative energy",
            "check their signs (dots at each coil's first node) and add what is missing (a K card for each pair)",
        )


def _keys(network: Network) -> Iterator[InputError]:
    """Results are keyed by driver: two cards may not claim the same key."""
    taken: dict[str, str] = {}
    for card in network.drivers:
        if card.key in OWN_WORDS:
            yield _at(
                card,
                f"the results of {card.name} would stand under '{card.key}', a word of the results' own",
                f"give the {'driver' if card.key == card.driver else 'card'} another name than {', '.join(OWN_WORDS)}",
            )
        if card.key in taken:
            yield _at(
                card,
                f"{card.name} and {taken[card.key]} bind a driver twice under the name {card.key}",
                "rename one of the cards",
            )
        taken[card.key] = card.name
