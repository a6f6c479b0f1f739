"""Network: parts, couplings, drivers and amplifier channels, checked to have one solution; and its sections.

A section is what stays connected once the channel nodes and ground are removed. With ideal channels every such piece
sees fixed voltages at its borders, so each can be solved apart, exactly, and a change in one does not touch the others.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from pathlib import Path

from xover.errors import OptionError
from xover.network.parts import Capacitor, Channel, Coupling, DriverCard, Inductor, Part, Resistor, settings
from xover.readable import Readable

GROUND = "0"


@dataclass(frozen=True)
class OddValue:
    """A value that was understood, and may be a slip of the pen: what was read, and what to write."""

    part: str
    problem: str
    remedy: str


@dataclass(frozen=True, repr=False)
class Network(Readable):
    """A passive network with its drivers and amplifier channels, in the order of the cards.

    Attributes
    ----------
    odd_values : what its file says that may be a slip of the pen.
    """

    title: str
    parts: tuple[Part, ...]
    drivers: tuple[DriverCard, ...]
    channels: tuple[Channel, ...]
    couplings: tuple[Coupling, ...] = ()
    notes: tuple[str, ...] = ()
    path: Path | None = None
    odd_values: tuple[OddValue, ...] = ()

    @property
    def coils(self) -> tuple[Inductor, ...]:
        """The coils."""
        return tuple(p for p in self.parts if isinstance(p, Inductor))

    @property
    def capacitors(self) -> tuple[Capacitor, ...]:
        """The capacitors."""
        return tuple(p for p in self.parts if isinstance(p, Capacitor))

    @property
    def resistors(self) -> tuple[Resistor, ...]:
        """The resistors, lamps among them."""
        return tuple(p for p in self.parts if isinstance(p, Resistor))

    @property
    def numbers(self) -> dict[str, float]:
        """Every number of the network by its candidate's name: C1, C1_esr, C1_df, L1_dcr, and couplings."""
        own = {part.name + ending: value for part in self.parts for ending, value in settings(part).items()}
        return own | {c.name: c.k for c in self.couplings}

    @property
    def driver_names(self) -> tuple[str, ...]:
        """Each driver's name once, in the order of the cards."""
        return tuple(dict.fromkeys(d.driver for d in self.drivers))

    def part(self, name: str) -> Part:
        """The part of that name, whatever its case. Raises OptionError when there is none."""
        for part in self.parts:
            if part.name.lower() == name.lower():
                return part
        raise OptionError(f"the network has no part {name}", "name one of " + ", ".join(p.name for p in self.parts))

    def driver_card(self, name: str) -> DriverCard:
        """The driver card of that name or key. Raises OptionError when there is none."""
        for card in self.drivers:
            if name in (card.name, card.key):
                return card
        raise OptionError(f"the network has no driver {name}", "name one of " + ", ".join(d.key for d in self.drivers))

    def without(self, name: str) -> Network:
        """The network with one driver unplugged; parts that then hang in the air are left out."""
        gone = self.driver_card(name)
        return replace(self, drivers=tuple(d for d in self.drivers if d is not gone)).pruned()

    def with_short(self, name: str) -> Network:
        """The network with one driver replaced by a piece of wire (a 0 ohm resistor of the card's name)."""
        gone = self.driver_card(name)
        wire = Resistor(gone.name, gone.plus, gone.minus, 0.0)
        return replace(self, parts=(*self.parts, wire), drivers=tuple(d for d in self.drivers if d is not gone))

    def pruned(self) -> Network:
        """Leave out the parts that no path joins to an amplifier channel or to ground."""
        reached = reached_nodes(self)
        parts = tuple(p for p in self.parts if p.a in reached and p.b in reached)
        names = {p.name.lower() for p in parts}
        return replace(
            self,
            parts=parts,
            drivers=tuple(d for d in self.drivers if d.plus in reached and d.minus in reached),
            couplings=tuple(c for c in self.couplings if c.first.lower() in names and c.second.lower() in names),
        )


def reached_nodes(network: Network) -> frozenset[str]:
    """Nodes that a chain of parts and drivers joins to a channel or to ground."""
    groups = Groups()
    for channel in network.channels:
        groups.join(channel.plus, GROUND)
        groups.join(channel.minus, GROUND)
    for element in (*network.parts, *network.drivers):
        groups.join(element.a, element.b)
    return frozenset(groups.with_(GROUND))


class Groups:
    """Disjoint sets of names (union-find)."""

    def __init__(self, names: Iterable[str] = ()) -> None:
        self._parent: dict[str, str] = {n: n for n in names}

    def find(self, name: str) -> str:
        """The name that stands for the group; a new name is a group of its own."""
        self._parent.setdefault(name, name)
        while self._parent[name] != name:
            self._parent[name] = self._parent[self._parent[name]]
            name = self._parent[name]
        return name

    def join(self, one: str, other: str) -> bool:
        """Join two groups; False when they were one already."""
        a, b = self.find(one), self.find(other)
        self._parent[b] = a
        return a != b

    def with_(self, name: str) -> list[str]:
        """All names in the group of a name."""
        root = self.find(name)
        return [n for n in self._parent if self.find(n) == root]


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
