"""The wiring list: the board from pad to pad, each driver's polarity, every wire, and how to lay it all out."""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final

from xover.bench.copper import CoilLayout, WireAdvice, coil_layout, has_a_core, wire_advice
from xover.curve import log_grid
from xover.network import Channel, DriverCard, Network, find_sections
from xover.network.network import Section
from xover.network.parts import Coupling
from xover.parts.coil_design import CoilDesign
from xover.parts.kinds import PartKind, kind_of
from xover.parts.wire import Winding
from xover.readable import Readable
from xover.rules.margins import ONE_WINDING_K
from xover.sentences import and_words
from xover.sound.resonance import Role, keys_of, roles
from xover.speaker import Speaker
from xover.studies.bears.crosstalk.study import Crosstalk

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

    def is_rail(self, node: str) -> bool:
        """Whether a node is a channel's minus."""
        return node in self.channels.values()

    def rail_of(self, channel: str) -> str:
        """The pad that a channel's minus lands on."""
        return f"{RAIL} of {channel}" if self.owner else self.of(self.channels[channel])

    def words(self, node: str, element: str | None = None) -> str:
        """The pad in a sentence: "pad w", "the minus rail"."""
        name = self.of(node, element)
        return f"the {name}" if self.is_rail(node) else f"pad {name}"


def pad_names(network: Network) -> PadNames:
    """Name the pads of a network.

    Channels that share their minus get a rail each where no section hangs on two of them: that is the same circuit for
    amplifiers with a common ground, and the only right one for bridged ones.
    """
    channels = {c.name: c.minus for c in network.channels}
    if len(channels) < 2 or len(set(channels.values())) == len(channels):
        return PadNames(channels)
    owner: dict[str, str] = {}
    for section in find_sections(network):
        fed = feeding(network, section)
        if len(fed) != 1:
            return PadNames(channels)
        owner |= {name.lower(): fed[0].name for name in section.elements}
    return PadNames(channels, owner)


def feeding(network: Network, section: Section) -> list[Channel]:
    """The channels that an element of a section hangs on."""
    nodes = {n for e in (*network.parts, *network.drivers) if e.name in section.elements for n in (e.a, e.b)}
    return [c for c in network.channels if c.plus in nodes]


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
    ordered = sorted(nodes, key=lambda pad: names.is_rail(nodes[pad]))  # stable: all else keeps its order
    return tuple(Pad(pad, nodes[pad], tuple(ends.get(pad, ())), wires.get(pad, ())) for pad in ordered)


def coupled_coils(couplings: tuple[Coupling, ...]) -> frozenset[str]:
    """Names, in lower case, of the coils whose winding sense counts."""
    return frozenset(name.lower() for c in couplings for name in (c.first, c.second))


@dataclass(frozen=True)
class DriverPolarity:
    """How one driver is connected.

    Attributes
    ----------
    card, key : as in the netlist.
    is_reversed : True where its plus stands on the side of the minus rail; None where the wiring does not tell.
    sentence : the same in words.
    """

    card: str
    key: str
    is_reversed: bool | None
    sentence: str


def driver_polarities(network: Network, names: PadNames) -> tuple[DriverPolarity, ...]:
    """All driver cards in their order."""
    return tuple(_polarity(network, names, card) for card in network.drivers)


def is_reversed(network: Network, card: DriverCard) -> bool | None:
    """Whether a driver's plus lies nearer to the amplifier's minus than its minus does.

    Nearer by the number of parts on the way, other than the driver itself, to the amplifier's plus against that to
    its minus. None where both terminals lie alike.
    """
    hot = frozenset(c.plus for c in network.channels)
    cold = frozenset(c.minus for c in network.channels)
    plus, minus = (
        _steps_to(network, card, node, hot) - _steps_to(network, card, node, cold) for node in (card.plus, card.minus)
    )
    if plus == minus or math.isnan(plus) or math.isnan(minus):
        return None
    return plus > minus


def _steps_to(network: Network, card: DriverCard, start: str, wanted: frozenset[str]) -> float:
    """Parts on the shortest way to a terminal of the amplifier; infinite where none leads there past another one."""
    terminals = {n for c in network.channels for n in (c.plus, c.minus)}
    seen, queue = {start: 0}, deque([start])
    while queue:
        node = queue.popleft()
        if node in wanted:
            return seen[node]
        if node in terminals:
            continue  # the amplifier ends the way
        for element in (*network.parts, *(d for d in network.drivers if d is not card)):
            for here, there in ((element.a, element.b), (element.b, element.a)):
                if here == node and there not in seen:
                    seen[there] = seen[node] + 1
                    queue.append(there)
    return math.inf


def _polarity(network: Network, names: PadNames, card: DriverCard) -> DriverPolarity:
    turned = is_reversed(network, card)
    plus, minus = (names.words(node, card.name) for node in (card.plus, card.minus))
    text = f"{card.key}: plus to {plus}, minus to {minus}"
    if turned:
        why = "" if names.is_rail(card.plus) else " (its plus lies nearer to the minus rail)"
        text += f": reversed on purpose, as the netlist says{why}"
    elif turned is None:
        text += "; the wiring alone does not tell whether that is reversed"
    return DriverPolarity(card.name, card.key, turned, text)


PRACTICE: Final = "common practice, no published source"
PER_OCTAVE: Final = 48


@dataclass(frozen=True)
class Wire:
    """One wire.

    Attributes
    ----------
    number : from 1. start, end : terminal or pad, in words. pad : name of the pad that it lands on. pair : which pair
        it belongs to. channel : amplifier channel, or "" where several share it.
    """

    number: int
    start: str
    end: str
    pad: str
    pair: str
    channel: str


@dataclass(frozen=True, repr=False)
class WiringList(Readable):
    """Everything that is connected, and how to lay it out.

    Attributes
    ----------
    pads : of the board. wires : to the amplifier and the drivers, numbered. drivers : polarity of each.
    gauges : how thick the wires must be. coils : where the coils go.
    advice : on the work, one sentence each; assumptions : what the figures rest on.
    """

    title: str
    pads: tuple[Pad, ...]
    wires: tuple[Wire, ...]
    drivers: tuple[DriverPolarity, ...]
    gauges: tuple[WireAdvice, ...]
    coils: CoilLayout
    advice: tuple[str, ...]
    assumptions: tuple[str, ...]


def wiring_list(
    network: Network,
    speaker: Speaker,
    *,
    coils: Mapping[str, Winding | CoilDesign] | None = None,
    crosstalk: Crosstalk | None = None,
) -> WiringList:
    """Write the wiring list of a network.

    Parameters
    ----------
    network : its drivers must be the speaker's.
    coils : windings that are at hand or designed, by name, for the distances between coils.
    crosstalk : the study of this network without given couplings, where there is one; else it is made.

    Raises
    ------
    OptionError : `coils` names a coil that is not there. InputError, NoSolutionError.
    """
    names = pad_names(network)
    wires = tuple(_wires(network, names))
    landing: dict[str, tuple[int, ...]] = {}
    for wire in wires:
        landing[wire.pad] = (*landing.get(wire.pad, ()), wire.number)
    layout = coil_layout(network, speaker, coils, crosstalk)
    grid = log_grid(20.0, 20_000.0, PER_OCTAVE)
    return WiringList(
        title=network.title,
        pads=pads_of(network, names, landing),
        wires=wires,
        drivers=driver_polarities(network, names),
        gauges=wire_advice(network, speaker, grid),
        coils=layout,
        advice=tuple(_advice(network, speaker, names, layout)),
        assumptions=tuple(_assumptions(network, layout)),
    )


def _wires(network: Network, names: PadNames) -> Iterator[Wire]:
    """The amplifier's wires, channel by channel, then the drivers'."""
    many = len(network.channels) > 1
    number = 0
    for channel in network.channels:
        amplifier = f"{channel.name} amplifier" if many else "amplifier"
        rail = names.rail_of(channel.name)
        for pole, pad, words in (("plus", channel.plus, f"pad {channel.plus}"), ("minus", rail, f"the {rail}")):
            number += 1
            yield Wire(number, f"{amplifier} {pole}", words, pad, f"{amplifier} leads", channel.name)
    channel_of: dict[str, str] = {}
    for section in find_sections(network):
        fed = feeding(network, section)
        if len(fed) == 1:
            channel_of |= dict.fromkeys(section.drivers, fed[0].name)
    for card in network.drivers:
        for pole, node in (("plus", card.plus), ("minus", card.minus)):
            number += 1
            yield Wire(
                number,
                names.words(node, card.name),
                f"{card.key} {pole}",
                names.of(node, card.name),
                f"{card.key}'s pair",
                channel_of.get(card.name, ""),
            )


def _advice(network: Network, speaker: Speaker, names: PadNames, layout: CoilLayout) -> Iterator[str]:
    if len(network.channels) > 1:
        both = and_words([c.name for c in network.channels])
        yield f"take every jumper between the terminals of {both} out before an amplifier is connected"
        rails = [names.rail_of(c.name) for c in network.channels]
        if len(set(rails)) == len(rails):
            yield (
                f"keep {and_words([f'the {r}' for r in rails])} apart on the board: joined, they short an amplifier "
                "whose outputs are bridged"
            )
        else:
            yield (
                f"{both} share the {RAIL}, as parts hang on both: for amplifiers with a common ground only, never for "
                "bridged ones"
            )
    yield "twist the two wires of each driver together, and write at both ends what they are"
    yield from _pairs_apart(network, speaker)
    yield from _coils(network, layout)
    kinds = {p.name: kind_of(p) for p in network.parts}
    wet = [name for name, kind in kinds.items() if kind is PartKind.ELECTROLYTIC]
    if wet:
        yield (
            f"{and_words(wet)}: a non-polar electrolytic goes in either way round; one with a plus or a minus mark is "
            "the wrong part"
        )
    hot = [p.name for p in network.resistors if not p.is_lamp and p.ohm > 0]
    if hot:
        yield (
            f"{and_words(hot)}: stand the resistor{'s' if len(hot) > 1 else ''} off the board with air all round, away "
            "from capacitors, glue and stuffing"
        )
    lamps = [p.name for p in network.resistors if p.is_lamp]
    if lamps:
        yield f"{and_words(lamps)}: give a lamp or resettable fuse air too; it is meant to get hot"
    yield "tie every part down before it is soldered: a joint must not carry a coil's weight"


def _pairs_apart(network: Network, speaker: Speaker) -> Iterator[str]:
    """Where the woofer's current must not go."""
    found = roles(speaker, network)
    low, high = keys_of(found, Role.LOW), keys_of(found, Role.HIGH)
    cards = {d.key: d.name for d in network.drivers}

    def before(keys: Sequence[str]) -> set[str]:
        """All that stands in a section with one of these."""
        sections = [s for s in find_sections(network) if any(cards[key] in s.drivers for key in keys)]
        return {name for s in sections for name in s.elements}

    alone = before(high) - before(low)
    coils = [c.name for c in network.coils if c.name in alone]
    if low and coils:
        whose = and_words([f"{key}'s" for key in low])
        yield (
            f"keep {whose} pair{'s' if len(low) > 1 else ''} away from {and_words(coils)}, the "
            f"coil{'s' if len(coils) > 1 else ''} before {and_words(high)}"
        )


def _coils(network: Network, layout: CoilLayout) -> Iterator[str]:
    air = [c.name for c in network.coils if kind_of(c) is PartKind.AIR_COIL]
    cored = [c.name for c in network.coils if kind_of(c) is not PartKind.AIR_COIL]
    if air:
        yield (
            f"{and_words(air)}: no steel screw through or beside an air coil, it changes the inductance (one reading: "
            "+10 %); use brass or nylon, or ties"
        )
    if cored:
        yield (
            f"{and_words(cored)} {has_a_core([network.part(n) for n in cored])}: leave a core and its own bolt as they "
            "are, another bolt changes the value"
        )
    if layout.pairs:
        yield (
            "short of room: stand one coil on edge so that its rim, not its open face, points at the other; the two "
            "then do not couple at any distance"
        )
        yield "never stack coils on one axis: nothing couples more"
    halves = [f"{c.first} and {c.second}" for c in network.couplings if abs(c.k) >= ONE_WINDING_K]
    if halves:
        yield f"{'; '.join(halves)}: two parts of one winding; keep start and end as the netlist has them"


def _assumptions(network: Network, layout: CoilLayout) -> Iterator[str]:
    yield "wire: solid copper at 20 degC, IEC 60028; a driver's pair is judged as if the driver were fed straight"
    if layout.pairs:
        yield from (s.sentence for s in layout.sizes)
        yield "distances between coils: air coils, no steel near, either winding sense"
    if network.coils or network.resistors:
        yield f"on twisting, screws, heat and mounting: {PRACTICE}"
