"""Sections: what stays connected once the channel nodes and ground are removed.

With ideal channels every such piece sees fixed voltages at its borders, so each can be solved apart,
exactly, and a change in one does not touch the others.
"""

from __future__ import annotations

from dataclasses import dataclass

from xover.network.network import GROUND, Groups, Network


@dataclass(frozen=True)
class Section:
    """One section: the names of its parts and driver cards, and its inner nodes."""

    elements: tuple[str, ...]
    nodes: tuple[str, ...]
    drivers: tuple[str, ...]

    @property
    def reaches_driver(self) -> bool:
        """False for parts that hang on the amplifier without feeding a driver."""
        return bool(self.drivers)


def fixed_nodes(network: Network) -> frozenset[str]:
    """Ground and the channel nodes: their voltages are given."""
    return frozenset({GROUND}) | {n for c in network.channels for n in (c.plus, c.minus)}


def find_sections(network: Network) -> tuple[Section, ...]:
    """Split a network into its sections, in the order of the cards."""
    fixed = fixed_nodes(network)
    groups = Groups()
    elements = (*network.parts, *network.drivers)
    for element in elements:
        label = "part " + element.name.lower()
        for node in (element.a, element.b):
            if node not in fixed:
                groups.join(label, "node " + node)
        groups.find(label)
    for coupling in network.couplings:
        groups.join("part " + coupling.first.lower(), "part " + coupling.second.lower())
    inner: dict[str, list[str]] = {}
    for element in elements:
        inner.setdefault(groups.find("part " + element.name.lower()), []).append(element.name)
    sections = []
    drivers = {d.name for d in network.drivers}
    for members in inner.values():
        own = set(members)
        nodes = dict.fromkeys(n for e in elements if e.name in own for n in (e.a, e.b) if n not in fixed)
        sections.append(Section(tuple(members), tuple(nodes), tuple(m for m in members if m in drivers)))
    return tuple(sections)
