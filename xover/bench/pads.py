"""The board's pads: one for each node, and one minus rail for each amplifier channel where that can be."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from xover.network import Network, find_sections
from xover.network.parts import Coupling

RAIL = "minus rail"


@dataclass(frozen=True)
class PartEnd:
    """One end of a part on a pad; `which` is "start" or "end", in the order of its card."""

    part: str
    which: str
    oriented: bool

    @property
    def words(self) -> str:
        """The part; of a coupled coil also which end."""
        return f"{self.part} ({self.which})" if self.oriented else self.part


@dataclass(frozen=True)
class Pad:
    """One pad.

    Attributes
    ----------
    name : of the node, or of the minus rail. node : in the netlist.
    ends : part ends soldered to it. wires : numbers of the wires that land on it.
    """

    name: str
    node: str
    ends: tuple[PartEnd, ...]
    wires: tuple[int, ...]

    @property
    def words(self) -> str:
        """What lands on the pad, in one line."""
        parts = ", ".join(end.words for end in self.ends)
        wires = f"wire{'s' if len(self.wires) > 1 else ''} {', '.join(str(n) for n in self.wires)}"
        return "; ".join(text for text in (parts, wires if self.wires else "") if text)


@dataclass(frozen=True)
class PadNames:
    """How nodes are called on the board.

    Attributes
    ----------
    channels : of the network, by name, with the node of their minus.
    owner : channel by element name (lower case), where channels that share a minus can have rails of their own.
    """

    channels: Mapping[str, str]
    owner: Mapping[str, str] = field(default_factory=dict)

    @property
    def split(self) -> bool:
        """Whether channels that share a minus in the netlist get a rail each."""
        return bool(self.owner)

    def of(self, node: str, element: str | None = None) -> str:
        """The pad of a node, as an element reaches it."""
        here = [name for name, minus in self.channels.items() if minus == node]
        if not here:
            return node
        if len(self.channels) == 1:
            return RAIL
        if len(here) == 1:
            return f"{RAIL} of {here[0]}"
        own = self.owner.get((element or "").lower())
        return RAIL if own is None else f"{RAIL} of {own}"

    def rail_of(self, channel: str) -> str:
        """The pad that a channel's minus lands on."""
        return f"{RAIL} of {channel}" if self.split else self.of(self.channels[channel])

    def words(self, node: str, element: str | None = None) -> str:
        """The pad in a sentence: "pad w", "the minus rail"."""
        name = self.of(node, element)
        return f"the {name}" if name.startswith(RAIL) else f"pad {name}"


def pad_names(network: Network) -> PadNames:
    """Name the pads of a network.

    Channels that share their minus get a rail each where no section hangs on two of them: that is the same circuit for
    amplifiers with a common ground, and the only right one for bridged ones.
    """
    channels = {c.name: c.minus for c in network.channels}
    if len(channels) < 2 or len(set(channels.values())) == len(channels):
        return PadNames(channels)
    ends = {e.name: (e.a, e.b) for e in (*network.parts, *network.drivers)}
    owner: dict[str, str] = {}
    for section in find_sections(network):
        touched = [c.name for c in network.channels if any(c.plus in ends[name] for name in section.elements)]
        if len(touched) != 1:
            return PadNames(channels)
        owner |= {name.lower(): touched[0] for name in section.elements}
    return PadNames(channels, owner)


def pads_of(network: Network, names: PadNames, wires: Mapping[str, tuple[int, ...]]) -> tuple[Pad, ...]:
    """All pads in the order in which the cards name them, rails last.

    Parameters
    ----------
    wires : numbers of the wires that land on a pad, by its name.
    """
    coupled = coupled_coils(network.couplings)
    nodes: dict[str, str] = {names.of(c.plus): c.plus for c in network.channels}
    ends: dict[str, list[PartEnd]] = {}
    for part in network.parts:
        for node, which in ((part.a, "start"), (part.b, "end")):
            pad = names.of(node, part.name)
            nodes.setdefault(pad, node)
            ends.setdefault(pad, []).append(PartEnd(part.name, which, part.name.lower() in coupled))
    for card in network.drivers:
        for node in (card.plus, card.minus):
            nodes.setdefault(names.of(node, card.name), node)
    for channel in network.channels:
        nodes.setdefault(names.rail_of(channel.name), channel.minus)
    ordered = sorted(nodes, key=lambda pad: pad.startswith(RAIL))  # stable: all else keeps its order
    return tuple(Pad(pad, nodes[pad], tuple(ends.get(pad, ())), wires.get(pad, ())) for pad in ordered)


def coupled_coils(couplings: tuple[Coupling, ...]) -> frozenset[str]:
    """Names, in lower case, of the coils whose winding sense counts."""
    return frozenset(name.lower() for c in couplings for name in (c.first, c.second))
