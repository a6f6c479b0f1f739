"""The wiring list: the board from pad to pad, every wire to the drivers and the amplifier, and how to lay it out."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Final

from xover.bench.coil_spacing import CoilLayout, coil_layout, has_a_core
from xover.bench.pads import RAIL, Pad, PadNames, pad_names, pads_of
from xover.bench.polarity import DriverPolarity, driver_polarities
from xover.bench.wire_gauge import WireAdvice, wire_advice
from xover.bench.words import and_words
from xover.curve import log_grid
from xover.network import Network, find_sections
from xover.parts.coil_design import CoilDesign
from xover.parts.kinds import PartKind, kind_of
from xover.parts.wire import Winding
from xover.readable import Readable
from xover.rules.margins import ONE_WINDING_K
from xover.sound.roles import Role, keys_of, roles
from xover.speaker import Speaker
from xover.studies.bears.crosstalk.study import Crosstalk

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

    @property
    def words(self) -> str:
        """From where to where."""
        return f"{self.start} to {self.end}"


@dataclass(frozen=True, repr=False)
class WiringList(Readable):
    """Everything that is connected, and how to lay it out.

    Attributes
    ----------
    pads : of the board. wires : to the amplifier and the drivers, numbered. drivers : polarity of each.
    channels : of the amplifier; own_rails : whether each has a minus rail of its own on the board.
    gauges : how thick the wires must be. coils : where the coils go.
    advice : on the work, one sentence each; assumptions : what the figures rest on.
    """

    title: str
    pads: tuple[Pad, ...]
    wires: tuple[Wire, ...]
    drivers: tuple[DriverPolarity, ...]
    channels: tuple[str, ...]
    own_rails: bool
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
        channels=tuple(c.name for c in network.channels),
        own_rails=len({names.rail_of(c.name) for c in network.channels}) == len(network.channels),
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
    feeding = _channel_of(network)
    for card in network.drivers:
        for pole, node in (("plus", card.plus), ("minus", card.minus)):
            number += 1
            yield Wire(
                number,
                names.words(node, card.name),
                f"{card.key} {pole}",
                names.of(node, card.name),
                f"{card.key}'s pair",
                feeding.get(card.name, ""),
            )


def _channel_of(network: Network) -> dict[str, str]:
    """The channel that feeds each driver card, where it is one alone."""
    ends = {e.name: (e.a, e.b) for e in (*network.parts, *network.drivers)}
    found: dict[str, str] = {}
    for section in find_sections(network):
        fed = [c.name for c in network.channels if any(c.plus in ends[name] for name in section.elements)]
        if len(fed) == 1:
            found |= dict.fromkeys(section.drivers, fed[0])
    return found


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
    own = {
        coil.name
        for section in find_sections(network)
        for coil in network.coils
        if coil.name in section.elements and any(cards[key] in section.drivers for key in high)
    }
    shared = {
        coil.name
        for section in find_sections(network)
        for coil in network.coils
        if coil.name in section.elements and any(cards[key] in section.drivers for key in low)
    }
    coils = [c.name for c in network.coils if c.name in own - shared]
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
